//! When the steps of a transfer happened: now, or before they were recorded.

use crate::model::moment::Moment;
use crate::model::reason::Reason;
use crate::model::site::Site;
use crate::records::error::{Refusal, Result};
use crate::store::{Tx, deaths};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// An instant, and whether only its day is known.
pub(super) type Stamp = (DateTime<Utc>, bool);

/// What a step follows.
pub(super) struct Before<'a> {
    pub(super) at: DateTime<Utc>,
    /// In words: "the step that it follows".
    pub(super) what: &'a str,
}

/// When something happened, in the time of a site: not in the future, and not before what it follows. Of a day alone it
/// is the first instant that may be.
///
/// # Errors
/// Refused at `…_at` or `…_on` of a name.
pub(super) fn happened(
    tx: &Tx,
    site: &Site,
    when: Option<Moment>,
    name: &str,
    before: &Before<'_>,
) -> Result<Stamp> {
    let (now, at_field, on_field) = (tx.now(), format!("{name}_at"), format!("{name}_on"));
    let too_early = |what: &str, field: &str| {
        let say = format!("the {what} is before {}", before.what);
        Refusal::new(Reason::OutOfOrder, say, format!("correct the {what}")).at(field)
    };
    match when {
        None => Ok((now, false)),
        Some(Moment::At(at)) if at > now => Err(Refusal::in_the_future("time", &at_field).into()),
        Some(Moment::At(at)) if at < before.at => Err(too_early("time", &at_field).into()),
        Some(Moment::At(at)) => Ok((at, false)),
        Some(Moment::On(day)) if day > site.day_of(now) => {
            Err(Refusal::in_the_future("day", &on_field).into())
        }
        Some(Moment::On(day)) if site.close_of(day) < before.at => Err(too_early("day", &on_field).into()),
        Some(Moment::On(day)) => Ok((site.start_of(day).max(before.at), true)),
    }
}

/// The same where the animal left the sender, or was lost, by then: of a day alone after what was seen of it on that day.
///
/// # Errors
/// [`crate::store::Error::Lost`] where the database is away.
pub(super) async fn after_what_was_seen(
    tx: &Tx,
    site: &Site,
    animal: Uuid,
    (at, day_only): Stamp,
    dies: bool,
) -> Result<Stamp> {
    if !day_only {
        return Ok((at, false));
    }
    let on = site.day_of(at);
    let seen = deaths::later(tx, animal, at, on, dies).await?.map(|seen| seen.at);
    let seen = seen.filter(|seen| *seen <= site.close_of(on));
    Ok((seen.unwrap_or(at), true))
}
