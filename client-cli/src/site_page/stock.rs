//! The animals held, by species, and the stock return.

use super::Contents;
use super::layout::{counts, nothing, table, text};
use holt_proto::v1;
use maud::{Markup, html};

pub(super) fn part(all: &Contents) -> Markup {
    let rows: Vec<Vec<Markup>> =
        all.stock.lines.iter().map(line).chain(all.stock.total.as_ref().map(line)).collect();
    let columns = [
        "Species",
        "Opening",
        "Arrived",
        "Born",
        "Died young",
        "Died later",
        "Departed",
        "Escaped",
        "Sexed",
        "Closing",
        "Balances",
    ];
    let caption = format!("Stock return, {} to {}, as males.females.unknown", all.first, all.last);
    html! {
        @if rows.is_empty() { (nothing("animal was held in these days")) }
        @else { (table("stock", &caption, &columns, &rows)) }
        p {
            "Died young: within " (all.young_days) " days of birth. Sexed: changes of sex of animals \
             already there. Young animals in litters are counted."
        }
        @if !all.stock.age_unsure.is_empty() {
            @let names: Vec<String> = all.stock.age_unsure.iter().map(super::layout::named).collect();
            p { "Counted as died later because the day of birth is not known well enough: " (names.join(", ")) "." }
        }
        @if all.stock.on_their_way > 0 {
            p { "On the way at the close, and counted here: " (all.stock.on_their_way) "." }
        }
    }
}

fn line(line: &v1::StockLine) -> Vec<Markup> {
    let species = line.taxon.as_ref().map_or_else(
        || html! { "All species" },
        |taxon| html! { i { (taxon.scientific_name) } @if !taxon.common_name.is_empty() { ", " (taxon.common_name) } },
    );
    let columns = [
        line.opening,
        line.arrived,
        line.born,
        line.died_young,
        line.died,
        line.departed,
        line.escaped,
        line.sexed,
        line.closing,
    ];
    let mut row = vec![species];
    row.extend(columns.map(counts));
    row.push(text(if line.balances { "yes" } else { "no" }));
    row
}
