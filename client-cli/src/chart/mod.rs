//! One description of a chart, however it is drawn: what was read when, what it is compared with, and what was raised.
//! It is plain data. [`svg`] draws it for files and pages, [`terminal`] for terminals, [`sparkline`] for the cell of a
//! table, and [`words`] says it to whoever sees none of them.
//!
//! Nothing in it is distinguished by colour alone: each series has a dot and a stroke of its own, and what was raised has a
//! number.

mod axis;
mod measure;
pub(crate) mod sparkline;
pub(crate) mod svg;
mod terminal;
mod words;

pub(crate) use axis::noon;
pub(crate) use measure::Measure;

use chrono::NaiveDateTime;

/// What a chart says. Times are those of the site.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Chart {
    pub(crate) title: String,
    pub(crate) from: NaiveDateTime,
    pub(crate) to: NaiveDateTime,
    pub(crate) measure: Measure,
    pub(crate) series: Vec<Series>,
    pub(crate) bands: Vec<Band>,
    pub(crate) baselines: Vec<Baseline>,
    pub(crate) marks: Vec<Mark>,
}

/// Values of one kind, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Series {
    pub(crate) name: String,
    pub(crate) dot: Dot,
    pub(crate) stroke: Stroke,
    pub(crate) points: Vec<Point>,
    /// Whether the axis makes room for them; what lies outside is drawn at the edge with an arrow.
    pub(crate) makes_room: bool,
}

/// One value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Point {
    pub(crate) at: NaiveDateTime,
    /// In the unit of the measure; none where something was tried and gave no value.
    pub(crate) value: Option<f64>,
}

/// What a value is drawn as.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Dot {
    Full,
    Open,
    Diamond,
    Cross,
    None,
}

/// How values are joined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stroke {
    Solid,
    Dashed,
    None,
}

/// Between what values are expected, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Band {
    pub(crate) name: String,
    /// One alone is drawn as a bar.
    pub(crate) edges: Vec<Edge>,
}

/// Between what a value is expected at one time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Edge {
    pub(crate) at: NaiveDateTime,
    pub(crate) low: f64,
    pub(crate) expected: Option<f64>,
    pub(crate) high: f64,
}

/// A value that others are compared with.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Baseline {
    pub(crate) name: String,
    pub(crate) value: f64,
}

/// Something that happened or was raised; it has its place in the list as its number.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Mark {
    pub(crate) at: NaiveDateTime,
    pub(crate) text: String,
}

impl Series {
    /// The values that there are.
    fn values(&self) -> impl Iterator<Item = (NaiveDateTime, f64)> + '_ {
        self.points.iter().filter_map(|point| Some((point.at, point.value?)))
    }
}

impl Chart {
    /// Whether there is nothing to draw.
    pub(crate) fn is_empty(&self) -> bool {
        self.series.iter().all(|series| series.points.is_empty())
    }
}

#[cfg(test)]
pub(crate) mod example;
