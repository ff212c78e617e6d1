//! Concerns that were raised in these days or still open at their end, and how they were answered.

use super::Contents;
use super::layout::{called, day_of, nothing, plain, signed, table, text};
use crate::views::short;
use crate::words::Word;
use holt_proto::time::instant;
use holt_proto::v1;
use maud::{Markup, html};
use std::collections::BTreeSet;

pub(super) fn part(all: &Contents) -> Markup {
    let concerns = of_these_days(all);
    if concerns.is_empty() {
        return nothing("concern was raised in these days or open at their close");
    }
    let rows: Vec<Vec<Markup>> = concerns.iter().map(|concern| row(all, concern)).collect();
    let columns = ["Concern", "Level", "Raised on", "What was seen", "How it was answered"];
    html! {
        p { "As known at the time of this page. Worst first." }
        (table("concerns", "Concerns raised in these days or open at their close", &columns, &rows))
    }
}

/// `3 (1 urgent, 2 watch)`.
pub(super) fn open(all: &Contents) -> Markup {
    let open = &all.day.concerns;
    let levels = [v1::ConcernLevel::Urgent, v1::ConcernLevel::Act, v1::ConcernLevel::Watch];
    let of = |level| open.iter().filter(|concern| concern.level() == level).count();
    let parts: Vec<String> = levels
        .into_iter()
        .filter(|&level| of(level) > 0)
        .map(|level| format!("{} {}", of(level), level.word().to_uppercase()))
        .collect();
    html! { (open.len()) @if !parts.is_empty() { small { " (" (parts.join(", ")) ")" } } }
}

/// The first sentence of what was seen.
pub(super) fn first_sentence(seen: &str) -> String {
    let first = seen.split_once(". ").map_or(seen, |(first, _)| first);
    format!("{}.", first.trim_end_matches('.'))
}

/// Worst first, as the server lists them.
fn of_these_days(all: &Contents) -> Vec<&v1::Concern> {
    let open: BTreeSet<&str> = all.day.concerns.iter().map(|concern| concern.id.as_str()).collect();
    let raised_here = |concern: &&v1::Concern| {
        let raised = concern.raised_at.and_then(|at| instant(at).ok());
        let on = raised.map(|at| at.with_timezone(&all.zone).date_naive());
        open.contains(concern.id.as_str()) || on.is_some_and(|on| on >= all.first && on <= all.last)
    };
    all.concerns.iter().filter(raised_here).collect()
}

fn row(all: &Contents, concern: &v1::Concern) -> Vec<Markup> {
    let who = if concern.animal_id.is_empty() {
        let about = [&concern.taxon, &concern.device].into_iter().find(|text| !text.is_empty());
        let about = about.map_or("", String::as_str);
        if concern.enclosure.is_empty() {
            about.to_owned()
        } else {
            format!("{about} in {}", concern.enclosure)
        }
    } else {
        called(&concern.house_name, &concern.accession)
    };
    vec![
        html! { (who) ", " (plain(concern.kind().word())) " " code { (short(&concern.id)) } },
        level(concern.level()),
        text(day_of(concern.raised_at, all.zone)),
        text(&concern.seen),
        text(answered(all, concern)),
    ]
}

fn level(level: v1::ConcernLevel) -> Markup {
    let (sign, class) = match level {
        v1::ConcernLevel::Urgent => ("‼", "bad"),
        v1::ConcernLevel::Act => ("!", "bad"),
        _ => ("·", "calm"),
    };
    signed(sign, class, &level.word().to_uppercase())
}

fn answered(all: &Contents, concern: &v1::Concern) -> String {
    match concern.state() {
        v1::ConcernState::Settled => {
            let on = day_of(concern.changed_at, all.zone);
            let settled_as = plain(concern.settled_as().word());
            let settled_as = if settled_as.is_empty() { settled_as } else { format!(" as {settled_as}") };
            format!("Closed{settled_as}, last changed on {on}: {}", concern.settled_because)
        }
        v1::ConcernState::TakenUp if concern.taken_up_by.is_empty() => "Taken on.".to_owned(),
        v1::ConcernState::TakenUp => format!("Taken on by {}.", concern.taken_up_by),
        _ => "Nobody took it on.".to_owned(),
    }
}
