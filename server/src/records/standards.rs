//! Standards: versioned data, for all sites or for one.

use crate::access::permit::Caller;
use crate::model::document::Kind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::Records;
use crate::records::assessments::flawed;
use crate::records::documents;
use crate::records::error::{Error, Result};
use crate::store::standards::{self, Kept};
use holt_audit::standard::{SoundStandard, Standard};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// A version of a standard on record.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Loaded {
    pub id: Uuid,
    pub standard: Standard,
}

impl From<Kept> for Loaded {
    fn from(kept: Kept) -> Self {
        Self { id: kept.id, standard: kept.standard }
    }
}

/// Loads a version of a standard: for all sites where none is named, for one otherwise.
///
/// # Errors
/// Refused where the document is not a standard or cannot be used, and as by [`documents::load`].
pub async fn load(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    document: &str,
) -> Result<Loaded> {
    documents::load(records, caller, request, site, &read(document)?).await
}

/// Reads a document that is to be a standard.
pub(super) fn read(document: &str) -> Result<SoundStandard> {
    let mend = "give code, version, title, source, year, and [[clause]] tables with number, text, basis, evidence and \
                rule";
    let standard: Standard = documents::read(Kind::Standard, Reason::Malformed, document, mend)?;
    Ok(SoundStandard::try_from(standard)
        .map_err(|flaws| flawed(Reason::Malformed, "the standard cannot be used", flaws))?)
}

/// All versions of all standards that the caller may see.
///
/// # Errors
/// Faults only.
pub async fn list(records: &Records, caller: &Caller) -> Result<Vec<Loaded>> {
    let snapshot = records.store.read(&documents::reading(caller), None).await?;
    Ok(standards::all(&snapshot).await?.into_iter().map(Loaded::from).collect())
}

/// A standard that is on record is sound.
pub(crate) fn sound(standard: Standard) -> Result<SoundStandard> {
    SoundStandard::try_from(standard).map_err(|flaws| {
        let what = flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        Error::Fault(crate::store::Error::corrupt("standards", "content", &what))
    })
}
