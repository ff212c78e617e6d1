//! What is left of each week once the animal's own baseline and season are taken out. A residual rests
//! on nothing later than its own week.

use super::baseline::{Reference, Window};
use super::seasons::Seasons;
use super::series::Week;
use super::settings::Settings;
use crate::season::Season;
use crate::stats::median_mad;

/// Weeks, and readings of them, that tell what an animal weighs of late.
const LATE_WEEKS: i32 = 8;
const LATE_READINGS: usize = 4;

/// One week against what was expected of it, in ln mass.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Residual {
    /// Place of the week.
    pub(crate) place: usize,
    /// Its number.
    pub(crate) number: i32,
    /// What the animal weighs by itself, freed of season.
    pub(crate) reference: Reference,
    /// ln mass that was expected, with season and what it carries.
    pub(crate) expected: f64,
    /// The week's middle above that.
    pub(crate) log: f64,
    /// Its last reading above that.
    pub(crate) last: f64,
    /// Its last reading above the middle of the few weeks before, if there are any.
    pub(crate) step: Option<f64>,
    /// It was carrying.
    pub(crate) gravid: bool,
    /// What its companions did is part of what was expected.
    pub(crate) beside: bool,
}

impl Residual {
    /// Expects so much more of it, in ln mass, because its companions moved so.
    pub(crate) fn expect_as_companions(&mut self, more: f64) {
        self.beside = true;
        self.expected += more;
        self.log -= more;
        self.last -= more;
    }
}

/// The residuals of all weeks that have a baseline.
pub(crate) fn of(weeks: &[Week], season: Option<&Season>, settings: &Settings) -> Vec<Residual> {
    let mut residuals = Vec::with_capacity(weeks.len());
    let mut seasons = Seasons::new(weeks, season);
    let mut window = Window::default();
    let mut carrying = Carrying::default();
    for (place, week) in weeks.iter().enumerate().skip(1) {
        seasons.reach(place);
        let free = &seasons.free;
        let Some(reference) = window.reference(weeks, free, place, settings) else { continue };
        let base = carrying.reached(weeks, free, place).map_or(reference.log, |log| log.max(reference.log));
        let last = free[place] + week.last - week.log;
        residuals.push(Residual {
            place,
            number: week.number,
            reference,
            expected: base + week.log - free[place],
            log: free[place] - base,
            last: last - base,
            step: of_late(weeks, free, place).map(|late| last - late),
            gravid: week.gravid,
            beside: false,
        });
    }
    residuals
}

/// Median of what an animal weighed in the last few weeks before `place`, if it was weighed.
fn of_late(weeks: &[Week], free: &[f64], place: usize) -> Option<f64> {
    let late =
        (0..place).rev().take_while(|&before| weeks[place].number - weeks[before].number <= LATE_WEEKS);
    let mut few = [0.0; LATE_READINGS];
    let mut held = 0;
    for (slot, before) in few.iter_mut().zip(late) {
        *slot = free[before];
        held += 1;
    }
    median_mad::median(&mut few[..held])
}

/// What an animal has reached since it carries: the highest median of three weeks in a row. Until
/// birth it should not fall below that.
#[derive(Default)]
struct Carrying {
    since: Option<usize>,
    reached: Option<f64>,
}

impl Carrying {
    fn reached(&mut self, weeks: &[Week], free: &[f64], place: usize) -> Option<f64> {
        if !weeks[place].gravid {
            *self = Self::default();
            return None;
        }
        let since = *self.since.get_or_insert(place);
        if place >= since + 3 {
            let mut three = [free[place - 3], free[place - 2], free[place - 1]];
            let middle = median_mad::median(&mut three);
            self.reached = [self.reached, middle].into_iter().flatten().reduce(f64::max);
        }
        self.reached
    }
}
