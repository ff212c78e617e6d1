//! What a score is worth: who is found, how many days before it is out, and at the price of how many
//! false alarms.

use crate::herd::{DAYS, Herd, at};
use holt_audit::standing::exclusion::evidence::Kind;
use holt_audit::standing::exclusion::record::NOW_DAYS;
use holt_audit::standing::exclusion::{Certainty, estimate};

/// First day on which animals are looked at: before it there is no past.
const FIRST: i64 = 63;

/// Kinds in the order of the columns that are fitted.
pub(crate) const KINDS: [Kind; 7] = [
    Kind::Aggression,
    Kind::Food,
    Kind::Isolation,
    Kind::Fall,
    Kind::Weight,
    Kind::BesideBreeder,
    Kind::GroupChange,
];

/// One animal on one day.
#[derive(Clone)]
pub(crate) struct Look {
    pub(crate) herd: u64,
    pub(crate) animal: usize,
    pub(crate) day: i64,
    /// The day it will be out, if it is being pushed out now.
    pub(crate) out: Option<i64>,
    /// Strength of each kind; missing is 0.
    pub(crate) strengths: Vec<f64>,
    pub(crate) estimate: f64,
    pub(crate) certainty: Certainty,
    /// How far its weight falls behind.
    pub(crate) weight: f64,
    /// Aggression received and seen in the days of now, as counted.
    pub(crate) count: f64,
    /// The same for each hour watched.
    pub(crate) rate: f64,
}

/// Looks at every animal of some herds, once a week.
pub(crate) fn looks(seeds: std::ops::Range<u64>) -> Vec<Look> {
    seeds.flat_map(|seed| of_herd(seed, &Herd::simulate(seed))).collect()
}

fn of_herd(seed: u64, herd: &Herd) -> Vec<Look> {
    let mut looks = Vec::new();
    let last = herd.pushed_out.map_or(DAYS, |span| span.until);
    for day in (FIRST..last).step_by(7) {
        let record = herd.as_of(day);
        let now = at(day, 0.0);
        let since = at(day - NOW_DAYS, 0.0);
        let estimates = estimate(&record, now).unwrap_or_default();
        for (animal, told) in estimates.into_iter().enumerate() {
            let strength = |kind: &Kind| {
                told.parts
                    .iter()
                    .find(|part| part.evidence.kind() == *kind)
                    .map_or(0.0, |p| p.evidence.strength())
            };
            let seen = record.contests.iter().filter(|c| c.loser == animal && c.at >= since).count();
            let count = f64::from(u32::try_from(seen).unwrap_or(u32::MAX));
            let watched = record.watched.iter().filter(|w| w.animal == animal && w.during.from >= since);
            let hours: f64 = watched
                .filter_map(|w| Some((w.during.until? - w.during.from).as_seconds_f64() / 3_600.0))
                .sum();
            looks.push(Look {
                herd: seed,
                animal,
                day,
                out: herd.pushed_out.filter(|span| span.covers(animal, day)).map(|span| span.until),
                strengths: KINDS.iter().map(strength).collect(),
                estimate: told.probability,
                certainty: told.certainty,
                weight: strength(&Kind::Weight),
                count,
                rate: if hours > 0.0 { count / hours } else { 0.0 },
            });
        }
    }
    looks
}

/// What a score achieves at one level.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Worth {
    pub(crate) level: f64,
    /// Share of the animals pushed out that were found before they were out.
    pub(crate) found: f64,
    /// Median of days from the first alarm to the day it was out, over those found.
    pub(crate) days_before: i64,
    /// Alarms begun for animals that were not being pushed out, for each animal-year.
    pub(crate) false_a_year: f64,
}

/// Alarms wherever the score reaches the level. An alarm that goes on is one alarm.
pub(crate) fn worth(looks: &[Look], score: impl Fn(&Look) -> f64, level: f64) -> Worth {
    let (mut found, mut pushed, mut false_alarms, mut quiet_weeks) = (Vec::new(), 0_u32, 0_u32, 0_u32);
    let mut animals: std::collections::BTreeMap<(u64, usize), Vec<&Look>> = std::collections::BTreeMap::new();
    for look in looks {
        animals.entry((look.herd, look.animal)).or_default().push(look);
    }
    for life in animals.into_values() {
        let mut alarmed = false;
        for look in life.iter().filter(|look| look.out.is_none()) {
            let alarm = score(look) >= level;
            false_alarms += u32::from(alarm && !alarmed);
            quiet_weeks += 1;
            alarmed = alarm;
        }
        if life.iter().any(|look| look.out.is_some()) {
            pushed += 1;
            let first =
                life.iter().find_map(|look| Some((look.out?, look.day)).filter(|_| score(look) >= level));
            found.extend(first.map(|(out, day)| out - day));
        }
    }
    found.sort_unstable();
    Worth {
        level,
        found: f64::from(u32::try_from(found.len()).unwrap_or_default()) / f64::from(pushed.max(1)),
        days_before: found.get(found.len() / 2).copied().unwrap_or_default(),
        false_a_year: f64::from(false_alarms) / (f64::from(quiet_weeks.max(1)) / 52.18),
    }
}

/// The lowest level at which there are no more than so many false alarms for each animal-year.
pub(crate) fn at_price(looks: &[Look], score: impl Fn(&Look) -> f64 + Copy, false_a_year: f64) -> Worth {
    let mut levels: Vec<f64> = looks.iter().map(score).collect();
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    // False alarms need not fall with the level step by step, but they do on the whole: halve.
    let (mut low, mut high) = (0, levels.len());
    while low < high {
        let middle = low.midpoint(high);
        if worth(looks, score, levels[middle]).false_a_year > false_a_year {
            low = middle + 1;
        } else {
            high = middle;
        }
    }
    let level = levels.get(low).copied().unwrap_or(f64::INFINITY);
    worth(looks, score, level)
}

/// Probability that a look at an animal being pushed out scores above one at another (ties half).
pub(crate) fn area(looks: &[Look], score: impl Fn(&Look) -> f64) -> f64 {
    let mut scored: Vec<(f64, bool)> = looks.iter().map(|look| (score(look), look.out.is_some())).collect();
    scored.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut below, mut sum, mut positives) = (0.0, 0.0, 0.0);
    for ties in scored.chunk_by(|a, b| a.0.total_cmp(&b.0).is_eq()) {
        let hits = f64::from(u32::try_from(ties.iter().filter(|(_, out)| *out).count()).unwrap_or_default());
        let others = f64::from(u32::try_from(ties.len()).unwrap_or_default()) - hits;
        sum += hits * (below + others / 2.0);
        below += others;
        positives += hits;
    }
    sum / (positives * below)
}
