//! Each record has a life of its own again as a link ends, and dies its own death alone.

use crate::model::fact::{FactKind, Version};
use crate::records::animals::end_with_its_life;
use crate::records::corrections::lasting;
use crate::records::error::Result;
use crate::store::{Tx, corrections};
use uuid::Uuid;

/// Has what ended with a death go on, where that turns out to be of another animal.
pub(super) async fn survive(tx: &mut Tx, animal: Uuid, death: &Version, why: &str) -> Result<()> {
    if corrections::standing(tx, animal, FactKind::Death).await?.iter().any(|own| own.id() == death.id()) {
        return Ok(());
    }
    let Some(died) = death.instant("died_at") else { return Ok(()) };
    for ended in corrections::meeting(tx, animal, "ended_at", died).await? {
        if matches!(ended.kind, FactKind::Title | FactKind::Loan | FactKind::Mark) {
            corrections::replace(tx, &ended, &lasting(&ended), why).await?;
        }
    }
    Ok(())
}

/// Ends what goes on beyond the death of an animal: a merge had set it aside as the death was recorded.
pub(super) async fn end_what_outlived(tx: &mut Tx, animal: Uuid, why: &str) -> Result<()> {
    for death in corrections::standing(tx, animal, FactKind::Death).await? {
        if let Some(when) = death.instant("died_at").zip(death.day("died_on")) {
            end_with_its_life(tx, animal, when, why).await?;
        }
    }
    Ok(())
}
