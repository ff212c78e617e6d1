//! What is kept of animals and groups: read into a run, moved on by rounds, and written as rows.

use super::book::{Book, Round, id};
use super::distinct;
use super::run::{Own, Run};
use super::seen::Came;
use crate::access::permit::Permit;
use crate::records::error::{Result, fault};
use crate::store::Snapshot;
use crate::store::expected::{self as store, Kept, Part, read};
use crate::store::weights::Point;
use chrono::{DateTime, Utc};
use holt_audit::expected::{Lessons, Member, Together, week};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeSet, HashMap};
use uuid::Uuid;

/// Whether rows say all that there is to know, and rounds follow what is in them.
pub(super) fn is_fresh(book: &Book, as_of: DateTime<Utc>, kept: &[Kept], rounds: &[Round]) -> Result<bool> {
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
pub(super) fn json(of: &impl Serialize) -> Result<String> {
    serde_json::to_string(of).map_err(|error| fault(error.to_string()))
}

/// Which rows there are.
pub(super) struct Rows {
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
    pub(super) fn begin(run: &mut Run<'_>, kept: Vec<Kept>) -> Result<Self> {
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
    pub(super) fn anew(kept: &[Kept]) -> Self {
        let groups = kept.iter().filter(|row| row.part == Part::Group);
        Self { anew: groups.map(|row| row.of).collect(), ..Self::of(kept) }
    }

    fn row(&self, kept: Kept) -> (Kept, bool) {
        let new = !self.there.contains(&(kept.of, kept.part == Part::Animal));
        (kept, new)
    }
}

/// Gives the rounds to a run; then brings those asked about up to an instant.
pub(super) async fn moved(
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
