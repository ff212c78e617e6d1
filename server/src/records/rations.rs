//! What the members of a group need.

use crate::access::permit::Permit;
use crate::model::feeding::{GroupNeed, MemberNeed, Unknown};
use crate::records::error::{Result, fault};
use crate::store::animals::{self, Lens};
use crate::store::{Snapshot, groups, traits, weights};
use holt_audit::ration;
use uuid::Uuid;

/// What the members of a group at the instant of a lens need, by their latest weights then. Who was never
/// weighed, or is of a species of which nobody has said what it needs, is told and not guessed.
///
/// # Errors
/// Faults only.
pub(crate) async fn need(snapshot: &Snapshot, permit: &Permit, group: Uuid, lens: Lens) -> Result<GroupNeed> {
    let members = groups::members(snapshot, permit, group, lens.at).await?;
    let ids: Vec<Uuid> = members.iter().map(|member| member.animal).collect();
    let mut animals = animals::views(snapshot, &ids, lens).await?;
    animals.sort_by(|a, b| a.accession.cmp(&b.accession));
    let latest = weights::latest(snapshot, &ids, lens.at).await?;
    let said = traits::all(snapshot).await?;
    let mut need = GroupNeed::default();
    for animal in animals {
        let label = animal.label();
        let energy = said.get(&animal.taxon.id).and_then(|said| Some((said.energy?, &said.source)));
        let (Some((energy, source)), Some(&(weighed_on, mass))) = (energy, latest.get(&animal.id)) else {
            let why = if energy.is_none() { Unknown::SpeciesNotDescribed } else { Unknown::NeverWeighed };
            need.uncounted.push((label, why));
            continue;
        };
        let (low, high) = ration::need(mass, energy.rest_kcal, (energy.low, energy.high))
            .map_err(|refused| fault(format!("the need of {}: {refused}", label.spoken())))?;
        need.members.push(MemberNeed { animal: label, mass, weighed_on, low, high, source: source.clone() });
    }
    Ok(need)
}
