//! Tables without lines, which are read and copied more easily than boxes.

use super::{Looks, Tone};
use comfy_table::{Attribute, Cell, CellAlignment, Color, ContentArrangement, TableStyle, presets};

const STYLE: TableStyle = presets::NOTHING;

/// A table that is being filled.
pub(crate) struct Table {
    inner: comfy_table::Table,
    right: Vec<usize>,
}

impl Table {
    /// A table with these columns.
    pub(crate) fn new<const N: usize>(columns: [&str; N]) -> Self {
        let mut inner = comfy_table::Table::new();
        inner.load_style(STYLE).set_content_arrangement(ContentArrangement::Dynamic);
        if columns.iter().any(|column| !column.is_empty()) {
            inner.set_header(columns.map(|column| Cell::new(column).add_attribute(Attribute::Bold)));
        }
        Self { inner, right: Vec::new() }
    }

    /// The same with these columns set to the right, for numbers.
    pub(crate) fn numbers<const N: usize>(mut self, columns: [usize; N]) -> Self {
        self.right.extend(columns);
        self
    }

    /// Adds a row.
    pub(crate) fn row<const N: usize>(&mut self, cells: [String; N]) {
        self.toned(cells.map(|cell| (Tone::Calm, cell)));
    }

    /// Adds a row whose cells have tones.
    pub(crate) fn toned<const N: usize>(&mut self, cells: [(Tone, String); N]) {
        self.inner.add_row(cells.map(|(tone, text)| {
            let cell = Cell::new(text);
            match tone {
                Tone::Calm => cell,
                Tone::Faint => cell.add_attribute(Attribute::Dim),
                Tone::Strong => cell.add_attribute(Attribute::Bold),
                Tone::Warning => cell.fg(Color::DarkYellow),
                Tone::Alarm => cell.fg(Color::DarkRed).add_attribute(Attribute::Bold),
            }
        }));
    }

    /// The table as text of that width, without a line break at its end.
    pub(super) fn draw(&self, looks: Looks) -> String {
        let mut table = self.inner.clone();
        table.set_width(looks.width);
        if looks.colour {
            table.enforce_styling();
        } else {
            table.force_no_tty();
        }
        for column in table.column_iter_mut() {
            column.set_padding((0, 2));
        }
        for &column in &self.right {
            if let Some(column) = table.column_mut(column) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        table.trim_fmt()
    }
}
