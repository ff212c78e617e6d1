//! Watches: what a person saw a group do is taken in, event by event, under the numbers that they gave.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::Concern;
use crate::model::document::{Basis, Kind};
use crate::model::group::Group;
use crate::model::page::{Page, Slice};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::model::watch::{Event, Listed, NewWatch, Summary, Watch, What};
use crate::records::animals::lens_of;
use crate::records::assessments::is_for;
use crate::records::documents::sound;
use crate::records::error::{Error, Refusal, Result, Violation};
use crate::records::{Records, documents, fresh, groups, pushed_out, the_one};
use crate::store::animals::{self, Lock, Reference};
use crate::store::groups::{self as members, Stay};
use crate::store::watches::{self, NewRow, Noted, Wanted};
use crate::store::{Snapshot, Tx, census, kept, retrying};
use chrono::{DateTime, NaiveDate, SubsecRound, TimeDelta, Utc};
use holt_audit::ethogram::{Behaviour, Receiver, SoundEthogram};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use uuid::Uuid;

/// The clock of whoever watches may be ahead of ours by so much.
pub(super) const AHEAD: TimeDelta = TimeDelta::minutes(2);

/// What taking in comes to.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Taken {
    pub recorded: usize,
    /// Events that were on record already.
    pub known: usize,
    pub summary: Summary,
    pub concerns: Vec<Concern>,
    /// Why it is by this version of the ethogram; none where it was on record already.
    pub basis: Option<Basis>,
}

/// Records a watch, or more of one: all events that are new, or none.
///
/// # Errors
/// Refused without the role there; where there is no such group or ethogram, or something does not fit: each
/// place is named.
pub async fn record(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewWatch,
) -> Result<Taken> {
    let permit = records.permit(caller, Deed::Observe, site).await?;
    retrying("record_watch", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let group = groups::one(&tx, &permit, &new.group, lens_of(permit.site(), None, tx.now())).await?;
        let before = one(&tx, &permit, new.id).await?;
        let (version, basis) = worked_by(&tx, &permit, new, before.as_ref()).await?;
        let kept = kept::one(&tx, &new.ethogram, version).await?;
        let kept = kept.ok_or_else(|| Refusal::not_found("ethogram", &new.ethogram).at("ethogram"))?;
        let ethogram: SoundEthogram = sound(kept.document)?;
        let mut flaws = Flaws::default();
        if let Some(before) = &before {
            flaws.unless_the_same(before, &group, kept.id, new);
        }
        let (focal, events) = understood(&tx, &permit, &group, &ethogram, new, &mut flaws).await?;
        let noted = watches::noted(&tx, &permit, new.id).await?;
        let (fresh, known) = flaws.told_apart(events, &noted);
        flaws.unless_in_order(new, &fresh, before.as_ref(), tx.now());
        flaws.done()?;
        if before.is_none() {
            let row =
                NewRow { id: new.id, group: group.id, ethogram: kept.id, began_at: new.began_at, focal };
            watches::insert(&mut tx, &permit, row).await?;
        }
        watches::append(&mut tx, &permit, new.id, &fresh).await?;
        let watch = there(&tx, &permit, new.id).await?;
        // While it runs nobody is told of what it may come to.
        let news = watch.ended_at().is_some() && !fresh.is_empty();
        let concerns = if news { raised(records, &mut tx, &permit, &watch).await? } else { Vec::new() };
        let taken = Taken { recorded: fresh.len(), known, summary: Summary::from(&watch), concerns, basis };
        Ok(tx.commit(taken).await?)
    })
    .await
}

/// The version of the ethogram that a watch is by: what is on record keeps its own.
async fn worked_by(
    tx: &Tx,
    permit: &Permit,
    new: &NewWatch,
    before: Option<&Watch>,
) -> Result<(i32, Option<Basis>)> {
    if let Some(before) = before.filter(|before| before.ethogram == new.ethogram) {
        let named = if new.version == 0 { before.ethogram_version } else { new.version };
        return Ok((named, None));
    }
    let (document, day) = ((Kind::Ethogram, new.ethogram.as_str()), permit.site().day_of(new.began_at));
    match documents::to_record_by(tx, permit, document, new.version, day).await {
        Ok((version, basis)) => Ok((version, Some(basis))),
        Err(Error::Refused(refusal)) if refusal.at.is_empty() => Err(refusal.at("ethogram").into()),
        Err(error) => Err(error),
    }
}

/// Withdraws one event that was noted by mistake; it stays on record as withdrawn.
///
/// # Errors
/// Refused without the role there; where there is no such watch or event.
pub async fn withdraw(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    (watch, number): (Uuid, i32),
    because: &str,
) -> Result<Taken> {
    let permit = records.permit(caller, Deed::Observe, site).await?;
    retrying("withdraw_event", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        there(&tx, &permit, watch).await?;
        let noted = watches::noted(&tx, &permit, watch).await?;
        let standing = noted.get(&number).filter(|noted| !noted.withdrawn);
        let noted = standing.ok_or_else(|| Refusal::not_found("event", &number.to_string()).at("number"))?;
        watches::withdraw(&mut tx, noted.id, because).await?;
        let watch = there(&tx, &permit, watch).await?;
        let concerns = raised(records, &mut tx, &permit, &watch).await?;
        let taken = Taken { recorded: 0, known: 0, summary: Summary::from(&watch), concerns, basis: None };
        Ok(tx.commit(taken).await?)
    })
    .await
}

/// What is to be told of the group, now that this was seen of it.
async fn raised(records: &Records, tx: &mut Tx, permit: &Permit, watch: &Watch) -> Result<Vec<Concern>> {
    pushed_out::carry(records, tx, permit, pushed_out::Of { id: watch.group_id, name: &watch.group }).await
}

async fn one(snapshot: &Snapshot, permit: &Permit, id: Uuid) -> Result<Option<Watch>> {
    let wanted = Wanted { id: Some(id), ..Wanted::default() };
    Ok(watches::list(snapshot, permit, &wanted, &Page { size: 1, after: None }).await?.entries.pop())
}

async fn there(snapshot: &Snapshot, permit: &Permit, id: Uuid) -> Result<Watch> {
    let found = one(snapshot, permit, id).await?;
    found.ok_or_else(|| Refusal::not_found("watch", &id.to_string()).at("watch_id").into())
}

/// Which watches, or upsets, a list is about.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    pub site: String,
    /// Empty for all of the site.
    pub group: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub known_at: Option<DateTime<Utc>>,
}

/// The group that is meant, and from when until when.
type Found = (Option<Uuid>, Option<(DateTime<Utc>, DateTime<Utc>)>);

impl Asked {
    /// The group and the instants that are meant; none where all are.
    pub(super) async fn found(
        &self,
        snapshot: &Snapshot,
        permit: &Permit,
        now: DateTime<Utc>,
    ) -> Result<Found> {
        let site = permit.site();
        let group = if self.group.is_empty() {
            None
        } else {
            Some(groups::one(snapshot, permit, &self.group, lens_of(site, None, now)).await?.id)
        };
        let during = self.days.map(|(first, last)| (site.start_of(first), site.close_of(last) + MICROSECOND));
        Ok((group, during))
    }
}

/// Watches, newest first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such group.
pub async fn list(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<Slice<Listed>> {
    let permit = records.permit(caller, Deed::Read, &asked.site).await?;
    let snapshot = records.look(caller, asked.known_at).await?;
    let (group, during) = asked.found(&snapshot, &permit, records.store.now()).await?;
    let site = permit.site();
    let found = watches::list(&snapshot, &permit, &Wanted { group, id: None, during }, page).await?;
    let named: BTreeSet<Uuid> = found.entries.iter().flat_map(Watch::animals).collect();
    let named: Vec<(Uuid, Uuid)> = named.into_iter().map(|animal| (animal, site.id)).collect();
    let labels = census::names(&snapshot, &named).await?;
    let entries = found.entries.into_iter().map(|watch| {
        let of_it: BTreeSet<Uuid> = watch.animals().into_iter().collect();
        Listed { animals: labels.iter().filter(|one| of_it.contains(&one.id)).cloned().collect(), watch }
    });
    Ok(Slice { entries: entries.collect(), next: found.next })
}

const MICROSECOND: TimeDelta = TimeDelta::microseconds(1);

/// The animals that were followed and the events, with animals as they are identified. What does not fit is
/// among the flaws, and is left out.
async fn understood(
    tx: &Tx,
    permit: &Permit,
    group: &Group,
    ethogram: &SoundEthogram,
    new: &NewWatch,
    flaws: &mut Flaws,
) -> Result<(Vec<Uuid>, Vec<(usize, Event<Uuid>)>)> {
    let names = Names::of(tx, permit, new, flaws).await?;
    let latest = new.events.iter().map(|event| event.at).max().unwrap_or(new.began_at).max(new.began_at);
    let stays = members::stays(tx, permit, group.id, new.began_at, latest).await?;
    let mut focal = Vec::new();
    for (n, name) in new.focal.iter().enumerate() {
        let field = format!("focal_animals[{n}]");
        focal.extend(names.member(name, &field, (new.began_at, latest), &stays, group, flaws));
    }
    focal.sort_unstable();
    focal.dedup();
    let mut events = Vec::new();
    for (n, event) in new.events.iter().enumerate() {
        let at = |place: &str| format!("events[{n}].{place}");
        for (code, place) in event.what.behaviours() {
            if ethogram.behaviour(code).is_none() {
                flaws.no_behaviour(&at(&place), code, ethogram);
            }
        }
        let what: std::result::Result<What<Uuid>, ()> = event.what.named(|name, place| {
            names.member(name, &at(place), (event.at, event.at), &stays, group, flaws).ok_or(())
        });
        let Ok(what) = what else { continue };
        flaws.unless_sound(&at("interaction"), &what, ethogram);
        flaws.unless_once(&at("scan"), &what);
        events.push((n, Event { number: event.number, at: event.at, what }));
    }
    let animals: BTreeSet<Uuid> = stays.iter().map(|stay| stay.animal).collect();
    if flaws.is_empty() {
        refuse_other_species(tx, permit, ethogram, animals.into_iter().collect()).await?;
    }
    Ok((focal, events))
}

/// Refuses an ethogram that is for none of the species in the group.
async fn refuse_other_species(
    tx: &Tx,
    permit: &Permit,
    ethogram: &SoundEthogram,
    animals: Vec<Uuid>,
) -> Result<()> {
    if ethogram.species.is_empty() {
        return Ok(());
    }
    let views = animals::views(tx, &animals, lens_of(permit.site(), None, tx.now())).await?;
    for view in &views {
        if is_for(tx, &ethogram.species, &view.taxon).await? {
            return Ok(());
        }
    }
    let kept = views.first().map(|view| view.taxon.scientific_name.clone()).unwrap_or_default();
    Err(Refusal::new(
        Reason::ObservationDoesNotFit,
        format!("the ethogram {} is not for {kept}", ethogram.code),
        format!("it is for {}; choose another", ethogram.species.join(", ")),
    )
    .at("ethogram")
    .into())
}

/// The animals that are named in a watch, in the terms of the site.
struct Names(HashMap<String, Label>);

impl Names {
    async fn of(tx: &Tx, permit: &Permit, new: &NewWatch, flaws: &mut Flaws) -> Result<Self> {
        let mut first: BTreeMap<String, String> = BTreeMap::new();
        for (n, name) in new.focal.iter().enumerate() {
            first.entry(name.clone()).or_insert_with(|| format!("focal_animals[{n}]"));
        }
        for (n, event) in new.events.iter().enumerate() {
            let noted: std::result::Result<_, std::convert::Infallible> = event.what.named(|name, place| {
                first.entry(name.clone()).or_insert_with(|| format!("events[{n}].{place}"));
                Ok(())
            });
            let Ok(_) = noted;
        }
        let at = new.began_at.min(tx.now());
        let references: Vec<Reference> =
            first.keys().map(|name| Reference { text: name.clone(), at }).collect();
        let meant = animals::lock(tx, permit, &references, Lock::Share).await?;
        let mut found = HashMap::new();
        for ((name, field), meant) in first.into_iter().zip(meant) {
            match the_one(meant, &name) {
                Ok(label) => {
                    found.insert(name, label);
                }
                Err(refusal) => flaws.note(&field, refusal.say, &refusal.mend),
            }
        }
        Ok(Self(found))
    }

    /// The animal of a name, where it was in the group throughout a stretch.
    fn member(
        &self,
        name: &String,
        field: &str,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
        stays: &[Stay],
        group: &Group,
        flaws: &mut Flaws,
    ) -> Option<Uuid> {
        let label = self.0.get(name)?;
        let there = |stay: &&Stay| {
            // Who types has seconds and no more: what joined within one was there in it.
            stay.animal == label.id
                && stay.began_at.trunc_subsecs(0) <= until
                && stay.ended_at.is_none_or(|end| end > from)
        };
        if stays.iter().any(|stay| there(&stay)) {
            return Some(label.id);
        }
        flaws.note(
            field,
            format!("{} was not in {} then", label.spoken(), group.name),
            "name a member; take an animal that joins into the group first",
        );
        None
    }
}

/// What does not fit, each with its place.
#[derive(Default)]
struct Flaws(Vec<Violation>);

impl Flaws {
    fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    fn note(&mut self, field: &str, say: impl Into<String>, mend: &str) {
        self.0.push(Violation { field: field.to_owned(), say: say.into(), mend: mend.to_owned() });
    }

    fn done(mut self) -> std::result::Result<(), Refusal> {
        let (say, mend) = match self.0.as_slice() {
            [] => return Ok(()),
            [one] => (one.say.clone(), one.mend.clone()),
            many => (format!("{} errors", many.len()), "correct each place named".to_owned()),
        };
        // Two hundred say it as well as two thousand, and fit into an answer.
        self.0.truncate(200);
        Err(Refusal { at: self.0, ..Refusal::new(Reason::ObservationDoesNotFit, say, mend) })
    }

    fn unless_the_same(&mut self, before: &Watch, group: &Group, ethogram: Uuid, new: &NewWatch) {
        let mend = "give another observation an identifier of its own";
        if before.group_id != group.id {
            self.note("group", format!("the observation is recorded for {}", before.group), mend);
        }
        if before.ethogram_id != ethogram {
            let known = format!("{} version {}", before.ethogram, before.ethogram_version);
            self.note("ethogram", format!("the observation is recorded by {known}"), mend);
        }
        if before.began_at != new.began_at {
            self.note("began_at", "the observation is recorded with another beginning", mend);
        }
    }

    fn no_behaviour(&mut self, field: &str, code: &str, ethogram: &SoundEthogram) {
        let codes: Vec<&str> = ethogram.behaviours.iter().map(|one| one.code.as_str()).collect();
        self.note(
            field,
            format!("there is no behaviour `{code}` in {} version {}", ethogram.code, ethogram.version),
            &format!("choose one of {}", codes.join(", ")),
        );
    }

    /// An interaction has a receiver as its behaviour has one, and nobody stands above itself.
    fn unless_sound(&mut self, field: &str, what: &What<Uuid>, ethogram: &SoundEthogram) {
        let What::Interaction { actor, behaviour, receiver, outcome, .. } = what else { return };
        let Some(Behaviour { receiver: wanted, name, .. }) = ethogram.behaviour(behaviour) else { return };
        match (wanted, receiver) {
            (Receiver::Must, None) => {
                self.note(&format!("{field}.receiver"), format!("no receiver given for {name}"), "name it");
            }
            (Receiver::None, Some(_)) => {
                let say = format!("`{behaviour}` has no receiver");
                self.note(&format!("{field}.receiver"), say, "leave the receiver out");
            }
            (_, Some(receiver)) if receiver == actor => {
                let say = "the animal does this to itself";
                self.note(&format!("{field}.receiver"), say, "name the other one");
            }
            _ => {}
        }
        let decides = *outcome != crate::model::watch::Outcome::Usual;
        if decides && receiver.is_none() {
            self.note(&format!("{field}.outcome"), "nobody was there to yield", "leave the outcome out");
        }
    }

    fn unless_once(&mut self, field: &str, what: &What<Uuid>) {
        let What::Scan { seen } = what else { return };
        let mut there = BTreeSet::new();
        for (n, look) in seen.iter().enumerate() {
            if !there.insert(look.animal) {
                let say = "the animal is in this scan twice";
                self.note(&format!("{field}.seen[{n}].animal"), say, "name it once");
            }
        }
    }

    /// Events that are new, and the number of those that are on record.
    fn told_apart(
        &mut self,
        events: Vec<(usize, Event<Uuid>)>,
        noted: &HashMap<i32, Noted>,
    ) -> (Vec<Event<Uuid>>, usize) {
        let (mut new, mut known) = (BTreeMap::new(), 0);
        for (n, event) in events {
            let field = format!("events[{n}].number");
            let before = noted.get(&event.number).map(|noted| &noted.event);
            match before.or(new.get(&event.number)) {
                Some(before) if *before == event => known += 1,
                Some(_) => {
                    let say = format!("event {} is already recorded and differs", event.number);
                    self.note(
                        &field,
                        say,
                        "withdraw the recorded event and send this one under a new number",
                    );
                }
                None => {
                    new.insert(event.number, event);
                }
            }
        }
        (new.into_values().collect(), known)
    }

    /// Nothing happens before the watch begins, after it ended, or in the future; it ends once.
    fn unless_in_order(
        &mut self,
        new: &NewWatch,
        fresh: &[Event<Uuid>],
        before: Option<&Watch>,
        now: DateTime<Utc>,
    ) {
        let place = |event: &Event<Uuid>| {
            new.events.iter().position(|one| one.number == event.number).unwrap_or_default()
        };
        let ends = fresh.iter().filter(|event| event.what == What::End);
        let own: Vec<&Event<Uuid>> = ends.collect();
        let ended = before.and_then(Watch::ended_at).or(own.first().map(|event| event.at));
        if before.and_then(Watch::ended_at).is_some() || own.len() > 1 {
            for event in own.iter().skip(usize::from(before.and_then(Watch::ended_at).is_none())) {
                self.note(
                    &format!("events[{}]", place(event)),
                    "the observation ends twice",
                    "leave one end",
                );
            }
        }
        let earliest = before.map_or(new.began_at, |before| before.began_at);
        let latest = before.map(|before| before.events.iter().map(|event| event.at).max());
        for event in fresh {
            let field = format!("events[{}].happened_at", place(event));
            if event.at < earliest {
                self.note(&field, "is before the observation began", "correct the time");
            } else if event.at > now + AHEAD {
                self.note(&field, "is in the future", "correct the time (and the machine's clock)");
            } else if ended.is_some_and(|end| event.at > end) {
                self.note(&field, "is after the observation ended", "correct the time");
            }
        }
        if let (Some(end), Some(latest)) = (own.first(), latest.flatten())
            && latest > end.at
        {
            let say = "a recorded event is later";
            self.note(&format!("events[{}].happened_at", place(end)), say, "correct the time");
        }
        if new.began_at > now + AHEAD {
            self.note("began_at", "is in the future", "correct the time (and the machine's clock)");
        }
    }
}
