//! What the parts of the page share: sections, tables, times.

use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::{time, v1};
use maud::{Markup, html};
use prost_types::Timestamp;

/// A part of the page under its heading.
pub(super) fn part(id: &str, title: &str, content: &Markup) -> Markup {
    html! {
        section id=(id) aria-labelledby={ (id) "-title" } {
            h2 id={ (id) "-title" } { (title) }
            (content)
        }
    }
}

/// A table that can be moved sideways where it is wider than the screen. The first cell of each row names it.
pub(super) fn table(id: &str, caption: &str, columns: &[&str], rows: &[Vec<Markup>]) -> Markup {
    html! {
        div.wide tabindex="0" role="region" aria-labelledby={ (id) "-caption" } {
            table {
                caption id={ (id) "-caption" } { span { (caption) } }
                thead { tr { @for column in columns { th scope="col" { (column) } } } }
                tbody {
                    @for row in rows {
                        tr {
                            @for (n, cell) in row.iter().enumerate() {
                                @if n == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A cell of text.
pub(super) fn text(text: impl AsRef<str>) -> Markup {
    html! { (text.as_ref()) }
}

/// A cell with a number.
#[expect(clippy::needless_pass_by_value, reason = "numbers, and texts made for this")]
pub(super) fn number(number: impl ToString) -> Markup {
    html! { span.number { (number.to_string()) } }
}

/// A word with a sign before it, so that it is found without colour.
pub(super) fn signed(sign: &str, class: &str, word: &str) -> Markup {
    html! { span class={ "signed " (class) } { span aria-hidden="true" { (sign) } " " (word) } }
}

/// An instant as the site's clocks showed it, for machines, too.
pub(super) fn time(at: DateTime<Utc>, zone: Tz) -> Markup {
    let local = at.with_timezone(&zone);
    html! { time datetime=(local.to_rfc3339()) { (local.format("%Y-%m-%d %H:%M %Z")) } }
}

/// The day of an instant at the site.
pub(super) fn day_of(at: Option<Timestamp>, zone: Tz) -> String {
    let at = at.and_then(|at| time::instant(at).ok());
    at.map(|at| at.with_timezone(&zone).date_naive().to_string()).unwrap_or_default()
}

/// A day as far as it is known.
pub(super) fn day(day: Option<v1::Day>) -> String {
    day.map(|day| day.to_string()).unwrap_or_default()
}

/// An animal as people name it.
pub(super) fn named(animal: &v1::AnimalLabel) -> String {
    called(&animal.house_name, &animal.accession)
}

/// The same of its parts.
pub(super) fn called(house_name: &str, accession: &str) -> String {
    crate::views::spoken(Some(house_name).filter(|name| !name.is_empty()), accession)
}

/// Counts as the trade writes them.
pub(super) fn counts(counts: Option<v1::Counts>) -> Markup {
    number(counts.unwrap_or_default())
}

/// `180 of 200 (90 %)`.
pub(super) fn share(part: i32, of: i32) -> String {
    if of == 0 {
        return "0 of 0".to_owned();
    }
    format!("{part} of {of} ({:.0} %)", 100.0 * f64::from(part) / f64::from(of))
}

/// A word of the contract for people: `not-computed` as `not computed`.
pub(super) fn plain(word: &str) -> String {
    word.replace('-', " ")
}

/// Said where there is nothing to list.
pub(super) fn nothing(what: &str) -> Markup {
    html! { p { "No " (what) "." } }
}
