//! The page of today: what a keeper reads first in the morning, the worst first, on one page.

mod concerns;
mod due;
mod feeds;
mod layout;
mod line;
mod night;
mod out_of_group;
mod since_yesterday;
#[cfg(test)]
mod tests;

use super::concern::{CAUTION, Concern};
use super::{instant, some};
use crate::moment;
use crate::output::{Answer, Page};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use line::Line;
use prost_types::Timestamp;
use serde::Serialize;
use std::collections::HashMap;

/// Animals that a line names before it counts the others.
const NAMED: usize = 3;

/// What the server said of a group.
pub(crate) struct Group {
    pub(crate) roll: v1::GetGroupResponse,
    pub(crate) feeding: v1::GetFeedingResponse,
}

/// What the server said of a site.
pub(crate) struct Site {
    pub(crate) zone: Tz,
    pub(crate) day: v1::SiteDay,
    /// Open ones.
    pub(crate) concerns: Vec<Concern>,
    pub(crate) due: Vec<v1::DueItem>,
    /// Open ones, from and to it.
    pub(crate) transfers: Vec<v1::Transfer>,
    /// When its night began.
    pub(crate) night: DateTime<Utc>,
    pub(crate) exposures: Vec<v1::DeviceExposure>,
    pub(crate) climate: v1::GetClimateResponse,
    pub(crate) groups: Vec<Group>,
    /// Of yesterday and today, newest first, as all that follows.
    pub(crate) feeds: Vec<v1::Feed>,
    pub(crate) upsets: Vec<v1::Upset>,
    pub(crate) watches: Vec<v1::Watch>,
    pub(crate) weights: Vec<v1::Weight>,
}

/// What is so of all sites that are on the page.
struct Known<'a> {
    sites: &'a [Site],
    now: DateTime<Utc>,
    /// Names of groups by the identifiers of their members.
    groups: HashMap<&'a str, &'a str>,
    names_site: bool,
}

/// A site that is on the page.
#[derive(Serialize)]
struct Told {
    site: String,
    name: String,
    at: String,
}

/// The page.
#[derive(Serialize)]
pub(crate) struct Today {
    sites: Vec<Told>,
    lines: Vec<Line>,
    caution: &'static str,
}

impl Today {
    /// `names_site` if commands need to be told which site is meant.
    pub(crate) fn new(sites: &[Site], now: DateTime<Utc>, names_site: bool) -> Self {
        let rolls = sites.iter().flat_map(|site| &site.groups).map(|group| &group.roll);
        let members = rolls.flat_map(|roll| {
            let group = roll.group.as_ref().map_or("", |group| group.name.as_str());
            let ids = roll.members.iter().filter_map(|member| member.animal.as_ref());
            ids.map(move |animal| (animal.id.as_str(), group))
        });
        let known = Known { sites, now, groups: members.collect(), names_site };
        let parts = vec![
            concerns::part(&known),
            due::part(&known),
            due::without_check(&known),
            night::part(&known),
            feeds::part(&known),
            out_of_group::part(&known),
            since_yesterday::part(&known),
        ];
        let told = sites.iter().map(|site| Told {
            site: site.day.site.clone(),
            name: site.day.name.clone(),
            at: moment::written(now, site.zone),
        });
        let (sites, lines) = (told.collect(), layout::rows(title(sites, now), parts));
        Self { sites, lines, caution: CAUTION }
    }

    /// What the page is and is not.
    pub(crate) const fn caution(&self) -> &'static str {
        self.caution
    }
}

/// `Quillmoor Park (QUI), Tue 2026-12-01 06:12`, or of several sites their codes and times.
fn title(sites: &[Site], now: DateTime<Utc>) -> String {
    let local = |site: &Site| now.with_timezone(&site.zone);
    match sites {
        [] => String::new(),
        [site] => {
            let at = local(site).format("%a %Y-%m-%d %H:%M");
            format!("{} ({}), {at}", site.day.name, site.day.site)
        }
        [first, ..] => {
            let day = |site: &Site| local(site).date_naive();
            let each = sites.iter().map(|site| {
                let form = if day(site) == day(first) { "%H:%M" } else { "%a %H:%M" };
                format!("{} {}", site.day.site, local(site).format(form))
            });
            format!("{}: {}", local(first).format("%a %Y-%m-%d"), each.collect::<Vec<_>>().join(", "))
        }
    }
}

impl Known<'_> {
    /// A command with the sites that it must be asked for.
    fn command(&self, command: &str) -> String {
        let codes: Vec<&str> = self.sites.iter().map(|site| site.day.site.as_str()).collect();
        match codes.as_slice() {
            [first, others @ ..] if self.names_site => {
                let others =
                    if others.is_empty() { String::new() } else { format!(" ({})", others.join(", ")) };
                format!("{command} --site {first}{others}")
            }
            _ => command.to_owned(),
        }
    }

    /// The group of an animal, or else the enclosure that it lives in.
    fn place(&self, animal: &str, enclosure: &str) -> Option<String> {
        self.groups.get(animal).map(|group| (*group).to_owned()).or_else(|| some(enclosure.to_owned()))
    }

    /// The time of day, with its day unless that is today.
    fn time(&self, at: Option<Timestamp>, zone: Tz) -> String {
        let Some(at) = instant(at) else { return String::new() };
        let (local, today) = (at.with_timezone(&zone), moment::today(zone, self.now));
        let day = match (today - local.date_naive()).num_days() {
            0 => String::new(),
            1 => "yesterday ".to_owned(),
            _ => local.format("%Y-%m-%d ").to_string(),
        };
        format!("{day}{}", local.format("%H:%M"))
    }
}

/// The first names, and how many more: `Moss, Fern, Ash and 2 more`.
fn names(all: &[&str]) -> String {
    let named = if is_named_whole(all.len()) { all.len() } else { NAMED };
    let more = all.len() - named;
    let more = if more == 0 { String::new() } else { format!(" and {more} more") };
    format!("{}{more}", all[..named].join(", "))
}

/// Whether a line names so many animals: nobody is helped by "and 1 more" in place of a name.
const fn is_named_whole(animals: usize) -> bool {
    animals <= NAMED + 1
}

/// The name that people use.
fn name<'a>(house_name: &'a str, accession: &'a str) -> &'a str {
    if house_name.is_empty() { accession } else { house_name }
}

impl Answer for Today {
    type Row = Line;

    fn rows(&self) -> Vec<Line> {
        self.lines.clone()
    }

    fn page(&self, page: &mut Page) {
        let caution = textwrap::wrap(self.caution, page.width()).len() + 1;
        layout::draw(&self.lines, self.sites.len() > 1, layout::LINES.saturating_sub(caution), page);
        page.remark(self.caution);
    }
}
