//! The page on one screen: the figures of each part, and what to look at first.

use super::layout::{counts, plain, share, signed};
use super::{Contents, concerns, seal};
use crate::words::Word;
use holt_proto::v1;
use maud::{Markup, html};

/// Exceptions that are named on the first screen.
const FIRST: usize = 6;

pub(super) fn part(all: &Contents) -> Markup {
    let first = first(all);
    html! {
        dl.facts {
            div { dt { "Animals held" } dd { (counts(all.day.total)) small { " males.females.unknown" } } }
            @for answer in &all.answers {
                div { dt { "Clauses of " (answer.title) } dd { (verdicts(answer)) } }
            }
            div { dt { "Due days done in time" } dd { (in_time(&all.checks)) } }
            div { dt { "Concerns open" } dd { (concerns::open(all)) } }
            div { dt { "Overdue" } dd { (all.day.overdue.len()) } }
            div { dt { "Transfers with something missing" } dd { (missing(all)) } }
            div { dt { "Stock return" } dd { (balances(all)) } }
            div { dt { "Newest seal" } dd { (seal::short(all)) } }
        }
        @if all.answers.is_empty() {
            p { "No standard given, and the site adopted none: this page has no clauses." }
        }
        h3 { "To look at first" }
        @if first.is_empty() { p { "No exception and no open concern." } }
        @else { ul { @for line in &first { li { (line) } } } }
    }
}

fn verdicts(answer: &v1::AnswerStandardResponse) -> Markup {
    let of = |verdict| answer.answers.iter().filter(|one| one.verdict() == verdict).count();
    let counted = [
        v1::ClauseVerdict::Short,
        v1::ClauseVerdict::NoEvidence,
        v1::ClauseVerdict::NotComputed,
        v1::ClauseVerdict::NotApplicable,
    ];
    let parts: Vec<String> = counted
        .into_iter()
        .filter(|&verdict| of(verdict) > 0)
        .map(|verdict| format!("{} {}", of(verdict), plain(verdict.word())))
        .collect();
    html! {
        (of(v1::ClauseVerdict::Met)) " of " (answer.answers.len()) " met"
        @if !parts.is_empty() { small { "; " (parts.join(", ")) } }
    }
}

fn in_time(checks: &v1::GetCheckCoverageResponse) -> Markup {
    let total = checks.total.unwrap_or_default();
    html! {
        @if total.due == 0 { "none fell due" } @else { (share(total.in_time, total.due)) }
    }
}

fn missing(all: &Contents) -> Markup {
    let missing = all.day.transfers.iter().filter(|transfer| !transfer.missing.is_empty()).count();
    html! { (missing) " of " (all.day.transfers.len()) }
}

fn balances(all: &Contents) -> Markup {
    if all.stock.balances {
        signed("✓", "good", "balances")
    } else {
        signed("✗", "bad", "does not balance")
    }
}

/// The worst of the exceptions and the open concerns that ask for a look today.
fn first(all: &Contents) -> Vec<String> {
    let pressing = all.day.concerns.iter().filter(|concern| concern.level() != v1::ConcernLevel::Watch);
    let pressing = pressing.map(|concern| {
        let level = concern.level().word().to_uppercase();
        format!("{level}: {}", concerns::first_sentence(&concern.seen))
    });
    let short = all.answers.iter().flat_map(|answer| &answer.answers).filter(|answer| {
        matches!(answer.verdict(), v1::ClauseVerdict::Short | v1::ClauseVerdict::NoEvidence)
    });
    let exceptions = short.filter_map(|answer| {
        let clause = answer.clause.as_ref()?;
        let worst = answer.exceptions.first()?;
        let more = answer.denominator - answer.numerator - 1;
        let more = if more > 0 { format!(", and {more} more") } else { String::new() };
        Some(format!("Clause {}, {}: {}{more}", clause.number, worst.name, worst.what))
    });
    pressing.chain(exceptions).take(FIRST).collect()
}
