//! Watches and what was seen in them.

use crate::access::permit::Permit;
use crate::doors::{Snapshot, Tx};
use crate::entity::{watch, watch_event};
use crate::error::{Error, stored};
use crate::facts::{fact, known};
use crate::filter::Filter;
use crate::model::page::{Page, Slice};
use crate::model::watch::{Event, Watch, What};
use crate::weights::moment;
use chrono::{DateTime, Utc};
use sea_orm::FromQueryResult;
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

/// A watch to keep.
#[derive(Clone, Debug)]
pub struct NewRow {
    pub id: Uuid,
    pub group: Uuid,
    pub ethogram: Uuid,
    pub began_at: DateTime<Utc>,
    pub focal: Vec<Uuid>,
}

/// Keeps a watch without events.
///
/// # Errors
/// [`Error::Contention`] where somebody began it meanwhile.
pub async fn insert(tx: &mut Tx, permit: &Permit, new: NewRow) -> Result<(), Error> {
    let row = watch::Model {
        id: new.id,
        site_id: permit.site().id,
        group_id: new.group,
        ethogram_id: new.ethogram,
        began_at: new.began_at,
        focal_ids: new.focal,
        recorded_at: tx.now(),
        recorded_by: tx.person(),
        request_id: tx.request_id(),
    };
    raced(tx.insert(&[row]).await)
}

/// What two writes of one watch at once do to each other is seen by trying again.
fn raced(done: Result<(), Error>) -> Result<(), Error> {
    match done {
        Err(Error::Broken(key))
            if matches!(key.name.as_str(), "watches_pkey" | "watch_events_number_key") =>
        {
            Err(Error::Contention)
        }
        done => done,
    }
}

/// Keeps events of a watch.
///
/// # Errors
/// [`Error::Contention`] where one of a number was recorded meanwhile.
pub async fn append(tx: &mut Tx, permit: &Permit, watch: Uuid, new: &[Event<Uuid>]) -> Result<(), Error> {
    let rows = new
        .iter()
        .map(|event| {
            Ok(fact!(
                tx,
                watch_event::Model {
                    id: tx.new_id(),
                    site_id: permit.site().id,
                    watch_id: watch,
                    number: event.number,
                    happened_at: event.at,
                    content: serde_json::to_value(&event.what)?,
                }
            ))
        })
        .collect::<Result<Vec<_>, Error>>()?;
    raced(tx.insert(&rows).await)
}

/// An event as it is on record, with whether it was withdrawn.
#[derive(Clone, Debug)]
pub struct Noted {
    pub id: Uuid,
    pub event: Event<Uuid>,
    pub withdrawn: bool,
}

/// Every event of a watch by its number, also those withdrawn.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn noted(snapshot: &Snapshot, permit: &Permit, watch: Uuid) -> Result<HashMap<i32, Noted>, Error> {
    let sql = "SELECT e.id, e.watch_id, e.number, e.happened_at, e.content,
                      e.superseded_at IS NOT NULL AS withdrawn
                 FROM watch_events e WHERE e.site_id = $1 AND e.watch_id = $2 AND e.recorded_at <= $3";
    let values = [permit.site().id.into(), watch.into(), snapshot.known_at().into()];
    let rows = snapshot.rows::<EventRow>(sql, values).await?;
    let noted = snapshot.legible("watch event", rows, |row| row.id, EventRow::noted)?;
    let ids: BTreeSet<Uuid> = noted.iter().flat_map(|(_, noted)| named(&noted.event)).collect();
    let merged = merged(snapshot, ids).await?;
    Ok(noted
        .into_iter()
        .map(|(_, noted)| (noted.event.number, Noted { event: under(&noted.event, &merged), ..noted }))
        .collect())
}

#[derive(FromQueryResult)]
struct EventRow {
    id: Uuid,
    watch_id: Uuid,
    number: i32,
    happened_at: DateTime<Utc>,
    content: serde_json::Value,
    withdrawn: bool,
}

impl EventRow {
    fn noted(self) -> Result<(Uuid, Noted), Error> {
        let what: What<Uuid> = stored("watch_events", "content", self.content)?;
        let event = Event { number: self.number, at: self.happened_at, what };
        Ok((self.watch_id, Noted { id: self.id, event, withdrawn: self.withdrawn }))
    }
}

fn named(event: &Event<Uuid>) -> Vec<Uuid> {
    let mut ids = Vec::new();
    let noted: Result<_, std::convert::Infallible> = event.what.named(|animal, _| {
        ids.push(*animal);
        Ok(())
    });
    let Ok(_) = noted;
    ids
}

/// The event, with animals whose record was given up named as the animal that they were found to be.
fn under(event: &Event<Uuid>, merged: &HashMap<Uuid, Uuid>) -> Event<Uuid> {
    let named: Result<What<Uuid>, std::convert::Infallible> =
        event.what.named(|animal, _| Ok(*merged.get(animal).unwrap_or(animal)));
    let Ok(what) = named;
    Event { number: event.number, at: event.at, what }
}

/// Of these animals, those whose record was given up, each with the animal that it was found to be.
async fn merged(snapshot: &Snapshot, animals: BTreeSet<Uuid>) -> Result<HashMap<Uuid, Uuid>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        record_id: Uuid,
        animal_id: Uuid,
    }
    if animals.is_empty() {
        return Ok(HashMap::new());
    }
    let sql = "SELECT i.record_id, i.animal_id FROM identities i WHERE i.record_id = ANY ($1) AND i.linked";
    let animals: Vec<Uuid> = animals.into_iter().collect();
    let rows = snapshot.rows::<Row>(sql, [animals.into()]).await?;
    Ok(rows.into_iter().map(|row| (row.record_id, row.animal_id)).collect())
}

/// Which watches are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    pub group: Option<Uuid>,
    pub id: Option<Uuid>,
    /// They began from the first instant on and before the second.
    pub during: Option<(DateTime<Utc>, DateTime<Utc>)>,
}

/// Watches of a site, newest first, as was known at the instant of the snapshot.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn list(
    snapshot: &Snapshot,
    permit: &Permit,
    wanted: &Wanted,
    page: &Page,
) -> Result<Slice<Watch>, Error> {
    #[derive(FromQueryResult)]
    struct Row {
        id: Uuid,
        group_id: Uuid,
        group_name: String,
        ethogram_id: Uuid,
        ethogram: String,
        ethogram_version: i32,
        watcher: Option<String>,
        began_at: DateTime<Utc>,
        focal_ids: Vec<Uuid>,
        recorded_at: DateTime<Utc>,
    }
    let mut filter = Filter::after([permit.site().id.into(), snapshot.known_at().into()]);
    filter.and("w.group_id = ?", wanted.group.map(|group| [group.into()]));
    filter.and("w.id = ?", wanted.id.map(|id| [id.into()]));
    filter.and(
        "w.began_at >= ? AND w.began_at < ?",
        wanted.during.map(|(from, until)| [from.into(), until.into()]),
    );
    let after = page.after.as_deref().and_then(moment).map(|(at, id)| [at.into(), id.into()]);
    filter.and("(w.began_at, w.id) < (?, ?)", after);
    let (filter, limit, values) = filter.then(i64::from(page.size) + 1);
    let sql = format!(
        "SELECT w.id, w.group_id, g.name AS group_name, w.ethogram_id, t.code AS ethogram,
                t.version AS ethogram_version, p.name AS watcher, w.began_at, w.focal_ids, w.recorded_at
           FROM watches w JOIN groups g ON g.id = w.group_id JOIN ethograms t ON t.id = w.ethogram_id
           LEFT JOIN people p ON p.id = w.recorded_by
          WHERE w.site_id = $1 AND w.recorded_at <= $2{filter}
          ORDER BY w.began_at DESC, w.id DESC LIMIT ${limit}"
    );
    let rows = snapshot.rows::<Row>(&sql, values).await?;
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut events = events(snapshot, permit, &ids).await?;
    let named =
        events.values().flatten().flat_map(named).chain(rows.iter().flat_map(|r| r.focal_ids.clone()));
    let merged = merged(snapshot, named.collect()).await?;
    let watches = rows
        .into_iter()
        .map(|row| Watch {
            events: events
                .remove(&row.id)
                .unwrap_or_default()
                .into_iter()
                .map(|event| under(&event, &merged))
                .collect(),
            id: row.id,
            site: permit.site().code.clone(),
            group_id: row.group_id,
            group: row.group_name,
            ethogram_id: row.ethogram_id,
            ethogram: row.ethogram,
            ethogram_version: row.ethogram_version,
            watcher: row.watcher.unwrap_or_default(),
            began_at: row.began_at,
            focal: row.focal_ids.iter().map(|id| *merged.get(id).unwrap_or(id)).collect(),
            recorded_at: row.recorded_at,
        })
        .collect();
    Ok(Slice::cut(watches, page, |one: &Watch| format!("{} {}", one.began_at.to_rfc3339(), one.id)))
}

/// What was seen in these watches and not withdrawn, by number.
async fn events(
    snapshot: &Snapshot,
    permit: &Permit,
    watches: &[Uuid],
) -> Result<HashMap<Uuid, Vec<Event<Uuid>>>, Error> {
    let sql = format!(
        "SELECT e.id, e.watch_id, e.number, e.happened_at, e.content, false AS withdrawn
           FROM watch_events e
          WHERE e.site_id = $1 AND e.watch_id = ANY ($2) AND {} ORDER BY e.watch_id, e.number",
        known("e", 3)
    );
    let values = [permit.site().id.into(), watches.to_vec().into(), snapshot.known_at().into()];
    let mut found: HashMap<Uuid, Vec<Event<Uuid>>> = HashMap::new();
    let rows = snapshot.rows::<EventRow>(&sql, values).await?;
    for (watch, noted) in snapshot.legible("watch event", rows, |row| row.id, EventRow::noted)? {
        found.entry(watch).or_default().push(noted.event);
    }
    Ok(found)
}

/// All watches that are wanted, oldest first.
///
/// # Errors
/// [`Error::Lost`] where the database is away.
pub async fn all(snapshot: &Snapshot, permit: &Permit, wanted: &Wanted) -> Result<Vec<Watch>, Error> {
    let mut all = Vec::new();
    let mut page = Page { size: 1000, after: None };
    loop {
        let found = list(snapshot, permit, wanted, &page).await?;
        all.extend(found.entries);
        match found.next {
            Some(next) => page.after = Some(next),
            None => break,
        }
    }
    all.reverse();
    Ok(all)
}

/// Withdraws an event.
///
/// # Errors
/// [`Error::Contention`] where somebody did so meanwhile.
pub async fn withdraw(tx: &mut Tx, event: Uuid, why: &str) -> Result<(), Error> {
    tx.supersede::<watch_event::Entity>(event, why).await
}
