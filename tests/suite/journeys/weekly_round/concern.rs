//! A slow loss: raised with its numbers in the commit of the reading that showed it, carried on, taken up,
//! settled, and not raised again at once.

use super::{Quill, steady};
use holt_proto::v1::{self, ConcernKind, ConcernLevel, ConcernState, ReadingOutcome, SettledAs};
use holt_tests::reason;
use sqlx::Executor;
use tonic::{Code, Status};

/// What Bramble weighs in week `week` of losing two percent a week: no single reading stands out.
fn losing(week: i32) -> i64 {
    (0..week).fold(8000, |grams, _| grams * 98 / 100)
}

async fn weigh(quill: &Quill, grams: i64) -> v1::RecordWeightsResponse {
    let at = quill.next_week();
    let answer = quill.weigh(quill.house.round("QUI", &[("Bramble", at, grams)])).await;
    assert_eq!(answer.answers[0].outcome(), ReadingOutcome::Accepted, "{grams} g");
    answer
}

/// Weighs Bramble until a concern is raised; answers the week, the answer and all that was weighed.
async fn until_raised(quill: &Quill) -> (i32, v1::RecordWeightsResponse) {
    quill.weekly("Bramble", &steady(20)).await;
    for week in 1..=8 {
        let answer = weigh(quill, losing(week)).await;
        if !answer.concerns.is_empty() {
            return (week, answer);
        }
    }
    panic!("a loss of 15 % in eight weeks raised nothing");
}

async fn take_up(quill: &Quill, concern: &v1::Concern, version: i64) -> Result<v1::Concern, Status> {
    let request = v1::TakeUpConcernRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        concern_id: concern.id.clone(),
        note: "we watch two whole feeds".to_owned(),
        version,
    };
    let taken = quill.park.vet.client.concerns().take_up_concern(request).await?;
    Ok(taken.into_inner().concern.unwrap())
}

#[tokio::test]
async fn it_is_raised_with_its_numbers_and_the_records_it_rests_on() {
    let quill = Quill::new().await;
    let (week, answer) = until_raised(&quill).await;
    assert!((2..=6).contains(&week), "not at the first step, and not when a tenth is gone: week {week}");
    let concern = &answer.concerns[0];
    assert_eq!((concern.kind(), concern.state()), (ConcernKind::WeightTrend, ConcernState::Raised));
    assert_eq!((concern.house_name.as_str(), concern.accession.as_str()), ("Bramble", "QUI-25-0001"));
    assert!(concern.record_ids.contains(&answer.answers[0].weight_id));
    let figure = |name: &str| concern.figures.iter().find(|figure| figure.name == name);
    let latest = figure("latest weight").unwrap();
    #[expect(clippy::cast_precision_loss, reason = "a few kilograms")]
    let weighed = losing(week) as f64;
    assert_eq!((latest.value, latest.unit.as_str()), (weighed, "g"));
    // One figure, in the sentence and in the level.
    let below = figure("below expected").unwrap();
    assert!(
        concern.seen.contains(&format!("{:.1} % below", below.value)) && below.unit == "%",
        "{concern:?}"
    );
    assert!((3.0..15.0).contains(&below.value), "{below:?} of {week} weeks at 2 %");
    let level = if below.value < 10.0 { ConcernLevel::Watch } else { ConcernLevel::Act };
    assert_eq!(concern.level(), level, "{below:?}");
    assert!(!concern.seen.is_empty() && !concern.look_first.is_empty());
    assert_eq!(concern.age_days, 0);
    assert_eq!(quill.concerns(false).await, answer.concerns);
    quill.house.close().await;
}

/// A crash between the two would lose the alarm: they are one commit.
#[tokio::test]
async fn reading_and_concern_are_recorded_together_or_not_at_all() {
    let quill = Quill::new().await;
    quill.weekly("Bramble", &steady(20)).await;
    let mut owner = quill.house.owner().await;
    owner
        .execute(
            "CREATE FUNCTION out_of_order() RETURNS trigger LANGUAGE plpgsql AS
               $$ BEGIN RAISE EXCEPTION 'out of order'; END $$;
             CREATE TRIGGER out_of_order BEFORE INSERT ON concern_steps EXECUTE FUNCTION out_of_order();",
        )
        .await
        .unwrap();
    for week in 1..=8 {
        let round = quill.house.round("QUI", &[("Bramble", quill.next_week(), losing(week))]);
        let before = quill.rows("weights").await;
        let Err(fault) = quill.park.keeper.client.weights().record_weights(round.clone()).await else {
            continue;
        };
        assert_eq!((fault.code(), reason(&fault).as_str()), (Code::Internal, "FAULT"));
        assert!(!fault.message().contains("out of order"), "the cause is for the log: {fault:?}");
        assert_eq!((quill.rows("weights").await, quill.rows("concerns").await), (before, 0));
        owner.execute("DROP TRIGGER out_of_order ON concern_steps").await.unwrap();
        // The same request, sent again, does both.
        let answer = quill.weigh(round.clone()).await;
        assert_eq!((answer.answers[0].outcome(), answer.concerns.len()), (ReadingOutcome::Accepted, 1));
        let recorded: Vec<(String,)> = sqlx::query_as(
            "SELECT 'weight' FROM weights WHERE request_id = $1::text::uuid
              UNION ALL SELECT 'concern' FROM concerns WHERE request_id = $1::text::uuid
              UNION ALL SELECT 'step' FROM concern_steps WHERE request_id = $1::text::uuid
              UNION ALL SELECT line ->> 'table' FROM ledger, jsonb_array_elements(lines) line
                         WHERE request_id = $1::text::uuid",
        )
        .bind(&round.request_id)
        .fetch_all(&mut owner)
        .await
        .unwrap();
        let recorded: Vec<_> = recorded.iter().map(|(what,)| what.as_str()).collect();
        assert_eq!(recorded, ["weight", "concern", "step", "weights", "concerns", "concern_steps"]);
        quill.house.close().await;
        return;
    }
    panic!("no reading raised a concern");
}

#[tokio::test]
async fn it_is_carried_on_under_one_name_and_taken_up() {
    let quill = Quill::new().await;
    let (week, answer) = until_raised(&quill).await;
    let raised = &answer.concerns[0];
    let answer = weigh(&quill, losing(week + 1)).await;
    let [carried] = answer.concerns.as_slice() else { panic!("{answer:?}") };
    assert_eq!((carried.id.as_str(), carried.version), (raised.id.as_str(), raised.version + 1));
    assert_eq!(carried.raised_at, raised.raised_at);
    assert!(carried.changed_at.unwrap().seconds > raised.changed_at.unwrap().seconds);
    assert_eq!(carried.age_days, 7);
    assert!(carried.record_ids.contains(&answer.answers[0].weight_id));

    let passed = take_up(&quill, carried, raised.version).await.unwrap_err();
    assert_eq!((passed.code(), reason(&passed).as_str()), (Code::Aborted, "VERSION_PASSED"));
    let taken = take_up(&quill, carried, carried.version).await.unwrap();
    assert_eq!((taken.state(), taken.taken_up_by.as_str()), (ConcernState::TakenUp, "qui-vet"));
    // It goes on while somebody works on it.
    let answer = weigh(&quill, losing(week + 2)).await;
    assert_eq!(
        (answer.concerns[0].state(), answer.concerns[0].version),
        (ConcernState::TakenUp, taken.version + 1)
    );
    assert_eq!(quill.concerns(true).await.len(), 1);
    quill.house.close().await;
}

#[tokio::test]
async fn the_same_numbers_again_are_no_news() {
    let quill = Quill::new().await;
    let (_, answer) = until_raised(&quill).await;
    let raised = &answer.concerns[0];
    // Another animal is weighed; of Bramble there is nothing new.
    let round = quill.house.round("QUI", &[("Sedge", quill.next_week(), 7900)]);
    assert_eq!(quill.weigh(round).await.concerns, []);
    assert_eq!(quill.concerns(false).await[0].version, raised.version);
    quill.house.close().await;
}

#[tokio::test]
async fn settled_it_stays_settled_and_is_not_raised_again_at_once() {
    let quill = Quill::new().await;
    let (week, answer) = until_raised(&quill).await;
    let settled = quill.settles(&answer.concerns[0], SettledAs::NewNormal).await.unwrap();
    assert_eq!(settled.state(), ConcernState::Settled);
    assert!(settled.settled_because.contains("too fat"));
    assert_eq!(quill.concerns(false).await, []);
    assert_eq!(quill.concerns(true).await, std::slice::from_ref(&settled));
    let again = quill.settles(&settled, SettledAs::NewNormal).await;
    for again in [again, take_up(&quill, &settled, 0).await] {
        let again = again.unwrap_err();
        assert_eq!((again.code(), reason(&again).as_str()), (Code::FailedPrecondition, "CONCERN_SETTLED"));
    }
    // The weight that was accepted is the new normal, and a little more or less of it is no news.
    for step in [0, 30, -30, 20, -20, 0] {
        assert_eq!(weigh(&quill, losing(week) + step).await.concerns, []);
    }
    // A new loss from there is.
    let mut raised = Vec::new();
    for more in 1..=8 {
        raised.extend(weigh(&quill, losing(week + more)).await.concerns);
    }
    assert_ne!(raised[0].id, settled.id, "it is raised anew");
    quill.house.close().await;
}

#[tokio::test]
async fn one_that_is_not_there_is_not_found() {
    let quill = Quill::new().await;
    let nobody = v1::Concern { id: quill.house.request(), ..Default::default() };
    let refused = take_up(&quill, &nobody, 0).await.unwrap_err();
    assert_eq!((refused.code(), reason(&refused).as_str()), (Code::NotFound, "NOT_FOUND"));
    quill.house.close().await;
}
