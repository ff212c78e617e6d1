//! Fits the weights of the exclusion estimate on simulated groups, and measures what it is worth on
//! other groups than those it was fitted on, against weight alone and counts of aggression alone.
//!
//! `cargo run --release -p holt-audit --example exclusion_calibration`

#![expect(clippy::print_stdout, reason = "a program whose only purpose is to print a table")]

mod fit;
mod herd;
mod measure;

use holt_audit::standing::exclusion::Certainty;
use holt_audit::standing::exclusion::estimate::{ACT, INTERCEPT, WATCH, weight};
use measure::{KINDS, Look, Worth, area, at_price, looks, worth};

type Score = fn(&Look) -> f64;

const SCORES: [(&str, Score); 4] = [
    ("all evidence together", |look| look.estimate),
    ("weight against group alone", |look| look.weight),
    ("aggression counts alone", |look| look.count),
    ("aggression an hour alone", |look| look.rate),
];

fn main() {
    let fitted_on = looks(0..1_500);
    let rows: Vec<Vec<f64>> = fitted_on.iter().map(|look| look.strengths.clone()).collect();
    let outcomes: Vec<bool> = fitted_on.iter().map(|look| look.out.is_some()).collect();
    println!("fitted on {} looks at animals of 1500 groups", rows.len());
    match fit::logistic(&rows, &outcomes) {
        None => println!("the fit did not settle"),
        Some((intercept, weights)) => {
            println!("{:<16} {:>8} {:>8}", "weight", "fitted", "in use");
            println!("{:<16} {intercept:>8.3} {INTERCEPT:>8.3}", "intercept");
            for (kind, fitted) in KINDS.iter().zip(weights) {
                println!("{:<16} {fitted:>8.3} {:>8.3}", format!("{kind:?}"), weight(*kind));
            }
        }
    }

    let others = looks(1_000_000..1_001_500);
    let years = others.iter().filter(|look| look.out.is_none()).count() / 52;
    println!("\nmeasured on 1500 other groups, {years} animal-years without exclusion");
    println!(
        "\n{:<28} {:>6} {:>22} {:>12} {:>12}",
        "score", "area", "false / animal-year", "found", "days before"
    );
    for (name, score) in SCORES {
        for price in [0.05, 0.1, 0.2, 0.5] {
            let told = at_price(&others, score, price);
            println!(
                "{name:<28} {:>6.3} {:>22.3} {:>11.1}% {:>12}",
                area(&others, score),
                told.false_a_year,
                100.0 * told.found,
                told.days_before
            );
        }
    }

    println!("\nlevels of the estimate");
    for level in [0.1, WATCH, 0.4, ACT, 0.8] {
        let told = worth(&others, |look| look.estimate, level);
        println!("{:>6.2}: {}", told.level, in_words(&told));
    }

    println!("\nat level {WATCH:.2}, looking only where so much is known");
    for certainty in [Certainty::Low, Certainty::Medium, Certainty::High] {
        let here: Vec<Look> = others.iter().filter(|look| look.certainty == certainty).cloned().collect();
        let told = worth(&here, |look| look.estimate, WATCH);
        println!("{:>6}: {}, of {} looks", format!("{certainty:?}"), in_words(&told), here.len());
    }

    println!("\ncalibration: estimated, was so, looks");
    for step in 0..10 {
        let (low, high) = (f64::from(step) / 10.0, f64::from(step + 1) / 10.0);
        let here: Vec<&Look> = others.iter().filter(|l| low <= l.estimate && l.estimate < high).collect();
        let share = |sum: f64| 100.0 * sum / f64::from(u32::try_from(here.len().max(1)).unwrap_or(1));
        let estimated = here.iter().map(|look| look.estimate).sum();
        let so = here.iter().map(|look| f64::from(u8::from(look.out.is_some()))).sum();
        println!("{:>6.1}% {:>6.1}% {:>8}", share(estimated), share(so), here.len());
    }
}

fn in_words(told: &Worth) -> String {
    format!(
        "found {:.1}%, {} days before, {:.3} false alarms for each animal-year",
        100.0 * told.found,
        told.days_before,
        told.false_a_year
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// On groups that the weights have not seen, the evidence together finds more of those pushed out, at
    /// the same number of false alarms, than weight alone or aggression alone.
    #[test]
    fn together_finds_more_than_any_sign_alone() {
        let others = looks(2_000_000..2_000_150);
        let [ours, rest @ ..] = SCORES.map(|(_, score)| at_price(&others, score, 0.2).found);
        for alone in rest {
            assert!(ours > alone + 0.15, "{ours} {rest:?}");
        }
    }
}
