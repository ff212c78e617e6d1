//! A text for people: lines that keep to the width, tables, and colour where it helps.

use super::{Looks, Table};

/// How something is meant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tone {
    /// As everything else.
    Calm,
    /// Beside the point.
    Faint,
    /// A heading.
    Strong,
    /// To be looked at.
    Warning,
    /// To be looked at first.
    Alarm,
}

impl Tone {
    const fn code(self) -> &'static str {
        match self {
            Self::Calm => "",
            Self::Faint => "2",
            Self::Strong => "1",
            Self::Warning => "33",
            Self::Alarm => "1;31",
        }
    }
}

/// A text that is being written.
pub(crate) struct Page {
    text: String,
    looks: Looks,
}

impl Page {
    pub(crate) const fn new(looks: Looks) -> Self {
        Self { text: String::new(), looks }
    }

    pub(crate) fn into_text(self) -> String {
        self.text
    }

    /// A text in a tone, where there is colour.
    pub(crate) fn paint(&self, tone: Tone, text: &str) -> String {
        if self.looks.colour && tone != Tone::Calm && !text.is_empty() {
            format!("\x1b[{}m{text}\x1b[0m", tone.code())
        } else {
            text.to_owned()
        }
    }

    /// A paragraph, wrapped.
    pub(crate) fn line(&mut self, text: &str) {
        self.hanging(text, 0);
    }

    /// A paragraph whose further lines are set in.
    pub(crate) fn hanging(&mut self, text: &str, indent: usize) {
        // What is set in more than that would be a column of single words.
        let width = usize::from(self.looks.width).max(indent + 16);
        let blank = " ".repeat(indent);
        for part in text.split('\n') {
            let start = part.len() - part.trim_start_matches(' ').len();
            let (lead, words) = part.split_at(start);
            let options = textwrap::Options::new(width)
                .initial_indent(lead)
                .subsequent_indent(&blank)
                .word_splitter(textwrap::WordSplitter::NoHyphenation)
                .break_words(false);
            for line in textwrap::wrap(words, options) {
                self.text.push_str(line.trim_end());
                self.text.push('\n');
            }
        }
    }

    /// A paragraph, set in as a whole.
    pub(crate) fn indented(&mut self, text: &str, indent: usize) {
        self.hanging(&format!("{}{text}", " ".repeat(indent)), indent);
    }

    /// A heading, with a blank line before it unless it is the first.
    pub(crate) fn heading(&mut self, text: &str) {
        if !self.text.is_empty() {
            self.gap();
        }
        let text = self.paint(Tone::Strong, text);
        self.line(&text);
    }

    /// Something beside the point, with a blank line before it.
    pub(crate) fn remark(&mut self, text: &str) {
        if text.is_empty() {
            return;
        }
        self.gap();
        let text = self.paint(Tone::Faint, text);
        self.line(&text);
    }

    /// A blank line.
    pub(crate) fn gap(&mut self) {
        self.text.push('\n');
    }

    /// Columns that there are.
    pub(crate) fn width(&self) -> usize {
        self.looks.width.into()
    }

    /// A line as it stands, which nothing wraps.
    pub(crate) fn drawn(&mut self, line: &str) {
        self.text.push_str(line.trim_end());
        self.text.push('\n');
    }

    /// A table.
    pub(crate) fn table(&mut self, table: &Table) {
        self.table_set_in(table, 0);
    }

    /// A table, set in as a whole.
    pub(crate) fn table_set_in(&mut self, table: &Table, indent: u16) {
        let width = self.looks.width.saturating_sub(indent);
        let blank = " ".repeat(indent.into());
        for line in table.draw(Looks { width, ..self.looks }).lines() {
            self.text.push_str(format!("{blank}{line}").trim_end());
            self.text.push('\n');
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLAIN: Looks = Looks { colour: false, width: 30 };

    #[test]
    fn lines_keep_to_the_width_and_to_their_indent() {
        let mut page = Page::new(PLAIN);
        page.hanging("  row 7: there is no animal `Brmble` that you may see", 4);
        assert_eq!(page.into_text(), "  row 7: there is no animal\n    `Brmble` that you may see\n");
    }

    #[test]
    fn colour_is_there_only_where_it_was_decided_and_takes_no_room() {
        let page = Page::new(PLAIN);
        assert_eq!(page.paint(Tone::Alarm, "urgent"), "urgent");
        let mut page = Page::new(Looks { colour: true, ..PLAIN });
        let word = page.paint(Tone::Alarm, "urgent");
        assert_eq!(word, "\u{1b}[1;31murgent\u{1b}[0m");
        page.line(&format!("{word} and thirty columns wide"));
        let text = page.into_text();
        assert_eq!(text.lines().count(), 1, "30 columns, and the colour: {text}");
    }
}
