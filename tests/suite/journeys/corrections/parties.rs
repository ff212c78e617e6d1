//! With whom an animal was: owners, loans, where it came from and where it went, put right.

use super::Books;
use holt_proto::v1::{self, FactKind};
use holt_tests::reason;
use tonic::Status;

fn day(day: &str) -> Option<v1::Day> {
    Some(day.parse().unwrap())
}

fn owner(owner: &str) -> v1::FactChange {
    v1::FactChange { owner: Some(owner.to_owned()), ..Default::default() }
}

fn text(text: &str) -> Option<String> {
    Some(text.to_owned())
}

impl Books {
    /// Corrects the only fact of a kind of any animal.
    async fn put_right(
        &self,
        animal: &str,
        kind: FactKind,
        change: v1::FactChange,
    ) -> Result<v1::CorrectFactResponse, Status> {
        let fact = self.fact(animal, kind).await.id;
        let ask = v1::CorrectFactRequest { animal: animal.to_owned(), ..self.correction(&fact, change) };
        self.quill.registrar.client.send(ask).await
    }

    /// What stands of a kind, in words, each with the day on which it began.
    async fn say(&self, animal: &str, kind: FactKind) -> Vec<String> {
        let on = |fact: &v1::Fact| {
            let at = holt_proto::time::instant(fact.happened_at.unwrap()).unwrap();
            at.with_timezone(&chrono_tz::Europe::London).date_naive()
        };
        self.facts(animal, kind).await.iter().map(|fact| format!("{} {}", on(fact), fact.say)).collect()
    }

    async fn teasel(&self, from: v1::RegisterArrivalRequest) -> v1::Animal {
        let arrival = v1::RegisterArrivalRequest {
            source: from.source,
            owner: from.owner,
            loan: from.loan,
            source_name: from.source_name,
            ..self.house.arrival(&self.quill, "Teasel", "2025-12-01".parse().unwrap())
        };
        self.quill.registrar.client.send(arrival).await.unwrap().animal.unwrap()
    }

    async fn lent_to(&self, animal: &str, name: &str, on: &str) {
        let lent = v1::RecordDepartureRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            departed_on: day(on),
            destination: v1::DepartureDestination::Collection.into(),
            destination_name: name.to_owned(),
            loan: Some(v1::LoanTerms { loan_until: day("2027-06-30"), terms: String::new() }),
            ..Default::default()
        };
        self.quill.registrar.client.send(lent).await.unwrap();
    }

    async fn passes(&self, animal: &str, to: &str, on: &str) {
        let pass = v1::PassTitleRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            to: to.to_owned(),
            passes_on: day(on),
            because: "given away".to_owned(),
            ..Default::default()
        };
        self.quill.registrar.client.send(pass).await.unwrap();
    }
}

#[tokio::test]
async fn an_owner_that_was_mistyped_is_put_right_with_the_loan_from_it() {
    let books = Books::new().await;
    let from = v1::RegisterArrivalRequest {
        source: v1::ArrivalSource::Collection.into(),
        owner: "Fenwatre".to_owned(),
        loan: Some(v1::LoanTerms {
            loan_until: day("2027-06-30"),
            terms: "first litter goes back".to_owned(),
        }),
        ..Default::default()
    };
    books.teasel(from).await;
    let answer = books.put_right("Teasel", FactKind::Title, owner("Fenwater Collection")).await.unwrap();
    let say: Vec<&str> = answer.facts.iter().map(|fact| fact.say.as_str()).collect();
    let lent = "on loan from Fenwater Collection to QUI until 2027-06-30 (first litter goes back)";
    assert_eq!(say, ["owned by Fenwater Collection", lent]);
    assert_eq!(books.see("Teasel").await.owner, "Fenwater Collection");
    let again = books.put_right("Teasel", FactKind::Title, owner("Fenwater Collection")).await.unwrap_err();
    assert_eq!(reason(&again), "MALFORMED", "{}", again.message());

    let own = books.put_right("Teasel", FactKind::Title, owner("QUI")).await.unwrap_err();
    assert_eq!(reason(&own), "OUT_OF_ORDER");
    assert!(own.message().contains("on loan from its owner"), "{}", own.message());
    let early = v1::FactChange { loan_until: day("2025-11-30"), ..Default::default() };
    let refused = books.put_right("Teasel", FactKind::Loan, early).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    let terms = v1::FactChange { without_loan_until: true, loan_terms: text("none"), ..Default::default() };
    let answer = books.put_right("Teasel", FactKind::Loan, terms).await.unwrap();
    assert_eq!(answer.facts[0].say, "on loan from Fenwater Collection to QUI (none)");

    let loan = books.fact("Teasel", FactKind::Loan).await.id;
    books.strike_out(&books.quill.registrar, "Teasel", &loan).await.unwrap();
    books.put_right("Teasel", FactKind::Title, owner("qui")).await.unwrap();
    assert_eq!(books.see("Teasel").await.owner, "QUI");
    assert!(books.facts("Teasel", FactKind::Loan).await.is_empty());
    books.house.close().await;
}

#[tokio::test]
async fn an_ownership_that_passed_is_moved_and_taken_back_and_the_loan_with_it() {
    let books = Books::new().await;
    books
        .teasel(v1::RegisterArrivalRequest { source: v1::ArrivalSource::Wild.into(), ..Default::default() })
        .await;
    books.lent_to("Teasel", "Reedwater", "2026-01-10").await;
    books.passes("Teasel", "Fenwater", "2026-02-01").await;
    let titles = ["2025-12-01 owned by QUI", "2026-02-01 owned by Fenwater"];
    assert_eq!(books.say("Teasel", FactKind::Title).await, titles);
    let passed = books.facts("Teasel", FactKind::Title).await.remove(1).id;
    for on in ["2026-02-10", "2026-01-20"] {
        let fact = books.facts("Teasel", FactKind::Title).await.remove(1).id;
        let change = v1::FactChange { happened_on: day(on), ..Default::default() };
        let ask = v1::CorrectFactRequest { animal: "Teasel".to_owned(), ..books.correction(&fact, change) };
        let answer = books.quill.registrar.client.send(ask).await.unwrap();
        assert_eq!(answer.facts[0].say, "owned by Fenwater", "what is meant is told first");
        let lent = [
            "2026-01-10 on loan from QUI to Reedwater until 2027-06-30, ended: title passed".to_owned(),
            format!("{on} on loan from Fenwater to Reedwater until 2027-06-30"),
        ];
        assert_eq!(books.say("Teasel", FactKind::Loan).await, lent);
    }
    let fact = books.facts("Teasel", FactKind::Title).await.remove(1).id;
    assert_ne!(fact, passed);
    let change = v1::FactChange { happened_on: day("2026-01-09"), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: "Teasel".to_owned(), ..books.correction(&fact, change) };
    let refused = books.quill.registrar.client.send(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "it was not on loan yet");
    let change = v1::FactChange { owner: text("QUI"), ..Default::default() };
    let ask = v1::CorrectFactRequest { animal: "Teasel".to_owned(), ..books.correction(&fact, change) };
    let refused = books.quill.registrar.client.send(ask).await.unwrap_err();
    assert!(refused.message().contains("right before or after"), "{}", refused.message());

    books.strike_out(&books.quill.registrar, "Teasel", &fact).await.unwrap();
    assert_eq!(books.say("Teasel", FactKind::Title).await, ["2025-12-01 owned by QUI"]);
    let lent = ["2026-01-10 on loan from QUI to Reedwater until 2027-06-30"];
    assert_eq!(books.say("Teasel", FactKind::Loan).await, lent);
    assert_eq!(books.see("Teasel").await.owner, "QUI");
    let first = books.fact("Teasel", FactKind::Title).await.id;
    let refused = books.strike_out(&books.quill.registrar, "Teasel", &first).await.unwrap_err();
    assert!(refused.message().contains("first that is known"), "{}", refused.message());
    books.house.close().await;
}

#[tokio::test]
async fn where_an_animal_came_from_and_went_to_is_put_right() {
    let books = Books::new().await;
    let from = v1::RegisterArrivalRequest {
        source: v1::ArrivalSource::Collection.into(),
        source_name: "Fenwatre".to_owned(),
        ..Default::default()
    };
    books.teasel(from).await;
    let right = v1::FactChange {
        source: Some(v1::ArrivalSource::Rescue.into()),
        source_name: text("Fenwater"),
        source_country: text("DE"),
        ..Default::default()
    };
    let answer = books.put_right("Teasel", FactKind::Holding, right.clone()).await.unwrap();
    assert_eq!(answer.facts[0].say, "held since its arrival (rescue, Fenwater, DE)");
    let again = books.put_right("Teasel", FactKind::Holding, right).await.unwrap_err();
    assert_eq!(reason(&again), "MALFORMED");
    let gone = v1::FactChange { destination_name: text("Reedwater"), ..Default::default() };
    let refused = books.put_right("Teasel", FactKind::Holding, gone.clone()).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER", "it is held");

    books.lent_to("Teasel", "Reedwatre", "2026-01-10").await;
    let both = v1::FactChange { source_name: text("Fenwater Rescue"), ended_on: day("2026-01-12"), ..gone };
    let answer = books.put_right("Teasel", FactKind::Holding, both).await.unwrap();
    let held = "held from its arrival (rescue, Fenwater Rescue, DE) to its departure (collection, Reedwater)";
    assert_eq!(answer.facts[0].say, held);
    assert_eq!(
        books.say("Teasel", FactKind::Loan).await,
        ["2026-01-12 on loan from QUI to Reedwater until 2027-06-30"]
    );
    let escape =
        v1::FactChange { destination: Some(v1::DepartureDestination::Escape.into()), ..Default::default() };
    let refused = books.put_right("Teasel", FactKind::Holding, escape).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED", "{}", refused.message());
    books.house.close().await;
}

#[tokio::test]
async fn the_day_on_which_a_death_was_found_moves_what_ended_with_it() {
    let books = Books::new().await;
    books.house.clock.advance(chrono::TimeDelta::days(9));
    let died = v1::RecordDeathRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: day("2026-03"),
        found_on: day("2026-03-08"),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    books.quill.registrar.client.send(died).await.unwrap();
    let found = |on: &str| v1::FactChange { found_on: day(on), ..Default::default() };
    let answer = books.put_right("Bramble", FactKind::Death, found("2026-03-06")).await.unwrap();
    let kinds: Vec<FactKind> = answer.facts.iter().map(v1::Fact::kind).collect();
    assert_eq!(kinds, [FactKind::Death, FactKind::Holding, FactKind::Title, FactKind::Mark]);
    let death = books.see("Bramble").await.death.unwrap();
    assert_eq!((death.died_on, death.found_on), (day("2026-03"), day("2026-03-06")));
    for (on, why) in [("2026-02-27", "OUT_OF_ORDER"), ("2026-04-01", "IN_THE_FUTURE")] {
        let refused = books.put_right("Bramble", FactKind::Death, found(on)).await.unwrap_err();
        assert_eq!(reason(&refused), why, "{on}: {}", refused.message());
    }
    // The day becomes known, and it was found two days later: nothing of its stay moves with that any more.
    let known = v1::FactChange { happened_on: day("2026-03-05"), ..Default::default() };
    books.put_right("Bramble", FactKind::Death, known).await.unwrap();
    let answer = books.put_right("Bramble", FactKind::Death, found("2026-03-07")).await.unwrap();
    assert_eq!(answer.facts.len(), 1);
    let refused = books.put_right("Bramble", FactKind::Death, found("2026-03-04")).await.unwrap_err();
    assert_eq!(reason(&refused), "OUT_OF_ORDER");
    books.house.close().await;
}

#[tokio::test]
async fn nothing_is_moved_beyond_the_death_of_the_animal() {
    let books = Books::new().await;
    let weight = books.weigh("Bramble", 8_000).await;
    books.house.clock.advance(chrono::TimeDelta::days(9));
    let died = v1::RecordDeathRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        died_on: day("2026-03-05"),
        manner: v1::DeathManner::Natural.into(),
        ..Default::default()
    };
    books.quill.registrar.client.send(died).await.unwrap();
    let later = v1::FactChange { happened_on: day("2026-03-07"), ..Default::default() };
    let lasting = v1::FactChange { still_lasts: true, ..Default::default() };
    let name = books.fact("Bramble", FactKind::Mark).await.id;
    for (fact, change) in [(weight, later), (name, lasting)] {
        let refused = books.correct(&fact, change).await.unwrap_err();
        assert_eq!(reason(&refused), "OUT_OF_ORDER");
        assert!(refused.message().contains("died on 2026-03-05"), "{}", refused.message());
    }
    books.house.close().await;
}

#[tokio::test]
async fn what_an_animal_was_in_its_group_is_put_right() {
    let books = Books::new().await;
    let group = v1::CreateGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        name: "Weir pair".to_owned(),
        ..Default::default()
    };
    books.quill.registrar.client.send(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: books.house.request(),
        site: "QUI".to_owned(),
        group: "Weir pair".to_owned(),
        animals: vec!["Bramble".to_owned()],
        role: v1::GroupRole::Helper.into(),
        ..Default::default()
    };
    books.quill.keeper.client.send(join).await.unwrap();
    let breeding = v1::FactChange { role: Some(v1::GroupRole::Breeding.into()), ..Default::default() };
    let answer = books.put_right("Bramble", FactKind::Membership, breeding).await.unwrap();
    assert_eq!(answer.facts[0].say, "belongs to Weir pair (breeding)");
    books.house.close().await;
}
