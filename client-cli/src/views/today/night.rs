//! What the enclosures were like in the night.

use super::layout::Part;
use super::line::{Line, Rank, Section};
use super::{Known, Site};
use crate::views::climate::unit;
use crate::views::{count, tenth};
use crate::words::Word;
use holt_proto::v1;
use holt_proto::v1::ClimateMatter::{Silent, TooHigh, TooLow};

/// Devices, by how their night was.
#[derive(Default)]
struct Tally {
    devices: usize,
    outside: usize,
    silent: usize,
    without_reading: usize,
    without_range: usize,
}

pub(super) fn part(known: &Known<'_>) -> Part {
    let (mut entries, mut tally) = (Vec::new(), Tally::default());
    for site in known.sites {
        for told in &site.exposures {
            let device = Device { known, site, told };
            let lines = device.lines();
            tally.devices += 1;
            tally.outside += usize::from(told.below_hours > 0.0 || told.above_hours > 0.0);
            tally.silent += usize::from(told.silent_hours > 0.0);
            // A device without a word of its own may still be within the time for which it may be silent.
            tally.without_reading += usize::from(told.readings == 0 && told.silent_hours <= 0.0);
            tally.without_range += usize::from(!device.has_range());
            entries.extend(lines);
        }
    }
    entries.sort_by_key(|line| line.rank);
    let began = known.sites.first().map(|site| site.night.with_timezone(&site.zone).format("%H:%M"));
    let since = began.map(|at| format!("since {at}")).unwrap_or_default();
    let (heading, nothing) = match (tally.devices, entries.is_empty()) {
        (0, _) => (String::new(), "no climate devices".to_owned()),
        (devices, true) => {
            let devices = count(devices, "climate device", "climate devices");
            (String::new(), format!("{devices}, none out of range or silent {since}{}", tally.not_known()))
        }
        (devices, false) => {
            let devices = count(devices, "device", "devices");
            let said = listed(&[(tally.outside, "out of range"), (tally.silent, "silent")]);
            (format!("{devices} {since}{said}{}", tally.not_known()), String::new())
        }
    };
    Part {
        section: Section::Night,
        heading,
        count: tally.devices,
        entries,
        least: 2,
        command: known.command("holt climate exposure"),
        nothing,
        ..Part::default()
    }
}

impl Tally {
    /// Devices of which nobody can say that they were in range.
    fn not_known(&self) -> String {
        listed(&[(self.without_range, "without a range"), (self.without_reading, "without a reading")])
    }
}

/// `, 2 out of range, 1 silent`, without what there is none of.
fn listed(counts: &[(usize, &str)]) -> String {
    counts.iter().filter(|(n, _)| *n > 0).map(|(n, what)| format!(", {n} {what}")).collect()
}

/// A device, with what it said of the night.
struct Device<'a> {
    known: &'a Known<'a>,
    site: &'a Site,
    told: &'a v1::DeviceExposure,
}

impl Device<'_> {
    fn device(&self) -> v1::Device {
        self.told.device.clone().unwrap_or_default()
    }

    fn has_range(&self) -> bool {
        let device = self.device();
        let of = |rules: &&v1::ClimateRules| {
            rules.enclosure == device.enclosure && rules.measure == device.measure && !rules.rules.is_empty()
        };
        self.site.climate.rules.iter().any(|rules| of(&rules))
    }

    fn lines(&self) -> Vec<Line> {
        let told = self.told;
        [(TooLow, told.below_hours), (TooHigh, told.above_hours), (Silent, told.silent_hours)]
            .into_iter()
            .filter(|(_, hours)| *hours > 0.0)
            .map(|(matter, hours)| self.line(matter, hours))
            .collect()
    }

    /// Of one matter: the latest alarm of it if there was one, and for how long it was so.
    fn line(&self, matter: v1::ClimateMatter, hours: f64) -> Line {
        let (device, zone) = (self.device(), self.site.zone);
        let measure = device.measure().word();
        let alarm = self.told.alarms.iter().rev().find(|alarm| alarm.matter() == matter);
        let lasts = alarm.is_some_and(|alarm| alarm.ended_at.is_none());
        let worst = alarm.filter(|_| matter != Silent).map(|alarm| {
            let way = if matter == TooLow { "down to" } else { "up to" };
            // Of the air, the unit says what it is.
            let what = match device.measure() {
                v1::Measure::Temperature => String::new(),
                measure => format!("{} ", measure.word().replace('-', " ")),
            };
            format!("{what}{way} {}{}, ", tenth(alarm.worst), unit(measure))
        });
        let when = match alarm {
            Some(alarm) if lasts => format!("since {}", self.known.time(alarm.began_at, zone)),
            Some(alarm) => {
                let (from, to) = (alarm.began_at, alarm.ended_at);
                format!("{} to {}", self.known.time(from, zone), self.known.time(to, zone))
            }
            None => "no alarm".to_owned(),
        };
        let hours = format!("{:.1} h in all", tenth(hours));
        let state = match (matter, lasts) {
            (TooLow, true) => TooLow.word(),
            (TooHigh, true) => TooHigh.word(),
            (_, true) => Silent.word(),
            (TooLow, false) => "was-too-low",
            (TooHigh, false) => "was-too-high",
            (_, false) => "was-silent",
        };
        Line {
            site: Some(self.site.day.site.clone()),
            state,
            say: format!(
                "{} in {}: {}{when} ({hours})",
                device.name,
                device.enclosure,
                worst.unwrap_or_default()
            ),
            who: Some(device.name),
            place: Some(device.enclosure),
            count: 1,
            id: Some(device.id),
            rank: if lasts { Rank::Now } else { Rank::InTurn },
            ..Line::default()
        }
    }
}
