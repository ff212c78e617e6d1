//! How long whole collections take: animals weighed weekly for five years, in groups of ten, each round given to the model.
//!
//! ```text
//! cargo run --release -p holt-audit --example sweep [animals …]
//! ```
//!
//! Only the computation is timed, on one thread; readings are made group by group, as a server would fetch
//! them, so that memory does not grow with the collection.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

use chrono::{TimeDelta, TimeZone, Utc};
use holt_audit::chance::Chance;
use holt_audit::expected::{Fact, Herd, Kind, Life, Weighing};
use holt_audit::stats::normal;
use holt_audit::terms::{Instant, Mass, RecordId, Sex};
use std::time::{Duration, Instant as Stopwatch};

/// Animals that live together.
const MEMBERS: usize = 10;
/// Weeks on record.
const WEEKS: i64 = 260;
const GROUP: RecordId = RecordId(1);
const KIND: Kind =
    Kind { seasonal: true, gestation_days: None, breeds_from_days: Some(365), false_a_year: 0.1 };

fn main() {
    let asked: Vec<usize> = std::env::args().skip(1).filter_map(|text| text.parse().ok()).collect();
    let sizes = if asked.is_empty() { vec![1_000, 10_000, 100_000] } else { asked };
    println!("animals  readings         time   told  of a group  kB of state of one  peak memory");
    for animals in sizes {
        let mut chance = Chance::seeded(1);
        let (mut time, mut told, mut size) = (Duration::ZERO, 0, 0);
        for _ in 0..animals.div_ceil(MEMBERS) {
            let group: Vec<Vec<Option<Mass>>> = (0..MEMBERS).map(|_| life(&mut chance)).collect();
            let watch = Stopwatch::now();
            let mut herd = Herd::new(KIND);
            for member in 0..MEMBERS {
                let life = Life { sex: Sex::Unknown, born: None };
                herd.notes(GROUP, id(member), at(0), &Fact::Joins { life });
            }
            for week in 0..WEEKS {
                let round: Vec<Weighing> = group
                    .iter()
                    .enumerate()
                    .filter_map(|(member, masses)| {
                        let mass = masses[usize::try_from(week).unwrap_or(0)]?;
                        Some(Weighing {
                            animal: id(member),
                            at: at(week),
                            mass,
                            scale: None,
                            step: None,
                            accepted: false,
                        })
                    })
                    .collect();
                herd.round(GROUP, &round);
            }
            told +=
                (0..MEMBERS).filter(|member| herd.loss(id(*member)).is_some_and(|loss| loss.told)).count();
            time += watch.elapsed();
            size = serde_json::to_string(&herd.members[&id(0)]).map_or(0, |text| text.len());
        }
        let readings = animals * usize::try_from(WEEKS).unwrap_or(0);
        println!(
            "{animals:>7}  {readings:>8}  {:>9.2} s  {told:>5}  {:>10}  {:>18}  {}",
            time.as_secs_f64(),
            MEMBERS,
            size / 1000,
            peak_memory()
        );
    }
}

const fn id(member: usize) -> RecordId {
    RecordId(100 + member as u128)
}

fn at(week: i64) -> Instant {
    Utc.with_ymd_and_hms(2021, 1, 4, 8, 0, 0).unwrap() + TimeDelta::weeks(week)
}

/// Five years of an adult with a season, weeks that resemble each other, and one week in ten missing.
fn life(chance: &mut Chance) -> Vec<Option<Mass>> {
    let mut normal = |sd: f64| sd * normal::quantile(chance.unit().max(1e-15));
    let mass = (8.0 + normal(0.5)).exp();
    let mut wander = 0.0;
    (0..WEEKS)
        .map(|week| {
            wander = 0.88 * wander + normal(0.006);
            let season = 0.05 * (week as f64 * std::f64::consts::TAU / 52.18).sin();
            let log = wander + season + normal(0.015);
            (normal(1.0) > -1.28).then(|| Mass::from_grams(mass * log.exp()))
        })
        .collect()
}

/// The most memory this process has held, as the kernel tells it.
fn peak_memory() -> String {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    peak.map_or_else(|| "not told here".to_owned(), |peak| peak.trim().to_owned())
}
