//! What the records of a site answer to each clause of a law or a standard, with every exception by name.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::document::{Basis, Kind};
use crate::model::reason::Reason;
use crate::model::standard::{Answer, Answered, Answers, Exception, Key};
use crate::records::Records;
use crate::records::documents::{in_force, sound};
use crate::records::error::{Refusal, Result};
use crate::report::evidence::{Body, Inquiry};
use crate::store::kept;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::compliance::{self, Finding, Period, Standing, Why, evaluate};
use holt_audit::standard::{Clause, EvidenceKind, SoundStandard};
use std::cmp::Reverse;
use uuid::Uuid;

/// Exceptions of a clause that are told where nothing else is asked for.
pub const USUAL_EXCEPTIONS: usize = 20;

/// Days that can be asked about at once: ten years.
pub const MOST_DAYS: i64 = 3660;

/// From how many subjects on an answer needs no remark that they are few.
const FEW: u32 = 5;

/// What the answers are and are not; told with them.
pub const CAUTION: &str = "These answers show what is recorded and what is not. They do not show that the \
    animals are well, and clauses that no record can show have no answer. They do not replace an \
    inspection, your vet, your licence or local law.";

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    /// Code of the standard.
    pub standard: String,
    /// Its version; 0 for the one by which the site works on the last day.
    pub version: i32,
    pub first: NaiveDate,
    pub last: NaiveDate,
    /// Most exceptions of each clause.
    pub exceptions: usize,
    /// As was known at this instant; now where none.
    pub known_at: Option<DateTime<Utc>>,
}

/// Answers it from one snapshot of the database, seen as the one site sees it. The same question as known at the same
/// instant has the same answer for ever.
///
/// # Errors
/// Refused where there is no such site in scope or no such standard, or the days are too many or not over yet.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<Answers> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let site = permit.site();
    let known_at = records.settled(caller, question.known_at).await?;
    let period = Period { first: question.first, last: question.last };
    refuse_days(period, site.day_of(known_at))?;
    let snapshot = records.store.read(&permit, Some(known_at)).await?;
    let document = (Kind::Standard, question.standard.as_str());
    let (in_use, basis) = in_force(&snapshot, &permit, document, period.last).await?;
    let (version, basis) =
        if question.version == 0 { (in_use, basis) } else { (question.version, Basis::Named) };
    let kept = kept::one(&snapshot, &question.standard, version).await?;
    let kept = kept.ok_or_else(|| {
        let named = format!("{}@{version}", question.standard);
        Refusal::not_found(Kind::Standard.spoken(), &named)
    })?;
    let standard: SoundStandard = sound(kept.document)?;
    let inquiry = Inquiry::open(&snapshot, &permit, &standard, period, known_at).await?;
    let mut clauses = Vec::with_capacity(standard.clauses.len());
    for clause in &standard.clauses {
        clauses.push(answered(&inquiry, clause, question.exceptions).await?);
    }
    // Those that stand alike stay in the order of the standard.
    clauses.sort_by_key(|one| (one.answer, share(one)));
    Ok(Answers {
        site: site.code.clone(),
        name: site.name.clone(),
        licence: site.licence.clone(),
        standard: (*standard).clone(),
        basis,
        first: period.first,
        last: period.last,
        as_known_at: known_at,
        clauses,
    })
}

fn refuse_days(period: Period, known_until: NaiveDate) -> std::result::Result<(), Refusal> {
    if period.last > known_until {
        let say = format!("the last day, {}, is after {known_until}, the last known day", period.last);
        return Err(
            Refusal::new(Reason::InTheFuture, say, "ask about days that are over or running").at("days")
        );
    }
    let days = (period.last - period.first).num_days() + 1;
    if days > MOST_DAYS {
        let say = format!("{days} days are too many");
        return Err(
            Refusal::new(Reason::Malformed, say, format!("ask about {MOST_DAYS} days at most")).at("days")
        );
    }
    Ok(())
}

/// Out of ten thousand, how many fulfil a clause.
fn share(one: &Answered) -> u64 {
    u64::from(one.numerator) * 10_000 / u64::from(one.denominator.max(1))
}

async fn answered(inquiry: &Inquiry<'_>, clause: &Clause, most: usize) -> Result<Answered> {
    let body = match inquiry.body(clause).await? {
        Ok(body) => body,
        Err(why) => return Ok(not_computed(clause, why)),
    };
    let mut finding = evaluate(clause, inquiry.period, &body.scope, &body.evidence);
    finding.exceptions.sort_by_key(|one| worst_first(&one.why));
    let more = finding.exceptions.len().saturating_sub(most);
    let remark = remark(&finding);
    finding.exceptions.truncate(most);
    Ok(Answered {
        clause: clause.clone(),
        answer: match finding.standing {
            Standing::Met => Answer::Met,
            Standing::Short => Answer::Short,
            Standing::NoEvidence => Answer::NoEvidence,
            Standing::NothingInScope => Answer::NotApplicable,
        },
        numerator: finding.numerator,
        denominator: finding.denominator,
        exceptions: finding.exceptions.into_iter().map(|one| exception(one, clause, &body)).collect(),
        more,
        remark,
    })
}

fn not_computed(clause: &Clause, why: &str) -> Answered {
    Answered {
        clause: clause.clone(),
        answer: Answer::NotComputed,
        numerator: 0,
        denominator: 0,
        exceptions: Vec::new(),
        more: 0,
        remark: why.to_owned(),
    }
}

/// What was never seen before what was seen to be wrong, the newest first, before what came too late, the
/// longest first.
fn worst_first<R>(why: &Why<R>) -> (u8, Reverse<i64>) {
    let number = |day: NaiveDate| i64::from(chrono::Datelike::num_days_from_ce(&day));
    match why {
        Why::NoEvidence { last: None } => (0, Reverse(0)),
        Why::NoEvidence { last: Some((day, _)) } => (1, Reverse(-number(*day))),
        Why::Short { day, .. } => (2, Reverse(number(*day))),
        Why::Gap { days, .. } => (3, Reverse(*days)),
    }
}

/// What is looked for, as people say it.
const fn noun(kind: EvidenceKind) -> &'static str {
    match kind {
        EvidenceKind::AnimalsIdentified => "mark",
        EvidenceKind::WeightsInTime => "weight",
        EvidenceKind::AssessmentsInTime => "assessment",
        EvidenceKind::ChecksDone => "check",
        EvidenceKind::DietsOnRecord => "feed plan",
        EvidenceKind::EnrichmentVaried => "enrichment",
        EvidenceKind::EnvironmentInRange => "reading",
        EvidenceKind::WithinCapacity => "capacity",
        EvidenceKind::TransfersPapered
        | EvidenceKind::DeathsExplained
        | EvidenceKind::ConcernsAnswered
        | EvidenceKind::StockBalances
        | EvidenceKind::LedgerVerifies
        | EvidenceKind::StaffAllowed
        | EvidenceKind::TreatmentsRecorded
        | EvidenceKind::ObserversAgree => "record",
    }
}

fn exception(one: compliance::Exception<Key, Option<Uuid>>, clause: &Clause, body: &Body) -> Exception {
    let noun = noun(clause.evidence);
    let (what, day, record) = match one.why {
        Why::NoEvidence { last: None } => (format!("no {noun} recorded"), None, None),
        Why::NoEvidence { last: Some((day, record)) } => {
            (format!("no {noun} in these days, the last on {day}"), Some(day), record)
        }
        Why::Short { day, reason, record } => (reason, Some(day), record),
        Why::Gap { from, until, days } => (
            format!("no {noun} for {days} days, {from} to {until}"),
            Some(until),
            at(body, one.subject, from),
        ),
    };
    let name = body.names.get(&one.subject).cloned().unwrap_or_default();
    Exception { subject: one.subject, name, what, day, record }
}

/// The record of a day with which a stretch without any began.
fn at(body: &Body, subject: Key, day: NaiveDate) -> Option<Uuid> {
    body.evidence.iter().find(|piece| piece.subject == subject && piece.day == day)?.record
}

/// How far an answer can be relied on.
fn remark<R>(finding: &Finding<Key, R>) -> String {
    let mut said = Vec::new();
    let unseen = finding.exceptions.iter().filter(|one| matches!(one.why, Why::NoEvidence { .. })).count();
    if unseen > 0 && finding.standing != Standing::NoEvidence {
        said.push(format!("Of {}, {unseen} have no evidence in these days.", finding.denominator));
    }
    if (1..FEW).contains(&finding.denominator) {
        said.push(format!("Only {} counted: one more or less changes the answer much.", finding.denominator));
    }
    said.join(" ")
}
