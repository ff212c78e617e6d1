//! What animals are expected to weigh: the one model that everything asks, kept by animal and moved on with each round.

mod book;
mod run;

use crate::access::permit::Permit;
use crate::records::Records;
use crate::records::error::{Error, Result, fault};
use crate::store::expected::{self as store, Kept, Part, read};
use crate::store::traits;
use crate::store::weights::{self, Point};
use crate::store::{Snapshot, Tx};
pub(crate) use book::{Book, id};
use book::Round;
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::attempts::Refusal;
use holt_audit::expected::{self, Beside, Expected, Herd, Judgement, Known, Lessons, Loss, Member, Together, Whole, week};
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
    herd: Herd,
    own: BTreeMap<Uuid, Own>,
    pub judged: HashMap<Uuid, Judgement>,
    pub done: Vec<Done>,
    /// Groups that were moved on.
    pub groups: Vec<Uuid>,
    /// Where a row is to be kept, and whether it is the first.
    changed: Vec<(Kept, bool)>,
    begun: Vec<(i64, String)>,
}

impl Seen {
    /// What an animal is expected to weigh at an instant.
    pub(crate) fn expects(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Expected> {
        self.herd.expects(id(animal), at)
    }

    /// What it loses, told or not.
    pub(crate) fn loss(&self, animal: Uuid) -> Option<Loss> {
        self.herd.loss(id(animal))
    }

    /// By how much it lies off what was to be expected by now, in %: the figure of a concern, and nothing where no loss
    /// is likelier than none.
    pub(crate) fn change_percent(&self, animal: Uuid) -> f64 {
        self.loss(animal).map_or(0.0, |loss| -loss.percent)
    }

    /// What a group loses as one, told or not.
    pub(crate) fn whole(&self, group: Uuid) -> Option<Whole> {
        self.herd.whole(id(group))
    }

    /// How fast an animal gains or loses of late, ln mass a week.
    pub(crate) fn pace(&self, animal: Uuid) -> Option<f64> {
        self.herd.members.get(&id(animal))?.pace()
    }

    /// How it gains or loses beside those that it lives with at an instant.
    pub(crate) fn beside(&self, animal: Uuid, at: DateTime<Utc>) -> Option<Beside> {
        let members = self.book.members(self.book.home(animal, at), at);
        let others = members.keys().filter(|member| **member != id(animal));
        let others = others.filter_map(|member| self.herd.members.get(member)?.pace());
        expected::beside(self.pace(animal)?, &others.collect::<Vec<_>>())
    }

    /// Its latest reading that counts.
    pub(crate) fn latest(&self, animal: Uuid) -> Option<(Uuid, DateTime<Utc>, Mass)> {
        self.own.get(&animal)?.latest
    }

    /// Its latest readings that count.
    pub(crate) fn late(&self, animal: Uuid) -> &[Uuid] {
        self.own.get(&animal).map_or(&[], |own| &own.late)
    }

    /// The enclosures of groups that were moved on, with their names.
    pub(crate) fn enclosures(&self) -> impl Iterator<Item = (Uuid, &str)> {
        self.groups.iter().filter_map(|group| Some((*group, self.book.enclosure(*group)?)))
    }

    /// The latest reading that counts of each that lives in a group at an instant.
    pub(crate) fn latest_of(&self, group: Uuid, at: DateTime<Utc>) -> Vec<Uuid> {
        let members = self.book.members(group, at).into_keys();
        members.filter_map(|member| Some(self.latest(Uuid::from_u128(member.0))?.0)).collect()
    }

    /// A row of refusals that is not its habit.
    pub(crate) fn refusal(&self, animal: Uuid) -> Option<Refusal> {
        self.own.get(&animal)?.attempts.refusal()
    }
}

/// What is asked.
struct Asked<'a> {
    taxon: Uuid,
    animals: &'a [Uuid],
    /// Readings that are not on record yet.
    new: Vec<Point>,
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
    let mut all = Vec::new();
    for (taxon, animals) in by_kind(tx, animals).await? {
        let new: Vec<Point> = new.iter().filter(|point| animals.contains(&point.animal)).cloned().collect();
        let last = store::kinds(tx, permit, taxon, true).await?.last().map(|(week, _)| *week);
        let latest = new.iter().map(|point| week(point.weighed_at)).max();
        let begins = anew || latest.is_some_and(|latest| last.is_none_or(|last| last < latest));
        store::take_turn(tx, permit, taxon, begins).await?;
        let asked = Asked { taxon, animals: &animals, new, anew, as_of: tx.now(), lock: true };
        let mut seen = see(records, tx, permit, asked).await?;
        if !seen.begun.is_empty() {
            store::begin_weeks(tx, permit, taxon, &std::mem::take(&mut seen.begun)).await?;
        }
        store::keep(tx, permit, taxon, &std::mem::take(&mut seen.changed)).await?;
        all.push(seen);
    }
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
    let mut all = Vec::new();
    for (taxon, animals) in by_kind(snapshot, animals).await? {
        let anew = snapshot.known_at() < records.store.now();
        let asked = Asked { taxon, animals: &animals, new: Vec::new(), anew, as_of, lock: false };
        all.push(see(records, snapshot, permit, asked).await?);
    }
    Ok(all)
}

/// Goes through the past of all that ever shared a home with some animals of a kind, as if nobody had settled anything,
/// and looks at each of these instants, which are given in order.
pub(crate) async fn past(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    (taxon, animals): (Uuid, &[Uuid]),
    until: DateTime<Utc>,
) -> Result<Past> {
    let book = Book::read(snapshot, permit, taxon, animals, records.false_a_year).await?;
    let mut book = closed(records, snapshot, permit, book).await?;
    book.forgets_settlings();
    let points = weights::series(snapshot, &book.everyone(), until - LONG_AGO, until).await?;
    let weeks = known(store::kinds(snapshot, permit, taxon, false).await?)?;
    Ok(Past { rounds: book.rounds(points), book, weeks })
}

/// What is on record of animals of a kind, to be gone through again.
pub(crate) struct Past {
    pub book: Book,
    rounds: Vec<Round>,
    weeks: BTreeMap<i64, Known>,
}

impl Past {
    /// Shows the state of each of these instants, under a rate of false concerns.
    pub(crate) fn goes(&mut self, false_a_year: f64, instants: &[DateTime<Utc>], mut look: impl FnMut(DateTime<Utc>, &Run<'_>)) {
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

async fn by_kind(snapshot: &Snapshot, animals: &[Uuid]) -> Result<BTreeMap<Uuid, Vec<Uuid>>> {
    let mut kinds: BTreeMap<Uuid, Vec<Uuid>> = BTreeMap::new();
    for (taxon, animal) in traits::kinds(snapshot, animals).await? {
        kinds.entry(taxon).or_default().push(animal);
    }
    Ok(kinds)
}

async fn see(records: &Records, snapshot: &Snapshot, permit: &Permit, asked: Asked<'_>) -> Result<Seen> {
    let Asked { taxon, animals, new, anew, as_of, lock } = asked;
    let book = Book::read(snapshot, permit, taxon, animals, records.false_a_year).await?;
    let rounds = book.rounds(new.iter().cloned());
    // Beside those asked about: whoever lives with them now, and lived with them then.
    let homes = animals.iter().map(|animal| (book.home(*animal, as_of), as_of));
    let homes: Vec<_> = rounds.iter().map(|round| (round.group, round.at)).chain(homes).collect();
    let members = homes.iter().flat_map(|(group, at)| book.members(*group, *at).into_keys());
    let near = distinct(members.map(|member| Uuid::from_u128(member.0)).chain(animals.iter().copied()));
    let groups = distinct(homes.iter().map(|(group, _)| *group));
    let kept = store::of(snapshot, permit, &near, &groups, lock).await?;
    if !anew && is_fresh(snapshot, &book, (&near, as_of), &kept, &rounds).await? {
        let last = store::kinds(snapshot, permit, taxon, true).await?;
        let week_of = |round: &Round| week(round.at);
        let late = last.last().is_some_and(|(last, _)| rounds.iter().map(week_of).any(|week| week < *last));
        let weeks = if late { store::kinds(snapshot, permit, taxon, false).await? } else { last };
        let mut run = Run::new(&book, known(weeks)?);
        let rows = Rows::begin(&mut run, kept)?;
        return moved(snapshot, permit, run, rows, &rounds, (&near, as_of)).await.map(|made| made.of(book));
    }
    let book = closed(records, snapshot, permit, book).await?;
    let everyone = book.everyone();
    let kept = store::of(snapshot, permit, &everyone, &book.groups(), lock).await?;
    let mut points = weights::series(snapshot, &everyone, as_of - LONG_AGO, as_of).await?;
    points.extend(new);
    let rounds = book.rounds(points);
    let run = Run::new(&book, known(store::kinds(snapshot, permit, taxon, false).await?)?);
    let made = moved(snapshot, permit, run, Rows::anew(&kept), &rounds, (&near, as_of)).await?;
    Ok(made.of(book))
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
async fn closed(records: &Records, snapshot: &Snapshot, permit: &Permit, book: Book) -> Result<Book> {
    let mut book = book;
    while !book.closed {
        let everyone = book.everyone();
        book = Book::read(snapshot, permit, book.taxon, &everyone, records.false_a_year).await?;
    }
    Ok(book)
}

/// Whether rows say all that there is to know, and rounds follow what is in them.
async fn is_fresh(
    snapshot: &Snapshot,
    book: &Book,
    (near, as_of): (&[Uuid], DateTime<Utc>),
    kept: &[Kept],
    rounds: &[Round],
) -> Result<bool> {
    let of = |part: Part| kept.iter().filter(move |row| row.part == part).map(|row| (row.of, row)).collect();
    let (own, groups): (HashMap<Uuid, &Kept>, HashMap<Uuid, &Kept>) = (of(Part::Animal), of(Part::Group));
    if kept.iter().any(|row| row.stale || row.until > as_of) {
        return Ok(false);
    }
    for (animal, row) in &own {
        if serde_json::to_string(&book.basis(*animal, row.until)).map_err(wrong)? != row.basis {
            return Ok(false);
        }
    }
    for round in rounds {
        let group_is_later = groups.get(&round.group).is_some_and(|row| round.at < row.until);
        let is_late = |point: &Point| own.get(&point.animal).is_some_and(|row| point.weighed_at <= row.until);
        if group_is_later || round.points.iter().any(is_late) {
            return Ok(false);
        }
    }
    let without: Vec<Uuid> = near.iter().copied().filter(|animal| !own.contains_key(animal)).collect();
    if without.is_empty() {
        return Ok(true);
    }
    let past = weights::series(snapshot, &without, as_of - LONG_AGO, as_of).await?;
    Ok(past.iter().all(|point| point.estimate))
}

fn wrong(error: serde_json::Error) -> Error {
    fault(error.to_string())
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

/// What a run came to, without its book.
struct Made {
    herd: Herd,
    own: BTreeMap<Uuid, Own>,
    judged: HashMap<Uuid, Judgement>,
    done: Vec<Done>,
    groups: Vec<Uuid>,
    changed: Vec<(Kept, bool)>,
    begun: Vec<(i64, String)>,
}

impl Made {
    fn of(self, book: Book) -> Seen {
        let Self { herd, own, judged, done, groups, changed, begun } = self;
        Seen { book, herd, own, judged, done, groups, changed, begun }
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
) -> Result<Made> {
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
        let (Some(own), Some(member)) = (run.own.get(&animal), run.herd.members.get(&id(animal))) else { continue };
        let Some(until) = own.until else { continue };
        changed.push(rows.row(Kept {
            of: animal,
            part: Part::Animal,
            until,
            stale: false,
            basis: serde_json::to_string(&run.book.basis(animal, until)).map_err(wrong)?,
            state: serde_json::to_string(&OfAnimal { member, own }).map_err(wrong)?,
            lessons: "[]".to_owned(),
            confirmed: own.confirmed.clone(),
        }));
    }
    let moved = distinct(rounds.iter().map(|round| round.group));
    for group in &moved {
        let (Some(until), Some(together)) = (run.groups.get(group), run.herd.groups.get(&id(*group))) else { continue };
        let lessons = run.herd.lessons.get(&id(*group)).map_or(&[][..], Vec::as_slice);
        changed.push(rows.row(Kept {
            of: *group,
            part: Part::Group,
            until: *until,
            stale: false,
            basis: String::new(),
            state: serde_json::to_string(together).map_err(wrong)?,
            lessons: serde_json::to_string(lessons).map_err(wrong)?,
            confirmed: Vec::new(),
        }));
    }
    let begun = run.begun.iter().filter_map(|week| Some((*week, run.weeks.get(week)?)));
    let begun = begun.map(|(week, known)| Ok((week, serde_json::to_string(known).map_err(wrong)?)));
    let begun = begun.collect::<Result<Vec<_>>>()?;
    run.reaches(near, as_of);
    // Nobody hears of a group that nobody lives in any more.
    let groups = distinct(near.iter().map(|animal| run.book.home(*animal, as_of)));
    let groups = groups.into_iter().filter(|group| moved.contains(group)).collect();
    let Run { herd, own, judged, done, .. } = run;
    Ok(Made { herd, own, judged, done, groups, changed, begun })
}
