//! How the animals' houses stand, and what they were like over a stretch of time.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::climate::{Content, Device, Measure, Rules, State, Told};
use crate::records::Records;
use crate::records::climate::house;
use crate::records::error::{Refusal, Result};
use crate::store::{Snapshot, climate};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::environment::alarm::alarms;
use holt_audit::environment::exposure::exposure;
use holt_audit::terms::Interval;
use std::collections::HashMap;
use uuid::Uuid;

/// Alarms that go on are looked for so far back.
const LOOK_BACK: TimeDelta = TimeDelta::days(3);

/// What goes on in a house, and what must be kept there.
type Book = HashMap<(Uuid, Measure), Content>;

/// How each device of a site stands now, and what must be kept.
///
/// # Errors
/// Refused where there is no such site in scope, or no such enclosure.
pub async fn now(
    records: &Records,
    caller: &Caller,
    site: &str,
    enclosure: &str,
) -> Result<(Vec<State>, Vec<Rules>)> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let now = records.store.now();
    let snapshot = records.look(caller, None).await?;
    let (devices, mut rules) = known(&snapshot, &permit, enclosure).await?;
    let ids: Vec<Uuid> = devices.iter().map(|device| device.id).collect();
    let mut latest = climate::latest(&snapshot, &ids).await?;
    let from = now - LOOK_BACK;
    let mut readings = climate::readings(&snapshot, &ids, from, now + TimeDelta::minutes(5)).await?;
    let book = book(&rules);
    let states = devices
        .into_iter()
        .map(|device| {
            let content = book.get(&(device.enclosure, device.measure)).cloned().unwrap_or_default();
            let plan = content.plan(permit.site().zone);
            let readings = readings.remove(&device.id).unwrap_or_default();
            let latest = latest.remove(&device.id);
            // A device that has never spoken is not yet silent: it may still lie in its box.
            let during = Interval { from, until: Some(now) };
            let mut going_on = alarms(&readings, &plan, during, &content.settings(&device));
            going_on.retain(|alarm| alarm.over.is_none() && latest.is_some());
            let range = plan.at(latest.map_or(now, |reading| reading.at));
            State {
                latest: latest.map(|reading| (reading.at, reading.value)),
                range,
                alarms: going_on,
                device,
            }
        })
        .collect();
    let shown = rules.drain(..).map(|(_, rules)| rules).collect();
    Ok((states, shown))
}

/// Devices of a site and the rules there; of one enclosure only, where one is named.
async fn known(
    snapshot: &Snapshot,
    permit: &Permit,
    enclosure: &str,
) -> Result<(Vec<Device>, Vec<(Uuid, Rules)>)> {
    let mut devices = climate::devices(snapshot, permit).await?;
    let mut rules = climate::rules(snapshot, permit).await?;
    if !enclosure.is_empty() {
        let house = house(snapshot, permit, enclosure).await?;
        devices.retain(|device| device.enclosure == house.id);
        rules.retain(|(id, _)| *id == house.id);
    }
    Ok((devices, rules))
}

fn book(rules: &[(Uuid, Rules)]) -> Book {
    rules.iter().map(|(house, rules)| ((*house, rules.measure), rules.content.clone())).collect()
}

/// Which stretch of time is asked about.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    pub enclosure: String,
    pub from: DateTime<Utc>,
    pub until: DateTime<Utc>,
    pub known_at: Option<DateTime<Utc>>,
}

/// What each device says of a stretch of time.
///
/// # Errors
/// Refused where there is no such site in scope, no such enclosure, or the stretch is still to come.
pub async fn exposures(records: &Records, caller: &Caller, question: &Question) -> Result<Vec<Told>> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    if question.until > records.store.now() {
        return Err(Refusal::in_the_future("end of the stretch", "until").into());
    }
    let snapshot = records.look(caller, question.known_at).await?;
    let (devices, rules) = known(&snapshot, &permit, &question.enclosure).await?;
    let ids: Vec<Uuid> = devices.iter().map(|device| device.id).collect();
    let mut readings = climate::readings(&snapshot, &ids, question.from, question.until).await?;
    let book = book(&rules);
    let during = Interval { from: question.from, until: Some(question.until) };
    let told = devices.into_iter().map(|device| {
        let content = book.get(&(device.enclosure, device.measure)).cloned().unwrap_or_default();
        let plan = content.plan(permit.site().zone);
        let readings = readings.remove(&device.id).unwrap_or_default();
        let exposure = exposure(&readings, &plan, during, device.may_be_silent());
        let silent = exposure.silent.iter().filter_map(|gap| Some(gap.until? - gap.from));
        let silent_hours = silent.map(|gap| gap.as_seconds_f64() / 3600.0).sum();
        let alarms = alarms(&readings, &plan, during, &content.settings(&device));
        Told { readings: readings.len(), exposure, silent_hours, alarms, device }
    });
    Ok(told.collect())
}
