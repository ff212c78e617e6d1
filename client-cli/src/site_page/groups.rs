//! Each group: who was in it at the close, and how each did.

use super::Contents;
use super::layout::{counts, day, day_of, named, nothing, number, plain, table, text};
use crate::views::tenth;
use crate::words::Word;
use holt_proto::notation::mass;
use holt_proto::v1;
use maud::{Markup, html};

pub(super) fn part(all: &Contents) -> Markup {
    html! {
        @if all.groups.is_empty() { (nothing("group had members at the close")) }
        @for (n, told) in all.groups.iter().enumerate() { (group(all, n, told)) }
    }
}

fn group(all: &Contents, n: usize, told: &v1::GetGroupResponse) -> Markup {
    let group = told.group.clone().unwrap_or_default();
    let rows: Vec<Vec<Markup>> = told.members.iter().map(|member| row(all, member)).collect();
    let columns = [
        "Animal",
        "Role",
        "Sex",
        "Born",
        "Last weight",
        "Compared with expected",
        "Change a week",
        "Open concerns",
    ];
    let caption = format!("{}: members at the close of {}", group.name, all.last);
    html! {
        h3 { (group.name) }
        p {
            (counts(group.members)) " males.females.unknown"
            @if !group.enclosures.is_empty() { ", in " (group.enclosures.join(", ")) }
        }
        (table(&format!("group-{n}"), &caption, &columns, &rows))
    }
}

fn row(all: &Contents, member: &v1::GroupMember) -> Vec<Markup> {
    let animal = member.animal.clone().unwrap_or_default();
    let weight = member.latest_mass.map(|mass| mass::print(mass.milligrams));
    let on = day_of(member.latest_weighed_at, all.zone);
    let percent =
        |change: Option<f64>| change.map(|change| format!("{:+.1} %", tenth(change))).unwrap_or_default();
    let concerns = all.day.concerns.iter().filter(|concern| concern.animal_id == animal.id).count();
    vec![
        text(named(&animal)),
        text(plain(member.role().word())),
        text(member.sex().word()),
        text(day(member.born_on)),
        text(weight.map_or_else(|| "never weighed".to_owned(), |weight| format!("{weight}, {on}"))),
        number(percent(member.change_percent)),
        number(percent(member.slope_percent_per_week)),
        number(concerns),
    ]
}
