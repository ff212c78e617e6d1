//! Who is proposed, who is left out, and why.

use super::Homes;
use chrono::TimeDelta;
use holt_proto::v1::{self, PartnerLeftOut as Why};
use holt_tests::reason;
use std::collections::BTreeMap;

fn left_out(told: &v1::FindPartnersResponse) -> BTreeMap<(String, Why), i32> {
    told.left_out.iter().map(|one| ((one.site.clone(), one.why()), one.animals)).collect()
}

#[tokio::test]
async fn the_unrelated_are_told_and_kin_the_young_and_the_same_sex_are_counted() {
    let homes = Homes::new().await;
    homes.shows(&homes.brack, true).await;
    let told = homes.send(homes.ask()).await.unwrap();
    let who: Vec<&str> = told.partners.iter().map(|card| card.animal_id.as_str()).collect();
    // Tench has no kin on record and might be any: with all its ancestry unknown it comes last.
    assert_eq!(who, [homes.heron.id.as_str(), homes.pike.id.as_str(), homes.tench.id.as_str()]);
    let heron = &told.partners[0];
    assert_eq!((heron.site.as_str(), heron.sex(), heron.age_years), ("BRA", v1::Sex::Male, Some(3)));
    assert!(heron.kinship.abs() < 1e-12 && (heron.known - 1.0).abs() < 1e-12);
    assert_eq!(heron.why.split(';').next().unwrap(), "unrelated: all ancestry leads to founders");
    let left = left_out(&told);
    assert_eq!(left[&("BRA".to_owned(), Why::TooCloseKin)], 1, "Rush, the brother");
    assert_eq!(left[&("BRA".to_owned(), Why::NotOfAge)], 1, "Dace");
    assert_eq!(left[&("BRA".to_owned(), Why::SameSex)], 1, "Bream");
    assert_eq!(left[&("QUI".to_owned(), Why::SameSite)], 2, "her parents");
    assert_eq!((told.compared, told.sites.as_slice()), (9, ["BRA".to_owned()].as_slice()));
    assert!(told.caution.contains("veterinary surgeon"), "{}", told.caution);

    // With a limit that lets siblings through, the brother is told last and as what he is.
    let ask = v1::FindPartnersRequest { most_inbreeding: Some(0.5), ..homes.ask() };
    let told = homes.send(ask).await.unwrap();
    let rush = told.partners.iter().find(|card| card.animal_id == homes.rush).unwrap();
    assert!((rush.kinship - 0.25).abs() < 1e-12, "full siblings");
    assert!(rush.gene_diversity_change < heron.gene_diversity_change);
    assert!(told.partners.iter().any(|card| card.animal_id == homes.tench.id && card.known < 1e-12));
    homes.books.house.close().await;
}

#[tokio::test]
async fn who_breeds_moves_or_dies_is_free_no_more() {
    let homes = Homes::new().await;
    let house = &homes.books.house;
    homes.shows(&homes.brack, true).await;
    let brack = &homes.brack.registrar.client;
    let group = v1::CreateGroupRequest {
        request_id: house.request(),
        site: "BRA".to_owned(),
        name: "Weir family".to_owned(),
        note: String::new(),
    };
    brack.send(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: house.request(),
        site: "BRA".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec![homes.heron.id.clone()],
        role: v1::GroupRole::Breeding.into(),
        joined_at: None,
    };
    brack.send(join).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let told = homes.send(homes.ask()).await.unwrap();
    assert_eq!(told.partners[0].animal_id, homes.pike.id);
    assert_eq!(left_out(&told)[&("BRA".to_owned(), Why::Breeds)], 1);
    let ask = v1::FindPartnersRequest { also_taken: true, ..homes.ask() };
    let told = homes.send(ask).await.unwrap();
    let heron = told.partners.iter().find(|card| card.animal_id == homes.heron.id).unwrap();
    assert_eq!(heron.taken(), v1::PartnerTaken::Breeds);

    // Pike is proposed to Cove.
    let offer = v1::ProposeTransferRequest {
        request_id: house.request(),
        site: "BRA".to_owned(),
        animal: homes.pike.id.clone(),
        to_site: "COV".to_owned(),
        terms: v1::TransferTerms::TitlePasses.into(),
        why: "company".to_owned(),
        ..Default::default()
    };
    brack.send(offer).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let told = homes.send(homes.ask()).await.unwrap();
    assert_eq!(left_out(&told)[&("BRA".to_owned(), Why::Moves)], 1);

    // Heron dies: neither told nor counted nor compared.
    let death = v1::RecordDeathRequest {
        request_id: house.request(),
        site: "BRA".to_owned(),
        animal: homes.heron.id.clone(),
        manner: v1::DeathManner::Natural.into(),
        died_on: Some(house_day(house).parse().unwrap()),
        ..Default::default()
    };
    brack.send(death).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let ask = v1::FindPartnersRequest { also_taken: true, ..homes.ask() };
    let told = homes.send(ask).await.unwrap();
    assert!(told.partners.iter().all(|card| card.animal_id != homes.heron.id));
    assert_eq!(told.compared, 8);
    homes.books.house.close().await;
}

fn house_day(house: &holt_tests::House) -> String {
    holt_server::clock::Clock::now(&*house.clock).date_naive().to_string()
}

/// What was entered wrong and put right counts from then on.
#[tokio::test]
async fn a_parent_that_is_corrected_makes_a_partner_or_unmakes_it() {
    let homes = Homes::new().await;
    let house = &homes.books.house;
    homes.shows(&homes.cove, true).await;
    assert_eq!(homes.partners(homes.ask()).await, [homes.loach.id.as_str()]);
    // Fern's sire was Loach all along, at a site that she never was at.
    let history =
        v1::GetHistoryRequest { site: "QUI".to_owned(), animal: "Fern".to_owned(), ..Default::default() };
    let registrar = &homes.books.park.registrar.client;
    let facts = registrar.send(history).await.unwrap().facts;
    let sire = facts.iter().find(|fact| fact.say.starts_with("sire")).unwrap();
    let strike = v1::WithdrawFactRequest {
        request_id: house.request(),
        site: "QUI".to_owned(),
        animal: "Fern".to_owned(),
        fact_id: sire.id.clone(),
        because: "genotyped".to_owned(),
        ..Default::default()
    };
    registrar.send(strike).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let ask = v1::FindPartnersRequest { most_inbreeding: Some(1.0), ..homes.ask() };
    let told = homes.send(ask).await.unwrap();
    let card = &told.partners[0];
    assert!((card.known - 0.5).abs() < 1e-12, "half of her ancestry is unknown: {card:?}");
    assert!(card.kinship_may_be > card.kinship);
    assert!(card.why.contains("50 % of the ancestry is unknown"), "{}", card.why);
    homes.books.house.close().await;
}

/// Two records of one animal are one candidate, with the kin of both.
#[tokio::test]
async fn linked_records_are_one_partner() {
    let homes = Homes::new().await;
    let house = &homes.books.house;
    homes.shows(&homes.brack, true).await;
    let before = homes.send(homes.ask()).await.unwrap();
    let again = v1::RegisterArrivalRequest {
        sex: v1::Sex::Male.into(),
        source: v1::ArrivalSource::Wild.into(),
        born_on: Some("2022".parse().unwrap()),
        ..house.arrival(&homes.brack, "Again", "2025-04-01".parse().unwrap())
    };
    let again = homes.brack.registrar.client.send(again).await.unwrap().animal.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let two = homes.send(homes.ask()).await.unwrap();
    assert_eq!(two.partners.len(), before.partners.len() + 1);
    let merge = crate::journeys::merges::asked(house, "BRA", &homes.heron.id, &again.id);
    crate::journeys::merges::send(&homes.brack.registrar, merge).await.unwrap();
    house.clock.advance(TimeDelta::hours(1));
    let one = homes.send(homes.ask()).await.unwrap();
    let ids = |told: &v1::FindPartnersResponse| -> Vec<String> {
        told.partners.iter().map(|card| card.animal_id.clone()).collect()
    };
    assert_eq!((ids(&one), one.compared), (ids(&before), before.compared));
    homes.books.house.close().await;
}

#[tokio::test]
async fn what_does_not_fit_is_refused_with_what_and_where() {
    let homes = Homes::new().await;
    homes.shows(&homes.brack, true).await;
    let named = |animals: &[&str]| v1::FindPartnersRequest {
        animals: animals.iter().map(|&animal| animal.to_owned()).collect(),
        ..homes.ask()
    };
    for (ask, why) in [
        (named(&[]), "MALFORMED"),
        (named(&["Fern", "Alder"]), "MALFORMED"),
        (named(&["Nobody"]), "NOT_FOUND"),
        (named(&[&homes.rush]), "ANIMAL_NOT_HELD_THEN"),
        (named(&[&homes.heron.id]), "NOT_FOUND"),
        (v1::FindPartnersRequest { most_inbreeding: Some(1.5), ..homes.ask() }, "MALFORMED"),
        (v1::FindPartnersRequest { most_inbreeding: Some(f64::NAN), ..homes.ask() }, "MALFORMED"),
        (v1::FindPartnersRequest { most: -1, ..homes.ask() }, "MALFORMED"),
        (
            v1::FindPartnersRequest {
                weights: Some(v1::PartnerWeights { kinship: Some(f64::INFINITY), ..Default::default() }),
                ..homes.ask()
            },
            "MALFORMED",
        ),
    ] {
        let refused = homes.send(ask.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), why, "{ask:?}: {}", refused.message());
    }
    // Bramble and Fern are both females and stay together; who is named twice is one.
    let told = homes.send(named(&["Bramble", "Fern", "Fern"])).await.unwrap();
    assert_eq!(told.partners[0].animal_id, homes.heron.id);
    homes.books.house.close().await;
}
