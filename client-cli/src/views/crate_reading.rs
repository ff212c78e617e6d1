//! Crate readings.

use super::{count, instant, some, spoken_mass, written};
use crate::moment;
use crate::output::{Answer, Page};
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// Several animals of a litter or a group on one scale.
#[derive(Clone, Default, Serialize)]
pub(crate) struct CrateReading {
    weighed_at: Option<String>,
    day_only: bool,
    mass_mg: i64,
    animals: i32,
    scale: Option<String>,
    note: Option<String>,
    id: String,
    #[serde(skip)]
    at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

impl CrateReading {
    pub(crate) fn new(reading: v1::CrateReading, zone: Tz) -> Self {
        Self {
            weighed_at: written(reading.weighed_at, zone),
            day_only: reading.day_only,
            mass_mg: reading.mass.unwrap_or_default().milligrams,
            animals: reading.animals,
            scale: some(reading.scale),
            note: some(reading.note),
            id: reading.id,
            at: instant(reading.weighed_at),
            zone,
        }
    }

    /// `2026-03-01 06:40 GMT  6 animals together 812 g`.
    pub(crate) fn spoken(&self) -> String {
        let at = match self.at {
            Some(at) if self.day_only => moment::today(self.zone, at).to_string(),
            Some(at) => moment::spoken(at, self.zone),
            None => String::new(),
        };
        let animals = count(usize::try_from(self.animals).unwrap_or_default(), "animal", "animals");
        let more = self.scale.iter().chain(&self.note).map(|text| format!(", {text}")).collect::<String>();
        format!("{at}  {animals} together {}{more}", spoken_mass(self.mass_mg))
    }
}

/// Readings, newest first, below a heading of their own; nothing where there are none.
pub(crate) fn weighed_together(readings: &[CrateReading], page: &mut Page) {
    if readings.is_empty() {
        return;
    }
    page.gap();
    page.line("Weighed together in one crate, not divided:");
    for reading in readings {
        page.hanging(&format!("  {}", reading.spoken()), 4);
    }
}

/// A reading that was recorded.
#[derive(Serialize)]
pub(crate) struct Recorded {
    #[serde(flatten)]
    pub(crate) reading: CrateReading,
    #[serde(skip)]
    pub(crate) say: String,
}

impl Answer for Recorded {
    type Row = CrateReading;

    fn rows(&self) -> Vec<CrateReading> {
        vec![self.reading.clone()]
    }

    fn page(&self, page: &mut Page) {
        page.line(&self.say);
    }
}
