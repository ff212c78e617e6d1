//! Facts, the histories that they make, and what became of them when they were corrected.

use super::concern::Concern;
use super::{CHECKED_ONLY, instant, short, some, spoken, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::session::Zones;
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A fact as it was known.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Fact {
    kind: &'static str,
    /// The day at the site, or the time.
    pub(super) at: Option<String>,
    ended_at: Option<String>,
    pub(super) say: String,
    site: String,
    recorded_at: Option<String>,
    recorded_by: Option<String>,
    /// Where another site than the one that it is about recorded it.
    recorded_at_site: Option<String>,
    superseded_at: Option<String>,
    superseded_because: Option<String>,
    /// The record for which it was entered, if a merge joined that to the animal.
    entered_for: Option<String>,
    /// Whether a merge sets it aside.
    set_aside: bool,
    /// `added` or `gone`, where it was asked what changed.
    change: Option<&'static str>,
    id: String,
}

impl Fact {
    pub(crate) fn new(fact: v1::Fact, zone: Tz) -> Self {
        let (kind, change) = (fact.kind().word(), fact.change().word());
        let at = instant(fact.happened_at).map(|at| {
            if fact.day_only { moment::today(zone, at).to_string() } else { moment::written(at, zone) }
        });
        let elsewhere = Some(fact.recorded_at_site).filter(|site| !site.is_empty() && *site != fact.site);
        Self {
            kind,
            at,
            ended_at: written(fact.ended_at, zone),
            say: fact.say,
            site: fact.site,
            recorded_at: written(fact.recorded_at, zone),
            recorded_by: some(fact.recorded_by),
            recorded_at_site: elsewhere,
            superseded_at: written(fact.superseded_at, zone),
            superseded_because: some(fact.superseded_because),
            entered_for: some(fact.entered_for),
            set_aside: fact.set_aside,
            change: Some(change).filter(|change| !change.is_empty()),
            id: fact.id,
        }
    }
}

fn minute(text: &Option<String>) -> String {
    text.as_deref().map(|text| text.get(..16).unwrap_or(text).replace('T', " ")).unwrap_or_default()
}

fn day_of(text: &Option<String>) -> String {
    text.as_deref().and_then(|text| text.get(..10)).unwrap_or_default().to_owned()
}

/// Who recorded it; of another site's people, the site.
fn by(fact: &Fact) -> String {
    let site = || fact.recorded_at_site.as_ref().map(|site| format!("at {site}"));
    fact.recorded_by.clone().or_else(site).unwrap_or_default()
}

fn table(facts: &[Fact], page: &mut Page) {
    let changes = facts.iter().any(|fact| fact.change.is_some());
    let mut table = Table::new(["", "When", "What", "Site", "Recorded", "By", "Id"]);
    for fact in facts {
        let gone = fact.change == Some("gone");
        let mut say = fact.say.clone();
        if let Some(ended) = &fact.ended_at {
            say = format!("{say}, until {}", minute(&Some(ended.clone())));
        }
        if let Some(why) = &fact.superseded_because {
            say = format!("{say} ({why})");
        }
        if let Some(record) = &fact.entered_for {
            say = format!("{say} [entered for {record}]");
        }
        if fact.set_aside {
            say = format!("{say} [set aside by a merge]");
        }
        let tone = if gone || fact.set_aside { Tone::Faint } else { Tone::Calm };
        let sign = match fact.change {
            Some("gone") => "-",
            Some(_) => "+",
            None => "",
        };
        table.toned([
            (tone, if changes { sign.to_owned() } else { String::new() }),
            (tone, minute(&fact.at)),
            (tone, say),
            (tone, fact.site.clone()),
            (tone, day_of(&fact.recorded_at)),
            (tone, by(fact)),
            (tone, short(&fact.id).to_owned()),
        ]);
    }
    page.table(&table);
}

/// The history of an animal.
#[derive(Serialize)]
pub(crate) struct History {
    accession: String,
    house_name: Option<String>,
    animal_id: String,
    /// None where it was asked as known at an instant.
    version: Option<i64>,
    facts: Vec<Fact>,
}

impl History {
    pub(crate) fn new(history: v1::GetHistoryResponse, zones: &Zones) -> Self {
        let facts = history.facts.into_iter().map(|fact| {
            let zone = zones.of(&fact.site);
            Fact::new(fact, zone)
        });
        Self {
            accession: history.accession,
            house_name: some(history.house_name),
            animal_id: history.animal_id,
            version: Some(history.version).filter(|version| *version > 0),
            facts: facts.collect(),
        }
    }
}

impl Answer for History {
    type Row = Fact;

    fn rows(&self) -> Vec<Fact> {
        self.facts.clone()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&spoken(self.house_name.as_deref(), &self.accession));
        if self.facts.is_empty() {
            page.line("Nothing changed.");
        } else {
            table(&self.facts, page);
        }
    }
}

/// The parents that were recorded of an animal.
#[derive(Serialize)]
pub(crate) struct Parents {
    animal: String,
    recorded: bool,
    facts: Vec<Fact>,
}

impl Parents {
    pub(crate) fn new(animal: String, facts: Vec<v1::Fact>, check_only: bool, zone: Tz) -> Self {
        let facts = facts.into_iter().map(|fact| Fact::new(fact, zone)).collect();
        Self { animal, recorded: !check_only, facts }
    }
}

impl Answer for Parents {
    type Row = Fact;

    fn rows(&self) -> Vec<Fact> {
        self.facts.clone()
    }

    fn page(&self, page: &mut Page) {
        if !self.recorded {
            page.line(CHECKED_ONLY);
        }
        let parents: Vec<&str> = self.facts.iter().map(|fact| fact.say.as_str()).collect();
        page.line(&format!("Parents of {}: {}.", self.animal, parents.join("; ")));
    }
}

/// What became of a fact.
#[derive(Serialize)]
pub(crate) struct Corrected {
    /// What was known before.
    before: Fact,
    struck_out: bool,
    recorded: bool,
    /// What stands now.
    facts: Vec<Fact>,
    concerns: Vec<Concern>,
}

impl Corrected {
    pub(crate) fn new(
        before: v1::Fact,
        facts: Vec<v1::Fact>,
        concerns: Vec<v1::Concern>,
        struck_out: bool,
        check_only: bool,
        zones: &Zones,
    ) -> Self {
        let view = |fact: v1::Fact| {
            let zone = zones.of(&fact.site);
            Fact::new(fact, zone)
        };
        Self {
            before: view(before),
            struck_out,
            recorded: !check_only,
            facts: facts.into_iter().map(view).collect(),
            concerns: concerns.into_iter().map(|concern| Concern::new(concern, zones)).collect(),
        }
    }
}

impl Answer for Corrected {
    type Row = Fact;

    fn rows(&self) -> Vec<Fact> {
        self.facts.clone()
    }

    fn page(&self, page: &mut Page) {
        if !self.recorded {
            page.line(CHECKED_ONLY);
        }
        page.line(&format!("{}: {}", if self.struck_out { "Withdrawn" } else { "It was" }, self.before.say));
        for (n, fact) in self.facts.iter().enumerate() {
            let lead = if n == 0 && !self.struck_out { "It is" } else { "Also changed" };
            let at = if fact.at.is_some() { format!(", {}", minute(&fact.at)) } else { String::new() };
            page.line(&format!("{lead}: {}{at}", fact.say));
        }
        for concern in &self.concerns {
            page.line(&format!("Concern: {}", concern.seen));
        }
    }
}
