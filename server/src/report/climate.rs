//! How the animals' houses stand, and what they were like over a stretch of time.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::climate::{Rules, State, Told};
use crate::records::Records;
use crate::records::climate::{book, known, states};
use crate::records::error::{Refusal, Result};
use crate::store::climate;
use chrono::{DateTime, Utc};
use holt_audit::environment::alarm::alarms;
use holt_audit::environment::exposure::exposure;
use holt_audit::terms::Interval;
use uuid::Uuid;

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
    let (devices, rules) = known(&snapshot, &permit, enclosure).await?;
    let states = states(&snapshot, &permit, devices, &book(&rules), now).await?;
    Ok((states, rules.into_iter().map(|(_, rules)| rules).collect()))
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
        return Err(Refusal::in_the_future("end of the period", "until").into());
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
