//! Checks: what must be done again and again, what is due, and how far it was done.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::check::{Check, CheckCoverage, DueItem, DueState, Duty, NewCheck, Scope};
use crate::model::reason::Reason;
use crate::model::report::DutyCoverage;
use crate::model::request::Request;
use crate::records::animals::{enclosure, lens_of};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, fresh, groups, held_now, loans, taxa, waiting};
use crate::store::animals::{self, Lens, Stay};
use crate::store::checks::{self, For, Kept};
use crate::store::{Snapshot, assessments, retrying, weights};
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::schedule::{self, Calendar, Coverage, Done, Due, Dues, Recurrence, Rhythm, State};
use holt_audit::terms::{RecordId, Span};
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// How far back a due list looks for what was last done, in days.
const LOOK_BACK: u64 = 400;

/// Sets up a check.
///
/// # Errors
/// Refused without the role there; where the rule is malformed, or what it is for is not on record.
pub async fn create(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    new: &NewCheck,
) -> Result<Check> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("create_check", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        let starts_on = new.starts_on.unwrap_or_else(|| permit.site().day_of(tx.now()));
        let recurrence = Recurrence::parse(&new.recurrence, starts_on).map_err(|error| {
            Refusal::new(
                Reason::RecurrenceMalformed,
                format!("the recurrence is not valid: {error}"),
                "write an RFC 5545 rule of days or more, such as `FREQ=WEEKLY;BYDAY=MO`",
            )
            .at("recurrence")
        })?;
        let mut scope = new.scope.clone();
        let is_for = match &new.scope {
            Scope::Animal(text) => For::Animal(held_now(&tx, &permit, text).await?.id),
            Scope::Taxon(name) => {
                let taxon = taxa::one(&tx, name).await?;
                scope = Scope::Taxon(taxon.scientific_name);
                For::Taxon(taxon.id)
            }
            Scope::Enclosure(name) => For::Enclosure(enclosure(&tx, &permit, name).await?),
            Scope::Group(name) => {
                let lens = lens_of(permit.site(), None, tx.now());
                let group = groups::one(&tx, &permit, name, lens).await?;
                scope = Scope::Group(group.name);
                For::Group(group.id)
            }
            Scope::WholeSite => For::WholeSite,
        };
        let check = Check {
            id: tx.new_id(),
            site: permit.site().code.clone(),
            duty: new.duty,
            scope,
            recurrence: recurrence.text().to_owned(),
            starts_on,
            ends_on: None,
            grace_days: new.grace_days,
            by_whom: new.by_whom.clone(),
            note: new.note.clone(),
        };
        checks::insert(&mut tx, &permit, &check, is_for).await?;
        Ok(tx.commit(check).await?)
    })
    .await
}

/// Gives a check its last day. What was due before stays due.
///
/// # Errors
/// Refused without the role there, or where the site has no such check.
pub async fn end(
    records: &Records,
    caller: &Caller,
    request: &Request,
    site: &str,
    id: Uuid,
    ends_on: NaiveDate,
    why: &str,
) -> Result<Check> {
    let permit = records.permit(caller, Deed::SetChecks, site).await?;
    retrying("end_check", || async {
        let mut tx = fresh!(records.store.write(&permit, request).await?);
        if !checks::end(&mut tx, &permit, id, ends_on, why).await? {
            return Err(Refusal::not_found("check", &id.to_string()).into());
        }
        // It alone: one that cannot be read keeps nobody from ending another.
        let ended = checks::of(&tx, &permit, Some(id)).await?.pop();
        let ended = ended.ok_or_else(|| Refusal::not_found("check", &id.to_string()))?;
        Ok(tx.commit(ended.check).await?)
    })
    .await
}

/// The checks of a site.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn list(
    records: &Records,
    caller: &Caller,
    site: &str,
    known_at: Option<DateTime<Utc>>,
) -> Result<Vec<Check>> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let snapshot = records.look(caller, known_at).await?;
    Ok(checks::of(&snapshot, &permit, None).await?.into_iter().map(|kept| kept.check).collect())
}

/// What is due at a site as of a day, longest overdue first. Answers the day, too.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn due(
    records: &Records,
    caller: &Caller,
    site: &str,
    as_of: Option<NaiveDate>,
    duty: Option<Duty>,
    known_at: Option<DateTime<Utc>>,
) -> Result<(NaiveDate, Vec<DueItem>)> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, known_at).await?;
    let duties = Duties::load(&snapshot, &permit, lens, LOOK_BACK).await?;
    let mut items = duties.due()?;
    items.extend(loans::due(&snapshot, &permit, lens, records.loan_notice_days).await?);
    items.extend(waiting::due(records, &snapshot, &permit, lens, duties.held()).await?);
    items.sort_by_key(|item| std::cmp::Reverse(item.days_late));
    let is_meant = |item: &DueItem, duty: Duty| {
        duty == item.duty || (duty, item.duty) == (Duty::Weigh, Duty::WeighAgain)
    };
    items.retain(|item| duty.is_none_or(|duty| is_meant(item, duty)));
    Ok((lens.day, items))
}

/// Which due days are counted, and as of when.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    pub first: NaiveDate,
    pub last: NaiveDate,
    /// As of the end of this day; today where none.
    pub as_of: Option<NaiveDate>,
    pub duty: Option<Duty>,
    pub known_at: Option<DateTime<Utc>>,
}

/// How far the checks of a site were done over any stretch of days, as of any day. Answers the day, too.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn coverage(
    records: &Records,
    caller: &Caller,
    question: &Question,
) -> Result<(NaiveDate, Vec<CheckCoverage>)> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let lens = lens_of(permit.site(), question.as_of, records.store.now());
    let snapshot = records.look(caller, question.known_at).await?;
    // A due day is answered by a record of some time before it, too.
    let back = (lens.day - question.first).num_days().max(0).unsigned_abs() + LOOK_BACK;
    let duties = Duties::load(&snapshot, &permit, lens, back).await?;
    let span = Span { from: question.first, until: question.last.succ_opt() };
    Ok((lens.day, duties.by_check(question.duty, span)?))
}

/// Due days with the checks that they are of.
pub(crate) type DuesOf<'d> = Vec<(&'d Check, Due)>;

/// The duties of a site over some days until the day of a lens, with the records that fulfil them.
pub(crate) struct Duties {
    lens: Lens,
    first: NaiveDate,
    stays: Vec<Stay>,
    checks: Vec<(Kept, schedule::Check)>,
    done: HashMap<(Uuid, Duty), Vec<Done>>,
    tried: HashMap<Uuid, NaiveDate>,
}

impl Duties {
    /// Reads them for the last `days` days.
    pub(crate) async fn load(snapshot: &Snapshot, permit: &Permit, lens: Lens, days: u64) -> Result<Self> {
        let first = lens.day.checked_sub_days(Days::new(days)).unwrap_or(NaiveDate::MIN);
        let since = permit.site().start_of(first);
        let stays = animals::stays(snapshot, permit, since, lens).await?;
        let kept = checks::of(snapshot, permit, None).await?;
        let mut checks = Vec::with_capacity(kept.len());
        for kept in kept {
            match rule(&kept.check) {
                Ok(check) => checks.push((kept, check)),
                Err(error) => snapshot.cannot_read("check", kept.check.id, error)?,
            }
        }
        let ids: Vec<Uuid> =
            stays.iter().map(|stay| stay.animal.id).collect::<HashSet<_>>().into_iter().collect();
        let mut done: HashMap<(Uuid, Duty), Vec<Done>> = HashMap::new();
        let mut tried: HashMap<Uuid, NaiveDate> = HashMap::new();
        let mut note = |animal, duty, record: Uuid, day| {
            let record = RecordId(record.as_u128());
            done.entry((animal, duty)).or_default().push(Done { record, day });
        };
        for weighed in weights::days(snapshot, &ids, first, lens.day).await? {
            if weighed.tried {
                let last = tried.entry(weighed.animal).or_insert(weighed.day);
                *last = weighed.day.max(*last);
            } else {
                note(weighed.animal, Duty::Weigh, weighed.id, weighed.day);
            }
        }
        for (record, animal, day) in assessments::days(snapshot, &ids, first, lens.day).await? {
            note(animal, Duty::Assess, record, day);
        }
        Ok(Self { lens, first, stays, checks, done, tried })
    }

    /// The stays that still run at the instant of the lens.
    pub(crate) fn held(&self) -> impl Iterator<Item = &Stay> {
        self.stays.iter().filter(|stay| stay.ended_on.is_none())
    }

    fn done_of(&self, animal: Uuid, duty: Duty) -> &[Done] {
        self.done.get(&(animal, duty)).map_or(&[], Vec::as_slice)
    }

    /// What is open for the animals that are held, longest overdue first.
    pub(crate) fn due(&self) -> Result<Vec<DueItem>> {
        let mut items = Vec::new();
        for (kept, check) in &self.checks {
            let calendar = calendar(kept, check, self.first, self.lens.day)?;
            for stay in self.held().filter(|stay| applies(kept, stay)) {
                let dues = self.dues_of(&calendar, kept, stay);
                items.extend(self.item(kept, stay, &dues));
            }
        }
        items.sort_by(|a, b| {
            (b.days_late, a.duty, &a.animal.accession).cmp(&(a.days_late, b.duty, &b.animal.accession))
        });
        Ok(items)
    }

    /// What became of the due days of one stay. They begin with the records that were read, so that
    /// what was done before them is not taken for undone.
    fn dues_of(&self, calendar: &Calendar<'_>, kept: &Kept, stay: &Stay) -> Dues {
        let span = Span { from: stay.began_on.max(self.first), until: stay.ended_on };
        calendar.dues(&[span], self.done_of(stay.animal.id, kept.check.duty), self.lens.day)
    }

    fn item(&self, kept: &Kept, stay: &Stay, dues: &Dues) -> Option<DueItem> {
        let past: Vec<_> = dues.all().iter().filter(|due| due.day <= self.lens.day).collect();
        let last = past.last()?;
        if !matches!(last.state, State::Open | State::Overdue { .. }) {
            return None;
        }
        // Due days that were passed over in a row before this one are part of the same delay.
        let run = past
            .iter()
            .rev()
            .take_while(|due| matches!(due.state, State::Open | State::Overdue { .. } | State::Missed));
        let run: Vec<_> = run.collect();
        let oldest = run.last()?.day;
        let duty = kept.check.duty;
        let last_done_on = self.done_of(stay.animal.id, duty).last().map(|done| done.day);
        let tried_on = self.tried.get(&stay.animal.id).copied().filter(|_| duty == Duty::Weigh);
        let late = (self.lens.day - oldest).num_days();
        let overdue = run.len() > 1 || matches!(last.state, State::Overdue { .. });
        Some(DueItem {
            check: kept.check.id,
            duty,
            by_whom: kept.check.by_whom.clone(),
            animal: stay.animal.clone(),
            enclosure: stay.enclosure.as_ref().map(|(_, name)| name.clone()).unwrap_or_default(),
            state: if overdue { DueState::Overdue } else { DueState::Due },
            due_on: oldest,
            days_late: i32::try_from(late).unwrap_or(i32::MAX),
            open_dues: i32::try_from(run.len()).unwrap_or(i32::MAX),
            last_done_on,
            tried_on: tried_on.filter(|tried| last_done_on.is_none_or(|done| *tried > done)),
            waiting: None,
        })
    }

    /// Day on which a duty was last done for an animal, as far back as was read.
    pub(crate) fn last_done(&self, animal: Uuid, duty: Duty) -> Option<NaiveDate> {
        self.done_of(animal, duty).last().map(|done| done.day)
    }

    /// The due days of a check that a stretch can be told from: none after it, and none that have not come.
    fn calendar_of<'k>(&self, kept: &Kept, check: &'k schedule::Check, span: Span) -> Result<Calendar<'k>> {
        let until = span.until.map_or(self.lens.day, |until| until.min(self.lens.day));
        calendar(kept, check, self.first, until)
    }

    /// What became of the due days of each check over a stretch of days; checks of which no day fell due are
    /// left out.
    fn by_check(&self, duty: Option<Duty>, span: Span) -> Result<Vec<CheckCoverage>> {
        let mut told = Vec::new();
        for (kept, check) in &self.checks {
            if duty.is_some_and(|duty| kept.check.duty != duty) {
                continue;
            }
            let calendar = self.calendar_of(kept, check, span)?;
            let mut all = Coverage::default();
            let mut by_animal: BTreeMap<&str, (&Label, Coverage)> = BTreeMap::new();
            for stay in self.stays.iter().filter(|stay| applies(kept, stay)) {
                let counted = self.dues_of(&calendar, kept, stay).coverage(span);
                add(&mut all, counted);
                let entry = by_animal.entry(stay.animal.accession.as_str());
                add(&mut entry.or_insert((&stay.animal, Coverage::default())).1, counted);
            }
            let short = by_animal.into_values().filter(|(_, counted)| counted.in_time < counted.due);
            let short = short.map(|(label, counted)| (label.clone(), counted)).collect();
            if all.due > 0 {
                told.push(CheckCoverage { check: kept.check.clone(), counts: all, short });
            }
        }
        Ok(told)
    }

    /// All stays that were read, also those that ended.
    pub(crate) fn stays(&self) -> &[Stay] {
        &self.stays
    }

    /// The records that did a duty for an animal, in order of days.
    pub(crate) fn acts(&self, animal: Uuid, duty: Duty) -> impl Iterator<Item = (NaiveDate, Uuid)> {
        self.done_of(animal, duty).iter().map(|done| (done.day, Uuid::from_u128(done.record.0)))
    }

    /// What became of the due days of each stay in a stretch of days, in the order of the stays, with their checks.
    /// None where no check is for the animal.
    pub(crate) fn of_stays(&self, span: Span) -> Result<Vec<Option<DuesOf<'_>>>> {
        let mut told = vec![None; self.stays.len()];
        for (kept, check) in &self.checks {
            let calendar = self.calendar_of(kept, check, span)?;
            for (stay, told) in self.stays.iter().zip(&mut told).filter(|(stay, _)| applies(kept, stay)) {
                let dues = self.dues_of(&calendar, kept, stay);
                let within = dues.all().iter().filter(|due| span.contains(due.day));
                told.get_or_insert_with(Vec::new).extend(within.map(|due| (&kept.check, *due)));
            }
        }
        Ok(told)
    }

    /// How far each duty was done over the last `days` days.
    pub(crate) fn coverage(&self, days: u64) -> Result<Vec<DutyCoverage>> {
        let first = self.lens.day.checked_sub_days(Days::new(days - 1)).unwrap_or(NaiveDate::MIN);
        let span = Span { from: first, until: self.lens.day.succ_opt() };
        Duty::ALL.into_iter().map(|duty| self.coverage_of(duty, span)).collect()
    }

    fn coverage_of(&self, duty: Duty, span: Span) -> Result<DutyCoverage> {
        let mut told = DutyCoverage {
            duty,
            due: 0,
            in_time: 0,
            late: 0,
            missed: 0,
            open: 0,
            without_check: Vec::new(),
            not_done: Vec::new(),
        };
        let mut checked: HashSet<Uuid> = HashSet::new();
        for (kept, check) in self.checks.iter().filter(|(kept, _)| kept.check.duty == duty) {
            let calendar = self.calendar_of(kept, check, span)?;
            let runs = kept.check.ends_on.is_none_or(|end| end >= self.lens.day)
                && kept.check.starts_on <= self.lens.day;
            for stay in self.stays.iter().filter(|stay| applies(kept, stay)) {
                let counted = self.dues_of(&calendar, kept, stay).coverage(span);
                told.due += counted.due;
                told.in_time += counted.in_time;
                told.late += counted.late;
                told.missed += counted.missed;
                told.open += counted.open;
                if runs {
                    checked.insert(stay.animal.id);
                }
            }
        }
        let held: BTreeMap<&str, &Label> =
            self.held().map(|stay| (stay.animal.accession.as_str(), &stay.animal)).collect();
        for label in held.into_values() {
            if !checked.contains(&label.id) {
                told.without_check.push(label.clone());
            }
            if !self.done_of(label.id, duty).iter().any(|done| span.contains(done.day)) {
                told.not_done.push(label.clone());
            }
        }
        Ok(told)
    }
}

fn add(total: &mut Coverage, more: Coverage) {
    let Coverage { due, in_time, late, missed, open } = more;
    total.due += due;
    total.in_time += in_time;
    total.late += late;
    total.missed += missed;
    total.open += open;
}

/// Whether a check is for the animal of a stay.
fn applies(kept: &Kept, stay: &Stay) -> bool {
    match kept.is_for {
        For::Animal(animal) => stay.animal.id == animal,
        For::Taxon(taxon) => stay.taxon.id == taxon,
        For::Enclosure(enclosure) => stay.enclosure.as_ref().is_some_and(|(id, _)| *id == enclosure),
        For::Group(group) => stay.group == Some(group),
        For::WholeSite => true,
    }
}

fn rule(check: &Check) -> std::result::Result<schedule::Check, crate::store::Error> {
    let recurrence = Recurrence::parse(&check.recurrence, check.starts_on)
        .map_err(|error| crate::store::Error::corrupt("checks", "recurrence", &error))?;
    Ok(schedule::Check {
        rhythm: Rhythm::Fixed(recurrence),
        end: check.ends_on,
        grace_days: check.grace_days,
    })
}

/// The due days of a check from one day to another. A stretch in which a check has too many is refused and no fault:
/// whoever asks can ask for a shorter one.
fn calendar<'k>(
    kept: &Kept,
    check: &'k schedule::Check,
    from: NaiveDate,
    until: NaiveDate,
) -> Result<Calendar<'k>> {
    check.calendar(from, until).map_err(|error| {
        let say = format!("the check {} has {error} in these days", kept.check.id);
        Refusal::new(Reason::Malformed, say, "ask about fewer days").at("days").into()
    })
}
