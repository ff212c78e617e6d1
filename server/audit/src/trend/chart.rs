//! The chart of one animal's weeks: expected level, standardised shortfall, cumulative sum, episode.

use super::settings::Settings;
use super::weeks::{Week, monday};
use crate::season::Season;
use crate::stats::cusum::Cusum;
use crate::stats::ewma::Ewma;
use crate::stats::{count, median_mad};

/// A week's shortfall counts at most this many spreads, so that one wild reading raises nothing.
const MOST_SPREADS: f64 = 4.0;
/// Weeks, and readings of them, that tell what an animal weighs of late.
const LATE_WEEKS: i32 = 8;
const LATE_READINGS: usize = 4;
/// Variance of a median of n normal values, times n: π/2.
const MEDIAN_VARIANCE: f64 = std::f64::consts::FRAC_PI_2;

/// Where the chart stands after the last week.
#[derive(Clone, Copy, Debug)]
pub(super) struct Chart {
    /// What the animal weighs by itself, freed of season.
    pub(super) reference: Reference,
    /// Expected ln mass of the last week.
    pub(super) expected: f64,
    /// Smoothed deviation from what was expected, in ln mass.
    pub(super) level: f64,
    /// Cumulated shortfall over the limit.
    pub(super) strength: f64,
    /// The episode that has not ended, if one was raised.
    pub(super) open: Option<Open>,
}

/// A loss that was raised.
#[derive(Clone, Copy, Debug)]
pub(super) struct Open {
    /// Place of the week in which it began.
    pub(super) since: usize,
    /// Lost from one weighing to the next.
    pub(super) sharp: bool,
}

/// The baseline at some week.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reference {
    /// Median ln mass, freed of season.
    pub(super) log: f64,
    /// Standard deviation of a week about it.
    pub(super) spread: f64,
    /// How many weeks it rests on.
    pub(super) weeks: usize,
    /// Place of the first and of the last of them.
    pub(super) first: usize,
    pub(super) last: usize,
}

/// Runs the chart over all `weeks`; `last_logs` holds the last reading of each beside their medians.
/// `None` while there are too few to have a baseline and something to compare with it.
pub(super) fn run(
    weeks: &[Week],
    last_logs: &[f64],
    known: Option<&Season>,
    settings: &Settings,
) -> Option<Chart> {
    let mut seasons = Seasons::new(weeks, known);
    let mut window = Window::default();
    let mut sums = Cusum::default();
    let mut level: Option<Ewma> = None;
    let mut began: Option<usize> = None;
    let mut open: Option<Open> = None;
    let mut carrying = Carrying::default();
    let mut told = None;
    for place in 1..weeks.len() {
        let week = weeks[place];
        seasons.reach(place);
        let Some(reference) = window.reference(weeks, &seasons.free, place, settings) else { continue };
        let base = carrying.reached(weeks, &seasons.free, place).unwrap_or(reference.log).max(reference.log);
        let deviation = seasons.free[place] - base;
        let doubt = MEDIAN_VARIANCE / count(reference.weeks);
        let z = deviation / (reference.spread * (1.0 + doubt).sqrt());
        sums.add(z.clamp(-MOST_SPREADS, MOST_SPREADS), settings.allowance + doubt.sqrt());

        let gap = f64::from(week.number - weeks[place - 1].number);
        let average = level.get_or_insert(Ewma::new(settings.smoothing, 0.0));
        average.add_after(deviation, gap);

        if sums.low() <= 0.0 {
            began = None;
        } else if began.is_none() {
            began = Some(place);
        }
        let latest = last_logs[place] - week.log + seasons.free[place];
        let sharp = of_late(weeks, &seasons.free, place).is_some_and(|log| {
            let fall = (1.0 - settings.sharp_loss_percent / 100.0).ln();
            let wild = -MOST_SPREADS * reference.spread;
            latest - log <= fall.min(wild) && latest - base <= fall
        });
        let least = (1.0 - settings.least_loss_percent / 100.0).ln();
        if open.is_none() && (sharp || (sums.low() > settings.limit && average.value() <= least)) {
            open = Some(Open { since: began.unwrap_or(place), sharp });
        } else if open.is_some() && !sharp && average.value() > least / 2.0 && deviation > least {
            open = None;
            began = None;
            sums = Cusum::default();
        }
        told = Some(Chart {
            reference,
            expected: base + week.log - seasons.free[place],
            level: average.value(),
            strength: sums.low() / settings.limit,
            open,
        });
    }
    told
}

/// The weeks freed of season, each by no more than was known before it.
struct Seasons<'a> {
    weeks: &'a [Week],
    known: Option<&'a Season>,
    season: Season,
    year: i32,
    free: Vec<f64>,
}

impl<'a> Seasons<'a> {
    fn new(weeks: &'a [Week], known: Option<&'a Season>) -> Self {
        let season = known.copied().unwrap_or_default();
        let mut told = Self { weeks, known, season, year: 0, free: vec![0.0; weeks.len()] };
        told.fill();
        told
    }

    /// At each anniversary of its first week, an animal's own pattern is worked out anew from the
    /// years that lie behind.
    fn reach(&mut self, place: usize) {
        let year = (self.weeks[place].number - self.weeks[0].number) / 52;
        if year <= self.year {
            return;
        }
        self.year = year;
        let known = self.known.copied().unwrap_or_default();
        let points: Vec<_> = self.weeks[..place]
            .iter()
            .filter(|week| !week.gravid)
            .map(|week| (monday(week.number), week.log - known.log(monday(week.number))))
            .collect();
        if let Some(own) = Season::of_one(&points) {
            self.season = known.plus(&own);
            self.fill();
        }
    }

    fn fill(&mut self) {
        for (free, week) in self.free.iter_mut().zip(self.weeks) {
            *free = week.log - self.season.log(monday(week.number));
        }
    }
}

/// The weeks that make the baseline, sliding along, with space to find their middle in.
#[derive(Default)]
struct Window {
    first: usize,
    end: usize,
    logs: Vec<f64>,
}

impl Window {
    fn reference(
        &mut self,
        weeks: &[Week],
        free: &[f64],
        place: usize,
        settings: &Settings,
    ) -> Option<Reference> {
        let weeks_ago = |ago: u32| weeks[place].number.saturating_sub_unsigned(ago);
        let newest = weeks_ago(settings.lag_weeks);
        let oldest = weeks_ago(settings.lag_weeks + settings.reference_weeks);
        while self.end < place && weeks[self.end].number < newest {
            self.end += 1;
        }
        while self.first < self.end && weeks[self.first].number < oldest {
            self.first += 1;
        }
        let own = |range: std::ops::Range<usize>| range.filter(|&place| !weeks[place].gravid);
        let least = usize::try_from(settings.least_weeks).unwrap_or(usize::MAX);
        let mut first = self.first;
        let mut end = self.end;
        if own(first..end).take(least).count() < least {
            // Too young for the lag, or long unweighed: the first weeks there are.
            end = own(first..place).take(least).last()? + 1;
        }
        first = own(first..end).next()?;
        let last = own(first..end).next_back()?;
        self.logs.clear();
        self.logs.extend(own(first..end).map(|place| free[place]));
        let held = count(self.logs.len());
        let log = median_mad::median(&mut self.logs)?;
        let seen = median_mad::mad(&mut self.logs, log)? * median_mad::NORMAL_CONSISTENCY;
        let usual = settings.usual_spread_percent / 100.0;
        let known = settings.usual_spread_weeks;
        let spread = ((known * usual * usual + held * seen * seen) / (known + held)).sqrt();
        let spread = spread.max(settings.least_spread_percent / 100.0);
        Some(Reference { log, spread, weeks: self.logs.len(), first, last })
    }
}

/// Median of what an animal weighed in the last few weeks before `place`, if it was weighed.
fn of_late(weeks: &[Week], free: &[f64], place: usize) -> Option<f64> {
    let mut few = [0.0; LATE_READINGS];
    let late =
        (0..place).rev().take_while(|&before| weeks[place].number - weeks[before].number <= LATE_WEEKS);
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
