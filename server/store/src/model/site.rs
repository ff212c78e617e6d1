//! Sites, their days, and the enclosures in them.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use holt_audit::zone;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A park or collection.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Site {
    pub id: Uuid,
    /// Three capital letters.
    pub code: String,
    pub name: String,
    /// Zone of its days.
    pub zone: Tz,
    pub licence: String,
    /// Degrees, north positive.
    pub latitude: Option<f64>,
    /// Degrees, east positive.
    pub longitude: Option<f64>,
    /// Two letters of ISO 3166-1; empty where not stated.
    #[serde(default)]
    pub country: String,
}

impl Site {
    /// The day at this site that `at` belongs to.
    #[must_use]
    pub fn day_of(&self, at: DateTime<Utc>) -> NaiveDate {
        zone::day_of(self.zone, at)
    }

    /// First instant of a day.
    #[must_use]
    pub fn start_of(&self, day: NaiveDate) -> DateTime<Utc> {
        zone::start_of_day(self.zone, day)
    }

    /// Last instant of a day: what stood then stands at the close of the day.
    #[must_use]
    pub fn close_of(&self, day: NaiveDate) -> DateTime<Utc> {
        day.succ_opt().map_or(DateTime::<Utc>::MAX_UTC, |next| zone::start_of_day(self.zone, next))
            - TimeDelta::microseconds(1)
    }

    /// Middle of a day: where something that was noted by its day alone is put.
    #[must_use]
    pub fn noon_of(&self, day: NaiveDate) -> DateTime<Utc> {
        let (start, end) = (self.start_of(day), self.close_of(day) + TimeDelta::microseconds(1));
        start + (end - start) / 2
    }
}

/// A site to add.
#[derive(Clone, Debug)]
pub struct NewSite {
    pub code: String,
    pub name: String,
    pub zone: Tz,
    pub licence: String,
    pub latitude: Option<f64>,
    pub longitude: Option<f64>,
    pub country: String,
}

/// Whether an enclosure is under a roof.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EnclosureKind {
    Indoor,
    Outdoor,
    Mixed,
}

/// A place at a site where animals live.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Enclosure {
    pub id: Uuid,
    pub site: String,
    pub name: String,
    pub kind: EnclosureKind,
    /// Animals it is meant for at most; 0 where not stated.
    pub capacity: i32,
    /// Animals that live there now.
    pub occupants: i32,
}

/// An enclosure to add.
#[derive(Clone, Debug)]
pub struct NewEnclosure {
    pub name: String,
    pub kind: EnclosureKind,
    pub capacity: i32,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(zone: Tz) -> Site {
        Site {
            id: Uuid::nil(),
            code: "QUI".into(),
            name: "Quill Park".into(),
            zone,
            licence: String::new(),
            latitude: None,
            longitude: None,
            country: String::new(),
        }
    }

    #[test]
    fn a_day_runs_to_its_last_microsecond() {
        let site = site(Tz::Europe__Dublin);
        // Clocks go forward: the day has 23 hours.
        let day = NaiveDate::from_ymd_opt(2026, 3, 29).unwrap();
        assert_eq!(site.start_of(day).to_rfc3339(), "2026-03-29T00:00:00+00:00");
        assert_eq!(site.close_of(day).to_rfc3339(), "2026-03-29T22:59:59.999999+00:00");
        assert_eq!(site.noon_of(day).to_rfc3339(), "2026-03-29T11:30:00+00:00");
        assert_eq!(site.day_of(site.close_of(day)), day);
        assert_eq!(site.day_of(site.close_of(day) + TimeDelta::microseconds(1)), day.succ_opt().unwrap());
    }
}
