//! How an animal grows as a chart: its readings beside its own curve and the reference curves of its kind.

use super::weight_chart::{Weighed, series, value, whole};
use crate::chart::{Band, Chart, Dot, Edge, Point, Series, Stroke, noon};
use crate::words::Word;
use chrono::{Days, NaiveDate};
use holt_audit::growth::{AtAge, Reference, Shape, SoundReference};
use holt_proto::v1;

/// Standard deviations between which 95 % of a kind lie.
const NINETY_FIVE: f64 = 1.96;
/// Most points of a curve.
const FINE: u32 = 80;

/// What a chart of growth is made of.
pub(crate) struct Grown<'a> {
    pub(crate) weighed: Weighed<'a>,
    pub(crate) growth: &'a v1::GetGrowthResponse,
    pub(crate) references: &'a [v1::GrowthReference],
}

impl Grown<'_> {
    /// The chart: that of its weights, with the curves laid over it where its day of birth is known.
    pub(crate) fn chart(&self) -> Chart {
        let mut chart = self.weighed.chart();
        chart.title = chart.title.replacen("Weight of", "Growth of", 1);
        // A median says nothing of what grows, and the curves say more.
        if let Some(born) = self.growth.born_on.and_then(whole) {
            chart.from = chart.from.min(noon(born));
            let days = spread(born, &chart);
            let own = self.growth.curve.and_then(|curve| own(&curve, born, &days));
            let bands = self.growth.standings.iter().filter_map(|standing| {
                let same = |one: &&v1::GrowthReference| {
                    (&one.code, one.version) == (&standing.code, standing.version)
                };
                reference(self.references.iter().find(same)?, born, &days)
            });
            let bands: Vec<Band> = bands.collect();
            if own.is_some() || !bands.is_empty() {
                chart.baselines.clear();
            }
            chart.series.extend(own);
            chart.bands.extend(bands);
        }
        chart
    }
}

/// Days at which a curve is drawn.
fn spread(born: NaiveDate, chart: &Chart) -> Vec<NaiveDate> {
    let first = chart.from.date().max(born);
    let whole = u64::try_from((chart.to.date() - first).num_days()).unwrap_or_default();
    let step = whole.div_ceil(FINE.into()).max(1);
    (0..=whole / step).filter_map(|n| first.checked_add_days(Days::new(n * step))).collect()
}

fn age(born: NaiveDate, on: NaiveDate) -> f64 {
    i32::try_from((on - born).num_days()).map_or(0.0, f64::from)
}

/// Its own curve; none where its readings do not tell where it ends.
fn own(curve: &v1::GrowthCurve, born: NaiveDate, days: &[NaiveDate]) -> Option<Series> {
    let adult = value(curve.adult?.expected?);
    let shape = match curve.shape() {
        v1::GrowthShape::Logistic => Shape::Logistic,
        v1::GrowthShape::Gompertz => Shape::Gompertz,
        v1::GrowthShape::VonBertalanffy => Shape::VonBertalanffy,
        v1::GrowthShape::Unspecified => return None,
    };
    let name = format!("Its own {} curve", curve.shape().word());
    let mut line = series(&name, Dot::None, Stroke::Dashed, true);
    line.points = days
        .iter()
        .map(|&on| {
            let mass = shape.mass(adult, curve.rate_per_day, curve.fastest_at_days, age(born, on));
            Point { at: noon(on), value: Some(mass) }
        })
        .collect();
    Some(line)
}

/// The median of a kind, and between what 95 % of it lie.
fn reference(wire: &v1::GrowthReference, born: NaiveDate, days: &[NaiveDate]) -> Option<Band> {
    let ages = wire.ages.iter().map(|at| AtAge { days: at.days, l: at.l, m: at.m, s: at.s });
    let reference = SoundReference::try_from(Reference {
        code: wire.code.clone(),
        version: u32::try_from(wire.version).ok()?,
        title: wire.title.clone(),
        species: wire.taxon.clone(),
        sex: None,
        source: wire.source.clone(),
        ages: ages.collect(),
    })
    .ok()?;
    let edges: Vec<Edge> = days
        .iter()
        .filter_map(|&on| {
            let at = reference.at(age(born, on))?;
            // The table is in grams.
            let mg = |z| at.value(z).map(|grams| 1000.0 * grams);
            Some(Edge { at: noon(on), low: mg(-NINETY_FIVE)?, expected: mg(0.0), high: mg(NINETY_FIVE)? })
        })
        .collect();
    let name = format!("{}@{}, median and 95 %", wire.code, wire.version);
    (edges.len() > 1).then_some(Band { name, edges })
}
