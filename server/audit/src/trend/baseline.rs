//! What an animal usually weighs, as of some week.

use super::series::Week;
use super::settings::Settings;
use crate::stats::median_mad;
use std::ops::Range;

/// Weeks with a reading that a baseline needs.
const LEAST_WEEKS: usize = 4;

/// The baseline at some week.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Reference {
    /// Median ln mass, freed of season.
    pub(crate) log: f64,
    /// How many weeks it rests on.
    pub(crate) weeks: usize,
    /// Place of the first and of the last of them.
    pub(crate) first: usize,
    pub(crate) last: usize,
}

/// The weeks that make the baseline, sliding along, with space to find their middle in.
#[derive(Default)]
pub(super) struct Window {
    first: usize,
    end: usize,
    logs: Vec<f64>,
}

impl Window {
    /// The baseline of the week at `place`, given places in rising order; `free` holds the weeks' logs
    /// freed of season. Weeks in which it carried are passed over.
    pub(super) fn reference(
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
        let own = |range: Range<usize>| range.filter(|&place| !weeks[place].gravid);
        let mut end = self.end;
        if own(self.first..end).take(LEAST_WEEKS).count() < LEAST_WEEKS {
            // Too young for the lag, or long unweighed: the first weeks there are.
            end = own(self.first..place).nth(LEAST_WEEKS - 1)? + 1;
        }
        let first = own(self.first..end).next()?;
        let last = own(first..end).next_back()?;
        self.logs.clear();
        self.logs.extend(own(first..end).map(|place| free[place]));
        let log = median_mad::median(&mut self.logs)?;
        Some(Reference { log, weeks: self.logs.len(), first, last })
    }
}
