//! What animals are expected to weigh: the one model that everything asks, kept by animal and moved on with each round.

mod book;
mod rows;
mod run;
mod seen;

use crate::access::permit::Permit;
use crate::records::Records;
use crate::records::error::{Result, fault};
use crate::store::expected::{self as store, Kept, Latest, Part, read};
use crate::store::weights::{self, Point};
use crate::store::{Snapshot, Tx};
use book::Round;
pub(crate) use book::{Book, id};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::expected::{Known, week};
use rows::{Rows, is_fresh, moved};
pub(crate) use run::Done;
use run::Run;
pub(crate) use seen::Seen;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// Longer than any animal of a collection was weighed for.
const LONG_AGO: TimeDelta = TimeDelta::weeks(52 * 200);

/// What is asked.
struct Asked<'a> {
    /// Readings that are not on record yet.
    new: &'a [Point],
    /// Work it out from the first reading.
    anew: bool,
    as_of: DateTime<Utc>,
    /// In a write: what is read is locked.
    lock: bool,
}

/// Takes new readings in, or works out again what follows from the readings of animals, in the write that records them.
/// Of each kind, what the model says now.
pub(crate) async fn move_on(
    records: &Records,
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Uuid],
    new: &[Point],
    anew: bool,
) -> Result<Vec<Seen>> {
    if animals.is_empty() {
        return Ok(Vec::new());
    }
    let books = Book::read(tx, permit, animals, records.false_a_year).await?;
    let turn = |book: &Book| {
        let of_kind = new.iter().filter(|point| book.asked.contains(&point.animal));
        let week = of_kind.map(|point| week(point.weighed_at)).max();
        // Working it out again may begin any week.
        (book.taxon, week.filter(|_| !anew).unwrap_or(i64::MAX))
    };
    let turns: Vec<(Uuid, i64)> = books.iter().map(turn).collect();
    let latest = store::take_turn(tx, permit, &turns).await?;
    let asked = Asked { new, anew, as_of: tx.now(), lock: true };
    let mut all = see(records, tx, permit, (books, latest), &asked).await?;
    let mut changed = Vec::new();
    for seen in &mut all {
        if !seen.came.begun.is_empty() {
            store::begin_weeks(tx, permit, seen.book.taxon, &std::mem::take(&mut seen.came.begun)).await?;
        }
        changed.append(&mut seen.came.changed);
    }
    store::keep(tx, permit, &changed).await?;
    Ok(all)
}

/// What the model says of animals as of an instant.
pub(crate) async fn look(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    animals: &[Uuid],
    as_of: DateTime<Utc>,
) -> Result<Vec<Seen>> {
    let books = Book::read(snapshot, permit, animals, records.false_a_year).await?;
    let taxa: Vec<Uuid> = books.iter().map(|book| book.taxon).collect();
    let latest = store::latest(snapshot, permit, &taxa).await?;
    let anew = snapshot.known_at() < records.store.now();
    let asked = Asked { new: &[], anew, as_of, lock: false };
    see(records, snapshot, permit, (books, latest), &asked).await
}

/// The past of all that ever shared a home with some animals, by kind, as if nobody had settled anything.
pub(crate) async fn past(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    animals: &[Uuid],
    until: DateTime<Utc>,
) -> Result<Vec<Past>> {
    let mut all = Vec::new();
    for book in Book::read(snapshot, permit, animals, records.false_a_year).await? {
        let mut book = closed(records, snapshot, permit, book).await?;
        book.forgets_settlings();
        let points = weights::series(snapshot, &book.everyone(), until - LONG_AGO, until).await?;
        let weeks = known(store::weeks(snapshot, permit, book.taxon).await?)?;
        all.push(Past { rounds: book.rounds(points), book, weeks });
    }
    Ok(all)
}

/// What is on record of animals of a kind, to be gone through again.
pub(crate) struct Past {
    pub book: Book,
    rounds: Vec<Round>,
    weeks: BTreeMap<i64, Known>,
}

impl Past {
    /// Shows the state of each of these instants, under a rate of false concerns.
    pub(crate) fn goes(
        &mut self,
        false_a_year: f64,
        instants: &[DateTime<Utc>],
        mut look: impl FnMut(DateTime<Utc>, &Run<'_>),
    ) {
        self.book.kind.false_a_year = false_a_year;
        let mut run = Run::new(&self.book, self.weeks.clone());
        let mut rounds = self.rounds.iter().peekable();
        for at in instants {
            while let Some(round) = rounds.next_if(|round| round.at <= *at) {
                run.takes(round);
            }
            run.as_known(*at);
            look(*at, &run);
        }
    }
}

/// Animals of a kind that are asked about, with whoever lives with them, and lived with them as they were weighed.
struct Near {
    book: Book,
    rounds: Vec<Round>,
    near: Vec<Uuid>,
    groups: Vec<Uuid>,
}

impl Near {
    fn of(book: Book, new: &[Point], as_of: DateTime<Utc>) -> Self {
        let rounds = book.rounds(new.iter().filter(|point| book.asked.contains(&point.animal)).cloned());
        let homes = book.asked.iter().map(|animal| (book.home(*animal, as_of), as_of));
        let homes: Vec<_> = rounds.iter().map(|round| (round.group, round.at)).chain(homes).collect();
        let members = homes.iter().flat_map(|(group, at)| book.members(*group, *at).into_keys());
        let members = members.map(|member| Uuid::from_u128(member.0)).chain(book.asked.iter().copied());
        let (near, groups) = (distinct(members), distinct(homes.iter().map(|(group, _)| *group)));
        Self { book, rounds, near, groups }
    }
}

async fn see(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    (books, mut latest): (Vec<Book>, Latest),
    asked: &Asked<'_>,
) -> Result<Vec<Seen>> {
    let Asked { new, anew, as_of, lock } = *asked;
    let all: Vec<Near> = books.into_iter().map(|book| Near::of(book, new, as_of)).collect();
    let near = distinct(all.iter().flat_map(|one| one.near.iter().copied()));
    let groups = distinct(all.iter().flat_map(|one| one.groups.iter().copied()));
    let mut kept: HashMap<Uuid, Vec<Kept>> = HashMap::new();
    for row in store::of(snapshot, permit, &near, &groups, lock).await? {
        kept.entry(row.taxon).or_default().push(row);
    }
    let of_animals = kept.values().flatten().filter(|row| row.part == Part::Animal);
    let with: BTreeSet<Uuid> = of_animals.map(|row| row.of).collect();
    let without: Vec<Uuid> = near.into_iter().filter(|animal| !with.contains(animal)).collect();
    // Weighed before, where nobody kept what follows: elsewhere, or by other means than a round.
    let mut before = BTreeSet::new();
    if !without.is_empty() {
        let past = weights::series(snapshot, &without, as_of - LONG_AGO, as_of).await?;
        before.extend(past.iter().filter(|point| !point.estimate).map(|point| point.animal));
    }
    let mut seen = Vec::new();
    for Near { book, rounds, near, .. } in all {
        let kept = kept.remove(&book.taxon).unwrap_or_default();
        let last = latest.remove(&book.taxon);
        let fresh = !anew
            && !near.iter().any(|animal| before.contains(animal))
            && is_fresh(&book, as_of, &kept, &rounds)?;
        seen.push(if fresh {
            let late = |last: &(i64, String)| rounds.iter().any(|round| week(round.at) < last.0);
            let weeks = if last.as_ref().is_some_and(late) {
                store::weeks(snapshot, permit, book.taxon).await?
            } else {
                last.into_iter().collect()
            };
            let mut run = Run::new(&book, known(weeks)?);
            let rows = Rows::begin(&mut run, kept)?;
            let came = moved(snapshot, permit, run, rows, &rounds, (&near, as_of)).await?;
            Seen { book, came }
        } else {
            let book = closed(records, snapshot, permit, book).await?;
            let everyone = book.everyone();
            let mut kept = store::of(snapshot, permit, &everyone, &book.groups(), lock).await?;
            kept.retain(|row| row.part == Part::Animal || row.taxon == book.taxon);
            let mut points = weights::series(snapshot, &everyone, as_of - LONG_AGO, as_of).await?;
            points.extend(new.iter().filter(|point| book.life(point.animal).is_some()).cloned());
            let rounds = book.rounds(points);
            let run = Run::new(&book, known(store::weeks(snapshot, permit, book.taxon).await?)?);
            let came = moved(snapshot, permit, run, Rows::anew(&kept), &rounds, (&near, as_of)).await?;
            Seen { book, came }
        });
    }
    Ok(seen)
}

fn distinct(ids: impl Iterator<Item = Uuid>) -> Vec<Uuid> {
    ids.collect::<BTreeSet<_>>().into_iter().collect()
}

fn known(weeks: Vec<(i64, String)>) -> Result<BTreeMap<i64, Known>> {
    let known = |(week, state): (i64, String)| Ok((week, read("weight_kinds", "state", &state)?));
    weeks.into_iter().map(known).collect()
}

/// The book of all that ever shared a home with one of them, or with one of those, and so on: what they weigh hangs
/// together.
async fn closed(records: &Records, snapshot: &Snapshot, permit: &Permit, mut book: Book) -> Result<Book> {
    while !book.closed {
        let wider = Book::read(snapshot, permit, &book.everyone(), records.false_a_year).await?;
        let same = wider.into_iter().find(|wider| wider.taxon == book.taxon);
        book =
            same.ok_or_else(|| fault("animals whose kind changed while they were looked at".to_owned()))?;
    }
    Ok(book)
}
