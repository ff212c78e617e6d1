//! Readings on record.

use super::growth::Expected;
use super::row::row;
use super::{Thing, instant, some, spoken, spoken_mass, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A reading on record.
#[derive(Clone, Serialize)]
pub(crate) struct Weight {
    accession: String,
    house_name: Option<String>,
    site: String,
    /// Day of the reading at the site.
    pub(super) weighed_on: Option<String>,
    /// None where only the day is known.
    weighed_at: Option<String>,
    /// None where the animal declined.
    pub(super) mass_mg: Option<i64>,
    declined: bool,
    awaits_second: bool,
    accepted: bool,
    scale: Option<String>,
    method: Option<&'static str>,
    note: Option<String>,
    recorded_at: Option<String>,
    animal_id: String,
    id: String,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

row! {
    /// A reading as a line.
    Row of one: Weight {
        accession, house_name, site, weighed_on, weighed_at, mass: one.mass_mg.map(spoken_mass), mass_mg,
        declined: one.declined.then_some("yes"), awaits_second: one.awaits_second.then_some("yes"),
        accepted: one.accepted.then_some("yes"), scale, method, note, recorded_at, id,
    }
}

impl Weight {
    pub(crate) fn new(weight: v1::Weight, zone: Tz) -> Self {
        let at = instant(weight.weighed_at);
        let method = weight.method().word();
        Self {
            accession: weight.accession,
            house_name: some(weight.house_name),
            site: weight.site,
            weighed_on: at.map(|at| at.with_timezone(&zone).format("%F").to_string()),
            weighed_at: written(weight.weighed_at, zone).filter(|_| !weight.day_only),
            mass_mg: weight.mass.map(|mass| mass.milligrams),
            declined: weight.mass.is_none(),
            awaits_second: weight.awaits_second,
            accepted: weight.accepted,
            scale: some(weight.scale),
            method: (!method.is_empty()).then_some(method),
            note: some(weight.note),
            recorded_at: written(weight.recorded_at, zone),
            animal_id: weight.animal_id,
            id: weight.id,
            at: at.filter(|_| !weight.day_only),
            zone,
        }
    }

    /// `6.8 kg of Larch (QUI-25-0007), 2026-03-02 06:40`.
    pub(crate) fn spoken(&self) -> String {
        let mass = self.mass_mg.map(spoken_mass).unwrap_or_default();
        format!("{mass} of {}, {}", spoken(self.house_name.as_deref(), &self.accession), self.spoken_time())
    }

    pub(super) fn spoken_time(&self) -> String {
        match self.at {
            Some(at) => moment::spoken(at, self.zone),
            None => self.weighed_on.clone().unwrap_or_default(),
        }
    }
}

impl Thing for Weight {
    const MANY: &'static str = "weights";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(weights: &[Self], page: &mut Page) {
        let mut table = Table::new(["Weighed", "Animal", "Name", "Weight", "How", "Remark"]).numbers([3]);
        for weight in weights {
            let mass = weight.mass_mg.map_or_else(|| "declined".to_owned(), spoken_mass);
            let how = [weight.method.map(str::to_owned), weight.scale.clone()];
            let remark = [weight.awaits_second.then(|| "weigh again".to_owned()), weight.note.clone()];
            let tone = if weight.awaits_second { Tone::Warning } else { Tone::Calm };
            table.toned([
                (Tone::Calm, weight.spoken_time()),
                (Tone::Calm, weight.accession.clone()),
                (Tone::Calm, weight.house_name.clone().unwrap_or_default()),
                (tone, mass),
                (Tone::Calm, how.into_iter().flatten().collect::<Vec<_>>().join(", ")),
                (tone, remark.into_iter().flatten().collect::<Vec<_>>().join("; ")),
            ]);
        }
        page.table(&table);
    }
}

/// Readings, newest first, and what their animal should weigh next where they are of one.
#[derive(Serialize)]
pub(crate) struct Weights {
    pub(crate) weights: Vec<Weight>,
    pub(crate) next: Option<Expected>,
}

impl Answer for Weights {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        self.weights.iter().map(Weight::row).collect()
    }

    fn page(&self, page: &mut Page) {
        if self.weights.is_empty() {
            page.line("No weights.");
            return;
        }
        Weight::table(&self.weights, page);
        if let Some(next) = &self.next {
            page.remark(&format!("Expected next: {}.", next.spoken()));
        }
    }
}
