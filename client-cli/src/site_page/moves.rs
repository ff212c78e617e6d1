//! Transfers with a step in these days, and what is missing of each.

use super::Contents;
use super::layout::{called, day_of, nothing, plain, signed, table, text};
use crate::words::Word;
use holt_proto::v1;
use maud::{Markup, html};

pub(super) fn part(all: &Contents) -> Markup {
    if all.day.transfers.is_empty() {
        return nothing("transfer had a step in these days");
    }
    let rows: Vec<Vec<Markup>> = all.day.transfers.iter().map(|transfer| row(all, transfer)).collect();
    let columns = ["Animal", "From", "To", "Terms", "State", "Steps", "Missing"];
    table("transfers", "Transfers with a step in these days", &columns, &rows)
}

fn row(all: &Contents, transfer: &v1::Transfer) -> Vec<Markup> {
    let steps = html! {
        ol { @for step in &transfer.steps {
            li { (day_of(step.happened_at, all.zones.of(&step.site))) ": " (plain(&step.step)) " (" (step.site) ")" }
        } }
    };
    let missing = if transfer.missing.is_empty() {
        signed("✓", "good", "nothing")
    } else {
        html! { ul { @for one in &transfer.missing { li { (signed("✗", "bad", one)) } } } }
    };
    vec![
        html! { (called(&transfer.house_name, &transfer.from_accession)) ", " i { (transfer.taxon) } },
        text(&transfer.from_site),
        text(&transfer.to_site),
        text(plain(transfer.terms().word())),
        html! { (plain(transfer.state().word())) @if transfer.withheld { ", withheld" } },
        steps,
        missing,
    ]
}
