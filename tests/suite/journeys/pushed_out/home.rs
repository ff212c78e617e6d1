//! An animal that its group drives out: from the concern to a home at another park, by hand.

use super::Weir;
use super::raised::pressed;
use chrono::TimeDelta;
use holt_proto::v1;
use holt_server::model::person::Role;
use holt_tests::reason;
use tonic::Code;

#[tokio::test]
async fn from_a_concern_to_a_home() {
    let weir = Weir::new().await;
    let brack = weir.house.park("BRA", "America/Halifax").await;
    let heron = v1::RegisterArrivalRequest {
        sex: v1::Sex::Male.into(),
        source: v1::ArrivalSource::Wild.into(),
        born_on: Some("2022".parse().unwrap()),
        ..weir.house.arrival(&brack, "Heron", "2024-04-01".parse().unwrap())
    };
    brack.registrar.client.send(heron).await.unwrap();
    weir.calm_past().await;
    for _ in 0..8 {
        weir.next(2, pressed()).await;
    }
    let desk = |person, site| {
        let role = [(Role::Registrar, Some(site))];
        weir.house.desk_of(person, &role).at_terminal(100).with("NO_COLOR", "1")
    };
    let (quill, brack_desk) = (desk(&weir.park.registrar, "QUI"), desk(&brack.registrar, "BRA"));
    brack_desk.done("holt partners show-cards yes --note \"room for a female\"").await;
    let mut text = String::new();
    let mut typed = async |who: &str, line: String| {
        weir.house.clock.advance(TimeDelta::minutes(1));
        let out = if who == "quill" { &quill } else { &brack_desk }.done(&line).await;
        text.push_str(&format!("{who} $ {line}\n{out}\n"));
        out
    };
    let concerns = typed("quill", "holt concern list".to_owned()).await;
    assert!(concerns.contains("holt partners find QUI-"), "{concerns}");
    typed("quill", "holt partners find Sedge".to_owned()).await;
    let offer = "holt transfer propose Sedge --to BRA --terms ownership-passes --planned today --because \"kept off her food\"";
    let proposed = typed("quill", offer.to_owned()).await;
    let id = proposed.rsplit_once('[').unwrap().1.split_once(']').unwrap().0.to_owned();
    let packet = typed("brack", format!("holt transfer packet {id}")).await;
    assert!(packet.contains("ACT"), "who agrees knows of the concern: {packet}");
    typed("brack", format!("holt transfer agree {id} --note \"the Sand House is ready\"")).await;
    insta::assert_snapshot!(text);

    // Nobody dispatches an animal in trouble without a word about it.
    let ask = v1::ListTransfersRequest { site: "QUI".to_owned(), open_only: true, ..Default::default() };
    let listed = weir.park.registrar.client.send(ask).await.unwrap().transfers;
    let dispatch = v1::DispatchTransferRequest {
        request_id: weir.house.request(),
        transfer_id: listed[0].id.clone(),
        note: "crate 12".to_owned(),
        ..Default::default()
    };
    let refused = weir.park.registrar.client.send(dispatch).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "CONCERN_OPEN"));
    let (_, told) = quill.refused(&format!("holt transfer dispatch {id} --note \"crate 12\"")).await;
    assert!(told.contains("despite_concern"), "{told}");
    let line = format!(
        "holt transfer dispatch {id} --note \"crate 12\" --despite-concern \"Oona Brandt cleared her\""
    );
    quill.done(&line).await;
    let shown = quill.done(&format!("holt transfer show {id}")).await;
    let shown = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(shown.contains("crate 12; despite an open concern: Oona Brandt cleared her"), "{shown}");
    weir.house.close().await;
}
