//! How often healthy animals of a kind reach odds by chance. A person chooses how many false concerns an animal-year
//! may have; what odds that asks for is learnt from the kind itself, beginning with what invented herds showed (see
//! the example `families`).
//!
//! Odds above a threshold are taken for exponential beyond it, as tails of maxima are (Pickands 1975, Ann Stat 3:119).
//! An animal that is truly ill counts as one episode of limited height, so that it hardly raises the limit.

use serde::{Deserialize, Serialize};

/// Odds from which on an episode counts, and below which it is over.
const FROM: f64 = 1.5;
const OVER: f64 = 0.7;
/// No episode counts as higher than so much above that.
const MOST: f64 = 5.0;

/// Whose odds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum Whose {
    Growing,
    Grown,
    Mother,
    Group,
}

impl Whose {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Growing => "growing",
            Self::Grown => "grown",
            Self::Mother => "carrying or nursing",
            Self::Group => "a group",
        }
    }

    /// How many of the concerns that are reckoned for a class come to be: others of an episode follow one that was told
    /// already, or were told of the group.
    const fn met(self) -> f64 {
        match self {
            Self::Grown => 1.0,
            Self::Growing | Self::Mother | Self::Group => 0.65,
        }
    }

    /// Episodes a year, and by how much they exceed the threshold in the mean: of the same invented herds.
    const fn usual(self) -> (f64, f64) {
        match self {
            Self::Growing => (0.61, 1.2),
            Self::Grown => (1.1, 1.43),
            Self::Mother => (1.19, 1.15),
            Self::Group => (0.61, 0.97),
        }
    }
}

/// False concerns an animal-year that a person may ask for (`rates` of the example `families`, 2 worlds of each of 30
/// shapes, seeds from 1: 5000 animal-years; judged on others), and how rare by [`Rate::of`] what is told must be for
/// that: what is reckoned for one class of animals is met together with other classes, and several times in one
/// episode.
const LIMITS: [(f64, f64); 6] =
    [(0.017, 0.01), (0.057, 0.046), (0.117, 0.086), (0.22, 0.163), (0.556, 0.398), (1.057, 0.915)];

/// How rare what is told must be, for so many false concerns an animal-year.
pub(super) fn limit(wanted: f64) -> f64 {
    let wanted = wanted.clamp(LIMITS[0].0, LIMITS[LIMITS.len() - 1].0).ln();
    let right = LIMITS[1..LIMITS.len() - 1].partition_point(|(rate, _)| rate.ln() < wanted) + 1;
    let [(a, low), (b, high)] = [LIMITS[right - 1], LIMITS[right]];
    let part = (wanted - a.ln()) / (b.ln() - a.ln());
    ((1.0 - part) * low.ln() + part * high.ln()).exp()
}

/// What was seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct Rate {
    years: f64,
    episodes: f64,
    excess: f64,
}

/// Years and episodes that what is usual weighs as much as.
const YEARS: f64 = 10.0;
const EPISODES: f64 = 12.0;

/// What a look at one animal, or group, adds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Look {
    pub(super) whose: Whose,
    years: f64,
    episodes: f64,
    excess: f64,
}

impl Look {
    /// Odds are followed for some weeks more; `peak` is what the open episode reached.
    pub(super) fn new(whose: Whose, peak: &mut f64, odds: f64, weeks: f64) -> Self {
        let mut look =
            Self { whose, years: weeks.min(8.0) / super::animal::YEAR, episodes: 0.0, excess: 0.0 };
        if odds >= FROM || (*peak > 0.0 && odds >= OVER) {
            look.episodes = f64::from(u8::from(*peak <= 0.0));
            let before = (*peak - FROM).clamp(0.0, MOST);
            *peak = peak.max(odds);
            look.excess = (*peak - FROM).clamp(0.0, MOST) - before;
        } else {
            *peak = 0.0;
        }
        look
    }
}

impl Rate {
    pub(super) const fn seen(&self) -> [f64; 3] {
        [self.years, self.episodes, self.excess]
    }

    pub(super) fn adds(&mut self, look: &Look) {
        self.years += look.years;
        self.episodes += look.episodes;
        self.excess += look.excess;
    }

    /// How often a year healthy animals reach such odds.
    pub(super) fn of(&self, whose: Whose, odds: f64) -> f64 {
        let (a_year, above) = whose.usual();
        let often = (self.episodes + YEARS * a_year) / (self.years + YEARS);
        let high = (self.excess + EPISODES * above) / (self.episodes + EPISODES);
        whose.met() * often * (-(odds - FROM) / high).exp()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_asks_for_fewer_is_told_less() {
        let limits = [0.001, 0.02, 0.05, 0.1, 0.3, 0.9, 5.0].map(limit);
        assert!(limits.is_sorted(), "{limits:?}");
        let [(wanted, least), .., (_, most)] = LIMITS;
        assert!(wanted < 0.1 && (limits[0] - least).abs() < 1e-12 && (limits[6] - most).abs() < 1e-12);
    }

    #[test]
    fn restless_animals_raise_what_is_asked_of_odds() {
        let mut rate = Rate::default();
        let usual = rate.of(Whose::Grown, 5.0);
        // Ten animal-years with an episode up to 5 each quarter.
        let mut peak = 0.0;
        for week in 0..520_u32 {
            let odds = if week % 13 < 3 { 5.0 } else { 0.0 };
            rate.adds(&Look::new(Whose::Grown, &mut peak, odds, 1.0));
        }
        let [years, episodes, excess] = rate.seen();
        assert!((years - 520.0 / super::super::animal::YEAR).abs() < 1e-9);
        assert!((episodes - 40.0).abs() < 1e-9 && (excess - 140.0).abs() < 1e-9, "{episodes} {excess}");
        assert!(rate.of(Whose::Grown, 5.0) > 4.0 * usual);
    }
}
