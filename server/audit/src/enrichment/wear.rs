//! Whether what is offered is used, and how interest in one thing wears off.

use crate::standing::rates::{self, Share};
use crate::stats::theil_sen::{self, Pairs};
use crate::stats::{count, median_mad};
use crate::terms::Day;
use serde::Serialize;

/// Offerings that were looked at below which no wear is told: with fewer the interval of a slope says
/// nothing.
pub const FEWEST_OFFERS: usize = 5;

/// How long an item was used when it was offered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Use {
    /// Day of the offering.
    pub day: Day,
    /// Minutes for which any animal of the group used it; nothing where nobody looked.
    pub minutes: Option<f64>,
}

/// What became of the interest in one item of one group.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Wear {
    /// Offerings.
    pub offered: usize,
    /// Share of those that were looked at in which it was used; `None` where none was looked at.
    pub taken_up: Option<Share>,
    /// How minutes of use change from one offering to the next; `None` below [`FEWEST_OFFERS`].
    pub slope: Option<Slope>,
}

/// A change from one offering to the next, in percent of the median use.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Slope {
    /// Theil–Sen slope.
    pub percent: f64,
    /// Lower end of its interval of 95 %.
    pub low: f64,
    /// Upper end of its interval of 95 %.
    pub high: f64,
}

impl Slope {
    /// Whether interest has worn off beyond what chance would give.
    #[must_use]
    pub fn worn(&self) -> bool {
        self.high < 0.0
    }
}

/// Sums up the offerings of one item to one group, in any order.
#[must_use]
pub fn wear(uses: &[Use]) -> Wear {
    let mut looked_at: Vec<(Day, f64)> =
        uses.iter().filter_map(|one| Some((one.day, one.minutes?))).collect();
    looked_at.sort_by_key(|(day, _)| *day);
    let used = looked_at.iter().filter(|(_, minutes)| *minutes > 0.0).count();
    let whole = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    Wear {
        offered: uses.len(),
        taken_up: rates::share(whole(used), whole(looked_at.len())),
        slope: slope(&looked_at),
    }
}

fn slope(looked_at: &[(Day, f64)]) -> Option<Slope> {
    if looked_at.len() < FEWEST_OFFERS {
        return None;
    }
    let order: Vec<f64> = (0..looked_at.len()).map(count).collect();
    let mut minutes: Vec<f64> = looked_at.iter().map(|(_, minutes)| *minutes).collect();
    let fit = theil_sen::fit(&order, &minutes, 0.95, &mut Pairs::default())?;
    // What is hardly ever used has no use to lose.
    let median = median_mad::median(&mut minutes).filter(|median| *median > 0.0)?;
    let percent = |slope: f64| 100.0 * slope / median;
    Some(Slope { percent: percent(fit.slope), low: percent(fit.low), high: percent(fit.high) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Days;

    fn uses(minutes: &[Option<f64>]) -> Vec<Use> {
        let first: Day = "2026-03-02".parse().unwrap();
        minutes.iter().zip(0..).map(|(&minutes, n)| Use { day: first + Days::new(3 * n), minutes }).collect()
    }

    #[test]
    fn interest_that_halves_is_worn() {
        let minutes = [60.0, 50.0, 46.0, 40.0, 33.0, 30.0, 24.0, 22.0].map(Some);
        let mut told = uses(&minutes);
        told.reverse();
        let told = wear(&told);
        let slope = told.slope.unwrap();
        assert!(slope.worn() && (-18.0..-12.0).contains(&slope.percent), "{slope:?}");
        assert_eq!(told.taken_up.unwrap(), rates::share(8, 8).unwrap());
    }

    #[test]
    fn interest_that_comes_and_goes_is_not() {
        let minutes = [20.0, 45.0, 25.0, 40.0, 22.0, 44.0, 26.0, 41.0].map(Some);
        assert!(!wear(&uses(&minutes)).slope.unwrap().worn());
    }

    #[test]
    fn offered_is_not_used_and_not_looked_at_is_not_unused() {
        let told = wear(&uses(&[Some(0.0), None, Some(12.0), None, Some(0.0)]));
        assert_eq!((told.offered, told.taken_up), (5, rates::share(1, 3)));
        assert_eq!(told.slope, None, "three were looked at");
        assert_eq!(wear(&uses(&[Some(0.0); 6])).slope, None, "what is never used has no use to lose");
        assert_eq!(wear(&[]).taken_up, None);
    }
}
