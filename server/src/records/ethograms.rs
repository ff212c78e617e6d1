//! Ethograms: versioned data, for all sites or for one.

use crate::access::permit::Caller;
use crate::model::document::Kind;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::Records;
use crate::records::assessments::flawed;
use crate::records::documents;
use crate::records::error::{Error, Result};
use crate::store::Snapshot;
use crate::store::ethograms::{self, Kept};
use holt_audit::ethogram::{Ethogram, SoundEthogram};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use uuid::Uuid;

/// A version of an ethogram on record.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub struct Loaded {
    pub id: Uuid,
    pub ethogram: Ethogram,
}

impl From<Kept> for Loaded {
    fn from(kept: Kept) -> Self {
        Self { id: kept.id, ethogram: kept.ethogram }
    }
}

/// Loads a version of an ethogram: for all sites where none is named, for one otherwise.
///
/// # Errors
/// Refused where the document is not an ethogram or cannot be used, and as by [`documents::load`].
pub async fn load(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    document: &str,
) -> Result<Loaded> {
    documents::load(records, caller, request, site, &read(document)?).await
}

/// Reads a document that is to be an ethogram.
pub(super) fn read(document: &str) -> Result<SoundEthogram> {
    let mend = "give code, version, title, and [[behaviour]] tables with code, name, kind and meaning";
    let ethogram: Ethogram = documents::read(Kind::Ethogram, Reason::Malformed, document, mend)?;
    Ok(SoundEthogram::try_from(ethogram)
        .map_err(|flaws| flawed(Reason::Malformed, "the ethogram cannot be used", flaws))?)
}

/// All versions of all ethograms that the caller may see.
///
/// # Errors
/// Faults only.
pub async fn list(records: &Records, caller: &Caller) -> Result<Vec<Loaded>> {
    let snapshot = records.store.read(&documents::reading(caller), None).await?;
    Ok(ethograms::all(&snapshot).await?.into_iter().map(Loaded::from).collect())
}

/// An ethogram that is on record is sound.
pub(super) fn sound(ethogram: Ethogram) -> Result<SoundEthogram> {
    SoundEthogram::try_from(ethogram).map_err(|flaws| {
        let what = flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        Error::Fault(crate::store::Error::corrupt("ethograms", "content", &what))
    })
}

/// All ethograms on record, by identifier.
pub(crate) async fn book(snapshot: &Snapshot) -> Result<HashMap<Uuid, SoundEthogram>> {
    let all = ethograms::all(snapshot).await?;
    all.into_iter().map(|kept| Ok((kept.id, sound(kept.ethogram)?))).collect()
}
