//! How often, and how soon: measures the weight trend on invented herds against the two rules people use.
//!
//! ```text
//! cargo run --release -p holt-audit --example detection
//! ```
//!
//! Healthy adults are followed for five years: false concerns per animal-year. Then each begins, in
//! some week of its third or fourth year, to lose 0.5, 1 or 2 % of its mass a week: days until that is
//! raised. The rules are also retuned to raise as few false concerns as ours.

#![expect(clippy::print_stdout, reason = "it is run for the table it prints")]

mod chance;
mod herd;
mod rules;

use chance::Chance;
use herd::{Herd, WEEKS};
use holt_audit::trend::Settings;
use rules::{Rule, raised};

/// Weeks after which a loss counts as not seen.
const PATIENCE: usize = 26;

fn main() {
    let herds: usize = std::env::args().nth(1).and_then(|text| text.parse().ok()).unwrap_or(20);
    let herds: Vec<Herd> = (0..herds).map(|seed| Herd::new(seed as u64 + 1)).collect();
    let settings = Settings::default();
    if std::env::args().nth(2).is_some() {
        debug(&herds, &settings);
        return;
    }
    let ours = Rule::Trend(&settings);
    let rate = false_rate(ours, &herds);
    let retuned = |rule: fn(f64) -> Rule<'static>| {
        (4..160)
            .map(|step| f64::from(step) / 4.0)
            .find(|percent| false_rate(rule(*percent), &herds) <= rate)
            .unwrap_or(40.0)
    };
    let (last, year) = (retuned(Rule::BelowLast), retuned(Rule::BelowYear));
    println!(
        "{:<34} {:>12}   days until raised: median, mean (seen within {PATIENCE} weeks)",
        "rule", "false/year"
    );
    println!("{:<34} {:>12}   {:>20} {:>20} {:>20}", "", "", "0.5 %/week", "1 %/week", "2 %/week");
    for (name, rule) in [
        ("weight trend".to_owned(), ours),
        ("10 % below last weight".to_owned(), Rule::BelowLast(10.0)),
        ("10 % below mean of the year".to_owned(), Rule::BelowYear(10.0)),
        (format!("{last} % below last weight"), Rule::BelowLast(last)),
        (format!("{year} % below mean of the year"), Rule::BelowYear(year)),
    ] {
        let cells: Vec<String> = [0.005, 0.01, 0.02].iter().map(|loss| delay(rule, &herds, *loss)).collect();
        println!(
            "{name:<34} {:>12.3}   {:>20} {:>20} {:>20}",
            false_rate(rule, &herds),
            cells[0],
            cells[1],
            cells[2]
        );
    }
}

/// Concerns per animal-year about animals with which nothing is wrong.
fn false_rate(rule: Rule<'_>, herds: &[Herd]) -> f64 {
    let mut concerns = 0;
    let mut animals = 0;
    for herd in herds {
        for animal in &herd.animals {
            concerns += raised(rule, herd, animal, &animal.readings, 0, WEEKS).len();
            animals += 1;
        }
    }
    concerns as f64 / (f64::from(animals) * WEEKS as f64 / 52.18)
}

/// Days from the onset of a loss until it is raised.
fn delay(rule: Rule<'_>, herds: &[Herd], loss: f64) -> String {
    let mut chance = Chance::new(99);
    let mut days: Vec<f64> = Vec::new();
    let mut seen = 0;
    for herd in herds {
        for animal in &herd.animals {
            let onset = chance.whole(110, WEEKS - PATIENCE);
            let readings = animal.losing(onset, loss);
            // From a while before, so that a concern that was already open is not counted as found.
            let found = raised(rule, herd, animal, &readings, onset - 8, onset + PATIENCE);
            if found.first().is_some_and(|week| *week < onset) {
                continue;
            }
            match found.first() {
                Some(week) => {
                    seen += 1;
                    days.push(7.0 * (week - onset + 1) as f64);
                }
                None => days.push(7.0 * PATIENCE as f64),
            }
        }
    }
    days.sort_by(f64::total_cmp);
    let mean = days.iter().sum::<f64>() / days.len() as f64;
    format!("{:.0}, {mean:.0} ({:.0} %)", days[days.len() / 2], 100.0 * f64::from(seen) / days.len() as f64)
}
#[allow(dead_code)]
fn debug(herds: &[Herd], settings: &Settings) {
    use chrono::TimeDelta;
    use holt_audit::episode;
    use holt_audit::trend::{Evidence, Subject, watch};
    let mut by_year = [[0; 6]; 3];
    let mut swing = std::collections::BTreeMap::new();
    for herd in herds {
        for animal in &herd.animals {
            let mut c = [None; 2];
            for week in 0..WEEKS {
                let end = herd::start_of_week(week + 1) - TimeDelta::seconds(1);
                let past = animal.readings.partition_point(|r| r.at <= end);
                let s = Subject {
                    gravid: &animal.gravid,
                    season: herd.season(week),
                    offsets: Some(herd.offsets(week)),
                    ..Subject::new(&animal.readings[..past], chrono_tz::Tz::UTC)
                };
                let t = watch(&s, end, settings);
                for (k, c) in c.iter_mut().enumerate() {
                    let f = t.findings.iter().find(|f| matches!(f.evidence, Evidence::Loss(_)) == (k == 0));
                    let (n, ch) = episode::follow(
                        *c,
                        f.map(|f| episode::Sighting { since: f.since, severity: f.severity }),
                        end.date_naive(),
                    );
                    *c = n;
                    if ch == episode::Change::Raised {
                        let kk = if k == 1 {
                            2
                        } else if matches!(f.unwrap().evidence,Evidence::Loss(l) if l.sharp) {
                            1
                        } else {
                            0
                        };
                        by_year[kk][week / 52] += 1;
                        *swing.entry((animal.tag.0.clone(), kk)).or_insert(0) += 1;
                        *swing.entry((format!("breeds {}", animal.tag.1), kk)).or_insert(0) += 1;
                    }
                }
            }
        }
    }
    println!(
        "loss {:?}\nsharp {:?}\nrefusal {:?}\n{swing:?} animals {}",
        by_year[0],
        by_year[1],
        by_year[2],
        herds.len() * 24
    );
}
