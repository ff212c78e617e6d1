//! Linear regression against certified values.
//!
//! Source: NIST Statistical Reference Datasets, linear regression (itl.nist.gov/div898/strd), public
//! domain. Pontius is there to break programs that solve the normal equations.

use crate::table::{self, agrees};
use holt_audit::stats::least_squares::{self, Fit};

fn points(name: &str) -> (Vec<f64>, Vec<f64>) {
    table::read(name).rows().map(|row| (row.number("x"), row.number("y"))).unzip()
}

#[track_caller]
fn certified(fit: &Fit, place: usize, value: f64, deviation: f64, tolerance: f64) {
    agrees(fit.coefficients[place], value, tolerance);
    agrees(fit.standard_error(place), deviation, tolerance);
}

#[test]
fn norris() {
    let (xs, ys) = points("nist_norris");
    let fit = least_squares::line(&xs, &ys).unwrap();
    certified(&fit, 0, -0.262323073774029, 0.232818234301152, 1e-12);
    certified(&fit, 1, 1.00211681802045, 0.429796848199937e-3, 1e-12);
    agrees(fit.residual_sd, 0.884796396144373, 1e-12);
    assert_eq!(fit.degrees_of_freedom, 34);
}

#[test]
fn pontius() {
    let (xs, ys) = points("nist_pontius");
    let design: Vec<f64> = xs.iter().flat_map(|x| [1.0, *x, x * x]).collect();
    let fit = least_squares::fit(&design, 3, &ys).unwrap();
    certified(&fit, 0, 0.673565789473684e-3, 0.107938612033077e-3, 1e-11);
    certified(&fit, 1, 0.732059160401003e-6, 0.157817399981659e-9, 1e-11);
    certified(&fit, 2, -0.316081871345029e-14, 0.486652849992036e-16, 1e-11);
    agrees(fit.residual_sd, 0.205177424076185e-3, 1e-11);
}

#[test]
fn no_intercept() {
    let (xs, ys): (Vec<f64>, Vec<f64>) = table::read("nist_noint")
        .rows()
        .filter(|row| row.text("set") == "NoInt1")
        .map(|row| (row.number("x"), row.number("y")))
        .unzip();
    let fit = least_squares::fit(&xs, 1, &ys).unwrap();
    certified(&fit, 0, 2.07438016528926, 0.165289256198347e-1, 1e-12);
    agrees(fit.residual_sd, 3.56753034006338, 1e-12);
    assert_eq!(fit.degrees_of_freedom, 10);
}
