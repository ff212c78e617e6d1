//! Facts other than readings, each corrected and refused.

use super::Books;
use holt_proto::time::timestamp;
use holt_proto::v1::{self, AnimalStatus, FactKind};
use holt_tests::reason;

fn on(day: &str) -> v1::FactChange {
    v1::FactChange { happened_on: Some(day.parse().unwrap()), ..Default::default() }
}

#[tokio::test]
async fn a_birth_becomes_as_close_as_it_is_known() {
    let books = Books::new().await;
    let birth = books.fact("Bramble", FactKind::Birth).await;
    assert_eq!(birth.say, "born in 2021-05");
    let change = v1::FactChange {
        born_on: Some("2020".parse().unwrap()),
        born_estimated: Some(true),
        ..Default::default()
    };
    let answer = books.correct(&birth.id, change).await.unwrap();
    assert_eq!(answer.facts[0].say, "born in 2020 (estimated)");
    assert_eq!(books.see("Bramble").await.born_on, Some("2020".parse().unwrap()));
    let late = v1::FactChange { born_on: Some("2025-04".parse().unwrap()), ..Default::default() };
    let refused = books.correct(&answer.facts[0].id, late).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    books.house.close().await;
}

#[tokio::test]
async fn a_day_of_birth_at_the_site_moves_the_holding_that_began_with_it() {
    let books = Books::new().await;
    let ask = v1::RegisterBirthRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some("2026-02-20".parse().unwrap()),
        sex: v1::Sex::Unknown.into(),
        dam: "Sedge".to_owned(),
        ..Default::default()
    };
    let mut registrar = books.quill.registrar.client.animals();
    let young = registrar.register_birth(ask).await.unwrap().into_inner().animal.unwrap();
    let birth = books.fact(&young.id, FactKind::Birth).await.id;
    let change = v1::FactChange { born_on: Some("2026-02-18".parse().unwrap()), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: young.id.clone(), ..books.correction(&birth, change) };
    let answer = books.quill.registrar.client.corrections().correct_fact(ask).await.unwrap().into_inner();
    let kinds: Vec<FactKind> = answer.facts.iter().map(v1::Fact::kind).collect();
    assert_eq!(kinds, [FactKind::Birth, FactKind::Holding, FactKind::Title]);
    assert_eq!(books.see(&young.id).await.held_since, Some("2026-02-18".parse().unwrap()));
    // The dam cannot be born after it, nor be a male.
    let dams = books.fact("Sedge", FactKind::Birth).await.id;
    let change = v1::FactChange { born_on: Some("2026-02-19".parse().unwrap()), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: books.sedge.id.clone(), ..books.correction(&dams, change) };
    let refused = books.quill.registrar.client.corrections().correct_fact(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    let sex = books.fact("Sedge", FactKind::Sex).await.id;
    let change = v1::FactChange { sex: Some(v1::Sex::Male.into()), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: books.sedge.id.clone(), ..books.correction(&sex, change) };
    let refused = books.quill.registrar.client.corrections().correct_fact(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "PARENT_DOES_NOT_FIT");
    books.house.close().await;
}

#[tokio::test]
async fn a_death_takes_another_day_and_one_that_was_not_is_struck_out() {
    let books = Books::new().await;
    books.house.enclosure(&books.quill, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animals: vec!["Bramble".to_owned()],
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    books.quill.keeper.client.placements().place_animals(place).await.unwrap();
    books.house.clock.advance(chrono::TimeDelta::days(3));
    let died = v1::RecordDeathRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: books.bramble.id.clone(),
        died_on: Some("2026-03-05".parse().unwrap()),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    books.quill.registrar.client.animals().record_death(died).await.unwrap();
    let death = books.fact("Bramble", FactKind::Death).await.id;
    let answer = books.correct(&death, on("2026-03-04")).await.unwrap();
    let kinds: Vec<FactKind> = answer.facts.iter().map(v1::Fact::kind).collect();
    assert_eq!(
        kinds,
        [FactKind::Death, FactKind::Holding, FactKind::Title, FactKind::Placement, FactKind::Mark]
    );
    let refused = books.correct(&answer.facts[0].id, on("2026-03-01")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "it moved into the weir after that");
    assert_eq!(books.see("Bramble").await.status(), AnimalStatus::Dead);

    books.strike_out(&books.quill.registrar, "Bramble", &answer.facts[0].id).await.unwrap();
    let alive = books.see("Bramble").await;
    assert_eq!(
        (alive.status(), alive.enclosure.as_str(), alive.owner.as_str()),
        (AnimalStatus::Held, "Weir", "QUI")
    );
    assert!(books.facts("Bramble", FactKind::Death).await.is_empty());
    books.house.close().await;
}

#[tokio::test]
async fn an_arrival_does_not_move_past_an_encounter_that_stands() {
    let books = Books::new().await;
    books.house.clock.advance(chrono::TimeDelta::hours(1));
    let began = holt_server::clock::Clock::now(&*books.house.clock) - chrono::TimeDelta::minutes(30);
    let talk = v1::RecordEncounterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(began)),
        ended_at: Some(timestamp(began + chrono::TimeDelta::minutes(10))),
        animals: vec!["Bramble".to_owned()],
        ..Default::default()
    };
    let keeper = &books.quill.keeper.client;
    let talk = keeper.send(talk).await.unwrap().encounter.unwrap();
    books.house.clock.advance(chrono::TimeDelta::days(5));
    let holding = books.fact("Bramble", FactKind::Holding).await.id;
    let refused = books.correct(&holding, on("2026-03-04")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    assert!(refused.message().starts_with("the encounter of 2026-03-02"), "{}", refused.message());
    // It was another animal.
    let withdraw = v1::WithdrawEncounterRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        encounter_id: talk.id,
        because: "it was Sedge".to_owned(),
    };
    keeper.send(withdraw).await.unwrap();
    books.correct(&holding, on("2026-03-04")).await.unwrap();
    books.house.close().await;
}

#[tokio::test]
async fn an_arrival_takes_another_day_and_a_departure_that_was_not_is_undone() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    let holding = books.fact("Bramble", FactKind::Holding).await.id;
    let refused = books.correct(&holding, on("2026-03-03")).await.unwrap_err();
    assert_eq!(reason(&refused), "IN_THE_FUTURE");
    books.house.clock.advance(chrono::TimeDelta::days(5));
    let refused = books.correct(&holding, on("2026-03-04")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "the reading {weight} would lie outside");
    let refused = books.correct(&holding, on("2021-04-30")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "it was not born yet");
    let answer = books.correct(&holding, on("2025-02-27")).await.unwrap();
    assert_eq!(answer.facts.len(), 3, "title and house name began with it: {:?}", answer.facts);
    assert_eq!(books.see("Bramble").await.held_since, Some("2025-02-27".parse().unwrap()));

    let left = v1::RecordDepartureRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: books.bramble.id.clone(),
        departed_on: Some("2026-03-06".parse().unwrap()),
        destination: v1::DepartureDestination::Collection.into(),
        ..Default::default()
    };
    books.quill.registrar.client.animals().record_departure(left).await.unwrap();
    let holding = books.fact("Bramble", FactKind::Holding).await.id;
    let change = v1::FactChange { still_lasts: true, ..Default::default() };
    books.correct(&holding, change).await.unwrap();
    assert_eq!(books.see("Bramble").await.status(), AnimalStatus::Held);
    books.house.close().await;
}

#[tokio::test]
async fn a_mark_that_was_misread_is_read_right_and_a_transponder_stays_one() {
    let books = Books::new().await;
    let apply = |animal: &str, code: &str| v1::ApplyMarkRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: animal.to_owned(),
        mark: Some(v1::NewMark {
            kind: v1::MarkKind::Transponder.into(),
            code: code.to_owned(),
            place_on_body: String::new(),
        }),
        applied_at: None,
    };
    let mut marks = books.quill.registrar.client.marks();
    marks.apply_mark(apply("Sedge", "985112000123457")).await.unwrap();
    marks.apply_mark(apply("Bramble", "985112000123456")).await.unwrap();
    let marks = books.facts("Bramble", FactKind::Mark).await;
    let mark = marks.iter().find(|mark| mark.say.starts_with("transponder")).unwrap();
    let code = |code: &str| v1::FactChange { code: Some(code.to_owned()), ..Default::default() };
    let refused = books.correct(&mark.id, code("12345")).await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSPONDER_MALFORMED");
    let refused = books.correct(&mark.id, code("985 112 000 123 457")).await.unwrap_err();
    assert_eq!(reason(&refused), "TRANSPONDER_IN_USE");
    let answer = books.correct(&mark.id, code("985 112 000 123 458")).await.unwrap();
    assert_eq!(answer.facts[0].say, "transponder 985112000123458");
    books.house.close().await;
}

#[tokio::test]
async fn a_change_that_a_fact_does_not_have_is_refused_by_name() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    let sex = v1::FactChange { sex: Some(v1::Sex::Male.into()), ..Default::default() };
    let same = v1::FactChange { mass: Some(v1::Mass { milligrams: 8_000_000 }), ..Default::default() };
    for change in [sex, same, v1::FactChange::default()] {
        let refused = books.correct(&weight, change.clone()).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED", "{change:?}: {}", refused.message());
    }
    let accession = books.fact("Bramble", FactKind::Accession).await.id;
    assert_eq!(reason(&books.correct(&accession, on("2025-03-02")).await.unwrap_err()), "MALFORMED");
    for kind in [FactKind::Birth, FactKind::Holding, FactKind::Accession] {
        let fact = books.fact("Bramble", kind).await.id;
        let refused = books.strike_out(&books.quill.registrar, "Bramble", &fact).await.unwrap_err();
        assert_eq!(reason(&refused), "MALFORMED", "{kind:?}");
    }
    books.house.close().await;
}

#[tokio::test]
async fn an_owner_begins_when_the_one_before_ends() {
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
    let titles = async || {
        let mut all = books.facts("Bramble", FactKind::Title).await;
        all.retain(|title| title.superseded_at.is_none());
        all.sort_by_key(|title| title.happened_at.as_ref().map(|at| at.seconds));
        all
    };
    let before = titles().await;
    assert_eq!(before.len(), 2, "{before:?}");
    // Earlier and later than it was entered: the other moves along, and nobody is without an owner.
    for day in ["2025-05-20", "2025-07-02"] {
        let second = titles().await.swap_remove(1);
        let answer = books.correct(&second.id, on(day)).await.unwrap();
        assert_eq!(answer.facts.len(), 2, "{:?}", answer.facts);
    }
    let second = titles().await.swap_remove(1);
    let refused = books.correct(&second.id, on("2025-02-01")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "its first owner had it then");
    // The first owner has it from its arrival on.
    let first = titles().await.swap_remove(0);
    let refused = books.correct(&first.id, on("2025-03-02")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    assert!(refused.message().contains("without an owner"), "{}", refused.message());
    books.correct(&first.id, on("2025-02-20")).await.unwrap();
    books.house.close().await;
}
