//! What the sender knows of an animal, the destination reads before it agrees: that, from then on, and no more.

use super::Homes;
use chrono::TimeDelta;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{Park, Person, reason};
use tonic::Status;

impl Homes {
    /// Fern is offered to a park.
    async fn offered(&self, to: &Park) -> String {
        let offer = v1::ProposeTransferRequest {
            request_id: self.books.house.request(),
            site: "QUI".to_owned(),
            animal: "Fern".to_owned(),
            to_site: to.code.clone(),
            terms: v1::TransferTerms::TitlePasses.into(),
            why: "kept off her food".to_owned(),
            ..Default::default()
        };
        self.books.park.registrar.client.send(offer).await.unwrap().transfer.unwrap().id
    }

    /// Fern and Bramble are a group that is fed and watched over; somebody frightened them.
    async fn known(&self) {
        let house = &self.books.house;
        let (registrar, keeper) = (&self.books.park.registrar.client, &self.books.park.keeper.client);
        let group = v1::CreateGroupRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            name: "Weir family".to_owned(),
            ..Default::default()
        };
        registrar.send(group).await.unwrap();
        for name in ["Fern", "Bramble"] {
            let join = v1::JoinGroupRequest {
                request_id: house.request(),
                site: "QUI".to_owned(),
                group: "Weir family".to_owned(),
                animals: vec![name.to_owned()],
                role: v1::GroupRole::Helper.into(),
                ..Default::default()
            };
            registrar.send(join).await.unwrap();
        }
        house.clock.advance(TimeDelta::hours(1));
        let round =
            house.round("QUI", &[("Fern", house.clock.now(), 8_100), ("Bramble", house.clock.now(), 9_000)]);
        keeper.send(round).await.unwrap();
        let fright = v1::RecordUpsetRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            group: "Weir family".to_owned(),
            kind: v1::UpsetKind::Alarm.into(),
            began_at: Some(timestamp(house.clock.now() - TimeDelta::minutes(30))),
            happened: "a drill next door".to_owned(),
            response: "dusk lamps".to_owned(),
            calm_after_minutes: Some(12),
            animals: vec!["Fern".to_owned(), "Bramble".to_owned()],
            ..Default::default()
        };
        keeper.send(fright).await.unwrap();
        let state = v1::BeginLifeStateRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            animal: "Fern".to_owned(),
            kind: v1::LifeStateKind::Moult.into(),
            since: Some(v1::begin_life_state_request::Since::BeganAt(timestamp(house.clock.now()))),
            ..Default::default()
        };
        keeper.send(state).await.unwrap();
        house.clock.advance(TimeDelta::hours(1));
    }
}

async fn packet(who: &Person, transfer: &str) -> Result<v1::GetPacketResponse, Status> {
    who.client.send(v1::GetPacketRequest { transfer_id: transfer.to_owned() }).await
}

#[tokio::test]
async fn the_destination_knows_the_animal_before_it_agrees_and_nothing_else() {
    let homes = Homes::new().await;
    homes.known().await;
    let transfer = homes.offered(&homes.brack).await;
    for who in [&homes.brack.registrar, &homes.brack.keeper] {
        let told = packet(who, &transfer).await.unwrap();
        let animal = told.animal.clone().unwrap();
        assert_eq!((animal.house_name.as_str(), animal.holder.as_str()), ("Fern", "QUI"));
        assert!(told.life.iter().any(|fact| fact.say.starts_with("born")), "{:?}", told.life);
        let masses: Vec<i64> = told.weights.iter().map(|one| one.mass.unwrap().milligrams).collect();
        assert_eq!(masses, [8_100_000]);
        assert_eq!(told.states[0].kind(), v1::LifeStateKind::Moult);
        assert_eq!(told.group, "Weir family");
        let [fright] = told.upsets.as_slice() else { panic!("{:?}", told.upsets) };
        assert_eq!((fright.response.as_str(), fright.calm_after_minutes), ("dusk lamps", Some(12)));
        assert_eq!(fright.animals.len(), 1, "what befell Bramble is not Fern's");
        // Whom she would meet, her brother first.
        let names: Vec<String> =
            told.receiving.iter().map(|one| one.animal.clone().unwrap().house_name).collect();
        assert_eq!(names.len(), 6, "{names:?}");
        assert_eq!((names[0].as_str(), told.receiving[0].kinship.to_bits()), ("Rush", 0.25_f64.to_bits()));
        assert!(told.receiving[1..].iter().all(|one| one.kinship.abs() < 1e-12));
        let said = format!("{told:?}");
        for person in ["qui-registrar", "qui-keeper"] {
            assert!(!said.contains(person), "who works at Quill is nobody's business");
        }
        assert!(told.caution.contains("not a diagnosis"));
    }
    // The packet opens no record.
    for animal in ["Fern", "Bramble"] {
        let get =
            v1::GetAnimalRequest { site: "BRA".to_owned(), animal: animal.to_owned(), ..Default::default() };
        let refused = homes.brack.registrar.client.send(get).await.unwrap_err();
        assert_eq!(reason(&refused), "NOT_FOUND", "{animal}");
    }
    homes.books.house.close().await;
}

#[tokio::test]
async fn a_packet_is_of_both_sites_and_ends_with_the_proposal() {
    let homes = Homes::new().await;
    let transfer = homes.offered(&homes.brack).await;
    let steward = homes.books.house.person("only-steward", &[(Role::Steward, Some("BRA"))]).await;
    let elsewhere = homes
        .books
        .house
        .person("keeper-elsewhere", &[(Role::Keeper, Some("COV")), (Role::Steward, Some("BRA"))])
        .await;
    for (who, wanted) in [
        (&homes.cove.registrar, "NOT_FOUND"),
        (&steward, "ROLE_NEEDED"),
        // A keeper there and a steward here is no keeper here.
        (&elsewhere, "NOT_FOUND"),
    ] {
        assert_eq!(reason(&packet(who, &transfer).await.unwrap_err()), wanted);
    }
    let refuse = v1::RefuseTransferRequest {
        request_id: homes.books.house.request(),
        transfer_id: transfer.clone(),
        why: "no room".to_owned(),
        ..Default::default()
    };
    homes.brack.registrar.client.send(refuse).await.unwrap();
    for who in [&homes.brack.registrar, &homes.books.park.registrar] {
        let over = packet(who, &transfer).await.unwrap_err();
        assert_eq!(reason(&over), "TRANSFER_WRONG_STATE", "{}", over.message());
    }
    homes.books.house.close().await;
}

#[tokio::test]
async fn the_sender_sees_whom_the_animal_meets_once_the_destination_agrees_and_never_by_name() {
    let homes = Homes::new().await;
    let transfer = homes.offered(&homes.brack).await;
    let sender = &homes.books.park.registrar;
    assert_eq!(packet(sender, &transfer).await.unwrap().receiving, [], "Brack shows no cards");
    homes.shows(&homes.brack, true).await;
    assert_eq!(packet(sender, &transfer).await.unwrap().receiving.len(), 6);
    homes.shows(&homes.brack, false).await;
    let agree = v1::AgreeTransferRequest {
        request_id: homes.books.house.request(),
        transfer_id: transfer.clone(),
        ..Default::default()
    };
    homes.brack.registrar.client.send(agree).await.unwrap();
    let told = packet(sender, &transfer).await.unwrap().receiving;
    assert_eq!(told.len(), 6);
    assert!(told.iter().all(|one| one.animal.is_none() && one.enclosure.is_empty()), "{told:?}");
    homes.books.house.close().await;
}

#[tokio::test]
async fn a_packet_is_read_at_a_terminal() {
    let homes = Homes::new().await;
    homes.known().await;
    let transfer = homes.offered(&homes.brack).await;
    let house = &homes.books.house;
    let roles = [(Role::Registrar, Some("BRA"))];
    let desk = house.desk_of(&homes.brack.registrar, &roles).at_terminal(100).with("NO_COLOR", "1");
    let part = &transfer[transfer.len() - 8..];
    let text = desk.done(&format!("holt transfer packet {part}")).await;
    let lines = desk.done(&format!("holt transfer packet {part} --format csv")).await;
    insta::assert_snapshot!(format!("{text}\n{lines}"));
    homes.books.house.close().await;
}
