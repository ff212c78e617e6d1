//! What the animals' houses are like: devices come and go, readings are taken in, and what must be kept is
//! said.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::climate::{
    Content, Device, Measure, NewDevice, RefusedReading, Rules, Spoken, State, Taken,
};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::site::Enclosure;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh};
use crate::store::{Snapshot, climate, retrying, sites};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::environment::Reading;
use holt_audit::environment::alarm::{Matter, alarms};
use holt_audit::terms::Interval;
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// A device's clock may be ahead of ours by so much.
const AHEAD: TimeDelta = TimeDelta::minutes(2);

/// Adds a device.
///
/// # Errors
/// Refused without the role there; where there is no such enclosure, or the name is taken.
pub async fn add_device(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewDevice,
) -> Result<Device> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("add_device", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let house = house(&tx, &permit, &new.enclosure).await?;
        let id = climate::insert_device(&mut tx, &permit, house.id, new).await?;
        let device = one(&tx, &permit, &id.to_string()).await?;
        Ok(tx.commit(device).await?)
    })
    .await
}

/// Takes a device away; what it read stays.
///
/// # Errors
/// Refused without the role there, or where there is no such device.
pub async fn retire_device(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    device: &str,
    because: &str,
) -> Result<Device> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("retire_device", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let device = one(&tx, &permit, device).await?;
        climate::retire(&mut tx, device.id, because).await?;
        Ok(tx.commit(device).await?)
    })
    .await
}

/// Says what must be kept in an enclosure, of one measure.
///
/// # Errors
/// Refused without the role there, or where there is no such enclosure.
pub async fn set_rules(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    rules: &Rules,
    because: &str,
) -> Result<Rules> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("set_climate_rules", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let house = house(&tx, &permit, &rules.enclosure).await?;
        let content: &Content = &rules.content;
        climate::set_rules(&mut tx, &permit, house.id, rules.measure, content, because).await?;
        let set = Rules { enclosure: house.name, ..rules.clone() };
        Ok(tx.commit(set).await?)
    })
    .await
}

/// The enclosure of a name.
///
/// # Errors
/// Refused where the site has none of it.
pub(crate) async fn house(snapshot: &Snapshot, permit: &Permit, name: &str) -> Result<Enclosure> {
    let found = sites::enclosure(snapshot, permit, name).await?;
    found.ok_or_else(|| Refusal::not_found("enclosure", name).at("enclosure").into())
}

/// What must be kept, by enclosure and measure.
pub(crate) type Book = HashMap<(Uuid, Measure), Content>;

/// Devices of a site and the rules there; of one enclosure only, where one is named.
pub(crate) async fn known(
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

pub(crate) fn book(rules: &[(Uuid, Rules)]) -> Book {
    rules.iter().map(|(house, rules)| ((*house, rules.measure), rules.content.clone())).collect()
}

/// Alarms that go on are looked for so far back.
pub(crate) const LOOK_BACK: TimeDelta = TimeDelta::days(3);

/// How devices stand at an instant, with the alarms that go on.
pub(crate) async fn states(
    snapshot: &Snapshot,
    permit: &Permit,
    devices: Vec<Device>,
    book: &Book,
    now: DateTime<Utc>,
) -> Result<Vec<State>> {
    let ids: Vec<Uuid> = devices.iter().map(|device| device.id).collect();
    let mut latest = climate::latest(snapshot, &ids).await?;
    let from = now - LOOK_BACK;
    let mut readings = climate::readings(snapshot, &ids, from, now + TimeDelta::minutes(5)).await?;
    let states = devices.into_iter().map(|device| {
        let content = book.get(&(device.enclosure, device.measure)).cloned().unwrap_or_default();
        let plan = content.plan(permit.site().zone);
        let readings = readings.remove(&device.id).unwrap_or_default();
        let latest = latest.remove(&device.id);
        let during = Interval { from, until: Some(now) };
        let mut going_on = alarms(&readings, &plan, during, &content.settings(&device));
        // A device that has never spoken is not yet silent: it may still lie in its box.
        going_on.retain(|alarm| alarm.over.is_none() && latest.is_some());
        for silence in going_on.iter_mut().filter(|alarm| alarm.matter == Matter::Silent) {
            // It may have begun before what was looked at.
            silence.since = latest.map_or(silence.since, |reading| reading.at);
            silence.raised = silence.since + device.may_be_silent();
        }
        State {
            latest: latest.map(|reading| (reading.at, reading.value)),
            range: plan.at(latest.map_or(now, |reading| reading.at)),
            at_once_beyond: content.at_once_beyond,
            alarms: going_on,
            device,
        }
    });
    Ok(states.collect())
}

/// The device of a name or an id.
async fn one(snapshot: &Snapshot, permit: &Permit, text: &str) -> Result<Device> {
    let all = climate::devices(snapshot, permit).await?;
    let found = names(&all).get(&key(text)).map(|device| (*device).clone());
    found.ok_or_else(|| Refusal::not_found("device", text).at("device").into())
}

/// Devices by what they can be called: a name in any case, or the id.
fn names(devices: &[Device]) -> HashMap<String, &Device> {
    devices
        .iter()
        .flat_map(|device| [(key(&device.id.to_string()), device), (key(&device.name), device)])
        .collect()
}

fn key(text: &str) -> String {
    text.trim().to_lowercase()
}

/// Records what devices read. A reading of an instant that the device has spoken of already changes nothing;
/// one that cannot be is refused, and the others stand.
///
/// # Errors
/// Refused without the role there.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    spoken: &[Spoken],
) -> Result<Taken> {
    let permit = records.permit(caller, Deed::Weigh, site).await?;
    retrying("record_readings", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let devices = climate::devices(&tx, &permit).await?;
        let devices = names(&devices);
        let mut taken = Taken::default();
        let mut sound: BTreeMap<Uuid, BTreeMap<DateTime<Utc>, f64>> = BTreeMap::new();
        let latest = tx.now() + AHEAD;
        for (row, reading) in spoken.iter().enumerate() {
            match judged(&devices, reading, latest) {
                Ok(device) => {
                    let of = sound.entry(device).or_default();
                    match of.entry(reading.at) {
                        Entry::Occupied(_) => taken.known += 1,
                        Entry::Vacant(free) => {
                            free.insert(reading.value);
                        }
                    }
                }
                Err((reason, say, mend)) => taken.refused.push(RefusedReading { row, reason, say, mend }),
            }
        }
        let ids: Vec<Uuid> = sound.keys().copied().collect();
        climate::lock(&tx, &ids).await?;
        let times = || sound.values().flat_map(BTreeMap::keys);
        if let (Some(first), Some(last)) = (times().min().copied(), times().max().copied()) {
            let known = climate::readings(&tx, &ids, first, last + TimeDelta::microseconds(1)).await?;
            for (device, readings) in &known {
                let known: BTreeSet<DateTime<Utc>> = readings.iter().map(|reading| reading.at).collect();
                if let Some(of) = sound.get_mut(device) {
                    let before = of.len();
                    of.retain(|at, _| !known.contains(at));
                    taken.known += before - of.len();
                }
            }
        }
        taken.recorded = sound.values().map(BTreeMap::len).sum();
        let new = sound
            .into_iter()
            .map(|(device, of)| (device, of.into_iter().map(|(at, value)| Reading { at, value }).collect()));
        climate::insert_readings(&mut tx, &permit, new.collect()).await?;
        Ok(tx.commit(taken).await?)
    })
    .await
}

/// The device of a reading, or why the reading cannot be.
fn judged(
    devices: &HashMap<String, &Device>,
    reading: &Spoken,
    latest: DateTime<Utc>,
) -> std::result::Result<Uuid, (Reason, String, String)> {
    let Some(device) = devices.get(&key(&reading.device)) else {
        let say = format!("there is no device `{}` at this site", reading.device);
        return Err((Reason::NotFound, say, "add it first".to_owned()));
    };
    if reading.at > latest {
        let say = format!("{} is in the future", reading.at.format("%Y-%m-%d %H:%M:%S UTC"));
        return Err((Reason::InTheFuture, say, "set the clock of the device".to_owned()));
    }
    let (low, high) = device.measure.bounds();
    if !(low..=high).contains(&reading.value) {
        let say = format!("{} {} cannot be {}", device.name, spoken(device.measure), reading.value);
        let mend = format!("give {low} to {high}, or look at the device");
        return Err((Reason::Malformed, say, mend));
    }
    Ok(device.id)
}

/// As people say it.
const fn spoken(measure: Measure) -> &'static str {
    match measure {
        Measure::Temperature => "temperature",
        Measure::Humidity => "humidity",
        Measure::UvIndex => "UV index",
        Measure::WaterTemperature => "water temperature",
        Measure::WaterPh => "water pH",
    }
}
