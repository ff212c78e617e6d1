//! Whose an animal's life is to record: its holder's, and where nobody holds it any longer, its last holder's. Others
//! propose.

use crate::access::permit::Permit;
use crate::model::animal::{Animal, Status};
use crate::model::fact::{FactKind, Version};
use crate::model::reason::Reason;
use crate::records::error::{Refusal, Result};
use crate::store::{Snapshot, holdings};
use uuid::Uuid;

/// Whether the site answers for the animal.
pub(super) async fn decides(snapshot: &Snapshot, permit: &Permit, animal: Uuid) -> Result<bool> {
    Ok(holdings::answers(snapshot, animal).await? == Some(permit.site().id))
}

/// Who and what an animal is, wherever that was found out: its holder's to correct. All else is of the site
/// that it is about.
pub(super) const fn is_of_its_life(kind: FactKind) -> bool {
    matches!(kind, FactKind::Birth | FactKind::Sex | FactKind::Parent | FactKind::Mark | FactKind::Death)
}

/// Refuses a change of a fact that is another site's: of the life of an animal that the site does not answer
/// for, or of another site's books. `consents` is a site that proposed the very change: what it recorded with
/// the fact is changed along.
pub(super) fn refuse_anothers(
    permit: &Permit,
    animal: &Animal,
    decides: bool,
    fact: &Version,
    consents: Option<Uuid>,
) -> std::result::Result<(), Refusal> {
    let site = permit.site().id;
    let recorded = fact.site() == site || consents == Some(fact.site());
    let own = match fact.kind {
        kind if is_of_its_life(kind) => return if decides { Ok(()) } else { Err(elsewhere(animal, kind)) },
        FactKind::Title => recorded && (decides || fact.uuid("owner_site_id") == Some(site)),
        _ => recorded,
    };
    if own { Ok(()) } else { Err(of_another_site(fact.kind)) }
}

/// Another site holds the animal, so this is not the asker's to record.
pub(super) fn elsewhere(animal: &Animal, kind: FactKind) -> Refusal {
    let holder = match animal.status {
        Status::Held if !animal.holder.is_empty() => animal.holder.as_str(),
        _ => "another site",
    };
    Refusal::new(
        Reason::HeldElsewhere,
        format!("{holder} holds {}, so only {holder} records its {}", animal.label().spoken(), kind.spoken()),
        "propose the change to the site that holds the animal: it accepts or declines",
    )
    .fact("animal", animal.id.to_string())
}

/// Another site's books.
pub(super) fn of_another_site(kind: FactKind) -> Refusal {
    Refusal::new(
        Reason::FactOfAnotherSite,
        format!("another site recorded the {}", kind.spoken()),
        "ask that site's registrar to correct it",
    )
}
