//! Species: their accepted names with what goes with them, and their synonyms.

use crate::doors::{Snapshot, Tx};
use crate::entity::{taxon, taxon_name};
use crate::error::Error;
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::taxon::{Appendix, NewTaxon, Synonym, Taxon, TaxonChange};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter, QueryOrder};
use std::collections::HashMap;
use uuid::Uuid;

/// Columns of `t` for a [`Described`].
pub(super) const COLUMNS: &str = "t.taxon_id, t.scientific_name, t.common_name, t.cites_appendix,
    t.breeds_from_days, t.carries_up_to_days";

/// SQL that joins as `t` what a species was called at parameter `$n`.
pub(super) fn described(taxon_id: &str, n: usize) -> String {
    format!("JOIN taxon_names t ON t.taxon_id = {taxon_id} AND t.accepted AND {}", known("t", n))
}

/// A species in a row of something else: [`COLUMNS`].
#[derive(FromQueryResult)]
pub(super) struct Described {
    pub(super) taxon_id: Uuid,
    scientific_name: String,
    common_name: String,
    cites_appendix: String,
    breeds_from_days: Option<i32>,
    carries_up_to_days: Option<i32>,
}

impl Described {
    pub(super) fn taxon(self) -> Result<Taxon, Error> {
        Ok(Taxon {
            id: self.taxon_id,
            scientific_name: self.scientific_name,
            common_name: self.common_name,
            appendix: appendix(&self.cites_appendix)?,
            breeds_from_days: self.breeds_from_days,
            carries_up_to_days: self.carries_up_to_days,
            synonyms: Vec::new(),
            asked_as: String::new(),
        })
    }
}

fn appendix(word: &str) -> Result<Appendix, Error> {
    Appendix::of(word).ok_or_else(|| Error::corrupt("taxon_names", "cites_appendix", word))
}

/// All species with their synonyms, by accepted name.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot) -> Result<Vec<Taxon>, Error> {
    let sql = format!(
        "SELECT {COLUMNS} FROM taxon_names t WHERE t.accepted AND {} ORDER BY t.scientific_name",
        known("t", 1)
    );
    let rows = snapshot.rows::<Described>(&sql, [snapshot.known_at().into()]).await?;
    let mut others = synonyms(snapshot, None).await?;
    rows.into_iter()
        .map(|row| {
            let synonyms = others.remove(&row.taxon_id).unwrap_or_default();
            Ok(Taxon { synonyms, ..row.taxon()? })
        })
        .collect()
}

/// The species that goes by a name, accepted or not, without its synonyms.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn named(snapshot: &Snapshot, name: &str) -> Result<Option<Taxon>, Error> {
    let sql = format!(
        "SELECT {COLUMNS} FROM taxon_names q {} WHERE q.scientific_name = $1 AND {}",
        described("q.taxon_id", 2),
        known("q", 2)
    );
    let rows = snapshot.rows::<Described>(&sql, [name.into(), snapshot.known_at().into()]).await?;
    rows.into_iter().next().map(|row| Ok(row.taxon()?.asked_as(name))).transpose()
}

/// A species with its synonyms.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn with_synonyms(snapshot: &Snapshot, taxon: Taxon) -> Result<Taxon, Error> {
    let synonyms = synonyms(snapshot, Some(taxon.id)).await?.remove(&taxon.id).unwrap_or_default();
    Ok(Taxon { synonyms, ..taxon })
}

/// The synonyms of one species, or of all, by name.
async fn synonyms(snapshot: &Snapshot, of: Option<Uuid>) -> Result<HashMap<Uuid, Vec<Synonym>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        taxon_id: Uuid,
        scientific_name: String,
        until_year: Option<i32>,
        source: String,
    }
    let mut filter = Filter::after([snapshot.known_at().into()]);
    filter.and("t.taxon_id = ?", of.map(|taxon| [taxon.into()]));
    let (filter, last, values) = filter.then(i64::MAX);
    let sql = format!(
        "SELECT t.taxon_id, t.scientific_name, t.until_year, t.source FROM taxon_names t
          WHERE NOT t.accepted AND {}{filter} ORDER BY t.scientific_name LIMIT ${last}",
        known("t", 1)
    );
    let mut found: HashMap<Uuid, Vec<Synonym>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        let synonym = Synonym { name: row.scientific_name, until_year: row.until_year, source: row.source };
        found.entry(row.taxon_id).or_default().push(synonym);
    }
    Ok(found)
}

/// Adds a species.
///
/// # Errors
/// [`Error::Broken`] where a species goes by one of its names.
pub async fn insert(tx: &mut Tx, new: &NewTaxon) -> Result<Uuid, Error> {
    let id = tx.new_id();
    let row =
        taxon::Model { id, recorded_at: tx.now(), recorded_by: tx.person(), request_id: tx.request_id() };
    tx.insert(&[row]).await?;
    let mut names = vec![fact!(
        tx,
        taxon_name::Model {
            id: tx.new_id(),
            taxon_id: id,
            scientific_name: new.scientific_name.clone(),
            accepted: true,
            until_year: None,
            source: String::new(),
            common_name: new.common_name.clone(),
            cites_appendix: new.appendix.as_str().to_owned(),
            breeds_from_days: new.breeds_from_days,
            carries_up_to_days: new.carries_up_to_days,
        }
    )];
    names.extend(new.synonyms.iter().map(|synonym| other(tx, id, synonym)));
    tx.insert(&names).await?;
    Ok(id)
}

fn other(tx: &Tx, taxon_id: Uuid, synonym: &Synonym) -> taxon_name::Model {
    fact!(
        tx,
        taxon_name::Model {
            id: tx.new_id(),
            taxon_id: taxon_id,
            scientific_name: synonym.name.clone(),
            accepted: false,
            until_year: synonym.until_year,
            source: synonym.source.clone(),
            common_name: String::new(),
            cites_appendix: String::new(),
            breeds_from_days: None,
            carries_up_to_days: None,
        }
    )
}

/// Changes what a species is called and what is said of it: versions that are changed are superseded.
///
/// # Errors
/// [`Error::Broken`] where a species goes by one of the names; [`Error::Contention`] where somebody changed it
/// meanwhile.
pub async fn change(tx: &mut Tx, taxon: Uuid, change: &TaxonChange) -> Result<(), Error> {
    let standing = taxon_name::Entity::find()
        .filter(taxon_name::Column::TaxonId.eq(taxon))
        .filter(taxon_name::Column::SupersededAt.is_null())
        .order_by_asc(taxon_name::Column::ScientificName)
        .all(tx.txn())
        .await?;
    let why = &change.because;
    let mut names = Vec::new();
    let renamed = change.renamed.as_ref();
    for old in standing {
        let drops = |name: &String| *name == old.scientific_name;
        if old.accepted {
            tx.supersede::<taxon_name::Entity>(old.id, why).await?;
            if let Some(new) = renamed {
                let was = Synonym { name: old.scientific_name.clone(), ..new.clone() };
                names.push(other(tx, taxon, &was));
            }
            names.push(fact!(
                tx,
                taxon_name::Model {
                    id: tx.new_id(),
                    taxon_id: taxon,
                    scientific_name: renamed.map_or(old.scientific_name, |new| new.name.clone()),
                    accepted: true,
                    until_year: None,
                    source: renamed.map_or(old.source, |new| new.source.clone()),
                    common_name: change.common_name.clone().unwrap_or(old.common_name),
                    cites_appendix: change
                        .appendix
                        .map_or(old.cites_appendix, |appendix| appendix.as_str().to_owned()),
                    breeds_from_days: change.breeds_from_days.unwrap_or(old.breeds_from_days),
                    carries_up_to_days: change.carries_up_to_days.unwrap_or(old.carries_up_to_days),
                }
            ));
        } else if change.no_synonyms.iter().any(drops) || renamed.is_some_and(|new| drops(&new.name)) {
            tx.supersede::<taxon_name::Entity>(old.id, why).await?;
        }
    }
    names.extend(change.more_synonyms.iter().map(|synonym| other(tx, taxon, synonym)));
    tx.insert(&names).await
}
