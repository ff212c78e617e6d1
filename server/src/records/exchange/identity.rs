//! Which animals are on record already. An animal is known again by the identifier that it had in Holt, or by its
//! number in the other books of the site; one that is, is left as it is.

use super::{Intake, Taxa, wrong};
use crate::access::permit::Permit;
use crate::model::exchange::Life;
use crate::model::mark::MarkKind;
use crate::model::reason::Reason;
use crate::records::error::Result;
use crate::store::Tx;
use crate::store::exchange::{self, Known};
use std::collections::HashMap;
use uuid::Uuid;

/// What an animal is called in Holt.
pub(super) struct Identity {
    pub(super) animal: Uuid,
    /// Its accession, where it is on record.
    pub(super) on_record: Option<String>,
}

/// The keys by which a life is known again, each with its field: identifier, numbers, accession.
fn keys(life: &Life) -> Vec<(String, String)> {
    let id = life.id.iter().map(|id| (id.to_string(), "id".to_owned()));
    let numbers = life.marks.iter().enumerate().filter(|(_, worn)| worn.mark.kind == MarkKind::FormerNumber);
    let numbers = numbers.map(|(m, worn)| (worn.mark.code.to_lowercase(), format!("marks[{m}].code")));
    let accession = Some(&life.accession).filter(|accession| !accession.is_empty());
    let accession = accession.map(|accession| (accession.clone(), "accession".to_owned()));
    id.chain(numbers).chain(accession).collect()
}

/// Tells the animals that are on record from those that are not, and refuses what would be two animals under
/// one key, or one under two.
pub(super) async fn find(intake: &mut Intake<'_>, tx: &Tx, permit: &Permit, taxa: &Taxa) -> Result<()> {
    let lives: Vec<(usize, &Life)> = intake.new_ones();
    let (mut ids, mut numbers, mut accessions) = (Vec::new(), Vec::new(), Vec::new());
    for (_, life) in &lives {
        ids.extend(life.id);
        for (key, field) in keys(life) {
            match field.as_str() {
                "id" => {}
                "accession" => accessions.push(key),
                _ => numbers.push(key),
            }
        }
    }
    let mut known: HashMap<String, Known> = HashMap::new();
    for one in exchange::known(tx, permit, &ids, &numbers, &accessions).await? {
        known.insert(one.key.clone(), one);
    }
    let mut seen: HashMap<String, usize> = HashMap::new();
    intake.identities = intake
        .lives
        .iter()
        .map(|life| Identity {
            animal: life.and_then(|life| life.id).unwrap_or_else(|| tx.new_id()),
            on_record: None,
        })
        .collect();
    for (n, life) in lives {
        let code = format!("{}-", permit.site().code);
        if !life.accession.is_empty() && !life.accession.starts_with(&code) {
            let say = format!("{} is not an accession of {}", life.accession, permit.site().code);
            let mend = "give the number that this site gave it, or leave it out for the next one";
            intake.wrong(n, wrong(Reason::Malformed, "accession", say, mend));
        }
        let mut again: Option<&Known> = None;
        for (key, field) in keys(life) {
            if let Some(first) = seen.insert(key.clone(), n).filter(|first| *first != n) {
                let say = format!("animal {} of the same request also has `{key}`", first + 1);
                intake.wrong(n, wrong(Reason::Exists, field, say, "give each a key of its own"));
                continue;
            }
            let Some(found) = known.get(&key) else { continue };
            let name = found.accession.clone().unwrap_or_else(|| found.animal_id.to_string());
            if again.is_some_and(|other| other.animal_id != found.animal_id) {
                let say = format!("`{key}` is {name}, but another key of it is another animal");
                intake.wrong(n, wrong(Reason::Exists, field, say, "check which animal is meant"));
            } else if let Some(differs) = differs(life, found, taxa) {
                let say = format!("`{key}` is recorded as {name}, with another {differs}");
                let mend = "check which animal is meant, or correct the record that is wrong";
                intake.wrong(n, wrong(Reason::Exists, field, say, mend));
            } else if field == "accession" && again.is_none() {
                let say = format!("{key} is recorded for another animal");
                let mend = "give the number that the site gave this animal, or leave it out for the next one";
                intake.wrong(n, wrong(Reason::Exists, field, say, mend));
            } else {
                again = Some(found);
            }
        }
        if let Some(found) = again {
            let on_record = Some(found.accession.clone().unwrap_or_default());
            intake.identities[n] = Identity { animal: found.animal_id, on_record };
        }
    }
    Ok(())
}

/// What an animal on record has other than the life that goes by the same key; none where they agree. Only what
/// an animal keeps all its life is compared: the rest may have changed since.
fn differs(life: &Life, found: &Known, taxa: &Taxa) -> Option<&'static str> {
    if taxa.get(&life.taxon).is_none_or(|taxon| taxon.id != found.taxon_id) {
        return Some("species");
    }
    let born = life.born.map(|born| (born.first, born.last));
    (born != found.born_first.zip(found.born_last)).then_some("day of birth")
}
