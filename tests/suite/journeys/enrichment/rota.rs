//! A week's rota keeps to hazards, rest, ration and staff, and says what it could not fill.

use super::{Den, THINGS, WEIR, item};
use holt_proto::v1::{self, EnrichmentGap, EnrichmentKind as Kind};
use std::collections::BTreeMap;

impl Den {
    /// A plan that keeps so many grams of a fish of 1 kcal/g for enrichment, beside 500 g that it does not.
    async fn keep(&self, grams: i64) {
        let food = v1::SetFoodRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            name: "Roach".to_owned(),
            kcal_per_g: 1.0,
            source: "invented for tests".to_owned(),
            ..Default::default()
        };
        self.park.registrar.client.feeding().set_food(food).await.unwrap();
        let feed = |grams: i64, as_enrichment| v1::PlannedFeed {
            time_of_day: "09:00".to_owned(),
            food: "Roach".to_owned(),
            mass: Some(v1::Mass { milligrams: grams * 1000 }),
            method: v1::FeedMethod::Hidden.into(),
            as_enrichment,
            ..Default::default()
        };
        let plan = v1::SetFeedPlanRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            group: WEIR.to_owned(),
            feeds: vec![feed(500, false), feed(grams, true)],
            ..Default::default()
        };
        self.park.registrar.client.feeding().set_feed_plan(plan).await.unwrap();
    }
}

#[tokio::test]
async fn the_same_seed_gives_the_same_varied_week() {
    let den = Den::new().await;
    den.terms(&[], 2).await;
    // Where nothing was offered before, many are equals, and the seed decides.
    let mut weeks = Vec::new();
    for seed in 0..4 {
        weeks.push(den.rota(v1::PlanEnrichmentRequest { seed, ..den.wish(60) }).await.slots);
    }
    assert!(weeks.iter().any(|week| *week != weeks[0]), "{weeks:?}");
    den.give(vec![den.offer("Herbs", 1), den.offer("Leaf pile", 0)]).await.unwrap();
    let told = den.rota(den.wish(60)).await;
    assert_eq!(told, den.rota(den.wish(60)).await);
    assert_eq!((told.slots.len(), told.unfilled.len()), (14, 0), "{told:?}");
    assert_eq!(told.slots[0].planned_on, Some(den.days_ago(-1)), "from tomorrow on");
    let variety = told.groups[0].variety.clone().unwrap();
    assert!(variety.effective_kinds > 3.0, "{variety:?}");
    // No item comes again before it has rested, also after what was offered before.
    let rest: BTreeMap<&str, i32> = THINGS.iter().map(|&(name, .., rest)| (name, rest)).collect();
    let number = |day: &v1::Day| holt_proto::time::whole_day(*day).unwrap();
    let mut last: BTreeMap<String, chrono::NaiveDate> = BTreeMap::from([
        ("Herbs".to_owned(), number(&den.days_ago(1))),
        ("Leaf pile".to_owned(), number(&den.days_ago(0))),
    ]);
    let mut minutes: BTreeMap<chrono::NaiveDate, i32> = BTreeMap::new();
    for slot in &told.slots {
        let on = number(slot.planned_on.as_ref().unwrap());
        *minutes.entry(on).or_default() += slot.staff_minutes;
        if let Some(before) = last.insert(slot.item.clone(), on) {
            assert!((on - before).num_days() > rest[slot.item.as_str()].into(), "{told:?}");
        }
    }
    assert!(minutes.values().all(|minutes| *minutes <= 60));
    den.house.close().await;
}

#[tokio::test]
async fn what_may_not_be_offered_is_not_planned() {
    let den = Den::new().await;
    den.terms(&["loose-cord"], 1).await;
    let hazards = vec!["loose-cord".to_owned()];
    den.put(v1::EnrichmentItem { hazards, ..item("Rope tangle", Kind::Structural) }).await.unwrap();
    let not_for = vec!["Lontra canadensis".to_owned()];
    den.put(v1::EnrichmentItem { not_for, ..item("Mirror box", Kind::Social) }).await.unwrap();
    den.put(v1::EnrichmentItem { out_of_use: true, ..item("Herbs", Kind::Sensory) }).await.unwrap();
    for seed in 0..5 {
        let told = den.rota(v1::PlanEnrichmentRequest { seed, days: 28, ..den.wish(60) }).await;
        assert_eq!(told.slots.len(), 28);
        for slot in &told.slots {
            assert!(!["Rope tangle", "Mirror box", "Herbs"].contains(&slot.item.as_str()), "{slot:?}");
        }
    }
    den.house.close().await;
}

#[tokio::test]
async fn energy_is_planned_only_within_what_is_kept_for_it() {
    let den = Den::new().await;
    den.terms(&[], 3).await;
    den.put(v1::EnrichmentItem { kcal: Some(60.0), ..item("Frozen fish", Kind::Food) }).await.unwrap();
    den.put(v1::EnrichmentItem { kcal: Some(50.0), ..item("Fish in a log", Kind::Food) }).await.unwrap();
    let fed = |told: &v1::PlanEnrichmentResponse| {
        let mut days: BTreeMap<String, f64> = BTreeMap::new();
        for slot in &told.slots {
            *days.entry(slot.planned_on.unwrap().to_string()).or_default() += slot.kcal.unwrap_or_default();
        }
        days.values().copied().fold(0.0, f64::max)
    };
    let none = den.rota(den.wish(240)).await;
    assert!(fed(&none).abs() < 1e-9, "without a plan that keeps some, nothing with energy");
    den.keep(100).await;
    let some = den.rota(den.wish(240)).await;
    assert!((some.groups[0].kept_kcal - 100.0).abs() < 1e-9);
    let most = fed(&some);
    assert!(most > 0.0 && most <= 100.0, "{most}");
    den.house.close().await;
}

#[tokio::test]
async fn what_could_not_be_filled_is_told() {
    let den = Den::new().await;
    let because = |told: &v1::PlanEnrichmentResponse| told.unfilled[0].because();
    let told = den.rota(v1::PlanEnrichmentRequest { days: 1, ..den.wish(4) }).await;
    assert_eq!(because(&told), EnrichmentGap::NoStaffTime);
    for (name, kind, ..) in THINGS {
        den.put(v1::EnrichmentItem { out_of_use: true, ..item(name, kind) }).await.unwrap();
    }
    let told = den.rota(v1::PlanEnrichmentRequest { days: 2, ..den.wish(60) }).await;
    assert_eq!((told.slots.len(), told.unfilled.len()), (0, 2));
    assert_eq!(because(&told), EnrichmentGap::NothingSuits);
    den.put(v1::EnrichmentItem { rest_days: 5, ..item("Herbs", Kind::Sensory) }).await.unwrap();
    let told = den.rota(v1::PlanEnrichmentRequest { days: 2, ..den.wish(60) }).await;
    assert_eq!((told.slots.len(), because(&told)), (1, EnrichmentGap::AllResting));
    den.house.close().await;
}
