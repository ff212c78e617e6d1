//! The packet of a transfer: what the sender knows of an animal, and whom it would meet.

use super::animal::Animal;
use super::assessment::Assessment;
use super::check::Check;
use super::concern::Concern;
use super::fact::Fact;
use super::feeding::Plan;
use super::kinship::Figure;
use super::life_state::LifeState;
use super::transfer::Transfer;
use super::upset::Upset;
use super::weight::Weight;
use super::{Thing, some, spoken, spoken_mass};
use crate::output::{Answer, Page, Table};
use crate::session::Zones;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// Readings that are shown on a page; all of them are in JSON.
const SHOWN: usize = 8;

/// How it stood in its group.
#[derive(Clone, Serialize)]
struct Standing {
    hours_watched: f64,
    won: i32,
    lost: i32,
    feeds_kept_off: i32,
    feeds_seen: i32,
    scans_alone: i32,
    scans_seen: i32,
    /// Estimate that it is at risk in that group, from 0 to 1.
    exclusion_risk: Option<f64>,
    certainty: Option<&'static str>,
    seen: Vec<String>,
}

/// An animal that it would meet.
#[derive(Clone, Serialize)]
struct Receiving {
    accession: Option<String>,
    house_name: Option<String>,
    sex: &'static str,
    age_years: Option<i32>,
    kinship: f64,
    known: f64,
    enclosure: Option<String>,
}

/// A packet.
#[derive(Serialize)]
pub(crate) struct Packet {
    transfer: Transfer,
    animal: Animal,
    life: Vec<Fact>,
    more_life: bool,
    inbreeding: Figure,
    assumption: String,
    weights: Vec<Weight>,
    concerns: Vec<Concern>,
    states: Vec<LifeState>,
    group: Option<String>,
    feed_plan: Option<Plan>,
    standing: Option<Standing>,
    disturbances: Vec<Upset>,
    checks: Vec<Check>,
    assessments: Vec<Assessment>,
    receiving: Vec<Receiving>,
    caution: String,
}

/// A line of it.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    about: &'static str,
    at: Option<String>,
    what: String,
}

impl From<v1::ReceivingAnimal> for Receiving {
    fn from(one: v1::ReceivingAnimal) -> Self {
        let sex = one.sex().word();
        let label = one.animal.unwrap_or_default();
        Self {
            accession: some(label.accession),
            house_name: some(label.house_name),
            sex,
            age_years: one.age_years,
            kinship: one.kinship,
            known: one.known,
            enclosure: some(one.enclosure),
        }
    }
}

fn standing(
    member: Option<v1::MemberStanding>,
    exclusion: Option<v1::ExclusionEstimate>,
    hours_watched: f64,
) -> Option<Standing> {
    let member = member?;
    let (kept_off, alone) = (member.kept_off_food.unwrap_or_default(), member.alone.unwrap_or_default());
    Some(Standing {
        hours_watched,
        won: member.won,
        lost: member.lost,
        feeds_kept_off: kept_off.hits,
        feeds_seen: kept_off.of,
        scans_alone: alone.hits,
        scans_seen: alone.of,
        exclusion_risk: exclusion.as_ref().map(|one| one.probability),
        certainty: exclusion.as_ref().map(|one| one.certainty().word()),
        seen: exclusion.map(|one| one.parts.into_iter().map(|part| part.seen).collect()).unwrap_or_default(),
    })
}

impl Packet {
    pub(crate) fn new(packet: v1::GetPacketResponse, zones: &Zones) -> Self {
        let transfer = packet.transfer.unwrap_or_default();
        let zone = zones.of(&transfer.from_site);
        Self {
            transfer: Transfer::new(transfer, zones),
            animal: Animal::new(packet.animal.unwrap_or_default(), zone),
            life: packet.life.into_iter().map(|fact| Fact::new(fact, zone)).collect(),
            more_life: packet.more_life,
            inbreeding: packet.inbreeding.into(),
            assumption: packet.assumption,
            weights: packet.weights.into_iter().map(|one| Weight::new(one, zone)).collect(),
            concerns: packet.concerns.into_iter().map(|one| Concern::new(one, zones)).collect(),
            states: packet.states.into_iter().map(|one| LifeState::new(one, zone)).collect(),
            group: some(packet.group),
            feed_plan: packet.feed_plan.map(Plan::from),
            standing: standing(packet.standing, packet.exclusion, packet.hours_watched),
            disturbances: packet.upsets.into_iter().map(|one| Upset::new(one, zone)).collect(),
            checks: packet.checks.into_iter().map(Check::from).collect(),
            assessments: packet.assessments.into_iter().map(|one| Assessment::new(one, zone)).collect(),
            receiving: packet.receiving.into_iter().map(Receiving::from).collect(),
            caution: packet.caution,
        }
    }

    fn social(&self, page: &mut Page) {
        page.heading("Group");
        match (&self.group, &self.standing) {
            (None, _) => page.line("In no group."),
            (Some(group), None) => page.line(&format!("{group}. Nobody observed it in the last weeks.")),
            (Some(group), Some(standing)) => {
                page.line(&format!(
                    "{group}, observed for {:.1} hours: won {}, lost {}; kept off food at {} of {} feeds; \
                     alone in {} \
                     of {} scans.",
                    standing.hours_watched,
                    standing.won,
                    standing.lost,
                    standing.feeds_kept_off,
                    standing.feeds_seen,
                    standing.scans_alone,
                    standing.scans_seen,
                ));
                if let (Some(risk), Some(certainty)) = (standing.exclusion_risk, standing.certainty) {
                    page.line(&format!("Exclusion risk {:.0} %, certainty {certainty}.", 100.0 * risk));
                }
                for seen in &standing.seen {
                    page.hanging(&format!("  {seen}"), 4);
                }
            }
        }
    }

    fn whom_it_meets(&self, page: &mut Page) {
        page.heading(&format!("At {}", self.transfer.to_site));
        if self.receiving.is_empty() {
            page.line("You may see no animal of its species there.");
            return;
        }
        let mut table =
            Table::new(["Animal", "Sex", "Years", "Kinship", "Ancestry known", "Enclosure"]).numbers([3]);
        for one in &self.receiving {
            let accession = one.accession.as_deref();
            table.row([
                accession.map(|number| spoken(one.house_name.as_deref(), number)).unwrap_or_default(),
                one.sex.to_owned(),
                one.age_years.map(|years| years.to_string()).unwrap_or_default(),
                format!("{:.4}", one.kinship),
                format!("{:.0} %", 100.0 * one.known),
                one.enclosure.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}

fn showed(weight: &Weight) -> String {
    weight.mass_mg.map_or_else(|| "declined the scale".to_owned(), spoken_mass)
}

fn day_of(fact: &Fact) -> &str {
    let at = fact.at.as_deref().unwrap_or("day unknown");
    at.get(..10).unwrap_or(at)
}

fn calmed(upset: &Upset) -> String {
    let response = upset.response.as_ref().map(|done| format!("; done: {done}")).unwrap_or_default();
    let calm = upset.calm_after_minutes.map(|n| format!("; calm after {n} min")).unwrap_or_default();
    format!("{}{response}{calm}", upset.happened)
}

fn duty(check: &Check) -> String {
    format!("{} of {}, {}", check.duty, check.spoken_scope(), check.spoken_rhythm())
}

/// A section of which there may be none.
fn section<T: Thing>(page: &mut Page, heading: &str, none: &str, things: &[T]) {
    page.heading(heading);
    if things.is_empty() {
        page.line(none);
    } else {
        T::table(things, page);
    }
}

impl Answer for Packet {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |about: &'static str, at: Option<String>, what: String| Row { about, at, what };
        let mut rows = vec![row("inbreeding", None, self.inbreeding.spoken())];
        rows.extend(self.concerns.iter().map(|one| {
            row("concern", one.raised_at.clone(), format!("{}: {}", one.level.to_uppercase(), one.seen))
        }));
        rows.extend(self.life.iter().map(|one| row("life", one.at.clone(), one.say.clone())));
        rows.extend(self.weights.iter().map(|one| row("weight", one.weighed_on.clone(), showed(one))));
        rows.extend(self.feed_plan.iter().flat_map(Plan::lines).map(|line| row("feed", None, line)));
        let seen = self.standing.iter().flat_map(|standing| &standing.seen);
        rows.extend(seen.map(|seen| row("group", None, seen.clone())));
        rows.extend(
            self.disturbances.iter().map(|one| row("disturbance", one.began_at.clone(), calmed(one))),
        );
        rows.extend(self.checks.iter().map(|one| row("check", None, duty(one))));
        rows
    }

    fn page(&self, page: &mut Page) {
        self.transfer.paragraph(page);
        page.heading("Concerns");
        if self.concerns.is_empty() {
            page.line("No open concern.");
        }
        for concern in &self.concerns {
            let line = concern.line(page);
            page.hanging(&line, 2);
        }
        section(page, "Life states", "None recorded.", &self.states);
        page.heading("Weights");
        for weight in self.weights.iter().take(SHOWN) {
            page.line(&format!("{}  {}", weight.spoken_time(), showed(weight)));
        }
        match self.weights.len() {
            0 => page.line("No weights in the last year."),
            n if n > SHOWN => {
                let masses = self.weights.iter().filter_map(|one| one.mass_mg);
                let (least, most) =
                    masses.fold((i64::MAX, 0), |(least, most), mg| (least.min(mg), most.max(mg)));
                page.line(&format!("{n} in all, {} to {}.", spoken_mass(least), spoken_mass(most)));
            }
            _ => {}
        }
        self.social(page);
        section(page, "Disturbances", "None recorded.", &self.disturbances);
        page.heading("Feed");
        match &self.feed_plan {
            Some(plan) => plan.lines().iter().for_each(|line| page.line(line)),
            None => page.line("No feeding plan."),
        }
        section(page, "Checks", "None.", &self.checks);
        section(page, "Assessments", "None.", &self.assessments);
        page.heading("Life");
        for fact in &self.life {
            page.hanging(&format!("{}  {}", day_of(fact), fact.say), 12);
        }
        if self.more_life {
            page.line("There is more. Use `holt history` once you hold the animal.");
        }
        page.heading("Kin");
        page.line(&format!("Inbreeding {}. {}.", self.inbreeding.spoken(), self.inbreeding.certainty()));
        page.line(&self.assumption);
        self.whom_it_meets(page);
        page.remark(&self.caution);
    }
}
