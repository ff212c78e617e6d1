//! The rule that is in use: readings judged at entry, and groups watched, as the service does it.

use crate::rule::{About, Answer, Answered, CERTAIN, Fact, Kind, Matter, Open, Rule, Weighing};
use crate::world::start_of;
use chrono::{Days, TimeDelta};
use chrono_tz::Tz;
use holt_audit::companions::{self, Cause};
use holt_audit::episode::Severity;
use holt_audit::growth;
use holt_audit::plausible::{self, Verdict, Weighed};
use holt_audit::reading::{Reading, Scale};
use holt_audit::scales::Offsets;
use holt_audit::season::Season;
use holt_audit::stats::median_mad::median;
use holt_audit::terms::{Day, Instant, Mass, RecordId, Span};
use holt_audit::trend::{Evidence, Settings, Subject};
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// Days for which a concern that is found no more is still the same one.
const QUIET_DAYS: i64 = 28;
/// Weeks after which season and scales are worked out anew; the service does it with each round.
const REFRESH: usize = 8;
/// Years that the season of a kind is told from.
const SEASON: TimeDelta = TimeDelta::days(1827);

/// What is on record of an animal.
#[derive(Clone, Debug, Default)]
pub(crate) struct Held {
    pub(crate) group: usize,
    pub(crate) there: bool,
    pub(crate) born: Option<Day>,
    pub(crate) readings: Vec<Reading>,
    /// When she carried, by the births on record.
    pub(crate) gravid: Vec<Span>,
    /// It was weighed, or tried, since it was watched last.
    fresh: bool,
}

/// What is on record, with each reading judged as it was entered.
#[derive(Clone, Debug)]
pub(crate) struct Clerk {
    kind: Kind,
    settings: plausible::Settings,
    pub(crate) held: Vec<Held>,
    next: u128,
}

impl Clerk {
    pub(crate) fn new(kind: Kind) -> Self {
        Self { kind, settings: plausible::Settings::default(), held: Vec::new(), next: 1 }
    }

    pub(crate) fn fact(&mut self, fact: &Fact) {
        match *fact {
            Fact::Joins { animal, group, born, .. } => {
                self.held.resize_with(self.held.len().max(animal + 1), Held::default);
                self.held[animal] = Held { group, there: true, born, ..Held::default() };
            }
            Fact::Leaves { animal } => self.held[animal].there = false,
            Fact::Litter { dam, on } => {
                if let Some(days) = self.kind.gestation_days.and_then(|days| u64::try_from(days).ok()) {
                    self.held[dam].gravid.push(Span { from: on - Days::new(days), until: Some(on) });
                }
            }
            // Nothing of the other kinds can be said today.
            _ => {}
        }
    }

    pub(crate) fn round(&mut self, round: &[Weighing]) -> Answered {
        let weighed: Vec<(usize, Mass)> =
            round.iter().enumerate().filter_map(|(place, one)| Some((place, one.mass?))).collect();
        let judged: Vec<Weighed<'_>> = weighed
            .iter()
            .map(|&(place, mass)| {
                let Weighing { animal, at, .. } = round[place];
                let history = &self.held[animal].readings;
                // No forecast looks further back than half a year.
                let late = history.partition_point(|past| at - past.at > TimeDelta::weeks(30));
                Weighed { history: &history[late..], at, mass }
            })
            .collect();
        let told = plausible::judge_round(&judged, &self.settings);
        let mut each = vec![Answer::Taken; round.len()];
        for (&(place, mass), verdict) in weighed.iter().zip(&told.each) {
            let Verdict::AskSecond { low, high, .. } = *verdict else { continue };
            let Weighing { animal, at, .. } = round[place];
            let agreement = &self.settings.agreement;
            let late = self.held[animal].readings.iter().rev().take(4);
            let confirmed =
                late.filter(|past| past.doubtful).any(|reading| agreement.agree(reading, at, mass));
            if !confirmed {
                each[place] = Answer::SetAside { low, high };
            }
        }
        for (weighing, answer) in round.iter().zip(&each) {
            let held = &mut self.held[weighing.animal];
            held.fresh = true;
            held.readings.push(Reading {
                record: RecordId(self.next),
                at: weighing.at,
                mass: weighing.mass,
                scale: Some(weighing.scale),
                doubtful: *answer != Answer::Taken,
            });
            self.next += 1;
        }
        Answered { each, exchanges: told.exchanges.len(), scale_off: told.drift.is_some() }
    }
}

/// The watch.
#[derive(Clone, Debug)]
pub(crate) struct Service {
    clerk: Clerk,
    settings: Settings,
    /// How far back readings are read: 62 weeks, or all that there are.
    reach: TimeDelta,
    season: Option<Rc<Season>>,
    offsets: BTreeMap<usize, Rc<Offsets>>,
    refreshed: BTreeMap<usize, usize>,
    /// When each concern was last found.
    carried: BTreeMap<(About, Matter), Day>,
    latest: BTreeMap<usize, Vec<Open>>,
}

impl Service {
    pub(crate) fn new(kind: Kind, reach: TimeDelta) -> Self {
        Self {
            clerk: Clerk::new(kind),
            settings: Settings::default(),
            reach,
            season: None,
            offsets: BTreeMap::new(),
            refreshed: BTreeMap::new(),
            carried: BTreeMap::new(),
            latest: BTreeMap::new(),
        }
    }

    fn is_open(&self, about: About, matter: Matter, today: Day) -> bool {
        self.carried.get(&(about, matter)).is_some_and(|found| (today - *found).num_days() < QUIET_DAYS)
    }

    /// Works out season and scales where that was long ago.
    fn refresh(&mut self, group: usize, members: &[usize], at: Instant) {
        let week = usize::try_from((at - start_of(0)).num_weeks()).unwrap_or(0);
        if self.refreshed.get(&group).is_some_and(|last| week < last + REFRESH) {
            return;
        }
        self.refreshed.insert(group, week);
        let herd = || members.iter().map(|&animal| self.late(animal, at));
        let scales: BTreeSet<Scale> = herd().flatten().filter_map(|reading| reading.scale).collect();
        if scales.len() > 1 {
            let offsets = Rc::new(Offsets::of(herd()));
            self.offsets.insert(group, offsets);
        }
        if self.clerk.kind.seasonal && group == 0 {
            let points: Vec<Vec<(Day, f64)>> =
                self.clerk.held.iter().map(|held| self.weekly(held, at)).collect();
            self.season = Season::of_kind(points.iter().map(Vec::as_slice)).map(Rc::new);
        }
    }

    fn late(&self, animal: usize, at: Instant) -> &[Reading] {
        let readings = &self.clerk.held[animal].readings;
        &readings[readings.partition_point(|reading| at - reading.at > self.reach)..]
    }

    /// Means of ln grams by week, of the grown.
    fn weekly(&self, held: &Held, at: Instant) -> Vec<(Day, f64)> {
        let grown = held.born.map(|born| born + TimeDelta::days(self.clerk.kind.breeds_from_days));
        let mut weeks: BTreeMap<Day, (f64, f64)> = BTreeMap::new();
        for reading in held.readings.iter().filter(|reading| !reading.doubtful && at - reading.at <= SEASON) {
            let day = reading.at.date_naive();
            let Some(mass) = reading.mass.filter(|_| grown.is_none_or(|grown| grown <= day)) else {
                continue;
            };
            let monday = day.week(chrono::Weekday::Mon).first_day();
            if held.gravid.iter().any(|span| span.contains(monday)) {
                continue;
            }
            let week = weeks.entry(monday).or_default();
            *week = (week.0 + mass.grams().ln(), week.1 + 1.0);
        }
        weeks.into_iter().map(|(monday, (sum, n))| (monday, sum / n)).collect()
    }

    /// What the grown of a group weigh in the middle.
    fn grown(&self, members: &[usize], at: Instant) -> Option<Mass> {
        let young_for = self.clerk.kind.breeds_from_days;
        let last_of = |&animal: &usize| {
            let sound = || self.late(animal, at).iter().filter(|one| !one.doubtful && one.mass.is_some());
            let (first, last) = (sound().next()?, sound().next_back()?);
            let since = self.clerk.held[animal].born.unwrap_or(first.at.date_naive());
            let grown = (last.at.date_naive() - since).num_days() >= young_for;
            grown.then_some(last.mass?.grams())
        };
        median(&mut members.iter().filter_map(last_of).collect::<Vec<_>>()).map(Mass::from_grams)
    }

    /// A young animal that gains no more as it did.
    fn stalls(&self, animal: usize, members: &[usize], at: Instant) -> bool {
        let Some(born) = self.clerk.held[animal].born else { return false };
        let by_day: BTreeMap<Day, f64> = self
            .late(animal, at)
            .iter()
            .filter(|reading| !reading.doubtful)
            .filter_map(|reading| Some((reading.at.date_naive(), reading.mass?.grams())))
            .filter(|(on, _)| *on >= born)
            .collect();
        let age = |on: Day| (on - born).num_days();
        let Some((last, _)) = by_day.last_key_value() else { return false };
        if age(*last) >= self.clerk.kind.breeds_from_days {
            return false;
        }
        let points: Vec<(f64, f64)> = by_day.iter().map(|(on, grams)| (age(*on) as f64, *grams)).collect();
        growth::stalled(&points, self.grown(members, at)).is_some()
    }
}

impl Rule for Service {
    fn fact(&mut self, fact: &Fact, _: Day) {
        self.clerk.fact(fact);
    }

    fn round(&mut self, round: &[Weighing]) -> Answered {
        self.clerk.round(round)
    }

    fn open(&mut self, group: usize, at: Instant) -> Vec<Open> {
        let today = at.date_naive();
        let members: Vec<usize> = (0..self.clerk.held.len())
            .filter(|&animal| self.clerk.held[animal].group == group && self.clerk.held[animal].there)
            .collect();
        self.refresh(group, &members, at);
        let subjects: Vec<Subject<'_>> = members
            .iter()
            .map(|&animal| Subject {
                gravid: &self.clerk.held[animal].gravid,
                season: self.season.as_deref(),
                offsets: self.offsets.get(&group).map(Rc::as_ref),
                ..Subject::new(self.late(animal, at), Tz::UTC)
            })
            .collect();
        let told = companions::watch(&subjects, at, &self.settings);
        let mut opens = Vec::new();
        let open = |about, matter, severity| Open { about, matter, severity, score: CERTAIN };
        let mut latest = BTreeMap::new();
        for (&animal, trend) in members.iter().zip(&told.each) {
            if !self.clerk.held[animal].fresh {
                // Nothing new was said of it.
                let before = self.latest.get(&animal).cloned().unwrap_or_default();
                opens.extend(before.iter().copied());
                latest.insert(animal, before);
                continue;
            }
            let about = About::Animal(animal);
            let mut own = Vec::new();
            for finding in &trend.findings {
                let matter = match finding.evidence {
                    Evidence::Loss(_) => Matter::Weight,
                    Evidence::Refusal(_) => Matter::Refusal,
                };
                let shared = told.whole.is_some_and(|whole| whole.covers(finding, &self.settings));
                if !shared || self.is_open(about, matter, today) {
                    own.push(open(about, matter, finding.severity));
                }
            }
            if own.is_empty() && self.stalls(animal, &members, at) {
                own.push(open(about, Matter::Weight, Severity::Act));
            }
            opens.extend(own.iter().copied());
            latest.insert(animal, own);
        }
        if let Some(whole) = told.whole {
            let about = About::Group(group);
            if whole.cause == Cause::Loss || self.is_open(about, Matter::Weight, today) {
                opens.push(open(about, Matter::Weight, whole.severity(&self.settings)));
            }
            if whole.cause != Cause::Loss {
                opens.push(open(about, Matter::ScaleOff, Severity::Watch));
            }
        }
        self.latest.extend(latest);
        for animal in members {
            self.clerk.held[animal].fresh = false;
        }
        for found in &opens {
            self.carried.insert((found.about, found.matter), today);
        }
        opens
    }
}
