//! When things were in the life of an animal that is taken in, and what of it cannot be.

use super::wrong;
use crate::model::animal::Destination;
use crate::model::exchange::{Coming, Leaving};
use crate::model::exchange::{Life, LivedIn, Stay, Weighed, Worn};
use crate::model::holding::{Began, Ended, When};
use crate::model::reason::Reason;
use crate::model::site::Site;
use crate::model::weight::{Outcome, Taken};
use crate::records::error::Refusal;
use crate::records::weights::HEAVIEST;
use crate::store::exchange::{End, Residence, Wear};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::{Mass, Sex};
use std::collections::HashSet;

/// When things were.
pub(super) struct Times {
    pub(super) first_on: NaiveDate,
    pub(super) stays: Vec<Residence>,
    pub(super) sexes: Vec<(NaiveDate, Sex)>,
    pub(super) marks: Vec<Wear>,
    /// One for each placement of the life, in order.
    pub(super) placements: Vec<(DateTime<Utc>, Option<DateTime<Utc>>)>,
    pub(super) owned: (DateTime<Utc>, Option<DateTime<Utc>>),
    /// One for each reading of the life, in order.
    pub(super) readings: Vec<ReadAt>,
}

/// When a reading was taken, and what it showed.
pub(super) struct ReadAt {
    pub(super) at: DateTime<Utc>,
    pub(super) on: NaiveDate,
    pub(super) day_only: bool,
    pub(super) mass: Option<Mass>,
}

/// When things were, where they can be; and all that is wrong.
pub(super) fn of(site: &Site, life: &Life, now: DateTime<Utc>) -> (Option<Times>, Vec<Refusal>) {
    let mut clock = Clock { site, now, wrong: Vec::new() };
    let stays: Vec<Residence> =
        life.stays.iter().enumerate().filter_map(|(n, stay)| clock.residence(n, stay)).collect();
    // The rest hangs on the stays.
    if !clock.wrong.is_empty() {
        return (None, clock.wrong);
    }
    clock.in_order(&stays);
    let (Some(first), Some(last)) = (stays.first(), stays.last()) else { return (None, clock.wrong) };
    if let Some(born) = life.born {
        let (day, is_birth) = (first.began_on, first.how == Began::Birth);
        if born.first > day || (is_birth && !(born.first..=born.last).contains(&day)) {
            let say = format!("its day of birth is {}, but it is in the stock from {day} on", born.first);
            clock.refuse(Reason::OutOfOrder, "born_on", say, "correct one of the two days");
        }
    }
    let died = last.end.as_ref().filter(|end| end.death.is_some()).map(|end| end.at);
    let times = Times {
        first_on: first.began_on,
        sexes: clock.sexes(life, first.began_on),
        marks: life
            .marks
            .iter()
            .enumerate()
            .map(|(n, worn)| clock.wear(n, worn, first.began_at, died))
            .collect(),
        placements: clock.placements(&life.placements, &stays),
        owned: (first.began_at, died),
        readings: clock.readings(&life.readings, &stays),
        stays,
    };
    (clock.wrong.is_empty().then_some(times), clock.wrong)
}

struct Clock<'a> {
    site: &'a Site,
    now: DateTime<Utc>,
    wrong: Vec<Refusal>,
}

impl Clock<'_> {
    fn refuse(&mut self, reason: Reason, field: impl Into<String>, say: impl Into<String>, mend: &str) {
        self.wrong.push(wrong(reason, field, say, mend));
    }

    fn in_the_future(&mut self, what: &str, field: &str) {
        self.wrong.push(Refusal::in_the_future(what, field));
    }

    /// The instant of a day, or the one that is given for it: `usual` makes one of the day alone.
    fn instant(
        &mut self,
        when: When,
        field: &str,
        usual: impl Fn(NaiveDate) -> DateTime<Utc>,
    ) -> Option<DateTime<Utc>> {
        let at = when.at.unwrap_or_else(|| usual(when.day));
        if when.day > self.site.day_of(self.now) || when.at.is_some_and(|at| at > self.now) {
            self.in_the_future("day", field);
            return None;
        }
        if when.at.is_some() && self.site.day_of(at) != when.day {
            let say = format!("the instant {at} is not on {} in the zone {}", when.day, self.site.zone);
            self.refuse(Reason::Malformed, field, say, "give the instant alone, or the day alone");
            return None;
        }
        Some(at)
    }

    fn residence(&mut self, n: usize, stay: &Stay) -> Option<Residence> {
        let (site, now) = (self.site, self.now);
        let (when, how, source, name) = match &stay.coming {
            Coming::Birth { day } => (When { day: *day, at: None }, Began::Birth, "", String::new()),
            Coming::Arrival { when, source, from } => (*when, Began::Arrival, source.as_str(), from.clone()),
        };
        let began_at = self.instant(when, &format!("stays[{n}].began_on"), |day| site.start_of(day))?;
        let end = match &stay.left {
            None => None,
            Some((when, leaving)) => {
                let field = format!("stays[{n}].ended_on");
                let at = self.instant(*when, &field, |day| site.close_of(day).min(now))?;
                if at <= began_at {
                    let say = "it departed before it arrived";
                    self.refuse(Reason::OutOfOrder, field, say, "correct one of the two days");
                    return None;
                }
                let (how, source, name, death) = match leaving {
                    Leaving::Death { manner, note } => {
                        (Ended::Death, "", String::new(), Some((*manner, note.clone())))
                    }
                    Leaving::Departure { destination: Destination::Escape, name } => {
                        (Ended::Escape, "escape", name.clone(), None)
                    }
                    Leaving::Departure { destination, name } => {
                        (Ended::Departure, destination.as_str(), name.clone(), None)
                    }
                };
                Some(End { at, on: when.day, day_only: when.at.is_none(), how, source, name, death })
            }
        };
        Some(Residence { began_at, began_on: when.day, how, source, name, end })
    }

    /// Refuses stays that overlap, that go on after a death, or that begin with a birth elsewhere than at first.
    fn in_order(&mut self, stays: &[Residence]) {
        for (n, pair) in stays.windows(2).enumerate() {
            let [before, next] = pair else { continue };
            let field = format!("stays[{}].began_on", n + 1);
            match &before.end {
                Some(end) if end.death.is_some() => {
                    self.refuse(Reason::AnimalDead, field, "it had died by then", "correct the stays");
                }
                Some(end) if end.at <= next.began_at => {
                    if next.how == Began::Birth {
                        let say = "it was born after it had been here";
                        self.refuse(Reason::OutOfOrder, field, say, "give the stays oldest first");
                    }
                }
                _ => {
                    let say = "it was still here from the stay before";
                    self.refuse(
                        Reason::OutOfOrder,
                        field,
                        say,
                        "give the stays oldest first, each with its end",
                    );
                }
            }
        }
    }

    fn sexes(&mut self, life: &Life, first_on: NaiveDate) -> Vec<(NaiveDate, Sex)> {
        if life.sexes.is_empty() {
            return vec![(first_on, Sex::Unknown)];
        }
        let mut seen = HashSet::new();
        let mut sexes = Vec::with_capacity(life.sexes.len());
        for (n, &(day, sex)) in life.sexes.iter().enumerate() {
            let day = day.unwrap_or(first_on);
            let field = format!("sexes[{n}].determined_on");
            if day > self.site.day_of(self.now) {
                self.in_the_future("day of determination", &field);
            }
            if !seen.insert(day) {
                self.refuse(Reason::Exists, field, "one day has two sexes", "give one for a day");
            }
            sexes.push((day, sex));
        }
        sexes
    }

    fn wear(&mut self, n: usize, worn: &Worn, first: DateTime<Utc>, died: Option<DateTime<Utc>>) -> Wear {
        let began_at = worn.from.unwrap_or(first);
        for (at, field) in [(Some(began_at), "from"), (worn.until, "until")] {
            if at.is_some_and(|at| at > self.now) {
                self.in_the_future("time", &format!("marks[{n}].{field}"));
            }
        }
        if worn.until.is_some_and(|until| until < began_at) {
            let say = "the mark ends before it begins";
            self.refuse(Reason::OutOfOrder, format!("marks[{n}].until"), say, "correct one of the two times");
        }
        // A mark ends with the animal.
        let ended_at = worn.until.or(died.map(|died| died.max(began_at)));
        let ended_why = match (worn.until, died) {
            (None, Some(_)) => "the animal died".to_owned(),
            _ => worn.ended_why.clone(),
        };
        Wear { mark: worn.mark.clone(), began_at, ended_at, ended_why }
    }

    fn placements(
        &mut self,
        lived: &[LivedIn],
        stays: &[Residence],
    ) -> Vec<(DateTime<Utc>, Option<DateTime<Utc>>)> {
        let last = stays.last();
        let mut times: Vec<(DateTime<Utc>, Option<DateTime<Utc>>)> = Vec::with_capacity(lived.len());
        for (n, one) in lived.iter().enumerate() {
            let from = one.from.or(last.map(|stay| stay.began_at)).unwrap_or(self.now);
            let stay = stays.iter().rev().find(|stay| stay.began_at <= from);
            let end = stay.and_then(|stay| stay.end.as_ref()).map(|end| end.at);
            let until = one.until.or(end);
            let field = format!("placements[{n}].from");
            let inside = stay.is_some() && end.is_none_or(|end| until.is_some_and(|until| until <= end));
            if until.is_some_and(|until| until <= from) || from > self.now {
                self.refuse(
                    Reason::OutOfOrder,
                    field,
                    "it ends before it begins",
                    "correct one of the two times",
                );
            } else if !inside {
                let say = format!("{} did not hold it all that time", self.site.code);
                self.refuse(Reason::AnimalNotHeldThen, field, say, "correct the times, or the stays");
            } else if times.last().is_some_and(|(_, until)| until.is_none_or(|until| until > from)) {
                let say = "it lived somewhere else then";
                self.refuse(
                    Reason::OutOfOrder,
                    field,
                    say,
                    "give the placements oldest first, each with its end",
                );
            }
            times.push((from, until));
        }
        times
    }

    fn readings(&mut self, readings: &[Weighed], stays: &[Residence]) -> Vec<ReadAt> {
        let mut seen = HashSet::new();
        let mut times = Vec::with_capacity(readings.len());
        for (n, weighed) in readings.iter().enumerate() {
            let at_field = || format!("readings[{n}].weighed_at");
            let (at, day_only) = match weighed.reading.taken {
                Taken::At(at) => (at, false),
                Taken::On(day) => (self.site.noon_of(day).min(self.now), true),
                Taken::Now => {
                    let mend = "give the instant or the day on which it was taken";
                    self.refuse(Reason::Malformed, at_field(), "the reading has no time", mend);
                    continue;
                }
            };
            let on = match weighed.reading.taken {
                Taken::On(day) => day,
                _ => self.site.day_of(at),
            };
            let held = stays.iter().any(|stay| {
                let end = stay.end.as_ref();
                if day_only {
                    stay.began_on <= on && end.is_none_or(|end| on <= end.on)
                } else {
                    stay.began_at <= at && end.is_none_or(|end| at <= end.at)
                }
            });
            if at > self.now || on > self.site.day_of(self.now) {
                self.in_the_future("time of the reading", &at_field());
            } else if !held {
                let say = format!("{} did not hold it on {on}", self.site.code);
                self.refuse(Reason::AnimalNotHeldThen, at_field(), say, "correct the time, or the stays");
            } else if !seen.insert(at) {
                let say = "another reading has the same time";
                self.refuse(Reason::ReadingConflicts, at_field(), say, "give each reading its own time");
            }
            let mass = match weighed.reading.outcome {
                Outcome::Mass(mass) => Some(mass),
                Outcome::Tried => None,
            };
            if mass.is_some_and(|mass| mass <= Mass::from_mg(0) || mass > HEAVIEST) {
                let (field, say) = (format!("readings[{n}].mass"), "no animal has this weight");
                self.refuse(Reason::MassOutOfRange, field, say, "check the number and the unit");
            }
            times.push(ReadAt { at, on, day_only, mass });
        }
        times
    }
}
