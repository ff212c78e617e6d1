//! What cannot be true of one animal is told before, and resolved by name.

use super::{Books, asked, conflicts, merge, picture, resolved, send, stands, unmerge};
use chrono::TimeDelta;
use holt_proto::time::day;
use holt_proto::v1::{self, FactKind};
use holt_server::clock::Clock;
use holt_tests::reason;
use tonic::Code;

/// A duplicate of a record that died long ago, or did not.
async fn duplicate(books: &Books, name: &str, arrived: &str, died: Option<&str>) -> v1::Animal {
    let arrival = books.house.arrival(&books.quill, name, arrived.parse().unwrap());
    let arrived = books.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
    let animal = arrived.into_inner().animal.unwrap();
    if let Some(died) = died {
        let death = v1::RecordDeathRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animal: animal.id.clone(),
            died_on: Some(died.parse().unwrap()),
            manner: v1::DeathManner::Natural.into(),
            ..Default::default()
        };
        books.quill.registrar.client.animals().record_death(death).await.unwrap();
    }
    animal
}

#[tokio::test]
async fn what_contradicts_is_told_all_at_once_and_nothing_is_written() {
    let books = Books::new().await;
    for name in ["Weir", "Pool"] {
        books.house.enclosure(&books.quill, name).await;
    }
    books.house.clock.advance(TimeDelta::hours(1));
    let at = books.house.clock.now();
    let round = books.house.round("QUI", &[("Bramble", at, 8_000), ("Sedge", at, 7_000)]);
    books.quill.keeper.client.weights().record_weights(round).await.unwrap();
    for (animal, enclosure) in [("Bramble", "Weir"), ("Sedge", "Pool")] {
        let place = v1::PlaceAnimalsRequest {
            request_id: books.house.request(),
            site: "QUI".to_owned(),
            animals: vec![animal.to_owned()],
            enclosure: enclosure.to_owned(),
            placed_at: None,
        };
        books.quill.keeper.client.placements().place_animals(place).await.unwrap();
    }
    let before = picture(&books, &["Bramble", "Sedge"]).await;
    let refused = merge(&books, "Bramble", "Sedge").await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::FailedPrecondition, "MERGE_CONFLICT"));
    assert!(refused.message().contains("two places"), "{}", refused.message());
    assert!(refused.message().contains("weighed differently"), "{}", refused.message());
    assert_eq!(picture(&books, &["Bramble", "Sedge"]).await, before);

    let told = conflicts(&refused);
    let [place, weight] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!((place.1[0].0.as_str(), place.1[1].1.as_str()), ("placement", books.sedge.accession.as_str()));
    let by_id = v1::Resolution { fact_id: weight.1[1].2.clone(), ..Default::default() };
    let merged = resolved(&books, "Bramble", "Sedge", vec![stands(FactKind::Placement, "Bramble"), by_id])
        .await
        .unwrap();
    let animal = merged.animal.unwrap();
    assert_eq!(animal.enclosure, "Weir");
    assert_eq!(animal.latest_mass.unwrap().milligrams, 7_000_000);
    unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();
    assert_eq!(picture(&books, &["Bramble", "Sedge"]).await, before);
    books.house.close().await;
}

#[tokio::test]
async fn a_parent_and_its_young_are_one_only_once_the_parent_is_put_right() {
    let books = Books::new().await;
    books.house.clock.advance(TimeDelta::hours(1));
    let born = books.house.clock.now().date_naive() - TimeDelta::days(9);
    let birth = books.house.birth(&books.quill, "Sedge", "Fern", born);
    books.quill.registrar.client.send(birth).await.unwrap();
    let stand = || vec![stands(FactKind::Birth, "Sedge")];
    for (keep, gone) in [("Sedge", "Fern"), ("Fern", "Sedge")] {
        let refused = resolved(&books, keep, gone, stand()).await.unwrap_err();
        assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT", "{refused:?}");
        assert!(refused.message().contains("its own ancestor"), "{refused:?}");
    }
    let parent = books.fact("Fern", FactKind::Parent).await.id;
    books.strike_out(&books.quill.registrar, "Fern", &parent).await.unwrap();
    resolved(&books, "Sedge", "Fern", stand()).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn nobody_becomes_its_own_ancestor_and_a_check_says_so_before() {
    let books = Books::new().await;
    // Nobody knows when they were born, so nothing else speaks against it.
    for (name, dam) in [("Moss", "Bramble"), ("Reed", "Moss")] {
        let arrival = v1::RegisterArrivalRequest {
            born_on: None,
            dam: dam.to_owned(),
            parents_because: "by its papers".to_owned(),
            ..books.house.arrival(&books.quill, name, "2025-02-01".parse().unwrap())
        };
        books.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
    }
    for validate_only in [true, false] {
        let ask = v1::MergeAnimalsRequest { validate_only, ..asked(&books.house, "QUI", "Bramble", "Reed") };
        let refused = send(&books.quill.registrar, ask).await.unwrap_err();
        assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT", "{refused:?}");
    }
    let parent = books.fact("Reed", FactKind::Parent).await.id;
    books.strike_out(&books.quill.registrar, "Reed", &parent).await.unwrap();
    merge(&books, "Bramble", "Reed").await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn a_living_animal_is_not_dead_by_its_duplicate() {
    let books = Books::new().await;
    let dummy = duplicate(&books, "Dummy", "2025-02-01", Some("2025-04-10")).await;
    let records = [books.bramble.id.as_str(), dummy.id.as_str()];
    let before = picture(&books, &records).await;
    for (keep, gone) in [(records[0], records[1]), (records[1], records[0])] {
        let refused = merge(&books, keep, gone).await.unwrap_err();
        assert_eq!(reason(&refused), "MERGE_CONFLICT");
        let told = conflicts(&refused);
        let say = "one died on 2025-04-10, the other is held after that";
        assert!(told.iter().any(|one| one.0 == say), "{told:?}");

        let alive = stands(FactKind::Holding, &books.bramble.accession);
        let merged = resolved(&books, keep, gone, vec![alive]).await.unwrap();
        let animal = merged.animal.unwrap();
        assert_eq!((animal.status(), animal.death), (v1::AnimalStatus::Held, None));
        books.house.clock.advance(TimeDelta::hours(1));
        super::stock(&books).await;
        unmerge(&books, keep, &merged.merge_id).await.unwrap();
        assert_eq!(picture(&books, &records).await, before, "{keep}");

        let dead = stands(FactKind::Death, &dummy.accession);
        let merged = resolved(&books, keep, gone, vec![dead]).await.unwrap();
        assert_eq!(merged.animal.unwrap().status(), v1::AnimalStatus::Dead);
        let at = books.house.clock.now();
        let round = books.house.round("QUI", &[("Bramble", at, 8_000)]);
        let answer = books.quill.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert_eq!(answer.answers[0].outcome(), v1::ReadingOutcome::Refused);
        super::stock(&books).await;
        unmerge(&books, keep, &merged.merge_id).await.unwrap();
        assert_eq!(picture(&books, &records).await, before, "{keep}");
    }
    books.house.close().await;
}

#[tokio::test]
async fn of_two_births_the_one_that_is_named_stands() {
    let books = Books::new().await;
    let older = v1::RegisterArrivalRequest {
        born_on: Some(day("2019-06-01".parse().unwrap())),
        ..books.house.arrival(&books.quill, "Older", "2025-02-01".parse().unwrap())
    };
    let older = books.quill.registrar.client.animals().register_arrival(older).await.unwrap();
    let older = older.into_inner().animal.unwrap();
    let refused = merge(&books, "Bramble", "Older").await.unwrap_err();
    assert_eq!(conflicts(&refused)[0].1[0].0, "birth", "{refused:?}");
    let refused =
        resolved(&books, "Bramble", "Older", vec![stands(FactKind::Sex, "Older")]).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT");
    let merged = resolved(&books, "Bramble", "Older", vec![stands(FactKind::Birth, "Older")]).await.unwrap();
    assert_eq!(merged.animal.unwrap().born_on, older.born_on);
    books.house.close().await;
}

#[tokio::test]
async fn what_decides_nothing_is_refused_and_what_is_only_checked_is_not_written() {
    let books = Books::new().await;
    let idle = vec![stands(FactKind::Death, "Sedge")];
    let refused = resolved(&books, "Bramble", "Sedge", idle).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    let odd = vec![stands(FactKind::Accession, "Sedge")];
    let refused = resolved(&books, "Bramble", "Sedge", odd).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    let only =
        v1::MergeAnimalsRequest { validate_only: true, ..asked(&books.house, "QUI", "Bramble", "Sedge") };
    let checked = send(&books.quill.registrar, only).await.unwrap();
    assert!(!checked.set_aside.is_empty());
    assert_eq!(books.see("Sedge").await.id, books.sedge.id);
    let same = merge(&books, "Bramble", "Bramble").await.unwrap_err();
    assert_eq!(reason(&same), "MERGE_CONFLICT");
    books.house.close().await;
}

#[tokio::test]
async fn what_an_earlier_merge_set_aside_comes_back_and_must_be_resolved_again() {
    let books = Books::new().await;
    let born = async |name: &str, on: &str| {
        let arrival = v1::RegisterArrivalRequest {
            born_on: Some(on.parse().unwrap()),
            ..books.house.arrival(&books.quill, name, "2025-03-01".parse().unwrap())
        };
        let arrived = books.quill.registrar.client.animals().register_arrival(arrival).await.unwrap();
        arrived.into_inner().animal.unwrap()
    };
    let a = born("Alder", "2018-01-01").await;
    let b = born("Birch", "2019-01-01").await;
    let c = born("Cedar", "2020-01-01").await;
    let records = [a.id.as_str(), b.id.as_str(), c.id.as_str()];
    let before = picture(&books, &records).await;
    let one = resolved(&books, &b.id, &a.id, vec![stands(FactKind::Birth, "Alder")]).await.unwrap().merge_id;
    let two = resolved(&books, &c.id, &b.id, vec![stands(FactKind::Birth, "Cedar")]).await.unwrap().merge_id;
    // Without the first, Birch has its birth again, and that is not the one of Cedar.
    let refused = unmerge(&books, &c.id, &one).await.unwrap_err();
    assert_eq!(conflicts(&refused)[0].1[0].0, "birth");
    let ask = v1::UnmergeAnimalsRequest {
        resolve: vec![stands(FactKind::Birth, "Birch")],
        ..super::wrong(&books.house, "QUI", &c.id, &one)
    };
    books.quill.registrar.client.merges().unmerge_animals(ask).await.unwrap();
    assert_eq!(books.see(&c.id).await.born_on, b.born_on);
    assert_eq!(books.see(&a.id).await.born_on, a.born_on);
    unmerge(&books, &c.id, &two).await.unwrap();
    assert_eq!(picture(&books, &records).await, before);
    books.house.close().await;
}

#[tokio::test]
async fn whoever_is_held_has_an_owner_at_each_time() {
    let books = Books::new().await;
    let pass = v1::PassTitleRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        to: "Fenwater Collection".to_owned(),
        passes_on: Some("2025-06-01".parse().unwrap()),
        because: "given".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.titles().pass_title(pass).await.unwrap();
    // The owner of the twin says all that the first owner says, and goes with its holding: then the first comes back.
    let merged = merge(&books, "Bramble", "Sedge").await.unwrap();
    let mut titles = books.facts("Bramble", FactKind::Title).await;
    titles.retain(|title| !title.set_aside && title.superseded_at.is_none());
    assert_eq!(titles.len(), 2, "{titles:?}");
    assert!(titles.iter().all(|title| title.entered_for.is_empty()), "{titles:?}");
    unmerge(&books, "Bramble", &merged.merge_id).await.unwrap();

    // That the life goes on, and that nobody owned it since a death that was not, cannot both stand.
    let dummy = duplicate(&books, "Dummy", "2025-01-01", Some("2025-04-10")).await;
    let alive = stands(FactKind::Holding, &books.sedge.accession);
    let till_death = stands(FactKind::Title, &dummy.accession);
    let refused = resolved(&books, "Sedge", &dummy.id, vec![alive.clone(), till_death]).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT");
    resolved(&books, "Sedge", &dummy.id, vec![alive]).await.unwrap();
    books.house.close().await;
}

/// A correction of what one record says leaves no record of the animal without an owner, and is refused in words.
#[tokio::test]
async fn a_correction_leaves_none_of_the_records_without_an_owner() {
    let books = Books::new().await;
    let earlier = duplicate(&books, "Earlier", "2025-03-05", None).await;
    let found = v1::RegisterArrivalRequest {
        source: v1::ArrivalSource::OnSiteBefore.into(),
        source_name: String::new(),
        ..books.house.arrival(&books.quill, "Later", "2025-03-13".parse().unwrap())
    };
    let found = books.quill.registrar.client.animals().register_arrival(found).await.unwrap();
    let later = found.into_inner().animal.unwrap();
    merge(&books, &later.id, &earlier.id).await.unwrap();
    books.house.clock.advance(TimeDelta::hours(1));
    let mut owner = books.house.owner().await;
    for record in [&earlier.id, &later.id] {
        for table in ["holdings", "titles"] {
            let sql =
                format!("SELECT id::text FROM {table} WHERE animal_id::text = $1 AND superseded_at IS NULL");
            let fact: String = sqlx::query_scalar(sqlx::AssertSqlSafe(sql))
                .bind(record)
                .fetch_one(&mut owner)
                .await
                .unwrap();
            let correct = v1::CorrectFactRequest {
                request_id: books.house.request(),
                site: "QUI".to_owned(),
                animal: later.id.clone(),
                fact_id: fact,
                change: Some(v1::FactChange {
                    happened_on: Some("2025-03-19".parse().unwrap()),
                    ..Default::default()
                }),
                because: "seen on the sheet".to_owned(),
                validate_only: true,
                ..Default::default()
            };
            let answer = books.quill.registrar.client.corrections().correct_fact(correct).await;
            let why = answer.err().map(|refused| reason(&refused));
            assert_ne!(why.as_deref(), Some("FAULT"), "{table}");
        }
    }
    books.house.close().await;
}
