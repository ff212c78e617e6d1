//! Offered is not used: what was seen is told, and what speaks against an offer as well.

use super::{Den, item, standing};
use chrono::TimeDelta;
use holt_proto::v1::{self, EnrichmentKind, EnrichmentObjection as Against, EnrichmentResponse as Met};
use holt_tests::reason;

impl Den {
    async fn seen(&self, offer: &v1::EnrichmentOffer, met: Met, minutes: Option<i32>) -> v1::EnrichmentOffer {
        let ask = v1::RecordEnrichmentUseRequest {
            request_id: self.house.request(),
            site: "QUI".to_owned(),
            offer_id: offer.id.clone(),
            response: met.into(),
            used_minutes: minutes,
        };
        let told = self.park.keeper.client.enrichment().record_enrichment_use(ask).await.unwrap();
        told.into_inner().offer.unwrap()
    }
}

#[tokio::test]
async fn what_was_offered_is_used_only_where_it_was_seen() {
    let den = Den::new().await;
    let offers = vec![den.offer("herbs", 20), den.offer("Herbs", 10), den.offer("Herbs", 0)];
    let given = den.give(offers).await.unwrap();
    assert!(given.warnings.is_empty(), "{given:?}");
    let told = den.account().await;
    let herbs = standing(&told, "Herbs");
    assert_eq!((herbs.offers, herbs.looked_at, herbs.taken_up), (3, 0, None));
    den.seen(&given.offers[0], Met::Ignored, None).await;
    den.seen(&given.offers[1], Met::Used, Some(12)).await;
    let told = den.account().await;
    let herbs = standing(&told, "Herbs");
    assert_eq!((herbs.looked_at, herbs.taken_up), (2, Some(0.5)));
    // Clopper and Pearson for one of two, by hand: 1 - sqrt(1 - 0.025) and its mirror.
    assert!((herbs.taken_up_low - 0.012_58).abs() < 1e-4, "{}", herbs.taken_up_low);
    assert!((herbs.taken_up_high - 0.987_42).abs() < 1e-4, "{}", herbs.taken_up_high);
    // Somebody looked again.
    den.seen(&given.offers[0], Met::Used, None).await;
    assert_eq!(standing(&den.account().await, "Herbs").taken_up, Some(1.0));
    assert_eq!(den.account().await.offers.len(), 3);
    den.house.close().await;
}

#[tokio::test]
async fn interest_that_falls_from_one_to_the_next_is_worn() {
    let den = Den::new().await;
    let minutes = [60, 50, 46, 40, 33, 30, 24, 22];
    let offers = minutes.iter().zip(0..).map(|(&minutes, n)| v1::NewEnrichmentOffer {
        response: Met::Used.into(),
        used_minutes: Some(minutes),
        ..den.offer("Sliding box", 30 - 3 * n)
    });
    den.give(offers.collect()).await.unwrap();
    let told = den.account().await;
    let box_ = standing(&told, "Sliding box");
    let wear = box_.wear.as_ref().unwrap();
    assert!(box_.worn && wear.percent < -10.0 && wear.high_percent < 0.0, "{box_:?}");
    assert_eq!(standing(&told, "Herbs").wear, None);
    den.house.close().await;
}

#[tokio::test]
async fn what_should_not_have_been_offered_is_recorded_and_told() {
    let den = Den::new().await;
    den.terms(&["Loose-Cord"], 2).await;
    let hazards = vec!["loose-cord".to_owned(), "splinters".to_owned()];
    den.put(v1::EnrichmentItem { hazards, ..item("Rope tangle", EnrichmentKind::Structural) }).await.unwrap();
    let not_for = vec!["Lontra canadensis".to_owned()];
    den.put(v1::EnrichmentItem { not_for, ..item("Mirror box", EnrichmentKind::Social) }).await.unwrap();
    den.put(v1::EnrichmentItem { out_of_use: true, ..item("Glass ball", EnrichmentKind::Sensory) })
        .await
        .unwrap();
    let again = vec![den.offer("Herbs", 1), den.offer("Herbs", 0)];
    let offers = ["Rope tangle", "Mirror box", "Glass ball"].map(|item| den.offer(item, 0));
    let told = den.give(offers.into_iter().chain(again).collect()).await.unwrap();
    assert_eq!(told.offers.len(), 5, "it was offered");
    let against: Vec<_> = told.warnings.iter().map(|one| (one.row, one.objection())).collect();
    let wanted = [(0, Against::Hazard), (1, Against::Species), (2, Against::OutOfUse), (4, Against::TooSoon)];
    assert_eq!(against, wanted, "{told:?}");
    assert!(told.warnings[0].say.ends_with(": loose-cord"), "{}", told.warnings[0].say);
    den.house.close().await;
}

/// What is offered in an enclosure is offered to whoever lives there then.
#[tokio::test]
async fn an_offer_in_an_enclosure_is_one_to_those_who_live_there() {
    let den = Den::new().await;
    den.house.enclosure(&den.park, "Attic").await;
    let in_ = |name: &str| v1::NewEnrichmentOffer {
        to: Some(v1::new_enrichment_offer::To::Enclosure(name.to_owned())),
        ..den.offer("Leaf pile", 2)
    };
    den.give(vec![in_("otter pool"), in_("Attic")]).await.unwrap();
    let told = den.account().await;
    assert_eq!(told.offers.len(), 1);
    assert_eq!((told.offers[0].enclosure.as_str(), told.offers[0].group.as_str()), ("Otter pool", ""));
    let list = v1::ListEnrichmentOffersRequest {
        site: "QUI".to_owned(),
        enclosure: "attic".to_owned(),
        ..Default::default()
    };
    let client = den.park.auditor.client.enrichment();
    let list = client.clone().list_enrichment_offers(list).await.unwrap().into_inner().offers;
    assert_eq!(list.len(), 1);
    let soon = den.give(vec![v1::NewEnrichmentOffer { ..den.offer("Leaf pile", 1) }]).await.unwrap();
    assert_eq!(soon.warnings[0].objection(), Against::TooSoon, "it was in their pool the day before");
    den.house.close().await;
}

#[tokio::test]
async fn a_record_that_is_taken_back_is_gone() {
    let den = Den::new().await;
    let given = den.give(vec![den.offer("Herbs", 0)]).await.unwrap().offers.remove(0);
    den.house.clock.advance(TimeDelta::minutes(1));
    let ask = || v1::WithdrawEnrichmentRequest {
        request_id: den.house.request(),
        site: "QUI".to_owned(),
        offer_id: given.id.clone(),
        because: "of another group".to_owned(),
    };
    let client = den.park.keeper.client.enrichment();
    client.clone().withdraw_enrichment(ask()).await.unwrap();
    assert!(den.account().await.offers.is_empty());
    assert_eq!(reason(&client.clone().withdraw_enrichment(ask()).await.unwrap_err()), "NOT_FOUND");
    den.house.close().await;
}
