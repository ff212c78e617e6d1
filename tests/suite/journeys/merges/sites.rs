//! A merge never takes an animal from the books of another site: the site that answers for it decides.

use super::{Conflict, asked, conflicts, send, stands, wrong};
use crate::journeys::transfer::Move;
use chrono::{NaiveDate, TimeDelta};
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{House, Park, reason};
use prost::Message;
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use std::collections::BTreeSet;
use uuid::Uuid;

async fn otter(house: &House, park: &Park, name: &str, arrived: &str) -> v1::Animal {
    let arrival = v1::RegisterArrivalRequest {
        born_on: Some("2014-05".parse().unwrap()),
        ..house.arrival(park, name, arrived.parse().unwrap())
    };
    park.registrar.client.animals().register_arrival(arrival).await.unwrap().into_inner().animal.unwrap()
}

async fn die(house: &House, park: &Park, animal: &str, on: NaiveDate) -> v1::Animal {
    let death = v1::RecordDeathRequest {
        request_id: house.request(),
        site: park.code.clone(),
        animal: animal.to_owned(),
        died_on: Some(on.to_string().parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    park.registrar.client.animals().record_death(death).await.unwrap().into_inner().animal.unwrap()
}

#[tokio::test]
async fn a_former_holder_merges_no_dead_dummy_into_an_animal_that_lives_elsewhere() {
    let this = Move::received().await;
    let dummy = otter(&this.house, &this.quill, "Dummy", "2015-01-10").await;
    let dummy = die(&this.house, &this.quill, &dummy.id, "2015-02-01".parse().unwrap()).await;
    let both =
        this.house.person("both", &[(Role::Registrar, Some("QUI")), (Role::Registrar, Some("BRA"))]).await;
    for who in [&this.quill.registrar, &both] {
        for (keep, gone) in [(&this.otter.id, &dummy.id), (&dummy.id, &this.otter.id)] {
            let resolve = vec![stands(FactKind::Death, &dummy.accession)];
            let ask = v1::MergeAnimalsRequest { resolve, ..asked(&this.house, "QUI", keep, gone) };
            let refused = send(who, ask).await.unwrap_err();
            assert_eq!(reason(&refused), "FACT_OF_ANOTHER_SITE", "{refused:?}");
        }
    }
    // Whoever holds it is none the wiser, and records the true death.
    let today = this.house.clock.now().date_naive();
    let dead = die(&this.house, &this.brack, &this.otter.id, today).await;
    assert_eq!(dead.status(), v1::AnimalStatus::Dead);
    this.house.close().await;
}

#[tokio::test]
async fn a_stranger_does_not_even_hear_of_the_animal() {
    let this = Move::proposed().await;
    let bracken = otter(&this.house, &this.brack, "Bracken", "2025-06-01").await;
    let ask = asked(&this.house, "QUI", &this.otter.id, &bracken.id);
    assert_eq!(reason(&send(&this.quill.registrar, ask).await.unwrap_err()), "NOT_FOUND");
    this.house.close().await;
}

#[tokio::test]
async fn the_holder_merges_a_duplicate_and_the_books_of_the_former_holder_stay() {
    let this = Move::received().await;
    this.house.clock.advance(TimeDelta::days(3));
    let before = quills(&this).await;
    let arrived = (this.house.clock.now() - TimeDelta::days(1)).date_naive().to_string();
    let again = otter(&this.house, &this.brack, "Again", &arrived).await;
    let round = this.house.round("BRA", &[("Again", this.house.clock.now(), 8_000)]);
    this.brack.keeper.client.weights().record_weights(round).await.unwrap();
    let resolve = vec![stands(FactKind::Birth, &this.otter.id)];
    let ask = asked(&this.house, "BRA", &this.otter.id, &again.id);
    let merged = send(&this.brack.registrar, v1::MergeAnimalsRequest { resolve, ..ask }).await.unwrap();
    assert_eq!(merged.animal.unwrap().latest_mass.unwrap().milligrams, 8_000_000);
    assert_eq!(quills(&this).await, before);
    this.house.close().await;
}

/// What Quill has in its books of the otter that went to Brack, and its return.
async fn quills(this: &Move) -> Vec<Vec<u8>> {
    let history =
        v1::GetHistoryRequest { site: "QUI".to_owned(), animal: this.otter.id.clone(), ..Default::default() };
    let client = &this.quill.auditor.client;
    let history = client.history().get_history(history).await.unwrap().into_inner();
    let today = this.house.clock.now().date_naive().to_string();
    let stock =
        crate::journeys::census::returns(&this.quill.auditor, "QUI", "2024-01-01", &today, false).await;
    vec![v1::GetHistoryResponse { version: 0, ..history }.encode_to_vec(), stock.unwrap()[0].encode_to_vec()]
}

#[tokio::test]
async fn the_holder_sets_nothing_aside_that_the_former_holder_recorded() {
    let this = Move::received().await;
    let again = otter(&this.house, &this.brack, "Again", "2025-03-10").await;
    let ask = asked(&this.house, "BRA", &this.otter.id, &again.id);
    let refused = send(&this.brack.registrar, ask).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT");
    let ask = v1::MergeAnimalsRequest {
        resolve: vec![stands(FactKind::Holding, &again.id)],
        ..asked(&this.house, "BRA", &this.otter.id, &again.id)
    };
    let refused = send(&this.brack.registrar, ask).await.unwrap_err();
    assert!(["FACT_OF_ANOTHER_SITE", "MERGE_CONFLICT"].contains(&reason(&refused).as_str()), "{refused:?}");
    this.house.close().await;
}

/// Writes a link as the service, with the scope of a site, and ends the transaction.
async fn written(service: &mut PgConnection, site: Uuid, gone: &str, kept: &str) -> Result<(), sqlx::Error> {
    let mut within = service.begin().await?;
    sqlx::raw_sql(AssertSqlSafe(format!(
            "SELECT holt_open(ARRAY['{site}']::uuid[], false, false, '{site}', 60000, NULL, NULL);
             INSERT INTO public.merges (id, animal_id, site_id, into_id, set_aside, aside_for, because, recorded_at,
                                        recorded_by, request_id)
             VALUES (gen_random_uuid(), '{gone}', '{site}', '{kept}', '{{}}', '{{}}', 'by hand', now(), gen_random_uuid(),
                     gen_random_uuid())"
        )))
        .execute(&mut *within)
        .await?;
    within.commit().await
}

fn constraint(error: &sqlx::Error) -> String {
    let database = error.as_database_error().unwrap_or_else(|| panic!("{error:?}"));
    database.constraint().map_or_else(|| database.code().unwrap().into_owned(), str::to_owned)
}

#[tokio::test]
async fn the_database_refuses_by_itself_what_the_rules_forgot() {
    let this = Move::received().await;
    let site = this.house.records.store.site("QUI").await.unwrap().unwrap().id;
    let mut service = this.house.service().await;
    let held = otter(&this.house, &this.quill, "Held", "2025-02-01").await;
    let also = otter(&this.house, &this.quill, "Also", "2025-02-02").await;
    let dead = otter(&this.house, &this.quill, "Dead", "2015-01-10").await;
    die(&this.house, &this.quill, &dead.id, "2015-02-01".parse().unwrap()).await;
    let mut refused = async |gone: &str, kept: &str| {
        constraint(&written(&mut service, site, gone, kept).await.expect_err("it was written"))
    };
    for (gone, kept) in [(&this.otter.id, &held.id), (&held.id, &this.otter.id)] {
        assert_eq!(refused(gone, kept).await, "merges_answering_site_guard");
    }
    assert_eq!(refused(&dead.id, &this.otter.id).await, "merges_answering_site_guard");
    assert_eq!(refused(&held.id, &also.id).await, "holdings_one_holder");
    assert_eq!(refused(&dead.id, &held.id).await, "births_one_key");

    let merged = send(&this.quill.registrar, asked(&this.house, "QUI", &held.id, &also.id)).await.unwrap();
    assert!(!merged.set_aside.is_empty());
    assert_eq!(refused(&held.id, &also.id).await, "40001", "given up for itself");
    service.close().await.unwrap();
    this.house.close().await;
}

/// An otter of Quill with two records: it goes by the second, and is held and owned under the first, which is
/// answered.
async fn held_under_the_other(house: &House, quill: &Park, owner: &str) -> (v1::Animal, v1::Animal) {
    let lent = v1::RegisterArrivalRequest {
        owner: owner.to_owned(),
        ..house.arrival(quill, "Lent", "2025-03-01".parse().unwrap())
    };
    let lent = quill.registrar.client.animals().register_arrival(lent).await.unwrap();
    let lent = lent.into_inner().animal.unwrap();
    let found = v1::RegisterArrivalRequest {
        source: v1::ArrivalSource::OnSiteBefore.into(),
        source_name: String::new(),
        ..house.arrival(quill, "Found", "2025-03-05".parse().unwrap())
    };
    let found = quill.registrar.client.animals().register_arrival(found).await.unwrap();
    let found = found.into_inner().animal.unwrap();
    house.clock.advance(TimeDelta::days(1));
    send(&quill.registrar, asked(house, "QUI", &found.id, &lent.id)).await.unwrap();
    house.clock.advance(TimeDelta::days(1));
    (lent, found)
}

/// An owner that never held the animal passes its title, whichever of its records the title was entered under.
#[tokio::test]
async fn an_owner_elsewhere_passes_its_title_after_a_merge() {
    let house = House::new().await;
    let quill = house.quill().await;
    let brack = house.park("BRA", "America/Halifax").await;
    let (lent, found) = held_under_the_other(&house, &quill, "BRA").await;
    let pass = v1::PassTitleRequest {
        request_id: house.request(),
        site: "BRA".to_owned(),
        animal: found.id.clone(),
        to: "QUI".to_owned(),
        because: "given".to_owned(),
        ..Default::default()
    };
    let passed = brack.registrar.client.titles().pass_title(pass).await.unwrap();
    let passed = passed.into_inner().animal.unwrap();
    assert_eq!((passed.id, passed.owner.as_str()), (lent.id, "QUI"));
    house.close().await;
}

/// Who received an animal of two records sees it by its holding alone: what ends that holding is of the record that
/// was received.
#[tokio::test]
async fn what_ends_a_stay_after_a_transfer_is_of_the_record_that_was_received() {
    let passes = ("QUI", v1::TransferTerms::TitlePasses);
    for (owner, terms) in [passes, ("Fenwater Collection", v1::TransferTerms::Loan)] {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let (lent, found) = held_under_the_other(&house, &quill, owner).await;
        let propose = v1::ProposeTransferRequest {
            request_id: house.request(),
            site: "QUI".to_owned(),
            animal: found.id.clone(),
            to_site: "BRA".to_owned(),
            terms: terms.into(),
            why: "an unrelated partner lives there".to_owned(),
            owner_agreed: "by letter".to_owned(),
            ..Default::default()
        };
        let proposed = quill.registrar.client.transfers().propose_transfer(propose).await.unwrap();
        let transfer = proposed.into_inner().transfer.unwrap().id;
        let this = Move { house, quill, brack, otter: found, transfer };
        this.agree().await.unwrap();
        this.dispatch().await.unwrap();
        this.receive().await.unwrap();
        this.house.clock.advance(TimeDelta::days(1));
        let today = this.house.clock.now().date_naive();
        let dead = die(&this.house, &this.brack, &this.otter.id, today).await;
        assert_eq!(dead.status(), v1::AnimalStatus::Dead, "{owner}");
        let mut owner = this.house.owner().await;
        let sql = "SELECT DISTINCT h.animal_id FROM holdings h JOIN sites s ON s.id = h.site_id WHERE s.code = 'BRA'";
        let under: Vec<Uuid> = sqlx::query_scalar(sql).fetch_all(&mut owner).await.unwrap();
        assert_eq!(under.iter().map(Uuid::to_string).collect::<Vec<_>>(), [lent.id]);
        owner.close().await.unwrap();
        this.house.close().await;
    }
}

/// A merge that ends leaves the link of another site as it is, of an animal that was received with it.
#[tokio::test]
async fn a_link_ends_beside_one_of_an_animal_that_another_site_held() {
    for days in [[0, 0, 0], [0, 1, 5], [0, 5, 1], [1, 0, 5], [1, 5, 0], [5, 0, 1], [5, 1, 0]] {
        let house = House::new().await;
        let quill = house.quill().await;
        let third = house.park("THI", "Europe/Dublin").await;
        let teasel = came(&house, &third, "Teasel", 10).await;
        // It was entered twice there, which was found out before it went.
        let twice = came(&house, &third, "Teasel's duplicate", 10).await;
        send(&third.registrar, asked(&house, "THI", &teasel.id, &twice.id)).await.unwrap();
        house.moves(&teasel.id, &third, &quill).await;
        let ask =
            v1::GetAnimalRequest { site: "QUI".to_owned(), animal: teasel.id.clone(), ..Default::default() };
        let number = quill.registrar.client.send(ask).await.unwrap().animal.unwrap().accession;
        house.clock.advance(TimeDelta::days(3));
        let first = came(&house, &quill, "Bramble", days[0]).await;
        let second = came(&house, &quill, "Sedge", days[1]).await;
        let kept = came(&house, &quill, "Rowan", days[2]).await;
        let registrar = &quill.registrar;
        send(registrar, asked(&house, "QUI", &kept.id, &first.id)).await.unwrap();
        let wrong_one = send(registrar, asked(&house, "QUI", &kept.id, &second.id)).await.unwrap();
        let ask = asked(&house, "QUI", &kept.id, &teasel.id);
        let refused = send(registrar, ask.clone()).await.unwrap_err();
        let of_teasel = |(_, facts): Conflict| facts.into_iter().find(|(_, of, _)| *of == number).unwrap().2;
        let fact_ids: BTreeSet<String> = conflicts(&refused).into_iter().map(of_teasel).collect();
        let stands = |fact_id| v1::Resolution { fact_id, ..Default::default() };
        let resolve = fact_ids.into_iter().map(stands).collect();
        send(registrar, v1::MergeAnimalsRequest { resolve, ..ask }).await.unwrap();
        let ask = wrong(&house, "QUI", &second.id, &wrong_one.merge_id);
        let parted =
            registrar.client.send(ask).await.unwrap_or_else(|refused| panic!("{days:?}: {refused:?}"));
        assert_eq!(parted.given_up.unwrap().id, second.id);
        house.close().await;
    }
}

/// An otter that came so many days ago, of which little is known.
async fn came(house: &House, park: &Park, name: &str, days: u64) -> v1::Animal {
    let today = house.clock.now().date_naive();
    let arrival = v1::RegisterArrivalRequest {
        sex: v1::Sex::Unknown.into(),
        born_on: Some(if name.starts_with("Teasel") { "2021-05" } else { "2020" }.parse().unwrap()),
        ..house.arrival(park, name, today - chrono::Days::new(days))
    };
    park.registrar.client.send(arrival).await.unwrap().animal.unwrap()
}
