//! Deaths.

use crate::doors::{Snapshot, Tx};
use crate::entity::death;
use crate::error::Error;
use crate::facts::fact;
use crate::model::death::{Body, Death, Disposal, Gone, Manner, PostMortem};
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::{ColumnTrait, EntityTrait, FromQueryResult, QueryFilter};
use uuid::Uuid;

/// Columns of `d` for a [`Told`] under the prefix `d_`.
pub(super) const COLUMNS: &str = "d.died_first AS d_died_first, d.died_last AS d_died_last,
    d.found_on AS d_found_on, d.manner AS d_manner, d.note AS d_note, d.post_mortem AS d_post_mortem,
    d.post_mortem_result AS d_post_mortem_result, d.disposal AS d_disposal, d.disposal_name AS d_disposal_name";

/// A death in a row about its animal: [`COLUMNS`].
#[derive(FromQueryResult)]
pub(super) struct Told {
    died_first: Option<NaiveDate>,
    died_last: Option<NaiveDate>,
    found_on: Option<NaiveDate>,
    manner: String,
    note: String,
    post_mortem: String,
    post_mortem_result: String,
    disposal: String,
    disposal_name: String,
}

impl Told {
    pub(super) fn death(self) -> Result<Death, Error> {
        let corrupt = |column, word: &str| Error::corrupt("deaths", column, word);
        let post_mortem = PostMortem::ALL.into_iter().find(|done| done.as_str() == self.post_mortem);
        if post_mortem.is_none() && !self.post_mortem.is_empty() {
            return Err(corrupt("post_mortem", &self.post_mortem));
        }
        let disposal = Disposal::ALL.into_iter().find(|disposal| disposal.as_str() == self.disposal);
        if disposal.is_none() && !self.disposal.is_empty() {
            return Err(corrupt("disposal", &self.disposal));
        }
        Ok(Death {
            died: self.died_first.zip(self.died_last),
            found_on: self.found_on,
            manner: manner(&self.manner).ok_or_else(|| corrupt("manner", &self.manner))?,
            note: self.note,
            body: Body {
                post_mortem,
                result: self.post_mortem_result,
                disposal,
                disposal_name: self.disposal_name,
            },
        })
    }
}

/// The manner that a stored word means.
pub(super) fn manner(word: &str) -> Option<Manner> {
    Manner::ALL.into_iter().find(|manner| manner.as_str() == word)
}

/// Records a death: the animal is off the books from an instant and its day on.
///
/// # Errors
/// [`Error::Broken`] where one is on record.
pub async fn insert(
    tx: &mut Tx,
    site: Uuid,
    animal: Uuid,
    (at, on, day_only): (DateTime<Utc>, NaiveDate, bool),
    death: &Death,
) -> Result<(), Error> {
    let body = &death.body;
    let row = fact!(
        tx,
        death::Model {
            id: tx.new_id(),
            animal_id: animal,
            site_id: site,
            died_at: at,
            died_on: on,
            day_only: day_only,
            died_first: death.died.map(|(first, _)| first),
            died_last: death.died.map(|(_, last)| last),
            found_on: death.found_on,
            manner: death.manner.as_str().to_owned(),
            note: death.note.clone(),
            post_mortem: body.post_mortem.map_or("", PostMortem::as_str).to_owned(),
            post_mortem_result: body.result.clone(),
            disposal: body.disposal.map_or("", Disposal::as_str).to_owned(),
            disposal_name: body.disposal_name.clone(),
        }
    );
    tx.insert(&[row]).await
}

/// What was seen of an animal when it should have been dead.
#[derive(FromQueryResult)]
pub struct Later {
    /// In words: "was weighed".
    pub what: String,
    pub at: DateTime<Utc>,
}

/// The last thing that is on record of an animal after an instant and shows that it lived, if there is one.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn later(
    tx: &Tx,
    animal: Uuid,
    died: DateTime<Utc>,
    on: NaiveDate,
    dies: bool,
) -> Result<Option<Later>, Error> {
    let sql = "SELECT l.what, l.at FROM (
           SELECT CASE WHEN tried THEN 'declined the scale' ELSE 'was weighed' END AS what, weighed_at AS at
             FROM weights
            WHERE animal_id = $1 AND superseded_at IS NULL AND NOT (day_only AND weighed_on <= $3)
           UNION ALL
           SELECT 'was assessed', assessed_at FROM assessments WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'was moved to an enclosure', began_at FROM placements
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'left an enclosure', ended_at FROM placements
            WHERE animal_id = $1 AND superseded_at IS NULL AND ended_at IS DISTINCT FROM $4
           UNION ALL
           SELECT 'joined a group', began_at FROM memberships WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'was seen in another state', began_at FROM life_states
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'was seen in another state', ended_at FROM life_states
            WHERE animal_id = $1 AND superseded_at IS NULL AND ended_at IS DISTINCT FROM $4
           UNION ALL
           SELECT CASE WHEN kind = 'house_name' THEN 'was named' ELSE 'was marked' END, began_at FROM marks
            WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'lost a mark', ended_at FROM marks
            WHERE animal_id = $1 AND superseded_at IS NULL AND ended_at IS DISTINCT FROM $4
           UNION ALL
           SELECT 'was fed alone', given_at FROM feeds WHERE animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'met the public', e.began_at FROM encounter_animals a JOIN encounters e ON e.id = a.encounter_id
            WHERE a.animal_id = $1 AND e.superseded_at IS NULL
           UNION ALL
           -- Whoever lives elsewhere may pass to another owner, and be lent.
           SELECT 'passed to another owner', began_at FROM titles
            WHERE $5 AND animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'went on loan', began_at FROM loans WHERE $5 AND animal_id = $1 AND superseded_at IS NULL
           UNION ALL
           SELECT 'came back from a loan', ended_at FROM loans
            WHERE $5 AND animal_id = $1 AND superseded_at IS NULL AND ended_at IS DISTINCT FROM $4
           UNION ALL
           SELECT 'left a group', ended_at FROM memberships
            WHERE animal_id = $1 AND superseded_at IS NULL AND ended_at IS DISTINCT FROM $4
           UNION ALL
           SELECT 'was seen in a watch', e.happened_at
             FROM holdings h JOIN watch_events e ON e.site_id = h.site_id
            WHERE h.animal_id = $1 AND h.superseded_at IS NULL AND e.superseded_at IS NULL AND e.happened_at > $2
              AND $1 IN (SELECT holt_animals_in(e.content))
         ) l WHERE l.at > $2 ORDER BY l.at DESC, l.what LIMIT 1";
    // What a death on record has ended ends with it.
    let before = death::Entity::find()
        .filter(death::Column::AnimalId.eq(animal))
        .filter(death::Column::SupersededAt.is_null())
        .one(tx.txn())
        .await?;
    let values =
        [animal.into(), died.into(), on.into(), before.map(|death| death.died_at).into(), dies.into()];
    Ok(tx.rows::<Later>(sql, values).await?.pop())
}

/// The day from which an animal is off the books as dead, if it is.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn gone(snapshot: &Snapshot, animal: Uuid) -> Result<Option<Gone>, Error> {
    let row = death::Entity::find()
        .filter(death::Column::AnimalId.eq(animal))
        .filter(death::Column::SupersededAt.is_null())
        .one(snapshot.txn())
        .await?;
    Ok(row.map(|row| Gone {
        on: row.died_on,
        died_then: row.died_first == Some(row.died_on) && row.died_last == Some(row.died_on),
    }))
}
