//! How companions move together: what a season, a new feed or a cold spell does to all of them.

use crate::stats::{count, median_mad};
use crate::trend::residuals::Residual;
use std::collections::BTreeMap;
use std::f64::consts::FRAC_PI_2;

/// Companions that a middle needs; with fewer, one animal's matter is the group's.
pub(super) const FEWEST: usize = 4;
/// Weeks for which a middle holds if none follows.
const REMEMBERED: i32 = 4;
/// Weeks whose middles tell how much companions move together.
const BACK: i32 = 52;

/// How far each animal of a group stood from what was expected of it, week by week.
#[derive(Clone, Debug, Default)]
pub(super) struct Together(BTreeMap<i32, Vec<(usize, f64)>>);

/// The middle of some animals' residuals, week by week.
#[derive(Clone, Debug, Default)]
pub(super) struct Shared(BTreeMap<i32, Middle>);

/// The middle of some animals' residuals in one week, in ln mass, and how uncertain it is.
#[derive(Clone, Copy, Debug)]
struct Middle {
    log: f64,
    variance: f64,
}

impl Together {
    /// From the residuals of each member. Weeks in which one carried are left out: she gains for
    /// others.
    pub(super) fn of(members: &[Vec<Residual>]) -> Self {
        let mut weeks: BTreeMap<i32, Vec<(usize, f64)>> = BTreeMap::new();
        for (member, residuals) in members.iter().enumerate() {
            for residual in residuals.iter().filter(|residual| !residual.gravid) {
                weeks.entry(residual.number).or_default().push((member, residual.log));
            }
        }
        Self(weeks)
    }

    /// How the others moved, seen from one member. Weeks with too few of them are left out.
    pub(super) fn others(&self, member: usize) -> Shared {
        self.middles(|other| other != member)
    }

    /// How all members moved.
    pub(super) fn all(&self) -> Shared {
        self.middles(|_| true)
    }

    /// How many members were weighed in a week, and how many of them stood below what was expected.
    pub(super) fn below(&self, number: i32) -> (usize, usize) {
        let logs = self.0.get(&number).map_or(&[][..], Vec::as_slice);
        (logs.len(), logs.iter().filter(|(_, log)| *log < 0.0).count())
    }

    /// The members' residuals from one week to another, both included: week, member, ln mass.
    pub(super) fn between(&self, first: i32, last: i32) -> impl Iterator<Item = (i32, usize, f64)> {
        let weeks = self.0.range(first..=last);
        weeks.flat_map(|(number, logs)| logs.iter().map(|(member, log)| (*number, *member, *log)))
    }

    fn middles(&self, counts: impl Fn(usize) -> bool) -> Shared {
        let mut logs = Vec::new();
        let middle = |(number, members): (&i32, &Vec<(usize, f64)>)| {
            logs.clear();
            logs.extend(members.iter().filter(|(member, _)| counts(*member)).map(|(_, log)| *log));
            let log = median_mad::median(&mut logs).filter(|_| logs.len() >= FEWEST)?;
            let spread = median_mad::mad(&mut logs, log)? * median_mad::NORMAL_CONSISTENCY;
            // Of the median of normal values: π/2 times that of the mean.
            let variance = FRAC_PI_2 * spread * spread / count(logs.len());
            Some((*number, Middle { log, variance }))
        };
        Shared(self.0.iter().filter_map(middle).collect())
    }
}

impl Shared {
    /// The middles, in order of weeks.
    pub(super) fn weeks(&self) -> impl Iterator<Item = (i32, f64)> {
        self.0.iter().map(|(number, middle)| (*number, middle.log))
    }

    /// What is to be expected of an animal in a week because its companions moved so: their middle of
    /// that week, or of the last one shortly before, drawn towards nothing by as much as chance makes of
    /// it. If the middles of a year moved no more than those of independent animals would, they tell
    /// nothing; if they moved far more, they are taken whole (James & Stein 1961, positive part). `None`
    /// if too few of them were weighed of late.
    pub(super) fn expected(&self, number: i32) -> Option<f64> {
        let (_, now) = self.0.range(number - REMEMBERED..=number).next_back()?;
        let (mut moved, mut chance) = (0.0, 0.0);
        for (_, middle) in self.0.range(number - BACK..=number) {
            moved += middle.log.powi(2);
            chance += middle.variance;
        }
        Some(now.log * (1.0 - chance / moved.max(f64::MIN_POSITIVE)).max(0.0))
    }
}
