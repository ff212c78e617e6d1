//! Who is being pushed out of a group: what the records know is put before the estimate, and what it says
//! is raised with the watch that it came of.

use crate::access::permit::Permit;
use crate::model::animal::{Animal, Label};
use crate::model::concern::{Concern, ConcernKind};
use crate::model::group::{Role, age_days};
use crate::records::Records;
use crate::records::ancestry::Ancestry;
use crate::records::animals::lens_of;
use crate::records::concerns::{Steps, content, these};
use crate::records::error::{Result, fault};
use crate::records::expected;
use crate::records::observed::Book;
use crate::store::concerns::{self, Whom};
use crate::store::groups::{self, Stay};
use crate::store::{Snapshot, Tx, animals, census};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use holt_audit::standing::exclusion::estimate::{Estimate, estimate};
use holt_audit::standing::exclusion::record::{CHANGE_DAYS, Change, Member, NOW_DAYS, Record, Stage};
use holt_audit::standing::exclusion::told::{self, Names};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

const KIND: ConcernKind = ConcernKind::PushedOut;

/// A group, by identifier and name.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Of<'a> {
    pub id: Uuid,
    pub name: &'a str,
}

/// What is estimated of each member.
pub(crate) struct Estimates {
    pub each: Vec<Estimate<Uuid>>,
    /// Of members, and of those that came or left of late.
    pub labels: BTreeMap<Uuid, Label>,
}

/// Estimates each member of a group as of an instant, as was known at that of the snapshot.
pub(crate) async fn estimates(
    records: &Records,
    snapshot: &Snapshot,
    permit: &Permit,
    group: Of<'_>,
    book: &Book,
    as_of: DateTime<Utc>,
) -> Result<Estimates> {
    let site = permit.site();
    let stays = book.members(as_of);
    let ids: Vec<Uuid> = stays.iter().map(|stay| stay.animal).collect();
    let views = animals::views(snapshot, &ids, lens_of(site, None, as_of)).await?;
    let since = as_of - TimeDelta::days(CHANGE_DAYS);
    let named: BTreeSet<Uuid> = book.stays.iter().map(|stay| stay.animal).collect();
    let named: Vec<(Uuid, Uuid)> = named.into_iter().map(|animal| (animal, site.id)).collect();
    let labels: BTreeMap<Uuid, Label> =
        census::names(snapshot, &named).await?.into_iter().map(|label| (label.id, label)).collect();
    let mut changes = moves(&book.stays, &labels, since, as_of);
    for (dam, day) in groups::births(snapshot, permit, &ids, site.day_of(since)).await? {
        let dam = labels.get(&dam).map(Label::spoken).unwrap_or_default();
        let what = format!("{dam} gave birth");
        changes.push(Change { at: site.noon_of(day).min(as_of - TimeDelta::microseconds(1)), what });
    }
    let members = |stay: &&Stay| {
        let view = views.iter().find(|view| view.id == stay.animal)?;
        Some(Member {
            animal: stay.animal,
            sex: view.sex,
            stage: stage(view, stay.role, site.day_of(as_of)),
            breeding: stay.role == Role::Breeding,
        })
    };
    let seen = book.all();
    let weighed = expected::look(records, snapshot, permit, &ids, as_of).await?;
    let paces: BTreeMap<Uuid, f64> = ids
        .iter()
        .filter_map(|animal| Some((*animal, weighed.iter().find_map(|seen| seen.pace(*animal))?)))
        .collect();
    let beside = |(animal, pace): (&Uuid, &f64)| {
        let others = paces.iter().filter(|(other, _)| *other != animal).map(|(_, pace)| *pace);
        Some((*animal, holt_audit::expected::beside(*pace, &others.collect::<Vec<_>>())?.z))
    };
    let record = Record {
        members: stays.iter().filter_map(members).collect(),
        watched: seen.watched,
        contests: seen.contests,
        feeds: seen.feeds,
        scans: seen.scans,
        weights: paces.iter().filter_map(beside).collect(),
        changes,
        kinship: Ancestry::among(snapshot, &ids).await?,
    };
    let each = estimate(&record, as_of).map_err(|misfit| fault(format!("group {}: {misfit}", group.id)))?;
    Ok(Estimates { each, labels })
}

/// How grown up an animal is; where nothing says so, as little as can be.
fn stage(animal: &Animal, role: Role, on: NaiveDate) -> Stage {
    let breeds_from = animal.taxon.breeds_from_days.map(i64::from).filter(|days| *days > 0);
    match (age_days(animal, on), breeds_from, role) {
        (Some(age), Some(from), _) if age >= from => Stage::Grown,
        (Some(age), Some(from), _) if age >= from / 2 => Stage::Maturing,
        (Some(_), Some(_), _) => Stage::Young,
        (_, _, Role::Breeding | Role::Helper) => Stage::Grown,
        (_, _, Role::Member | Role::Juvenile | Role::OnTrial) => Stage::Young,
    }
}

/// Who came and who left between two instants; a change of role is neither.
fn moves(
    stays: &[Stay],
    labels: &BTreeMap<Uuid, Label>,
    since: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Vec<Change> {
    let name = |animal: Uuid| labels.get(&animal).map(Label::spoken).unwrap_or_default();
    let others = |stay: &Stay| stays.iter().filter(|other| other.animal == stay.animal).collect::<Vec<_>>();
    let mut changes = Vec::new();
    for stay in stays {
        let came = !others(stay).iter().any(|other| other.ended_at == Some(stay.began_at));
        if came && since <= stay.began_at && stay.began_at < until {
            changes.push(Change { at: stay.began_at, what: format!("{} came", name(stay.animal)) });
        }
        let Some(ended) = stay.ended_at.filter(|ended| since <= *ended && *ended < until) else { continue };
        if !others(stay).iter().any(|other| other.began_at == ended) {
            let why =
                if stay.ended_why.is_empty() { String::new() } else { format!(" ({})", stay.ended_why) };
            changes.push(Change { at: ended, what: format!("{} left{why}", name(stay.animal)) });
        }
    }
    changes
}

/// Raises and carries on what the watches of a group say of its members now.
pub(super) async fn carry(
    records: &Records,
    tx: &mut Tx,
    permit: &Permit,
    group: Of<'_>,
) -> Result<Vec<Concern>> {
    // What was seen up to this moment counts, also by a clock that is a little ahead.
    let until = tx.now() + crate::records::watches::AHEAD;
    let book = Book::of(tx, permit, group.id, until).await?;
    let as_of = book.latest().unwrap_or(until).max(tx.now()) + TimeDelta::microseconds(1);
    let told = estimates(records, tx, permit, group, &book, as_of).await?;
    let spoken = |animal: &Uuid| told.labels.get(animal).map(Label::spoken).unwrap_or_default();
    let day = |at: DateTime<Utc>| permit.site().day_of(at);
    let names = Names { animal: &spoken, day: &day, group: group.name };
    let animals: Vec<Uuid> = told.each.iter().map(|estimate| estimate.animal).collect();
    let mut steps = Steps::from(concerns::open(tx, permit, &animals, &[]).await?);
    let since = as_of - TimeDelta::days(NOW_DAYS);
    let settled = concerns::last_settled(tx, permit, &animals, &[]).await?;
    let rests_on = book.watches(since);
    for estimate in &told.each {
        let whom = Whom::Animal(estimate.animal);
        let Some(level) = estimate.severity else {
            steps.quiet(whom, KIND, || told::quiet(estimate, &names));
            continue;
        };
        // What people have settled is not raised again from what they knew, unless it is more pressing.
        let known = settled.get(&(whom, KIND)).filter(|settled| settled.at > since);
        if steps.is_open(whom, KIND) || known.is_none_or(|known| level > known.level) {
            steps.found(whom, KIND, content(told::told(estimate, &names), level, rests_on.clone()));
        }
    }
    if steps.is_empty() {
        return Ok(Vec::new());
    }
    let ids = steps.take(tx, permit).await?;
    these(tx, permit, ids).await
}
