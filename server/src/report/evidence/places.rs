//! Evidence about groups, enclosures and the devices in them.

use super::{Body, Inquiry, key};
use crate::model::standard::SubjectKind;
use crate::records::climate::{book, known};
use crate::records::error::Result;
use crate::store::{climate, evidence};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::compliance::Shows;
use holt_audit::environment::alarm::{Alarm, Matter, alarms};
use holt_audit::standard::Clause;
use holt_audit::terms::Interval;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

impl Inquiry<'_> {
    /// Groups with members, by how many kinds of enrichment they were offered.
    pub(super) async fn enriched(&self, clause: &Clause) -> Result<Body> {
        let least = usize::from(clause.at_least.unwrap_or(1));
        let mut offered: HashMap<Uuid, Vec<evidence::Offered>> = HashMap::new();
        for one in evidence::offered(self.snapshot, self.permit, self.during).await? {
            offered.entry(one.group_id).or_default().push(one);
        }
        let mut body = Body::default();
        for group in evidence::groups(self.snapshot, self.permit, self.during).await? {
            let subject = key(SubjectKind::Group, group.group_id);
            let last = group.ended_at.map(|at| self.day_of(at));
            body.subject(subject, group.name, self.day_of(group.began_at), last);
            let kinds = offered.remove(&group.group_id).unwrap_or_default();
            let Some(latest) = kinds.iter().max_by_key(|one| one.given_on) else { continue };
            let shows = if kinds.len() >= least {
                Shows::Met
            } else {
                let names: Vec<&str> = kinds.iter().map(|one| one.kind.as_str()).collect();
                Shows::Short(format!("{} of {least} kinds offered: {}", kinds.len(), names.join(", ")))
            };
            body.shows(subject, latest.given_on, shows, Some(latest.offer));
        }
        Ok(body)
    }

    /// Devices for which there are rules, by the alarms that they gave or would have given. Those that were
    /// retired are not looked at; one that was added meanwhile is, from then on.
    pub(super) async fn kept_in_range(&self) -> Result<Body> {
        let (devices, rules) = known(self.snapshot, self.permit, "").await?;
        let since = evidence::devices_since(self.snapshot, self.permit).await?;
        let book = book(&rules);
        // Nothing is known of the rest of a day that is still running.
        let until = self.during.until.min(self.known_at);
        let mut body = Body::default();
        for device in devices {
            let Some(content) = book.get(&(device.enclosure, device.measure)) else { continue };
            let from = since.get(&device.id).map_or(self.during.from, |since| self.during.from.max(*since));
            if from >= until {
                continue;
            }
            let subject = key(SubjectKind::Device, device.id);
            let name = format!("{} in {}", device.name, device.enclosure_name);
            body.subject(subject, name, self.day_of(from), None);
            // One device at a time: a year of readings of all of them is more than should be held at once.
            let mut readings = climate::readings(self.snapshot, &[device.id], from, until).await?;
            let readings = readings.remove(&device.id).unwrap_or_default();
            if readings.is_empty() {
                continue;
            }
            let during = Interval { from, until: Some(until) };
            let raised =
                alarms(&readings, &content.plan(self.permit.site().zone), during, &content.settings(&device));
            for alarm in &raised {
                let day = self.day_of(alarm.since.max(from));
                body.shows(
                    subject,
                    day,
                    Shows::Short(self.said(alarm, device.measure.unit())),
                    Some(device.id),
                );
            }
            if raised.is_empty() {
                body.shows(subject, self.period.last, Shows::Met, Some(device.id));
            }
        }
        Ok(body)
    }

    fn said(&self, alarm: &Alarm, unit: &str) -> String {
        let since = self.day_of(alarm.since);
        let unit = match unit {
            "Cel" => " °C",
            "%" => " %",
            _ => "",
        };
        match alarm.matter {
            Matter::TooLow { worst } => format!("too low on {since}, down to {worst:.1}{unit}"),
            Matter::TooHigh { worst } => format!("too high on {since}, up to {worst:.1}{unit}"),
            Matter::Silent => format!("silent on {since}"),
        }
    }

    /// Enclosures in which animals lived, by how many they were at once. Offspring that are counted in
    /// litters are not among them. An enclosure of which nobody said how many it is meant for has no evidence.
    pub(super) async fn housed(&self) -> Result<Body> {
        let mut enclosures: BTreeMap<(String, Uuid), Vec<evidence::Lived>> = BTreeMap::new();
        for lived in evidence::lived(self.snapshot, self.permit, self.during).await? {
            let key = (lived.enclosure.to_lowercase(), lived.enclosure_id);
            enclosures.entry(key).or_default().push(lived);
        }
        let mut body = Body::default();
        for ((_, id), lived) in enclosures {
            let Some(one) = lived.first() else { continue };
            let (subject, capacity) = (key(SubjectKind::Enclosure, id), i64::from(one.capacity));
            body.subject(subject, one.enclosure.clone(), self.period.first, None);
            if capacity == 0 {
                continue;
            }
            for (day, number, record) in self.numbers(&lived) {
                let shows = if number > capacity {
                    Shows::Short(format!("{number} animals on {day}, capacity {capacity}"))
                } else {
                    Shows::Met
                };
                body.shows(subject, day, shows, Some(record));
            }
        }
        Ok(body)
    }

    /// How many animals lived in one enclosure: at the beginning, and after each change, with the placement that it
    /// came with.
    fn numbers(&self, lived: &[evidence::Lived]) -> Vec<(NaiveDate, i64, Uuid)> {
        let from = self.during.from;
        let mut changes: BTreeMap<DateTime<Utc>, (i64, Uuid)> = BTreeMap::new();
        for one in lived {
            let came = changes.entry(one.began_at.max(from)).or_insert((0, one.placement));
            *came = (came.0 + 1, one.placement);
            if let Some(left) = one.ended_at.filter(|left| *left <= self.during.until) {
                changes.entry(left.max(from)).or_insert((0, one.placement)).0 -= 1;
            }
        }
        let mut number = 0;
        let mut told = Vec::with_capacity(changes.len());
        for (at, (change, record)) in changes {
            number += change;
            told.push((self.day_of(at), number, record));
        }
        // How it stood at the end is evidence, too, where nothing changed for long.
        told.extend(told.last().copied().map(|(_, number, record)| (self.period.last, number, record)));
        told
    }
}
