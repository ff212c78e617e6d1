//! Alarms of houses become concerns, whether or not anybody asks: too cold, too warm, or a device that is
//! silent.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::climate::State;
use crate::model::concern::{ConcernKind, Content};
use crate::model::request::Request;
use crate::records::climate::{LOOK_BACK, book, known, states};
use crate::records::concerns::{Steps, content};
use crate::records::error::Result;
use crate::records::{Records, fresh};
use crate::store::concerns::{Whom, last_settled, open};
use crate::store::{Snapshot, retrying};
use chrono::{DateTime, Utc};
use holt_audit::environment::alarm::{Alarm, Matter};
use holt_audit::environment::words::{HIGHEST, LOWEST, Told, over};
use uuid::Uuid;

const KINDS: [ConcernKind; 2] = [ConcernKind::Climate, ConcernKind::DeviceSilent];

/// Looks at every house of every site; answers how many concerns were raised or carried on. Where there is
/// nothing new to tell, nothing is written.
///
/// # Errors
/// Faults only.
pub async fn watch(records: &Records) -> Result<usize> {
    let caller = Caller::itself();
    let mut told = 0;
    for site in records.store.sites().await? {
        let permit = caller.may(Deed::AnswerConcerns, &site)?;
        let snapshot = records.look(&caller, None).await?;
        let steps = steps(&snapshot, &permit, records.store.now()).await?;
        drop(snapshot);
        if !steps.is_empty() {
            told += write(records, &permit).await?;
        }
    }
    Ok(told)
}

async fn write(records: &Records, permit: &Permit) -> Result<usize> {
    let id = records.store.new_id();
    let request = Request { id, method: "WatchHouses", digest: [0; 32], validate_only: false };
    retrying("watch_houses", || async {
        let mut tx = fresh!(records.store.write(permit, &request).await?);
        // Another server may have told it meanwhile.
        let steps = steps(&tx, permit, tx.now()).await?;
        let told = steps.take(&mut tx, permit).await?.len();
        Ok(tx.commit(told).await?)
    })
    .await
}

/// What there is to tell of the houses of a site.
async fn steps(snapshot: &Snapshot, permit: &Permit, now: DateTime<Utc>) -> Result<Steps> {
    let (devices, rules) = known(snapshot, permit, "").await?;
    let mut houses: Vec<Uuid> = devices.iter().map(|device| device.enclosure).collect();
    houses.dedup();
    if houses.is_empty() {
        return Ok(Steps::default());
    }
    let states = states(snapshot, permit, devices, &book(&rules), now).await?;
    let mut steps = Steps::from(open(snapshot, permit, &[], &houses).await?);
    let settled = last_settled(snapshot, permit, &[], &houses).await?;
    for state in &states {
        let whom = Whom::Device { enclosure: state.device.enclosure, device: state.device.id };
        let name = format!("{} in {}", state.device.name, state.device.enclosure_name);
        let told = Told {
            name: &name,
            unit: state.device.measure.unit(),
            range: state.range,
            at_once_beyond: state.at_once_beyond,
            may_be_silent: state.device.may_be_silent(),
            known_from: now - LOOK_BACK,
            known_days: LOOK_BACK.num_days(),
            zone: permit.site().zone,
        };
        for kind in KINDS {
            let Some(alarm) = going_on(state, kind) else {
                steps.quiet(whom, kind, || over(&name, kind == ConcernKind::DeviceSilent));
                continue;
            };
            // What people settled while it went on is known to them.
            let known = settled.get(&(whom, kind)).is_some_and(|settled| alarm.raised <= settled.at);
            let now = content(told.words(alarm), told.severity(alarm), Vec::new());
            match steps.standing(whom, kind) {
                None if known => {}
                Some(before) if !worth_telling(before, &now, state.at_once_beyond) => {}
                _ => steps.found(whom, kind, now),
            }
        }
    }
    Ok(steps)
}

fn going_on(state: &State, kind: ConcernKind) -> Option<&Alarm> {
    let silent = kind == ConcernKind::DeviceSilent;
    state.alarms.iter().rfind(|alarm| (alarm.matter == Matter::Silent) == silent)
}

/// Whether an open alarm differs from what people were told by more than they need to hear again: a house that
/// cools goes through every tenth of a degree.
fn worth_telling(before: &Content, now: &Content, at_once_beyond: f64) -> bool {
    let worst = |content: &Content| {
        let figure = content.figures.iter().find(|figure| figure.name == LOWEST || figure.name == HIGHEST);
        figure.map(|figure| (figure.name.clone(), figure.value))
    };
    match (worst(before), worst(now)) {
        (Some((side, told)), Some((other, is))) if side == other => {
            before.level != now.level || (told - is).abs() >= at_once_beyond / 4.0
        }
        _ => before != now,
    }
}
