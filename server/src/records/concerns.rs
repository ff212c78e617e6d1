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
use holt_audit::terms::{Mass, RecordId};
use holt_audit::trend::{Evidence, Finding, Trend};
use std::cmp::Reverse;
use std::collections::HashMap;
use uuid::Uuid;

/// What the trend of one animal has to say.
pub(super) struct Watched {
    pub animal: Label,
    pub trend: Trend,
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
            let (kind, content) = told(one, finding);
            match open.remove(&(one.animal.id, kind)) {
                None => new.push((one.animal.id, kind, content)),
                Some((id, before, version)) if before != content => changed.push((id, version, content)),
                Some(_) => {}
            }
        }
        for kind in [ConcernKind::WeightTrend, ConcernKind::ScaleRefused] {
            let Some((id, before, version)) = open.remove(&(one.animal.id, kind)) else { continue };
            let content = quiet(one, kind, &before);
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

fn figure(name: &str, value: f64, unit: &str) -> Figure {
    Figure { name: name.to_owned(), value: round(value), unit: unit.to_owned(), low: None, high: None }
}

/// To a hundredth: what is told must be the same wherever it is computed.
fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn ids(records: &[RecordId]) -> Vec<Uuid> {
    records.iter().map(|record| Uuid::from_u128(record.0)).collect()
}

fn grams(mass: Mass) -> String {
    if mass.grams() >= 10_000.0 { format!("{:.2} kg", mass.kg()) } else { format!("{:.0} g", mass.grams()) }
}

/// A finding as a concern.
fn told(one: &Watched, finding: &Finding) -> (ConcernKind, Content) {
    let name = one.animal.spoken();
    let (kind, seen, look_first, figures) = match &finding.evidence {
        Evidence::Loss(loss) => {
            let way = if loss.sharp { "from one weighing to the next" } else { "bit by bit" };
            let seen = format!(
                "{name} weighed {} last and should weigh {}: {:.1} % below what is usual for it, lost {way} since {}.",
                grams(loss.latest),
                grams(loss.expected),
                -loss.change_percent,
                finding.since
            );
            let look = "Weigh again on the same scale before the feed; watch a whole feed: does it eat, is it \
                        kept off its food, does it hang back; look at teeth, stool and wounds.";
            let mut figures = vec![
                figure("change against expected", loss.change_percent, "%"),
                figure("smoothed change against expected", loss.level_percent, "%"),
                figure("latest mass", loss.latest.grams(), "g"),
                figure("expected mass", loss.expected.grams(), "g"),
            ];
            if let Some(slope) = &one.trend.slope {
                figures.push(Figure {
                    low: Some(round(slope.low)),
                    high: Some(round(slope.high)),
                    ..figure("slope (Theil-Sen, 95 %)", slope.percent_per_week, "%/wk")
                });
            }
            if let Some(baseline) = &one.trend.baseline {
                figures.push(figure("usual spread of a reading", baseline.spread_percent, "%"));
                #[expect(clippy::cast_precision_loss, reason = "a few hundred weeks at most")]
                figures.push(figure("weeks in the baseline", baseline.weeks as f64, "wk"));
            }
            (ConcernKind::WeightTrend, seen, look, figures)
        }
        Evidence::Refusal(refusal) => {
            let seen = format!(
                "{name} would not come to the scale {} times in a row; before, it refused {:.0} % of the time.",
                refusal.in_a_row, refusal.usual_percent
            );
            let look = "See whether it comes for food at all; whether others keep it away from the scale; whether \
                        it moves freely. Its weight is not known meanwhile.";
            let figures = vec![
                figure("refusals in a row", f64::from(refusal.in_a_row), "1"),
                figure("refused before", refusal.usual_percent, "%"),
                Figure { value: refusal.chance, ..figure("chance of such a row by habit", 0.0, "1") },
            ];
            (ConcernKind::ScaleRefused, seen, look, figures)
        }
    };
    let content = Content {
        level: finding.severity,
        seen,
        look_first: look_first.to_owned(),
        figures,
        record_ids: ids(&finding.records),
    };
    (kind, content)
}

/// What an open concern says once its finding is there no more: people settle it, not Holt.
fn quiet(one: &Watched, kind: ConcernKind, before: &Content) -> Content {
    let name = one.animal.spoken();
    let (seen, figures) = match kind {
        ConcernKind::WeightTrend => (
            format!("{name} is back where its weight is not remarkable."),
            one.trend.change_percent.map(|change| figure("change against expected", change, "%")),
        ),
        ConcernKind::ScaleRefused => (format!("{name} came to the scale again."), None),
    };
    Content {
        level: Level::Watch,
        seen,
        look_first: "If you agree that it is over, settle it and say why.".to_owned(),
        figures: figures.into_iter().collect(),
        record_ids: before.record_ids.clone(),
    }
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
) -> Result<Vec<Concern>> {
    let permits = records.permits(caller, Deed::Read, site).await?;
    let now = records.store.now();
    let snapshot = records.look(caller, None).await?;
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
