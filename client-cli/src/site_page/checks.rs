//! How far checks were done: month by month, check by check, whose were not done in time, and what is overdue.

use super::Contents;
use super::layout::{called, day, named, nothing, number, plain, share, table, text};
use crate::views::check::Check;
use crate::words::Word;
use holt_proto::v1;
use maud::{Markup, html};
use std::collections::BTreeMap;

pub(super) fn part(all: &Contents) -> Markup {
    html! {
        @if all.checks.checks.is_empty() { (nothing("check fell due in these days")) }
        @else {
            (calendar(all))
            (by_check(all))
            (late(all))
        }
        (without(all))
        (overdue(all))
    }
}

/// Duties in the order of the contract.
fn duties(all: &Contents) -> Vec<v1::Duty> {
    let there: Vec<v1::Duty> =
        all.checks.checks.iter().filter_map(|one| Some(one.check.as_ref()?.duty())).collect();
    v1::Duty::ALL.iter().map(|(_, duty)| *duty).filter(|duty| there.contains(duty)).collect()
}

fn calendar(all: &Contents) -> Markup {
    let duties = duties(all);
    let mut columns = vec!["Month".to_owned()];
    columns.extend(duties.iter().map(|duty| plain(duty.word())));
    columns.push("all".to_owned());
    let columns: Vec<&str> = columns.iter().map(String::as_str).collect();
    let rows: Vec<Vec<Markup>> = all
        .months
        .iter()
        .map(|(first, month)| {
            let mut by_duty: BTreeMap<i32, (i32, i32)> = BTreeMap::new();
            for one in &month.checks {
                let counts = one.counts.unwrap_or_default();
                let duty = one.check.as_ref().map_or(0, |check| check.duty);
                let of_duty = by_duty.entry(duty).or_default();
                *of_duty = (of_duty.0 + counts.in_time, of_duty.1 + counts.due);
            }
            let cell = |(in_time, due): (i32, i32)| {
                if due == 0 { text("–") } else { number(format!("{in_time}/{due}")) }
            };
            let total = month.total.unwrap_or_default();
            let mut row = vec![text(first.format("%Y-%m").to_string())];
            row.extend(
                duties.iter().map(|duty| cell(by_duty.get(&i32::from(*duty)).copied().unwrap_or_default())),
            );
            row.push(cell((total.in_time, total.due)));
            row
        })
        .collect();
    html! {
        (table("calendar", "Due days done in time, of those due, by month", &columns, &rows))
    }
}

fn by_check(all: &Contents) -> Markup {
    let row = |name: String, counts: v1::DueCounts| {
        let numbers = [counts.due, counts.in_time, counts.late, counts.missed, counts.open];
        let mut row = vec![text(name)];
        row.extend(numbers.map(number));
        row.push(text(share(counts.in_time, counts.due)));
        row
    };
    let checks = all.checks.checks.iter().map(|one| {
        let check = Check::from(one.check.clone().unwrap_or_default());
        row(format!("{}, {}", plain(check.duty), check.spoken_scope()), one.counts.unwrap_or_default())
    });
    let total = row("All".to_owned(), all.checks.total.unwrap_or_default());
    let rows: Vec<Vec<Markup>> = checks.chain([total]).collect();
    let columns = ["Check", "Due", "In time", "Late", "Missed", "Open", "Done in time"];
    table("by-check", "Due days by check", &columns, &rows)
}

/// Animals of which a due day was not done in time.
fn late(all: &Contents) -> Markup {
    let rows: Vec<Vec<Markup>> = all
        .checks
        .checks
        .iter()
        .flat_map(|one| {
            let duty = one.check.as_ref().map(|check| plain(check.duty().word())).unwrap_or_default();
            one.short.iter().map(move |short| (duty.clone(), short))
        })
        .map(|(duty, short)| {
            let counts = short.counts.unwrap_or_default();
            let animal = short.animal.as_ref().map(named).unwrap_or_default();
            let numbers = [counts.due, counts.late, counts.missed, counts.open].map(number);
            [text(animal), text(duty)].into_iter().chain(numbers).collect()
        })
        .collect();
    if rows.is_empty() {
        return html! { p { "Every due day was done in time." } };
    }
    let columns = ["Animal", "Check", "Due", "Late", "Missed", "Open"];
    table("late", "Animals of which a due day was not done in time", &columns, &rows)
}

/// Animals for which nobody set up a check of a duty.
fn without(all: &Contents) -> Markup {
    html! {
        @for coverage in &all.day.coverage {
            @if !coverage.without_check.is_empty() {
                @let names: Vec<String> = coverage.without_check.iter().map(named).collect();
                p { strong { "Without a check to " (plain(coverage.duty().word())) ": " } (names.join(", ")) "." }
            }
        }
    }
}

fn overdue(all: &Contents) -> Markup {
    if all.day.overdue.is_empty() {
        return html! { p { "Overdue at the close of " (all.last) ": nothing." } };
    }
    let rows: Vec<Vec<Markup>> = all
        .day
        .overdue
        .iter()
        .map(|item| {
            vec![
                text(called(&item.house_name, &item.accession)),
                text(plain(item.duty().word())),
                text(day(item.due_on)),
                number(item.days_late),
                text(item.last_done_on.map_or_else(|| "never".to_owned(), |on| on.to_string())),
            ]
        })
        .collect();
    let caption = format!("Overdue at the close of {}", all.last);
    table("overdue", &caption, &["Animal", "Check", "Due since", "Days late", "Last done"], &rows)
}
