//! The young: what they should weigh next, beside their litter and their kind; and what a body needs.

mod stall;

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use holt_proto::time::day;
use holt_proto::v1::{self, ExpectedBy, GrowthShape, RationVerdict};
use holt_tests::cast::REFERENCE;
use holt_tests::house::start_of_time;
use holt_tests::{House, Park, reason};
use tonic::{Code, Status};

struct Nursery {
    house: House,
    park: Park,
}

fn morning_of(on: NaiveDate) -> DateTime<Utc> {
    on.and_time(NaiveTime::from_hms_opt(9, 0, 0).unwrap()).and_utc()
}

impl Nursery {
    /// A park with a dam, Bramble.
    async fn new() -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.otter(&park, "Bramble").await;
        Self { house, park }
    }

    async fn born(&self, name: &str, on: NaiveDate) {
        let birth = self.house.birth(&self.park, "Bramble", name, on);
        self.park.registrar.client.send(birth).await.unwrap();
    }

    async fn weigh(&self, readings: &[(&str, DateTime<Utc>, i64)]) {
        let round = self.house.round("QUI", readings);
        let answer = self.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
        assert!(answer.answers.iter().all(|each| each.refusal.is_none()), "{answer:?}");
    }

    async fn growth(&self, animal: &str, on: Option<NaiveDate>) -> v1::GetGrowthResponse {
        let ask = v1::GetGrowthRequest {
            site: "QUI".to_owned(),
            animal: animal.to_owned(),
            expected_on: on.map(day),
        };
        self.park.auditor.client.growth().get_growth(ask).await.unwrap().into_inner()
    }

    async fn load(&self, toml: &str) -> Result<v1::GrowthReference, Status> {
        let load = v1::LoadGrowthReferenceRequest {
            request_id: self.house.request(),
            toml: toml.to_owned(),
            ..Default::default()
        };
        let steward = self.house.steward().await;
        let loaded = steward.client.growth().load_growth_reference(load).await?.into_inner();
        Ok(loaded.reference.unwrap())
    }
}

fn grams(mass: Option<v1::Mass>) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a few kilograms")]
    let grams = mass.unwrap().milligrams as f64 / 1000.0;
    grams
}

/// Weighed at 72, 79, 86, 93 and 100 days, a tenth more each week.
const WEEKS: [(i64, i64); 5] = [(72, 1844), (79, 2029), (86, 2231), (93, 2455), (100, 2700)];

#[tokio::test]
async fn the_next_weight_the_reference_and_the_litter() {
    let nursery = Nursery::new().await;
    nursery.load(REFERENCE).await.unwrap();
    let born = start_of_time().date_naive() - TimeDelta::days(101);
    for name in ["Pip", "Tansy", "Burr", "Mallow"] {
        nursery.born(name, born).await;
    }
    let at = |days: i64| morning_of(born + TimeDelta::days(days));
    let mut readings: Vec<(&str, DateTime<Utc>, i64)> =
        WEEKS.iter().map(|&(days, grams)| ("Pip", at(days), grams)).collect();
    readings.extend([("Tansy", at(100), 3050), ("Burr", at(100), 3000), ("Mallow", at(100), 2000)]);
    nursery.weigh(&readings).await;

    let pip = nursery.growth("Pip", None).await;
    assert!((grams(pip.latest) - 2700.0).abs() < 1e-9);
    let next = pip.next.unwrap();
    assert_eq!((next.by(), next.readings), (ExpectedBy::Gain, 5));
    assert_eq!(
        next.expected_on.unwrap().to_string(),
        (born + TimeDelta::days(107)).to_string(),
        "in a week again"
    );
    let mass = next.mass.unwrap();
    // A tenth more would be 2970 g; what grows slows down.
    assert!(2850.0 < grams(mass.expected) && grams(mass.expected) < 2970.0, "{mass:?}");
    assert!(2970.0 < grams(mass.high) && grams(mass.high) < 3100.0 && 2700.0 < grams(mass.low), "{mass:?}");
    // By hand, at 100 days: ((2700/3000)^0.5 − 1)/(0.5 · 0.12).
    let [standing] = pip.standings.as_slice() else { panic!("{:?}", pip.standings) };
    assert_eq!((standing.code.as_str(), standing.version), ("otter-cubs", 1));
    assert!((standing.z - (0.9_f64.sqrt() - 1.0) / 0.06).abs() < 1e-9, "{standing:?}");
    assert!((standing.age_days - 100.0).abs() < 1e-9 && (grams(standing.median) - 3000.0).abs() < 1e-9);

    let behind: Vec<(&str, bool)> = pip
        .siblings
        .iter()
        .map(|one| (one.animal.as_ref().unwrap().house_name.as_str(), one.behind))
        .collect();
    assert_eq!(behind.iter().filter(|(_, behind)| *behind).collect::<Vec<_>>(), [&("Mallow", true)]);
    assert_eq!(behind.len(), 4);
    // Of one that was weighed once there is nothing to go by.
    assert_eq!(nursery.growth("Mallow", None).await.next, None);
    nursery.house.close().await;
}

#[tokio::test]
async fn of_the_grown_it_is_their_habit() {
    let nursery = Nursery::new().await;
    let at = |week: i64| start_of_time() - TimeDelta::weeks(20 - week) - TimeDelta::hours(1);
    let readings: Vec<_> = (0..20)
        .map(|week| ("Bramble", at(week), 8000 + 40 * [0, 1, -1, 2, -2][usize::try_from(week).unwrap() % 5]))
        .collect();
    nursery.weigh(&readings).await;
    let told = nursery.growth("Bramble", Some("2026-03-20".parse().unwrap())).await;
    let next = told.next.unwrap();
    assert_eq!(
        (next.by(), next.expected_on.unwrap().to_string().as_str()),
        (ExpectedBy::Habit, "2026-03-20")
    );
    let mass = next.mass.unwrap();
    assert!((grams(mass.expected) - 8000.0).abs() < 50.0, "{mass:?}");
    assert!(grams(mass.low) > 7500.0 && grams(mass.high) < 8500.0, "{mass:?}");
    assert!(told.curve.is_none() && told.standings.is_empty() && told.siblings.is_empty());
    nursery.house.close().await;
}

#[tokio::test]
async fn a_species_grows_as_its_animals_did() {
    let nursery = Nursery::new().await;
    let born = start_of_time().date_naive() - TimeDelta::days(211);
    let names = ["Pip", "Tansy", "Burr", "Mallow", "Clover", "Vetch"];
    let mut readings = Vec::new();
    for (n, name) in (0..).zip(names) {
        nursery.born(name, born).await;
        let own = 1.0 + 0.02 * (f64::from(n) - 2.5);
        for week in 1..=30 {
            let days = 7 * week;
            #[expect(clippy::cast_precision_loss, reason = "days of a youth")]
            let share = (-(-0.03 * (days as f64 - 40.0)).exp()).exp();
            let noise = 1.0 + 0.004 * f64::from((i32::try_from(week).unwrap() * 3 + n) % 5 - 2);
            #[expect(clippy::cast_possible_truncation, reason = "grams of an otter")]
            let grams = (8000.0 * own * share * noise) as i64;
            readings.push((name, morning_of(born + TimeDelta::days(days)), grams));
        }
    }
    nursery.weigh(&readings).await;
    let ask = |sex: v1::Sex| v1::FitSpeciesGrowthRequest {
        site: "QUI".to_owned(),
        taxon: "Lontra canadensis".to_owned(),
        sex: sex.into(),
    };
    let client = nursery.park.auditor.client.growth();
    let told = { client.clone() }.fit_species_growth(ask(v1::Sex::Unspecified)).await.unwrap().into_inner();
    let curve = told.curve.unwrap();
    assert_eq!((curve.shape(), told.animals, told.weeks), (GrowthShape::Gompertz, 6, 180));
    let adult = curve.adult.unwrap();
    assert!(grams(adult.low) < 8000.0 && 8000.0 < grams(adult.high), "{adult:?}");
    assert!((curve.rate_per_day - 0.03).abs() < 0.002, "{curve:?}");
    assert_eq!(told.points.len(), 25);
    for point in &told.points {
        let (curve, animal) = (point.curve.unwrap(), point.animal.unwrap());
        assert!(grams(animal.low) < grams(curve.low) && grams(curve.high) < grams(animal.high), "{point:?}");
    }
    // No male was ever weighed.
    let males = { client.clone() }.fit_species_growth(ask(v1::Sex::Male)).await.unwrap().into_inner();
    assert_eq!((males.curve, males.animals), (None, 0));
    let unknown =
        v1::FitSpeciesGrowthRequest { taxon: "Lutra perspicillata".to_owned(), ..ask(v1::Sex::Male) };
    let refused = { client }.fit_species_growth(unknown).await.unwrap_err();
    assert_eq!(reason(&refused), "NOT_FOUND");
    nursery.house.close().await;
}

#[tokio::test]
async fn a_reference_is_loaded_once_and_only_if_it_is_one() {
    let nursery = Nursery::new().await;
    let loaded = nursery.load(REFERENCE).await.unwrap();
    assert_eq!((loaded.code.as_str(), loaded.version, loaded.ages.len()), ("otter-cubs", 1, 3));
    let again = nursery.load(REFERENCE).await.unwrap_err();
    assert_eq!((again.code(), reason(&again).as_str()), (Code::AlreadyExists, "EXISTS"));
    nursery.load(&REFERENCE.replace("version = 1", "version = 2")).await.unwrap();
    for wrong in [
        REFERENCE.replace("days = 200", "days = 50"),
        REFERENCE.replace("s = 0.10", "s = 1.5"),
        REFERENCE.replace("version = 1", "version = 0"),
        REFERENCE.replace("source = \"invented for tests\"", "source = \"\""),
        REFERENCE.replace("title", "tittle"),
        "no curve at all".to_owned(),
    ] {
        let refused = nursery.load(&wrong).await.unwrap_err();
        assert_eq!((refused.code(), reason(&refused).as_str()), (Code::InvalidArgument, "MALFORMED"));
    }
    let auditor = nursery.park.auditor.client.growth();
    let all = { auditor }.list_growth_references(v1::ListGrowthReferencesRequest {}).await.unwrap();
    let versions: Vec<i32> = all.into_inner().references.iter().map(|each| each.version).collect();
    assert_eq!(versions, [1, 2]);
    nursery.house.close().await;
}

#[tokio::test]
async fn a_diet_is_short_fits_or_is_over() {
    let nursery = Nursery::new().await;
    let need = async |offered: Option<f64>| {
        let ask = v1::EstimateEnergyNeedRequest {
            site: "QUI".to_owned(),
            animal: "Bramble".to_owned(),
            offered_kcal: offered,
        };
        let told = nursery.park.auditor.client.growth().estimate_energy_need(ask).await;
        told.map(tonic::Response::into_inner)
    };
    let refused = need(None).await.unwrap_err();
    assert!(refused.message().contains("is not recorded"), "{refused:?}");
    let describe = v1::DescribeTaxonRequest {
        request_id: nursery.house.request(),
        taxon: "Lontra canadensis".to_owned(),
        traits: Some(v1::TaxonTraits {
            energy: Some(v1::EnergyNeed { rest_kcal: 70.0, low: 1.4, high: 2.0 }),
            source: "invented for tests".to_owned(),
            ..Default::default()
        }),
    };
    nursery.house.steward().await.client.animals().describe_taxon(describe).await.unwrap();
    let refused = need(None).await.unwrap_err();
    assert!(refused.message().contains("never weighed"), "{refused:?}");
    nursery.weigh(&[("Bramble", start_of_time() - TimeDelta::hours(1), 8000)]).await;
    let told = need(None).await.unwrap();
    // 70 · 8^0.75 = 332.978…, as a pocket calculator has it.
    assert!((told.rest_kcal - 332.978).abs() < 0.001, "{told:?}");
    assert!((told.low_kcal - 466.169).abs() < 0.001 && (told.high_kcal - 665.956).abs() < 0.001);
    assert_eq!(told.verdict(), RationVerdict::Unspecified);
    let verdict = async |offered| {
        let told = need(Some(offered)).await.unwrap();
        (told.verdict(), told.off_percent.round())
    };
    assert_eq!(verdict(400.0).await, (RationVerdict::Short, 14.0));
    assert_eq!(verdict(500.0).await, (RationVerdict::Fits, 0.0));
    assert_eq!(verdict(700.0).await, (RationVerdict::Over, 5.0));
    assert_eq!(reason(&need(Some(-1.0)).await.unwrap_err()), "MALFORMED");
    nursery.house.close().await;
}
