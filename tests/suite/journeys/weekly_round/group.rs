//! A group that loses as a whole is one matter, and so is a scale that is off.

use super::{Quill, morning};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::time::timestamp;
use holt_proto::v1::{self, ConcernKind, ConcernState, ReadingOutcome, SettledAs};
use std::collections::BTreeSet;

pub(super) const NAMES: [&str; 6] = ["Bramble", "Sedge", "Teasel", "Alder", "Rush", "Willow"];

/// What otter `n` weighs in week `week`, in grams, times a factor: a little noise of its own, no two alike.
fn grams(n: usize, week: usize, factor: f64) -> i64 {
    let noise = [0.0, 0.006, -0.004, 0.009, -0.008, 0.003, -0.006][(3 * n + week) % 7];
    #[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "grams of an otter")]
    let grams = ((7000 + 300 * n) as f64 * (1.0 + noise) * factor) as i64;
    grams
}

/// Six otters that live in one enclosure, with a steady past of 30 weeks.
pub(super) async fn family() -> Quill {
    let quill = Quill::new().await;
    for name in &NAMES[3..] {
        quill.house.otter(&quill.park, name).await;
    }
    quill.house.enclosure(&quill.park, "Weir").await;
    let place = v1::PlaceAnimalsRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        animals: NAMES.map(str::to_owned).into(),
        enclosure: "Weir".to_owned(),
        placed_at: Some(timestamp(morning() - TimeDelta::weeks(31))),
    };
    quill.park.keeper.client.placements().place_animals(place).await.unwrap();
    let mut past = Vec::new();
    for week in 0..30 {
        let at = morning() - TimeDelta::weeks(30 - i64::try_from(week).unwrap());
        past.extend(NAMES.iter().enumerate().map(|(n, name)| (*name, at, grams(n, week, 1.0))));
    }
    let answer = weighed(&quill, &past, "platform").await;
    assert_eq!((answer.concerns, answer.drifts), (Vec::new(), Vec::new()), "a steady past");
    quill
}

async fn weighed(
    quill: &Quill,
    readings: &[(&str, DateTime<Utc>, i64)],
    scale: &str,
) -> v1::RecordWeightsResponse {
    let mut round = quill.house.round("QUI", readings);
    round.readings.iter_mut().for_each(|reading| scale.clone_into(&mut reading.scale));
    quill.weigh(round).await
}

/// A week goes by, and all are weighed: by what factor each is off its usual mass.
pub(super) async fn next(
    quill: &Quill,
    week: usize,
    factor: impl Fn(usize) -> f64,
) -> v1::RecordWeightsResponse {
    let at = quill.next_week();
    let round: Vec<_> =
        NAMES.iter().enumerate().map(|(n, name)| (*name, at, grams(n, 30 + week, factor(n)))).collect();
    weighed(quill, &round, "platform").await
}

#[expect(clippy::cast_precision_loss, reason = "a few weeks")]
fn losing(week: usize) -> f64 {
    1.0 - 0.012 * (week + 1) as f64
}

#[tokio::test]
async fn it_is_raised_of_the_group_once_and_of_no_animal() {
    let quill = family().await;
    let mut raised: Vec<v1::Concern> = Vec::new();
    for week in 0..10 {
        raised.extend(next(&quill, week, |_| losing(week)).await.concerns);
    }
    let first = raised.first().expect("a loss of 12 % of all of them");
    assert_eq!(first.kind(), ConcernKind::GroupWeight);
    assert_eq!((first.enclosure.as_str(), first.taxon.as_str()), ("Weir", "Lontra canadensis"));
    assert_eq!((first.animal_id.as_str(), first.accession.as_str()), ("", ""));
    assert!(
        first.seen.starts_with("Lontra canadensis in Weir are ") && first.look_first.contains("feed"),
        "{first:?}"
    );
    let below = first.figures.iter().find(|figure| figure.name == "below expected").unwrap().value;
    assert!(first.seen.contains(&format!("{below:.1} % below")) && (2.0..9.0).contains(&below), "{first:?}");
    assert_eq!(first.record_ids.len(), 6, "the latest reading of each");
    let open = quill.concerns(false).await;
    let [only] = open.as_slice() else { panic!("{open:?}") };
    assert_eq!(only.id, first.id, "it is carried on under one name");
    assert!(only.version > 1);
    quill.house.close().await;
}

#[tokio::test]
async fn one_that_loses_far_more_is_raised_beside_it() {
    let quill = family().await;
    for week in 0..10 {
        next(&quill, week, |n| if n == 2 { losing(week).powi(3) } else { losing(week) }).await;
    }
    let open = quill.concerns(false).await;
    let of: Vec<_> = open.iter().map(|concern| (concern.kind(), concern.house_name.as_str())).collect();
    assert!(of.contains(&(ConcernKind::GroupWeight, "")), "{of:?}");
    assert!(of.contains(&(ConcernKind::WeightTrend, "Teasel")), "{of:?}");
    assert_eq!(of.len(), 2, "{of:?}");
    quill.house.close().await;
}

#[tokio::test]
async fn settled_for_the_group_it_is_settled_for_its_members() {
    let quill = family().await;
    let mut week = 0;
    while quill.concerns(false).await.is_empty() {
        assert!(week < 10);
        next(&quill, week, |_| losing(week)).await;
        week += 1;
    }
    let raised = quill.concerns(false).await.remove(0);
    let settled = quill.settles(&raised, SettledAs::NewNormal).await.unwrap();
    assert_eq!(settled.state(), ConcernState::Settled);
    for more in 0..6 {
        assert_eq!(next(&quill, week + more, |_| losing(week - 1)).await.concerns, []);
    }
    quill.house.close().await;
}

/// With the first round it may be either, and animals come before scales; that they lose no more after it tells.
#[tokio::test]
async fn a_scale_that_shows_all_of_them_lighter_is_told_with_the_round_and_then_called_one() {
    let quill = family().await;
    let mut raised = BTreeSet::new();
    for week in 0..8 {
        let answer = next(&quill, week, |_| 0.92).await;
        assert!(answer.answers.iter().all(|each| each.outcome() == ReadingOutcome::Accepted), "{answer:?}");
        if week == 0 {
            let [drift] = answer.drifts.as_slice() else { panic!("{answer:?}") };
            assert_eq!((drift.scale.as_str(), drift.animals), ("platform", 6));
            assert!((drift.percent + 8.0).abs() < 1.5, "{drift:?}");
        }
        let open = quill.concerns(false).await;
        assert!(open.iter().all(|one| one.animal_id.is_empty()), "no animal is blamed: {open:?}");
        assert!(open.iter().all(|one| one.level() == v1::ConcernLevel::Watch || week < 3), "{open:?}");
        let off = open.iter().find(|one| one.kind() == ConcernKind::ScaleOff);
        assert_eq!(off.is_some(), week >= 3, "week {week}: {open:?}");
        let Some(off) = off else { continue };
        assert!(
            off.seen.contains("a scale that is off") && off.look_first.contains("known weight"),
            "{off:?}"
        );
        assert_eq!(off.record_ids.len(), 6, "the latest reading of each");
        raised.insert(off.id.clone());
        let of_the_group = open.iter().find(|one| one.kind() == ConcernKind::GroupWeight);
        assert!(of_the_group.is_none_or(|one| one.seen.contains("as expected again")), "{open:?}");
    }
    assert_eq!(raised.len(), 1, "once an episode");
    quill.house.close().await;
}

/// Weighs them on a scale that shows 8 % less until that is told; answers the week and the concern.
async fn until_off(quill: &Quill) -> (usize, v1::Concern) {
    for week in 0..8 {
        next(quill, week, |_| 0.92).await;
        let open = quill.concerns(false).await;
        if let Some(off) = open.into_iter().find(|one| one.kind() == ConcernKind::ScaleOff) {
            return (week, off);
        }
    }
    panic!("a scale that shows 8 % less raised nothing");
}

/// Nobody has to say as what it is settled; put right, it is over, and if it is not put right, it is told again.
#[tokio::test]
async fn a_scale_that_is_off_is_settled_and_told_again_if_it_goes_on() {
    for mended in [true, false] {
        let quill = family().await;
        let (week, off) = until_off(&quill).await;
        let refused = quill.settles(&off, SettledAs::Treated).await.unwrap_err();
        assert_eq!(holt_tests::reason(&refused), "MALFORMED", "as what is asked of weight alone");
        for concern in quill.concerns(false).await {
            let asked = concern.kind() == ConcernKind::GroupWeight;
            let settled_as = if asked { SettledAs::FalseAlarm } else { SettledAs::Unspecified };
            quill.settles(&concern, settled_as).await.unwrap();
        }
        let mut told = Vec::new();
        for more in 1..=4 {
            let answer = next(&quill, week + more, |_| if mended { 1.0 } else { 0.92 }).await;
            told.extend(answer.concerns);
        }
        let kinds: Vec<_> = told.iter().map(v1::Concern::kind).collect();
        assert_eq!(kinds.is_empty(), mended, "{told:?}");
        assert!(kinds.iter().all(|kind| *kind == ConcernKind::ScaleOff), "{told:?}");
        quill.house.close().await;
    }
}

#[tokio::test]
async fn each_scale_of_a_round_is_judged_by_itself() {
    let quill = family().await;
    let at = quill.next_week();
    let mut round = quill.house.round("QUI", &[]);
    for (n, name) in NAMES.iter().enumerate() {
        // Three on each: too few to tell a scale by, on either.
        let mut one = quill.house.round("QUI", &[(name, at, grams(n, 30, 0.92))]);
        one.readings[0].scale = if n % 2 == 0 { "platform" } else { "Kitchen" }.to_owned();
        round.readings.append(&mut one.readings);
    }
    assert_eq!(quill.weigh(round).await.drifts, []);
    quill.house.close().await;
}
