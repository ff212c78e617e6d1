//! How long a sweep over whole collections takes: animals weighed weekly for five years, each watched by
//! itself and among its companions.
//!
//! ```text
//! cargo run --release -p holt-audit --example sweep [animals …]
//! ```
//!
//! Only the computation is timed, on one thread; readings are made group by group, as a server would fetch
//! them, so that memory does not grow with the collection. `sweep.py` beside this file does the part by
//! itself with pandas and scipy.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

use chrono::{TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use holt_audit::chance::Chance;
use holt_audit::companions;
use holt_audit::reading::Reading;
use holt_audit::stats::normal;
use holt_audit::terms::{Instant, Mass, RecordId};
use holt_audit::trend::{self, Settings, Subject};
use std::time::{Duration, Instant as Stopwatch};

/// Animals that live together.
const MEMBERS: usize = 10;
/// Weeks on record.
const WEEKS: i64 = 260;

fn main() {
    let asked: Vec<usize> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![1_000, 10_000, 100_000] } else { asked };
    println!("animals  readings    by itself     among companions  findings  peak memory");
    for animals in sizes {
        let mut chance = Chance::seeded(1);
        let (mut alone, mut among, mut findings) = (Duration::ZERO, Duration::ZERO, 0);
        for _ in 0..animals.div_ceil(MEMBERS) {
            let group: Vec<Vec<Reading>> = (0..MEMBERS).map(|_| life(&mut chance)).collect();
            let members: Vec<Subject<'_>> =
                group.iter().map(|readings| Subject::new(readings, Tz::Europe__London)).collect();
            let settings = Settings::default();
            let watch = Stopwatch::now();
            for member in &members {
                findings += trend::watch(member, at(WEEKS), &settings).findings.len();
            }
            alone += watch.elapsed();
            let watch = Stopwatch::now();
            let told = companions::watch(&members, at(WEEKS), &settings);
            among += watch.elapsed();
            findings += told.each.iter().map(|trend| trend.findings.len()).sum::<usize>();
        }
        let readings = animals * usize::try_from(WEEKS).unwrap_or(0);
        println!(
            "{animals:>7}  {readings:>8}  {:>9.2} s  {:>15.2} s  {findings:>8}  {}",
            alone.as_secs_f64(),
            among.as_secs_f64(),
            peak_memory()
        );
    }
}

fn at(week: i64) -> Instant {
    Utc.with_ymd_and_hms(2021, 1, 4, 8, 0, 0).unwrap() + TimeDelta::weeks(week)
}

/// Five years of an adult with a season, weeks that resemble each other, and one week in ten missing.
fn life(chance: &mut Chance) -> Vec<Reading> {
    let mut normal = |sd: f64| sd * normal::quantile(chance.unit().max(1e-15));
    let mass = (8.0 + normal(0.5)).exp();
    let mut wander = 0.0;
    (0..WEEKS)
        .filter_map(|week| {
            wander = 0.88 * wander + normal(0.006);
            let season = 0.05 * (week as f64 * std::f64::consts::TAU / 52.18).sin();
            let log = wander + season + normal(0.015);
            (normal(1.0) > -1.28).then(|| Reading {
                record: RecordId(week.unsigned_abs().into()),
                at: at(week),
                mass: Some(Mass::from_grams(mass * log.exp())),
                scale: None,
                doubtful: false,
            })
        })
        .collect()
}

/// The most memory this process has held, as the kernel tells it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    peak.map_or_else(|| "not told here".to_owned(), |peak| peak.trim().to_owned())
}
