//! Concerns.

use super::row::row;
use super::{Thing, count, short, some, spoken, written};
use crate::output::{Answer, Page, Table, Tone};
use crate::session::Zones;
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// What a concern is and is not, where the server's answer does not say it.
pub(crate) const CAUTION: &str = "Holt shows what is on record. It is not a diagnosis and does not replace \
    your vet, your licence or local law.";

/// A number that a concern rests on.
#[derive(Clone, Serialize)]
pub(crate) struct Figure {
    name: String,
    value: f64,
    unit: String,
    low: Option<f64>,
    high: Option<f64>,
}

impl Figure {
    /// `weight change: -8.1 % (-9.4 to -6.8)`.
    fn spoken(&self) -> String {
        let interval = self.low.zip(self.high).map(|(low, high)| format!(" ({low} to {high})"));
        format!("{}: {}{}", self.name, with_unit(self.value, &self.unit), interval.unwrap_or_default())
    }
}

/// A concern.
#[derive(Clone, Serialize)]
pub(crate) struct Concern {
    pub(crate) level: &'static str,
    pub(crate) state: &'static str,
    pub(crate) about: &'static str,
    pub(crate) site: String,
    pub(crate) accession: String,
    pub(crate) house_name: Option<String>,
    /// Of the group or device that it is about; none where it is about one animal.
    pub(super) enclosure: Option<String>,
    taxon: Option<String>,
    device: Option<String>,
    pub(super) age_days: i32,
    pub(crate) seen: String,
    look_first: Option<String>,
    figures: Vec<Figure>,
    pub(super) raised_at: Option<String>,
    changed_at: Option<String>,
    pub(super) taken_up_by: Option<String>,
    settled_because: Option<String>,
    /// Of concerns about weight.
    settled_as: Option<&'static str>,
    /// Empty where it is about no one animal.
    pub(super) animal_id: String,
    record_ids: Vec<String>,
    /// None where it was not raised, but would be.
    pub(crate) id: Option<String>,
    version: i64,
}

row! {
    /// A concern as a line.
    Row of one: Concern {
        level, state, about, site, accession, house_name, enclosure, taxon, device, age_days, seen, look_first,
        figures: one.figures.iter().map(Figure::spoken).collect::<Vec<_>>(), raised_at, changed_at, taken_up_by,
        settled_because, settled_as, id, version,
    }
}

impl Concern {
    pub(crate) fn new(concern: v1::Concern, zones: &Zones) -> Self {
        let zone = zones.of(&concern.site);
        let figures = concern.figures.iter().map(|figure| Figure {
            name: figure.name.clone(),
            value: figure.value,
            unit: figure.unit.clone(),
            low: figure.low,
            high: figure.high,
        });
        Self {
            level: concern.level().word(),
            state: concern.state().word(),
            about: concern.kind().word(),
            age_days: concern.age_days,
            settled_as: Some(concern.settled_as().word()).filter(|word| !word.is_empty()),
            figures: figures.collect(),
            raised_at: written(concern.raised_at, zone),
            changed_at: written(concern.changed_at, zone),
            site: concern.site,
            accession: concern.accession,
            house_name: some(concern.house_name),
            enclosure: some(concern.enclosure),
            taxon: some(concern.taxon),
            device: some(concern.device),
            seen: concern.seen,
            look_first: some(concern.look_first),
            taken_up_by: some(concern.taken_up_by),
            settled_because: some(concern.settled_because),
            animal_id: concern.animal_id,
            record_ids: concern.record_ids,
            id: some(concern.id),
            version: concern.version,
        }
    }

    /// One that was not raised, but would be: it has no identifier yet.
    pub(crate) fn not_yet(self) -> Self {
        Self { id: None, ..self }
    }

    /// `Bramble (QUI-25-0001)`, `Lontra canadensis in Weir`, or `Burrow lamp in Burrow House`.
    pub(crate) fn spoken(&self) -> String {
        if let (Some(enclosure), Some(who)) = (&self.enclosure, self.taxon.as_ref().or(self.device.as_ref()))
        {
            return format!("{who} in {enclosure}");
        }
        spoken(self.house_name.as_deref(), &self.accession)
    }

    /// It in one line: how soon to look, who, and what was seen first of all.
    pub(crate) fn line(&self, page: &Page) -> String {
        let (tone, soon) = match self.level {
            "urgent" => (Tone::Alarm, "URGENT"),
            "act" => (Tone::Warning, "ACT"),
            _ => (Tone::Strong, "NEXT ROUND"),
        };
        let id = self.id.as_ref().map(|id| format!(" [{}]", short(id))).unwrap_or_default();
        format!("{} {}{id}", page.paint(tone, soon), self.seen_first())
    }

    /// What was seen first of all, without its full stop.
    pub(super) fn seen_first(&self) -> &str {
        let seen = self.seen.split_once(". ").map_or(self.seen.as_str(), |(first, _)| first);
        seen.trim_end_matches('.')
    }

    /// It with everything that a person needs to judge it.
    pub(crate) fn paragraph(&self, page: &mut Page) {
        let (tone, soon) = match self.level {
            "urgent" => (Tone::Alarm, "URGENT, look now"),
            "act" => (Tone::Warning, "ACT, look today"),
            _ => (Tone::Strong, "NEXT ROUND"),
        };
        let soon = if self.state == "closed" { "CLOSED" } else { soon };
        let age = match self.age_days {
            0 => "raised today".to_owned(),
            days => format!("{} old", count(usize::try_from(days).unwrap_or_default(), "day", "days")),
        };
        let id = self.id.as_ref().map(|id| format!("  [{}]", short(id))).unwrap_or_default();
        let head = format!("{}  {} at {}, {age}{id}", page.paint(tone, soon), self.spoken(), self.site);
        page.line(&head);
        page.indented(&self.seen, 2);
        if let Some(look) = self.look_first.as_ref().filter(|_| self.state != "closed") {
            page.indented(&format!("Look first: {look}"), 2);
        }
        if self.about == "exclusion-risk" && self.state != "closed" {
            page.indented(&format!("Find a home elsewhere: `holt partners find {}`.", self.accession), 2);
        }
        let mut table = Table::new(["", "", ""]).numbers([1]);
        for figure in &self.figures {
            let value = for_people(figure.value, &figure.unit);
            let interval = figure.low.zip(figure.high).map(|(low, high)| format!("({low} to {high})"));
            table.row([figure.name.clone(), value, interval.unwrap_or_default()]);
        }
        if !self.figures.is_empty() {
            page.table_set_in(&table, 4);
        }
        match (&self.taken_up_by, &self.settled_because) {
            (_, Some(because)) => {
                let settled_as = self.settled_as.map(|word| format!(" as {}", word.replace('-', " ")));
                page.indented(&format!("Closed{}: {because}", settled_as.unwrap_or_default()), 2);
            }
            (Some(person), None) => page.indented(&format!("Taken on by {person}."), 2),
            (None, None) => page.indented("Nobody has taken it on.", 2),
        }
    }
}

/// What is tiny is told as tiny: nobody reads a row of noughts.
fn for_people(value: f64, unit: &str) -> String {
    const TINY: f64 = 0.001;
    if value > 0.0 && value < TINY {
        format!("under {}", with_unit(TINY, unit))
    } else {
        with_unit(value, unit)
    }
}

fn with_unit(value: f64, unit: &str) -> String {
    match unit {
        "1" => value.to_string(),
        // UCUM has it so for programs.
        "Cel" => format!("{value} °C"),
        unit => format!("{value} {unit}"),
    }
}

impl Thing for Concern {
    const MANY: &'static str = "concerns";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(concerns: &[Self], page: &mut Page) {
        for (n, concern) in concerns.iter().enumerate() {
            if n > 0 {
                page.gap();
            }
            concern.paragraph(page);
        }
    }
}

/// Concerns, worst first, and what they are and are not.
#[derive(Serialize)]
pub(crate) struct Concerns {
    pub(crate) concerns: Vec<Concern>,
    pub(crate) caution: String,
}

impl Answer for Concerns {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        self.concerns.iter().map(Concern::row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.concerns.is_empty() {
            page.line("No concerns.");
        } else {
            Concern::table(&self.concerns, page);
        }
        page.remark(&self.caution);
    }
}
