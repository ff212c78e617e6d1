//! Transfers and their steps.

use crate::animals::{sex, sex_text};
use crate::doors::{Snapshot, Tx};
use crate::entity::{transfer, transfer_step};
use crate::error::{Error, stored};
use crate::facts::known;
use crate::filter::Filter;
use crate::model::animal::Animal;
use crate::model::page::{Page, Slice};
use crate::model::transfer::{NewTransfer, State, Step, StepTaken, Terms, Transfer};
use chrono::{DateTime, NaiveDate, Utc};
use sea_orm::FromQueryResult;
use serde::Serialize;
use serde_json::json;
use std::collections::HashMap;
use uuid::Uuid;

/// The word that a state, step or term is stored as.
fn word<T: Serialize>(value: T) -> Result<String, Error> {
    match serde_json::to_value(value)? {
        serde_json::Value::String(word) => Ok(word),
        other => Err(Error::Fault(format!("{other} is not a word"))),
    }
}

/// What a step needs to know of a transfer.
#[derive(Clone, Debug)]
pub struct Standing {
    pub id: Uuid,
    pub animal: Uuid,
    pub from: Uuid,
    pub to: Uuid,
    /// Its accession at the sender.
    pub number: String,
    pub state: State,
    pub terms: Terms,
    pub loan_until: Option<NaiveDate>,
    pub why: String,
    pub withheld_by: Option<Uuid>,
    /// When its last step happened.
    pub last_at: DateTime<Utc>,
    pub version: i64,
}

/// A transfer as it stands. Its animal's row and its own are locked until the write ends, in this order
/// as everywhere: of two people who take a step at once, one waits and then sees what the other did.
///
/// # Errors
/// [`Error::Contention`] where a step was stamped after the instant of this write.
pub async fn lock(tx: &Tx, id: Uuid) -> Result<Option<Standing>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        from_site_id: Uuid,
        to_site_id: Uuid,
        from_number: String,
        state: String,
        terms: String,
        loan_until: Option<NaiveDate>,
        why: String,
        withheld_by: Option<Uuid>,
        version: i64,
    }
    #[derive(FromQueryResult)]
    struct Last {
        at: DateTime<Utc>,
    }
    // Before it agrees, the destination does not see the animal, and has no step that changes its holder.
    tx.execute(
        "SELECT id FROM animals WHERE id IN (SELECT unnest(ARRAY[t.animal_id, holt_animal(t.animal_id)])
                                       FROM public.transfers t WHERE t.id = $1) ORDER BY id FOR UPDATE",
        [id.into()],
    )
    .await?;
    let rows = tx
        .rows::<Row>(
            "SELECT id, holt_animal(animal_id) AS animal_id, from_site_id, to_site_id, from_number, state, terms, loan_until, why,
                    withheld_by, version
               FROM public.transfers WHERE id = $1 FOR UPDATE",
            [id.into()],
        )
        .await?;
    // Whoever waited for the row sees in that statement no step that was taken meanwhile.
    let sql = "SELECT max(happened_at) AS at FROM transfer_steps WHERE transfer_id = $1 HAVING count(*) > 0";
    let last = tx.rows::<Last>(sql, [id.into()]).await?;
    if last.iter().any(|last| last.at > tx.now()) {
        return Err(Error::Contention);
    }
    rows.into_iter()
        .zip(last)
        .next()
        .map(|(row, last)| {
            Ok(Standing {
                id: row.id,
                animal: row.animal_id,
                from: row.from_site_id,
                to: row.to_site_id,
                number: row.from_number,
                state: stored("transfers", "state", row.state)?,
                terms: stored("transfers", "terms", row.terms)?,
                loan_until: row.loan_until,
                why: row.why,
                withheld_by: row.withheld_by,
                last_at: last.at,
                version: row.version,
            })
        })
        .transpose()
}

/// The open transfer of an animal, if it is on one.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn open_of(tx: &Tx, animal: Uuid) -> Result<Option<(Uuid, State, Terms)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        state: String,
        terms: String,
    }
    let rows = tx
        .rows::<Row>(
            "SELECT id, state, terms FROM transfers
              WHERE animal_id = $1 AND state IN ('proposed', 'agreed', 'dispatched')",
            [animal.into()],
        )
        .await?;
    let Some(row) = rows.into_iter().next() else { return Ok(None) };
    let (state, terms) = (stored("transfers", "state", row.state)?, stored("transfers", "terms", row.terms)?);
    Ok(Some((row.id, state, terms)))
}

/// Keeps a proposal, with what the destination may know of the animal before it agrees.
///
/// # Errors
/// [`Error::Broken`] where the animal is on an open transfer.
pub async fn insert(
    tx: &mut Tx,
    animal: &Animal,
    from: Uuid,
    to: Uuid,
    (at, day_only): (DateTime<Utc>, bool),
    new: &NewTransfer,
) -> Result<Uuid, Error> {
    let row = transfer::Model {
        id: tx.new_id(),
        animal_id: animal.id,
        from_site_id: from,
        to_site_id: to,
        taxon_id: animal.taxon.id,
        from_number: animal.accession.clone(),
        house_name: animal.house_name.clone(),
        sex: sex_text(animal.sex).to_owned(),
        born_first: animal.born.map(|born| born.first),
        born_last: animal.born.map(|born| born.last),
        terms: word(new.terms)?,
        loan_until: new.loan_until,
        planned_on: new.planned_on,
        why: new.why.clone(),
        state: word(State::Proposed)?,
        withheld_by: None,
        version: 1,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    let id = row.id;
    tx.insert(&[row]).await?;
    let note = match new.owner_agreed.as_str() {
        "" => new.why.clone(),
        agreed => format!("{}; the owner agreed: {agreed}", new.why),
    };
    let taken = Taken {
        step: Step::Proposed,
        state: State::Proposed,
        site: from,
        at,
        day_only,
        note: &note,
        number: "",
    };
    append_step(tx, id, 1, taken).await?;
    Ok(id)
}

/// A step that is taken.
pub struct Taken<'a> {
    pub step: Step,
    pub state: State,
    pub site: Uuid,
    pub at: DateTime<Utc>,
    /// Whether only the day is known.
    pub day_only: bool,
    pub note: &'a str,
    /// For a receipt, the accession that the destination gave.
    pub number: &'a str,
}

async fn append_step(tx: &mut Tx, id: Uuid, seq: i64, taken: Taken<'_>) -> Result<(), Error> {
    let row = transfer_step::Model {
        transfer_id: id,
        seq: i32::try_from(seq).map_err(|_| Error::Fault("a transfer of too many steps".to_owned()))?,
        step: word(taken.step)?,
        state: word(taken.state)?,
        site_id: taken.site,
        happened_at: taken.at,
        day_only: taken.day_only,
        note: taken.note.to_owned(),
        to_number: taken.number.to_owned(),
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    tx.insert(&[row]).await
}

/// Takes a step of a transfer that was locked.
///
/// # Errors
/// [`Error::Contention`] where somebody took a step meanwhile.
pub async fn step(tx: &mut Tx, standing: &Standing, taken: Taken<'_>) -> Result<(), Error> {
    let withheld_by = match taken.step {
        Step::Withheld => Some(taken.site),
        Step::Released => None,
        _ => standing.withheld_by,
    };
    let state = word(taken.state)?;
    let changed = tx
        .execute(
            "UPDATE public.transfers SET state = $3, withheld_by = $4, version = version + 1
              WHERE id = $1 AND version = $2",
            [standing.id.into(), standing.version.into(), state.clone().into(), withheld_by.into()],
        )
        .await?;
    if changed != 1 {
        return Err(Error::Contention);
    }
    tx.note_change::<transfer::Entity>(
        &standing.id.to_string(),
        &json!({ "state": state, "version": standing.version + 1, "withheld_by": withheld_by }),
    );
    append_step(tx, standing.id, standing.version + 1, taken).await
}

/// Which transfers are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub id: Option<Uuid>,
    /// As sender or destination.
    pub site: Option<Uuid>,
    pub open_only: bool,
    /// With a step that happened in this stretch; they are told as they stood at its end.
    pub between: Option<(DateTime<Utc>, DateTime<Utc>)>,
}

/// Transfers, newest first, as the steps that were known say.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(snapshot: &Snapshot, wanted: &Wanted, page: &Page) -> Result<Slice<Transfer>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        animal_id: Uuid,
        house_name: String,
        taxon: String,
        sex: String,
        born_first: Option<NaiveDate>,
        born_last: Option<NaiveDate>,
        from_site: String,
        to_site: String,
        from_number: String,
        terms: String,
        loan_until: Option<NaiveDate>,
        planned_on: Option<NaiveDate>,
        why: String,
    }
    let mut filter = Filter::after([snapshot.known_at().into()]);
    filter.and("t.id = ?", wanted.id.map(|id| [id.into()]));
    filter
        .and("(t.from_site_id = ? OR t.to_site_id = ?)", wanted.site.map(|site| [site.into(), site.into()]));
    // By its steps, not by the state that it is in by now: it may have ended since.
    let ended = "NOT EXISTS (SELECT FROM transfer_steps z WHERE z.transfer_id = t.id AND z.recorded_at <= $1
                    AND z.state NOT IN ('proposed', 'agreed', 'dispatched'))";
    filter.and(ended, wanted.open_only.then_some([]));
    filter.and(
        "EXISTS (SELECT FROM transfer_steps y WHERE y.transfer_id = t.id AND y.recorded_at <= $1
                    AND y.happened_at BETWEEN ? AND ?)",
        wanted.between.map(|(from, until)| [from.into(), until.into()]),
    );
    let after: Option<Uuid> = page.after.as_deref().and_then(|key| key.parse().ok());
    filter.and("t.id < ?", after.map(|after| [after.into()]));
    let (filter, last, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT t.id, t.animal_id, t.house_name, x.scientific_name AS taxon, t.sex, t.born_first,
                t.born_last, f.code AS from_site, d.code AS to_site, t.from_number, t.terms, t.loan_until,
                t.planned_on, t.why
           FROM transfers t JOIN taxon_names x ON x.taxon_id = t.taxon_id AND x.accepted AND {known_x}
           JOIN sites f ON f.id = t.from_site_id JOIN sites d ON d.id = t.to_site_id
          WHERE t.recorded_at <= $1{filter} ORDER BY t.id DESC LIMIT ${last}",
        known_x = known("x", 1),
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let until = wanted.between.map_or(snapshot.known_at(), |(_, until)| until);
    let mut all_steps = steps(snapshot, &ids, until).await?;
    let transfers = rows
        .into_iter()
        .map(|row| {
            let (steps, to_accession) = all_steps.remove(&row.id).unwrap_or_default();
            let state = steps.last().map_or(State::Proposed, |last| last.state);
            let withheld = steps
                .iter()
                .rev()
                .find(|taken| matches!(taken.step, Step::Withheld | Step::Released))
                .is_some_and(|taken| taken.step == Step::Withheld);
            Ok(Transfer {
                id: row.id,
                animal: row.animal_id,
                house_name: row.house_name,
                taxon: row.taxon,
                sex: sex(&row.sex)?,
                born: row.born_first.zip(row.born_last),
                from_site: row.from_site,
                to_site: row.to_site,
                from_accession: row.from_number,
                to_accession,
                state,
                terms: stored("transfers", "terms", row.terms)?,
                loan_until: row.loan_until,
                planned_on: row.planned_on,
                why: row.why,
                withheld,
                version: i64::try_from(steps.len()).unwrap_or(i64::MAX),
                steps,
                missing: Vec::new(),
            })
        })
        .collect::<Result<Vec<_>, Error>>()?;
    Ok(Slice::cut(transfers, page, |transfer| transfer.id.to_string()))
}

/// Steps of these transfers that happened until an instant, oldest first, and the accession that the
/// destination gave.
async fn steps(
    snapshot: &Snapshot,
    ids: &[Uuid],
    until: DateTime<Utc>,
) -> Result<HashMap<Uuid, (Vec<StepTaken>, String)>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        transfer_id: Uuid,
        step: String,
        state: String,
        site: String,
        person: Option<String>,
        happened_at: DateTime<Utc>,
        day_only: bool,
        recorded_at: DateTime<Utc>,
        note: String,
        to_number: String,
    }
    let rows = snapshot
        .rows::<Row>(
            // The other site's people are nobody's business: row-level security on people leaves them out.
            // Whoever got a role here later was still one of them at the time that is asked about.
            "SELECT s.transfer_id, s.step, s.state, x.code AS site, p.name AS person, s.happened_at,
                    s.day_only, s.recorded_at, s.note, s.to_number
               FROM transfer_steps s JOIN sites x ON x.id = s.site_id
               LEFT JOIN people p ON p.id = s.recorded_by
                AND coalesce((SELECT min(g.recorded_at) FROM grants g WHERE g.person_id = p.id), '-infinity') <= $2
              WHERE s.transfer_id = ANY ($1) AND s.recorded_at <= $2 AND s.happened_at <= $3
              ORDER BY s.transfer_id, s.seq",
            [ids.to_vec().into(), snapshot.known_at().into(), until.into()],
        )
        .await?;
    let mut steps: HashMap<Uuid, (Vec<StepTaken>, String)> = HashMap::new();
    for row in rows {
        let (taken, number) = steps.entry(row.transfer_id).or_default();
        if !row.to_number.is_empty() {
            *number = row.to_number;
        }
        taken.push(StepTaken {
            step: stored("transfers", "step", row.step)?,
            state: stored("transfers", "state", row.state)?,
            site: row.site,
            person: row.person.unwrap_or_default(),
            happened_at: row.happened_at,
            day_only: row.day_only,
            recorded_at: row.recorded_at,
            note: row.note,
        });
    }
    Ok(steps)
}
