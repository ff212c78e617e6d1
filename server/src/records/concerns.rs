//! Concerns: raised and carried on with the readings that lead to them, taken up and settled by people.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::{Concern, ConcernKind, ConcernState, Content, Figure, Level};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, guard_version, one_animal};
use crate::store::animals::Lock;
use crate::store::concerns::{self, Step, StepKind, Wanted};
use crate::store::{Tx, retrying};
use chrono::{DateTime, Utc};
use holt_audit::companions::Whole;
use holt_audit::trend::{Matter, Trend};
use holt_audit::words::{self, Words};
use std::cmp::Reverse;
use std::collections::HashMap;
use uuid::Uuid;

/// What the trend of one animal has to say.
pub(super) struct Watched {
    pub animal: Label,
    pub trend: Trend,
    /// Those it lives with as one, if they lose as a whole.
    pub whole: Option<Whole>,
}

/// Raises what is new, carries on what is open, and answers what was raised or changed.
pub(super) async fn carry(tx: &mut Tx, permit: &Permit, watched: &[Watched]) -> Result<Vec<Concern>> {
    let animals: Vec<Uuid> = watched.iter().map(|one| one.animal.id).collect();
    let mut open: HashMap<(Uuid, ConcernKind), (Uuid, Content, i64)> = concerns::open(tx, permit, &animals)
        .await?
        .into_iter()
        .map(|(id, animal, kind, content, version)| ((animal, kind), (id, content, version)))
        .collect();
    let mut new = Vec::new();
    let mut changed = Vec::new();
    for one in watched {
        for finding in &one.trend.findings {
            let kind = kind(finding.evidence.matter());
            let words = words::told(&one.animal.spoken(), &one.trend, finding, one.whole.as_ref());
            let ids = finding.records.iter().map(|record| Uuid::from_u128(record.0)).collect();
            let content = content(words, finding.severity, ids);
            match open.remove(&(one.animal.id, kind)) {
                None => new.push((one.animal.id, kind, content)),
                Some((id, before, version)) if before != content => changed.push((id, version, content)),
                Some(_) => {}
            }
        }
        for matter in [Matter::Weight, Matter::Scale] {
            let Some((id, before, version)) = open.remove(&(one.animal.id, kind(matter))) else { continue };
            let words = words::quiet(&one.animal.spoken(), &one.trend, matter);
            let content = content(words, Level::Watch, before.record_ids.clone());
            if before != content {
                changed.push((id, version, content));
            }
        }
    }
    if new.is_empty() && changed.is_empty() {
        return Ok(Vec::new());
    }
    let mut ids = concerns::raise(tx, permit, &new).await?;
    let steps: Vec<_> = changed
        .iter()
        .map(|(id, version, content)| Step { concern: *id, version: *version, content })
        .collect();
    concerns::step(tx, permit, StepKind::Changed, &steps, "").await?;
    ids.extend(changed.iter().map(|(id, ..)| *id));
    these(tx, permit, ids).await
}

/// What a matter is called among concerns.
pub(crate) const fn kind(matter: Matter) -> ConcernKind {
    match matter {
        Matter::Weight => ConcernKind::WeightTrend,
        Matter::Scale => ConcernKind::ScaleRefused,
    }
}

fn content(words: Words, level: Level, record_ids: Vec<Uuid>) -> Content {
    let Words { seen, look_first, figures } = words;
    let figures = figures
        .into_iter()
        .map(|words::Figure { name, value, unit, low, high }| Figure {
            name: name.to_owned(),
            value,
            unit: unit.to_owned(),
            low,
            high,
        })
        .collect();
    Content { level, seen, look_first, figures, record_ids }
}

/// These concerns of a site, worst first.
async fn these(tx: &Tx, permit: &Permit, ids: Vec<Uuid>) -> Result<Vec<Concern>> {
    let wanted = Wanted { site: Some(permit.site().id), ids: Some(ids), settled: true, ..Wanted::default() };
    let mut found = concerns::list(tx, &wanted, tx.now()).await?;
    sort(&mut found);
    Ok(found)
}

async fn one(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Concern> {
    let found = these(tx, permit, vec![id]).await?.pop();
    found.ok_or_else(|| Refusal::not_found("concern", &id.to_string()).into())
}

/// Worst first: level, then age.
pub(crate) fn sort(concerns: &mut [Concern]) {
    concerns.sort_by_key(|concern| (Reverse(concern.content.level), concern.raised_at, concern.id));
}

/// Concerns at a site, or at all sites in scope, worst first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    settled: bool,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Concern>> {
    let permits = records.permits(caller, Deed::Read, site).await?;
    let now = records.store.now();
    let snapshot = records.look(caller, known_at).await?;
    let animal = if animal.is_empty() {
        None
    } else {
        let permit = permits.first().filter(|_| !site.is_empty());
        Some(one_animal(&snapshot, permit, animal, now, Lock::None).await?.id)
    };
    let mut found = Vec::new();
    for permit in &permits {
        let wanted = Wanted { site: Some(permit.site().id), animal, settled, ..Wanted::default() };
        found.extend(concerns::list(&snapshot, &wanted, now).await?);
    }
    sort(&mut found);
    Ok(found)
}

/// What a person does with a concern.
#[derive(Clone, Debug)]
pub struct Answer {
    pub concern: Uuid,
    pub note: String,
    /// Version that this was based on; 0 to skip the guard.
    pub version: i64,
    /// Settle it, rather than take it up.
    pub settle: bool,
}

/// Takes a concern up, or settles it with a reason.
///
/// # Errors
/// Refused without the role there; where there is no such concern, it is settled, or it changed meanwhile.
pub async fn answer(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    answer: &Answer,
) -> Result<Concern> {
    let permit = records.permit(caller, Deed::AnswerConcerns, site).await?;
    retrying("answer_concern", || async {
        let mut tx = fresh!(records.store.write(caller, request).await?);
        tx.at_site(permit.site().id);
        let concern = one(&tx, &permit, answer.concern).await?;
        if concern.state == ConcernState::Settled {
            return Err(Refusal::new(
                Reason::ConcernSettled,
                "the concern is settled already",
                "if it returns, it is raised anew",
            )
            .into());
        }
        guard_version("concern", answer.version, concern.version)?;
        let kind = if answer.settle { StepKind::Settled } else { StepKind::TakenUp };
        let step = Step { concern: concern.id, version: concern.version, content: &concern.content };
        concerns::step(&mut tx, &permit, kind, &[step], &answer.note).await?;
        let reply = one(&tx, &permit, concern.id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}
