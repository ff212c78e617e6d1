//! The weights of an animal as a chart: what was read, what waits, what is expected next, and what was raised when.

use super::{instant, short, spoken};
use crate::chart::{Band, Baseline, Chart, Dot, Edge, Mark, Measure, Point, Series, Stroke, noon};
use crate::moment::wall;
use crate::session::Zones;
use crate::views::middle;
use crate::words::Word;
use chrono::{NaiveDate, NaiveTime, TimeDelta};
use holt_proto::time;
use holt_proto::v1;

/// What a chart of weights is made of. All of it is of one animal.
pub(crate) struct Weighed<'a> {
    /// The animal, as it is named where nothing else says it.
    pub(crate) named: &'a str,
    pub(crate) weights: &'a [v1::Weight],
    pub(crate) concerns: &'a [v1::Concern],
    pub(crate) next: Option<v1::ExpectedWeight>,
    /// First and last day; if not given, by what there is.
    pub(crate) days: (Option<NaiveDate>, Option<NaiveDate>),
    pub(crate) zones: &'a Zones,
}

/// From noon to the last second of a day.
const END_OF_DAY: TimeDelta = TimeDelta::seconds(12 * 3600 - 1);

/// A mass as a value of a chart.
#[expect(clippy::cast_precision_loss, reason = "milligrams of an animal")]
pub(super) fn value(mass: v1::Mass) -> f64 {
    mass.milligrams as f64
}

/// A day that is known to the day.
pub(super) fn whole(day: v1::Day) -> Option<NaiveDate> {
    time::whole_day(day).ok()
}

impl Weighed<'_> {
    /// The chart.
    pub(crate) fn chart(&self) -> Chart {
        let mut readings = series("Readings", Dot::Full, Stroke::Solid, true);
        let mut again = series("To weigh again", Dot::Open, Stroke::None, false);
        let mut estimates = series("Estimates, not weighed", Dot::Diamond, Stroke::None, true);
        let mut declined = series("Declined the scale", Dot::Cross, Stroke::None, false);
        // Newest first as they come.
        for weight in self.weights.iter().rev() {
            let Some(at) = instant(weight.weighed_at) else { continue };
            let point = Point { at: wall(at, self.zones.of(&weight.site)), value: weight.mass.map(value) };
            let of = match weight.mass {
                None => &mut declined,
                Some(_) if weight.awaits_second => &mut again,
                Some(_) if weight.method() == v1::WeighingMethod::Estimate => &mut estimates,
                Some(_) => &mut readings,
            };
            of.points.push(point);
        }
        let baselines = baseline(&readings).into_iter().collect();
        let bands: Vec<Band> = self.next.and_then(expected).into_iter().collect();
        let named = self.weights.first().map_or_else(
            || self.named.to_owned(),
            |one| spoken(Some(one.house_name.as_str()).filter(|name| !name.is_empty()), &one.accession),
        );
        let series = vec![readings, again, estimates, declined];
        let times = series.iter().flat_map(|series| &series.points).map(|point| point.at);
        let times: Vec<_> =
            times.chain(bands.iter().flat_map(|band| &band.edges).map(|edge| edge.at)).collect();
        let first = self.days.0.map(|day| day.and_time(NaiveTime::MIN));
        let last = self.days.1.map(|day| noon(day) + END_OF_DAY);
        let from = first.or_else(|| times.iter().min().copied()).unwrap_or_default();
        let to = last.into_iter().chain(times.iter().max().copied()).max().unwrap_or_default();
        let marks = self.marks().into_iter().filter(|mark| mark.at >= from && mark.at <= to).collect();
        let title = format!("Weight of {named}");
        Chart { title, from, to, measure: Measure::Weight, series, bands, baselines, marks }
    }

    /// What was raised about the animal, oldest first.
    fn marks(&self) -> Vec<Mark> {
        let mut marks: Vec<Mark> = self
            .concerns
            .iter()
            .filter_map(|concern| {
                let at = wall(instant(concern.raised_at)?, self.zones.of(&concern.site));
                Some(Mark { at, text: raised(concern) })
            })
            .collect();
        marks.sort_by(|one, other| (one.at, &one.text).cmp(&(other.at, &other.text)));
        marks
    }
}

/// `ACT, weight trend: Fennel … lost it gradually; closed as treated. [27d4e5aa]`.
fn raised(concern: &v1::Concern) -> String {
    let level = concern.level().word().to_uppercase();
    let about = concern.kind().word().replace('-', " ");
    let seen = concern.seen.split_once(". ").map_or(concern.seen.as_str(), |(first, _)| first);
    let answered = match concern.state() {
        v1::ConcernState::Settled => {
            let settled_as = concern.settled_as().word().replace('-', " ");
            if settled_as.is_empty() { "closed".to_owned() } else { format!("closed as {settled_as}") }
        }
        v1::ConcernState::TakenUp => "taken on".to_owned(),
        _ => "not taken on".to_owned(),
    };
    format!("{level}, {about}: {}; {answered} [{}]", seen.trim_end_matches('.'), short(&concern.id))
}

pub(super) fn series(name: &str, dot: Dot, stroke: Stroke, makes_room: bool) -> Series {
    Series { name: name.to_owned(), dot, stroke, points: Vec::new(), makes_room }
}

/// The median of the readings that count. None of fewer than three, and none of an animal that grew or wasted: its
/// middle is where it was on its way.
fn baseline(readings: &Series) -> Option<Baseline> {
    const FEWEST: usize = 3;
    const STEADY: f64 = 1.25;
    #[expect(clippy::cast_possible_truncation, reason = "milligrams of an animal")]
    let masses: Vec<i64> =
        readings.points.iter().filter_map(|point| Some(point.value?.round() as i64)).collect();
    let values = || readings.points.iter().filter_map(|point| point.value);
    let steady = values().reduce(f64::max)? <= STEADY * values().reduce(f64::min)?;
    if masses.len() < FEWEST || !steady {
        return None;
    }
    let milligrams = middle(masses)?;
    Some(Baseline { name: "Median of these readings".to_owned(), value: value(v1::Mass { milligrams }) })
}

/// What is expected next, as a bar.
fn expected(next: v1::ExpectedWeight) -> Option<Band> {
    let (mass, at) = (next.mass?, noon(whole(next.expected_on?)?));
    let edge =
        Edge { at, low: value(mass.low?), expected: mass.expected.map(value), high: value(mass.high?) };
    Some(Band { name: "Expected next, 95 %".to_owned(), edges: vec![edge] })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(grams: &[f64]) -> Series {
        let mut readings = series("Readings", Dot::Full, Stroke::Solid, true);
        readings.points =
            grams.iter().map(|grams| Point { at: Default::default(), value: Some(1000.0 * grams) }).collect();
        readings
    }

    #[test]
    fn what_is_steady_has_a_median_and_what_grows_has_none() {
        let median = |grams: &[f64]| baseline(&read(grams)).map(|baseline| baseline.value);
        assert_eq!(median(&[1400.0, 1500.0, 1410.0]), Some(1_410_000.0));
        assert_eq!(median(&[1400.0, 1410.0]), None);
        assert_eq!(median(&[500.0, 800.0, 1300.0]), None);
        assert_eq!(median(&[]), None);
    }

    #[test]
    fn what_was_raised_is_told_with_its_answer() {
        let concern = |state: v1::ConcernState, settled_as: v1::SettledAs| v1::Concern {
            id: "0190a1b2-0000-7000-8000-00000000002a".to_owned(),
            level: v1::ConcernLevel::Act.into(),
            kind: v1::ConcernKind::WeightTrend.into(),
            seen: "Fennel is 9.9 % below what is expected. Lost it gradually.".to_owned(),
            state: state.into(),
            settled_as: settled_as.into(),
            ..Default::default()
        };
        let none = v1::SettledAs::Unspecified;
        let seen = "ACT, weight trend: Fennel is 9.9 % below what is expected";
        for (state, settled_as, answer) in [
            (v1::ConcernState::Raised, none, "not taken on"),
            (v1::ConcernState::TakenUp, none, "taken on"),
            (v1::ConcernState::Settled, v1::SettledAs::NewNormal, "closed as new normal"),
            (v1::ConcernState::Settled, none, "closed"),
        ] {
            assert_eq!(raised(&concern(state, settled_as)), format!("{seen}; {answer} [0000002a]"));
        }
    }
}
