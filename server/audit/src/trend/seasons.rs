//! The weeks of one animal freed of its season.

use super::series::{Week, monday};
use crate::season::Season;

/// The weeks freed of season, each by no more than was known before it.
pub(super) struct Seasons<'a> {
    weeks: &'a [Week],
    of_kind: Season,
    season: Season,
    year: i32,
    /// ln mass of each week without it.
    pub(super) free: Vec<f64>,
}

impl<'a> Seasons<'a> {
    pub(super) fn new(weeks: &'a [Week], of_kind: Option<&Season>) -> Self {
        let season = of_kind.copied().unwrap_or_default();
        let mut seasons = Self { weeks, of_kind: season, season, year: 0, free: Vec::new() };
        seasons.fill();
        seasons
    }

    /// Takes the weeks up to `place` as known. At each anniversary of its first week, an animal's own
    /// pattern is worked out anew from the years that lie behind.
    pub(super) fn reach(&mut self, place: usize) {
        let year = (self.weeks[place].number - self.weeks[0].number) / 52;
        if year <= self.year {
            return;
        }
        self.year = year;
        let points: Vec<_> = self.weeks[..place]
            .iter()
            .filter(|week| !week.gravid)
            .map(|week| (monday(week.number), week.log - self.of_kind.log(monday(week.number))))
            .collect();
        if let Some(own) = Season::of_one(&points) {
            self.season = self.of_kind.plus(&own);
            self.fill();
        }
    }

    fn fill(&mut self) {
        self.free.clear();
        self.free.extend(self.weeks.iter().map(|week| week.log - self.season.log(monday(week.number))));
    }
}
