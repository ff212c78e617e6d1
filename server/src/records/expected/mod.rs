//! What animals are expected to weigh: the one model that everything asks, kept by animal and moved on with each round.

mod book;
mod run;

use crate::access::permit::Permit;
use crate::records::Records;
use crate::records::error::{Result, fault};
use crate::store::expected::{self as store, Kept, Latest, Part, read};
use crate::store::weights::{self, Point};
use crate::store::{Snapshot, Tx};
use book::Round;
pub(crate) use book::{Book, id};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::attempts::Refusal;
use holt_audit::expected::{
    self, Beside, Expected, Herd, Judgement, Known, Lessons, Loss, Member, Together, Whole, week,
};
use holt_audit::terms::Mass;
pub(crate) use run::Done;
use run::{Own, Run};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// Longer than any animal of a collection was weighed for.
const LONG_AGO: TimeDelta = TimeDelta::weeks(52 * 200);

/// Animals of one kind, as the model sees them at an instant.
pub(crate) struct Seen {
    pub book: Book,
    pub came: Came,
}

/// What a run came to, apart from its book.
pub(crate) struct Came {
    herd: Herd,
    own: BTreeMap<Uuid, Own>,
    pub judged: HashMap<Uuid, Judgement>,
    pub done: Vec<Done>,
    /// Groups that were moved on.
    groups: Vec<Uuid>,
    /// Rows to keep, and whether each is the first of its kind there.
    changed: Vec<(Kept, bool)>,
    begun: Vec<(i64, String)>,
}

impl Seen {
    /// What an animal is expected to weigh at an instant.
    pub(crate) fn expects(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Expected> {
        self.came.herd.expects(id(animal), at)
    }

    /// What it loses, told or not.
    pub(crate) fn loss(&self, animal: Uuid) -> Option<Loss> {
        self.came.herd.loss(id(animal))
    }

    /// By how much it lies off what was to be expected by now, in %: the figure of a concern, and nothing where no loss
    /// is likelier than none.
    pub(crate) fn change_percent(&self, animal: Uuid) -> f64 {
        self.loss(animal).map_or(0.0, |loss| -loss.percent)
    }

    /// What a group loses as one, told or not.
    pub(crate) fn whole(&self, group: Uuid) -> Option<Whole> {
        self.came.herd.whole(id(group))
    }

    /// How fast an animal gains or loses of late, ln mass a week.
    pub(crate) fn pace(&self, animal: Uuid) -> Option<f64> {
        self.came.herd.members.get(&id(animal))?.pace()
    }

    /// How it gains or loses beside those that it lives with at an instant.
    pub(crate) fn beside(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Beside> {
        let members = self.book.members(self.book.home(animal, at), at);
        let others = members.keys().filter(|member| **member != id(animal));
        let others = others.filter_map(|member| self.came.herd.members.get(member)?.pace());
        expected::beside(self.pace(animal)?, &others.collect::<Vec<_>>())
    }

    /// Its latest reading that counts.
    pub(crate) fn latest(&self, animal: Uuid) -> Option<(Uuid, DateTime<Utc>, Mass)> {
        self.came.own.get(&animal)?.latest
    }

    /// Its latest readings that count.
    pub(crate) fn late(&self, animal: Uuid) -> &[Uuid] {
        self.came.own.get(&animal).map_or(&[], |own| &own.late)
    }

    /// Its readings that wait for another by now, with their instants, in order.
    pub(crate) fn waiting(&self, animal: Uuid) -> &[(Uuid, DateTime<Utc>)] {
        let waits = self.came.herd.members.get(&id(animal)).is_some_and(Member::waits);
        let own = self.came.own.get(&animal).filter(|_| waits);
        own.map_or(&[], |own| &own.aside)
    }

    /// The enclosures of groups that were moved on, with their names.
    pub(crate) fn enclosures(&self) -> impl Iterator<Item = (Uuid, &str)> {
        self.came.groups.iter().filter_map(|group| Some((*group, self.book.enclosure(*group)?)))
    }

    /// The latest reading that counts of each that lives in a group at an instant.
    pub(crate) fn latest_of(&self, group: Uuid, at: DateTime<Utc>) -> Vec<Uuid> {
        let members = self.book.members(group, at).into_keys();
        members.filter_map(|member| Some(self.latest(Uuid::from_u128(member.0))?.0)).collect()
    }

    /// A row of refusals that is not its habit.
    pub(crate) fn refusal(&self, animal: Uuid) -> Option<Refusal> {
        self.came.own.get(&animal)?.attempts.refusal()
    }
}

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

/// Whether rows say all that there is to know, and rounds follow what is in them.
fn is_fresh(book: &Book, as_of: DateTime<Utc>, kept: &[Kept], rounds: &[Round]) -> Result<bool> {
    for row in kept {
        let basis = match row.part {
            Part::Animal => book.basis(row.of, row.until)?,
            Part::Group => book.basis_of_group(row.of, row.until)?,
        };
        if row.stale || row.until > as_of || row.basis != basis {
            return Ok(false);
        }
    }
    let until: HashMap<(Part, Uuid), DateTime<Utc>> =
        kept.iter().map(|row| ((row.part, row.of), row.until)).collect();
    let is_late = |point: &Point| {
        until.get(&(Part::Animal, point.animal)).is_some_and(|until| point.weighed_at <= *until)
    };
    Ok(!rounds.iter().any(|round| {
        let group = until.get(&(Part::Group, round.group));
        group.is_some_and(|until| round.at < *until) || round.points.iter().any(is_late)
    }))
}

/// JSON of what is kept.
fn json(of: &impl Serialize) -> Result<String> {
    serde_json::to_string(of).map_err(|error| fault(error.to_string()))
}

/// Which rows there are.
struct Rows {
    there: BTreeSet<(Uuid, bool)>,
    /// Groups that begin anew.
    anew: BTreeSet<Uuid>,
}

#[derive(Serialize, Deserialize)]
struct OfAnimal<M, O> {
    member: M,
    own: O,
}

impl Rows {
    fn of(kept: &[Kept]) -> Self {
        let there = kept.iter().map(|row| (row.of, row.part == Part::Animal)).collect();
        Self { there, anew: BTreeSet::new() }
    }

    /// Goes on from what the rows say.
    fn begin(run: &mut Run<'_>, kept: Vec<Kept>) -> Result<Self> {
        let rows = Self::of(&kept);
        for row in kept {
            match row.part {
                Part::Animal => {
                    let OfAnimal { member, mut own } =
                        read::<OfAnimal<Member, Own>>("weight_states", "state", &row.state)?;
                    own.until = Some(row.until);
                    own.confirmed = row.confirmed;
                    run.begin(row.of, member, own);
                }
                Part::Group => {
                    let together: Together = read("weight_states", "state", &row.state)?;
                    let lessons: Vec<Lessons> = read("weight_states", "lessons", &row.lessons)?;
                    run.begin_group(row.of, together, row.until);
                    run.herd.lessons.insert(id(row.of), lessons);
                }
            }
        }
        Ok(rows)
    }

    /// Begins anew: of the rows it matters only that they were there.
    fn anew(kept: &[Kept]) -> Self {
        let groups = kept.iter().filter(|row| row.part == Part::Group);
        Self { anew: groups.map(|row| row.of).collect(), ..Self::of(kept) }
    }

    fn row(&self, kept: Kept) -> (Kept, bool) {
        let new = !self.there.contains(&(kept.of, kept.part == Part::Animal));
        (kept, new)
    }
}

/// Gives the rounds to a run; then brings those asked about up to an instant.
async fn moved(
    snapshot: &Snapshot,
    permit: &Permit,
    mut run: Run<'_>,
    rows: Rows,
    rounds: &[Round],
    (near, as_of): (&[Uuid], DateTime<Utc>),
) -> Result<Came> {
    let last = run.weeks.keys().next_back().copied();
    let anew = &rows.anew;
    if rounds.iter().any(|round| last.is_none_or(|last| last < week(round.at))) {
        // A week begins with what all groups taught.
        for (group, lessons) in store::lessons(snapshot, permit, run.book.taxon).await? {
            if !anew.contains(&group) {
                run.herd.lessons.insert(id(group), read("weight_states", "lessons", &lessons)?);
            }
        }
    }
    for round in rounds {
        run.takes(round);
    }
    let mut changed = Vec::new();
    for animal in distinct(rounds.iter().flat_map(|round| round.points.iter().map(|point| point.animal))) {
        let (Some(own), Some(member)) = (run.own.get(&animal), run.herd.members.get(&id(animal))) else {
            continue;
        };
        let Some(until) = own.until else { continue };
        changed.push(rows.row(Kept {
            of: animal,
            part: Part::Animal,
            taxon: run.book.taxon,
            until,
            stale: false,
            basis: run.book.basis(animal, until)?,
            state: json(&OfAnimal { member, own })?,
            lessons: "[]".to_owned(),
            confirmed: own.confirmed.clone(),
        }));
    }
    let moved = distinct(rounds.iter().map(|round| round.group));
    for group in &moved {
        let (Some(until), Some(together)) = (run.groups.get(group), run.herd.groups.get(&id(*group))) else {
            continue;
        };
        let lessons = run.herd.lessons.get(&id(*group)).map_or(&[][..], Vec::as_slice);
        changed.push(rows.row(Kept {
            of: *group,
            part: Part::Group,
            taxon: run.book.taxon,
            until: *until,
            stale: false,
            basis: run.book.basis_of_group(*group, *until)?,
            state: json(together)?,
            lessons: json(&lessons)?,
            confirmed: Vec::new(),
        }));
    }
    let begun = run.begun.iter().filter_map(|week| Some((*week, run.weeks.get(week)?)));
    let begun = begun.map(|(week, known)| Ok((week, json(known)?)));
    let begun = begun.collect::<Result<Vec<_>>>()?;
    run.reaches(near, as_of);
    // Nobody hears of a group that nobody lives in any more.
    let groups = distinct(near.iter().map(|animal| run.book.home(*animal, as_of)));
    let groups = groups.into_iter().filter(|group| moved.contains(group)).collect();
    let Run { herd, own, judged, done, .. } = run;
    Ok(Came { herd, own, judged, done, groups, changed, begun })
}
