//! Tables without lines, which are read and copied more easily than boxes. No word of a cell is ever
//! broken: where even the words side by side are wider than the terminal, each row becomes a block.

use super::{Looks, Tone};
use comfy_table::{
    Attribute, Cell, CellAlignment, Color, ColumnConstraint, ContentArrangement, Width, presets,
};
use textwrap::core::display_width;

/// Blank columns between two columns.
const GAP: u16 = 2;

/// A table that is being filled.
pub(crate) struct Table {
    columns: Vec<String>,
    rows: Vec<Vec<(Tone, String)>>,
    right: Vec<usize>,
}

impl Table {
    /// A table with these columns; without a header where none has a name.
    pub(crate) fn new<const N: usize>(columns: [&str; N]) -> Self {
        Self { columns: columns.map(str::to_owned).into(), rows: Vec::new(), right: Vec::new() }
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
        self.rows.push(cells.into());
    }

    fn has_header(&self) -> bool {
        self.columns.iter().any(|column| !column.is_empty())
    }

    /// The table as text of that width, without a line break at its end.
    pub(super) fn draw(&self, looks: Looks) -> String {
        let Some(widths) = self.widths(looks.width) else {
            return self.blocks(looks);
        };
        let mut table = comfy_table::Table::new();
        table.load_style(presets::NOTHING).set_content_arrangement(ContentArrangement::Dynamic);
        if looks.colour {
            table.enforce_styling();
        } else {
            table.force_no_tty();
        }
        if self.has_header() {
            table.set_header(
                self.columns.iter().map(|column| Cell::new(column).add_attribute(Attribute::Bold)),
            );
        }
        for row in &self.rows {
            table.add_row(row.iter().map(|(tone, text)| cell(*tone, text)));
        }
        for (column, width) in table.column_iter_mut().zip(widths) {
            column.set_padding((0, GAP));
            column.set_constraint(ColumnConstraint::Absolute(Width::Fixed(width + GAP)));
        }
        for &column in &self.right {
            if let Some(column) = table.column_mut(column) {
                column.set_cell_alignment(CellAlignment::Right);
            }
        }
        table.trim_fmt()
    }

    /// The width of each column: that of its widest cell, where there is room for all; else the widest
    /// columns give way first, down to their longest word. None where not even that fits.
    fn widths(&self, room: u16) -> Option<Vec<u16>> {
        let texts = |column: usize| {
            let cells =
                self.rows.iter().filter_map(move |row| row.get(column)).map(|(_, text)| text.as_str());
            cells.chain([self.columns[column].as_str()])
        };
        let widest = |texts: &mut dyn Iterator<Item = &str>| {
            texts.map(display_width).max().and_then(|width| u16::try_from(width).ok()).unwrap_or(u16::MAX)
        };
        let columns = 0..self.columns.len();
        let mut widths: Vec<u16> = columns.clone().map(|column| widest(&mut texts(column))).collect();
        let narrowest: Vec<u16> = columns
            .map(|column| widest(&mut texts(column).flat_map(str::split_whitespace).chain([""])))
            .collect();
        let total = |widths: &[u16]| {
            let gaps = u32::from(GAP) * u32::try_from(widths.len().saturating_sub(1)).unwrap_or(u32::MAX);
            widths.iter().map(|&width| u32::from(width)).sum::<u32>() + gaps
        };
        while total(&widths) > u32::from(room) {
            let yields = (0..widths.len()).filter(|&column| widths[column] > narrowest[column]);
            let column = yields.max_by_key(|&column| widths[column])?;
            widths[column] -= 1;
        }
        Some(widths)
    }

    /// Each row as lines of its own, each field with its name.
    fn blocks(&self, looks: Looks) -> String {
        let block = |row: &Vec<(Tone, String)>| {
            let fields = self.columns.iter().zip(row).filter(|(_, (_, text))| !text.is_empty());
            let lines = fields.flat_map(|(column, (_, text))| {
                let line = if column.is_empty() { text.clone() } else { format!("{column}: {text}") };
                let options = textwrap::Options::new(looks.width.into()).subsequent_indent("  ");
                textwrap::wrap(&line, options).into_iter().map(String::from).collect::<Vec<_>>()
            });
            lines.collect::<Vec<_>>().join("\n")
        };
        let blocks: Vec<String> = self.rows.iter().map(block).collect();
        blocks.join(if self.has_header() { "\n\n" } else { "\n" })
    }
}

fn cell(tone: Tone, text: &str) -> Cell {
    let cell = Cell::new(text);
    match tone {
        Tone::Calm => cell,
        Tone::Faint => cell.add_attribute(Attribute::Dim),
        Tone::Strong => cell.add_attribute(Attribute::Bold),
        Tone::Warning => cell.fg(Color::DarkYellow),
        Tone::Alarm => cell.fg(Color::DarkRed).add_attribute(Attribute::Bold),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(width: u16) -> String {
        let mut table = Table::new(["Accession", "Name", "Mass"]).numbers([2]);
        table.row(["QUI-25-0001".to_owned(), "Bramble the elder".to_owned(), "8.2 kg".to_owned()]);
        table.row(["QUI-25-0002".to_owned(), "Sedge".to_owned(), "12.75 kg".to_owned()]);
        table.draw(Looks { colour: false, width })
    }

    #[test]
    fn a_table_fits_its_width_without_breaking_a_word() {
        assert_eq!(
            table(80),
            "Accession    Name                   Mass\n\
             QUI-25-0001  Bramble the elder    8.2 kg\n\
             QUI-25-0002  Sedge              12.75 kg"
        );
        assert_eq!(
            table(32),
            "Accession    Name           Mass\n\
             QUI-25-0001  Bramble      8.2 kg\n             the elder\n\
             QUI-25-0002  Sedge      12.75 kg"
        );
    }

    #[test]
    fn where_not_even_words_fit_side_by_side_each_row_is_a_block() {
        assert_eq!(
            table(22),
            "Accession: QUI-25-0001\nName: Bramble the\n  elder\nMass: 8.2 kg\n\n\
             Accession: QUI-25-0002\nName: Sedge\nMass: 12.75 kg"
        );
    }
}
