//! How animals grow.

use super::{Thing, about, count, day, some, spoken, spoken_mass, tenth};
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

fn mg(mass: Option<v1::Mass>) -> Option<i64> {
    mass.map(|mass| mass.milligrams)
}

/// A mass with its 95 % interval.
#[derive(Clone, Copy, Serialize)]
pub(crate) struct Band {
    mass_mg: i64,
    low_mg: i64,
    high_mg: i64,
}

impl From<v1::MassBand> for Band {
    fn from(band: v1::MassBand) -> Self {
        let mg = |mass| mg(mass).unwrap_or_default();
        Self { mass_mg: mg(band.expected), low_mg: mg(band.low), high_mg: mg(band.high) }
    }
}

impl Band {
    fn spoken(&self) -> String {
        format!("{} ({} to {})", about(self.mass_mg), about(self.low_mg), about(self.high_mg))
    }
}

/// What an animal should weigh on a day.
#[derive(Clone, Serialize)]
pub(crate) struct Expected {
    on: Option<String>,
    #[serde(flatten)]
    band: Band,
    /// `gain` or `habit`.
    by: &'static str,
    readings: i32,
}

impl From<v1::ExpectedWeight> for Expected {
    fn from(expected: v1::ExpectedWeight) -> Self {
        Self {
            on: day(expected.expected_on),
            by: expected.by().word(),
            readings: expected.readings,
            band: expected.mass.unwrap_or_default().into(),
        }
    }
}

impl Expected {
    /// `8.2 kg (7.9 kg to 8.5 kg) on 2026-03-09, by its usual weight`.
    pub(crate) fn spoken(&self) -> String {
        let by = match self.by {
            "gain" => "by its recent gain",
            _ => "by its usual weight",
        };
        format!("{} on {}, {by}", self.band.spoken(), self.on.as_deref().unwrap_or_default())
    }
}

/// Where a reading lies on a reference curve.
#[derive(Clone, Serialize)]
struct Standing {
    code: String,
    version: i32,
    source: String,
    age_days: f64,
    z: f64,
    z_linear_tails: f64,
    median_mg: Option<i64>,
}

/// A young beside its litter.
#[derive(Clone, Default, Serialize)]
struct Sibling {
    accession: String,
    house_name: Option<String>,
    mass_mg: Option<i64>,
    percent: f64,
    z: f64,
    behind: bool,
    animal_id: String,
}

/// A growth curve.
#[derive(Clone, Serialize)]
struct Curve {
    shape: &'static str,
    /// None where the readings do not tell it.
    adult: Option<Band>,
    rate_per_day: f64,
    fastest_at_days: f64,
    spread_percent: f64,
}

impl From<v1::GrowthCurve> for Curve {
    fn from(curve: v1::GrowthCurve) -> Self {
        Self {
            shape: curve.shape().word(),
            adult: curve.adult.map(Band::from),
            rate_per_day: curve.rate_per_day,
            fastest_at_days: curve.fastest_at_days,
            spread_percent: curve.spread_percent,
        }
    }
}

impl Curve {
    fn spoken(&self) -> String {
        let adult = match &self.adult {
            Some(adult) => format!("adult weight {}", adult.spoken()),
            None => "too early to estimate the adult weight".to_owned(),
        };
        format!(
            "{} curve, {adult}, fastest at {:.0} days, readings within {:.1} % of it",
            self.shape, self.fastest_at_days, self.spread_percent
        )
    }
}

/// How an animal grows.
#[derive(Serialize)]
pub(crate) struct Growing {
    accession: String,
    house_name: Option<String>,
    born_on: Option<String>,
    latest_on: Option<String>,
    latest_mg: Option<i64>,
    next: Option<Expected>,
    standings: Vec<Standing>,
    siblings: Vec<Sibling>,
    curve: Option<Curve>,
    animal_id: String,
}

/// How an animal grows, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    accession: String,
    house_name: Option<String>,
    born_on: Option<String>,
    latest_on: Option<String>,
    latest_mg: Option<i64>,
    next_on: Option<String>,
    next_mg: Option<i64>,
    next_low_mg: Option<i64>,
    next_high_mg: Option<i64>,
    next_by: Option<&'static str>,
    /// By code of the curve: `otter-cubs@1 -1.2`.
    z: String,
    behind_litter: Option<bool>,
    adult_mg: Option<i64>,
    adult_low_mg: Option<i64>,
    adult_high_mg: Option<i64>,
}

impl From<v1::GetGrowthResponse> for Growing {
    fn from(answer: v1::GetGrowthResponse) -> Self {
        let animal = answer.animal.unwrap_or_default();
        let standings = answer.standings.into_iter().map(|standing| Standing {
            code: standing.code,
            version: standing.version,
            source: standing.source,
            age_days: standing.age_days,
            z: standing.z,
            z_linear_tails: standing.z_linear_tails,
            median_mg: mg(standing.median),
        });
        let siblings = answer.siblings.into_iter().map(|sibling| {
            let animal = sibling.animal.unwrap_or_default();
            Sibling {
                accession: animal.accession,
                house_name: some(animal.house_name),
                mass_mg: mg(sibling.mass),
                percent: sibling.percent,
                z: sibling.z,
                behind: sibling.behind,
                animal_id: animal.id,
            }
        });
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            born_on: day(answer.born_on),
            latest_on: day(answer.latest_on),
            latest_mg: mg(answer.latest),
            next: answer.next.map(Expected::from),
            standings: standings.collect(),
            siblings: siblings.collect(),
            curve: answer.curve.map(Curve::from),
            animal_id: animal.id,
        }
    }
}

impl Answer for Growing {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let band = self.next.as_ref().map(|next| next.band);
        let adult = self.curve.as_ref().and_then(|curve| curve.adult);
        let own = self.siblings.iter().find(|sibling| sibling.animal_id == self.animal_id);
        let z: Vec<String> = self
            .standings
            .iter()
            .map(|standing| format!("{}@{} {:.2}", standing.code, standing.version, standing.z))
            .collect();
        vec![Row {
            accession: self.accession.clone(),
            house_name: self.house_name.clone(),
            born_on: self.born_on.clone(),
            latest_on: self.latest_on.clone(),
            latest_mg: self.latest_mg,
            next_on: self.next.as_ref().and_then(|next| next.on.clone()),
            next_mg: band.map(|band| band.mass_mg),
            next_low_mg: band.map(|band| band.low_mg),
            next_high_mg: band.map(|band| band.high_mg),
            next_by: self.next.as_ref().map(|next| next.by),
            z: z.join("; "),
            behind_litter: own.map(|own| own.behind),
            adult_mg: adult.map(|band| band.mass_mg),
            adult_low_mg: adult.map(|band| band.low_mg),
            adult_high_mg: adult.map(|band| band.high_mg),
        }]
    }

    fn page(&self, page: &mut Page) {
        let born = self.born_on.as_ref().map(|on| format!(", born {on}")).unwrap_or_default();
        page.heading(&format!("{}{born}", spoken(self.house_name.as_deref(), &self.accession)));
        match (&self.latest_mg, &self.latest_on) {
            (Some(mass), Some(on)) => page.line(&format!("Weighed {} on {on}.", spoken_mass(*mass))),
            _ => page.line("Never weighed."),
        }
        match &self.next {
            Some(next) => page.line(&format!("Expected weight: {}.", next.spoken())),
            None => page.line("Too few readings for an expected weight."),
        }
        for standing in &self.standings {
            let side = if standing.z < 0.0 { "below" } else { "above" };
            let median = standing.median_mg.map(about).unwrap_or_default();
            page.line(&format!(
                "{}@{}: {:.1} standard deviations {side} the median of its age, {median} ({}).",
                standing.code,
                standing.version,
                standing.z.abs(),
                standing.source
            ));
        }
        if let Some(curve) = &self.curve {
            page.line(&format!("Its own growth: {}.", curve.spoken()));
        }
        if !self.siblings.is_empty() {
            page.gap();
            let mut table = Table::new(["Litter", "Weight", "Compared with the others", ""]).numbers([1, 2]);
            for sibling in &self.siblings {
                let tone = if sibling.behind { Tone::Warning } else { Tone::Calm };
                table.toned([
                    (Tone::Calm, spoken(sibling.house_name.as_deref(), &sibling.accession)),
                    (Tone::Calm, sibling.mass_mg.map(spoken_mass).unwrap_or_default()),
                    (tone, format!("{:+.0} %", sibling.percent)),
                    (tone, if sibling.behind { "lags" } else { "" }.to_owned()),
                ]);
            }
            page.table(&table);
        }
    }
}

/// The curve of a species at an age.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Point {
    age_days: f64,
    curve_mg: i64,
    curve_low_mg: i64,
    curve_high_mg: i64,
    animal_low_mg: i64,
    animal_high_mg: i64,
}

/// How the animals of a species grow.
#[derive(Serialize)]
pub(crate) struct OfSpecies {
    scientific_name: String,
    animals: i32,
    weeks: i32,
    curve: Option<Curve>,
    points: Vec<Point>,
}

impl OfSpecies {
    pub(crate) fn new(scientific_name: String, answer: v1::FitSpeciesGrowthResponse) -> Self {
        let points = answer.points.into_iter().map(|point| {
            let curve = Band::from(point.curve.unwrap_or_default());
            let animal = Band::from(point.animal.unwrap_or_default());
            Point {
                age_days: (point.age_days * 10.0).round() / 10.0,
                curve_mg: curve.mass_mg,
                curve_low_mg: curve.low_mg,
                curve_high_mg: curve.high_mg,
                animal_low_mg: animal.low_mg,
                animal_high_mg: animal.high_mg,
            }
        });
        Self {
            scientific_name,
            animals: answer.animals,
            weeks: answer.weeks,
            curve: answer.curve.map(Curve::from),
            points: points.collect(),
        }
    }
}

impl Answer for OfSpecies {
    type Row = Point;

    fn rows(&self) -> Vec<Point> {
        self.points.clone()
    }

    fn page(&self, page: &mut Page) {
        let animals = count(usize::try_from(self.animals).unwrap_or_default(), "animal", "animals");
        let Some(curve) = &self.curve else {
            page.line(&format!(
                "{animals} of {} with readings and a known day of birth: too few, or they determine no \
                 curve. A curve needs five, each weighed in five weeks of its growth.",
                self.scientific_name
            ));
            return;
        };
        page.line(&format!("{}, {animals}, {} weeks: {}.", self.scientific_name, self.weeks, curve.spoken()));
        page.gap();
        let mut table =
            Table::new(["Age, days", "Curve", "Its 95 % interval", "One animal, 95 %"]).numbers([0, 1]);
        for point in self.points.iter().step_by(2) {
            table.row([
                format!("{:.0}", point.age_days),
                about(point.curve_mg),
                format!("{} to {}", about(point.curve_low_mg), about(point.curve_high_mg)),
                format!("{} to {}", about(point.animal_low_mg), about(point.animal_high_mg)),
            ]);
        }
        page.table(&table);
    }
}

/// The energy that an animal needs.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Need {
    accession: String,
    house_name: Option<String>,
    mass_mg: Option<i64>,
    weighed_on: Option<String>,
    rest_kcal: f64,
    low_kcal: f64,
    high_kcal: f64,
    offered_kcal: Option<f64>,
    /// `short`, `fits` or `over`; none where no diet was given.
    verdict: Option<&'static str>,
    off_percent: Option<f64>,
    source: String,
}

impl Need {
    pub(crate) fn new(offered_kcal: Option<f64>, answer: v1::EstimateEnergyNeedResponse) -> Self {
        let verdict = Some(answer.verdict().word()).filter(|word| !word.is_empty());
        let animal = answer.animal.unwrap_or_default();
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            mass_mg: mg(answer.mass),
            weighed_on: day(answer.weighed_on),
            rest_kcal: tenth(answer.rest_kcal),
            low_kcal: tenth(answer.low_kcal),
            high_kcal: tenth(answer.high_kcal),
            offered_kcal,
            verdict,
            off_percent: verdict.map(|_| tenth(answer.off_percent)),
            source: answer.source,
        }
    }

    pub(crate) fn fits(&self) -> bool {
        self.verdict == Some(v1::RationVerdict::Fits.word())
    }
}

impl Answer for Need {
    type Row = Self;

    fn rows(&self) -> Vec<Self> {
        vec![self.clone()]
    }

    fn page(&self, page: &mut Page) {
        page.line(&format!(
            "{}, {} on {}: {:.0} kcal a day at rest, {:.0} to {:.0} kcal in keeping.",
            spoken(self.house_name.as_deref(), &self.accession),
            self.mass_mg.map(spoken_mass).unwrap_or_default(),
            self.weighed_on.as_deref().unwrap_or_default(),
            self.rest_kcal,
            self.low_kcal,
            self.high_kcal
        ));
        if let (Some(offered), Some(verdict)) = (self.offered_kcal, self.verdict) {
            let off = self.off_percent.unwrap_or_default();
            let told = match verdict {
                "short" => page.paint(Tone::Warning, &format!("short by {off:.0} %")),
                "over" => page.paint(Tone::Warning, &format!("over by {off:.0} %")),
                _ => "fits".to_owned(),
            };
            page.line(&format!("{offered:.0} kcal a day: {told}."));
        }
        page.remark(&format!(
            "An estimate from weight alone; for one animal it can be wrong by a third ({}). Judge a ration \
             by the weights \
             that follow it.",
            self.source
        ));
    }
}

/// A reference curve.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Reference {
    code: String,
    version: i32,
    title: String,
    pub(crate) scientific_name: String,
    /// None where it is for both.
    sex: Option<&'static str>,
    source: String,
    from_days: Option<f64>,
    to_days: Option<f64>,
    ages: usize,
    id: String,
}

impl From<v1::GrowthReference> for Reference {
    fn from(reference: v1::GrowthReference) -> Self {
        let sex = reference.sex();
        Self {
            sex: matches!(sex, v1::Sex::Male | v1::Sex::Female).then(|| sex.word()),
            code: reference.code,
            version: reference.version,
            title: reference.title,
            scientific_name: reference.taxon,
            source: reference.source,
            from_days: reference.ages.first().map(|at| at.days),
            to_days: reference.ages.last().map(|at| at.days),
            ages: reference.ages.len(),
            id: reference.id,
        }
    }
}

impl Reference {
    /// `otter-cubs@1`.
    pub(crate) fn spoken(&self) -> String {
        format!("{}@{}", self.code, self.version)
    }
}

impl Thing for Reference {
    const MANY: &'static str = "references";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(references: &[Self], page: &mut Page) {
        let mut table = Table::new(["Reference", "Species", "Sex", "Ages, days", "Title", "Source"]);
        for each in references {
            let (from, to) = (each.from_days.unwrap_or_default(), each.to_days.unwrap_or_default());
            table.row([
                each.spoken(),
                each.scientific_name.clone(),
                each.sex.unwrap_or("both").to_owned(),
                format!("{from:.0} to {to:.0}"),
                each.title.clone(),
                each.source.clone(),
            ]);
        }
        page.table(&table);
    }
}
