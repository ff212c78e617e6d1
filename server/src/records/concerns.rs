//! Concerns: raised and carried on with the readings that lead to them, taken up and settled by people.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::concern::{
    Concern, ConcernKind, ConcernState, Content, Figure, Household, Level, SettledAs,
};
use crate::model::reason::Reason;
use crate::model::request::Request;
use crate::records::error::{Refusal, Result, Violation};
use crate::records::expected::Seen;
use crate::records::{Records, fresh, guard_version, one_animal};
use crate::store::concerns::{self, Open, Said, Step, StepKind, Wanted, Whom};
use crate::store::{Tx, retrying};
use chrono::{DateTime, Utc};
use holt_audit::expected::{Cause, Whole};
use holt_audit::words::{self, Words};
use std::cmp::Reverse;
use std::collections::HashMap;
use uuid::Uuid;

/// What is new and what has changed, from what is open.
#[derive(Default)]
pub(super) struct Steps {
    open: HashMap<(Whom, ConcernKind), Open>,
    new: Vec<(Whom, ConcernKind, Content)>,
    changed: Vec<(Uuid, i64, Content)>,
}

impl Steps {
    pub(super) fn from(open: Vec<Open>) -> Self {
        let open = open.into_iter().map(|open| ((open.whom, open.kind), open)).collect();
        Self { open, ..Self::default() }
    }

    /// What is known of an open one.
    pub(super) fn standing(&self, whom: Whom, kind: ConcernKind) -> Option<&Content> {
        self.open.get(&(whom, kind)).map(|open| &open.content)
    }

    pub(super) fn is_open(&self, whom: Whom, kind: ConcernKind) -> bool {
        self.open.contains_key(&(whom, kind))
    }

    /// Whether there is nothing to tell.
    pub(super) const fn is_empty(&self) -> bool {
        self.new.is_empty() && self.changed.is_empty()
    }

    /// Raises what is new and carries on what has changed; answers which these are.
    pub(super) async fn take(self, tx: &mut Tx, permit: &Permit) -> Result<Vec<Uuid>> {
        let mut ids = concerns::raise(tx, permit, &self.new).await?;
        let changed: Vec<_> = self
            .changed
            .iter()
            .map(|(id, version, content)| Step { concern: *id, version: *version, content })
            .collect();
        concerns::step(tx, permit, StepKind::Changed, &changed, Said::default()).await?;
        ids.extend(self.changed.iter().map(|(id, ..)| *id));
        Ok(ids)
    }

    /// Something is found.
    pub(super) fn found(&mut self, whom: Whom, kind: ConcernKind, content: Content) {
        match self.open.remove(&(whom, kind)) {
            None => self.new.push((whom, kind, content)),
            Some(open) if open.content != content => self.changed.push((open.id, open.version, content)),
            Some(_) => {}
        }
    }

    /// It is found no more, where it was open: `words` say so.
    pub(super) fn quiet(&mut self, whom: Whom, kind: ConcernKind, words: impl FnOnce() -> Words) {
        let Some(open) = self.open.remove(&(whom, kind)) else { return };
        let content = content(words(), Level::Watch, open.content.record_ids.clone());
        if open.content != content {
            self.changed.push((open.id, open.version, content));
        }
    }
}

/// Raises what the model says of animals and of their groups, carries on what is open, and answers what was raised or
/// changed.
pub(super) async fn carry(
    tx: &mut Tx,
    permit: &Permit,
    animals: &[Label],
    seen: &[Seen],
) -> Result<Vec<Concern>> {
    let ids: Vec<Uuid> = animals.iter().map(|one| one.id).collect();
    let enclosures: Vec<Uuid> =
        seen.iter().flat_map(Seen::enclosures).map(|(enclosure, _)| enclosure).collect();
    let mut steps = Steps::from(concerns::open(tx, permit, &ids, &enclosures).await?);
    let day = |at: DateTime<Utc>| permit.site().day_of(at);
    for seen in seen {
        for animal in animals.iter().filter(|animal| seen.book.life(animal.id).is_some()) {
            let (whom, name) = (Whom::Animal(animal.id), animal.spoken());
            let told = seen.told(animal.id);
            for kind in [ConcernKind::WeightTrend, ConcernKind::Growth] {
                let Some(loss) = told.filter(|loss| kind == kind_of(loss.gains_less)) else {
                    steps.quiet(whom, kind, || words::quiet(&name));
                    continue;
                };
                let latest = seen.latest(animal.id).map(|(_, _, mass)| mass);
                let beside = seen.beside(animal.id, tx.now()).map(|beside| beside.percent);
                let words = words::lost(&name, day(loss.since), &loss, latest, beside);
                steps.found(whom, kind, content(words, loss.severity, seen.late(animal.id).to_vec()));
            }
            match seen.refusal(animal.id) {
                Some(refusal) => {
                    let words = words::refused(&name, day(refusal.since), &refusal);
                    let ids = refusal.records.iter().map(|record| Uuid::from_u128(record.0)).collect();
                    steps.found(whom, ConcernKind::ScaleRefused, content(words, Level::Watch, ids));
                }
                None => steps.quiet(whom, ConcernKind::ScaleRefused, || words::comes_again(&name)),
            }
        }
        for (enclosure, name) in seen.enclosures() {
            let whom = Whom::Household { enclosure, taxon: seen.book.taxon };
            let household = Household { enclosure: name.to_owned(), taxon: seen.book.species.clone() };
            let told = seen.whole(enclosure).filter(|whole| whole.loss.told);
            for kind in [ConcernKind::GroupWeight, ConcernKind::ScaleOff] {
                let Some(whole) = told.filter(|whole| kind == kind_of_group(whole.cause)) else {
                    steps.quiet(whom, kind, || words::quiet_group(&household.spoken()));
                    continue;
                };
                let words = words::of_group(&household.spoken(), day(whole.loss.since), &whole);
                let level = level_of(&whole);
                steps.found(whom, kind, content(words, level, seen.latest_of(enclosure, tx.now())));
            }
        }
    }
    if steps.is_empty() {
        return Ok(Vec::new());
    }
    let ids = steps.take(tx, permit).await?;
    these(tx, permit, ids).await
}

/// What a loss is called among concerns.
pub(crate) const fn kind_of(gains_less: bool) -> ConcernKind {
    if gains_less { ConcernKind::Growth } else { ConcernKind::WeightTrend }
}

/// What is called among concerns that a group weighs less as a whole.
pub(crate) const fn kind_of_group(cause: Cause) -> ConcernKind {
    match cause {
        Cause::Scale => ConcernKind::ScaleOff,
        Cause::Loss | Cause::Season => ConcernKind::GroupWeight,
    }
}

/// How soon to look after a group: what a scale or a season explains is looked at with the next round.
pub(crate) fn level_of(whole: &Whole) -> Level {
    if whole.cause == Cause::Loss { whole.loss.severity } else { Level::Watch }
}

pub(super) fn content(words: Words, level: Level, record_ids: Vec<Uuid>) -> Content {
    let Words { seen, look_first, figures } = words;
    let figures = figures
        .into_iter()
        .map(|words::Figure { name, value, unit, low, high }| Figure {
            name: name.to_owned(),
            value,
            unit: unit.to_owned(),
            low,
            high,
        })
        .collect();
    Content { level, seen, look_first, figures, record_ids }
}

/// These concerns of a site, worst first.
pub(super) async fn these(tx: &Tx, permit: &Permit, ids: Vec<Uuid>) -> Result<Vec<Concern>> {
    let wanted = Wanted { site: Some(permit.site().id), ids: Some(ids), settled: true, ..Wanted::default() };
    let mut found = concerns::list(tx, &wanted, tx.now()).await?;
    sort(&mut found);
    Ok(found)
}

async fn one(tx: &Tx, permit: &Permit, id: Uuid) -> Result<Concern> {
    let found = these(tx, permit, vec![id]).await?.pop();
    found.ok_or_else(|| Refusal::not_found("concern", &id.to_string()).into())
}

/// Worst first: level, then age.
pub(crate) fn sort(concerns: &mut [Concern]) {
    concerns.sort_by_key(|concern| (Reverse(concern.content.level), concern.raised_at, concern.id));
}

/// Concerns at a site, or at all sites in scope, worst first.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    animal: &str,
    settled: bool,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Concern>> {
    let permits = records.permits(caller, Deed::Read, site).await?;
    let now = records.store.now();
    let snapshot = records.look(caller, known_at).await?;
    let animal = if animal.is_empty() {
        None
    } else {
        let permit = permits.first().filter(|_| !site.is_empty());
        Some(one_animal(&snapshot, permit, animal, now).await?.id)
    };
    let mut found = Vec::new();
    for permit in &permits {
        let wanted = Wanted { site: Some(permit.site().id), animal, settled, ..Wanted::default() };
        found.extend(concerns::list(&snapshot, &wanted, now).await?);
    }
    sort(&mut found);
    Ok(found)
}

/// What a person does with a concern.
#[derive(Clone, Debug)]
pub struct Answer {
    pub concern: Uuid,
    pub note: String,
    /// Version that this was based on; 0 to skip the guard.
    pub version: i64,
    /// Settle it, rather than take it up: as what, where that is asked.
    pub settle: Option<Option<SettledAs>>,
}

/// Takes a concern up, or settles it with a reason.
///
/// # Errors
/// Refused without the role there; where there is no such concern, it is settled, or it changed meanwhile.
pub async fn answer(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    answer: &Answer,
) -> Result<Concern> {
    let permit = records.permit(caller, Deed::AnswerConcerns, site).await?;
    retrying("answer_concern", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let concern = one(&tx, &permit, answer.concern).await?;
        if concern.state == ConcernState::Settled {
            return Err(Refusal::new(
                Reason::ConcernSettled,
                "the concern is already closed",
                "if it returns, Holt raises it again",
            )
            .into());
        }
        guard_version("concern", answer.version, concern.version)?;
        if let Some(settled_as) = answer.settle {
            refuse_meaning(concern.kind, settled_as)?;
        }
        let kind = if answer.settle.is_some() { StepKind::Settled } else { StepKind::TakenUp };
        let step = Step { concern: concern.id, version: concern.version, content: &concern.content };
        let said = Said { note: &answer.note, settled_as: answer.settle.flatten() };
        concerns::step(&mut tx, &permit, kind, &[step], said).await?;
        let reply = one(&tx, &permit, concern.id).await?;
        Ok(tx.commit(reply).await?)
    })
    .await
}

/// Refuses to settle a concern about weight without saying as what: what is expected from then on hangs on it.
fn refuse_meaning(kind: ConcernKind, settled_as: Option<SettledAs>) -> std::result::Result<(), Refusal> {
    let (say, mend) = match (kind.is_settled_as(), settled_as) {
        (true, None) => (
            "is not given, but the expected weight depends on it",
            "choose false alarm if nothing was wrong; treated to compare the recovery with the old weight; \
             new normal to expect the weight of now",
        ),
        (false, Some(_)) => ("is given, but the concern is not about weight", "leave it out"),
        _ => return Ok(()),
    };
    let (field, say, mend) = ("settled_as".to_owned(), say.to_owned(), mend.to_owned());
    Err(Refusal::malformed(vec![Violation { field, say, mend }]))
}
