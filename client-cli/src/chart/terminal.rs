//! A chart in letters, for a terminal.

use super::axis::{Upright, seconds, ticks};
use super::{Chart, Dot, Edge, Series, Stroke};
use crate::output::{Page, Tone};
use chrono::NaiveDateTime;
use textwrap::core::display_width;

/// Lines of the plot.
const LINES: usize = 12;
/// Narrowest and widest plot, columns.
const NARROWEST: usize = 24;
const WIDEST: usize = 100;

impl Dot {
    const fn letter(self) -> char {
        match self {
            Self::Full => '●',
            Self::Open => '○',
            Self::Diamond => '◇',
            Self::Cross => '×',
            Self::None => ' ',
        }
    }
}

/// The plot as letters, line by line.
struct Grid {
    letters: Vec<Vec<char>>,
    columns: usize,
    from: f64,
    to: f64,
    upright: Upright,
}

impl Grid {
    fn put(&mut self, line: usize, column: usize, letter: char) {
        if let Some(cell) = self.letters.get_mut(line).and_then(|line| line.get_mut(column)) {
            *cell = letter;
        }
    }

    /// The same only where nothing stands yet.
    fn fill(&mut self, line: usize, column: usize, letter: char) {
        if self.letters.get(line).and_then(|line| line.get(column)) == Some(&' ') {
            self.put(line, column, letter);
        }
    }

    fn column(&self, at: NaiveDateTime) -> usize {
        part((seconds(at) - self.from) / (self.to - self.from), self.columns)
    }

    fn line(&self, value: f64) -> usize {
        let Upright { low, high, .. } = self.upright;
        part((high - value) / (high - low), LINES)
    }

    fn column_seconds(&self, column: usize) -> f64 {
        let share = number(column) / number(self.columns.saturating_sub(1).max(1));
        self.from + share * (self.to - self.from)
    }
}

/// Which of so many cells a share falls into.
fn part(share: f64, cells: usize) -> usize {
    let cell = (share.clamp(0.0, 1.0) * number(cells.saturating_sub(1))).round();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "cells of a terminal")]
    let cell = cell as usize;
    cell
}

#[expect(clippy::cast_precision_loss, reason = "cells of a terminal")]
const fn number(cells: usize) -> f64 {
    cells as f64
}

impl Chart {
    /// The chart for people at a terminal.
    pub(crate) fn draw(&self, page: &mut Page) {
        page.heading(&self.title);
        if self.is_empty() {
            page.line("Nothing recorded in these days.");
            return;
        }
        let upright = Upright::of(self, 5);
        let labels: Vec<String> = upright.ticks.iter().map(|tick| upright.label(*tick)).collect();
        let margin = labels.iter().map(|label| display_width(label)).max().unwrap_or_default();
        let columns = page.width().saturating_sub(margin + 2).clamp(NARROWEST, WIDEST);
        let mut grid = Grid {
            letters: vec![vec![' '; columns]; LINES],
            columns,
            from: seconds(self.from),
            to: seconds(self.to).max(seconds(self.from) + 1.0),
            upright,
        };
        self.lay(&mut grid);
        let symbol = grid.upright.unit.symbol;
        let name = self.measure.name();
        let blank = " ".repeat(margin);
        page.drawn(&if symbol.is_empty() { name.to_owned() } else { format!("{name}, {symbol}") });
        if !self.marks.is_empty() {
            page.drawn(&format!("{blank}  {}", self.flags(&grid)));
        }
        for line in 0..LINES {
            let at = |tick: &&f64| grid.line(**tick) == line;
            let label = grid.upright.ticks.iter().find(at).map(|tick| grid.upright.label(*tick));
            let axis = if label.is_some() { '┤' } else { '│' };
            let letters: String = grid.letters[line].iter().collect();
            page.drawn(&format!("{:>margin$} {axis}{letters}", label.unwrap_or_default()));
        }
        page.drawn(&format!("{blank} └{}", "─".repeat(columns)));
        page.drawn(&format!("{blank}  {}", self.days(&grid)));
        for line in self.key() {
            page.indented(&line, margin + 2);
        }
        for (n, mark) in self.marks.iter().enumerate() {
            page.hanging(&self.told_mark(n, &mark.text, mark.at), 3);
        }
        let beyond = self.beyond(&grid.upright);
        if !beyond.is_empty() {
            page.line(&format!("Beyond the chart: {}.", beyond.join("; ")));
        }
        let values = page.paint(Tone::Faint, "Times are those of the site.");
        page.line(&values);
    }

    fn lay(&self, grid: &mut Grid) {
        for baseline in &self.baselines {
            let line = grid.line(baseline.value);
            for column in (0..grid.columns).step_by(2) {
                grid.fill(line, column, '-');
            }
        }
        for band in &self.bands {
            lay_band(grid, &band.edges);
        }
        for mark in &self.marks {
            let column = grid.column(mark.at);
            for line in 0..LINES {
                grid.fill(line, column, '┊');
            }
        }
        for series in &self.series {
            lay_series(grid, series);
        }
    }

    /// The numbers of what was raised, each above its day; a sharp where two fall together.
    fn flags(&self, grid: &Grid) -> String {
        let mut flags = vec![' '; grid.columns];
        for (n, mark) in self.marks.iter().enumerate() {
            let number = (n + 1).to_string();
            let column = grid.column(mark.at).min(grid.columns.saturating_sub(number.len()));
            for (offset, digit) in number.chars().enumerate() {
                let cell = &mut flags[column + offset];
                *cell = if *cell == ' ' { digit } else { '#' };
            }
        }
        flags.into_iter().collect::<String>().trim_end().to_owned()
    }

    fn days(&self, grid: &Grid) -> String {
        let mut line = String::new();
        for tick in ticks(self.from, self.to, (grid.columns / 12).max(2)) {
            // The last one ends where the chart does.
            let column = grid.column(tick.at).min(grid.columns.saturating_sub(display_width(&tick.label)));
            let used = display_width(&line);
            if used == 0 || column > used {
                line.push_str(&" ".repeat(column - used));
                line.push_str(&tick.label);
            }
        }
        line
    }

    fn key(&self) -> Vec<String> {
        let series = self.series.iter().filter(|series| !series.points.is_empty());
        let series = series.map(|series| match series.dot {
            Dot::None => format!("·· {}", series.name),
            dot => format!("{} {}", dot.letter(), series.name),
        });
        let bands = self.bands.iter().map(|band| match band.edges.as_slice() {
            [_] => format!("┬◇┴ {}", band.name),
            _ => format!("░ {}", band.name),
        });
        let baselines = self
            .baselines
            .iter()
            .map(|baseline| format!("- - {}: {}", baseline.name, self.measure.spoken(baseline.value)));
        series.chain(bands).chain(baselines).collect()
    }

    /// What the axis made no room for.
    fn beyond(&self, upright: &Upright) -> Vec<String> {
        let outside = |series: &Series| {
            let outside = series.values().filter(|(_, value)| *value < upright.low || *value > upright.high);
            let told = outside.map(|(at, value)| {
                format!("{}, {} on {}", series.name, self.measure.spoken(value), at.date())
            });
            told.collect::<Vec<_>>()
        };
        self.series.iter().flat_map(outside).collect()
    }
}

fn lay_band(grid: &mut Grid, edges: &[Edge]) {
    if let [edge] = edges {
        let column = grid.column(edge.at);
        let (top, foot) = (grid.line(edge.high), grid.line(edge.low));
        for line in top..=foot {
            grid.put(line, column, '│');
        }
        grid.put(top, column, '┬');
        grid.put(foot, column, '┴');
        if let Some(expected) = edge.expected {
            grid.put(grid.line(expected), column, '◇');
        }
        return;
    }
    for pair in edges.windows(2) {
        let (one, next) = (pair[0], pair[1]);
        for column in grid.column(one.at)..=grid.column(next.at) {
            let at = grid.column_seconds(column);
            let between = |from, to| along(at, (one.at, from), (next.at, to));
            let (top, foot) =
                (grid.line(between(one.high, next.high)), grid.line(between(one.low, next.low)));
            for line in top..=foot {
                grid.fill(line, column, '░');
            }
        }
    }
}

/// The value at a time on the straight line between two.
fn along(at: f64, from: (NaiveDateTime, f64), to: (NaiveDateTime, f64)) -> f64 {
    let (start, end) = (seconds(from.0), seconds(to.0));
    let share = if end > start { ((at - start) / (end - start)).clamp(0.0, 1.0) } else { 0.0 };
    from.1 + share * (to.1 - from.1)
}

fn lay_series(grid: &mut Grid, series: &Series) {
    let values: Vec<(NaiveDateTime, f64)> = series.values().collect();
    if series.stroke != Stroke::None {
        for pair in values.windows(2) {
            for column in grid.column(pair[0].0)..=grid.column(pair[1].0) {
                let value = along(grid.column_seconds(column), pair[0], pair[1]);
                grid.put(grid.line(value), column, '·');
            }
        }
    }
    for point in series.points.iter().filter(|_| series.dot != Dot::None) {
        let (line, letter) = match point.value {
            None => (LINES - 1, series.dot.letter()),
            Some(value) if value < grid.upright.low => (LINES - 1, '▽'),
            Some(value) if value > grid.upright.high => (0, '△'),
            Some(value) => (grid.line(value), series.dot.letter()),
        };
        grid.put(line, grid.column(point.at), letter);
    }
}

#[cfg(test)]
mod tests {
    use crate::chart::example;
    use crate::output::{Looks, Page};

    fn drawn(width: u16) -> String {
        let mut page = Page::new(Looks { colour: false, width });
        example::weights().draw(&mut page);
        page.into_text()
    }

    #[test]
    fn a_chart_in_letters() {
        insta::assert_snapshot!(drawn(80));
    }

    #[test]
    fn a_narrow_terminal_has_a_narrow_chart() {
        let wide = drawn(200).lines().map(|line| line.chars().count()).max().unwrap();
        assert!(wide <= 130, "{wide}");
        for width in [40, 61, 80] {
            let text = drawn(width);
            let longest = text.lines().map(|line| line.chars().count()).max().unwrap();
            assert!(longest <= width.into(), "{longest}\n{text}");
        }
    }
}
