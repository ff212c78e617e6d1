//! Assessments, each by a protocol.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::assessment::{Assessment, Finding, NewAssessment};
use crate::model::document::{Basis, Kept, Kind};
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::taxon::Taxon;
use crate::records::documents::{self, corrupt, flawed, sound};
use crate::records::error::{Error, Refusal, Result};
use crate::records::weights::Asked;
use crate::records::{Records, fresh, held_now, one_animal, refuse_on_the_road};
use crate::store::assessments::{self, NewRow};
use crate::store::kept;
use crate::store::weights::Wanted;
use crate::store::{Snapshot, holdings, retrying, taxa};
use holt_audit::welfare::{Graded, Protocol, Score, Sound, grade};
use std::collections::HashMap;
use uuid::Uuid;

/// An assessment with where each domain stands.
#[derive(Clone, Debug)]
pub struct Judged {
    pub assessment: Assessment,
    pub graded: Graded,
}

fn judged(assessment: Assessment, protocol: &Sound) -> Result<Judged> {
    let scores: Vec<Score> = assessment.findings.iter().map(|finding| finding.score.clone()).collect();
    let graded =
        grade::grade(protocol, &scores).map_err(|flaws| corrupt("assessments", "findings", &flaws))?;
    Ok(Judged { assessment, graded })
}

/// Refuses findings that do not fit the protocol of an identifier.
pub(super) async fn refuse_unfit(snapshot: &Snapshot, protocol: Uuid, findings: &[Finding]) -> Result<()> {
    let kept = kept::all(snapshot).await?.into_iter().find(|kept| kept.id == protocol);
    let kept = kept.ok_or_else(|| Refusal::not_found("protocol", &protocol.to_string()))?;
    let protocol: Sound = sound(kept.document)?;
    let scores: Vec<Score> = findings.iter().map(|finding| finding.score.clone()).collect();
    grade::grade(&protocol, &scores)
        .map_err(|flaws| flawed(Reason::FindingDoesNotFit, "the findings do not fit the protocol", flaws))?;
    Ok(())
}

/// Records an assessment of an animal that the site holds, by the version of the protocol that the site works by.
///
/// # Errors
/// Refused without the role there; where there is no such protocol, a finding does not fit it, the site
/// did not hold the animal then, or the time is in the future.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewAssessment,
) -> Result<(Judged, Basis)> {
    let permit = records.permit(caller, Deed::Assess, site).await?;
    let (assessment, protocol, basis): (Assessment, Protocol, Basis) =
        retrying("record_assessment", || async {
            let mut tx = fresh!(records.store.write(&permit, request).await?);
            let at = new.at.unwrap_or_else(|| tx.now());
            let (document, day) = ((Kind::Protocol, new.protocol.as_str()), permit.site().day_of(at));
            let (version, basis) = documents::to_record_by(&tx, &permit, document, new.version, day).await?;
            let kept: Kept<Protocol> = kept::one(&tx, &new.protocol, version)
                .await?
                .ok_or_else(|| Refusal::not_found("protocol", &new.protocol))?;
            let animal = held_now(&tx, &permit, &new.animal).await?;
            let protocol: Sound = sound(kept.document.clone())?;
            if !is_for(&tx, &protocol.species, &animal.taxon).await? {
                return Err(Refusal::new(
                    Reason::FindingDoesNotFit,
                    format!("the protocol {} is not for {}", protocol.code, animal.taxon.scientific_name),
                    format!("it is for {}; choose another protocol", protocol.species.join(", ")),
                )
                .at("protocol")
                .into());
            }
            let scores: Vec<Score> = new.findings.iter().map(|finding| finding.score.clone()).collect();
            grade::grade(&protocol, &scores).map_err(|flaws| {
                flawed(Reason::FindingDoesNotFit, "the findings do not fit the protocol", flaws)
            })?;
            if at > tx.now() {
                return Err(Refusal::in_the_future("time", "assessed_at").into());
            }
            let held = holdings::of(&tx, &[animal.id]).await?;
            refuse_on_the_road(&held, &permit, &animal.label(), at)
                .map_err(|refusal| refusal.at("assessed_at"))?;
            if !held.iter().any(|holding| holding.site == permit.site().id && holding.covers(at)) {
                return Err(Refusal::new(
                    Reason::AnimalNotHeldThen,
                    format!("{} did not hold {} then", permit.site().code, animal.label().spoken()),
                    "check which animal is meant, and the time",
                )
                .at("assessed_at")
                .into());
            }
            let row = NewRow {
                animal: animal.id,
                protocol: kept.id,
                at,
                on: day,
                findings: &new.findings,
                note: &new.note,
            };
            let id = assessments::insert(&mut tx, &permit, row).await?;
            let days = Some((day, day));
            let wanted = Wanted { site: Some(permit.site().id), animal: Some(animal.id), days };
            let all = assessments::list(&tx, &wanted, &Page { size: 1000, after: None }).await?;
            let assessment = all
                .entries
                .into_iter()
                .find(|one| one.id == id)
                .ok_or_else(|| Refusal::not_found("assessment", &id.to_string()))?;
            Ok::<_, Error>(tx.commit((assessment, kept.document, basis)).await?)
        })
        .await?;
    Ok((judged(assessment, &sound(protocol)?)?, basis))
}

/// Assessments, newest first.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Judged>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let animal = if asked.animal.is_empty() {
        None
    } else {
        let now = records.store.now();
        Some(one_animal(&snapshot, Some(&permit), &asked.animal, now).await?.id)
    };
    let wanted = Wanted { site: Some(permit.site().id), animal, days: asked.days };
    judged_page(&snapshot, &wanted, page).await
}

async fn judged_page(snapshot: &Snapshot, wanted: &Wanted, page: &Page) -> Result<Slice<Judged>> {
    let found = assessments::list(snapshot, wanted, page).await?;
    let protocols: HashMap<(String, u32), Sound> = kept::all::<Protocol>(snapshot)
        .await?
        .into_iter()
        .map(|kept| Ok(((kept.document.code.clone(), kept.document.version), sound(kept.document)?)))
        .collect::<Result<_>>()?;
    let entries = found
        .entries
        .into_iter()
        .map(|one| {
            let key = (one.protocol.clone(), u32::try_from(one.protocol_version).unwrap_or_default());
            let protocol =
                protocols.get(&key).ok_or_else(|| Refusal::not_found("protocol", &one.protocol))?;
            judged(one, protocol)
        })
        .collect::<Result<_>>()?;
    Ok(Slice { entries, next: found.next })
}

/// Whether what is for these species (for any where there are none) is for one, by any of the names that it
/// goes by.
pub(super) async fn is_for(snapshot: &Snapshot, species: &[String], taxon: &Taxon) -> Result<bool> {
    let names = |name: &String| species.contains(name);
    if species.is_empty() || names(&taxon.scientific_name) {
        return Ok(true);
    }
    let known = taxa::with_synonyms(snapshot, taxon.clone()).await?;
    Ok(known.synonyms.iter().any(|synonym| names(&synonym.name)))
}

/// All assessments that are wanted, oldest first.
pub(crate) async fn all(snapshot: &Snapshot, wanted: &Wanted) -> Result<Vec<Judged>> {
    let mut all = Vec::new();
    let mut page = Page { size: 1000, after: None };
    loop {
        let found = judged_page(snapshot, wanted, &page).await?;
        all.extend(found.entries);
        match found.next {
            Some(next) => page.after = Some(next),
            None => break,
        }
    }
    all.reverse();
    Ok(all)
}
