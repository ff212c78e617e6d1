//! What is kept of animals is moved on with each round. Worked out again from the first reading it is the same; the
//! service, a replay and the model by itself say the same.

use super::{Quill, at, grams, morning, outcomes, reading};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::expected::{Fact, Herd, Kind, Life, Weighing};
use holt_audit::terms::{Mass, RecordId, Sex};
use holt_proto::time::{day, day_bounds};
use holt_proto::v1::{self, ConcernKind, ReadingOutcome};
use sqlx::Executor;
use std::collections::BTreeSet;
use uuid::Uuid;

const NAMES: [&str; 3] = ["Bramble", "Sedge", "Teasel"];
const WEEKS: usize = 30;

/// What otter `n` weighs in week `week`, in grams: Bramble loses 1.5 % a week from the 20th on.
fn mass(n: usize, week: usize) -> i64 {
    let noise = [0.0, 0.006, -0.004, 0.009, -0.008, 0.003, -0.006][(3 * n + week) % 7];
    let lost = if n == 0 { -0.015 * f64::from(u32::try_from(week.saturating_sub(19)).unwrap()) } else { 0.0 };
    #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "grams of an otter")]
    let grams = ((7000 + 300 * n) as f64 * (noise + lost).exp()) as i64;
    grams
}

/// Three otters in one enclosure.
async fn together() -> Quill {
    let quill = Quill::new().await;
    quill.house.enclosure(&quill.park, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animals: NAMES.map(str::to_owned).into(),
        enclosure: "Weir".to_owned(),
        placed_at: None,
    };
    quill.park.keeper.client.placements().place_animals(place).await.unwrap();
    quill
}

async fn round(quill: &Quill, at: DateTime<Utc>, week: usize) -> v1::RecordWeightsResponse {
    let readings: Vec<_> = NAMES.iter().enumerate().map(|(n, name)| (*name, at, mass(n, week))).collect();
    quill.weigh(quill.house.round("QUI", &readings)).await
}

type Row = (Uuid, String, DateTime<Utc>, String, String, Vec<Uuid>);

async fn rows(quill: &Quill) -> Vec<Row> {
    let sql = "SELECT of_id, part, until, basis, state, confirmed FROM weight_states ORDER BY of_id, part";
    sqlx::query_as(sql).fetch_all(&mut quill.house.owner().await).await.unwrap()
}

async fn forget(quill: &Quill) {
    quill.house.owner().await.execute("UPDATE weight_states SET stale = true").await.unwrap();
}

/// Weeks of rounds with a wild reading and its second weighing; before the last, all is worked out again where `anew`.
async fn lived(anew: bool) -> (Quill, Vec<Row>) {
    let quill = together().await;
    for week in 0..WEEKS {
        let now = quill.next_week();
        if week + 1 == WEEKS && anew {
            forget(&quill).await;
        }
        round(&quill, now, week).await;
        if week == 12 {
            for (minutes, wild) in [(5, 5600), (12, 5620)] {
                let mut again = quill.house.round("QUI", &[]);
                again.readings.push(reading("Sedge", at(now + TimeDelta::minutes(minutes)), grams(wild)));
                quill.weigh(again).await;
            }
        }
    }
    let rows = rows(&quill).await;
    (quill, rows)
}

#[tokio::test]
async fn moved_on_and_worked_out_again_it_is_the_same() {
    let (on, moved) = lived(false).await;
    let (again, anew) = lived(true).await;
    assert_eq!(moved.len(), 4, "three otters and their group");
    let confirmed = moved.iter().map(|(.., confirmed)| confirmed.len());
    assert_eq!(confirmed.max(), Some(2), "a wild reading, and the right one after it");
    assert_eq!(moved, anew);
    on.house.close().await;
    again.house.close().await;
}

/// A reading that comes late gives the state that it would have given in time.
#[tokio::test]
async fn a_late_reading_is_taken_in_where_it_belongs() {
    let in_time = together().await;
    let late = together().await;
    let first = in_time.next_week();
    assert_eq!(late.next_week(), first);
    for quill in [&in_time, &late] {
        round(quill, first, 0).await;
    }
    let (then, now) = (first + TimeDelta::minutes(10), first + TimeDelta::minutes(40));
    let one = |quill: &Quill, at_: DateTime<Utc>| {
        let mut one = quill.house.round("QUI", &[]);
        one.readings.push(reading("Sedge", at(at_), grams(7250)));
        one
    };
    for (quill, order) in [(&in_time, [then, now]), (&late, [now, then])] {
        for at in order {
            let one = one(quill, at);
            assert_eq!(outcomes(&quill.weigh(one).await), [ReadingOutcome::Accepted]);
        }
    }
    // Readings have other identifiers, as they were entered in another order: the model's own part is the same.
    let models = async |quill: &Quill| -> Vec<serde_json::Value> {
        rows(quill)
            .await
            .into_iter()
            .map(|row| {
                let state: serde_json::Value = serde_json::from_str(&row.4).unwrap();
                state.get("member").cloned().unwrap_or(state)
            })
            .collect()
    };
    assert_eq!(models(&in_time).await, models(&late).await);
    in_time.house.close().await;
    late.house.close().await;
}

/// The one figure of a concern about weight, in %.
fn below(concern: &v1::Concern) -> f64 {
    concern.figures.iter().find(|figure| figure.name == "below expected").unwrap().value
}

/// Each week: who is told, and by how much, by the service, by a replay, and by the model on the same readings.
#[tokio::test]
async fn the_service_a_replay_and_the_model_agree_to_the_concern() {
    let quill = together().await;
    let kind = Kind { seasonal: false, gestation_days: None, breeds_from_days: Some(365), false_a_year: 0.1 };
    let (group, id) = (RecordId(1), |n: usize| RecordId(10 + n as u128));
    let mut herd = Herd::new(kind);
    let life = Life { sex: Sex::Female, born: None };
    let mut raised_on = None;
    for week in 0..WEEKS {
        let now = quill.next_week();
        let answer = round(&quill, now, week).await;
        let mut readings = Vec::new();
        for n in 0..NAMES.len() {
            herd.notes(group, id(n), now, &Fact::Joins { life });
            let mass = Mass::from_mg(mass(n, week) * 1000);
            readings.push(Weighing {
                animal: id(n),
                at: now,
                mass,
                scale: None,
                step: None,
                accepted: false,
            });
        }
        herd.round(group, &readings);
        let by_model: BTreeSet<(&str, String)> = NAMES
            .iter()
            .enumerate()
            .filter_map(|(n, name)| {
                let loss = herd.loss(id(n)).filter(|loss| loss.told)?;
                Some((*name, format!("{:.1}", loss.percent)))
            })
            .collect();
        let told = quill.concerns(false).await;
        let by_service: BTreeSet<(&str, String)> = told
            .iter()
            .filter(|concern| concern.kind() == ConcernKind::WeightTrend)
            .filter_map(|concern| {
                let name = NAMES.iter().find(|name| **name == concern.house_name)?;
                Some((*name, format!("{:.1}", below(concern))))
            })
            .collect();
        assert_eq!(by_service, by_model, "week {week}");
        if raised_on.is_none() && !answer.concerns.is_empty() {
            raised_on = Some(now.date_naive());
        }
    }
    let raised_on = raised_on.expect("15 % lost of Bramble");
    let days = v1::DaySpan {
        first: Some(day((morning() - TimeDelta::days(1)).date_naive())),
        last: Some(day(raised_on)),
    };
    // Looked at on the weekday of the rounds, up to the day on which it was raised.
    let request =
        v1::ReplayConcernsRequest { site: "QUI".to_owned(), days: Some(days), ..Default::default() };
    let replayed = quill.park.auditor.client.concerns().replay_concerns(request).await.unwrap().into_inner();
    let told = replayed.today.unwrap().told;
    let [only] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!((only.house_name.as_str(), only.kind()), ("Bramble", ConcernKind::WeightTrend));
    assert_eq!(day_bounds(only.told_on.unwrap()).unwrap().0, raised_on);
    quill.house.close().await;
}

/// All pages print one number.
#[tokio::test]
async fn concern_group_and_growth_say_the_same_of_an_animal() {
    let quill = together().await;
    let group = v1::CreateGroupRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        name: "Weir family".to_owned(),
        ..Default::default()
    };
    quill.park.registrar.client.groups().create_group(group).await.unwrap();
    let join = v1::JoinGroupRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: NAMES.map(str::to_owned).into(),
        role: v1::GroupRole::Member.into(),
        joined_at: None,
    };
    quill.park.registrar.client.groups().join_group(join).await.unwrap();
    for week in 0..WEEKS {
        let now = quill.next_week();
        round(&quill, now, week).await;
    }
    let concern = quill.concerns(false).await.remove(0);
    let figure = below(&concern);
    assert!(figure > 5.0 && concern.seen.contains(&format!("{figure:.1} % below")), "{concern:?}");
    let get =
        v1::GetGroupRequest { site: "QUI".to_owned(), group: "Weir family".to_owned(), ..Default::default() };
    let group = quill.park.auditor.client.groups().get_group(get).await.unwrap().into_inner();
    let member =
        group.members.iter().find(|member| member.animal.as_ref().unwrap().house_name == "Bramble").unwrap();
    assert!((member.change_percent.unwrap() + figure).abs() < 1e-9, "{member:?} and {figure}");
    quill.house.close().await;
}
