//! What whoever was here last has left to read: disturbances, observations, and notes with weights and feeds.

use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Known, Site, name};
use crate::views::{count, instant, some, spoken_mass};
use crate::words::Word;
use chrono::{DateTime, Utc};
use holt_proto::v1;
use holt_proto::v1::watch_event::What;
use prost_types::Timestamp;
use std::cmp::Reverse;

/// Kinds of what is left, with the singular, the plural, and the command that shows all.
const KINDS: [(&str, &str, &str); 4] = [
    ("disturbance", "disturbances", "holt disturbance list"),
    ("observation", "observations", "holt observation list"),
    ("note with a weight", "notes with weights", "holt weight list"),
    ("note with a feed", "notes with feeds", "holt feed list"),
];

type Left = (Option<DateTime<Utc>>, Line);

pub(super) fn part(known: &Known<'_>) -> Part {
    let mut kinds: [Vec<Left>; KINDS.len()] = Default::default();
    for site in known.sites {
        let at = |at: Option<Timestamp>| known.time(at, site.zone);
        let [upsets, watches, weights, feeds] = &mut kinds;
        upsets.extend(site.upsets.iter().map(|one| left(one.began_at, upset(&at(one.began_at), site, one))));
        watches
            .extend(site.watches.iter().map(|one| left(one.began_at, watch(&at(one.began_at), site, one))));
        let noted = site.weights.iter().filter(|one| !one.note.is_empty());
        weights.extend(noted.map(|one| {
            let when = if one.day_only { "that day".to_owned() } else { at(one.weighed_at) };
            left(one.weighed_at, weighed(&when, known, site, one))
        }));
        let noted = site.feeds.iter().filter(|one| !one.note.is_empty());
        feeds.extend(noted.map(|one| left(one.given_at, fed(&at(one.given_at), site, one))));
    }
    let there = || kinds.iter().zip(KINDS).filter(|(left, _)| !left.is_empty());
    let heading: Vec<String> = there().map(|(left, (one, many, _))| count(left.len(), one, many)).collect();
    let commands: Vec<String> = there().map(|(_, (_, _, command))| known.command(command)).collect();
    let mut entries: Vec<Left> = kinds.into_iter().flatten().collect();
    entries.sort_by_key(|(at, _)| Reverse(*at));
    Part {
        section: Section::SinceYesterday,
        heading: heading.join(", "),
        count: entries.len(),
        entries: entries.into_iter().map(|(_, line)| line).collect(),
        command: commands.join(", "),
        nothing: "no disturbances, observations or notes since yesterday".to_owned(),
        ..Part::default()
    }
}

fn left(at: Option<Timestamp>, line: Line) -> Left {
    (instant(at), line)
}

/// `yesterday 17:20 Weir family: alarm, a heron on the roof; calm after 10 min (Nuala Breen)`.
fn upset(at: &str, site: &Site, upset: &v1::Upset) -> Line {
    let done = some(upset.response.clone()).map(|done| format!("; {done}")).unwrap_or_default();
    let calm = upset.calm_after_minutes.map(|n| format!("; calm after {n} min")).unwrap_or_default();
    let kind = match upset.kind() {
        v1::UpsetKind::Other => "disturbance",
        kind => kind.word(),
    };
    let say = format!("{at} {}: {kind}, {}{done}{calm}{}", upset.group, upset.happened, by(&upset.recorder));
    line(site, &upset.id, Some(upset.group.clone()), say)
}

/// `06:10 Weir family: observed 15 min, 7 events (Nuala Breen); noted: Fennel limps`.
fn watch(at: &str, site: &Site, watch: &v1::Watch) -> Line {
    let lasted = if watch.ended_at.is_some() {
        format!("observed {:.0} min", watch.minutes)
    } else {
        "observation runs".to_owned()
    };
    let remarks = watch.events.iter().filter_map(|event| match &event.what {
        Some(What::Remark(note)) => Some(note.as_str()),
        _ => None,
    });
    let remarks = remarks.collect::<Vec<_>>().join("; ");
    let noted = if remarks.is_empty() { String::new() } else { format!("; noted: {remarks}") };
    let events = count(watch.events.len(), "event", "events");
    let say = format!("{at} {}: {lasted}, {events}{}{noted}", watch.group, by(&watch.watcher));
    line(site, &watch.id, Some(watch.group.clone()), say)
}

/// `06:10 Fennel: comes last (weighed 1191 g)`.
fn weighed(at: &str, known: &Known<'_>, site: &Site, weight: &v1::Weight) -> Line {
    let who = name(&weight.house_name, &weight.accession);
    let mass = match weight.mass {
        Some(mass) => format!("weighed {}", spoken_mass(mass.milligrams)),
        None => "declined the scale".to_owned(),
    };
    let place = known.place(&weight.animal_id, "");
    let say = format!("{at} {who}: {} ({mass})", weight.note);
    Line { who: Some(who.to_owned()), ..line(site, &weight.id, place, say) }
}

/// `yesterday 16:30 Weir family: slow to come (fed 900 g Trout)`.
fn fed(at: &str, site: &Site, feed: &v1::Feed) -> Line {
    let alone = feed.animal.as_ref().map(|animal| name(&animal.house_name, &animal.accession).to_owned());
    let to = alone.as_deref().unwrap_or(&feed.group);
    let given = feed.given.map(|given| spoken_mass(given.milligrams)).unwrap_or_default();
    let say = format!("{at} {to}: {} (fed {given} {})", feed.note, feed.food);
    Line { who: alone, ..line(site, &feed.id, some(feed.group.clone()), say) }
}

fn by(person: &str) -> String {
    if person.is_empty() { String::new() } else { format!(" ({person})") }
}

fn line(site: &Site, id: &str, place: Option<String>, say: String) -> Line {
    Line {
        site: Some(site.day.site.clone()),
        place,
        count: 1,
        say,
        id: some(id.to_owned()),
        rank: Rank::ToKnow,
        ..Line::default()
    }
}
