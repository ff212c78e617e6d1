//! One page of a group: who is in it and how each does, what calls for a look, and what the day asks for.

mod today;

pub(crate) use today::Today;

use super::climate::State as House;
use super::concern::Concern;
use super::due::Item;
use super::weight_chart::value;
use super::{instant, some, spoken_mass, tenth, written};
use crate::chart::sparkline::sparkline;
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;
use std::collections::HashSet;

/// Estimates below this are not worth a keeper's glance: most members have one.
const WORTH_A_GLANCE: f64 = 0.1;
/// Columns of a terminal that has room for a run of weights beside each member.
const WIDE: usize = 100;
/// Most readings of it that are drawn.
const DRAWN: usize = 12;

/// What the server said of a group and of its site.
pub(crate) struct Answers {
    pub(crate) roll: v1::GetGroupResponse,
    pub(crate) standing: v1::GetStandingResponse,
    /// Readings of the site over the last weeks, newest first.
    pub(crate) weights: Vec<v1::Weight>,
    pub(crate) concerns: Vec<v1::Concern>,
    pub(crate) due: Vec<v1::DueItem>,
    pub(crate) houses: Vec<v1::DeviceState>,
    pub(crate) today: Today,
}

/// A member and how it does.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Member {
    accession: String,
    house_name: Option<String>,
    role: &'static str,
    latest_mass_mg: Option<i64>,
    latest_weighed_at: Option<String>,
    /// Of its latest mass against what is usual for it, in %.
    change_percent: Option<f64>,
    /// Of its mass over the last weeks, in % a week.
    slope_percent_per_week: Option<f64>,
    /// Place by David's score, from 1; none where nothing was decided.
    place: Option<usize>,
    david_normalised: Option<f64>,
    /// Share of its scans in which it was by itself.
    alone: Option<f64>,
    /// Estimate that it is being pushed out, from 0 to 1.
    pushed_out: Option<f64>,
    concerns: usize,
    id: String,
    #[serde(skip)]
    weighed_at: Option<DateTime<Utc>>,
    /// Its masses of the last weeks, oldest first, mg.
    #[serde(skip)]
    recent: Vec<Option<f64>>,
}

/// The page.
#[derive(Serialize)]
pub(crate) struct GroupDay {
    site: String,
    group: String,
    at: String,
    /// males.females.unknown
    counted: String,
    enclosures: Vec<String>,
    members: Vec<Member>,
    hours_watched: f64,
    concerns: Vec<Concern>,
    houses: Vec<House>,
    #[serde(flatten)]
    today: Today,
    due: Vec<Item>,
    #[serde(skip)]
    now: DateTime<Utc>,
    #[serde(skip)]
    zone: Tz,
}

impl GroupDay {
    pub(crate) fn new(answers: Answers, zones: &crate::session::Zones, now: DateTime<Utc>) -> Self {
        let group = answers.roll.group.unwrap_or_default();
        let zone = zones.of(&group.site);
        let ids: HashSet<&str> = answers
            .roll
            .members
            .iter()
            .filter_map(|member| member.animal.as_ref().map(|animal| animal.id.as_str()))
            .collect();
        let here = |concern: &v1::Concern| {
            ids.contains(concern.animal_id.as_str()) || group.enclosures.contains(&concern.enclosure)
        };
        let concerns: Vec<v1::Concern> = answers.concerns.into_iter().filter(here).collect();
        let due = answers.due.into_iter().filter(|item| ids.contains(item.animal_id.as_str()));
        let due = due.map(Item::from).collect();
        let decided = answers.standing.members.iter().any(|member| member.david.is_some());
        let members = answers.roll.members.iter().map(|member| {
            let animal = member.animal.clone().unwrap_or_default();
            let of_it =
                |label: &Option<v1::AnimalLabel>| label.as_ref().is_some_and(|one| one.id == animal.id);
            let standing = answers.standing.members.iter().enumerate().find(|(_, one)| of_it(&one.animal));
            let estimate = answers.standing.pushed_out.iter().find(|one| of_it(&one.animal));
            Member {
                role: member.role().word(),
                latest_mass_mg: member.latest_mass.map(|mass| mass.milligrams),
                latest_weighed_at: written(member.latest_weighed_at, zone),
                weighed_at: instant(member.latest_weighed_at),
                change_percent: member.change_percent,
                slope_percent_per_week: member.slope_percent_per_week,
                place: standing.filter(|_| decided).map(|(n, _)| n + 1),
                david_normalised: standing.and_then(|(_, one)| one.david_normalised),
                alone: standing.and_then(|(_, one)| one.alone?.share),
                pushed_out: estimate.map(|one| one.probability),
                recent: recent(&answers.weights, &animal.id),
                concerns: concerns.iter().filter(|concern| concern.animal_id == animal.id).count(),
                accession: animal.accession,
                house_name: some(animal.house_name),
                id: animal.id,
            }
        });
        Self {
            at: moment::written(now, zone),
            counted: group.members.unwrap_or_default().to_string(),
            members: members.collect(),
            hours_watched: answers.standing.hours,
            concerns: concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
            houses: answers.houses.into_iter().map(|state| House::new(state, zone)).collect(),
            today: answers.today,
            due,
            site: group.site,
            group: group.name,
            enclosures: group.enclosures,
            now,
            zone,
        }
    }
}

/// The masses of an animal among the readings of a site that count, oldest first.
fn recent(weights: &[v1::Weight], animal: &str) -> Vec<Option<f64>> {
    let counts = |weight: &&v1::Weight| {
        weight.animal_id == animal && !weight.awaits_second && weight.method() != v1::WeighingMethod::Estimate
    };
    weights.iter().rev().filter(counts).map(|weight| weight.mass.map(value)).collect()
}

impl Member {
    fn trend(&self) -> String {
        let change = self.change_percent.map(|change| format!("{:+.1} %", tenth(change)));
        let slope = self.slope_percent_per_week.map(|slope| format!("{:+.1}/wk", tenth(slope)));
        change.into_iter().chain(slope).collect::<Vec<_>>().join(" ")
    }

    fn standing(&self) -> String {
        let place = self.place.map(|place| format!("{place}."));
        let alone = self.alone.map(|share| format!("{:.0} %", 100.0 * share));
        place.into_iter().chain(alone).collect::<Vec<_>>().join(", ")
    }
}

impl Answer for GroupDay {
    type Row = Member;

    fn rows(&self) -> Vec<Member> {
        self.members.clone()
    }

    fn page(&self, page: &mut Page) {
        let lives = if self.enclosures.is_empty() {
            String::new()
        } else {
            format!(", in {}", self.enclosures.join(", "))
        };
        let now = self.now.with_timezone(&self.zone).format("%A %Y-%m-%d, %H:%M");
        page.heading(&format!("{}, {now}", self.group));
        page.line(&format!("{} (males.females.unknown){lives}", self.counted));
        page.gap();
        for concern in &self.concerns {
            page.hanging(&concern.line(page), 2);
        }
        if self.concerns.is_empty() {
            page.line("No concerns.");
        }
        page.gap();
        // If there is no room for it, the column has neither name nor content.
        let is_wide = page.width() >= WIDE;
        let ten_weeks = if is_wide { "Ten weeks" } else { "" };
        let mut table = Table::new([
            "Animal",
            "Role",
            "Weighed last",
            "Compared with usual",
            "Rank, alone",
            "Exclusion risk",
            ten_weeks,
        ]);
        for member in &self.members {
            let tone = if member.concerns > 0 { Tone::Warning } else { Tone::Calm };
            let weighed = member.latest_mass_mg.map(spoken_mass).unwrap_or_default();
            let on = member.weighed_at.map(|at| at.with_timezone(&self.zone).format("%-d %b").to_string());
            let estimate = member.pushed_out.filter(|estimate| *estimate >= WORTH_A_GLANCE);
            table.toned([
                // On one page of one group, a house name is enough.
                (tone, member.house_name.clone().unwrap_or_else(|| member.accession.clone())),
                (Tone::Calm, member.role.to_owned()),
                (Tone::Calm, on.map_or(weighed.clone(), |on| format!("{weighed}, {on}"))),
                (tone, member.trend()),
                (Tone::Calm, member.standing()),
                (tone, estimate.map(|estimate| format!("{estimate:.2}")).unwrap_or_default()),
                (Tone::Calm, if is_wide { sparkline(&member.recent, DRAWN) } else { String::new() }),
            ]);
        }
        page.table(&table);
        page.gap();
        for house in &self.houses {
            let line = house.line(page, self.now);
            page.hanging(&line, 2);
        }
        self.today.page(page);
        for line in super::due::lines(&self.due) {
            page.hanging(&line, 2);
        }
        if self.due.is_empty() {
            page.line("No check is due.");
        }
        let watched = if self.hours_watched > 0.0 {
            format!("Standing rests on {:.1} hours of observation.", self.hours_watched)
        } else {
            "Nobody observed this group recently: its standing is not known.".to_owned()
        };
        page.remark(&format!(
            "{watched} Holt shows what is on record. It is not a diagnosis and does not replace your vet, \
             your licence or local law."
        ));
    }
}
