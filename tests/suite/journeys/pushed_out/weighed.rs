//! The weight of an animal beside that of its group is part of the evidence, where enough were weighed.

use super::{NAMES, Weir};
use chrono::TimeDelta;
use holt_proto::v1::{self, ExclusionKind};
use holt_tests::house::start_of_time;

/// What otter `n` weighs in a week, in grams: a little noise of its own, and Sedge loses 2 % a week of late.
fn grams(n: usize, week: i64) -> i64 {
    let noise = [0, 40, -30, 60, -50, 20, -40][(3 * n + usize::try_from(week).unwrap()) % 7];
    let lost = if NAMES[n] == "Sedge" { 140 * (week - 12).max(0) } else { 0 };
    7000 + 100 * i64::try_from(n).unwrap() + noise - lost
}

fn weight_part(standing: &v1::GetStandingResponse, name: &str) -> Option<v1::ExclusionPart> {
    let of_it = |one: &&v1::ExclusionEstimate| one.animal.as_ref().unwrap().house_name == name;
    let estimate = standing.pushed_out.iter().find(of_it).unwrap();
    let part = estimate.parts.iter().find(|part| part.kind() == ExclusionKind::Weight).cloned();
    assert_eq!(part.is_none(), estimate.missing().any(|kind| kind == ExclusionKind::Weight));
    part
}

#[tokio::test]
async fn one_that_loses_while_its_companions_hold_is_told() {
    let weir = Weir::new().await;
    assert_eq!(weight_part(&weir.standing().await, "Sedge"), None, "nobody was weighed");
    let mut round = Vec::new();
    for week in 0..20 {
        let at = start_of_time() - TimeDelta::weeks(20 - week);
        round.extend(NAMES.iter().enumerate().map(|(n, name)| (*name, at, grams(n, week))));
    }
    let round = weir.house.round("QUI", &round);
    weir.park.keeper.client.weights().record_weights(round).await.unwrap();
    let standing = weir.standing().await;
    let sedge = weight_part(&standing, "Sedge").unwrap();
    assert!(sedge.strength > 2.0 && sedge.adds > 0.0, "{sedge:?}");
    assert!(sedge.seen.contains("behind its companions'"), "{}", sedge.seen);
    for other in ["Bramble", "Teasel", "Willow"] {
        assert!(weight_part(&standing, other).unwrap().strength < 2.0, "{other}");
    }
    assert!(standing.pushed_out.iter().all(|one| one.probability < 0.25), "weight alone says little");
    weir.house.close().await;
}
