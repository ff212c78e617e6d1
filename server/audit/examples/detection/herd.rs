//! Invented herds of adults that are well, with all that makes weights hard to read.

use crate::chance::{between, normal, whole};
use chrono::{Days, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use holt_audit::chance::Chance;
use holt_audit::plausible::{self, Verdict};
use holt_audit::reading::{Reading, Scale};
use holt_audit::scales::Offsets;
use holt_audit::season::Season;
use holt_audit::terms::{Day, Instant, Mass, RecordId, Span};
use holt_audit::trend::Subject;

/// Weeks on record.
pub(crate) const WEEKS: usize = 260;
const YEAR: usize = 52;
/// Groups of a herd, and animals of a group.
const GROUPS: usize = 3;
const MEMBERS: usize = 8;

/// Animals of one kind at one site, weighed weekly on the same scales, living in groups.
pub(crate) struct Herd {
    animals: Vec<Animal>,
    /// What was known about the kind's season and the scales at the start of each year, worked out
    /// from the years before.
    seasons: Vec<Option<Season>>,
    offsets: Vec<Offsets>,
}

/// Those of them that live together.
pub(crate) struct Group<'a> {
    herd: &'a Herd,
    pub(crate) members: &'a [Animal],
}

pub(crate) struct Animal {
    attempts: Vec<Attempt>,
    gravid: Vec<Span>,
    /// Its readings when nothing is wrong with it.
    pub(crate) readings: Vec<Reading>,
}

/// A week in which it was to be weighed.
struct Attempt {
    week: usize,
    at: Instant,
    /// ln of what the scale shows, at the first and at a second weighing; none if it refused.
    logs: Option<[f64; 2]>,
    /// ln of the factor by which the first is entered wrongly.
    slip: f64,
    scale: Scale,
}

impl Herd {
    pub(crate) fn new(seed: u64) -> Self {
        let mut chance = Chance::seeded(seed);
        let swing = [0.0, 0.0, 0.04, 0.08, 0.12][whole(&mut chance, 0, 5)];
        let second = between(&mut chance, -0.3, 0.3);
        let phase = between(&mut chance, 0.0, 1.0);
        let scales: Vec<f64> = (0..3).map(|_| normal(&mut chance, 0.015)).collect();
        let kind = between(&mut chance, 3.0, 11.0);
        // No year is like the other: its season comes sooner or later, and is strong or weak.
        let years: Vec<[f64; 2]> = (0..WEEKS.div_ceil(YEAR) + 1)
            .map(|_| [normal(&mut chance, 0.03), 1.0 + normal(&mut chance, 0.15)])
            .collect();
        let season: Vec<f64> = (0..WEEKS)
            .map(|week| {
                let at = week as f64 / 52.18;
                let year = &years[week / YEAR..];
                let along = at.fract();
                let [late, strong] =
                    std::array::from_fn(|part| (1.0 - along) * year[0][part] + along * year[1][part]);
                let turn = std::f64::consts::TAU * (at + phase + late);
                strong * swing * (turn.sin() + second * (2.0 * turn).cos())
            })
            .collect();
        let mut animals = Vec::with_capacity(GROUPS * MEMBERS);
        for _ in 0..GROUPS {
            // What a cold morning or a late feed does to a whole group.
            let mornings: Vec<f64> = (0..WEEKS).map(|_| normal(&mut chance, 0.008)).collect();
            for _ in 0..MEMBERS {
                let (attempts, gravid) = life(&mut chance, kind, &season, &scales, &mornings);
                let readings = entered(&attempts, |_| 0.0);
                animals.push(Animal { attempts, gravid, readings });
            }
        }
        let before = |year: usize| {
            animals.iter().map(move |animal| animal.before(start_of_week(year * YEAR))).collect::<Vec<_>>()
        };
        let seasons = |year| {
            let logs: Vec<Vec<(Day, f64)>> =
                animals.iter().zip(before(year)).map(|(animal, past)| animal.logs(past)).collect();
            Season::of_kind(logs.iter().map(Vec::as_slice))
        };
        let years = WEEKS.div_ceil(YEAR);
        Self {
            seasons: (0..years).map(seasons).collect(),
            offsets: (0..years).map(|year| Offsets::of(before(year))).collect(),
            animals,
        }
    }

    pub(crate) fn groups(&self) -> impl Iterator<Item = Group<'_>> {
        self.animals.chunks(MEMBERS).map(|members| Group { herd: self, members })
    }
}

impl Group<'_> {
    /// A member with what was known of it at some instant, given its records.
    pub(crate) fn subject<'a>(&'a self, readings: &'a [Reading], member: usize, at: Instant) -> Subject<'a> {
        let past = readings.partition_point(|reading| reading.at <= at);
        let year = usize::try_from((at - start_of_week(0)).num_weeks()).unwrap_or(0) / YEAR;
        Subject {
            gravid: &self.members[member].gravid,
            season: self.herd.seasons[year].as_ref(),
            offsets: Some(&self.herd.offsets[year]),
            ..Subject::new(&readings[..past], Tz::UTC)
        }
    }
}

impl Animal {
    /// Its readings if from week `onset` on it loses `rate` of its mass each week.
    pub(crate) fn losing(&self, onset: usize, rate: f64) -> Vec<Reading> {
        entered(&self.attempts, |week| (1.0 - rate).ln() * week.saturating_sub(onset) as f64)
    }

    /// When it was known to carry.
    pub(crate) fn gravid(&self) -> &[Span] {
        &self.gravid
    }

    fn before(&self, at: Instant) -> &[Reading] {
        &self.readings[..self.readings.partition_point(|reading| reading.at < at)]
    }

    fn logs(&self, readings: &[Reading]) -> Vec<(Day, f64)> {
        readings
            .iter()
            .filter(|reading| !reading.doubtful)
            .filter_map(|reading| Some((reading.at.date_naive(), reading.mass?.grams().ln())))
            .filter(|(day, _)| !self.gravid.iter().any(|span| span.contains(*day)))
            .collect()
    }
}

pub(crate) fn start_of_week(week: usize) -> Instant {
    Utc.with_ymd_and_hms(2019, 1, 7, 0, 0, 0).unwrap() + TimeDelta::days(7 * week as i64)
}

/// The weeks of one healthy animal.
fn life(
    chance: &mut Chance,
    kind: f64,
    season: &[f64],
    scales: &[f64],
    mornings: &[f64],
) -> (Vec<Attempt>, Vec<Span>) {
    let own = kind + normal(chance, 0.1);
    let noise = between(chance, 0.008, 0.025);
    let restless = between(chance, 0.005, 0.02);
    let memory: f64 = 0.88;
    let drift = normal(chance, 0.01) / YEAR as f64;
    let strong = between(chance, 0.7, 1.3);
    let late = whole(chance, 0, 4);
    let refuses = if chance.happens(0.2) { 0.2 } else { 0.04 };
    let misses = between(chance, 0.02, 0.25);
    let breeds = chance.happens(0.4);
    let recorded = chance.happens(0.9);

    let mut gravid = Vec::new();
    let mut load = vec![0.0; WEEKS];
    if breeds {
        for year in 0..WEEKS / YEAR {
            if chance.happens(0.6) {
                let (from, long, gain) =
                    (year * YEAR + whole(chance, 4, 30), whole(chance, 8, 16), between(chance, 0.12, 0.25));
                for (past, week) in (from..from + long).enumerate() {
                    load[week] = (gain * (past as f64 / long as f64).powi(2)).ln_1p();
                }
                if recorded {
                    let day = |week| start_of_week(week).date_naive();
                    // Noticed a few weeks late, as people do.
                    gravid.push(Span { from: day(from + 3), until: Some(day(from + long)) });
                }
            }
        }
    }

    let mut wander = normal(chance, restless);
    let mut away = 0;
    let mut attempts = Vec::new();
    for (week, load) in load.iter().enumerate() {
        wander = memory * wander + normal(chance, restless * (1.0 - memory * memory).sqrt());
        if chance.happens(0.01) {
            away = whole(chance, 2, 7);
        }
        if away > 0 {
            away -= 1;
            continue;
        }
        if chance.happens(misses) {
            continue;
        }
        let scale = if chance.happens(0.8) { 0 } else { chance.below(scales.len() - 1) + 1 };
        let log = own
            + drift * week as f64
            + wander
            + strong * season[week.saturating_sub(late)]
            + load
            + scales[scale]
            + mornings[week];
        let slip = match whole(chance, 0, 1000) {
            0 => 10f64.ln(),
            1 => 2.204_62f64.ln(),
            // Another animal of the herd.
            2..6 => normal(chance, 0.14),
            _ => 0.0,
        };
        let logs = [log + normal(chance, noise), log + normal(chance, noise)];
        attempts.push(Attempt {
            week,
            at: start_of_week(week) + TimeDelta::hours(8 + 24 * whole(chance, 0, 3) as i64),
            logs: (!chance.happens(refuses)).then_some(logs),
            slip,
            scale: Scale(u32::try_from(scale).unwrap_or(u32::MAX)),
        });
    }
    (attempts, gravid)
}

/// What stands in the records: each reading was judged at entry, and where a second weighing was asked
/// for, it was done the next day.
fn entered(attempts: &[Attempt], lost: impl Fn(usize) -> f64) -> Vec<Reading> {
    let settings = plausible::Settings::default();
    let mut readings: Vec<Reading> = Vec::with_capacity(attempts.len());
    for attempt in attempts {
        let enter = |log: f64, at: Instant, readings: &mut Vec<Reading>| {
            let mass = Mass::from_grams((log + lost(attempt.week)).exp());
            let verdict = plausible::judge(late(readings), mass, at, &settings);
            let doubtful = matches!(verdict, Verdict::AskSecond { .. });
            let record = RecordId(readings.len() as u128);
            readings.push(Reading { record, at, mass: Some(mass), scale: Some(attempt.scale), doubtful });
            doubtful
        };
        let Some([first, second]) = attempt.logs else {
            let record = RecordId(readings.len() as u128);
            readings.push(Reading { record, at: attempt.at, mass: None, scale: None, doubtful: false });
            continue;
        };
        if enter(first + attempt.slip, attempt.at, &mut readings) {
            enter(second, attempt.at + Days::new(1), &mut readings);
        }
    }
    readings
}

fn late(readings: &[Reading]) -> &[Reading] {
    &readings[readings.len().saturating_sub(40)..]
}
