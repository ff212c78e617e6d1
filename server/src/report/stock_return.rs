//! The stock return of a site, or of several together, over any stretch of days.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::stock_return::{Books, StockReturn, StockReturns};
use crate::model::taxon::Taxon;
use crate::records::Records;
use crate::records::error::{Error, Result};
use crate::store::{self, Snapshot, census as books, taxa};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::census::{self, Who};
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

/// Days after birth within which a death is counted apart, where nothing else is asked for: common practice,
/// no source.
pub const USUAL_YOUNG_DAYS: i64 = 30;

/// What is asked.
#[derive(Clone, Debug)]
pub struct Question {
    /// Code of a site; empty for all in scope.
    pub site: String,
    pub first: NaiveDate,
    pub last: NaiveDate,
    pub young_days: i64,
    /// One return of all these sites together.
    pub together: bool,
    /// As was known at this instant; now where none.
    pub known_at: Option<DateTime<Utc>>,
}

/// Answers it from one snapshot of the database. The same question as known at the same instant has the
/// same answer for ever.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<StockReturns> {
    let permits = records.permits(caller, Deed::Read, &question.site).await?;
    let known_at = records.settled(caller, question.known_at).await?;
    let snapshot = records.look(caller, Some(known_at)).await?;
    let (taxa, books) = read(&snapshot, &permits, question).await?;
    let mut returns = Vec::with_capacity(permits.len());
    for group in together(&permits, question) {
        returns.push(one(&snapshot, group, &books, &taxa, question).await?);
    }
    let (first, last, young_days) = (question.first, question.last, question.young_days);
    Ok(StockReturns { returns, first, last, young_days, as_known_at: known_at })
}

/// The sites of each return.
pub(super) fn together<'p>(permits: &'p [Permit], question: &Question) -> Vec<&'p [Permit]> {
    if question.together { vec![permits] } else { permits.chunks(1).collect() }
}

pub(super) async fn read(
    snapshot: &Snapshot,
    permits: &[Permit],
    question: &Question,
) -> Result<(HashMap<Uuid, Taxon>, Books)> {
    let taxa = taxa::all(snapshot).await?.into_iter().map(|taxon| (taxon.id, taxon)).collect();
    let sites: Vec<Uuid> = permits.iter().map(|permit| permit.site().id).collect();
    Ok((taxa, books::books(snapshot, &sites, question.first, question.last).await?))
}

/// The return of one site in a snapshot that is there.
pub(crate) async fn of_site(
    snapshot: &Snapshot,
    permit: &Permit,
    question: &Question,
) -> Result<StockReturn> {
    let permits = std::slice::from_ref(permit);
    let (taxa, books) = read(snapshot, permits, question).await?;
    one(snapshot, permits, &books, &taxa, question).await
}

async fn one(
    snapshot: &Snapshot,
    permits: &[Permit],
    books: &Books,
    taxa: &HashMap<Uuid, Taxon>,
    question: &Question,
) -> Result<StockReturn> {
    let told = count(permits, books, question)?;
    let mut lines = Vec::with_capacity(told.lines.len());
    for (id, line) in &told.lines {
        let taxon = taxa.get(id).ok_or_else(|| fault(format!("there is no species {id}")))?;
        lines.push((taxon.clone(), *line));
    }
    lines.sort_by(|(a, _), (b, _)| a.scientific_name.cmp(&b.scientific_name));
    let at: HashMap<Uuid, Uuid> = books
        .stays
        .iter()
        .filter(|stay| permits.iter().any(|permit| permit.site().id == stay.site))
        .map(|stay| (stay.animal, stay.site))
        .collect();
    let unsure: Vec<(Uuid, Uuid)> = told
        .age_unsure
        .iter()
        .filter_map(|who| match who {
            Who::Animal(animal) => at.get(animal).map(|site| (*animal, *site)),
            // The day of birth of a litter is always on record.
            Who::Litter(_) => None,
        })
        .collect();
    let only = if let [permit] = permits { Some(permit.site()) } else { None };
    Ok(StockReturn {
        sites: permits.iter().map(|permit| permit.site().code.clone()).collect(),
        name: only.map(|site| site.name.clone()).unwrap_or_default(),
        licence: only.map(|site| site.licence.clone()).unwrap_or_default(),
        lines,
        total: told.total(),
        balances: told.balances(),
        age_unsure: books::names(snapshot, &unsure).await?,
        on_their_way: told.on_their_way.len(),
    })
}

/// The return of these sites together, and what it is the sum of.
pub(super) fn count(
    permits: &[Permit],
    books: &Books,
    question: &Question,
) -> Result<census::Return<Uuid, Uuid, Uuid>> {
    let sites: BTreeSet<Uuid> = permits.iter().map(|permit| permit.site().id).collect();
    let asked =
        census::Question { first: question.first, last: question.last, young_days: question.young_days };
    census::take(&sites, &books.stays, &books.litters, asked).map_err(|flaws| {
        let flaws: Vec<String> = flaws.iter().map(ToString::to_string).collect();
        fault(format!("the records contradict themselves: {}", flaws.join("; ")))
    })
}

pub(super) fn fault(what: String) -> Error {
    Error::Fault(store::Error::Fault(what))
}
