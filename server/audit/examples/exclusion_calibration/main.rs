//! Fits the hidden states of the exclusion estimate on two kinds of simulated societies, and measures them on
//! others: of the same kinds, and of one that lives otherwise (`herd.rs`, `society.rs`).
//!
//! ```text
//! cargo run --release -p holt-audit --example exclusion_calibration [groups]
//! cargo run --release -p holt-audit --example exclusion_calibration fit [groups]
//! ```

#![expect(clippy::print_stdout, reason = "a program whose only purpose is to print a table")]

mod herd;
mod measure;
mod society;

use herd::Herd;
use holt_audit::standing::exclusion::estimate::{ACT, WATCH};
use holt_audit::standing::exclusion::hidden::{MODEL, Model};
use measure::{Life, Look, area, at_price, lives, ln_score, worth};
use society::{LASTING, Notes, UNSEEN, Ways, simulate};

/// First seeds of those that are fitted on, and of those that are measured.
const FITTED: u64 = 0;
const MEASURED: u64 = 1_000_000;

fn main() {
    let mut args: Vec<String> = std::env::args().skip(1).collect();
    let fitting = args.first().is_some_and(|text| text == "fit");
    args.drain(..usize::from(fitting));
    let groups = args.first().and_then(|text| text.parse().ok()).unwrap_or(500);
    if fitting { fit(groups) } else { table(groups) }
}

fn pushed_out(first: u64, groups: u64) -> Vec<Life> {
    (first..first + groups).flat_map(|seed| lives(&Herd::simulate(seed))).collect()
}

fn society(ways: &Ways, first: u64, groups: u64) -> Vec<Life> {
    (first..first + groups).flat_map(|seed| lives(&simulate(ways, seed))).collect()
}

/// Climbs the mean ln score of what was so, one number after the other.
fn fit(groups: u64) {
    let worlds = [
        pushed_out(FITTED, groups),
        society(&LASTING, FITTED, groups),
        society(&Ways { notes: Notes::OnlyFeeds, ..LASTING }, FITTED, groups / 4),
        society(&Ways { notes: Notes::OnlyScans, ..LASTING }, FITTED, groups / 4),
    ];
    // What knows little counts less.
    let parts = [1.0, 1.0, 0.25, 0.25];
    let score = |model: &Model| -> f64 {
        worlds.iter().zip(parts).map(|(lives, part)| part * ln_score(lives, model)).sum()
    };
    let mut model = MODEL;
    let mut best = score(&model);
    println!("{best:.5}");
    let count = model.numbers().len();
    let mut steps = vec![0.3; count];
    for round in 0..6 {
        for place in 0..count {
            for side in [1.0, -1.0] {
                let mut other = model;
                *other.numbers()[place] += side * steps[place];
                let told = score(&other);
                if told > best {
                    (model, best) = (other, told);
                    steps[place] *= 1.3;
                    break;
                }
                if side < 0.0 {
                    steps[place] *= 0.5;
                }
            }
        }
        println!("round {round}: {best:.5}");
        println!("{model:.3?}");
    }
}

fn table(groups: u64) {
    for (name, told) in [
        ("one is pushed out (kind that was fitted on)", pushed_out(MEASURED, groups)),
        ("pressure that lasts (kind that was fitted on)", society(&LASTING, MEASURED, groups)),
        ("a society not fitted on", society(&UNSEEN, MEASURED, groups)),
        (
            "the same, only feeds noted",
            society(&Ways { notes: Notes::OnlyFeeds, ..UNSEEN }, MEASURED, groups),
        ),
        (
            "the same, only scans noted",
            society(&Ways { notes: Notes::OnlyScans, ..UNSEEN }, MEASURED, groups),
        ),
    ] {
        let looks: Vec<Vec<Look>> = told.iter().map(|life| life.looks(&MODEL)).collect();
        println!("\n{name}: {} animals, area {:.3}", told.len(), area(&looks));
        for price in [0.05, 0.1, 0.2] {
            let worth = at_price(&looks, price);
            println!(
                "  at {price:.2} false an animal-year (from {:.2} on): found {:.0} %, after {} weeks",
                worth.level,
                100.0 * worth.found,
                worth.weeks
            );
        }
        for level in [WATCH, ACT] {
            let all = worth(&looks, level);
            let alike: Vec<Vec<Look>> = told
                .iter()
                .zip(&looks)
                .filter(|(life, _)| life.alike)
                .map(|(_, looks)| looks.clone())
                .collect();
            println!(
                "  from {level:.2} on: found {:.0} %, after {} weeks, {:.3} false an animal-year; newcomers, oestrus, \
                 mothers {:.3}",
                100.0 * all.found,
                all.weeks,
                all.false_a_year,
                worth(&alike, level).false_a_year
            );
        }
        let mild = told.iter().zip(&looks).filter(|(life, _)| life.mild).flat_map(|(_, looks)| looks);
        let (mut weeks, mut told_weeks) = (0.0, 0.0);
        for look in mild.filter(|look| look.pressed.is_some_and(|week| (8..=24).contains(&week))) {
            weeks += 1.0;
            told_weeks += f64::from(u8::from(look.estimate >= WATCH));
        }
        if weeks > 0.0 {
            println!(
                "  mild pressure, weeks 8 to 24: told in {:.0} % of {weeks:.0}",
                100.0 * told_weeks / weeks
            );
        }
        print!("  said, was so (looks):");
        for step in 0..10 {
            let (low, high) = (f64::from(step) / 10.0, f64::from(step + 1) / 10.0);
            let here: Vec<&Look> =
                looks.iter().flatten().filter(|look| low <= look.estimate && look.estimate < high).collect();
            let n = (here.len() as f64).max(1.0);
            let said = here.iter().map(|look| look.estimate).sum::<f64>() / n;
            let so = here.iter().filter(|look| look.pressed.is_some()).count() as f64 / n;
            print!(" {:.0}%, {:.0}% ({});", 100.0 * said, 100.0 * so, here.len());
        }
        println!();
    }
}
