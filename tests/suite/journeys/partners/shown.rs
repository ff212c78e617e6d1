//! What a site shows is its own to say, and it sees who looked.

use super::{Homes, searches};
use crate::journeys::holder::past_the_code;
use holt_proto::v1;
use holt_tests::reason;

#[tokio::test]
async fn a_site_shows_nothing_until_it_says_so_and_nothing_once_it_takes_it_back() {
    let homes = Homes::new().await;
    let told = homes.send(homes.ask()).await.unwrap();
    assert_eq!((told.partners.len(), told.sites.len(), told.compared), (0, 0, 3), "its own alone: {told:?}");
    homes.shows(&homes.brack, true).await;
    assert_eq!(homes.partners(homes.ask()).await[0], homes.heron.id);
    homes.shows(&homes.brack, false).await;
    let told = homes.send(homes.ask()).await.unwrap();
    assert_eq!((told.partners.len(), told.sites.len(), told.compared), (0, 0, 3));
    homes.books.house.close().await;
}

/// A card opens no record, and what a site wrote down stays its own.
#[tokio::test]
async fn a_card_opens_no_record() {
    let homes = Homes::new().await;
    homes.shows(&homes.brack, true).await;
    let told = homes.send(homes.ask()).await.unwrap();
    for card in &told.partners {
        let get = homes.books.get(&card.animal_id).await.unwrap_err();
        assert_eq!(reason(&get), "NOT_FOUND");
        let written = format!("{card:?}");
        for name in ["Heron", "Pike", "Tench", "BRA-2"] {
            assert!(!written.contains(name), "{written}");
        }
    }
    // Its own registrar finds it by the identifier.
    let get = v1::GetAnimalRequest {
        site: "BRA".to_owned(),
        animal: told.partners[0].animal_id.clone(),
        ..Default::default()
    };
    assert_eq!(homes.brack.registrar.client.send(get).await.unwrap().animal.unwrap().house_name, "Heron");
    homes.books.house.close().await;
}

#[tokio::test]
async fn both_sides_see_that_somebody_looked_and_a_third_does_not() {
    let homes = Homes::new().await;
    homes.shows(&homes.brack, true).await;
    let ask = homes.ask();
    let first = homes.send(ask.clone()).await.unwrap();
    // The same request again is answered as before and is no other search.
    homes.shows(&homes.brack, false).await;
    assert_eq!(homes.send(ask).await.unwrap(), first);
    for (who, site, told) in [
        (&homes.books.park.auditor, "QUI", 1),
        (&homes.brack.auditor, "BRA", 1),
        (&homes.cove.auditor, "COV", 0),
    ] {
        let found = searches(who, site).await.unwrap();
        assert_eq!(found.len(), told, "{site}: {found:?}");
        let cards = i32::try_from(first.partners.len()).unwrap();
        assert!(found.iter().all(|one| one.site == "QUI" && one.cards == cards), "{found:?}");
    }
    let refused = searches(&homes.cove.auditor, "BRA").await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    homes.books.house.close().await;
}

/// Cove has a male alone: no card for a male, and yet it was looked at, and is told so. What a site shows to others is
/// none of its own partners.
#[tokio::test]
async fn a_site_of_which_animals_were_only_left_out_sees_it_as_well() {
    let homes = Homes::new().await;
    homes.shows(&homes.cove, true).await;
    homes.shows(&homes.books.park, true).await;
    let ask = v1::FindPartnersRequest { animals: vec!["Alder".to_owned()], ..homes.ask() };
    let told = homes.send(ask).await.unwrap();
    assert!(told.partners.is_empty(), "{told:?}");
    assert_eq!(told.sites, ["COV"]);
    let found = searches(&homes.cove.auditor, "COV").await.unwrap();
    assert_eq!(found.iter().map(|one| (one.site.as_str(), one.cards)).collect::<Vec<_>>(), [("QUI", 0)]);
    homes.books.house.close().await;
}

#[tokio::test]
async fn the_sites_that_show_cards_say_what_they_seek() {
    let homes = Homes::new().await;
    homes.shows(&homes.cove, true).await;
    homes.shows(&homes.brack, true).await;
    homes.shows(&homes.brack, false).await;
    let ask = v1::ListPartnerTermsRequest { site: "QUI".to_owned() };
    let terms = homes.books.park.keeper.client.send(ask).await.unwrap().terms;
    let told: Vec<_> =
        terms.iter().map(|one| (one.site.as_str(), one.shows_cards, one.note.as_str())).collect();
    assert_eq!(told, [("COV", true, "room for one"), ("QUI", false, "")]);
    homes.books.house.close().await;
}

/// As the service role with the scope of one site: what another shows to nobody, and who looked there, is not to be read,
/// and nothing is to be said in its name.
#[tokio::test]
async fn the_database_keeps_it_by_itself() {
    let homes = Homes::new().await;
    homes.shows(&homes.brack, true).await;
    homes.send(homes.ask()).await.unwrap();
    homes.shows(&homes.brack, false).await;
    let house = &homes.books.house;
    for (code, table, count) in [
        ("COV", "partner_terms", 0),
        ("BRA", "partner_terms", 2),
        ("COV", "partner_searches", 0),
        ("BRA", "partner_searches", 1),
        ("QUI", "partner_searches", 1),
    ] {
        let sql = format!("SELECT 1 / ((SELECT count(*) FROM {table}) = {count})::integer");
        assert_eq!(past_the_code(house, code, &[&sql], "").await, "done", "{code}: {table}");
    }
    let speak = "INSERT INTO partner_terms SELECT gen_random_uuid(), s.id, true, '', now(), s.id, s.id
                   FROM sites s WHERE s.code = 'BRA'";
    assert_eq!(past_the_code(house, "QUI", &[speak], "").await, "42501");
    homes.books.house.close().await;
}
