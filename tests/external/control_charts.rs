//! Control charts: the handbook's worked examples to the printed digit, and published run lengths.
//!
//! Sources: NIST/SEMATECH e-Handbook of Statistical Methods §6.3.2.2 to §6.3.2.4; Lucas & Saccucci
//! 1990, Technometrics 32:1 (designs for a run length of 500); run lengths from the R package spc
//! 0.6.7.

use crate::table::{self, agrees};
use holt_audit::chance::Chance;
use holt_audit::stats::cusum::Cusum;
use holt_audit::stats::{ewma, ewma::Ewma, individuals, normal};

#[test]
fn individuals_of_the_handbook() {
    let table = table::read("nist_imr_6_3_2_2");
    let values: Vec<f64> = table.rows().map(|row| row.number("x")).collect();
    for (two, row) in values.windows(2).zip(table.rows().skip(1)) {
        assert!(((two[1] - two[0]).abs() - row.number("mr")).abs() < 1e-9, "batch {}", row.text("batch"));
    }
    // As printed above the table and on the page: to four places.
    let told = individuals::limits(&values).unwrap();
    assert!((told.centre - 50.81).abs() < 5e-5 && (told.moving_range - 1.8778).abs() < 5e-5, "{told:?}");
    assert!((told.high - 55.8041).abs() < 6e-5 && (told.low - 45.8159).abs() < 6e-5, "{told:?}");
}

#[test]
fn ewma_of_the_handbook() {
    let mut average = Ewma::new(0.3, 50.0);
    for row in table::read("nist_ewma_6_3_2_4").rows() {
        let value = average.add(row.number("x"));
        agrees(value, row.number("ewma_full"), 1e-9);
        assert!((value - row.number("ewma_printed")).abs() < 0.0051, "printed to two places");
        let steps = row.text("t").parse().unwrap();
        agrees(ewma::half_width(0.3, 3.0, 2.0539, steps), row.number("exact_halfwidth_time_varying"), 1e-8);
    }
    let lasting = ewma::half_width(0.3, 3.0, 2.0539, 10_000);
    assert!((50.0 + lasting - 52.5884).abs() < 1e-4 && (50.0 - lasting - 47.4115).abs() < 1e-4);
}

#[test]
fn cusum_of_the_handbook() {
    let mut sums = Cusum::default();
    for row in table::read("nist_cusum_6_3_2_3").rows() {
        sums.add(row.number("x") - 325.0, 0.3175);
        assert!((sums.high() - row.number("s_hi")).abs() < 1e-9, "group {}", row.text("i"));
        assert!((sums.low() - row.number("s_lo")).abs() < 1e-9, "group {}", row.text("i"));
        let signals = sums.high().max(sums.low()) > 4.1959;
        assert_eq!(signals, row.text("signal") == "1", "group {}", row.text("i"));
    }
}

const RUNS: u32 = 1000;

/// Mean number of steps until `signals`, over seeded runs, with its standard error.
fn run_length(delta: f64, mut chart: impl FnMut() -> Box<dyn FnMut(f64) -> bool>) -> (f64, f64) {
    let mut chance = Chance::seeded(7);
    let lengths: Vec<f64> = (0..RUNS)
        .map(|_| {
            let mut signals = chart();
            let mut steps = 0.0;
            loop {
                steps += 1.0;
                if signals(delta + normal::quantile(chance.unit().max(1e-15))) {
                    return steps;
                }
            }
        })
        .collect();
    let mean = lengths.iter().sum::<f64>() / f64::from(RUNS);
    let variance = lengths.iter().map(|length| (length - mean).powi(2)).sum::<f64>() / f64::from(RUNS - 1);
    (mean, (variance / f64::from(RUNS)).sqrt())
}

#[test]
fn charts_run_as_long_as_published() {
    for row in table::read("control_chart_arl").rows() {
        let value = |column| row.text(column).split_once('=').map(|(_, number)| number.parse().unwrap());
        let (first, second): (f64, f64) = (value("param1").unwrap(), value("param2").unwrap());
        let (mean, error) = run_length(row.number("delta"), || match row.text("chart") {
            "cusum" => {
                let mut sums = Cusum::default();
                Box::new(move |z| {
                    sums.add(z, first);
                    sums.low().max(sums.high()) > second
                })
            }
            _ => {
                let mut average = Ewma::new(first, 0.0);
                let limit = second * (first / (2.0 - first)).sqrt();
                Box::new(move |z| average.add(z).abs() > limit)
            }
        });
        let published = row.number("arl");
        assert!((mean - published).abs() < 4.0 * error, "{mean} ± {error}, published {published}");
    }
}
