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
    /// Episodes a year, and by how much they exceed the threshold in the mean: of invented herds.
    const fn usual(self) -> (f64, f64) {
        match self {
            Self::Growing => (0.8, 0.5),
            Self::Grown => (2.0, 1.1),
            Self::Mother => (1.2, 0.9),
            Self::Group => (0.4, 0.8),
        }
    }
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

impl Rate {
    /// Odds are followed for some weeks more; `peak` is what the open episode reached.
    pub(super) fn follows(&mut self, peak: &mut f64, odds: f64, weeks: f64) {
        self.years += weeks.min(8.0) / super::animal::YEAR;
        if odds >= FROM || (*peak > 0.0 && odds >= OVER) {
            if *peak == 0.0 {
                self.episodes += 1.0;
            }
            let before = (*peak - FROM).clamp(0.0, MOST);
            *peak = peak.max(odds);
            self.excess += (*peak - FROM).clamp(0.0, MOST) - before;
        } else {
            *peak = 0.0;
        }
    }

    /// How often a year healthy animals reach such odds.
    pub(super) fn of(&self, whose: Whose, odds: f64) -> f64 {
        let (a_year, above) = whose.usual();
        let often = (self.episodes + YEARS * a_year) / (self.years + YEARS);
        let high = (self.excess + EPISODES * above) / (self.episodes + EPISODES);
        often * (-(odds - FROM) / high).exp()
    }
}
