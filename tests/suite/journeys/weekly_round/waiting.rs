//! A reading that waits is due until there is another, or until a person accepts or withdraws it.

use super::{Quill, at, grams, morning, outcomes, reading, steady};
use chrono::TimeDelta;
use holt_proto::call::Call;
use holt_proto::v1::{self, ConcernLevel, DueState, Duty, ReadingOutcome};
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use holt_tests::{Person, reason};
use tonic::{Code, Status};

impl Quill {
    async fn due(&self, duty: Duty) -> Vec<v1::DueItem> {
        let ask = v1::ListDueRequest { site: "QUI".into(), duty: duty.into(), ..Default::default() };
        self.park.auditor.client.checks().list_due(ask).await.unwrap().into_inner().items
    }

    /// Weighs Bramble now, and answers the reading.
    async fn now(&self, mass: i64) -> v1::ReadingAnswer {
        let mut round = self.house.round("QUI", &[]);
        round.readings.push(reading("Bramble", at(self.house.clock.now()), grams(mass)));
        self.weigh(round).await.answers.swap_remove(0)
    }

    fn accepting(&self, weight: &str) -> v1::AcceptWeightRequest {
        v1::AcceptWeightRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: "Bramble".to_owned(),
            weight_id: weight.to_owned(),
            because: "weighed on the other scale as well".to_owned(),
            ..Default::default()
        }
    }

    async fn accept(&self, who: &Person, weight: &str) -> Result<v1::AcceptWeightResponse, Status> {
        who.client.send(self.accepting(weight)).await
    }

    fn withdrawing(&self, weight: &str) -> v1::WithdrawFactRequest {
        v1::WithdrawFactRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            animal: "Bramble".to_owned(),
            fact_id: weight.to_owned(),
            because: "the crate was on the scale".to_owned(),
            ..Default::default()
        }
    }

    /// Another keeper of the park.
    async fn other_keeper(&self) -> Person {
        self.house.person("other-keeper", &[(Role::Keeper, Some("QUI"))]).await
    }
}

async fn refused<C: Call + Send>(who: &Person, call: C) -> (Code, String)
where
    C::Answer: std::fmt::Debug,
{
    let refused = who.client.send(call).await.unwrap_err();
    (refused.code(), reason(&refused))
}

#[tokio::test]
async fn it_is_due_with_what_waits_since_when_and_what_is_expected() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    let waits = quill.now(800).await;
    assert_eq!(waits.outcome(), ReadingOutcome::SecondWeighing);
    let [item] = quill.due(Duty::WeighAgain).await.try_into().unwrap();
    assert_eq!((item.check_id.as_str(), item.house_name.as_str()), (waits.weight_id.as_str(), "Bramble"));
    assert_eq!((item.state(), item.days_late, item.open_dues), (DueState::Due, 0, 1));
    let waiting = item.waiting.unwrap();
    assert_eq!((waiting.mass.unwrap().milligrams, waiting.recorded_by.as_str()), (800_000, "qui-keeper"));
    let [low, high] = waiting.forecast.map(|it| [it.low, it.high]).unwrap().map(|it| it.unwrap().milligrams);
    assert!(low < 8_000_000 && 8_000_000 < high, "{low} {high}");
    // Whoever asks what is to be weighed hears of it as well; whoever asks for something else does not.
    assert_eq!(quill.due(Duty::Weigh).await.len(), 1);
    assert_eq!(quill.due(Duty::Assess).await, []);
    assert_eq!(quill.due(Duty::Unspecified).await.len(), 1);
    // A week goes by without a second weighing.
    quill.house.clock.advance(TimeDelta::days(8));
    let [late] = quill.due(Duty::WeighAgain).await.try_into().unwrap();
    assert_eq!((late.state(), late.days_late), (DueState::Overdue, 8));
    // One that fits the others ends it.
    assert_eq!(quill.now(8_010).await.outcome(), ReadingOutcome::Accepted);
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    // As of the day before, it was due.
    let yesterday = (quill.house.clock.now() - TimeDelta::days(1)).date_naive().to_string().parse().unwrap();
    let then = v1::ListDueRequest { site: "QUI".into(), as_of: Some(yesterday), ..Default::default() };
    let then = quill.park.auditor.client.checks().list_due(then).await.unwrap().into_inner().items;
    assert_eq!(then.iter().map(|item| item.duty()).collect::<Vec<_>>(), [Duty::WeighAgain]);
    quill.house.close().await;
}

/// It counts from its own instant: the loss is told with it, and the next reading is expected beside it.
#[tokio::test]
async fn accepted_it_counts_as_if_another_had_agreed_with_it() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let waits = quill.now(6_900).await;
    assert_eq!(quill.concerns(false).await, []);
    let told = quill.accept(&quill.park.keeper, &waits.weight_id).await.unwrap();
    let [concern] = told.concerns.as_slice() else { panic!("{told:?}") };
    assert_eq!(concern.level(), ConcernLevel::Act, "{concern:?}");
    let reading = told.reading.unwrap();
    assert!(reading.say.contains("6.9 kg") && reading.say.contains("accepted"), "{}", reading.say);
    assert!(concern.record_ids.contains(&reading.id));
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    let listed = quill.listed("Bramble").await.swap_remove(0);
    assert_eq!((listed.awaits_second, listed.accepted, listed.id), (false, true, reading.id));
    assert_eq!(quill.now(6_910).await.outcome(), ReadingOutcome::Accepted);
    quill.house.close().await;
}

#[tokio::test]
async fn withdrawn_it_is_as_if_it_had_never_been() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let waits = quill.now(800).await;
    quill.park.keeper.client.send(quill.withdrawing(&waits.weight_id)).await.unwrap();
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    assert!(quill.listed("Bramble").await.iter().all(|weight| weight.id != waits.weight_id));
    // It stands in nobody's way, and confirms nothing.
    quill.house.clock.advance(TimeDelta::days(1));
    assert_eq!(quill.now(800).await.outcome(), ReadingOutcome::SecondWeighing);
    quill.house.close().await;
}

/// What somebody else recorded she may put right, by what the scale showed; make away with it, or vouch for it, she
/// may not. A registrar may.
#[tokio::test]
async fn what_another_keeper_recorded_is_hers_to_correct_and_not_to_withdraw_or_accept() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    let other = quill.other_keeper().await;
    let waits = quill.now(800).await.weight_id;
    let denied = (Code::PermissionDenied, "ROLE_NEEDED".to_owned());
    assert_eq!(refused(&other, quill.accepting(&waits)).await, denied);
    assert_eq!(refused(&other, quill.withdrawing(&waits)).await, denied);
    assert_eq!(refused(&quill.park.auditor, quill.accepting(&waits)).await, denied);
    assert_eq!(refused(&quill.park.auditor, quill.withdrawing(&waits)).await, denied);
    let correct = v1::CorrectFactRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: waits,
        change: Some(v1::FactChange { mass: Some(v1::Mass { milligrams: 8_000_000 }), ..Default::default() }),
        because: "read the point wrong".to_owned(),
        ..Default::default()
    };
    other.client.send(correct).await.unwrap();
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    // Now it is hers; the one before may not touch it any longer.
    let corrected = quill.listed("Bramble").await.swap_remove(0).id;
    assert_eq!(refused(&quill.park.keeper, quill.withdrawing(&corrected)).await, denied);
    quill.house.clock.advance(TimeDelta::days(1));
    let waits = quill.now(800).await.weight_id;
    quill.accept(&quill.park.registrar, &waits).await.unwrap();
    quill.house.close().await;
}

#[tokio::test]
async fn only_what_waits_is_accepted_and_the_refusals_say_why() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    let keeper = &quill.park.keeper;
    let does_not = (Code::FailedPrecondition, "READING_DOES_NOT_WAIT".to_owned());
    let not_found = (Code::NotFound, "NOT_FOUND".to_owned());
    let counts = quill.listed("Bramble").await.swap_remove(0).id;
    assert_eq!(refused(keeper, quill.accepting(&counts)).await, does_not);
    assert_eq!(refused(keeper, quill.accepting(&quill.house.request())).await, not_found);
    let waits = quill.now(800).await.weight_id;
    let other = v1::AcceptWeightRequest { animal: "Sedge".to_owned(), ..quill.accepting(&waits) };
    assert_eq!(refused(keeper, other).await, not_found);
    let stale = v1::AcceptWeightRequest { version: 99, ..quill.accepting(&waits) };
    assert_eq!(refused(keeper, stale).await, (Code::Aborted, "VERSION_PASSED".to_owned()));
    let silent = v1::AcceptWeightRequest { because: String::new(), ..quill.accepting(&waits) };
    assert_eq!(refused(keeper, silent).await, (Code::InvalidArgument, "MALFORMED".to_owned()));
    let tried = v1::AcceptWeightRequest { validate_only: true, ..quill.accepting(&waits) };
    keeper.client.send(tried).await.unwrap();
    assert_eq!(quill.due(Duty::WeighAgain).await.len(), 1, "only tried");
    // Another fact of the animal is no reading.
    let history =
        v1::GetHistoryRequest { site: "QUI".into(), animal: "Bramble".into(), ..Default::default() };
    let facts = quill.park.auditor.client.history().get_history(history).await.unwrap().into_inner().facts;
    let birth = facts.iter().find(|fact| fact.kind() != v1::FactKind::Weight).unwrap();
    assert_eq!(refused(keeper, quill.accepting(&birth.id)).await, not_found);
    // Sent again it is answered again; under another request it waits no longer.
    let accept = quill.accepting(&waits);
    let first = keeper.client.send(accept.clone()).await.unwrap();
    assert_eq!(keeper.client.send(accept).await.unwrap(), first);
    let now = quill.listed("Bramble").await.swap_remove(0).id;
    assert_eq!(refused(keeper, quill.accepting(&now)).await, does_not);
    assert_eq!(refused(keeper, quill.accepting(&waits)).await, (Code::Aborted, "VERSION_PASSED".to_owned()));
    quill.house.close().await;
}

/// Accepted by mistake, it waits again once that is withdrawn; and what was accepted was that number at that time.
#[tokio::test]
async fn what_was_accepted_wrong_is_put_right() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let waits = quill.now(5_000).await.weight_id;
    let keeper = &quill.park.keeper;
    let accepted = quill.accept(keeper, &waits).await.unwrap();
    assert_eq!(accepted.concerns.len(), 1);
    let correct = |fact: &str, change: v1::FactChange| v1::CorrectFactRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: fact.to_owned(),
        change: Some(change),
        because: "it was the other scale".to_owned(),
        ..Default::default()
    };
    let reading = accepted.reading.unwrap().id;
    let yes = correct(&reading, v1::FactChange { accepted: Some(true), ..Default::default() });
    assert_eq!(refused(keeper, yes).await, (Code::InvalidArgument, "MALFORMED".to_owned()));
    let no = correct(&reading, v1::FactChange { accepted: Some(false), ..Default::default() });
    let told = keeper.client.send(no).await.unwrap();
    assert!(told.concerns[0].seen.contains("as expected again"), "{told:?}");
    assert_eq!(quill.due(Duty::WeighAgain).await.len(), 1);
    // Once more, and then it turns out to have been another time.
    let again = quill.accept(keeper, &told.facts[0].id).await.unwrap().reading.unwrap().id;
    let earlier = Some(holt_proto::time::timestamp(quill.house.clock.now() - TimeDelta::hours(3)));
    keeper
        .client
        .send(correct(&again, v1::FactChange { happened_at: earlier, ..Default::default() }))
        .await
        .unwrap();
    assert_eq!(quill.due(Duty::WeighAgain).await.len(), 1, "nobody vouched for that");
    quill.house.close().await;
}

/// What a keeper has found out about a reading by correcting it needs no second one, however far off it is.
#[tokio::test]
async fn a_corrected_mass_counts() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let waits = quill.now(800).await.weight_id;
    let correct = v1::CorrectFactRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animal: "Bramble".to_owned(),
        fact_id: waits,
        change: Some(v1::FactChange { mass: Some(v1::Mass { milligrams: 6_900_000 }), ..Default::default() }),
        because: "read the wrong line".to_owned(),
        ..Default::default()
    };
    let told = quill.park.keeper.client.send(correct).await.unwrap();
    assert_eq!(told.concerns.len(), 1, "{told:?}");
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    assert_eq!(quill.now(6_910).await.outcome(), ReadingOutcome::Accepted);
    quill.house.close().await;
}

/// A litter of hers explains it: nobody needs to weigh her again.
#[tokio::test]
async fn a_recorded_birth_ends_the_doubt() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    quill.now(6_500).await;
    assert_eq!(quill.due(Duty::WeighAgain).await.len(), 1);
    quill.house.clock.advance(TimeDelta::hours(2));
    let birth = quill.house.birth(&quill.park, "Bramble", "Fern", quill.house.clock.now().date_naive());
    quill.park.registrar.client.send(birth).await.unwrap();
    quill.house.clock.advance(TimeDelta::days(1));
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    quill.house.close().await;
}

/// She has gone to another site while her reading waited. The site that weighed her no longer decides; the one that holds
/// her weighs her again. Somebody with roles at both is told the same.
#[tokio::test]
async fn a_former_holder_accepts_nothing_and_neither_does_one_with_roles_at_two_sites() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(12)).await;
    let brack = quill.house.park("BRA", "America/Halifax").await;
    let roles = [(Role::Keeper, Some("QUI")), (Role::Keeper, Some("BRA"))];
    let both = quill.house.person("both", &roles).await;
    let mut round = quill.house.round("QUI", &[]);
    round.readings.push(reading("Bramble", at(morning()), grams(800)));
    let waits = both.client.send(round).await.unwrap();
    assert_eq!(outcomes(&waits), [ReadingOutcome::SecondWeighing]);
    let waits = waits.answers[0].weight_id.clone();
    let animal = quill.house.moves("Bramble", &quill.park, &brack).await;
    assert_eq!(quill.due(Duty::WeighAgain).await, []);
    let here = v1::AcceptWeightRequest { animal: animal.clone(), ..quill.accepting(&waits) };
    assert_eq!(refused(&both, here).await.1, "ANIMAL_NOT_HELD_THEN");
    let there =
        v1::AcceptWeightRequest { site: "BRA".to_owned(), animal: animal.clone(), ..quill.accepting(&waits) };
    assert_eq!(refused(&both, there).await.1, "FACT_OF_ANOTHER_SITE");
    let there = v1::WithdrawFactRequest { site: "BRA".to_owned(), animal, ..quill.withdrawing(&waits) };
    assert_eq!(refused(&both, there).await.1, "FACT_OF_ANOTHER_SITE");
    quill.house.close().await;
}
