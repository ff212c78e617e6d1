//! A chart with one of everything, for tests.

use super::{Band, Baseline, Chart, Dot, Edge, Mark, Measure, Point, Series, Stroke};
use chrono::NaiveDateTime;

fn at(text: &str) -> NaiveDateTime {
    text.parse().unwrap()
}

fn point(day: &str, grams: Option<f64>) -> Point {
    Point { at: at(&format!("{day}T08:00:00")), value: grams.map(|grams| 1000.0 * grams) }
}

/// The weights of an animal that loses, a decimal slip, a day on which it declined, and what is expected next.
pub(crate) fn weights() -> Chart {
    let readings = [
        ("2026-01-05", 1420.0),
        ("2026-01-12", 1431.0),
        ("2026-01-19", 1440.0),
        ("2026-01-26", 1425.0),
        ("2026-02-09", 1410.0),
        ("2026-02-16", 1380.0),
        ("2026-03-02", 1332.0),
        ("2026-03-09", 1290.0),
    ];
    let series = |name: &str, dot, stroke, points, makes_room| Series {
        name: name.to_owned(),
        dot,
        stroke,
        points,
        makes_room,
    };
    let readings = readings.into_iter().map(|(day, grams)| point(day, Some(grams))).collect();
    Chart {
        title: "Weight of <Fennel> & Co".to_owned(),
        from: at("2026-01-05T00:00:00"),
        to: at("2026-03-16T12:00:00"),
        measure: Measure::Weight,
        series: vec![
            series("Readings", Dot::Full, Stroke::Solid, readings, true),
            series("To weigh again", Dot::Open, Stroke::None, vec![point("2026-02-17", Some(142.0))], false),
            series("Declined the scale", Dot::Cross, Stroke::None, vec![point("2026-02-02", None)], false),
        ],
        bands: vec![Band {
            name: "Expected".to_owned(),
            edges: vec![Edge {
                at: at("2026-03-16T12:00:00"),
                low: 1_230_000.0,
                expected: Some(1_290_000.0),
                high: 1_350_000.0,
            }],
        }],
        baselines: vec![Baseline { name: "Median of the readings".to_owned(), value: 1_410_000.0 }],
        marks: vec![Mark { at: at("2026-03-02T09:00:00"), text: "ACT: lost 6 % gradually".to_owned() }],
    }
}
