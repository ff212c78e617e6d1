//! How a site stands as of a day: is it done, where is the proof, and where is it not?

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::check::DueState;
use crate::model::page::Page;
use crate::model::report::{SiteDay, SiteDays};
use crate::model::taxon::Taxon;
use crate::records::checks::Duties;
use crate::records::error::Result;
use crate::records::{Records, concerns, loans, transfers as rules};
use crate::store::animals::Lens;
use crate::store::transfers::Wanted;
use crate::store::{Snapshot, concerns as concern_store, litters, transfers};
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::terms::Counts;
use std::collections::BTreeMap;

/// Days that coverage and transfers look back over where none are asked for.
pub const USUAL_SPAN: u64 = 30;

/// What this report is and is not; printed with it.
pub const CAUTION: &str = "This report shows what is recorded and what is not. It does not show that the \
    animals are well. It does not replace an inspection, your vet, your licence or local law.";

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    /// Code of a site; empty for all in scope.
    pub site: String,
    /// As of the close of this day; today where none.
    pub as_of: Option<NaiveDate>,
    /// Days to look back over, that day included.
    pub span_days: u64,
    /// As was known at this instant; now where none.
    pub known_at: Option<DateTime<Utc>>,
}

/// Answers it from one snapshot of the database. The same question with the same two times has the same
/// answer for ever.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<SiteDays> {
    let permits = records.permits(caller, Deed::Read, &question.site).await?;
    let known_at = records.settled(caller, question.known_at).await?;
    let now = records.store.now();
    let snapshot = records.look(caller, Some(known_at)).await?;
    let as_of = question.as_of.unwrap_or_else(|| {
        permits.first().map_or_else(|| now.date_naive(), |permit| permit.site().day_of(now))
    });
    let mut sites = Vec::with_capacity(permits.len());
    for permit in &permits {
        let notice = records.loan_notice_days;
        sites.push(one(&snapshot, permit, as_of, question.span_days, known_at, notice).await?);
    }
    let first = as_of.checked_sub_days(Days::new(question.span_days - 1)).unwrap_or(NaiveDate::MIN);
    Ok(SiteDays { sites, as_of, first, as_known_at: known_at })
}

async fn one(
    snapshot: &Snapshot,
    permit: &Permit,
    day: NaiveDate,
    span_days: u64,
    known_at: DateTime<Utc>,
    loan_notice_days: u16,
) -> Result<SiteDay> {
    let site = permit.site();
    // The whole day, also where it is still running: then what was known limits what is told.
    let lens = Lens { site: Some(site.id), at: site.close_of(day), day };
    let duties = Duties::load(snapshot, permit, lens, span_days.max(USUAL_SPAN) + 370).await?;
    let mut stock: BTreeMap<Taxon, Counts> = BTreeMap::new();
    for stay in duties.held() {
        *stock.entry(stay.taxon.clone()).or_default() += Counts::of(stay.sex, 1);
    }
    for (taxon, young) in litters::counted(snapshot, permit, day).await? {
        *stock.entry(taxon).or_default() += young;
    }
    let mut stock: Vec<(Taxon, Counts)> = stock.into_iter().collect();
    stock.sort_by(|(a, _), (b, _)| a.scientific_name.cmp(&b.scientific_name));
    let total = stock.iter().map(|(_, counts)| *counts).sum();
    let mut overdue = duties.due()?;
    overdue.retain(|item| item.state == DueState::Overdue);
    let wanted =
        concern_store::Wanted { site: Some(site.id), at: Some(lens.at), ..concern_store::Wanted::default() };
    let mut open = concern_store::list(snapshot, &wanted, known_at).await?;
    concerns::sort(&mut open);
    let first = day.checked_sub_days(Days::new(span_days - 1)).unwrap_or(NaiveDate::MIN);
    let wanted =
        Wanted { site: Some(site.id), between: Some((site.start_of(first), lens.at)), ..Wanted::default() };
    let mut moves = Vec::new();
    let mut page = Page { size: 1000, after: None };
    loop {
        let some = transfers::list(snapshot, &wanted, &page).await?;
        moves.extend(some.entries);
        let Some(next) = some.next else { break };
        page.after = Some(next);
    }
    for transfer in &mut moves {
        transfer.missing = rules::missing(transfer);
    }
    Ok(SiteDay {
        site: site.code.clone(),
        name: site.name.clone(),
        stock,
        total,
        coverage: duties.coverage(span_days)?,
        overdue,
        concerns: open,
        transfers: moves,
        loans_ending: loans::due(snapshot, permit, lens, loan_notice_days).await?,
    })
}
