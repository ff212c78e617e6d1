//! People and animals: how long animals met people, and whether they had the rest they were promised.
//!
//! The limits are those that a site or a standard sets for an animal; no published general limit was
//! found, and none is built in. Days are days of the site; a week is any seven days on end, so that a
//! limit cannot be doubled over a weekend.

use crate::terms::{Day, Instant};
use crate::zone;
use chrono::{Days, TimeDelta};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What one animal may be asked to do. What is not set is not limited.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Limits {
    /// Minutes on one day.
    pub minutes_a_day: Option<u32>,
    /// Minutes in any seven days on end.
    pub minutes_a_week: Option<u32>,
    /// Encounters on one day.
    pub encounters_a_day: Option<u32>,
    /// Minutes of rest between the end of one and the beginning of the next.
    pub rest_minutes: Option<u32>,
    /// Days without any encounter in every seven days on end.
    pub free_days_a_week: Option<u8>,
}

/// One encounter of an animal with people.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Encounter {
    /// When it began.
    pub from: Instant,
    /// When it ended.
    pub until: Instant,
}

/// A limit that was not kept. Times are in whole minutes, rounded up.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Breach {
    /// Too long on one day.
    Day {
        /// Which.
        day: Day,
        /// Minutes.
        minutes: u32,
        /// Minutes allowed.
        allowed: u32,
    },
    /// Too often on one day.
    Often {
        /// Which.
        day: Day,
        /// Encounters that began on it.
        encounters: u32,
        /// Encounters allowed.
        allowed: u32,
    },
    /// Too long in seven days. Of weeks that overlap, the one with most minutes is told.
    Week {
        /// First of the seven days.
        first: Day,
        /// Minutes.
        minutes: u32,
        /// Minutes allowed.
        allowed: u32,
    },
    /// Too little rest before an encounter.
    Rest {
        /// When that encounter began.
        at: Instant,
        /// Minutes since the end of the one before; 0 where they overlapped.
        minutes: u32,
        /// Minutes asked for.
        asked: u32,
    },
    /// Too few free days in seven. Of weeks that overlap, the first is told.
    FreeDays {
        /// First of the seven days.
        first: Day,
        /// Days without encounter.
        free: u8,
        /// Days asked for.
        asked: u8,
    },
}

/// Every breach of the limits of one animal from `first` to `last`, in order of kind and time. Encounters
/// before `first` count where they reach into a week or a rest.
#[must_use]
pub fn breaches(encounters: &[Encounter], limits: &Limits, zone: Tz, first: Day, last: Day) -> Vec<Breach> {
    let mut ordered: Vec<Encounter> = encounters.iter().copied().filter(|e| e.from < e.until).collect();
    ordered.sort();
    let minutes = minutes_by_day(&ordered, zone);
    let mut told = Vec::new();
    let asked = |day: Day| first <= day && day <= last;

    if let Some(allowed) = limits.minutes_a_day {
        let over = minutes.iter().filter(|(day, minutes)| asked(**day) && **minutes > allowed);
        told.extend(over.map(|(&day, &minutes)| Breach::Day { day, minutes, allowed }));
    }
    if let Some(allowed) = limits.encounters_a_day {
        let mut began: BTreeMap<Day, u32> = BTreeMap::new();
        for encounter in &ordered {
            *began.entry(zone::day_of(zone, encounter.from)).or_default() += 1;
        }
        let over = began.into_iter().filter(|(day, n)| asked(*day) && *n > allowed);
        told.extend(over.map(|(day, encounters)| Breach::Often { day, encounters, allowed }));
    }
    if let Some(allowed) = limits.minutes_a_week {
        told.extend(weeks_over(&minutes, allowed, first, last));
    }
    if let Some(rest) = limits.rest_minutes {
        told.extend(
            rests_short(&ordered, rest, zone).filter(|(day, _)| asked(*day)).map(|(_, breach)| breach),
        );
    }
    if let Some(free) = limits.free_days_a_week {
        told.extend(too_few_free(&minutes, free, first, last));
    }
    told
}

/// What an encounter would break that is not broken without it: nothing means that it may be held.
#[must_use]
pub fn would_break(encounters: &[Encounter], proposed: Encounter, limits: &Limits, zone: Tz) -> Vec<Breach> {
    let week = Days::new(6);
    let (first, last) = (zone::day_of(zone, proposed.from) - week, zone::day_of(zone, proposed.until) + week);
    let with: Vec<Encounter> = encounters.iter().copied().chain([proposed]).collect();
    let before: BTreeSet<Breach> = breaches(encounters, limits, zone, first, last).into_iter().collect();
    breaches(&with, limits, zone, first, last).into_iter().filter(|breach| !before.contains(breach)).collect()
}

/// What is left of the limits of one animal on the day of an instant. `None` is not limited.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Left {
    /// Minutes that are left on the day, of what is allowed on it and in each seven days that it is in.
    pub minutes: Option<u32>,
    /// Encounters that may still begin on the day.
    pub encounters: Option<u32>,
    /// Until when it is to rest; `None` where it may be met at once.
    pub rests_until: Option<Instant>,
    /// Whether the day must stay free, so that enough days of each seven are.
    pub must_stay_free: bool,
}

impl Left {
    /// Whether it may be met at all on the day, once it has rested.
    #[must_use]
    pub fn may_meet(&self) -> bool {
        self.minutes != Some(0) && self.encounters != Some(0) && !self.must_stay_free
    }
}

/// What is left on the day of an instant, with encounters that are already planned for later counted, too.
#[must_use]
pub fn left(encounters: &[Encounter], limits: &Limits, zone: Tz, at: Instant) -> Left {
    let mut ordered: Vec<Encounter> = encounters.iter().copied().filter(|e| e.from < e.until).collect();
    ordered.sort();
    let minutes = minutes_by_day(&ordered, zone);
    let day = zone::day_of(zone, at);
    let on_day = minutes.get(&day).copied().unwrap_or(0);
    let of_day = limits.minutes_a_day.map(|allowed| allowed.saturating_sub(on_day));
    let weeks = || (day - Days::new(6)).iter_days().take(7);
    let of_week = limits.minutes_a_week.map(|allowed| {
        let most = weeks().map(|start| within_week(&minutes, start).sum::<u32>()).max();
        allowed.saturating_sub(most.unwrap_or(0))
    });
    let began = ordered.iter().filter(|encounter| zone::day_of(zone, encounter.from) == day).count();
    let began = u32::try_from(began).unwrap_or(u32::MAX);
    let busy = |start| u8::try_from(within_week(&minutes, start).count()).unwrap_or(7);
    let must_stay_free = limits
        .free_days_a_week
        .is_some_and(|asked| on_day == 0 && weeks().any(|start| 7 - busy(start) <= asked.min(7)));
    let rests_until = limits.rest_minutes.and_then(|rest| {
        let busy_until = ordered.iter().filter(|one| one.from <= at).map(|one| one.until).max()?;
        Some(busy_until + TimeDelta::minutes(rest.into())).filter(|until| *until > at)
    });
    Left {
        minutes: [of_day, of_week].into_iter().flatten().min(),
        encounters: limits.encounters_a_day.map(|allowed| allowed.saturating_sub(began)),
        rests_until,
        must_stay_free,
    }
}

/// Minutes of each day on which there were any. Encounters that overlap count once: it is the animal's
/// time, however many people shared it.
fn minutes_by_day(ordered: &[Encounter], zone: Tz) -> BTreeMap<Day, u32> {
    let mut seconds: BTreeMap<Day, i64> = BTreeMap::new();
    let mut counted_until = Instant::MIN_UTC;
    for encounter in ordered {
        let mut from = encounter.from.max(counted_until);
        counted_until = counted_until.max(encounter.until);
        while from < encounter.until {
            let day = zone::day_of(zone, from);
            let midnight = zone::start_of_day(zone, day + Days::new(1));
            let until = encounter.until.min(midnight);
            *seconds.entry(day).or_default() += (until - from).num_seconds();
            from = until;
        }
    }
    seconds.into_iter().map(|(day, seconds)| (day, whole_minutes(seconds))).collect()
}

fn whole_minutes(seconds: i64) -> u32 {
    u32::try_from((seconds.max(0) + 59) / 60).unwrap_or(u32::MAX)
}

/// First days of all weeks that lie in the interval or reach into it from before.
fn weeks(first: Day, last: Day) -> impl Iterator<Item = Day> {
    (first - Days::new(6)).iter_days().take_while(move |start| *start + Days::new(6) <= last)
}

fn within_week<T>(by_day: &BTreeMap<Day, T>, start: Day) -> impl Iterator<Item = &T> {
    by_day.range(start..start + Days::new(7)).map(|(_, value)| value)
}

fn weeks_over(minutes: &BTreeMap<Day, u32>, allowed: u32, first: Day, last: Day) -> Vec<Breach> {
    let mut told: Vec<(Day, u32)> = Vec::new();
    for start in weeks(first, last) {
        let sum = within_week(minutes, start).sum();
        if sum <= allowed {
            continue;
        }
        match told.last_mut() {
            Some(before) if start < before.0 + Days::new(7) => {
                if sum > before.1 {
                    *before = (start, sum);
                }
            }
            _ => told.push((start, sum)),
        }
    }
    told.into_iter().map(|(first, minutes)| Breach::Week { first, minutes, allowed }).collect()
}

fn too_few_free(minutes: &BTreeMap<Day, u32>, asked: u8, first: Day, last: Day) -> Vec<Breach> {
    let mut told: Vec<(Day, u8)> = Vec::new();
    for start in weeks(first, last) {
        let busy = u8::try_from(within_week(minutes, start).count()).unwrap_or(7);
        let overlaps = told.last().is_some_and(|(before, _)| start < *before + Days::new(7));
        if 7 - busy < asked && !overlaps {
            told.push((start, 7 - busy));
        }
    }
    told.into_iter().map(|(first, free)| Breach::FreeDays { first, free, asked }).collect()
}

fn rests_short(ordered: &[Encounter], asked: u32, zone: Tz) -> impl Iterator<Item = (Day, Breach)> {
    let mut busy_until: Option<Instant> = None;
    ordered.iter().filter_map(move |encounter| {
        let before = busy_until;
        busy_until = Some(before.map_or(encounter.until, |until| until.max(encounter.until)));
        let rest = (encounter.from - before?).max(TimeDelta::zero());
        let minutes = u32::try_from(rest.num_minutes()).unwrap_or(u32::MAX);
        (minutes < asked).then(|| {
            (zone::day_of(zone, encounter.from), Breach::Rest { at: encounter.from, minutes, asked })
        })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;
    use chrono_tz::Europe::Berlin;
    use proptest::prelude::*;

    fn at(day: u32, hour: u32, minute: u32) -> Instant {
        Berlin.with_ymd_and_hms(2026, 6, day, hour, minute, 0).unwrap().to_utc()
    }

    fn day(day: u32) -> Day {
        Day::from_ymd_opt(2026, 6, day).unwrap()
    }

    fn met(d: u32, hour: u32, minutes: i64) -> Encounter {
        Encounter { from: at(d, hour, 0), until: at(d, hour, 0) + TimeDelta::minutes(minutes) }
    }

    fn told(encounters: &[Encounter], limits: Limits) -> Vec<Breach> {
        breaches(encounters, &limits, Berlin, day(8), day(21))
    }

    #[test]
    fn minutes_are_counted_on_the_days_they_fall_on() {
        let limits = Limits { minutes_a_day: Some(30), ..Limits::default() };
        let evening = Encounter { from: at(9, 23, 20), until: at(10, 0, 31) };
        assert_eq!(
            told(&[evening], limits),
            [
                Breach::Day { day: day(9), minutes: 40, allowed: 30 },
                Breach::Day { day: day(10), minutes: 31, allowed: 30 }
            ]
        );
    }

    #[test]
    fn encounters_that_overlap_are_the_animals_time_once() {
        let limits = Limits { minutes_a_day: Some(60), encounters_a_day: Some(1), ..Limits::default() };
        let both = [met(9, 10, 60), Encounter { from: at(9, 10, 30), until: at(9, 11, 0) }];
        assert_eq!(told(&both, limits), [Breach::Often { day: day(9), encounters: 2, allowed: 1 }]);
    }

    #[test]
    fn a_week_is_any_seven_days() {
        let limits = Limits { minutes_a_week: Some(100), ..Limits::default() };
        // Sixty on Saturday the 13th and on Monday the 15th: two weeks of the calendar, one of the animal.
        assert_eq!(
            told(&[met(13, 10, 60), met(15, 10, 60)], limits),
            [Breach::Week { first: day(9), minutes: 120, allowed: 100 }]
        );
        assert_eq!(told(&[met(10, 10, 60), met(17, 10, 60)], limits), []);
        // From before the days asked about.
        assert_eq!(told(&[met(5, 10, 60), met(8, 10, 60)], limits).len(), 1);
    }

    #[test]
    fn rests_are_kept_between_encounters_and_over_those_that_overlap() {
        let limits = Limits { rest_minutes: Some(45), ..Limits::default() };
        let encounters = [met(9, 10, 120), met(9, 11, 10), met(9, 12, 20), met(9, 14, 20), met(9, 15, 5)];
        assert_eq!(
            told(&encounters, limits),
            [
                Breach::Rest { at: at(9, 11, 0), minutes: 0, asked: 45 },
                Breach::Rest { at: at(9, 12, 0), minutes: 0, asked: 45 },
                Breach::Rest { at: at(9, 15, 0), minutes: 40, asked: 45 },
            ]
        );
    }

    #[test]
    fn free_days_are_kept_in_every_seven() {
        let limits = Limits { free_days_a_week: Some(2), ..Limits::default() };
        let daily: Vec<Encounter> = (8..=13).map(|d| met(d, 10, 10)).collect();
        assert_eq!(told(&daily[..5], limits), []);
        assert_eq!(told(&daily, limits), [Breach::FreeDays { first: day(7), free: 1, asked: 2 }]);
    }

    #[test]
    fn what_would_break_is_told_beforehand() {
        let limits = Limits { minutes_a_day: Some(60), rest_minutes: Some(30), ..Limits::default() };
        let planned = [met(9, 10, 40)];
        assert_eq!(would_break(&planned, met(9, 14, 20), &limits, Berlin), []);
        assert_eq!(
            would_break(&planned, met(9, 11, 30), &limits, Berlin),
            [
                Breach::Day { day: day(9), minutes: 70, allowed: 60 },
                Breach::Rest { at: at(9, 11, 0), minutes: 20, asked: 30 }
            ]
        );
    }

    #[test]
    fn what_is_left_is_told_for_the_day() {
        let limits = Limits {
            minutes_a_day: Some(60),
            minutes_a_week: Some(100),
            encounters_a_day: Some(3),
            rest_minutes: Some(45),
            free_days_a_week: Some(2),
        };
        let met_before = [met(8, 10, 30), met(10, 10, 30), met(12, 10, 20)];
        let told = left(&met_before, &limits, Berlin, at(12, 10, 30));
        // 40 of the day, 20 of the week from the 6th or later; its rest ends at 11:05.
        assert_eq!((told.minutes, told.encounters), (Some(20), Some(2)));
        assert_eq!(told.rests_until, Some(at(12, 11, 5)));
        assert!(told.may_meet());
        let rested = left(&met_before, &limits, Berlin, at(12, 12, 0));
        assert_eq!(rested.rests_until, None);
        let daily: Vec<Encounter> = (8..=12).map(|d| met(d, 10, 5)).collect();
        assert!(left(&daily, &limits, Berlin, at(13, 9, 0)).must_stay_free);
        assert!(!left(&daily, &limits, Berlin, at(12, 15, 0)).must_stay_free, "it is busy already");
        assert!(!left(&daily, &limits, Berlin, at(15, 9, 0)).must_stay_free, "a week has passed");
        assert_eq!(left(&daily, &Limits::default(), Berlin, at(13, 9, 0)), Left::default());
    }

    proptest! {
        /// If each encounter is held only where it would break nothing, nothing is broken.
        #[test]
        fn a_plan_made_of_allowed_encounters_breaks_nothing(
            wished in prop::collection::vec((1_u32..=28, 8_u32..20, 5_i64..90), 1..60),
        ) {
            let limits = Limits {
                minutes_a_day: Some(90),
                minutes_a_week: Some(240),
                encounters_a_day: Some(2),
                rest_minutes: Some(60),
                free_days_a_week: Some(3),
            };
            let mut held: Vec<Encounter> = Vec::new();
            for (d, hour, minutes) in wished {
                let proposed = met(d, hour, minutes);
                if would_break(&held, proposed, &limits, Berlin).is_empty() {
                    held.push(proposed);
                }
            }
            prop_assert_eq!(breaches(&held, &limits, Berlin, day(1), day(30)), []);
        }

        /// What is left may be used, and no minute more.
        #[test]
        fn what_is_left_may_be_used_and_no_more(
            wished in prop::collection::vec((1_u32..=14, 8_u32..18, 5_i64..60), 0..12),
            day in 1_u32..=14,
        ) {
            let limits = Limits {
                minutes_a_day: Some(90),
                minutes_a_week: Some(200),
                encounters_a_day: Some(2),
                rest_minutes: Some(60),
                free_days_a_week: Some(3),
            };
            let mut held: Vec<Encounter> = Vec::new();
            for (d, hour, minutes) in wished {
                let proposed = met(d, hour, minutes);
                if would_break(&held, proposed, &limits, Berlin).is_empty() {
                    held.push(proposed);
                }
            }
            let evening = at(day, 20, 30);
            let told = left(&held, &limits, Berlin, evening);
            let minutes = i64::from(told.minutes.unwrap_or(0)).min(180);
            let lasting = |minutes: i64| Encounter { from: evening, until: evening + TimeDelta::minutes(minutes) };
            if told.may_meet() && told.rests_until.is_none() {
                prop_assert_eq!(would_break(&held, lasting(minutes), &limits, Berlin), []);
                if minutes < 180 {
                    prop_assert!(!would_break(&held, lasting(minutes + 1), &limits, Berlin).is_empty());
                }
            } else {
                prop_assert!(!would_break(&held, lasting(1), &limits, Berlin).is_empty());
            }
        }
    }
}
