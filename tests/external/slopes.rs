//! Robust slopes and order tests on the weights of chicks and rats.
//!
//! Readings: Crowder & Hand 1990, Analysis of Repeated Measures, examples 5.3 and 2.4. Expected
//! numbers: scipy 1.12 `theilslopes`, `linregress`; pymannkendall 1.4.3 `original_test`.

use crate::table::{self, agrees};
use holt_audit::stats::{least_squares, mann_kendall, theil_sen};

fn series(dataset: &str, subject: &str) -> (Vec<f64>, Vec<f64>) {
    table::read("growth_series")
        .rows()
        .filter(|row| row.text("dataset") == dataset && row.text("subject") == subject)
        .map(|row| (row.number("day"), row.number("weight_g")))
        .unzip()
}

#[test]
fn every_series_has_the_slopes_the_reference_libraries_give() {
    let mut pairs = theil_sen::Pairs::default();
    let mut seen = 0;
    for expected in table::read("growth_trend_expected").rows() {
        let (days, grams) = series(expected.text("dataset"), expected.text("subject"));
        assert_eq!(days.len().to_string(), expected.text("n"));

        let robust = theil_sen::fit(&days, &grams, 0.95, &mut pairs).unwrap();
        agrees(robust.slope, expected.number("theil_slope"), 1e-13);
        agrees(robust.low, expected.number("ci_lo"), 1e-13);
        agrees(robust.high, expected.number("ci_hi"), 1e-13);
        agrees(robust.intercept_separate(&days, &grams).unwrap(), expected.number("intercept_sep"), 1e-13);
        agrees(robust.intercept_joint(&days, &grams).unwrap(), expected.number("intercept_joint"), 1e-13);

        let order = mann_kendall::test(&grams).unwrap();
        agrees(f64::from(i32::try_from(order.s).unwrap()), expected.number("mk_S"), 0.0);
        agrees(order.variance, expected.number("mk_varS"), 1e-14);
        agrees(order.z, expected.number("mk_z"), 1e-13);
        agrees(order.p, expected.number("mk_p"), 1e-9);

        let line = least_squares::line(&days, &grams).unwrap();
        agrees(line.coefficients[0], expected.number("ols_intercept"), 1e-12);
        agrees(line.coefficients[1], expected.number("ols_slope"), 1e-12);
        agrees(line.standard_error(1), expected.number("ols_slope_se"), 1e-12);
        seen += 1;
    }
    assert_eq!(seen, 6);
}

/// The index rule spelled out on Chick 24: 66 slopes, σ² = 210.6667, sorted slopes number 18 and 47
/// counted from 0.
#[test]
fn the_interval_takes_the_ranks_of_the_published_rule() {
    let (days, grams) = series("ChickWeight", "24");
    let robust = theil_sen::fit(&days, &grams, 0.95, &mut theil_sen::Pairs::default()).unwrap();
    assert_eq!(robust.pairs, 66);
    agrees(robust.low, 0.5, 1e-15);
    agrees(robust.high, 5.0 / 3.0, 1e-15);
}

/// Norris readings, NIST StRD; slope and interval from scipy 1.12 `theilslopes`.
#[test]
fn norris_by_robust_slope() {
    let (xs, ys): (Vec<f64>, Vec<f64>) =
        table::read("nist_norris").rows().map(|row| (row.number("x"), row.number("y"))).unzip();
    let robust = theil_sen::fit(&xs, &ys, 0.95, &mut theil_sen::Pairs::default()).unwrap();
    agrees(robust.slope, 1.002_196_836_555_360_4, 1e-14);
    agrees(robust.low, 1.001_115_324_559_446_9, 1e-14);
    agrees(robust.high, 1.003_053_435_114_503_7, 1e-14);
    agrees(robust.intercept_separate(&xs, &ys).unwrap(), -0.064_015_817_223_207_7, 1e-9);
}
