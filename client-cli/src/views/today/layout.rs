//! What has room on a page: which lines are there, and how much of each.

use super::line::{Kind, Line, Rank, Section};
use crate::output::Page;
use textwrap::core::display_width;

/// Lines of a page: those of a terminal that is not tall.
pub(super) const LINES: usize = 24;

/// Most lines of facts. In 44 columns, the caution needs four lines, and the most pressing facts have a second line each.
const ROWS: usize = 18;

/// Columns by which the second line of a fact is set in.
const HANGING: &str = "    ";

/// A section before it is known how much room it has.
#[derive(Default)]
pub(super) struct Part {
    pub(super) section: Section,
    /// In a few words; a section that has nothing to say has none.
    pub(super) heading: String,
    pub(super) count: usize,
    /// Worst first.
    pub(super) entries: Vec<Line>,
    /// Rows below its heading that it has in any case, if it has so much to say.
    pub(super) least: usize,
    /// Whether its entries say less than the command.
    pub(super) is_short: bool,
    /// What shows all of them.
    pub(super) command: String,
    /// What is so if there is nothing.
    pub(super) nothing: String,
}

/// The rows of a page: the sections that have something to say, each as far as there is room for it, and the others in
/// one line.
pub(super) fn rows(title: String, parts: Vec<Part>) -> Vec<Line> {
    let (said, silent): (Vec<Part>, Vec<Part>) = parts.into_iter().partition(|part| !part.heading.is_empty());
    let nothing: Vec<String> = silent.into_iter().map(|part| part.nothing).collect();
    let taken = 1 + said.len() + usize::from(!nothing.is_empty());
    let rooms = share(&said, ROWS.saturating_sub(taken));
    let begins = if said.is_empty() { "Nothing" } else { "Nothing else" };
    let mut lines = vec![Line { kind: Kind::Heading, say: title, rank: Rank::Now, ..Line::default() }];
    lines.extend(said.into_iter().zip(rooms).flat_map(|(part, room)| part.within(room)));
    if !nothing.is_empty() {
        let say = format!("{begins}: {}.", nothing.join("; "));
        // Cut off, it could be taken for the answer to a question that it leaves open.
        lines.push(Line { kind: Kind::Nothing, say, rank: Rank::Today, ..Line::default() });
    }
    lines
}

/// How many rows each section has below its heading: its least, and of what is left the most pressing entries first.
fn share(parts: &[Part], room: usize) -> Vec<usize> {
    let mut rooms: Vec<usize> = parts.iter().map(|part| part.entries.len().min(part.least)).collect();
    let mut left = room.saturating_sub(rooms.iter().sum());
    loop {
        // A row that says how many more there are has an entry above it.
        let step = |n: usize| if rooms[n] == 0 && parts[n].entries.len() > 1 { 2 } else { 1 };
        let fits = |n: &usize| rooms[*n] < parts[*n].entries.len() && step(*n) <= left;
        let hidden = |n: &usize| parts[*n].entries.get(rooms[*n].saturating_sub(1)).map(|entry| entry.rank);
        let Some(first) = (0..parts.len()).filter(fits).min_by_key(hidden) else { return rooms };
        let step = step(first);
        rooms[first] += step;
        left -= step;
    }
}

impl Part {
    /// Its heading, and so many rows: if that are not all, the last one says how many more there are.
    fn within(self, room: usize) -> Vec<Line> {
        let Self { section, mut heading, count, mut entries, is_short, command, .. } = self;
        let kept = if entries.len() > room { room.saturating_sub(1) } else { room };
        let hidden: usize = entries.split_off(kept.min(entries.len())).iter().map(|entry| entry.count).sum();
        let more = (room > 0 && hidden > 0).then(|| Line {
            kind: Kind::More,
            count: hidden,
            say: format!("and {hidden} more"),
            command: Some(command.clone()),
            ..Line::default()
        });
        let is_named = more.is_some() || (hidden == 0 && !is_short);
        if !is_named {
            heading.push_str(&format!(". In full: {command}"));
        }
        let command = (!is_named).then_some(command);
        let rank = entries.iter().map(|entry| entry.rank).min().unwrap_or(Rank::InTurn);
        let heading = Line { kind: Kind::Heading, say: heading, count, command, rank, ..Line::default() };
        let lines = std::iter::once(heading).chain(entries).chain(more);
        lines.map(|line| Line { section, ..line }).collect()
    }
}

/// Draws lines in so many columns and at most so many rows: each on one row, cut if need be, and on more as far as there
/// is room, the most pressing first.
pub(super) fn draw(lines: &[Line], names_site: bool, room: usize, page: &mut Page) {
    let width = page.width();
    let options = textwrap::Options::new(width)
        .subsequent_indent(HANGING)
        .word_splitter(textwrap::WordSplitter::NoHyphenation);
    let texts: Vec<_> = lines.iter().map(|line| line.text(names_site)).collect();
    let wrapped: Vec<Vec<String>> = texts
        .iter()
        .map(|(_, lead, rest)| {
            let text = format!("{lead}{rest}");
            textwrap::wrap(&text, &options).into_iter().map(String::from).collect()
        })
        .collect();
    let mut given = vec![1; lines.len()];
    let mut spare = room.saturating_sub(lines.len());
    let mut order: Vec<usize> = (0..lines.len()).collect();
    order.sort_by_key(|&n| lines[n].rank);
    for n in order {
        let more = wrapped[n].len().saturating_sub(1).min(spare);
        given[n] += more;
        spare -= more;
    }
    for ((rows, given), (tone, lead, _)) in wrapped.into_iter().zip(given).zip(&texts) {
        for (n, row) in cut(rows, given, width).into_iter().enumerate() {
            match row.strip_prefix(lead.as_str()).filter(|_| n == 0 && !lead.trim().is_empty()) {
                Some(rest) => page.drawn(&format!("{}{rest}", page.paint(*tone, lead))),
                None => page.drawn(&row),
            }
        }
    }
}

/// The first so many rows; the last of them ends in an ellipsis if there were more.
fn cut(mut rows: Vec<String>, given: usize, width: usize) -> Vec<String> {
    let hidden = rows.split_off(given.min(rows.len()));
    if let (Some(last), Some(next)) = (rows.last_mut(), hidden.first()) {
        let whole = format!("{last} {}", next.trim_start());
        let mut kept = String::new();
        for character in whole.chars() {
            kept.push(character);
            if display_width(&kept) >= width {
                kept.pop();
                break;
            }
        }
        *last = format!("{}…", kept.trim_end_matches([' ', ',', ';', ':']));
    }
    rows
}
