//! What is planned to be fed today, and what was left over.

use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Known, Site, name};
use crate::moment;
use crate::views::{count, spoken_mass};
use holt_proto::v1;

pub(super) fn part(known: &Known<'_>) -> Part {
    let mut entries = Vec::new();
    let (mut groups, mut planned) = (0, 0);
    for site in known.sites {
        groups += site.groups.len();
        planned += site.groups.iter().filter(|group| !plan(&group.feeding).is_empty()).count();
        entries.extend(site.groups.iter().filter_map(|group| of_group(known, site, &group.feeding)));
        entries.extend(alone(site));
    }
    let heading = if entries.is_empty() {
        String::new()
    } else {
        let of = if planned == groups { String::new() } else { format!(" of {groups}") };
        format!("{planned}{of} {}", if groups == 1 { "group has a plan" } else { "groups have a plan" })
    };
    Part {
        section: Section::Feeds,
        heading,
        count: planned,
        entries,
        command: known.command("holt feed list --from yesterday"),
        nothing: "no feeds planned or recorded".to_owned(),
        ..Part::default()
    }
}

fn plan(feeding: &v1::GetFeedingResponse) -> &[v1::PlannedFeed] {
    feeding.plan.as_ref().map_or(&[], |plan| &plan.feeds)
}

/// `Weir family: left over 60 g of 900 g Trout (yesterday 16:00); planned 06:30 900 g Trout; 1 given so far`.
fn of_group(known: &Known<'_>, site: &Site, feeding: &v1::GetFeedingResponse) -> Option<Line> {
    let group = &feeding.group;
    let given: Vec<&v1::Feed> = site.feeds.iter().filter(|feed| feed.group == *group).collect();
    let today = moment::today(site.zone, known.now).to_string();
    let is_today = |feed: &v1::Feed| feed.given_on.is_some_and(|day| day.to_string() == today);
    let planned: Vec<String> = plan(feeding)
        .iter()
        .map(|one| format!("{} {} {}", one.time_of_day, mass(one.mass), one.food))
        .collect();
    if planned.is_empty() && given.is_empty() {
        return None;
    }
    let planned =
        if planned.is_empty() { "no plan".to_owned() } else { format!("planned {}", planned.join(", ")) };
    let left = left_over(known, site, &given).map(|left| format!("{left}; ")).unwrap_or_default();
    let so_far = given.iter().filter(|feed| is_today(feed)).count();
    let so_far = if so_far > 0 { format!("; {so_far} given so far") } else { String::new() };
    let unknown = given.iter().filter(|feed| !is_today(feed) && feed.left.is_none()).count();
    let unknown = if unknown > 0 {
        format!("; leftovers of {} not recorded", count(unknown, "feed", "feeds"))
    } else {
        String::new()
    };
    Some(Line {
        site: Some(site.day.site.clone()),
        place: Some(group.clone()),
        count: 1,
        say: format!("{group}: {left}{planned}{so_far}{unknown}"),
        rank: Rank::ToKnow,
        ..Line::default()
    })
}

/// Animals that were fed alone and left something.
fn alone(site: &Site) -> impl Iterator<Item = Line> {
    let left = site.feeds.iter().filter_map(|feed| Some((feed, feed.animal.as_ref()?, some_left(feed)?)));
    left.map(|(feed, animal, left)| {
        let who = name(&animal.house_name, &animal.accession);
        Line {
            site: Some(site.day.site.clone()),
            who: Some(who.to_owned()),
            count: 1,
            say: format!("{who}, fed alone: left over {} of {} {}", left, mass(feed.given), feed.food),
            rank: Rank::ToKnow,
            ..Line::default()
        }
    })
}

/// `left over 60 g of 900 g Trout (yesterday 16:00)`.
fn left_over(known: &Known<'_>, site: &Site, given: &[&v1::Feed]) -> Option<String> {
    let each: Vec<String> = given
        .iter()
        .filter_map(|feed| {
            let (left, at) = (some_left(feed)?, known.time(feed.given_at, site.zone));
            Some(format!("{left} of {} {} ({at})", mass(feed.given), feed.food))
        })
        .collect();
    (!each.is_empty()).then(|| format!("left over {}", each.join(", ")))
}

fn some_left(feed: &v1::Feed) -> Option<String> {
    feed.left.filter(|left| left.milligrams > 0).map(|left| spoken_mass(left.milligrams))
}

fn mass(mass: Option<v1::Mass>) -> String {
    mass.map(|mass| spoken_mass(mass.milligrams)).unwrap_or_default()
}
