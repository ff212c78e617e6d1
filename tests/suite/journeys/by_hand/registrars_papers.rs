//! A registrar's papers: a listed animal comes across a border on loan, its species gets another name, it dies, and
//! the post-mortem comes in later.

use super::{TypedByHand, curators_desk, desk};
use chrono::TimeDelta;
use holt_server::model::person::Role;
use holt_tests::House;

#[tokio::test]
async fn an_animal_with_papers() {
    let house = House::new().await;
    let quill = house.park_in("QUI", "Europe/Dublin", "IE").await;
    let registrar = desk(&house, &quill, Role::Registrar);
    let vet = desk(&house, &quill, Role::Veterinary);
    let curator = curators_desk(&house).await;
    let mut by_hand = TypedByHand::default();
    let (qui, at) = ("qui", &registrar);
    by_hand
        .done(
            "curator",
            &curator,
            "holt species add 'Amblonyx cinereus' 'Asian small-clawed otter' --cites I --breeds-from 365",
        )
        .await;
    let arrived = "holt animal arrived 'Amblonyx cinereus' --on 2026-02-10 --from collection \
                   --from-name 'Fenwater Collection' --from-country DE --sex female --born 2023-05 --name Fern \
                   --owner 'Fenwater Collection' --on-loan --loan-until 2026-03-25 \
                   --mark former-number=M-4711";
    let wrong = format!("{arrived} --paper kind=cites-export-permit,number=DE-17,cites=I,source=A");
    by_hand.ends(qui, at, &wrong, 3).await;
    by_hand
        .done(
            qui,
            at,
            &format!("{arrived} --paper kind=cites-export-permit,number=DE-17,issued=2026-01-20,cites=I,source=C,purpose=Z"),
        )
        .await;
    by_hand.done(qui, at, "holt paper missing").await;
    by_hand
        .done(
            qui,
            at,
            "holt paper add Fern --for arrival --kind cites-import-permit --number IE-4 --country IE",
        )
        .await;
    by_hand.done(qui, at, "holt paper list Fern").await;
    by_hand.done(qui, at, "holt paper missing").await;
    by_hand.done(qui, at, "holt loan list").await;
    by_hand.done(qui, at, "holt due --duty end-loan").await;
    by_hand.done(qui, at, "holt loan prolong Fern --until 2026-12-31 --because 'she is pregnant'").await;
    by_hand.ends(qui, at, "holt loan prolong Fern --until 2026-02-01 --because 'again'", 3).await;

    by_hand.remark("the genus is revised");
    let renamed = "holt species update 'Amblonyx cinereus' --rename 'Aonyx cinereus' --year 1987 \
                   --source 'Corbet & Hill' --because 'genus revised'";
    by_hand.done("curator", &curator, renamed).await;
    by_hand.ends(qui, at, "holt species add 'Amblonyx cinereus' 'Another otter'", 3).await;
    by_hand.done(qui, at, "holt animal list --species 'Amblonyx cinereus'").await;
    by_hand.done(qui, at, "holt species list").await;

    by_hand.remark("three weeks later");
    house.clock.advance(TimeDelta::days(21));
    by_hand.ends(qui, at, "holt animal died M-4711 --in 2026-03 --manner unknown", 2).await;
    by_hand
        .done(
            qui,
            at,
            "holt animal died M-4711 --in 2026-03 --found 2026-03-20 --manner unknown --post-mortem asked-for",
        )
        .await;
    by_hand
        .done(
            "vet",
            &vet,
            "holt animal post-mortem QUI-26-0001 --post-mortem done --result 'no cause found' --body incinerated \
             --because 'report 26/118 came in'",
        )
        .await;
    by_hand.done(qui, at, "holt animal show QUI-26-0001").await;
    by_hand.done(qui, at, "holt loan list --all").await;
    by_hand.done(qui, at, "holt history QUI-26-0001").await;
    insta::assert_snapshot!("registrars_papers", by_hand.0);
    house.close().await;
}
