//! The standing of a group's members, from what was seen and no more.

use super::{NAMES, Weir, did, feeding_time, food, of, over_food, scan, sight};
use chrono::TimeDelta;
use holt_proto::v1;
use holt_proto::v1::watch_event::What;

/// Each of the family drives everyone after it, once.
fn in_order() -> Vec<(i64, What)> {
    let pairs = NAMES
        .iter()
        .enumerate()
        .flat_map(|(n, above)| NAMES[n + 1..].iter().map(move |below| (above, below)));
    (1..).zip(pairs).map(|(minute, (above, below))| (minute, did(above, "chase", below))).collect()
}

#[tokio::test]
async fn an_order_is_told_with_its_scores_and_its_verdict() {
    let weir = Weir::new().await;
    weir.record(weir.watch(feeding_time(), in_order())).await.unwrap();
    let standing = weir.standing().await;
    let names: Vec<_> =
        standing.members.iter().map(|one| one.animal.as_ref().unwrap().house_name.as_str()).collect();
    assert_eq!(names, NAMES, "highest first");
    assert_eq!((standing.watches, standing.decided, standing.decided_with_others), (1, 15, 0));
    assert!((standing.hours - 0.5).abs() < 1e-9);
    let order = standing.order.as_ref().unwrap();
    assert_eq!(order.verdict(), v1::OrderVerdict::Linear);
    assert!(
        (order.landau_h.unwrap() - 1.0).abs() < 1e-12 && (order.corrected_h.unwrap() - 1.0).abs() < 1e-12
    );
    // 6! of the 2^15 tournaments of six are linear: 0.022; the standard error of 10 000 draws is 0.0015.
    assert!((order.p.unwrap() - 720.0 / 32_768.0).abs() < 0.006, "{order:?}");
    assert_eq!((order.unseen.len(), order.draws), (0, 10_000));
    let (bramble, willow) = (of(&standing, "Bramble"), of(&standing, "Willow"));
    assert!(
        (bramble.david.unwrap() + willow.david.unwrap()).abs() < 1e-9,
        "the one is the other turned round"
    );
    assert_eq!((bramble.won, bramble.lost, willow.lost), (5, 0, 5));
    assert!(bramble.elo.unwrap() > 1000.0 && willow.elo.unwrap() < 1000.0);
    assert_eq!(bramble.elo_course.len(), 5);
    assert_eq!(standing, weir.standing().await, "asked again, the same");
    weir.house.close().await;
}

/// Whoever was out of sight for half of the watch was seen to be chased twice as often an hour.
#[tokio::test]
async fn rates_are_by_the_time_each_was_watched() {
    let weir = Weir::new().await;
    let seen = vec![
        (0, sight("Sedge", true)),
        (2, did("Bramble", "bite", "Rush")),
        (15, sight("Sedge", false)),
        (20, did("Bramble", "bite", "Sedge")),
        (21, did("Alder", "groom", "Teasel")),
    ];
    weir.record(weir.watch(feeding_time(), seen)).await.unwrap();
    let standing = weir.standing().await;
    let received = |name| of(&standing, name).received.unwrap();
    assert_eq!((received("Rush").events, received("Sedge").events, received("Willow").events), (1, 1, 0));
    assert!((received("Rush").per_hour.unwrap() - 2.0).abs() < 1e-9);
    assert!((received("Sedge").per_hour.unwrap() - 4.0).abs() < 1e-9);
    assert!(received("Willow").high.unwrap() > 5.0, "half an hour of nothing leaves much open");
    assert_eq!(of(&standing, "Teasel").friendly.unwrap().events, 1);
    let order = standing.order.unwrap();
    assert_eq!((order.unseen.len(), order.verdict()), (13, v1::OrderVerdict::NotShown));
    weir.house.close().await;
}

#[tokio::test]
async fn food_company_and_time_are_told_with_what_was_not_seen() {
    let weir = Weir::new().await;
    let seen = vec![
        (1, food()),
        (2, over_food("Bramble", "displace", "Sedge")),
        (3, did("Rush", "wait", "")),
        (
            10,
            scan(&[("Bramble", "rest", 1), ("Alder", "rest", 1), ("Sedge", "alone", 0), ("Rush", "eat", 0)]),
        ),
        (20, scan(&[("Bramble", "rest", 1), ("Alder", "guard", 2), ("Sedge", "rest", 1)])),
        (21, What::Bout(v1::Bout { animal: "Teasel".to_owned(), behaviour: "play".to_owned(), seconds: 60 })),
    ];
    weir.record(weir.watch(feeding_time(), seen)).await.unwrap();
    let standing = weir.standing().await;
    assert_eq!((standing.feeds, standing.scans), (1, 2));
    let kept_off = |name| of(&standing, name).kept_off_food.unwrap();
    for (name, hits) in [("Sedge", 1), ("Rush", 1), ("Bramble", 0), ("Willow", 0)] {
        assert_eq!((kept_off(name).hits, kept_off(name).of), (hits, 1), "{name}");
    }
    let alone = |name| of(&standing, name).alone.unwrap();
    assert_eq!((alone("Sedge").hits, alone("Sedge").of), (1, 2));
    assert_eq!((alone("Rush").of, alone("Rush").share), (0, None), "whom it was with was not noted");
    // Together once, apart once: one of two scans.
    let bramble = of(&standing, "Bramble");
    let with = |name: &str| {
        let tie = |tie: &&v1::Tie| tie.animal.as_ref().unwrap().house_name == name;
        bramble.ties.iter().find(tie).map(|tie| tie.index)
    };
    assert_eq!((with("Alder"), with("Sedge"), with("Willow")), (Some(0.5), Some(0.5), Some(0.0)));
    let budget = bramble.budget.as_ref().unwrap();
    assert_eq!((budget.scans_seen, budget.scans_not_seen), (2, 0));
    assert_eq!(budget.shares[0].scans.unwrap().hits, 2);
    let willow = of(&standing, "Willow").budget.as_ref().unwrap();
    assert_eq!((willow.scans_seen, willow.scans_not_seen), (0, 2));
    let teasel = of(&standing, "Teasel").budget.as_ref().unwrap();
    assert_eq!((teasel.shares[0].of_time, teasel.seconds_followed), (Some(1.0), 60.0));
    weir.house.close().await;
}

#[tokio::test]
async fn without_watching_nothing_is_said() {
    let weir = Weir::new().await;
    let standing = weir.standing().await;
    assert_eq!((standing.watches, standing.decided, standing.members.len()), (0, 0, 6));
    let order = standing.order.as_ref().unwrap();
    assert_eq!(
        (order.steepness, order.landau_h, order.verdict()),
        (None, None, v1::OrderVerdict::Unspecified)
    );
    assert!(standing.members.iter().all(|one| one.david.is_none() && one.elo.is_none()));
    assert_eq!(of(&standing, "Sedge").received.unwrap().per_hour, None);
    weir.house.close().await;
}

/// An animal that left is in no score; what it won or lost moved ratings all the same.
#[tokio::test]
async fn an_animal_that_left_counts_where_it_was() {
    let weir = Weir::new().await;
    weir.record(weir.watch(feeding_time(), in_order())).await.unwrap();
    let leave = v1::LeaveGroupRequest {
        request_id: weir.house.request(),
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        animals: vec!["Willow".to_owned()],
        left_at: None,
        why: "driven out".to_owned(),
    };
    weir.park.keeper.client.groups().leave_group(leave).await.unwrap();
    weir.house.clock.advance(TimeDelta::hours(1));
    let standing = weir.standing().await;
    assert_eq!((standing.members.len(), standing.decided, standing.decided_with_others), (5, 10, 5));
    assert_eq!(standing.order.as_ref().unwrap().verdict(), v1::OrderVerdict::TooFewAnimals);
    assert_eq!(of(&standing, "Bramble").elo_course.len(), 5);
    let change = |part: &&v1::ExclusionPart| part.kind() == v1::ExclusionKind::GroupChange;
    let change = standing.pushed_out[0].parts.iter().find(change).unwrap();
    assert!(change.seen.ends_with("Willow (QUI-25-0006) left (driven out)"), "{}", change.seen);
    let ask = v1::GetStandingRequest {
        site: "QUI".to_owned(),
        group: "Weir family".to_owned(),
        days: Some(v1::DaySpan {
            first: Some("2026-02-01".parse().unwrap()),
            last: Some("2026-02-28".parse().unwrap()),
        }),
        as_known_at: None,
    };
    let february = weir.park.auditor.client.standing().get_standing(ask).await.unwrap().into_inner();
    assert_eq!((february.members.len(), february.watches), (6, 0), "who was a member then");
    weir.house.close().await;
}
