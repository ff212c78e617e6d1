//! Encounters with the public, and their limits.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{encounter, encounter_animal, encounter_limit};
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::animal::Label;
use crate::model::encounter::{Encounter, Kind, Of, Rule};
use crate::weights::{label, moment};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::encounters::{Encounter as Met, Limits};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use std::collections::HashMap;
use uuid::Uuid;

/// Sets limits, in place of those that stood; none are set where nothing is limited.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn set_limits(
    tx: &mut Tx,
    permit: &Permit,
    of: &Of<Uuid, Uuid>,
    limits: &Limits,
    why: &str,
) -> Result<(), Error> {
    let mut standing = encounter_limit::Entity::find()
        .filter(encounter_limit::Column::SiteId.eq(permit.site().id))
        .filter(encounter_limit::Column::SupersededAt.is_null());
    let (taxon_id, animal_id) = match *of {
        Of::Taxon(taxon) => (Some(taxon), None),
        Of::Animal(animal) => (None, Some(animal)),
    };
    if let Some(taxon) = taxon_id {
        standing = standing.filter(encounter_limit::Column::TaxonId.eq(taxon));
    }
    if let Some(animal) = animal_id {
        standing = standing.filter(encounter_limit::Column::AnimalId.eq(animal));
    }
    if let Some(old) = standing.one(tx.txn()).await? {
        tx.supersede::<encounter_limit::Entity>(old.id, why).await?;
    }
    if *limits == Limits::default() {
        return Ok(());
    }
    let row = fact!(
        tx,
        encounter_limit::Model {
            id: tx.new_id(),
            site_id: permit.site().id,
            taxon_id: taxon_id,
            animal_id: animal_id,
            content: serde_json::to_value(limits)?,
        }
    );
    tx.insert(&[row]).await
}

/// Limits of a site: those of species by name, then those of animals by accession.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn rules(snapshot: &Snapshot, permit: &Permit) -> Result<Vec<Rule>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        taxon_id: Option<Uuid>,
        taxon: Option<String>,
        animal_id: Option<Uuid>,
        accession: Option<String>,
        house_name: Option<String>,
        content: serde_json::Value,
        recorded_at: DateTime<Utc>,
    }
    let sql = format!(
        "SELECT x.id, x.taxon_id, n.scientific_name AS taxon, x.animal_id, {label}, x.content, x.recorded_at
           FROM encounter_limits x
           LEFT JOIN taxon_names n ON n.taxon_id = x.taxon_id AND n.accepted AND {known_n}
          WHERE x.site_id = $1 AND {known_x}
          ORDER BY (x.taxon_id IS NULL), n.scientific_name, accession, x.id",
        label = label("x", 2),
        known_n = known("n", 2),
        known_x = known("x", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, [permit.site().id.into(), snapshot.known_at().into()]).await?;
    snapshot.legible(
        "encounter limit",
        rows,
        |row| row.id,
        |row| {
            let of = match (row.taxon_id, row.animal_id) {
                (Some(taxon), _) => Of::Taxon((taxon, row.taxon.unwrap_or_default())),
                (None, Some(id)) => Of::Animal(Label {
                    id,
                    accession: row.accession.unwrap_or_default(),
                    house_name: row.house_name.unwrap_or_default(),
                }),
                (None, None) => {
                    return Err(Error::corrupt("encounter_limits", "taxon_id", "hold for nothing"));
                }
            };
            let limits = stored("encounter_limits", "content", row.content)?;
            Ok(Rule { of, limits, set_at: row.recorded_at })
        },
    )
}

/// Records an encounter with the animals that took part. Answers its identifier.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn insert(
    tx: &mut Tx,
    permit: &Permit,
    new: &crate::model::encounter::NewEncounter,
    animals: &[Uuid],
) -> Result<Uuid, Error> {
    let site_id = permit.site().id;
    let row = fact!(
        tx,
        encounter::Model {
            id: tx.new_id(),
            site_id: site_id,
            kind: new.kind.as_str().to_owned(),
            began_at: new.began_at,
            ended_at: new.ended_at,
            began_on: permit.site().day_of(new.began_at),
            people: new.people,
            incident: new.incident.clone(),
            note: new.note.clone(),
        }
    );
    let id = row.id;
    tx.insert(&[row]).await?;
    let rows: Vec<_> = animals
        .iter()
        .map(|&animal_id| encounter_animal::Model {
            id: tx.new_id(),
            animal_id,
            encounter_id: id,
            site_id,
            recorded_at: tx.now(),
            recorded_by: tx.person(),
            request_id: tx.request_id(),
        })
        .collect();
    tx.insert(&rows).await?;
    Ok(id)
}

/// Takes back a record.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn withdraw(tx: &mut Tx, id: Uuid, why: &str) -> Result<(), Error> {
    tx.supersede::<encounter::Entity>(id, why).await
}

/// Which encounters are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub id: Option<Uuid>,
    pub animal: Option<Uuid>,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub incidents_only: bool,
    /// Key of the last entry before.
    pub after: Option<String>,
}

/// Encounters of a site, newest first, at most so many.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn encounters(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: Wanted,
    most: i64,
) -> Result<Vec<Encounter>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        kind: String,
        began_at: DateTime<Utc>,
        ended_at: DateTime<Utc>,
        people: i32,
        incident: String,
        note: String,
        recorded_at: DateTime<Utc>,
    }
    let of_animal =
        "EXISTS (SELECT FROM encounter_animals p WHERE p.encounter_id = e.id AND p.animal_id = ?)";
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("e.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and(of_animal, wanted.animal.map(|animal| [animal.into()]));
    filter.and("e.began_on BETWEEN ? AND ?", wanted.days.map(|(first, last)| [first.into(), last.into()]));
    filter.and("e.incident <> ?", wanted.incidents_only.then(|| [String::new().into()]));
    let after = wanted.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(e.began_at, e.id) < (?, ?)", after);
    let (filter, last, values) = filter.then(most);
    let sql = format!(
        "SELECT e.id, e.kind, e.began_at, e.ended_at, e.people, e.incident, e.note, e.recorded_at
           FROM encounters e WHERE e.site_id = $1 AND {}{filter}
          ORDER BY e.began_at DESC, e.id DESC LIMIT ${last}",
        known("e", 2),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut animals = animals_of(snapshot, permit, &ids).await?;
    rows.into_iter()
        .map(|row| {
            let kind: Kind = stored("encounters", "kind", row.kind)?;
            Ok(Encounter {
                id: row.id,
                site: permit.site().code.clone(),
                kind,
                began_at: row.began_at,
                ended_at: row.ended_at,
                animals: animals.remove(&row.id).unwrap_or_default(),
                people: row.people,
                incident: row.incident,
                note: row.note,
                recorded_at: row.recorded_at,
            })
        })
        .collect()
}

/// Who took part in these encounters, by accession.
async fn animals_of(
    snapshot: &Snapshot,
    permit: &Permit,
    ids: &[Uuid],
) -> Result<HashMap<Uuid, Vec<Label>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        encounter_id: Uuid,
        animal_id: Uuid,
        accession: Option<String>,
        house_name: Option<String>,
    }
    let sql = format!(
        "SELECT DISTINCT p.encounter_id, p.animal_id, {} FROM encounter_animals p
          WHERE p.site_id = $1 AND p.encounter_id = ANY ($3) ORDER BY p.encounter_id, accession, p.animal_id",
        label("p", 2),
    );
    let values = [permit.site().id.into(), snapshot.known_at().into(), ids.to_vec().into()];
    let mut animals: HashMap<Uuid, Vec<Label>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        animals.entry(row.encounter_id).or_default().push(Label {
            id: row.animal_id,
            accession: row.accession.unwrap_or_default(),
            house_name: row.house_name.unwrap_or_default(),
        });
    }
    Ok(animals)
}

/// When these animals met people, of encounters that meet a stretch of time.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn met(
    snapshot: &Snapshot,
    permit: &Permit,
    animals: &[Uuid],
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<HashMap<Uuid, Vec<Met>>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        animal_id: Uuid,
        began_at: DateTime<Utc>,
        ended_at: DateTime<Utc>,
    }
    let sql = format!(
        "SELECT DISTINCT p.animal_id, e.began_at, e.ended_at, e.id
           FROM encounter_animals p JOIN encounters e ON e.id = p.encounter_id
          WHERE p.site_id = $1 AND {} AND p.animal_id = ANY ($3) AND e.began_at < $5 AND e.ended_at > $4
          ORDER BY p.animal_id, e.began_at, e.id",
        known("e", 2),
    );
    let values = [
        permit.site().id.into(),
        snapshot.known_at().into(),
        animals.to_vec().into(),
        from.into(),
        until.into(),
    ];
    let mut met: HashMap<Uuid, Vec<Met>> = HashMap::new();
    for row in snapshot.rows::<Row>(&sql, values).await? {
        met.entry(row.animal_id).or_default().push(Met { from: row.began_at, until: row.ended_at });
    }
    Ok(met)
}
