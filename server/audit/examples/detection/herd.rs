//! Invented herds of adults that are well, with all that makes weights hard to read.

use crate::chance::Chance;
use chrono::{Days, TimeDelta, TimeZone, Utc};
use holt_audit::plausible::{self, Verdict};
use holt_audit::reading::{Reading, Scale};
use holt_audit::scales::Offsets;
use holt_audit::season::Season;
use holt_audit::terms::{Day, Instant, Mass, RecordId, Span};

/// Weeks on record.
pub(crate) const WEEKS: usize = 260;
const YEAR: usize = 52;
const ANIMALS: usize = 24;

/// Animals of one kind at one site, weighed weekly on the same scales.
pub(crate) struct Herd {
    pub(crate) animals: Vec<Animal>,
    /// What was known about the kind's season and the scales at the start of each year, worked out
    /// from the years before.
    seasons: Vec<Option<Season>>,
    offsets: Vec<Offsets>,
}

pub(crate) struct Animal {
    attempts: Vec<Attempt>,
    pub(crate) gravid: Vec<Span>,
    pub(crate) tag: (String, bool),
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
        let mut chance = Chance::new(seed);
        let swing = [0.0, 0.0, 0.04, 0.08, 0.12][chance.whole(0, 5)];
        let second = swing * chance.between(-0.3, 0.3);
        let phase = chance.between(0.0, 1.0);
        let scales: Vec<f64> = (0..3).map(|_| chance.normal(0.015)).collect();
        let kind = chance.between(3.0, 11.0);
        let plans: Vec<(Vec<Attempt>, Vec<Span>)> =
            (0..ANIMALS).map(|_| life(&mut chance, kind, [swing, second, phase], &scales)).collect();
        let animals: Vec<Animal> = plans
            .into_iter()
            .map(|(attempts, gravid)| {
                let readings = entered(&attempts, |_| 0.0);
                Animal { attempts, tag: (format!("swing {swing}"), !gravid.is_empty()), gravid, readings }
            })
            .collect();
        let years = WEEKS.div_ceil(YEAR);
        let before = |year: usize| {
            animals.iter().map(move |animal| animal.before(start_of_week(year * YEAR))).collect::<Vec<_>>()
        };
        let seasons = (0..years)
            .map(|year| {
                let logs: Vec<Vec<(Day, f64)>> =
                    animals.iter().zip(before(year)).map(|(animal, past)| animal.logs(past)).collect();
                Season::of_kind(logs.iter().map(Vec::as_slice))
            })
            .collect();
        let offsets = (0..years).map(|year| Offsets::of(before(year))).collect();
        Self { animals, seasons, offsets }
    }

    pub(crate) fn season(&self, week: usize) -> Option<&Season> {
        self.seasons[week / YEAR].as_ref()
    }

    pub(crate) fn offsets(&self, week: usize) -> &Offsets {
        &self.offsets[week / YEAR]
    }
}

impl Animal {
    /// Its readings if from week `onset` on it loses `rate` of its mass each week.
    pub(crate) fn losing(&self, onset: usize, rate: f64) -> Vec<Reading> {
        entered(&self.attempts, |week| (1.0 - rate).ln() * week.saturating_sub(onset) as f64)
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
    [swing, second, phase]: [f64; 3],
    scales: &[f64],
) -> (Vec<Attempt>, Vec<Span>) {
    let own = kind + chance.normal(0.1);
    let noise = chance.between(0.008, 0.025);
    let restless = chance.between(0.005, 0.02);
    let memory: f64 = 0.88;
    let drift = chance.normal(0.01) / YEAR as f64;
    let swing = swing * chance.between(0.7, 1.3);
    let phase = phase + chance.normal(0.03);
    let refuses = if chance.of(0.2) { 0.2 } else { 0.04 };
    let misses = chance.between(0.02, 0.25);
    let breeds = chance.of(0.4);
    let recorded = chance.of(0.9);

    let mut gravid = Vec::new();
    let mut load = vec![0.0; WEEKS];
    if breeds {
        for year in 0..WEEKS / YEAR {
            if chance.of(0.6) {
                let (from, long, gain) =
                    (year * YEAR + chance.whole(4, 30), chance.whole(8, 16), chance.between(0.12, 0.25));
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

    let mut wander = chance.normal(restless);
    let mut away = 0;
    let mut attempts = Vec::new();
    for (week, load) in load.iter().enumerate() {
        wander = memory * wander + chance.normal(restless * (1.0 - memory * memory).sqrt());
        if chance.of(0.01) {
            away = chance.whole(2, 7);
        }
        if away > 0 {
            away -= 1;
            continue;
        }
        if chance.of(misses) {
            continue;
        }
        let scale = if chance.of(0.8) { 0 } else { chance.whole(1, scales.len()) };
        let turn = std::f64::consts::TAU * (week as f64 / 52.18 + phase);
        let log = own
            + drift * week as f64
            + wander
            + swing * turn.sin()
            + second * (2.0 * turn).cos()
            + load
            + scales[scale];
        let slip = match chance.whole(0, 1000) {
            0 => 10f64.ln(),
            1 => 2.204_62f64.ln(),
            // Another animal of the herd.
            2..6 => chance.normal(0.14),
            _ => 0.0,
        };
        let logs = [log + chance.normal(noise), log + chance.normal(noise)];
        attempts.push(Attempt {
            week,
            at: start_of_week(week) + TimeDelta::hours(8 + 24 * chance.whole(0, 3) as i64),
            logs: (!chance.of(refuses)).then_some(logs),
            slip,
            scale: Scale(scale as u32),
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
