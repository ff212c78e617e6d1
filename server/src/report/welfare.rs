//! What the assessments of a site say together: how grades went, whether observers agree, and who was not
//! assessed in time.

use crate::access::permit::{Caller, Permit};
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::check::{DueState, Duty};
use crate::model::document::{Basis, Kind};
use crate::model::welfare::{
    DomainCourse, ObserverPair, Point, Unassessed, UnassessedAnimal, UnassessedGroup,
};
use crate::records::animals::lens_of;
use crate::records::assessments::{Judged, all};
use crate::records::checks::Duties;
use crate::records::documents::{in_force, sound};
use crate::records::error::{Refusal, Result, fault};
use crate::records::{Records, one_animal};
use crate::store::weights::Wanted;
use crate::store::{groups, kept};
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::agreement::{self, Twice};
use holt_audit::welfare::{Flaw, Sound, course};
use std::cmp::Reverse;
use std::collections::{BTreeMap, HashMap, HashSet};
use uuid::Uuid;

/// Days within which an animal is to be assessed where nothing else is asked for: common practice, no source.
pub const USUAL_WITHIN: u16 = 90;

/// Which assessments of a site are meant.
#[derive(Clone, Debug, Default)]
pub struct Question {
    pub site: String,
    /// Reference to one animal; empty for all.
    pub animal: String,
    pub days: Option<(NaiveDate, NaiveDate)>,
    /// Code of a protocol; empty for all.
    pub protocol: String,
    pub known_at: Option<DateTime<Utc>>,
}

/// How the grades of an animal went, domain by domain.
///
/// # Errors
/// Refused where there is no such site in scope or no such animal.
pub async fn course(
    records: &Records,
    caller: &Caller,
    question: &Question,
) -> Result<(Label, Vec<DomainCourse>)> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let snapshot = records.look(caller, question.known_at).await?;
    let now = records.store.now();
    let animal = one_animal(&snapshot, Some(&permit), &question.animal, now).await?;
    let wanted = Wanted { site: Some(permit.site().id), animal: Some(animal.id), days: question.days };
    let mut found = all(&snapshot, &wanted).await?;
    found.retain(|one| question.protocol.is_empty() || one.assessment.protocol == question.protocol);
    let day = |one: &Judged| permit.site().day_of(one.assessment.assessed_at);
    let graded: Vec<_> = found.iter().map(|one| (day(one), one.graded.clone())).collect();
    let courses = course::course(&graded);
    let domains = courses.into_iter().map(|(domain, told)| {
        let points = found.iter().filter_map(|one| {
            let grade = one.graded.domains.get(&domain)?;
            let (bad, good) = (grade.compromise.as_ref()?, grade.enhancement.as_ref()?);
            Some(Point {
                assessment: one.assessment.id,
                on: day(one),
                protocol: one.assessment.protocol.clone(),
                protocol_version: one.assessment.protocol_version,
                observer: one.assessment.observer.clone(),
                compromise: bad.grade,
                enhancement: good.grade,
            })
        });
        DomainCourse { domain, points: points.collect(), change: told.change, since: told.since }
    });
    let domains = domains.collect();
    Ok((animal, domains))
}

/// How far observers agree who assessed the same animals by one version of a protocol, at most
/// `within_days` apart. Answers the version
/// and why it is that one, too.
///
/// # Errors
/// Refused where there is no such site in scope, or no such protocol.
pub async fn observers(
    records: &Records,
    caller: &Caller,
    question: &Question,
    version: i32,
    within_days: i64,
) -> Result<(i32, Basis, Vec<ObserverPair>)> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let snapshot = records.look(caller, question.known_at).await?;
    let day = question.days.map_or_else(|| permit.site().day_of(records.store.now()), |(_, last)| last);
    let document = (Kind::Protocol, question.protocol.as_str());
    let (version, basis) = match version {
        0 => in_force(&snapshot, &permit, document, day).await?,
        named => (named, Basis::Named),
    };
    let kept = kept::one(&snapshot, &question.protocol, version)
        .await?
        .ok_or_else(|| Refusal::not_found("protocol", &question.protocol))?;
    let protocol: Sound = sound(kept.document)?;
    let wanted = Wanted { site: Some(permit.site().id), animal: None, days: question.days };
    let mut found = all(&snapshot, &wanted).await?;
    found.retain(|one| {
        one.assessment.protocol == question.protocol && one.assessment.protocol_version == version
    });
    drop(snapshot);
    let names: HashMap<Uuid, String> =
        found.iter().map(|one| (one.assessment.observer_id, one.assessment.observer.clone())).collect();
    let mut told = Vec::new();
    for ((first, second), twice) in pairs(&permit, &found, within_days) {
        let name = |id: &Uuid| names.get(id).cloned().unwrap_or_default();
        told.push(ObserverPair {
            first: name(&first),
            second: name(&second),
            pairs: twice.len(),
            indicators: agreement::by_indicator(&protocol, &twice).map_err(|flaws| flawed(&flaws))?,
            domains: agreement::by_domain(&protocol, &twice).map_err(|flaws| flawed(&flaws))?,
        });
    }
    told.sort_by_key(|pair| (Reverse(pair.pairs), pair.first.clone(), pair.second.clone()));
    Ok((version, basis, told))
}

fn flawed(flaws: &[Flaw]) -> crate::records::error::Error {
    let what: Vec<String> = flaws.iter().map(ToString::to_string).collect();
    fault(format!("recorded assessments do not fit their protocol: {}", what.join("; ")))
}

/// Assessments of one animal by two observers on one occasion, for each two observers: those nearest in
/// time go together, and each assessment is used once for the two.
fn pairs(permit: &Permit, found: &[Judged], within_days: i64) -> BTreeMap<(Uuid, Uuid), Vec<Twice>> {
    let day = |n: usize| permit.site().day_of(found[n].assessment.assessed_at);
    let mut of_animal: BTreeMap<Uuid, Vec<usize>> = BTreeMap::new();
    for (n, one) in found.iter().enumerate() {
        of_animal.entry(one.assessment.animal.id).or_default().push(n);
    }
    let mut near: Vec<_> = Vec::new();
    for of_one in of_animal.values() {
        for (place, &one) in of_one.iter().enumerate() {
            let later = of_one[place + 1..]
                .iter()
                .take_while(|&&other| (day(other) - day(one)).num_days() <= within_days);
            for &other in later {
                let (a, b) = (found[one].assessment.observer_id, found[other].assessment.observer_id);
                let apart = found[other].assessment.assessed_at - found[one].assessment.assessed_at;
                match a.cmp(&b) {
                    std::cmp::Ordering::Less => near.push(((a, b), apart, one, other)),
                    std::cmp::Ordering::Greater => near.push(((b, a), apart, other, one)),
                    std::cmp::Ordering::Equal => {}
                }
            }
        }
    }
    near.sort_by_key(|(observers, apart, first, second)| (*observers, *apart, *first, *second));
    let mut used: HashSet<((Uuid, Uuid), usize)> = HashSet::new();
    let mut twice: BTreeMap<(Uuid, Uuid), Vec<Twice>> = BTreeMap::new();
    for (observers, _, first, second) in near {
        if used.contains(&(observers, first)) || used.contains(&(observers, second)) {
            continue;
        }
        used.extend([(observers, first), (observers, second)]);
        let scores =
            |n: usize| found[n].assessment.findings.iter().map(|finding| finding.score.clone()).collect();
        twice.entry(observers).or_default().push(Twice { first: scores(first), second: scores(second) });
    }
    twice
}

/// Animals and groups that were not assessed within so many days of a day, or are overdue by a check. An
/// animal that came later than that is not late.
///
/// # Errors
/// Refused where there is no such site in scope.
pub async fn unassessed(
    records: &Records,
    caller: &Caller,
    site: &str,
    within_days: u16,
    as_of: Option<NaiveDate>,
) -> Result<Unassessed> {
    let permit = records.permit(caller, Deed::Read, site).await?;
    let lens = lens_of(permit.site(), as_of, records.store.now());
    let snapshot = records.look(caller, None).await?;
    // Further back than asked about, to tell since when.
    let duties = Duties::load(&snapshot, &permit, lens, u64::from(within_days) + 400).await?;
    let overdue: HashMap<Uuid, NaiveDate> = duties
        .due()?
        .into_iter()
        .filter(|item| item.duty == Duty::Assess && item.state == DueState::Overdue)
        .map(|item| (item.animal.id, item.due_on))
        .collect();
    let since = lens.day - chrono::Days::new(u64::from(within_days));
    let mut animals = Vec::new();
    let mut late: HashSet<Uuid> = HashSet::new();
    let mut held = 0;
    for stay in duties.held() {
        held += 1;
        let last_on = duties.last_done(stay.animal.id, Duty::Assess);
        let overdue_since = overdue.get(&stay.animal.id).copied();
        let long_ago = last_on.is_none_or(|last| last < since) && stay.began_on <= since;
        if long_ago || overdue_since.is_some() {
            late.insert(stay.animal.id);
            animals.push(UnassessedAnimal {
                animal: stay.animal.clone(),
                enclosure: stay.enclosure.as_ref().map(|(_, name)| name.clone()).unwrap_or_default(),
                last_on,
                overdue_since,
            });
        }
    }
    animals.sort_by(|a, b| (a.last_on, &a.animal.accession).cmp(&(b.last_on, &b.animal.accession)));
    let mut short: BTreeMap<(String, Uuid), UnassessedGroup> = BTreeMap::new();
    for (group, name, animal) in groups::all_members(&snapshot, &permit, lens.at).await? {
        let key = (name.to_lowercase(), group);
        let told = short.entry(key).or_insert(UnassessedGroup { id: group, name, members: 0, assessed: 0 });
        told.members += 1;
        told.assessed += usize::from(!late.contains(&animal));
    }
    let groups = short.into_values().filter(|group| group.assessed < group.members).collect();
    Ok(Unassessed { animals, groups, held, within_days, as_of: lens.day })
}
