//! Draws a chart: axes and places by the library, in an order in which nothing hides what matters more.

use super::ink::Ink;
use super::shapes::{PIXEL, Shape, Sheet};
use crate::chart::axis::{Upright, seconds, ticks, wall};
use crate::chart::{Band, Chart, Dot, Series, Stroke};
use crate::failure::Failure;
use plotters::coord::Shift;
use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint};
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::convert::Infallible;
use std::ops::Range;

/// Pixels.
const WIDTH: i32 = 720;
const PLOT: i32 = 210;
const LEFT: i32 = 54;
const RIGHT: i32 = 26;
const TITLE: i32 = 26;
const AXIS_NAME: i32 = 18;
const FLAGS: i32 = 16;
const DAYS: i32 = 24;
const LINE: i32 = 18;
/// Half of a dot.
const DOT: i32 = 3;
/// Of letters.
const SIZE: i32 = 12;

type Plot<'a, 'b> = ChartContext<'a, Sheet<'b>, Cartesian2d<Axis, Axis>>;
type Root<'b> = DrawingArea<Sheet<'b>, Shift>;
type Wrong = DrawingAreaErrorKind<Infallible>;

/// An axis, and where it is labelled.
struct Axis {
    range: Range<f64>,
    labelled: Vec<f64>,
}

impl Ranged for Axis {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (first, last): (i32, i32)) -> i32 {
        let share = (value - self.range.start) / (self.range.end - self.range.start);
        #[expect(clippy::cast_possible_truncation, reason = "places on a sheet")]
        let along = (share * f64::from(last - first)).round() as i32;
        first + along
    }

    fn key_points<H: KeyPointHint>(&self, hint: H) -> Vec<f64> {
        if hint.weight().allow_light_points() { Vec::new() } else { self.labelled.clone() }
    }

    fn range(&self) -> Range<f64> {
        self.range.clone()
    }
}

/// A chart as shapes.
pub(super) struct Drawing {
    pub(super) shapes: Vec<Shape>,
    height: i32,
}

/// The middle of a symbol, pixels of the library.
type Place = (i32, i32);

impl Drawing {
    pub(super) fn of(chart: &Chart) -> Result<Self, Failure> {
        Self::drawn(chart, 0)
    }

    /// The same with its title above it.
    pub(super) fn titled(chart: &Chart) -> Result<Self, Failure> {
        let mut drawing = Self::drawn(chart, TITLE)?;
        drawing.text(Ink::Title, (LEFT / 4, TITLE - 8), &chart.title);
        Ok(drawing)
    }

    pub(super) const fn width(&self) -> i32 {
        WIDTH
    }

    pub(super) const fn height(&self) -> i32 {
        self.height
    }

    /// Adds a line of text under everything.
    pub(super) fn line_below(&mut self, text: &str, set_in: bool) {
        let left = if set_in { LEFT / 4 + 14 } else { LEFT / 4 };
        self.height += LINE;
        self.text(Ink::Label, (left, self.height - LINE / 2), text);
    }

    fn text(&mut self, ink: Ink, (x, y): Place, text: &str) {
        let at = (x * PIXEL, y * PIXEL);
        self.shapes.push(Shape::Text { ink, at, text: text.to_owned(), anchor: "start", baseline: "0" });
    }

    fn drawn(chart: &Chart, top: i32) -> Result<Self, Failure> {
        let flags = if chart.marks.is_empty() { 0 } else { FLAGS };
        let above = top + AXIS_NAME + flags;
        let key = Key::of(chart, above + PLOT + DAYS);
        let height = above + PLOT + DAYS + key.height();
        let mut shapes = Vec::new();
        let size = (units(WIDTH), units(height));
        let root = Sheet { size, shapes: &mut shapes }.into_drawing_area();
        paint(chart, &root, above, &key)
            .map_err(|error| Failure::machine(format!("the chart cannot be drawn: {error}"), ""))?;
        drop(root);
        Ok(Self { shapes, height })
    }
}

/// Pixels as sizes of the library.
fn units(pixels: i32) -> u32 {
    u32::try_from(pixels * PIXEL).unwrap_or_default()
}

fn paint(chart: &Chart, root: &Root<'_>, above: i32, key: &Key<'_>) -> Result<(), Wrong> {
    let upright = Upright::of(chart, 5);
    let days = ticks(chart.from, chart.to, 7);
    let (from, to) = (seconds(chart.from), seconds(chart.to).max(seconds(chart.from) + 1.0));
    let across = Axis { range: from..to, labelled: days.iter().map(|tick| seconds(tick.at)).collect() };
    let up = Axis { range: upright.low..upright.high, labelled: upright.ticks.clone() };
    let mut plot = ChartBuilder::on(root)
        .margin_top(units(above))
        .margin_bottom(units(key.height()))
        .margin_right(units(RIGHT))
        .x_label_area_size(units(DAYS))
        .y_label_area_size(units(LEFT))
        .build_cartesian_2d(across, up)?;
    let day = |at: &f64| {
        let at = wall(*at);
        days.iter().find(|tick| tick.at == at).map(|tick| tick.label.clone()).unwrap_or_default()
    };
    plot.configure_mesh()
        .disable_x_mesh()
        .bold_line_style(Ink::Grid.colour())
        .light_line_style(Ink::Nothing.colour())
        .axis_style(Ink::Axis.colour())
        .x_labels(days.len())
        .label_style(letters(Ink::Label))
        .x_label_formatter(&day)
        .y_label_formatter(&|value| upright.label(*value))
        .set_tick_mark_size(LabelAreaPosition::Left, units(4))
        .set_tick_mark_size(LabelAreaPosition::Bottom, units(4))
        .draw()?;
    let symbol = upright.unit.symbol;
    let name = chart.measure.name();
    let name = if symbol.is_empty() { name.to_owned() } else { format!("{name}, {symbol}") };
    // Above the numbers, where it is read without turning the head.
    let place = (LEFT / 4 * PIXEL, (above - if chart.marks.is_empty() { 8 } else { FLAGS + 6 }) * PIXEL);
    root.draw(&Text::new(name, place, letters(Ink::Label)))?;

    for (n, band) in (0..).zip(&chart.bands) {
        draw_band(root, &plot, n, band)?;
    }
    for baseline in &chart.baselines {
        let ends = [from, to].map(|at| plot.plotting_area().map_coordinate(&(at, baseline.value)));
        root.draw(&PathElement::new(ends.to_vec(), Ink::Baseline.colour()))?;
    }
    for (n, mark) in chart.marks.iter().enumerate() {
        let (x, _) = plot.plotting_area().map_coordinate(&(seconds(mark.at), upright.low));
        root.draw(&PathElement::new(
            vec![(x, above * PIXEL), (x, (above + PLOT) * PIXEL)],
            Ink::Mark.colour(),
        ))?;
        let number = letters(Ink::Mark).pos(Pos::new(HPos::Center, VPos::Bottom));
        root.draw(&Text::new((n + 1).to_string(), (x, (above - 1) * PIXEL), number))?;
    }
    for (n, series) in (0..).zip(&chart.series) {
        draw_series(root, &plot, n, series, &upright)?;
    }
    key.draw(root)
}

fn letters<'a>(ink: Ink) -> TextStyle<'a> {
    ("sans-serif", SIZE * PIXEL).into_font().color(&ink.colour()).pos(Pos::new(HPos::Left, VPos::Center))
}

fn draw_band(root: &Root<'_>, plot: &Plot<'_, '_>, n: u8, band: &Band) -> Result<(), Wrong> {
    let place = |at, value| plot.plotting_area().map_coordinate(&(seconds(at), value));
    let low: Vec<Place> = band.edges.iter().map(|edge| place(edge.at, edge.low)).collect();
    let high: Vec<Place> = band.edges.iter().map(|edge| place(edge.at, edge.high)).collect();
    if let [edge] = band.edges.as_slice() {
        let expected = edge.expected.map(|expected| place(edge.at, expected));
        return draw_bar(root, n, place(edge.at, edge.low), place(edge.at, edge.high), expected);
    }
    let around = low.iter().chain(high.iter().rev()).copied();
    root.draw(&Polygon::new(around.collect::<Vec<_>>(), Ink::Band(n).colour()))?;
    root.draw(&PathElement::new(low, Ink::Edge(n).colour()))?;
    root.draw(&PathElement::new(high, Ink::Edge(n).colour()))?;
    let middle = band.edges.iter().filter_map(|edge| Some(place(edge.at, edge.expected?)));
    root.draw(&PathElement::new(middle.collect::<Vec<_>>(), Ink::Dashed(n).colour()))
}

/// From the lowest to the highest with a foot at either end, and what is expected between them.
fn draw_bar(root: &Root<'_>, n: u8, low: Place, high: Place, expected: Option<Place>) -> Result<(), Wrong> {
    let foot = |(x, y): Place| vec![(x - 5 * PIXEL, y), (x + 5 * PIXEL, y)];
    for line in [vec![low, high], foot(low), foot(high)] {
        root.draw(&PathElement::new(line, Ink::Line(n).colour()))?;
    }
    expected.map_or(Ok(()), |at| draw_dot(root, Dot::Diamond, n, at))
}

fn draw_series(
    root: &Root<'_>,
    plot: &Plot<'_, '_>,
    n: u8,
    series: &Series,
    upright: &Upright,
) -> Result<(), Wrong> {
    let place = |at, value: f64| {
        plot.plotting_area().map_coordinate(&(seconds(at), value.clamp(upright.low, upright.high)))
    };
    let line = match series.stroke {
        Stroke::Solid => Some(Ink::Line(n)),
        Stroke::Dashed => Some(Ink::Dashed(n)),
        Stroke::None => None,
    };
    if let Some(ink) = line {
        let way: Vec<Place> = series.values().map(|(at, value)| place(at, value)).collect();
        if way.len() > 1 {
            root.draw(&PathElement::new(way, ink.colour()))?;
        }
    }
    for point in &series.points {
        // What gave no value stands at the foot of the chart.
        let at = place(point.at, point.value.unwrap_or(upright.low));
        let at = if point.value.is_none() { (at.0, at.1 - 2 * DOT * PIXEL) } else { at };
        match point.value {
            Some(value) if value < upright.low => draw_arrow(root, n, at, 1)?,
            Some(value) if value > upright.high => draw_arrow(root, n, at, -1)?,
            _ => draw_dot(root, series.dot, n, at)?,
        }
    }
    Ok(())
}

/// An open arrow at the edge, for what lies beyond it: downwards for 1, upwards for -1.
fn draw_arrow(root: &Root<'_>, n: u8, (x, y): Place, way: i32) -> Result<(), Wrong> {
    let r = 2 * DOT * PIXEL;
    let head = vec![(x - r, y - way * 2 * r), (x + r, y - way * 2 * r), (x, y)];
    root.draw(&Polygon::new(head, Ink::Open(n).colour()))
}

fn draw_dot(root: &Root<'_>, dot: Dot, n: u8, (x, y): Place) -> Result<(), Wrong> {
    let r = DOT * PIXEL;
    match dot {
        Dot::None => Ok(()),
        Dot::Full => root.draw(&Circle::new((x, y), r, Ink::Dot(n).colour().filled())),
        Dot::Open => root.draw(&Circle::new((x, y), r + PIXEL, Ink::Open(n).colour().filled())),
        Dot::Diamond => {
            let r = r + PIXEL;
            let corners = vec![(x, y - r), (x + r, y), (x, y + r), (x - r, y)];
            root.draw(&Polygon::new(corners, Ink::Open(n).colour()))
        }
        Dot::Cross => {
            for line in [vec![(x - r, y - r), (x + r, y + r)], vec![(x - r, y + r), (x + r, y - r)]] {
                root.draw(&PathElement::new(line, Ink::Line(n).colour()))?;
            }
            Ok(())
        }
    }
}

/// What each sign stands for, in lines under the chart.
struct Key<'c> {
    signs: Vec<(Sign<'c>, Place)>,
    lines: i32,
}

#[derive(Clone, Copy)]
enum Sign<'c> {
    Series(u8, &'c Series),
    Band(u8, &'c Band),
    Baseline(&'c str),
}

/// Pixels of a sign, with the gap before its name.
const SIGN: i32 = 30;

impl<'c> Key<'c> {
    fn of(chart: &'c Chart, top: i32) -> Self {
        let series = (0..)
            .zip(&chart.series)
            .filter(|(_, series)| !series.points.is_empty())
            .map(|(n, series)| Sign::Series(n, series));
        let bands = (0..).zip(&chart.bands).map(|(n, band)| Sign::Band(n, band));
        let baselines = chart.baselines.iter().map(|baseline| Sign::Baseline(&baseline.name));
        let (mut x, mut lines) = (LEFT, 1);
        let mut signs = Vec::new();
        for sign in series.chain(bands).chain(baselines) {
            let letters = i32::try_from(sign.name().chars().count()).unwrap_or(i32::MAX / 100);
            let width = SIGN + letters * 8 + 10;
            if x + width > WIDTH && x > LEFT {
                (x, lines) = (LEFT, lines + 1);
            }
            signs.push((sign, (x, top + lines * LINE - LINE / 2)));
            x += width;
        }
        Self { signs, lines }
    }

    const fn height(&self) -> i32 {
        self.lines * LINE + 4
    }

    fn draw(&self, root: &Root<'_>) -> Result<(), Wrong> {
        for (sign, (x, y)) in &self.signs {
            let (x, y) = (x * PIXEL, y * PIXEL);
            let middle = (x + 12 * PIXEL, y);
            let across = vec![(x, y), (x + 24 * PIXEL, y)];
            match sign {
                Sign::Series(n, series) => {
                    match series.stroke {
                        Stroke::Solid => root.draw(&PathElement::new(across, Ink::Line(*n).colour()))?,
                        Stroke::Dashed => root.draw(&PathElement::new(across, Ink::Dashed(*n).colour()))?,
                        Stroke::None => {}
                    }
                    draw_dot(root, series.dot, *n, middle)?;
                }
                Sign::Band(n, band) if band.edges.len() == 1 => {
                    let h = 6 * PIXEL;
                    draw_bar(root, *n, (middle.0, y + h), (middle.0, y - h), Some(middle))?;
                }
                Sign::Band(n, _) => {
                    let h = 5 * PIXEL;
                    let (left, right) = (x, x + 24 * PIXEL);
                    let around = vec![(left, y - h), (right, y - h), (right, y + h), (left, y + h)];
                    root.draw(&Polygon::new(around, Ink::Band(*n).colour()))?;
                    root.draw(&PathElement::new(
                        vec![(left, y - h), (right, y - h)],
                        Ink::Edge(*n).colour(),
                    ))?;
                    root.draw(&PathElement::new(
                        vec![(left, y + h), (right, y + h)],
                        Ink::Edge(*n).colour(),
                    ))?;
                    root.draw(&PathElement::new(across, Ink::Dashed(*n).colour()))?;
                }
                Sign::Baseline(_) => root.draw(&PathElement::new(across, Ink::Baseline.colour()))?,
            }
            root.draw(&Text::new(sign.name().to_owned(), (x + SIGN * PIXEL, y), letters(Ink::Label)))?;
        }
        Ok(())
    }
}

impl Sign<'_> {
    fn name(&self) -> &str {
        match self {
            Self::Series(_, series) => &series.name,
            Self::Band(_, band) => &band.name,
            Self::Baseline(name) => name,
        }
    }
}
