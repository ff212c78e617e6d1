//! Reference curves, growth curves and forecasts of the young.
//!
//! LMS: the worked example printed with the CDC growth charts 2000 (boys, 9.5 months; US Government, public
//! domain): 9.7 kg is z 0.207, the 5th centile 7.90 kg; tails by the WHO's convention recomputed from its
//! description. Curves: R 4.2.2 `nls` with its self-starting models, examples of R's own documentation.
//! Readings: Crowder & Hand 1990, examples 5.3 and 2.4; rat pups of Pinheiro & Bates 2000, appendix A.

use crate::table::{self, Row, agrees};
use holt_audit::growth::{self, Growth, Lms, Shape};
use holt_audit::stats::nonlinear;
use holt_audit::terms::Mass;
use std::collections::BTreeMap;

#[test]
fn lms_as_the_growth_charts_print_it() {
    let rows = table::read("lms_z");
    // The WHO row of the table is from memory and asserted nowhere.
    let solid: Vec<Row<'_>> = rows.rows().filter(|row| !row.text("reference").starts_with("who")).collect();
    assert_eq!(solid.len(), 8);
    for row in solid {
        let curve = Lms { l: row.number("L"), m: row.number("M"), s: row.number("S") };
        let z = curve.z(row.number("x")).unwrap();
        assert!((z - row.number("z")).abs() < 1e-8, "{z}");
    }
    let boys = Lms { l: -0.160_095_4, m: 9.476_500_305, s: 0.112_186_24 };
    assert!((boys.z(9.7).unwrap() - 0.207).abs() < 5e-4);
    assert!((boys.value(-1.645).unwrap() - 7.90).abs() < 5e-3);
    assert!((boys.z_linear_tails(14.0).unwrap() - 3.408_489).abs() < 1e-6);
    assert!((boys.z_linear_tails(6.0).unwrap() - -4.069_723).abs() < 1e-6);
    assert_eq!(boys.z_linear_tails(9.7), boys.z(9.7));
}

/// `nls` stops when a step would move the fit by less than 1e-5 of the residuals: its coefficients are good
/// to about as much.
const NLS: f64 = 2e-5;

/// Our sum of squares is the published one, or lower by what `nls` leaves to gain.
#[track_caller]
fn assert_least(ours: f64, published: f64) {
    agrees(ours, published, 1e-7);
    assert!(ours <= published * (1.0 + 1e-10), "ours {ours:e}, published {published:e}");
}

fn published(model: &str, param: &str) -> (f64, f64) {
    let rows = table::read("growth_models");
    let row = rows.rows().find(|row| row.text("model") == model && row.text("param") == param).unwrap();
    (row.number("estimate"), row.text("se").parse().unwrap_or(0.0))
}

fn chick(name: &str) -> Vec<(f64, f64)> {
    table::read("open_chickweight")
        .rows()
        .filter(|row| row.text("Chick") == name)
        .map(|row| (row.number("Time"), row.number("weight")))
        .collect()
}

#[test]
fn a_logistic_curve_as_r_fits_it_and_the_asymptote_it_does_not_know() {
    let points = chick("1");
    let (ages, grams): (Vec<f64>, Vec<f64>) = points.iter().copied().unzip();
    let curve = |[adult, middle, scale]: &[f64; 3], age: f64| adult / (1.0 + ((middle - age) / scale).exp());
    let told = nonlinear::fit(&ages, &grams, [400.0, 20.0, 8.0], curve).unwrap();
    for (place, param) in ["Asym", "xmid", "scal"].into_iter().enumerate() {
        let (estimate, error) = published("SSlogis", param);
        agrees(told.coefficients[place], estimate, NLS);
        agrees(told.standard_error(place), error, 1e-4);
    }
    assert_least(told.squares, published("SSlogis", "RSS").0);

    // R gives an adult mass with a standard error of half of it; we give none.
    for shape in [Shape::Logistic, Shape::Gompertz] {
        assert!(Growth::fit(shape, &points).is_none_or(|told| told.adult().is_none()), "{shape:?}");
    }
}

/// Optical density by log concentration, run 1 of `DNase` (Davidian & Giltinan 1995, §5.2.4). The readings
/// are from memory; that the published sum of squares comes out of them shows that they are right.
const DNASE_RUN_1: [(f64, f64); 16] = [
    (0.048_828_125, 0.017),
    (0.048_828_125, 0.018),
    (0.195_312_5, 0.121),
    (0.195_312_5, 0.124),
    (0.390_625, 0.206),
    (0.390_625, 0.215),
    (0.781_25, 0.377),
    (0.781_25, 0.374),
    (1.562_5, 0.614),
    (1.562_5, 0.609),
    (3.125, 1.019),
    (3.125, 1.001),
    (6.25, 1.334),
    (6.25, 1.364),
    (12.5, 1.730),
    (12.5, 1.710),
];

#[test]
fn a_gompertz_curve_as_r_fits_it() {
    let (xs, ys): (Vec<f64>, Vec<f64>) = DNASE_RUN_1.iter().map(|(x, y)| (x.ln(), *y)).unzip();
    let curve = |[adult, rate, fastest]: &[f64; 3], x: f64| adult * (-(-rate * (x - fastest)).exp()).exp();
    let told = nonlinear::fit(&xs, &ys, [3.0, 0.5, 1.0], curve).unwrap();
    // R writes it A·exp(−b2·b3^x): k = −ln b3, T = ln(b2)/k.
    let rate = -published("SSgompertz", "b3").0.ln();
    agrees(told.coefficients[0], published("SSgompertz", "Asym").0, 10.0 * NLS);
    agrees(told.coefficients[1], rate, 10.0 * NLS);
    agrees(told.coefficients[2], published("SSgompertz", "b2").0.ln() / rate, 10.0 * NLS);
    agrees(told.standard_error(0), published("SSgompertz", "Asym").1, 1e-3);
    assert_least(told.squares, published("SSgompertz", "RSS").0);
}

/// All series of the open growth data, as `(day, grams)`.
fn open_series() -> Vec<Vec<(f64, f64)>> {
    let mut series: BTreeMap<(&str, u32), Vec<(f64, f64)>> = BTreeMap::new();
    for (name, own) in [("open_chickweight", "Chick"), ("open_rat_bodyweight", "Rat")] {
        for row in table::read(name).rows() {
            let animal = row.text(own).parse().unwrap();
            series.entry((name, animal)).or_default().push((row.number("Time"), row.number("weight")));
        }
    }
    series.into_values().collect()
}

#[test]
fn rats_that_have_nearly_stopped_growing_have_an_adult_mass_or_none_but_no_wild_one() {
    let mut told = 0;
    for points in open_series().into_iter().filter(|points| points[0].1 > 200.0) {
        let heaviest = points.iter().map(|(_, grams)| *grams).fold(0.0, f64::max);
        let Some(adult) = Growth::best(&points).and_then(|growth| growth.adult()) else { continue };
        told += 1;
        let share = adult.expected.grams() / heaviest;
        assert!((0.95..1.3).contains(&share), "{share}");
        assert!(adult.low < adult.expected && adult.expected < adult.high);
    }
    assert!(told > 0);
}

#[test]
fn few_of_a_litter_lag_and_their_spread_is_what_we_take_as_usual() {
    let mut litters: BTreeMap<String, Vec<Option<Mass>>> = BTreeMap::new();
    for row in table::read("open_rat_pups").rows() {
        let mass = Mass::from_grams(row.number("weight"));
        litters.entry(row.text("Litter").to_owned()).or_default().push(Some(mass));
    }
    let (mut squares, mut freedom, mut pups, mut behind) = (0.0, 0.0, 0, 0);
    for litter in litters.values() {
        let logs: Vec<f64> = litter.iter().flatten().map(|mass| mass.grams().ln()).collect();
        let n = logs.len() as f64;
        let mean = logs.iter().sum::<f64>() / n;
        squares += logs.iter().map(|log| (log - mean).powi(2)).sum::<f64>();
        freedom += n - 1.0;
        let told = growth::siblings(litter);
        pups += told.iter().flatten().count();
        behind += told.iter().flatten().filter(|one| one.behind).count();
    }
    agrees((squares / freedom).sqrt(), 0.074, 0.01);
    assert!(pups > 300 && (3..=25).contains(&behind), "{behind} of {pups}");
}
