//! Who is away from their group, and still has something due.

use super::due::{is_overdue, what};
use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Group, Known, Site, name};
use crate::views::count;
use holt_proto::v1;
use std::collections::HashMap;

pub(super) fn part(known: &Known<'_>) -> Part {
    let mut entries: Vec<Line> = known.sites.iter().flat_map(|site| of_site(known, site)).collect();
    entries.sort_by_key(|line| line.rank);
    let groups: usize = known.sites.iter().map(|site| site.groups.len()).sum();
    let heading = if entries.is_empty() {
        String::new()
    } else {
        format!("{} with something due", count(entries.len(), "animal", "animals"))
    };
    let nothing =
        if groups == 0 { "no groups".to_owned() } else { "nobody due is away from the group".to_owned() };
    Part {
        section: Section::OutOfGroup,
        heading,
        count: entries.len(),
        entries,
        command: known.command("holt due"),
        nothing,
        ..Part::default()
    }
}

fn of_site(known: &Known<'_>, site: &Site) -> Vec<Line> {
    let mut away: HashMap<&str, String> = HashMap::new();
    for group in &site.groups {
        away.extend(elsewhere(group).map(|(animal, enclosure)| (animal, format!("in {enclosure}"))));
    }
    let leaving = site.transfers.iter().filter(|transfer| {
        transfer.state() == v1::TransferState::Dispatched && transfer.from_site == site.day.site
    });
    away.extend(
        leaving.map(|transfer| (transfer.animal_id.as_str(), format!("on the way to {}", transfer.to_site))),
    );
    let mut lines: Vec<(&str, Line)> = Vec::new();
    for item in &site.due {
        let Some(where_to) = away.get(item.animal_id.as_str()) else { continue };
        let duty = what(item.duty());
        match lines.iter_mut().find(|(animal, _)| *animal == item.animal_id) {
            Some((_, line)) => line.say.push_str(&format!(", {duty}")),
            None => lines.push((&item.animal_id, line(known, site, item, where_to, &duty))),
        }
    }
    lines.into_iter().map(|(_, line)| line).collect()
}

/// `Fern (Weir family) is in Quiet Room: weigh`.
fn line(known: &Known<'_>, site: &Site, item: &v1::DueItem, where_to: &str, duty: &str) -> Line {
    let who = name(&item.house_name, &item.accession);
    let group = known.groups.get(item.animal_id.as_str()).map(|group| (*group).to_owned());
    let of = group.as_ref().map(|group| format!(" ({group})")).unwrap_or_default();
    Line {
        site: Some(site.day.site.clone()),
        state: if is_overdue(item) { "overdue" } else { "due" },
        who: Some(who.to_owned()),
        count: 1,
        say: format!("{who}{of} is {where_to}: {duty}"),
        place: group,
        rank: if is_overdue(item) { Rank::Today } else { Rank::InTurn },
        ..Line::default()
    }
}

/// Members that live elsewhere than most of their group does.
fn elsewhere(group: &Group) -> impl Iterator<Item = (&str, &str)> {
    let mut lives: HashMap<&str, usize> = HashMap::new();
    let housed = || group.roll.members.iter().filter(|member| !member.enclosure.is_empty());
    for member in housed() {
        *lives.entry(&member.enclosure).or_default() += 1;
    }
    let all: usize = lives.values().sum();
    let home = lives.into_iter().find(|(_, members)| 2 * members > all).map(|(enclosure, _)| enclosure);
    housed().filter_map(move |member| {
        let animal = member.animal.as_ref()?;
        (home? != member.enclosure).then_some((animal.id.as_str(), member.enclosure.as_str()))
    })
}
