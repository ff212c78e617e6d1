//! Families, weighed weekly for thirty weeks, in which nobody loses: adults that hold, young that grow up beside them, a
//! dam that carries and has her litter recorded on the day. No answer of the service says otherwise.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_audit::chance::Chance;
use holt_audit::stats::normal;
use holt_proto::v1::{self, ReadingOutcome};
use holt_server::clock::Clock;
use holt_tests::{House, Park};

const WEEKS: usize = 30;
/// Weekly readings of an adult differ by so much, in ln mass.
const NOISE: f64 = 0.012;
/// Week of the birth of the dam that carries, and for how many weeks before that she gains.
const BIRTH: usize = 14;
const GAINS: usize = 9;

struct Family {
    house: House,
    park: Park,
    adults: Vec<String>,
    young: Vec<String>,
    carries: bool,
    chance: Chance,
}

/// All that was answered.
#[derive(Debug, Default)]
struct Answered {
    concerns: Vec<v1::Concern>,
    aside: usize,
    readings: usize,
    drifts: usize,
}

impl Family {
    async fn new(seed: u64, adults: usize, young: usize, carries: bool) -> Self {
        let house = House::new().await;
        let park = house.quill().await;
        house.enclosure(&park, "Weir").await;
        let describe = v1::DescribeTaxonRequest {
            request_id: house.request(),
            taxon: "Lontra canadensis".to_owned(),
            traits: Some(v1::TaxonTraits {
                gestation_days: 63,
                seasonal: false,
                energy: None,
                source: "long practice".to_owned(),
            }),
        };
        house.steward().await.client.animals().describe_taxon(describe).await.unwrap();
        let names = |what: &str, of: usize| (1..=of).map(|n| format!("{what}{n}")).collect::<Vec<_>>();
        let born = (house.clock.now() - TimeDelta::days(40)).date_naive();
        let family = Self {
            house,
            park,
            adults: names("Adult", adults),
            young: names("Young", young),
            carries,
            chance: Chance::seeded(seed),
        };
        for (n, name) in family.adults.iter().enumerate() {
            let sex = if n % 2 == 0 { v1::Sex::Female } else { v1::Sex::Male };
            let arrival = v1::RegisterArrivalRequest {
                sex: sex.into(),
                ..family.house.arrival(&family.park, name, "2025-03-01".parse().unwrap())
            };
            family.park.registrar.client.animals().register_arrival(arrival).await.unwrap();
        }
        for name in &family.young {
            family.birth(name, born).await;
        }
        let place = v1::PlaceAnimalsRequest {
            request_id: family.house.request(),
            site: "QUI".to_owned(),
            animals: family.adults.iter().chain(&family.young).cloned().collect(),
            enclosure: "Weir".to_owned(),
            placed_at: None,
        };
        family.park.keeper.client.placements().place_animals(place).await.unwrap();
        family
    }

    async fn birth(&self, name: &str, on: NaiveDate) {
        let birth = self.house.birth(&self.park, &self.adults[0], name, on);
        self.park.registrar.client.send(birth).await.unwrap();
    }

    /// ln grams of one in a week, without chance: adults about 1250 g, young on a logistic curve towards that.
    fn log(&self, place: usize, week: usize) -> f64 {
        let at = |week: usize| f64::from(u32::try_from(week).unwrap());
        let grown = 1250.0_f64.ln() + 0.03 * at(place % 4);
        if place >= self.adults.len() {
            return grown - (1.0 + (-(at(week) - 12.0) / 7.0).exp()).ln();
        }
        let gained = if self.carries && place == 0 && (BIRTH - GAINS..BIRTH).contains(&week) {
            0.2 * (at(week + GAINS + 1 - BIRTH) / at(GAINS)).powi(2)
        } else {
            0.0
        };
        grown + gained
    }

    async fn lives(&mut self) -> Answered {
        let mut all = Answered::default();
        for week in 0..WEEKS {
            self.house.clock.advance(TimeDelta::weeks(1));
            let now = self.house.clock.now() - TimeDelta::hours(1);
            if self.carries && week == BIRTH {
                for n in 0..3 {
                    self.birth(&format!("Late{n}"), now.date_naive()).await;
                }
            }
            let readings: Vec<(String, DateTime<Utc>, i64)> = (0..self.adults.len() + self.young.len())
                .map(|place| {
                    let noise = NOISE * normal::quantile(self.chance.unit().max(1e-9));
                    let name = self.adults.iter().chain(&self.young).nth(place).unwrap().clone();
                    #[expect(clippy::cast_possible_truncation, reason = "grams")]
                    let grams = (self.log(place, week) + noise).exp().round() as i64;
                    (name, now, grams)
                })
                .collect();
            let readings: Vec<_> =
                readings.iter().map(|(name, at, grams)| (name.as_str(), *at, *grams)).collect();
            let round = self.house.round("QUI", &readings);
            let answer = self.park.keeper.client.weights().record_weights(round).await.unwrap().into_inner();
            all.concerns.extend(answer.concerns);
            all.drifts += answer.drifts.len();
            all.readings += answer.answers.len();
            let aside = answer.answers.iter().filter(|one| one.outcome() == ReadingOutcome::SecondWeighing);
            all.aside += aside.count();
        }
        all
    }
}

async fn told(seed: u64, adults: usize, young: usize, carries: bool) {
    let mut family = Family::new(seed, adults, young, carries).await;
    let all = family.lives().await;
    assert!(all.concerns.is_empty(), "{adults} and {young}, seed {seed}: {:?}", all.concerns);
    assert!(all.aside <= 2 && all.drifts == 0, "{adults} and {young}, seed {seed}: {all:?}");
    assert_eq!(all.readings, WEEKS * (adults + young));
    family.house.close().await;
}

#[tokio::test]
async fn four_adults_and_four_young() {
    told(1, 4, 4, false).await;
}

#[tokio::test]
async fn two_adults_and_four_young() {
    told(2, 2, 4, false).await;
}

#[tokio::test]
async fn six_adults_and_four_young_while_the_dam_carries() {
    told(3, 6, 4, true).await;
}

#[tokio::test]
async fn six_adults_alone() {
    told(4, 6, 0, false).await;
}
