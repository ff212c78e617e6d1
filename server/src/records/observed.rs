//! What the watches of a group come to, for whoever counts.

use crate::access::permit::Permit;
use crate::records::documents::sound;
use crate::records::error::Result;
use crate::store::groups::{self, Stay};
use crate::store::watches::{self, Wanted};
use crate::store::{Snapshot, kept};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::ethogram::SoundEthogram;
use holt_audit::standing::observed::{self, Observed, Session};
use holt_audit::terms::Interval;
use std::collections::HashMap;
use uuid::Uuid;

/// Ratings follow contests so far back; what is older says nothing of today.
const REACH: TimeDelta = TimeDelta::days(365);

/// What was seen of a group up to an instant.
pub(crate) struct Book {
    pub stays: Vec<Stay>,
    /// Oldest first, each with its watch.
    sessions: Vec<(Uuid, Session<Uuid>)>,
}

impl Book {
    /// All that was seen of a group before an instant, as was known at that of the snapshot.
    pub(crate) async fn of(
        snapshot: &Snapshot,
        permit: &Permit,
        group: Uuid,
        until: DateTime<Utc>,
    ) -> Result<Self> {
        let from = until - REACH;
        let wanted = Wanted { group: Some(group), during: Some((from, until)), ..Wanted::default() };
        let watches = watches::all(snapshot, permit, &wanted).await?;
        let ethograms = ethograms(snapshot).await?;
        let session = |watch: &crate::model::watch::Watch| {
            ethograms.get(&watch.ethogram_id).map(|ethogram| (watch.id, watch.session(ethogram)))
        };
        let sessions = watches.iter().filter_map(session).collect();
        Ok(Self { stays: groups::stays(snapshot, permit, group, from, until).await?, sessions })
    }

    /// How many watches began from an instant on.
    pub(crate) fn count(&self, from: DateTime<Utc>) -> usize {
        self.sessions.iter().filter(|(_, session)| session.from >= from).count()
    }

    /// What is counted of the watches that began from an instant on.
    pub(crate) fn observed(&self, from: DateTime<Utc>) -> Observed<Uuid> {
        let stays: Vec<observed::Stay<Uuid>> = self
            .stays
            .iter()
            .map(|stay| observed::Stay {
                animal: stay.animal,
                during: Interval { from: stay.began_at, until: stay.ended_at },
            })
            .collect();
        let late = self.sessions.iter().filter(|(_, session)| session.from >= from);
        observed::observed(&stays, late.map(|(_, session)| session))
    }

    /// What is counted of all of them.
    pub(crate) fn all(&self) -> Observed<Uuid> {
        self.observed(DateTime::<Utc>::MIN_UTC)
    }

    /// The watches that began from an instant on, oldest first.
    pub(crate) fn watches(&self, from: DateTime<Utc>) -> Vec<Uuid> {
        let late = self.sessions.iter().filter(|(_, session)| session.from >= from);
        late.map(|(watch, _)| *watch).collect()
    }

    /// When the latest watch ended.
    pub(crate) fn latest(&self) -> Option<DateTime<Utc>> {
        self.sessions.iter().map(|(_, session)| session.until).max()
    }

    /// The members at an instant.
    pub(crate) fn members(&self, at: DateTime<Utc>) -> Vec<&Stay> {
        let covers = |stay: &&Stay| stay.began_at <= at && stay.ended_at.is_none_or(|end| end > at);
        self.stays.iter().filter(covers).collect()
    }
}

/// All ethograms on record, by identifier.
async fn ethograms(snapshot: &Snapshot) -> Result<HashMap<Uuid, SoundEthogram>> {
    let all = kept::all(snapshot).await?;
    all.into_iter().map(|kept| Ok((kept.id, sound(kept.document)?))).collect()
}
