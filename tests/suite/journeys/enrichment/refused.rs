//! What cannot be is refused, all of it at once, and nothing is recorded.

use super::{Den, WEIR, item};
use crate::journeys::registration::fields;
use holt_proto::v1::{self, EnrichmentKind as Kind, EnrichmentResponse as Met};
use holt_tests::reason;

#[tokio::test]
async fn fields_are_told_at_once() {
    let den = Den::new().await;
    let wrong = v1::EnrichmentItem {
        name: String::new(),
        staff_minutes: -1,
        rest_days: 400,
        hazards: vec![String::new()],
        not_for: vec!["otter".to_owned()],
        kcal: Some(0.0),
        ..Default::default()
    };
    let refused = den.put(wrong).await.unwrap_err();
    let mut told = fields(&refused);
    told.sort();
    assert_eq!(
        told,
        [
            "item.hazards[0]",
            "item.kcal",
            "item.kind",
            "item.name",
            "item.not_for[0]",
            "item.rest_days",
            "item.staff_minutes"
        ]
    );
    let timed = |response: Met, minutes| v1::NewEnrichmentOffer {
        response: response.into(),
        used_minutes: Some(minutes),
        ..den.offer("Herbs", 0)
    };
    let nobody = v1::NewEnrichmentOffer { to: None, ..den.offer("Herbs", 0) };
    let offers = vec![timed(Met::Ignored, 5), timed(Met::Used, 0), timed(Met::Unspecified, 5), nobody];
    let refused = den.give(offers).await.unwrap_err();
    assert_eq!(
        fields(&refused),
        ["offers[0].used_minutes", "offers[1].used_minutes", "offers[2].used_minutes", "offers[3].to"]
    );
    let wish = v1::PlanEnrichmentRequest { groups: vec![], days: 29, staff_minutes: -1, ..den.wish(1) };
    let refused = den.park.auditor.client.enrichment().plan_enrichment(wish).await.unwrap_err();
    assert_eq!(fields(&refused), ["groups", "days", "staff_minutes"]);
    den.house.close().await;
}

#[tokio::test]
async fn what_is_not_on_record_is_named() {
    let den = Den::new().await;
    let offers = vec![den.offer("Nothing", 0), den.offer("Herbs", 0), den.offer("Nought", 0)];
    let refused = den.give(offers).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    assert_eq!(fields(&refused), ["offers[0].item", "offers[2].item"]);
    let to = |to| v1::NewEnrichmentOffer { to: Some(to), ..den.offer("Herbs", 0) };
    use v1::new_enrichment_offer::To;
    for wrong in [To::Group("Nobody".into()), To::Enclosure("Nowhere".into())] {
        assert_eq!(reason(&den.give(vec![to(wrong)]).await.unwrap_err()), "NOT_FOUND");
    }
    let refused = den.give(vec![den.offer("Herbs", -1)]).await.unwrap_err();
    assert_eq!(reason(&refused), "IN_THE_FUTURE");
    let not_for = vec!["Lutra lutra".to_owned()];
    let refused = den.put(v1::EnrichmentItem { not_for, ..item("Herbs", Kind::Sensory) }).await.unwrap_err();
    assert_eq!((reason(&refused).as_str(), fields(&refused)), ("NOT_FOUND", vec!["item.not_for[0]".into()]));
    assert!(den.account().await.offers.is_empty(), "nor what was right beside it");
    den.house.close().await;
}

#[tokio::test]
async fn another_site_sees_nothing_of_it() {
    let den = Den::new().await;
    let brae = den.house.park("BRA", "Europe/Dublin").await;
    let given = den.give(vec![den.offer("Herbs", 0)]).await.unwrap().offers.remove(0);
    let ask = v1::RecordEnrichmentUseRequest {
        request_id: den.house.request(),
        site: "BRA".to_owned(),
        offer_id: given.id,
        response: Met::Used.into(),
        used_minutes: None,
    };
    let refused = brae.keeper.client.enrichment().record_enrichment_use(ask).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    let list = v1::ListEnrichmentItemsRequest { site: "BRA".to_owned(), ..Default::default() };
    let items = brae.keeper.client.enrichment().list_enrichment_items(list).await.unwrap().into_inner().items;
    assert!(items.is_empty());
    let wish = v1::PlanEnrichmentRequest { site: "BRA".to_owned(), groups: vec![WEIR.into()], ..den.wish(9) };
    let refused = brae.keeper.client.enrichment().plan_enrichment(wish).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    den.house.close().await;
}
