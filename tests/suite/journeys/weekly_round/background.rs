//! What the weights of an animal are seen against: another scale, the season of its kind, and the young that she
//! carried. Each is tried with and without what is known of it.

use super::{Quill, morning, steady};
use chrono::{DateTime, TimeDelta, Utc};
use holt_proto::v1;
use holt_tests::reason;
use tonic::Status;

fn week(n: i64, of: i64) -> DateTime<Utc> {
    morning() - TimeDelta::weeks(of - n)
}

#[expect(clippy::cast_possible_truncation, clippy::cast_precision_loss, reason = "grams of an otter")]
fn times(grams: i64, factor: f64) -> i64 {
    (grams as f64 * factor) as i64
}

fn traits(gestation_days: i32, seasonal: bool) -> v1::TaxonTraits {
    v1::TaxonTraits { gestation_days, seasonal, energy: None, source: "long practice".to_owned() }
}

async fn describe(quill: &Quill, traits: v1::TaxonTraits) -> Result<v1::Taxon, Status> {
    let describe = v1::DescribeTaxonRequest {
        request_id: quill.house.request(),
        taxon: "Lontra canadensis".to_owned(),
        traits: Some(traits),
    };
    let described = quill.house.steward().await.client.animals().describe_taxon(describe).await?;
    Ok(described.into_inner().taxon.unwrap())
}

/// Three otters, weighed on two scales by turns and then only on the one that shows a tenth less.
async fn on_two_scales(names: bool) -> Vec<v1::Concern> {
    let quill = Quill::new().await;
    let mut round = quill.house.round("QUI", &[]);
    for (n, grams) in (0..).zip(steady(40)) {
        let lighter = (16..28).contains(&n) && n % 2 == 0 || n >= 28;
        for name in ["Bramble", "Sedge", "Teasel"] {
            let shown = times(grams, if lighter { 0.9 } else { 1.0 });
            let mut one = quill.house.round("QUI", &[(name, week(n, 40), shown)]);
            if names {
                // Nobody writes it the same way each time.
                one.readings[0].scale = if lighter { "Kitchen" } else { "platform" }.to_owned();
            }
            round.readings.append(&mut one.readings);
        }
    }
    let concerns = quill.weigh(round).await.concerns;
    quill.house.close().await;
    concerns
}

#[tokio::test]
async fn another_scale_is_no_loss_where_it_was_noted() {
    assert_eq!(on_two_scales(true).await, []);
    let unnoted = on_two_scales(false).await;
    assert_eq!(unnoted.len(), 3, "{unnoted:?}");
}

/// Nine otters that fatten until autumn and thin out until spring; the ninth came when they were fattest. What they weigh,
/// or what the ninth alone does.
async fn year(seasonal: bool, all: bool) -> Vec<v1::Concern> {
    let quill = Quill::new().await;
    let names = ["Bramble", "Sedge", "Teasel", "Alder", "Rush", "Willow", "Fern", "Moss", "Thistle"];
    for name in &names[3..] {
        quill.house.otter(&quill.park, name).await;
    }
    if seasonal {
        describe(&quill, traits(0, true)).await.unwrap();
    }
    let mut readings = Vec::new();
    for (n, grams) in (0..).zip(steady(52)) {
        #[expect(clippy::cast_precision_loss, reason = "weeks of a year")]
        let season = 0.09 * ((n - 30) as f64 / 52.18 * std::f64::consts::TAU).cos();
        let there = match (n < 36, all) {
            (true, true) => &names[..8],
            (true, false) => &[],
            (false, true) => &names[..],
            (false, false) => &names[8..],
        };
        readings.extend(there.iter().map(|name| (*name, week(n, 52), times(grams, season.exp()))));
    }
    let concerns = quill.weigh(quill.house.round("QUI", &readings)).await.concerns;
    quill.house.close().await;
    concerns
}

#[tokio::test]
async fn a_season_that_its_kind_has_is_no_loss() {
    assert_eq!(year(true, true).await, []);
    assert_eq!(year(true, false).await, []);
    // Where nobody has said so, it loses a seventh; that eight others did as much would speak for a season.
    let unknown = year(false, false).await;
    let [only] = unknown.as_slice() else { panic!("{unknown:?}") };
    assert_eq!((only.kind(), only.house_name.as_str()), (v1::ConcernKind::WeightTrend, "Thistle"));
}

/// An otter that was heavier by a sixth for most of the weeks that are on record of her, and lost it all in the week of
/// a birth: hers, where that is on record.
async fn heavy_for_thirteen_weeks(hers: bool) -> Vec<v1::Concern> {
    let quill = Quill::new().await;
    describe(&quill, traits(95, false)).await.unwrap();
    let birth = v1::RegisterBirthRequest {
        request_id: quill.house.request(),
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        born_on: Some(holt_proto::time::day((week(13, 18) - TimeDelta::days(3)).date_naive())),
        sex: v1::Sex::Female.into(),
        dam: if hers { "Bramble" } else { "Sedge" }.to_owned(),
        ..Default::default()
    };
    quill.park.registrar.client.animals().register_birth(birth).await.unwrap();
    let readings: Vec<_> = (0..)
        .zip(steady(18))
        .map(|(n, grams)| ("Bramble", week(n, 18), times(grams, if n < 13 { 1.17 } else { 1.0 })))
        .collect();
    let concerns = quill.weigh(quill.house.round("QUI", &readings)).await.concerns;
    quill.house.close().await;
    concerns
}

#[tokio::test]
async fn what_a_dam_carried_is_no_loss_of_hers() {
    assert_eq!(heavy_for_thirteen_weeks(true).await, []);
    let unknown = heavy_for_thirteen_weeks(false).await;
    assert_eq!(unknown.len(), 1, "{unknown:?}");
    assert_eq!(
        (unknown[0].kind(), unknown[0].house_name.as_str()),
        (v1::ConcernKind::WeightTrend, "Bramble")
    );
}

#[tokio::test]
async fn what_is_usual_in_a_species_is_said_anew_and_by_registrars() {
    let quill = Quill::new().await;
    let energy = Some(v1::EnergyNeed { rest_kcal: 70.0, low: 1.4, high: 2.0 });
    let said = describe(&quill, v1::TaxonTraits { energy, ..traits(62, true) }).await.unwrap();
    assert_eq!(said.traits.as_ref().map(|traits| traits.gestation_days), Some(62));
    describe(&quill, traits(63, false)).await.unwrap();
    let listed = quill.park.auditor.client.animals().list_taxa(v1::ListTaxaRequest {}).await.unwrap();
    assert_eq!(listed.into_inner().taxa[0].traits, Some(traits(63, false)));
    assert_eq!(quill.rows("taxon_traits").await, 2, "what was said before stays");

    let wrong = v1::TaxonTraits {
        gestation_days: -1,
        energy: Some(v1::EnergyNeed { rest_kcal: 0.0, low: 2.0, high: 1.0 }),
        source: String::new(),
        ..traits(62, true)
    };
    let refused = describe(&quill, wrong).await.unwrap_err();
    assert_eq!(reason(&refused), "MALFORMED");
    let details = String::from_utf8_lossy(refused.details()).into_owned();
    for field in ["traits.gestation_days", "traits.energy.rest_kcal", "traits.energy", "traits.source"] {
        assert!(details.contains(field), "{field}: {details}");
    }
    let unknown = v1::DescribeTaxonRequest {
        request_id: quill.house.request(),
        taxon: "Lutra perspicillata".to_owned(),
        traits: Some(traits(62, false)),
    };
    let refused = quill.house.steward().await.client.animals().describe_taxon(unknown).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    quill.house.close().await;
}
