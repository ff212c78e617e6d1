//! What the animals' houses are like: devices, what they read, and what must be kept.

use chrono::{DateTime, NaiveTime, TimeDelta, Utc};
use chrono_tz::Tz;
use holt_audit::environment::alarm::{Alarm, Settings};
use holt_audit::environment::exposure::Exposure;
use holt_audit::environment::range::Rule;
use holt_audit::environment::{Plan, Range};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What a device reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// °C.
    Temperature,
    /// Percent.
    Humidity,
    /// Without unit.
    UvIndex,
    /// °C.
    WaterTemperature,
    /// Without unit.
    WaterPh,
}

impl Measure {
    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::Humidity => "humidity",
            Self::UvIndex => "uv_index",
            Self::WaterTemperature => "water_temperature",
            Self::WaterPh => "water_ph",
        }
    }

    /// UCUM code of its unit.
    #[must_use]
    pub const fn unit(self) -> &'static str {
        match self {
            Self::Temperature | Self::WaterTemperature => "Cel",
            Self::Humidity => "%",
            Self::UvIndex | Self::WaterPh => "1",
        }
    }

    /// Lowest and highest value that there can be: what is beyond is a fault of the device.
    #[must_use]
    pub const fn bounds(self) -> (f64, f64) {
        match self {
            Self::Temperature | Self::WaterTemperature => (-90.0, 150.0),
            Self::Humidity => (0.0, 100.0),
            Self::UvIndex => (0.0, 50.0),
            Self::WaterPh => (0.0, 14.0),
        }
    }
}

/// A device.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Device {
    pub id: Uuid,
    pub site: String,
    pub enclosure: Uuid,
    pub enclosure_name: String,
    pub name: String,
    pub measure: Measure,
    pub may_be_silent_minutes: i32,
    pub note: String,
}

impl Device {
    /// For how long it may say nothing.
    #[must_use]
    pub fn may_be_silent(&self) -> TimeDelta {
        TimeDelta::minutes(i64::from(self.may_be_silent_minutes))
    }
}

/// A device to add.
#[derive(Clone, Debug)]
pub struct NewDevice {
    pub enclosure: String,
    pub name: String,
    pub measure: Measure,
    pub may_be_silent_minutes: i32,
    pub note: String,
}

/// A range with the times at which it holds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// First and last day of the year, as month and day.
    pub season: Option<((u32, u32), (u32, u32))>,
    pub hours: Option<(NaiveTime, NaiveTime)>,
}

/// What must be kept, of one measure, and how quick alarms are.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Content {
    pub rules: Vec<Kept>,
    pub raise_after_minutes: i32,
    pub at_once_beyond: f64,
    pub margin: f64,
    pub clear_after_minutes: i32,
}

impl Content {
    /// As the audit module takes it.
    #[must_use]
    pub fn plan(&self, zone: Tz) -> Plan {
        let rules = self.rules.iter().map(|kept| Rule {
            season: kept.season,
            hours: kept.hours,
            range: Range { low: kept.low, high: kept.high },
        });
        Plan { zone, rules: rules.collect() }
    }

    /// How quick alarms of a device are.
    #[must_use]
    pub fn settings(&self, device: &Device) -> Settings {
        Settings {
            raise_after: TimeDelta::minutes(i64::from(self.raise_after_minutes)),
            at_once_beyond: self.at_once_beyond,
            margin: self.margin,
            clear_after: TimeDelta::minutes(i64::from(self.clear_after_minutes)),
            may_be_silent: device.may_be_silent(),
        }
    }
}

/// Nothing need be kept; a silence is an alarm all the same.
impl Default for Content {
    fn default() -> Self {
        Self {
            rules: Vec::new(),
            raise_after_minutes: 15,
            at_once_beyond: 4.0,
            margin: 0.0,
            clear_after_minutes: 20,
        }
    }
}

/// The rules of an enclosure.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rules {
    pub enclosure: String,
    pub measure: Measure,
    pub content: Content,
}

/// A reading as it comes.
#[derive(Clone, Debug, PartialEq)]
pub struct Spoken {
    /// Name or id of the device.
    pub device: String,
    pub at: DateTime<Utc>,
    pub value: f64,
}

/// A reading that was refused.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RefusedReading {
    pub row: usize,
    pub reason: crate::model::reason::Reason,
    pub say: String,
    pub mend: String,
}

/// What became of readings.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Taken {
    pub recorded: usize,
    pub known: usize,
    pub refused: Vec<RefusedReading>,
}

/// How a device stands.
#[derive(Clone, Debug)]
pub struct State {
    pub device: Device,
    pub latest: Option<(DateTime<Utc>, f64)>,
    pub range: Range,
    /// How far outside the range is far, in the unit of the measure.
    pub at_once_beyond: f64,
    pub alarms: Vec<Alarm>,
}

/// What a device says of a stretch of time.
#[derive(Clone, Debug)]
pub struct Told {
    pub device: Device,
    pub readings: usize,
    pub exposure: Exposure,
    pub silent_hours: f64,
    pub alarms: Vec<Alarm>,
}
