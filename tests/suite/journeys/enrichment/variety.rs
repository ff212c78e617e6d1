//! How varied what was offered is.

use super::{Den, item, standing};
use holt_proto::v1::{self, EnrichmentKind as Kind};

/// Counts 4, 2, 2 of three kinds: entropy -(0.5 ln 0.5 + 2 · 0.25 ln 0.25) = 1.5 ln 2 = 1.039721 nats, which is
/// that of 2^1.5 = 2.828427 kinds; evenness 1.5 ln 2 / ln 3 = 0.946395.
#[tokio::test]
async fn variety_is_that_of_the_kinds_offered() {
    let den = Den::new().await;
    assert_eq!(den.account().await.variety, None);
    let names = ["Herbs", "Bird calls", "Herbs", "Bird calls", "Leaf pile", "Rope tangle", "Sliding box"];
    let mut offers: Vec<_> = names.iter().zip(0..).map(|(name, n)| den.offer(name, 3 * n)).collect();
    offers.push(den.offer("Sliding box", 25));
    // Of another month.
    offers.push(den.offer("Neighbour window", 40));
    den.give(offers).await.unwrap();
    let told = den.account().await;
    let variety = told.variety.clone().unwrap();
    let kinds: Vec<_> = variety.kinds.iter().map(|one| (one.kind(), one.offers)).collect();
    assert_eq!(kinds, [(Kind::Sensory, 4), (Kind::Structural, 2), (Kind::Cognitive, 2)]);
    assert!((variety.shannon_nats - 1.039_721).abs() < 1e-6, "{variety:?}");
    assert!((variety.effective_kinds - 2.828_427).abs() < 1e-6, "{variety:?}");
    assert!((variety.evenness.unwrap() - 0.946_395).abs() < 1e-6, "{variety:?}");
    let since = |name| standing(&told, name).days_since;
    assert_eq!(
        (since("Herbs"), since("Sliding box"), since("Neighbour window")),
        (Some(0), Some(18), Some(40))
    );
    let first: Vec<_> = told.items.iter().map(|one| one.item.as_ref().unwrap().name.as_str()).collect();
    assert_eq!(first[0], "Neighbour window", "what was not offered for longest comes first");
    den.house.close().await;
}

#[tokio::test]
async fn an_item_is_changed_by_its_name_and_taken_out_of_use() {
    let den = Den::new().await;
    let changed = den.put(v1::EnrichmentItem { rest_days: 9, ..item("HERBS", Kind::Sensory) }).await.unwrap();
    assert!(changed.changed);
    den.put(v1::EnrichmentItem { out_of_use: true, ..item("Rope tangle", Kind::Structural) }).await.unwrap();
    let list = async |also_out_of_use| {
        let ask =
            v1::ListEnrichmentItemsRequest { site: "QUI".to_owned(), also_out_of_use, as_known_at: None };
        let told = den.park.auditor.client.enrichment().list_enrichment_items(ask).await.unwrap();
        told.into_inner().items
    };
    let (in_use, all) = (list(false).await, list(true).await);
    assert_eq!((in_use.len(), all.len()), (5, 6));
    assert_eq!(in_use.iter().filter(|item| item.name == "HERBS" && item.rest_days == 9).count(), 1);
    assert!(den.account().await.items.iter().all(|one| one.item.as_ref().unwrap().name != "Rope tangle"));
    den.house.close().await;
}

/// An item that gives energy counts to the ration of the group, whether it is known to have been eaten or not.
#[tokio::test]
async fn energy_of_items_counts_to_the_ration() {
    let den = Den::new().await;
    den.put(v1::EnrichmentItem { kcal: Some(60.0), ..item("Frozen fish", Kind::Food) }).await.unwrap();
    let used = v1::NewEnrichmentOffer {
        response: v1::EnrichmentResponse::Used.into(),
        ..den.offer("Frozen fish", 1)
    };
    den.give(vec![used, den.offer("Frozen fish", 0), den.offer("Herbs", 0)]).await.unwrap();
    let ask = v1::GetFeedingRequest {
        site: "QUI".to_owned(),
        group: super::WEIR.to_owned(),
        days: 2,
        ..Default::default()
    };
    let days = den.park.auditor.client.feeding().get_feeding(ask).await.unwrap().into_inner().days;
    let told: Vec<_> = days.iter().map(|day| (day.given_kcal, day.enrichment_kcal, day.items)).collect();
    assert_eq!(told, [(60.0, 60.0, 1), (60.0, 60.0, 1)], "herbs give none");
    assert_eq!((days[0].eaten_kcal, days[1].eaten_kcal), (Some(60.0), None), "nobody looked today");
    den.house.close().await;
}
