//! How often, and how soon: measures the weight trend on invented herds against the two rules people use.
//!
//! ```text
//! cargo run --release -p holt-audit --example detection [herds]
//! cargo run --release -p holt-audit --example detection tune [herds]
//! ```
//!
//! Healthy adults in groups of eight are followed for five years: false concerns per animal-year. Then each
//! begins, in some week of its third to fifth year, to lose 0.5, 1 or 2 % of its mass a week while its
//! companions hold: days until that is raised. The rules get the same care at entry and know who carries;
//! they are also retuned to raise as few false concerns as ours. `tune` prints what other settings would
//! do, on herds that the first table never sees; the defaults were chosen there.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

mod chance;
mod herd;
mod rules;

use crate::chance::whole;
use herd::{Group, Herd, WEEKS};
use holt_audit::chance::Chance;
use holt_audit::reading::Reading;
use holt_audit::trend::Settings;
use rules::{Rule, raised};

/// Weeks after which a loss counts as not seen.
const PATIENCE: usize = 26;
/// Weeks of a year.
const YEAR: f64 = 365.25 / 7.0;
/// Losses a week.
const LOSSES: [f64; 3] = [0.005, 0.01, 0.02];
/// Seed of the first herd that is measured, and of the first that settings are tuned on.
const MEASURED: u64 = 1;
const TUNED: u64 = 101;

fn main() {
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let tuning = args.first().is_some_and(|text| text == "tune");
    args.drain(..usize::from(tuning));
    let count = args.first().and_then(|text| text.parse().ok()).unwrap_or(12);
    let first = if tuning { TUNED } else { MEASURED };
    let herds: Vec<Herd> = (first..first + count).map(Herd::new).collect();
    println!(
        "{:<34} {:>11}   days until raised: mean, median (raised within {PATIENCE} weeks)",
        "", "false per"
    );
    println!(
        "{:<34} {:>11}   {:>18} {:>18} {:>18}",
        "rule", "animal-year", "0.5 %/week", "1 %/week", "2 %/week"
    );
    if tuning { tune(&herds) } else { measure(&herds) }
}

/// Ours as it is by default, against the rules of today.
fn measure(herds: &[Herd]) {
    let settings = Settings::default();
    row("weight trend, by itself", &Rule::Alone(settings), herds);
    row("weight trend, among companions", &Rule::Among(settings), herds);
    let ours = false_rate(&Rule::Among(settings), herds);
    for (name, rule) in
        [("last weight", Rule::BelowLast as fn(f64) -> Rule), ("mean of the year", Rule::BelowYear)]
    {
        let quiet = (40..400)
            .map(|step| f64::from(step) / 10.0)
            .find(|percent| false_rate(&rule(*percent), herds) <= ours)
            .unwrap_or(40.0);
        for percent in [10.0, quiet] {
            row(&format!("{percent:.1} % below {name}"), &rule(percent), herds);
        }
    }
}

/// Ours at settings around the defaults.
fn tune(herds: &[Herd]) {
    for (allowance, limit) in [(1.0, 3.0), (1.25, 2.0), (1.25, 3.0), (1.5, 1.0), (1.5, 2.0)] {
        for (least_loss_percent, least_lone_loss_percent) in [(4.0, 3.0), (4.0, 4.0)] {
            let settings = Settings {
                allowance,
                limit,
                least_loss_percent,
                least_lone_loss_percent,
                ..Settings::default()
            };
            let name = format!(
                "allow {allowance}, limit {limit}, least {least_loss_percent}/{least_lone_loss_percent} %"
            );
            row(&name, &Rule::Among(settings), herds);
        }
    }
}

fn row(name: &str, rule: &Rule, herds: &[Herd]) {
    let [slow, medium, fast] = LOSSES.map(|loss| delay(rule, herds, loss));
    println!("{name:<34} {:>11.3}   {slow:>18} {medium:>18} {fast:>18}", false_rate(rule, herds));
}

/// Concerns per animal-year about animals with which nothing is wrong.
fn false_rate(rule: &Rule, herds: &[Herd]) -> f64 {
    let mut concerns = 0;
    let mut animals = 0;
    for group in herds.iter().flat_map(Herd::groups) {
        let all: Vec<usize> = (0..group.members.len()).collect();
        concerns += raised(rule, &group, &healthy(&group), &all, 0..WEEKS).len();
        animals += group.members.len();
    }
    concerns as f64 / (animals as f64 * WEEKS as f64 / YEAR)
}

/// Days from the onset of a loss until it is raised.
fn delay(rule: &Rule, herds: &[Herd], loss: f64) -> String {
    let mut chance = Chance::seeded(99);
    let mut days: Vec<usize> = Vec::new();
    let mut seen = 0;
    for group in herds.iter().flat_map(Herd::groups) {
        for (member, animal) in group.members.iter().enumerate() {
            let onset = whole(&mut chance, 110, WEEKS - PATIENCE);
            let lost = animal.losing(onset, loss);
            let mut readings = healthy(&group);
            readings[member] = &lost;
            // From a while before, so that a concern that was already open is not counted as found.
            let found = raised(rule, &group, &readings, &[member], onset - 8..onset + PATIENCE);
            match found.first() {
                Some((_, week)) if *week < onset => {}
                Some((_, week)) => {
                    seen += 1;
                    days.push(7 * (week - onset + 1));
                }
                None => days.push(7 * PATIENCE),
            }
        }
    }
    days.sort_unstable();
    let n = days.len() as f64;
    let mean = days.iter().sum::<usize>() as f64 / n;
    format!("{mean:.0}, {} ({:.0} %)", days[days.len() / 2], 100.0 * f64::from(seen) / n)
}

fn healthy<'a>(group: &Group<'a>) -> Vec<&'a [Reading]> {
    group.members.iter().map(|animal| animal.readings.as_slice()).collect()
}
