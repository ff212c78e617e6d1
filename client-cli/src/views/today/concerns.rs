//! Who needs a look.

use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Known, name};
use crate::views::concern::Concern;
use crate::views::short;
use std::cmp::Reverse;

pub(super) fn part(known: &Known<'_>) -> Part {
    let mut open: Vec<&Concern> = known.sites.iter().flat_map(|site| &site.concerns).collect();
    open.sort_by_key(|concern| (rank(concern), Reverse(concern.age_days)));
    let urgent = open.iter().filter(|concern| rank(concern) == Rank::Now).count();
    let for_vet =
        open.iter().filter(|concern| rank(concern) <= Rank::Today && is_of_animals(concern)).count();
    let full = if known.sites.len() > 1 {
        "holt concern list --all-sites".to_owned()
    } else {
        known.command("holt concern list")
    };
    let heading = if open.is_empty() {
        String::new()
    } else {
        let urgent = if urgent == 0 { String::new() } else { format!(", {urgent} urgent") };
        let vet = if for_vet == 0 { String::new() } else { format!("; ask your vet about {for_vet}") };
        format!("{} open{urgent}{vet}", open.len())
    };
    Part {
        section: Section::Concerns,
        heading,
        count: open.len(),
        entries: open.into_iter().map(|concern| line(concern, known)).collect(),
        least: 4,
        is_short: true,
        command: full,
        nothing: "no open concerns".to_owned(),
    }
}

/// Whether a vet can help: nobody calls one to a lamp or a scale.
fn is_of_animals(concern: &Concern) -> bool {
    !["climate", "device-silent", "scale-off"].contains(&concern.about)
}

fn rank(concern: &Concern) -> Rank {
    match concern.level {
        "urgent" => Rank::Now,
        "act" => Rank::Today,
        _ => Rank::InTurn,
    }
}

fn line(concern: &Concern, known: &Known<'_>) -> Line {
    let who = concern.spoken();
    let group = known.groups.get(concern.animal_id.as_str()).map(|group| (*group).to_owned());
    let spoken = match (&group, concern.animal_id.is_empty()) {
        (_, true) => who.clone(),
        (group, false) => {
            let name = name(concern.house_name.as_deref().unwrap_or_default(), &concern.accession);
            group.as_ref().map_or_else(|| name.to_owned(), |group| format!("{name} ({group})"))
        }
    };
    let seen = concern.seen_first();
    let seen = match seen.strip_prefix(&who) {
        Some(rest) => format!("{spoken}{rest}"),
        None => format!("{spoken}: {seen}"),
    };
    let taken_on = concern.taken_up_by.as_ref().map(|by| format!("; taken on by {by}")).unwrap_or_default();
    let id = concern.id.as_ref().map(|id| format!(" [{}]", short(id))).unwrap_or_default();
    Line {
        site: Some(concern.site.clone()),
        state: concern.level,
        who: Some(who),
        place: group.or_else(|| concern.enclosure.clone()),
        count: 1,
        say: format!("{seen}{taken_on}{id}"),
        id: concern.id.clone(),
        rank: rank(concern),
        ..Line::default()
    }
}
