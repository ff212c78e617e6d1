//! Whether observers agree who looked at the same animals.

use super::Looks;
use chrono::TimeDelta;
use holt_proto::v1::observer_agreement::Measure;
use holt_proto::v1::{self, Domain, IccBand, IccForm, NoMeasure};
use holt_tests::house::start_of_time;
use holt_tests::reason;
use tonic::Status;

const NAMES: [&str; 12] = [
    "Bramble", "Sedge", "Teasel", "Alder", "Rush", "Willow", "Fern", "Moss", "Thistle", "Yarrow", "Reed",
    "Hazel",
];

/// Keeper and vet look at twelve otters on one morning: the vet measures three degrees more each time, and
/// calls one of the six lame ones even.
async fn morning() -> Looks {
    let looks = Looks::new().await;
    for (n, name) in (0..).zip(NAMES) {
        if n > 0 {
            looks.house.otter(&looks.park, name).await;
        }
        let at = start_of_time() - TimeDelta::hours(6) + TimeDelta::minutes(n);
        let gait = |lame: bool| if lame { "lame" } else { "even" };
        let water = f64::from(i32::try_from(n).unwrap()) + 10.0;
        let (keeper, vet) = (&looks.park.keeper, &looks.park.vet);
        looks.look(keeper, name, at, &[("gait", gait(n < 6)), ("play", "no")], Some(water)).await;
        let later = at + TimeDelta::minutes(30);
        looks
            .look(vet, name, later, &[("gait", gait((1..6).contains(&n))), ("play", "no")], Some(water + 3.0))
            .await;
    }
    looks
}

async fn compare(looks: &Looks, protocol: &str, within_days: i32) -> Result<Vec<v1::ObserverPair>, Status> {
    let ask = v1::CompareObserversRequest {
        site: "QUI".to_owned(),
        protocol: protocol.to_owned(),
        within_days,
        ..Default::default()
    };
    let told = looks.park.auditor.client.welfare().compare_observers(ask).await?.into_inner();
    assert_eq!((told.protocol.as_str(), told.protocol_version), (protocol, 1));
    Ok(told.pairs)
}

#[tokio::test]
async fn levels_by_kappa_measures_by_icc_and_a_lean_is_told() {
    let looks = morning().await;
    let told = compare(&looks, "otter-watch", 0).await.unwrap();
    let [pair] = told.as_slice() else { panic!("{told:?}") };
    assert_eq!(pair.pairs, 12);
    let mut names = [pair.first.as_str(), pair.second.as_str()];
    let keeper_first = names[0] == "qui-keeper";
    names.sort_unstable();
    assert_eq!(names, ["qui-keeper", "qui-vet"]);
    let of = |code: &str| {
        let found = pair.indicators.iter().find(|each| each.indicator == code);
        found.unwrap().agreement.clone().unwrap()
    };
    // 5 lame and 6 even alike, 1 lame for the keeper only: 11/12 observed, (6·5 + 6·7)/144 = 1/2 by chance.
    let gait = of("gait");
    assert_eq!((gait.pairs, gait.same), (12, 11));
    let Some(Measure::Kappa(kappa)) = gait.measure else { panic!("{gait:?}") };
    assert!((kappa.observed - 11.0 / 12.0).abs() < 1e-12 && (kappa.expected - 0.5).abs() < 1e-12);
    assert!((kappa.kappa - 5.0 / 6.0).abs() < 1e-12 && kappa.low < kappa.kappa && kappa.kappa < kappa.high);

    // Mean squares by hand: between 26, observers 54, residual 0.
    let water = of("water-temperature");
    let (low, high) = (water.first_higher, water.second_higher);
    assert_eq!(if keeper_first { (low, high) } else { (high, low) }, (0, 12));
    assert!(water.lean_p < 0.001, "{water:?}");
    let Some(Measure::Icc(icc)) = &water.measure else { panic!("{water:?}") };
    assert_eq!(icc.forms.len(), 6);
    let value = |form| icc.forms.iter().find(|each| each.form() == form).unwrap().value;
    assert!((value(IccForm::AgreementSingle) - 26.0 / 35.0).abs() < 1e-12);
    assert!((value(IccForm::ConsistencySingle) - 1.0).abs() < 1e-12);
    assert!((value(IccForm::AgreementMean) - 52.0 / 61.0).abs() < 1e-12);
    assert_eq!(icc.band(), IccBand::Moderate);

    let play = of("play");
    assert_eq!(play.measure, Some(Measure::None(NoMeasure::NoVariation.into())));
    let health = pair.domains.iter().find(|each| each.domain() == Domain::Health).unwrap();
    assert_eq!(health.compromise.as_ref().unwrap().same, 11);
    looks.house.close().await;
}

#[tokio::test]
async fn what_is_far_apart_is_another_occasion() {
    let looks = Looks::new().await;
    let (keeper, vet) = (&looks.park.keeper, &looks.park.vet);
    looks.look(keeper, "Bramble", start_of_time() - TimeDelta::days(3), &[("gait", "even")], None).await;
    looks.look(vet, "Bramble", start_of_time() - TimeDelta::days(1), &[("gait", "even")], None).await;
    // One's own second look is no pair.
    looks.look(vet, "Bramble", start_of_time() - TimeDelta::hours(20), &[("gait", "lame")], None).await;
    assert_eq!(compare(&looks, "otter-watch", 1).await.unwrap(), []);
    let told = compare(&looks, "otter-watch", 2).await.unwrap();
    assert_eq!(told[0].pairs, 1, "each assessment is used once");
    let gait = told[0].indicators[0].agreement.clone().unwrap();
    assert_eq!((gait.same, gait.measure), (1, Some(Measure::None(NoMeasure::TooFew.into()))));
    looks.house.close().await;
}

#[tokio::test]
async fn what_cannot_be_asked_is_refused() {
    let looks = Looks::new().await;
    assert_eq!(reason(&compare(&looks, "nothing", 0).await.unwrap_err()), "NOT_FOUND");
    assert_eq!(reason(&compare(&looks, "otter-watch", 15).await.unwrap_err()), "MALFORMED");
    assert_eq!(reason(&compare(&looks, "", 0).await.unwrap_err()), "MALFORMED");
    looks.house.close().await;
}
