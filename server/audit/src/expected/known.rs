//! What is known of a kind at a site: what people said of it, and what was learnt from its animals.

use super::answer::Kind;
use super::curve::Curve;
use super::noise::Learnt;
use super::rate::{self, Look, Rate, Whose};
use crate::terms::{RecordId, Sex};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// By how much a scale shows more than the first one, in ln mass.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Offset {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

impl Offset {
    /// With what a round taught that knew `before` when it began: others may have taught of the scale meanwhile.
    fn with(self, [before, after]: [Self; 2]) -> Self {
        if self == before {
            return after;
        }
        // What others are compared with differs from nothing.
        if [self, before, after].iter().any(|offset| offset.variance <= 0.0) {
            return self;
        }
        let of = |offset: Self| (offset.mean / offset.variance, offset.variance.recip());
        let ((own, known), (was, had), (is, has)) = (of(self), of(before), of(after));
        let more = (has - had).max(0.0);
        Self { mean: (own + is - was) / (known + more), variance: (known + more).recip() }
    }
}

/// Spread of what scales differ by.
const SCALES: f64 = 0.015;

/// What the grown of one sex weigh.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Grown {
    readings: f64,
    log: f64,
}

/// Readings that are remembered of what the grown weigh, and that it takes to be believed.
const REMEMBERED: f64 = 300.0;
const ENOUGH: f64 = 6.0;

/// All that is known of a kind at a site. One row; see the module.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// What people said.
    pub kind: Kind,
    learnt: Learnt,
    pub(super) curve: Curve,
    rates: BTreeMap<Whose, Rate>,
    scales: BTreeMap<RecordId, Offset>,
    grown: BTreeMap<Sex, Grown>,
}

/// What a round taught of a kind: kept until the week is over, see [`super::Herd`].
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Lessons {
    /// Weeks between two readings of an animal, and by how much they differ.
    pub(super) pairs: Vec<(f64, f64)>,
    /// ln share of the grown mass, and gain of ln mass a week, of young.
    pub(super) paces: Vec<(f64, f64)>,
    pub(super) looks: Vec<Look>,
    /// What a scale was known to show more before the round, and after it.
    pub(super) scales: Vec<(RecordId, [Offset; 2])>,
    pub(super) grown: Vec<(Sex, f64)>,
}

impl Known {
    /// Nothing yet, but for what people said.
    #[must_use]
    pub fn new(kind: Kind) -> Self {
        Self {
            kind,
            learnt: Learnt::default(),
            curve: Curve::default(),
            rates: BTreeMap::new(),
            scales: BTreeMap::new(),
            grown: BTreeMap::new(),
        }
    }

    /// Takes in what a round taught.
    pub fn learns(&mut self, lessons: &Lessons) {
        for (lag, difference) in &lessons.pairs {
            self.learnt.pair(*lag, *difference);
        }
        if !lessons.pairs.is_empty() {
            self.learnt.refit();
        }
        for (share, pace) in &lessons.paces {
            self.curve.learns(*share, *pace);
        }
        for look in &lessons.looks {
            self.rates.entry(look.whose).or_default().adds(look);
        }
        for (scale, news) in &lessons.scales {
            let known = self.scale(*scale, true);
            self.scales.insert(*scale, known.with(*news));
        }
        for (sex, log) in &lessons.grown {
            let grown = self.grown.entry(*sex).or_default();
            grown.readings = (grown.readings + 1.0).min(REMEMBERED);
            grown.log += (log - grown.log) / grown.readings;
        }
    }

    /// What is known of a scale; the first of all is what the others are compared with.
    pub(super) fn scale(&self, scale: RecordId, is_first: bool) -> Offset {
        let variance = if is_first && self.scales.is_empty() { 0.0 } else { SCALES * SCALES };
        self.scales.get(&scale).copied().unwrap_or(Offset { mean: 0.0, variance })
    }

    /// ln grams of the grown of a sex.
    pub(super) fn grown(&self, sex: Sex) -> Option<f64> {
        self.grown.get(&sex).filter(|grown| grown.readings >= ENOUGH).map(|grown| grown.log)
    }

    pub(super) const fn learnt(&self) -> &Learnt {
        &self.learnt
    }

    /// How often a year healthy ones reach such odds.
    pub(super) fn a_year(&self, whose: Whose, odds: f64) -> f64 {
        self.rates.get(&whose).copied().unwrap_or_default().of(whose, odds)
    }

    /// Whether people should hear of what healthy ones reach so often.
    pub(super) fn is_told(&self, a_year: f64) -> bool {
        a_year <= rate::limit(self.kind.false_a_year)
    }

    /// What was seen of the odds of a loss in its animals, for whom: years, episodes in which they were remarkable, and
    /// the sum of how far these rose above that.
    pub fn odds_seen(&self) -> impl Iterator<Item = (&'static str, [f64; 3])> + '_ {
        self.rates.iter().map(|(whose, rate)| (whose.word(), rate.seen()))
    }
}
