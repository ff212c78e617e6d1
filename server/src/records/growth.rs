//! Reference curves of growth: versioned data that stewards load.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::assessments::flawed;
use crate::records::documents;
use crate::records::error::{Error, Refusal, Result};
use crate::records::{Records, fresh};
use crate::store::documents::Kind;
use crate::store::growth::{self, Kept};
use crate::store::retrying;
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

/// Loads a version of a reference curve.
///
/// # Errors
/// Refused to whoever is no curator; where the document is no reference curve, contradicts itself, or its
/// version is on record.
pub async fn load(records: &Records, caller: &Caller, request: &Request, document: &str) -> Result<Loaded> {
    let reach = caller.may_everywhere(Deed::Curate)?;
    let reference: Reference = toml::from_str(document).map_err(|error| {
        Refusal::new(
            Reason::Malformed,
            format!("the document is no reference curve: {}", error.to_string().trim()),
            "give code, version, title, species, source, and [[age]] tables with days, l, m and s",
        )
        .at("toml")
    })?;
    let sound = SoundReference::try_from(reference)
        .map_err(|flaws| flawed(Reason::Malformed, "the reference curve cannot be used", flaws))?;
    documents::refuse_unprintable(&*sound)?;
    retrying("load_growth_reference", || async {
        let mut tx = fresh!(records.store.write(&reach, request).await?);
        documents::refuse_not_next(&tx, Kind::GrowthReference, &sound.code, sound.version).await?;
        let kept = growth::insert_reference(&mut tx, &sound).await?;
        Ok(tx.commit(Loaded::from(kept)).await?)
    })
    .await
}

/// All versions of all reference curves.
///
/// # Errors
/// Faults only.
pub async fn references(records: &Records, caller: &Caller) -> Result<Vec<Loaded>> {
    let snapshot = records.store.read(&caller.reach(Deed::ReadDirectory)?, None).await?;
    Ok(growth::references(&snapshot).await?.into_iter().map(Loaded::from).collect())
}

/// A reference curve that is on record is sound.
pub(crate) fn sound(reference: Reference) -> Result<SoundReference> {
    SoundReference::try_from(reference).map_err(|flaws| {
        let what = flaws.iter().map(ToString::to_string).collect::<Vec<_>>().join("; ");
        Error::Fault(crate::store::Error::corrupt("growth_references", "content", &what))
    })
}
