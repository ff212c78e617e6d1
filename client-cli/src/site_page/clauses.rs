//! The clauses of each standard with their answers, worst first, and every exception by name.

use super::Contents;
use super::layout::{nothing, plain, share, signed, table, text};
use crate::words::Word;
use holt_proto::v1;
use maud::{Markup, html};

pub(super) fn part(all: &Contents) -> Markup {
    html! {
        @if all.answers.is_empty() { (nothing("standard given, and the site adopted none")) }
        @for (n, answer) in all.answers.iter().enumerate() { (standard(n, answer)) }
    }
}

fn standard(n: usize, answer: &v1::AnswerStandardResponse) -> Markup {
    let version = match answer.version_basis() {
        v1::VersionBasis::Adopted => "the one that the site adopted",
        v1::VersionBasis::Last => "the newest one: the site adopted none",
        _ => "the one that was asked for",
    };
    let rows: Vec<Vec<Markup>> = answer.answers.iter().map(row).collect();
    let caption = format!("{}: clauses and answers, worst first", answer.title);
    let columns = ["Clause", "What it asks", "Answer", "Fulfilled", "Asked for", "Remark"];
    html! {
        h3 { (answer.title) }
        p {
            (answer.source) ", " (answer.year) ". Version " (answer.version) " here, " (version)
            ". Clauses are in Holt's own words: read the source."
        }
        (table(&format!("clauses-{n}"), &caption, &columns, &rows))
        @for one in answer.answers.iter().filter(|one| !one.exceptions.is_empty()) { (exceptions(one)) }
        @if !answer.unshown.is_empty() { (unshown(&answer.unshown)) }
    }
}

fn row(answer: &v1::ClauseAnswer) -> Vec<Markup> {
    let clause = answer.clause.clone().unwrap_or_default();
    let fulfilled = match answer.verdict() {
        v1::ClauseVerdict::NotComputed | v1::ClauseVerdict::NotApplicable => text("–"),
        _ => text(share(answer.numerator, answer.denominator)),
    };
    let asked = crate::views::standard::Clause::from(clause.clone()).asked();
    let remark = [answer.remark.as_str(), clause.note.as_str()];
    let remark: Vec<&str> = remark.into_iter().filter(|part| !part.is_empty()).collect();
    vec![
        text(&clause.number),
        text(&clause.text),
        verdict(answer.verdict()),
        fulfilled,
        html! { (plain(clause.evidence().word())) ": " (asked) },
        text(remark.join(" ")),
    ]
}

fn verdict(verdict: v1::ClauseVerdict) -> Markup {
    let (sign, class) = match verdict {
        v1::ClauseVerdict::Met => ("✓", "good"),
        v1::ClauseVerdict::Short => ("✗", "bad"),
        v1::ClauseVerdict::NoEvidence => ("?", "bad"),
        _ => ("–", "calm"),
    };
    signed(sign, class, &plain(verdict.word()))
}

fn exceptions(answer: &v1::ClauseAnswer) -> Markup {
    let clause = answer.clause.clone().unwrap_or_default();
    html! {
        h4 { "Exceptions to clause " (clause.number) }
        ul.exceptions {
            @for one in &answer.exceptions { li { strong { (one.name) } ": " (one.what) } }
            @if answer.more_exceptions > 0 { li { "and " (answer.more_exceptions) " more" } }
        }
    }
}

fn unshown(unshown: &[v1::UnshownClause]) -> Markup {
    html! {
        h4 { "What no record can show" }
        ul { @for one in unshown { li { strong { (one.number) } " " (one.text) " " (one.why) } } }
    }
}
