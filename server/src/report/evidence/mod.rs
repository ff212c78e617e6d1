//! What records show of the clauses of a standard: whom a clause counts, and what is on record about each.

mod animals;
mod events;
mod places;
mod states;

use crate::access::permit::Permit;
use crate::model::standard::{Key, SubjectKind};
use crate::records::checks::Duties;
use crate::records::error::Result;
use crate::store::Snapshot;
use crate::store::animals::Lens;
use crate::store::evidence::During;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::compliance::{Evidence, Period, Rule, Shows, Subject};
use holt_audit::standard::{Clause, EvidenceKind, Standard};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Days before the first in which is looked for what was done last, where a clause asks for no longer rhythm:
/// those that answer due days of checks.
const LOOK_BACK: u16 = 400;

/// What is on record about one subject; without a record where the books themselves say it.
pub(super) type Piece = Evidence<Key, Option<Uuid>>;

/// Whom a clause counts, and what is on record about them.
#[derive(Debug, Default)]
pub(super) struct Body {
    pub(super) scope: Vec<Subject<Key>>,
    pub(super) evidence: Vec<Piece>,
    pub(super) names: BTreeMap<Key, String>,
}

impl Body {
    /// Takes in a subject that is in scope from a day to another, both included; to no end where there is none.
    fn subject(&mut self, key: Key, name: String, from: NaiveDate, last: Option<NaiveDate>) {
        let until = last.and_then(|last| last.succ_opt());
        self.scope.push(Subject { key, from, until });
        self.names.entry(key).or_insert(name);
    }

    fn shows(&mut self, subject: Key, day: NaiveDate, shows: Shows, record: Option<Uuid>) {
        self.evidence.push(Evidence { subject, day, shows, record });
    }

    /// One thing of one day that came out well, or did not for these reasons.
    fn outcome(&mut self, key: Key, name: String, day: NaiveDate, wrong: &[String], record: Option<Uuid>) {
        self.subject(key, name, day, Some(day));
        let shows = if wrong.is_empty() { Shows::Met } else { Shows::Short(wrong.join("; ")) };
        self.shows(key, day, shows, record);
    }
}

const fn key(kind: SubjectKind, id: Uuid) -> Key {
    Key { kind, id }
}

/// A site, some days, and what all clauses have in common.
pub(super) struct Inquiry<'s> {
    snapshot: &'s Snapshot,
    permit: &'s Permit,
    pub(super) period: Period,
    during: During,
    known_at: DateTime<Utc>,
    duties: Duties,
}

impl<'s> Inquiry<'s> {
    pub(super) async fn open(
        snapshot: &'s Snapshot,
        permit: &'s Permit,
        standard: &Standard,
        period: Period,
        known_at: DateTime<Utc>,
    ) -> Result<Self> {
        let site = permit.site();
        let during = During {
            first: period.first,
            last: period.last,
            from: site.start_of(period.first),
            until: site.close_of(period.last),
        };
        let rhythm = |clause: &Clause| if let Rule::Every { days } = clause.rule { days } else { 0 };
        let back = standard.clauses.iter().map(rhythm).max().unwrap_or_default().max(LOOK_BACK);
        let days = (period.last - period.first).num_days().unsigned_abs() + u64::from(back);
        let lens = Lens { site: Some(site.id), at: during.until, day: period.last };
        let duties = Duties::load(snapshot, permit, lens, days).await?;
        Ok(Self { snapshot, permit, period, during, known_at, duties })
    }

    fn day_of(&self, at: DateTime<Utc>) -> NaiveDate {
        self.permit.site().day_of(at)
    }

    /// What is on record for a clause; why nothing is looked at where Holt does not.
    pub(super) async fn body(&self, clause: &Clause) -> Result<std::result::Result<Body, &'static str>> {
        Ok(match clause.evidence {
            EvidenceKind::AnimalsIdentified => Ok(self.identified(clause).await?),
            EvidenceKind::WeightsInTime => Ok(self.weighed(clause)),
            EvidenceKind::AssessmentsInTime => Ok(self.assessed(clause)),
            EvidenceKind::ChecksDone => Ok(self.checked(clause)?),
            EvidenceKind::DietsOnRecord => Ok(self.fed(clause).await?),
            EvidenceKind::EnrichmentVaried => Ok(self.enriched(clause).await?),
            EvidenceKind::EnvironmentInRange => Ok(self.kept_in_range().await?),
            EvidenceKind::TransfersPapered => Ok(self.moved().await?),
            EvidenceKind::DeathsExplained => Ok(self.died().await?),
            EvidenceKind::ConcernsAnswered => Ok(self.answered(clause).await?),
            EvidenceKind::StockBalances => Ok(self.balanced().await?),
            EvidenceKind::WithinCapacity => Ok(self.housed().await?),
            EvidenceKind::LedgerVerifies => {
                Err("Holt does not verify the ledger here. Verify it separately: that reads everything, and \
                 answers as of now.")
            }
            EvidenceKind::StaffAllowed => Err("Holt has no record of who is allowed to work there."),
            EvidenceKind::TreatmentsRecorded => Err("Holt has no record of treatments."),
            EvidenceKind::ObserversAgree => {
                Err("Holt does not compare observers here. Compare them by protocol.")
            }
        })
    }
}
