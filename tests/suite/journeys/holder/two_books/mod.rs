//! An animal is in the books of two sites under two records: each answers for its own, and neither merges without the other.

mod withdrawn;

use super::{ACCEPT, past_the_code};
use crate::journeys::merges::stands;
use chrono::TimeDelta;
use holt_proto::time::{day, timestamp};
use holt_proto::v1::propose_amendment_request::Change;
use holt_proto::v1::{self, AmendmentState, FactKind};
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{House, Park, Person, reason};
use prost::Message;
use tonic::Status;

const CHIP: &str = "985000000000017";

/// Sedge lived at Quill, was weighed there and left to a farm; what came to Brack from that farm a month later has her chip.
struct TwoBooks {
    house: House,
    quill: Park,
    brack: Park,
    third: Park,
    /// Her record at Quill.
    sedge: v1::Animal,
    /// Her record at Brack.
    rook: v1::Animal,
}

impl TwoBooks {
    async fn new() -> Self {
        let house = House::new().await;
        let quill = house.quill().await;
        let brack = house.park("BRA", "America/Halifax").await;
        let third = house.park("THI", "Asia/Tokyo").await;
        let sedge = arrive(&house, &quill, "Sedge", "2014-05").await;
        house.clock.advance(TimeDelta::days(10));
        let round = house.round("QUI", &[("Sedge", house.clock.now(), 8_100)]);
        let weighed = quill.keeper.client.send(round).await.unwrap();
        assert!(!weighed.answers[0].weight_id.is_empty(), "{weighed:?}");
        leave(&house, &quill, &sedge.id).await;
        house.clock.advance(TimeDelta::days(30));
        let rook = arrive(&house, &brack, "Rook", "2014-05").await;
        let chip = v1::ApplyMarkRequest {
            request_id: house.request(),
            site: "BRA".to_owned(),
            animal: rook.id.clone(),
            mark: Some(v1::NewMark {
                kind: v1::MarkKind::Transponder.into(),
                code: CHIP.to_owned(),
                ..Default::default()
            }),
            applied_at: None,
        };
        brack.registrar.client.send(chip).await.unwrap();
        house.clock.advance(TimeDelta::days(1));
        Self { house, quill, brack, third, sedge, rook }
    }

    fn ask(&self, site: &str, animal: &str, other: &str, theirs: &str) -> v1::ProposeAmendmentRequest {
        v1::ProposeAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            animal: animal.to_owned(),
            because: "their vet read our chip".to_owned(),
            validate_only: false,
            change: Some(Change::Merge(v1::ProposedMerge {
                site: other.to_owned(),
                animal: theirs.to_owned(),
            })),
        }
    }

    async fn propose(&self) -> v1::Amendment {
        let ask = self.ask("QUI", "Sedge", "BRA", CHIP);
        self.quill.registrar.client.send(ask).await.unwrap().amendment.unwrap()
    }

    fn yes(&self, site: &str, id: &str) -> v1::AcceptAmendmentRequest {
        v1::AcceptAmendmentRequest {
            request_id: self.house.request(),
            site: site.to_owned(),
            amendment_id: id.to_owned(),
            ..Default::default()
        }
    }

    async fn accept(&self, id: &str) -> Result<v1::Amendment, Status> {
        let answer = self.brack.registrar.client.send(self.yes("BRA", id)).await?;
        Ok(answer.amendment.unwrap())
    }

    fn no(&self, id: &str) -> v1::DeclineAmendmentRequest {
        v1::DeclineAmendmentRequest {
            request_id: self.house.request(),
            site: "BRA".to_owned(),
            amendment_id: id.to_owned(),
            because: "that chip reads otherwise".to_owned(),
        }
    }

    async fn decline(&self, id: &str) {
        self.brack.registrar.client.send(self.no(id)).await.unwrap();
    }

    /// A record, as somebody at a site sees it.
    async fn see(&self, person: &Person, site: &str, animal: &str) -> Result<v1::Animal, Status> {
        let ask =
            v1::GetAnimalRequest { site: site.to_owned(), animal: animal.to_owned(), ..Default::default() };
        Ok(person.client.send(ask).await?.animal.unwrap())
    }

    /// All that Quill's books say: its readings and its return.
    async fn quills(&self) -> Vec<Vec<u8>> {
        let ask = v1::ListWeightsRequest {
            site: "QUI".to_owned(),
            animal: self.sedge.id.clone(),
            ..Default::default()
        };
        let readings = self.quill.auditor.client.send(ask).await.unwrap().encode_to_vec();
        let today = self.house.clock.now().date_naive().to_string();
        let person = &self.quill.auditor;
        let told =
            crate::journeys::census::returns(person, "QUI", "2024-01-01", &today, false).await.unwrap();
        assert!(told[0].balances);
        vec![readings, told[0].encode_to_vec()]
    }
}

async fn arrive(house: &House, park: &Park, name: &str, born: &str) -> v1::Animal {
    let today = house.clock.now().date_naive();
    let arrival = v1::RegisterArrivalRequest {
        born_on: Some(born.parse().unwrap()),
        ..house.arrival(park, name, today)
    };
    park.registrar.client.send(arrival).await.unwrap().animal.unwrap()
}

async fn leave(house: &House, park: &Park, animal: &str) {
    let gone = v1::RecordDepartureRequest {
        request_id: house.request(),
        site: park.code.clone(),
        animal: animal.to_owned(),
        departed_on: Some(day(house.clock.now().date_naive())),
        destination: v1::DepartureDestination::Private.into(),
        destination_name: "Sallow Farm".to_owned(),
        ..Default::default()
    };
    park.registrar.client.send(gone).await.unwrap();
}

/// By the time it answers, the record that was proposed is its own: of the other site's facts it sets none aside.
#[tokio::test]
async fn a_proposal_ends_where_the_animal_came_to_the_site_that_was_asked() {
    let this = TwoBooks::new().await;
    let teasel = arrive(&this.house, &this.quill, "Teasel", "2014-05").await;
    let ask = this.ask("QUI", "Teasel", "BRA", CHIP);
    let proposed = this.quill.registrar.client.send(ask).await.unwrap().amendment.unwrap();
    this.house.clock.advance(TimeDelta::hours(1));
    this.house.moves(&teasel.id, &this.quill, &this.brack).await;
    let refused = this.accept(&proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{refused:?}");
    assert!(refused.message().contains("QUI no longer answers for that animal: it is at BRA"), "{refused:?}");
    this.decline(&proposed.id).await;
    this.house.close().await;
}

/// Whoever declines while a colleague accepts learns that it is accepted.
#[tokio::test]
async fn of_two_answers_at_once_the_second_learns_of_the_first() {
    let this = TwoBooks::new().await;
    let proposed = this.propose().await;
    let decline = this.brack.registrar.client.send(this.no(&proposed.id));
    let (accepted, declined) =
        this.house.in_line(("animals", &this.sedge.id), this.accept(&proposed.id), decline).await;
    assert_eq!(accepted.unwrap().state(), AmendmentState::Accepted);
    let refused = declined.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{refused:?}");
    this.house.close().await;
}

#[tokio::test]
async fn what_one_proposes_the_other_accepts_and_both_lives_are_one() {
    let this = TwoBooks::new().await;
    let hers = this.quills().await;
    let before = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&before), "NOT_FOUND");
    let proposed = this.propose().await;
    assert_eq!(proposed.says, format!("merge: it is the animal that BRA records as `{CHIP}`"));
    assert_eq!((proposed.asked_site.as_str(), proposed.state()), ("BRA", AmendmentState::Open));
    // Whoever is asked may read what it is asked about, and nobody else.
    let shown = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap();
    assert_eq!(shown.house_name, "Sedge");
    let outside = this.see(&this.third.registrar, "THI", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&outside), "NOT_FOUND");
    let blind = this.see(&this.quill.registrar, "QUI", &this.rook.id).await.unwrap_err();
    assert_eq!(reason(&blind), "NOT_FOUND", "who asks sees no more than before");

    let accepted = this.accept(&proposed.id).await.unwrap();
    assert_eq!((accepted.state(), accepted.answered_site.as_str()), (AmendmentState::Accepted, "BRA"));
    let one = this.see(&this.brack.auditor, "BRA", &this.sedge.id).await.unwrap();
    assert_eq!((one.id.as_str(), one.holder.as_str()), (this.rook.id.as_str(), "BRA"));
    let ask = v1::ListWeightsRequest { animal: this.rook.id.clone(), ..Default::default() };
    let readings = this.brack.auditor.client.send(ask).await.unwrap();
    assert_eq!(readings.weights.len(), 1, "her weight at Quill is known at Brack");
    assert_eq!(this.quills().await, hers, "Quill's books are as they were");

    // Entered wrong, it is put right: two animals again, and Brack reads Quill's no longer.
    let history =
        v1::GetHistoryRequest { site: "BRA".to_owned(), animal: this.rook.id.clone(), ..Default::default() };
    let facts = this.brack.registrar.client.send(history).await.unwrap().facts;
    let merge = facts.iter().find(|fact| fact.kind() == FactKind::Merge).unwrap().id.clone();
    let ask = crate::journeys::merges::wrong(&this.house, "BRA", &this.rook.id, &merge);
    this.brack.registrar.client.send(ask).await.unwrap();
    let apart = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&apart), "NOT_FOUND");
    assert_eq!(this.quills().await, hers);
    this.house.close().await;
}

#[tokio::test]
async fn of_two_proposals_at_one_instant_the_second_finds_the_first() {
    let this = TwoBooks::new().await;
    let client = &this.quill.registrar.client;
    let (one, other) = tokio::join!(
        client.send(this.ask("QUI", "Sedge", "BRA", CHIP)),
        client.send(this.ask("QUI", "Sedge", "BRA", "Rook"))
    );
    let refused = [one, other].into_iter().filter_map(Result::err).collect::<Vec<_>>();
    let [refused] = refused.as_slice() else { panic!("{refused:?}") };
    assert_eq!(reason(refused), "EXISTS", "{}", refused.message());
    this.house.close().await;
}

#[tokio::test]
async fn what_is_declined_or_withdrawn_is_read_no_longer() {
    let this = TwoBooks::new().await;
    let proposed = this.propose().await;
    let again = this.quill.registrar.client.send(this.ask("QUI", "Sedge", "BRA", "Rook")).await.unwrap_err();
    assert_eq!(reason(&again), "EXISTS", "{}", again.message());
    this.decline(&proposed.id).await;
    let closed = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&closed), "NOT_FOUND");
    assert_eq!(reason(&this.accept(&proposed.id).await.unwrap_err()), "PROPOSAL_WRONG_STATE");

    let proposed = this.propose().await;
    let back = v1::WithdrawAmendmentRequest {
        request_id: this.house.request(),
        site: "QUI".to_owned(),
        amendment_id: proposed.id.clone(),
        because: "another animal".to_owned(),
    };
    this.quill.registrar.client.send(back).await.unwrap();
    let closed = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap_err();
    assert_eq!(reason(&closed), "NOT_FOUND");
    let ask = v1::ListAmendmentsRequest { site: "BRA".to_owned(), ..Default::default() };
    let listed = this.brack.auditor.client.send(ask).await.unwrap().amendments;
    let states: Vec<AmendmentState> = listed.iter().map(v1::Amendment::state).collect();
    assert_eq!(
        states,
        [AmendmentState::Declined, AmendmentState::Withdrawn],
        "both sites see what became of it"
    );
    this.house.close().await;
}

#[tokio::test]
async fn a_name_that_is_wrong_is_told_to_nobody_before_and_put_right_by_who_accepts() {
    let this = TwoBooks::new().await;
    let ask = this.ask("QUI", "Sedge", "BRA", "Nobody of this name");
    let proposed = this.quill.registrar.client.send(ask).await.unwrap().amendment.unwrap();
    assert_eq!(reason(&this.accept(&proposed.id).await.unwrap_err()), "NOT_FOUND");
    let ask = v1::AcceptAmendmentRequest { animal: "Rook".to_owned(), ..this.yes("BRA", &proposed.id) };
    let only =
        v1::AcceptAmendmentRequest { validate_only: true, request_id: this.house.request(), ..ask.clone() };
    this.brack.registrar.client.send(only).await.unwrap();
    assert_eq!(this.see(&this.brack.registrar, "BRA", "Rook").await.unwrap().version, this.rook.version + 1);
    this.brack.registrar.client.send(ask).await.unwrap();
    let one = this.see(&this.brack.registrar, "BRA", &this.sedge.id).await.unwrap();
    assert_eq!(one.id, this.rook.id);
    this.house.close().await;
}

#[tokio::test]
async fn nobody_accepts_for_the_site_that_is_asked() {
    let this = TwoBooks::new().await;
    let roles = [(Role::Registrar, Some("QUI")), (Role::Registrar, Some("BRA"))];
    let both = this.house.person("of-both", &roles).await;
    let proposed = this.propose().await;
    for person in [&this.quill.registrar, &both] {
        let refused = person.client.send(this.yes("QUI", &proposed.id)).await.unwrap_err();
        assert_eq!(reason(&refused), "HELD_ELSEWHERE", "{}", refused.message());
    }
    let refused = this.third.registrar.client.send(this.yes("THI", &proposed.id)).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let refused = this.brack.keeper.client.send(this.yes("BRA", &proposed.id)).await.unwrap_err();
    assert_eq!(reason(&refused), "ROLE_NEEDED");
    // Two roles do not merge past the proposal, either.
    let ask = crate::journeys::merges::asked(&this.house, "BRA", &this.rook.id, &this.sedge.id);
    let refused = crate::journeys::merges::send(&both, ask).await.unwrap_err();
    assert_eq!(reason(&refused), "FACT_OF_ANOTHER_SITE", "{}", refused.message());
    both.client.send(this.yes("BRA", &proposed.id)).await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn who_does_not_answer_for_an_animal_proposes_no_merge_of_it() {
    let this = TwoBooks::new().await;
    for (person, site, animal, other, wanted) in [
        (&this.third.registrar, "THI", this.sedge.id.as_str(), "BRA", "NOT_FOUND"),
        (&this.quill.registrar, "QUI", "Sedge", "QUI", "PROPOSAL_WRONG_STATE"),
        (&this.quill.registrar, "QUI", "Sedge", "ZZZ", "NOT_FOUND"),
        (&this.quill.keeper, "QUI", "Sedge", "BRA", "ROLE_NEEDED"),
    ] {
        let refused = person.client.send(this.ask(site, animal, other, CHIP)).await.unwrap_err();
        assert_eq!(reason(&refused), wanted, "{site} {other}: {}", refused.message());
    }
    this.house.close().await;
}

#[tokio::test]
async fn the_site_that_proposes_keeps_its_books_and_leaves_the_life_to_the_holder() {
    let this = TwoBooks::new().await;
    // Rook arrives at Brack a second time, on a day on which Quill held her: one of two holdings is wrong.
    let early = this.house.clock.now().date_naive() - TimeDelta::days(35);
    let arrival = v1::RegisterArrivalRequest {
        born_on: Some("2013-02".parse().unwrap()),
        ..this.house.arrival(&this.brack, "Early", early)
    };
    this.brack.registrar.client.send(arrival).await.unwrap();
    let proposed = this.propose().await;
    let yes = |resolve: Vec<v1::Resolution>| v1::AcceptAmendmentRequest {
        animal: "Early".to_owned(),
        resolve,
        ..this.yes("BRA", &proposed.id)
    };
    let send = async |resolve| this.brack.registrar.client.send(yes(resolve)).await;
    assert_eq!(reason(&send(vec![]).await.unwrap_err()), "MERGE_CONFLICT");
    let theirs = vec![
        stands(FactKind::Birth, "Early"),
        stands(FactKind::Holding, "Early"),
        stands(FactKind::Title, "Early"),
    ];
    let refused = send(theirs).await.unwrap_err();
    assert_eq!(reason(&refused), "FACT_OF_ANOTHER_SITE", "{}", refused.message());
    // The other record is meant: of what Quill recorded, the day of birth alone gives way.
    let born = |on: &str| v1::FactChange { born_on: Some(on.parse().unwrap()), ..Default::default() };
    let history =
        v1::GetHistoryRequest { site: "BRA".to_owned(), animal: this.rook.id.clone(), ..Default::default() };
    let facts = this.brack.registrar.client.send(history).await.unwrap().facts;
    let birth = facts.iter().find(|fact| fact.kind() == FactKind::Birth).unwrap();
    let correct = v1::CorrectFactRequest {
        request_id: this.house.request(),
        site: "BRA".to_owned(),
        animal: this.rook.id.clone(),
        fact_id: birth.id.clone(),
        change: Some(born("2013-02")),
        because: "by her teeth".to_owned(),
        ..Default::default()
    };
    this.brack.registrar.client.send(correct).await.unwrap();
    let refused = this.accept(&proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "MERGE_CONFLICT", "{}", refused.message());
    let resolve = vec![stands(FactKind::Birth, "Rook")];
    let ask = v1::AcceptAmendmentRequest { resolve, ..this.yes("BRA", &proposed.id) };
    this.brack.registrar.client.send(ask).await.unwrap();
    let one = this.see(&this.brack.registrar, "BRA", "Rook").await.unwrap();
    assert_eq!(one.born_on, Some("2013-02".parse().unwrap()));
    this.house.close().await;
}

/// Where the other site's holding stands, nobody met the animal here: the encounter is none of its own while the link is.
#[tokio::test]
async fn an_encounter_goes_with_the_holding_in_which_it_was() {
    let this = TwoBooks::new().await;
    let early = this.house.clock.now() - TimeDelta::days(35);
    let arrival = v1::RegisterArrivalRequest {
        born_on: Some("2014-05".parse().unwrap()),
        ..this.house.arrival(&this.brack, "Early", early.date_naive())
    };
    this.brack.registrar.client.send(arrival).await.unwrap();
    let met = v1::RecordEncounterRequest {
        request_id: this.house.request(),
        site: "BRA".to_owned(),
        kind: v1::EncounterKind::Talk.into(),
        began_at: Some(timestamp(early + TimeDelta::hours(24))),
        ended_at: Some(timestamp(early + TimeDelta::hours(25))),
        animals: vec!["Early".to_owned()],
        ..Default::default()
    };
    this.brack.keeper.client.send(met).await.unwrap();
    let encounters = async || {
        let ask = v1::GetHistoryRequest {
            site: "BRA".to_owned(),
            animal: "Early".to_owned(),
            ..Default::default()
        };
        let mut facts = this.brack.registrar.client.send(ask).await.unwrap().facts;
        facts.retain(|fact| matches!(fact.kind(), FactKind::Encounter | FactKind::Merge));
        facts
    };
    assert_eq!(encounters().await[0].say, "met the public: talk");
    let proposed = this.propose().await;
    let accept = v1::AcceptAmendmentRequest {
        animal: "Early".to_owned(),
        resolve: [FactKind::Holding, FactKind::Title]
            .map(|kind| stands(kind, &this.sedge.accession))
            .to_vec(),
        ..this.yes("BRA", &proposed.id)
    };
    this.brack.registrar.client.send(accept).await.unwrap();
    let now = encounters().await;
    assert!(now.iter().any(|fact| fact.kind() == FactKind::Encounter && fact.set_aside), "{now:?}");
    let merge = now.iter().find(|fact| fact.kind() == FactKind::Merge).unwrap().id.clone();
    // Quill held her last, and so answers for her.
    let wrong = crate::journeys::merges::wrong(&this.house, "QUI", &this.sedge.id, &merge);
    this.quill.registrar.client.send(wrong).await.unwrap();
    assert!(!encounters().await[0].set_aside);
    this.house.close().await;
}

#[tokio::test]
async fn the_holder_proposes_and_the_former_one_accepts() {
    let this = TwoBooks::new().await;
    let hers = this.quills().await;
    let ask = this.ask("BRA", "Rook", "QUI", "Sedge");
    let proposed = this.brack.registrar.client.send(ask).await.unwrap().amendment.unwrap();
    let accepted = this.quill.registrar.client.send(this.yes("QUI", &proposed.id)).await.unwrap();
    assert_eq!(accepted.amendment.unwrap().state(), AmendmentState::Accepted);
    // The animal stays the holder's, by whatever record it goes; the other site sees its own, as it was.
    let one = this.see(&this.brack.registrar, "BRA", &this.rook.id).await.unwrap();
    assert_eq!((one.id.as_str(), one.holder.as_str()), (this.sedge.id.as_str(), "BRA"));
    let own = this.see(&this.quill.registrar, "QUI", "Sedge").await.unwrap();
    assert_eq!((own.id.as_str(), own.status()), (this.sedge.id.as_str(), v1::AnimalStatus::Departed));
    assert_eq!(this.quills().await, hers, "Quill's books are as they were");
    let round = this.house.round("BRA", &[("Rook", this.house.clock.now(), 8_300)]);
    this.brack.keeper.client.send(round).await.unwrap();
    this.house.close().await;
}

#[tokio::test]
async fn once_the_animal_is_at_another_site_the_proposal_opens_nothing() {
    let this = TwoBooks::new().await;
    let fern = arrive(&this.house, &this.quill, "Fern", "2014-05").await;
    let ask = this.ask("QUI", "Fern", "BRA", "Rook");
    let proposed = this.quill.registrar.client.send(ask).await.unwrap().amendment.unwrap();
    this.see(&this.brack.registrar, "BRA", &fern.id).await.unwrap();
    super::pass(&this.house, &fern.id, &this.quill, &this.third, v1::TransferTerms::TitlePasses).await;
    let closed = this.see(&this.brack.registrar, "BRA", &fern.id).await.unwrap_err();
    assert_eq!(reason(&closed), "NOT_FOUND");
    let refused = this.accept(&proposed.id).await.unwrap_err();
    assert_eq!(reason(&refused), "PROPOSAL_WRONG_STATE", "{}", refused.message());
    this.decline(&proposed.id).await;
    this.house.close().await;
}

#[tokio::test]
async fn the_database_refuses_by_itself_who_may_not_propose_accept_or_link() {
    const PROPOSE: &str = "INSERT INTO amendments
        SELECT '00000000-0000-7000-8000-0000000000aa', $2::text::uuid, $1, 'merge', NULL, s.id, '{}', 'x', 'x', now(), $1, $1
          FROM sites s WHERE s.code = 'THI'";
    const WEIGH: &str = "INSERT INTO public.weights SELECT (jsonb_populate_record(w, jsonb_build_object(
            'id', '00000000-0000-7000-8000-0000000000ac', 'request_id', a.request_id, 'weighed_at', now()))).*
          FROM amendments a, public.weights w WHERE w.animal_id = a.animal_id AND a.animal_id = $2::text::uuid AND w.site_id <> $1";
    let this = TwoBooks::new().await;
    this.propose().await;
    for (site, sql, wanted) in [
        ("QUI", PROPOSE, "done"),
        ("BRA", PROPOSE, "42501"),
        ("THI", PROPOSE, "42501"),
        ("QUI", ACCEPT, "42501"),
        ("THI", ACCEPT, "42501"),
        ("BRA", ACCEPT, "done"),
        ("BRA", WEIGH, "42501"),
    ] {
        assert_eq!(past_the_code(&this.house, site, &[sql], &this.sedge.id).await, wanted, "{site}: {sql}");
    }
    // A link takes both: the proposal that this site was asked, and its answer by the same write.
    let link = |request: &str| {
        format!(
            "INSERT INTO merges (id, animal_id, site_id, into_id, set_aside, aside_for, because, recorded_at, recorded_by, request_id)
             SELECT '00000000-0000-7000-8000-0000000000ad'::uuid, $2::text::uuid, $1, '{}'::uuid, ARRAY(SELECT b.id FROM public.births b WHERE b.animal_id = $2::text::uuid), ARRAY(SELECT $2::text::uuid FROM public.births b WHERE b.animal_id = $2::text::uuid), 'x', now(), a.recorded_by,
                    {request} FROM amendments a
             UNION ALL
             SELECT '00000000-0000-7000-8000-0000000000ad'::uuid, $2::text::uuid, $1, '{}'::uuid, ARRAY(SELECT b.id FROM public.births b WHERE b.animal_id = $2::text::uuid), ARRAY(SELECT $2::text::uuid FROM public.births b WHERE b.animal_id = $2::text::uuid), 'x', now(), $1, $1
              WHERE NOT EXISTS (SELECT FROM amendments)",
            this.rook.id, this.rook.id
        )
    };
    const COMMIT: &str = "SET CONSTRAINTS ALL IMMEDIATE";
    let (same, other) = (link("a.request_id"), link("a.id"));
    for (site, sql, wanted) in [
        ("BRA", vec![same.as_str(), COMMIT], "23514"),
        ("BRA", vec![&same, ACCEPT, COMMIT], "done"),
        ("BRA", vec![&other, ACCEPT, COMMIT], "23514"),
        ("BRA", vec![ACCEPT, &same], "42501"),
        // To agree to a merge is no leave to write in the other site's name.
        ("BRA", vec![&same, ACCEPT, WEIGH], "42501"),
        ("THI", vec![&same], "42501"),
    ] {
        assert_eq!(past_the_code(&this.house, site, &sql, &this.sedge.id).await, wanted, "{site}: {sql:?}");
    }
    this.house.close().await;
}
