//! Agreement between observers against published and recomputed figures.
//!
//! Sources: Cohen 1968 (Psychol Bull 70:213), the table of proportions ×200; SAS FREQ values as printed
//! in the statsmodels test suite; statsmodels 0.15.0 for standard errors and intervals; the teaching
//! table of Fleiss' kappa; Shrout & Fleiss 1979 (Psychol Bull 86:420) table 2, intervals from R psych
//! 2.2.9.

use crate::table::{self, Row, agrees};
use holt_audit::stats::fleiss::fleiss;
use holt_audit::stats::icc::{Form, icc, mean_squares};
use holt_audit::stats::kappa::{CrossTable, Disagreement, Kappa, cohen};
use holt_audit::stats::krippendorff::{Level, alpha};

fn cross(row: &Row<'_>) -> CrossTable {
    let rows: Vec<Vec<usize>> = row
        .text("matrix_rows_semicolon")
        .split(';')
        .map(|row| row.split_whitespace().map(|cell| cell.parse().unwrap()).collect())
        .collect();
    let mut pairs = Vec::new();
    for (i, cells) in rows.iter().enumerate() {
        for (j, &n) in cells.iter().enumerate() {
            pairs.extend(std::iter::repeat_n((i, j), n));
        }
    }
    CrossTable::of_pairs(rows.len(), &pairs).unwrap()
}

fn told(row: &Row<'_>, disagreement: &Disagreement) -> Kappa {
    cohen(&cross(row), disagreement, 0.95).unwrap()
}

#[test]
fn kappa_as_published() {
    for row in table::read("kappa_checks").rows() {
        // The SAS values are printed to four places, the others are full.
        let tolerance = if row.text("name") == "table10_SAS" { 1e-4 } else { 1e-12 };
        let check = |column: &str, disagreement| {
            if !row.text(column).is_empty() {
                agrees(told(&row, &disagreement).kappa, row.number(column), tolerance);
            }
        };
        check("kappa", Disagreement::Equal);
        check("kappa_linear", Disagreement::Linear);
        check("kappa_quadratic", Disagreement::Quadratic);
        check("kappa_custom", Disagreement::Given(vec![0.0, 1.0, 3.0, 1.0, 0.0, 6.0, 3.0, 6.0, 0.0]));
    }
}

#[test]
fn standard_errors_as_printed_by_sas() {
    let table = table::read("kappa_checks");
    let row = table.rows().find(|row| row.text("name") == "table10_SAS").unwrap();
    agrees(told(&row, &Disagreement::Equal).standard_error, 0.1380, 5e-4);
    agrees(told(&row, &Disagreement::Linear).standard_error, 0.1457, 5e-4);
}

#[test]
fn standard_errors_and_intervals_of_another_library() {
    for row in table::read("kappa_intervals").rows() {
        let disagreement = match row.text("weights") {
            "none" => Disagreement::Equal,
            "linear" => Disagreement::Linear,
            _ => Disagreement::Quadratic,
        };
        let told = told(&row, &disagreement);
        agrees(told.kappa, row.number("kappa"), 1e-10);
        agrees(told.standard_error, row.number("standard_error"), 1e-9);
        agrees(told.interval.0, row.number("low"), 1e-9);
        agrees(told.interval.1, row.number("high"), 1e-9);
    }
}

#[test]
fn fleiss_teaching_table() {
    let rows: Vec<Vec<u32>> = table::read("fleiss_kappa")
        .rows()
        .map(|row| ["c1", "c2", "c3", "c4", "c5"].map(|c| row.text(c).parse().unwrap()).to_vec())
        .collect();
    let told = fleiss(&rows).unwrap();
    agrees(told.kappa, 0.20993070442195522, 1e-12);
    let published = [1.000, 0.253, 0.308, 0.440, 0.330, 0.462, 0.242, 0.176, 0.286, 0.286];
    for (ours, published) in told.per_subject.iter().zip(published) {
        assert!((ours - published).abs() < 5e-4, "{ours} {published}");
    }
}

fn shrout_fleiss() -> Vec<Vec<f64>> {
    table::read("icc_shrout_fleiss")
        .rows()
        .map(|row| ["judge1", "judge2", "judge3", "judge4"].map(|judge| row.number(judge)).to_vec())
        .collect()
}

#[test]
fn six_forms_of_shrout_and_fleiss() {
    use Form::{
        AgreementMean, AgreementSingle, ConsistencyMean, ConsistencySingle, OneWayMean, OneWaySingle,
    };
    // Form, printed to two places, full precision, lower and upper end.
    let published = [
        (OneWaySingle, 0.17, 0.16574177, -0.132932325, 0.72256006),
        (AgreementSingle, 0.29, 0.28976378, 0.018786513, 0.76108437),
        (ConsistencySingle, 0.71, 0.71484071, 0.342464765, 0.94585826),
        (OneWayMean, 0.44, 0.44279713, -0.884442155, 0.91241542),
        (AgreementMean, 0.62, 0.62005055, 0.071136815, 0.92723204),
        (ConsistencyMean, 0.91, 0.90931554, 0.675674714, 0.98589168),
    ];
    let readings = shrout_fleiss();
    for (form, printed, full, low, high) in published {
        let told = icc(&readings, form, 0.95).unwrap();
        assert!((told.value - printed).abs() <= 5e-3, "{form:?} {}", told.value);
        agrees(told.value, full, 1e-7);
        let (ours_low, ours_high) = told.interval.unwrap();
        agrees(ours_low, low, 1e-7);
        agrees(ours_high, high, 1e-7);
    }
}

#[test]
fn mean_squares_of_shrout_and_fleiss() {
    let squares = mean_squares(&shrout_fleiss()).unwrap();
    agrees(squares.subjects, 11.2416667, 1e-7);
    agrees(squares.observers, 32.4861111, 1e-7);
    agrees(squares.residual, 1.0194444, 1e-7);
    agrees(squares.within, 6.2638889, 1e-7);
}

#[test]
fn krippendorffs_alpha_of_two_published_examples() {
    for row in table::read("krippendorff").rows() {
        let units: Vec<Vec<i64>> = row
            .text("values")
            .split('/')
            .map(|unit| {
                unit.split(' ').filter(|value| *value != ".").map(|value| value.parse().unwrap()).collect()
            })
            .collect();
        for (level, column) in [
            (Level::Nominal, "nominal"),
            (Level::Ordinal, "ordinal"),
            (Level::Interval, "interval"),
            (Level::Ratio, "ratio"),
        ] {
            agrees(alpha(&units, level).unwrap(), row.number(column), 1e-12);
        }
    }
}
