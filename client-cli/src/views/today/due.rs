//! What is due and overdue, and whom no check asks for.

use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Known, is_named_whole, name, names};
use crate::views::{count, some};
use crate::words::Word;
use holt_proto::v1;
use std::cmp::Reverse;
use std::collections::BTreeSet;

/// Duties that a check can be of.
const DUTIES: [v1::Duty; 2] = [v1::Duty::Weigh, v1::Duty::Assess];

/// What is due in the same way for several animals of a group.
struct Bucket<'a> {
    site: &'a str,
    place: Option<String>,
    items: Vec<&'a v1::DueItem>,
}

pub(super) fn is_overdue(item: &v1::DueItem) -> bool {
    item.state() == v1::DueState::Overdue
}

/// What is to be done: `weigh`, `weigh again`.
pub(super) fn what(duty: v1::Duty) -> String {
    match duty {
        v1::Duty::EndLoan => "end or prolong the loan of".to_owned(),
        duty => duty.word().replace('-', " "),
    }
}

pub(super) fn part(known: &Known<'_>) -> Part {
    let mut buckets: Vec<Bucket<'_>> = Vec::new();
    for site in known.sites {
        for item in &site.due {
            let place = known.place(&item.animal_id, &item.enclosure);
            let of = |item: &v1::DueItem| (item.state, item.duty, item.by_whom.clone());
            let same = |bucket: &&mut Bucket<'_>| {
                bucket.site == site.day.site && bucket.place == place && of(bucket.items[0]) == of(item)
            };
            match buckets.iter_mut().find(same) {
                Some(bucket) => bucket.items.push(item),
                None => buckets.push(Bucket { site: &site.day.site, place, items: vec![item] }),
            }
        }
    }
    let items: Vec<bool> =
        buckets.iter().flat_map(|bucket| &bucket.items).map(|item| is_overdue(item)).collect();
    let overdue = items.iter().filter(|is_overdue| **is_overdue).count();
    let due = items.len() - overdue;
    buckets.sort_by_key(|bucket| (Reverse(is_overdue(bucket.items[0])), Reverse(bucket.days_late())));
    let heading = match (overdue, due) {
        (0, 0) => String::new(),
        (overdue, 0) => format!("{overdue} overdue"),
        (0, due) => format!("{due} due today or in grace"),
        (overdue, due) => format!("{overdue} overdue, {due} due today or in grace"),
    };
    Part {
        section: Section::Due,
        heading,
        count: overdue + due,
        entries: buckets.iter().map(Bucket::line).collect(),
        least: 3,
        command: known.command("holt due"),
        nothing: "nothing due by the checks recorded".to_owned(),
        ..Part::default()
    }
}

impl Bucket<'_> {
    fn days_late(&self) -> i32 {
        self.items.iter().map(|item| item.days_late).max().unwrap_or_default()
    }

    fn line(&self) -> Line {
        let first = self.items[0];
        let all: Vec<&str> = self.items.iter().map(|item| name(&item.house_name, &item.accession)).collect();
        let (who, many) = (names(&all), all.len() > 1);
        let place = self.place.as_ref().map(|place| format!("{place}: ")).unwrap_or_default();
        let number = if many { format!(" {}:", all.len()) } else { String::new() };
        let late = if is_overdue(first) {
            let days = count(usize::try_from(self.days_late()).unwrap_or_default(), "day", "days");
            format!(", {}{days}", if many { "up to " } else { "" })
        } else {
            String::new()
        };
        let declined = self.items.iter().filter(|item| item.tried_on.is_some()).count();
        let declined = match (declined, many) {
            (0, _) => String::new(),
            (_, false) => "; declined the scale".to_owned(),
            (n, true) => format!("; {n} declined the scale"),
        };
        let by = some(first.by_whom.clone()).map(|by| format!(" ({by})")).unwrap_or_default();
        Line {
            site: Some(self.site.to_owned()),
            state: first.state().word(),
            place: self.place.clone(),
            count: all.len(),
            say: format!("{place}{}{number} {who}{late}{declined}{by}", what(first.duty())),
            who: Some(who),
            rank: if is_overdue(first) { Rank::Today } else { Rank::InTurn },
            ..Line::default()
        }
    }
}

/// Animals of which nothing can be overdue, because no check asks for it.
pub(super) fn without_check(known: &Known<'_>) -> Part {
    let days = || known.sites.iter().map(|site| &site.day);
    let of = |duty: v1::Duty| {
        let coverage = days().flat_map(|day| &day.coverage).filter(move |coverage| coverage.duty() == duty);
        (what(duty), coverage.flat_map(|coverage| &coverage.without_check).collect::<Vec<_>>())
    };
    let each: Vec<_> = DUTIES.map(of).into_iter().filter(|(_, animals)| !animals.is_empty()).collect();
    let say = |duty: &str, animals: &[&v1::AnimalLabel]| {
        let all: Vec<&str> = animals.iter().map(|one| name(&one.house_name, &one.accession)).collect();
        format!("{} to {duty} ({})", all.len(), names(&all))
    };
    let heading = match each.as_slice() {
        [(first, animals), (second, same)] if animals == same => {
            say(&format!("{first} or {second}"), animals)
        }
        each => each.iter().map(|(duty, animals)| say(duty, animals)).collect::<Vec<_>>().join(", "),
    };
    let ids: BTreeSet<&str> =
        each.iter().flat_map(|(_, animals)| animals).map(|one| one.id.as_str()).collect();
    let held: i64 =
        days().filter_map(|day| day.total).map(|held| held.males + held.females + held.unknown).sum();
    let nothing =
        if held == 0 { "no animals".to_owned() } else { "no identified animal without a check".to_owned() };
    Part {
        section: Section::WithoutCheck,
        heading,
        count: ids.len(),
        is_short: each.iter().any(|(_, animals)| !is_named_whole(animals.len())),
        command: known.command("holt report"),
        nothing,
        ..Part::default()
    }
}
