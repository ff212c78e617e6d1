//! Reference curves of growth: versioned data, for all sites or for one.

use crate::access::permit::Caller;
use crate::model::document::Kind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::Records;
use crate::records::assessments::flawed;
use crate::records::documents;
use crate::records::error::{Error, Result};
use crate::store::growth::{self, Kept};
use holt_audit::growth::{Reference, SoundReference};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A version of a reference curve on record.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Loaded {
    pub id: Uuid,
    pub reference: Reference,
}

impl From<Kept> for Loaded {
    fn from(kept: Kept) -> Self {
        Self { id: kept.id, reference: kept.reference }
    }
}

/// Loads a version of a reference curve: for all sites where none is named, for one otherwise.
///
/// # Errors
/// Refused where the document is not a reference curve or cannot be used, and as by [`documents::load`].
pub async fn load(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    document: &str,
) -> Result<Loaded> {
    documents::load(records, caller, request, site, &read(document)?).await
}

/// Reads a document that is to be a reference curve.
pub(super) fn read(document: &str) -> Result<SoundReference> {
    let mend = "give code, version, title, species, source, and [[age]] tables with days, l, m and s";
    let reference: Reference = documents::read(Kind::GrowthReference, Reason::Malformed, document, mend)?;
    Ok(SoundReference::try_from(reference)
        .map_err(|flaws| flawed(Reason::Malformed, "the reference curve cannot be used", flaws))?)
}

/// All versions of all reference curves that the caller may see.
///
/// # Errors
/// Faults only.
pub async fn references(records: &Records, caller: &Caller) -> Result<Vec<Loaded>> {
    let snapshot = records.store.read(&documents::reading(caller), None).await?;
    Ok(growth::references(&snapshot).await?.into_iter().map(Loaded::from).collect())
}

/// A reference curve that is on record is sound.
pub(crate) fn sound(reference: Reference) -> Result<SoundReference> {
    SoundReference::try_from(reference).map_err(|flaws| {
        let what = flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        Error::Fault(crate::store::Error::corrupt("growth_references", "content", &what))
    })
}
