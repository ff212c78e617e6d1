//! Papers: added to what they go with, and told where one is missing.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Animal;
use crate::model::paper::{Content, Crossing, Occasion, Paper};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result, fault};
use crate::records::{Records, fresh, one_animal, one_locked};
use crate::store::animals::Lock;
use crate::store::papers::{self, Wanted};
use crate::store::{Tx, retrying};
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A paper to add.
#[derive(Clone, Debug)]
pub struct NewPaper {
    pub animal: String,
    pub occasion: Occasion,
    /// With a transfer: which; the latest one where none is named.
    pub transfer: Option<Uuid>,
    pub content: Content,
}

/// A paper that was added, and what is still missing for its occasion.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Added {
    pub paper: Paper,
    pub missing: Vec<String>,
}

/// Adds a paper to the arrival, departure or transfer of an animal.
///
/// # Errors
/// Refused without the role there; where the site has no such occasion of the animal on record, the paper is
/// there already, or it was issued in the future.
pub async fn add(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewPaper,
) -> Result<Added> {
    let permit = records.permit(caller, Deed::Register, site).await?;
    retrying("add_paper", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let label = one_locked(&tx, &permit, &new.animal, tx.now(), Lock::Share).await?;
        let wanted = Wanted { animal: Some(label.id), ..Wanted::default() };
        let crossings = papers::crossings(&tx, &permit, &wanted).await?;
        let meant = crossings.into_iter().find(|crossing| {
            crossing.occasion == new.occasion
                && new.transfer.is_none_or(|transfer| crossing.transfer == Some(transfer))
        });
        let Some(crossing) = meant else {
            return Err(Refusal::new(
                Reason::OutOfOrder,
                format!(
                    "no {} of {} is recorded at {}",
                    new.occasion.as_str(),
                    label.spoken(),
                    permit.site().code
                ),
                "record that first, or choose what the paper belongs to",
            )
            .at("occasion")
            .into());
        };
        refuse_not_issued_yet(&tx, &permit, &new.content, "content.issued_on")?;
        let occasion = (new.occasion, crossing.transfer);
        let content = std::slice::from_ref(&new.content);
        let added = papers::insert(&mut tx, &permit, label.id, occasion, content).await?;
        let all = papers::of(&tx, &[label.id]).await?;
        let missing = crossing.missing(&all);
        let paper = all.into_iter().find(|paper| added.contains(&paper.id));
        let paper = paper.ok_or_else(|| fault("a paper that was added is not there".to_owned()))?;
        Ok(tx.commit(Added { paper, missing }).await?)
    })
    .await
}

/// Adds the papers that come with an arrival or go with a departure that is being recorded; answers what a
/// listed animal is usually asked for and is not among them.
pub(super) async fn accompany(
    tx: &mut Tx,
    permit: &Permit,
    animal: &Animal,
    occasion: Occasion,
    contents: &[Content],
) -> Result<Vec<String>> {
    for (n, content) in contents.iter().enumerate() {
        refuse_not_issued_yet(tx, permit, content, &format!("papers[{n}].issued_on"))?;
    }
    papers::insert(tx, permit, animal.id, (occasion, None), contents).await?;
    if !animal.taxon.appendix.is_listed() {
        return Ok(Vec::new());
    }
    let wanted = Wanted { animal: Some(animal.id), listed: true, ..Wanted::default() };
    let crossings = papers::crossings(tx, permit, &wanted).await?;
    let Some(crossing) = crossings.into_iter().find(|crossing| crossing.occasion == occasion) else {
        return Ok(Vec::new());
    };
    Ok(crossing.missing(&papers::of(tx, &[animal.id]).await?))
}

/// Refuses a paper of a day to come.
pub(super) fn refuse_not_issued_yet(
    tx: &Tx,
    permit: &Permit,
    content: &Content,
    field: &str,
) -> std::result::Result<(), Refusal> {
    let today = permit.site().day_of(tx.now());
    match content.issued_on {
        Some(issued) if issued > today => Err(Refusal::in_the_future("day of issue", field)),
        _ => Ok(()),
    }
}

/// The papers of an animal, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Paper>> {
    let permit = if site.is_empty() { None } else { Some(records.permit(caller, Deed::Read, site).await?) };
    caller.reach(Deed::Read)?;
    let snapshot = records.look(caller, known_at).await?;
    let now = records.store.now();
    let label = one_animal(&snapshot, permit.as_ref(), animal, now).await?;
    Ok(papers::of(&snapshot, &[label.id]).await?)
}

/// Comings and goings of listed animals for which something is missing, latest first, as known at an instant.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn missing(
    records: &Records,
    caller: &Caller,
    site: &str,
    span: Option<(NaiveDate, NaiveDate)>,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<(Crossing, Vec<String>)>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    let wanted = Wanted { span, listed: true, animal: None };
    let crossings = papers::crossings(&snapshot, &permit, &wanted).await?;
    let animals: Vec<Uuid> = crossings.iter().map(|crossing| crossing.animal.id).collect();
    let all = papers::of(&snapshot, &animals).await?;
    let told = crossings.into_iter().map(|crossing| {
        let missing = crossing.missing(&all);
        (crossing, missing)
    });
    Ok(told.filter(|(_, missing)| !missing.is_empty()).collect())
}
