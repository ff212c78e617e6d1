//! Finding animals by a part of what they go by.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::find::Found;
use crate::records::Records;
use crate::records::error::Result;
use crate::store::animals::{self, Lens};
use crate::store::find;
use std::collections::HashMap;
use uuid::Uuid;

/// The animals in the caller's scope that go by a text or a part of it, the nearest first.
///
/// # Errors
/// Refused without a role that reads anywhere.
pub async fn animals(records: &Records, caller: &Caller, text: &str, most: usize) -> Result<Found> {
    caller.reach(Deed::Read)?;
    let now = records.store.now();
    let snapshot = records.look(caller, None).await?;
    let mut clues = find::by_text(&snapshot, text, now, most + 1).await?;
    let more = clues.len() > most;
    clues.truncate(most);
    let ids: Vec<Uuid> = clues.iter().map(|(animal, _)| *animal).collect();
    let lens = Lens { site: None, at: now, day: now.date_naive() };
    let views = animals::views(&snapshot, &ids, lens).await?;
    let mut views: HashMap<Uuid, _> = views.into_iter().map(|view| (view.id, view)).collect();
    let seen = |(animal, clue)| views.remove(&animal).map(|view| (view, clue));
    Ok(Found { matches: clues.into_iter().filter_map(seen).collect(), more })
}
