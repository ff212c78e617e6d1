//! Species and enclosures of animals that are taken in.

use super::{Enclosures, Intake, Taxa, wrong};
use crate::access::permit::Permit;
use crate::model::exchange::Life;
use crate::model::reason::Reason;
use crate::model::site::NewEnclosure;
use crate::model::taxon::{Appendix, NewTaxon};
use crate::records;
use crate::records::error::Result;
use crate::store::{self, Tx, sites};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The species that the lives name: those that come with a name as people say it are added where they are not
/// on record, others are refused.
pub(super) async fn taxa(intake: &mut Intake<'_>, tx: &mut Tx) -> Result<Taxa> {
    let mut taxa = Taxa::new();
    for (n, life) in intake.new_ones() {
        if taxa.contains_key(&life.taxon) {
            continue;
        }
        // By any of its names: books that are taken in may be older than the name.
        if let Some(known) = store::taxa::named(tx, &life.taxon).await? {
            taxa.insert(life.taxon.clone(), known);
            continue;
        }
        if life.common_name.is_empty() {
            let say = format!("there is no species `{}`", life.taxon);
            let mend = "check how it is written, or add it first";
            intake.wrong(n, wrong(Reason::NotFound, "taxon", say, mend));
            continue;
        }
        let new = NewTaxon {
            scientific_name: life.taxon.clone(),
            common_name: life.common_name.clone(),
            breeds_from_days: None,
            carries_up_to_days: None,
            appendix: Appendix::NotStated,
            synonyms: Vec::new(),
        };
        store::taxa::insert(tx, &new).await?;
        let added = records::taxa::one(tx, &life.taxon).await?;
        intake.taxa_added.push(added.scientific_name.clone());
        taxa.insert(life.taxon.clone(), added);
    }
    Ok(taxa)
}

/// The enclosures that the lives name, likewise: those whose kind is given are added.
pub(super) async fn enclosures(intake: &mut Intake<'_>, tx: &mut Tx, permit: &Permit) -> Result<Enclosures> {
    let on_record = sites::enclosures(tx, permit).await?;
    let mut enclosures: Enclosures =
        on_record.into_iter().map(|one| (one.name.to_lowercase(), one.id)).collect();
    for (n, life) in intake.new_ones() {
        for (p, lived) in life.placements.iter().enumerate() {
            let key = lived.enclosure.to_lowercase();
            if enclosures.contains_key(&key) {
                continue;
            }
            let Some(kind) = lived.kind else {
                let say = format!("{} has no enclosure `{}`", permit.site().code, lived.enclosure);
                let mend = "check how it is written, or add it first";
                let field = format!("placements[{p}].enclosure");
                intake.wrong(n, wrong(Reason::NotFound, field, say, mend));
                continue;
            };
            let new = NewEnclosure { name: lived.enclosure.clone(), kind, capacity: 0 };
            let added = sites::insert_enclosure(tx, permit, &new).await?;
            intake.enclosures_added.push(added.name);
            enclosures.insert(key, added.id);
        }
    }
    Ok(enclosures)
}

/// Where an animal lived, with the times that were found for it.
pub(super) fn placed(
    enclosures: &Enclosures,
    life: &Life,
    times: Vec<(DateTime<Utc>, Option<DateTime<Utc>>)>,
) -> Vec<(Uuid, DateTime<Utc>, Option<DateTime<Utc>>)> {
    let found = |((from, until), name): ((DateTime<Utc>, Option<DateTime<Utc>>), &str)| {
        Some((*enclosures.get(&name.to_lowercase())?, from, until))
    };
    let names = life.placements.iter().map(|lived| lived.enclosure.as_str());
    times.into_iter().zip(names).filter_map(found).collect()
}
