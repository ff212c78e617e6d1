//! Asks what the page is made of.

use super::Contents;
use crate::exit::Exit;
use crate::failure::Failure;
use crate::session::Session;
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use holt_proto::time::{day, instant};
use holt_proto::v1;
use prost_types::Timestamp;
use std::collections::{BTreeMap, BTreeSet};

/// Most days of a page: what the checks of it can be counted over.
const MOST_DAYS: i64 = 1100;
/// Most exceptions of a clause that are named.
const MOST_EXCEPTIONS: i32 = 1000;

/// What a page is asked of.
pub(crate) struct Question {
    pub(crate) site: String,
    pub(crate) first: NaiveDate,
    pub(crate) last: NaiveDate,
    pub(crate) as_known_at: Option<Timestamp>,
    /// Standards by code, and version where one is meant; if none is given, those that the site adopted.
    pub(crate) standards: Vec<(String, i32)>,
}

impl Question {
    fn days(&self) -> v1::DaySpan {
        span(self.first, self.last)
    }
}

fn span(first: NaiveDate, last: NaiveDate) -> v1::DaySpan {
    v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }
}

/// Asks everything, as known at one instant.
pub(crate) async fn gather(session: &Session, question: Question) -> Result<Contents, Failure> {
    let length = (question.last - question.first).num_days() + 1;
    if length > MOST_DAYS {
        return Err(Failure::usage(
            format!("a page is of at most {MOST_DAYS} days, and these are {length}"),
            "ask for a shorter period, or for several pages",
        ));
    }
    let zones = session.zones().await?;
    let zone = zones.of(&question.site);
    let site = question.site.clone();
    let days = Some(question.days());
    let ask = v1::GetSiteDayRequest {
        site: site.clone(),
        as_of: Some(day(question.last)),
        span_days: i32::try_from(length).unwrap_or(i32::MAX),
        as_known_at: question.as_known_at,
    };
    let told = session.ask(ask).await?;
    // Everything else is asked as of the same instant.
    let known = told.as_known_at;
    let mut cautions = vec![told.caution];
    let the_day = told.sites.into_iter().next().ok_or_else(|| no_site(&site))?;

    let ask =
        v1::GetStockReturnRequest { site: site.clone(), days, as_known_at: known, ..Default::default() };
    let returned = session.ask(ask).await?;
    let young_days = returned.young_days;
    let stock = returned.returns.into_iter().next().ok_or_else(|| no_site(&site))?;

    let answers = answers(session, &question, known).await?;
    cautions.extend(answers.iter().map(|answer| answer.caution.clone()));

    let as_of = Some(day(question.last));
    let ask = v1::ListAnimalsRequest { site: site.clone(), as_of, as_known_at: known, ..Default::default() };
    let animals = session.all(ask, usize::MAX).await?;
    let weights =
        v1::ListWeightsRequest { site: site.clone(), days, as_known_at: known, ..Default::default() };
    let weights = by_animal(session.all(weights, usize::MAX).await?, |weight| weight.animal_id.clone());
    let concerns = v1::ListConcernsRequest {
        site: site.clone(),
        include_settled: true,
        as_known_at: known,
        ..Default::default()
    };
    let concerns = session.pages(concerns, usize::MAX, |page| cautions.push(page.caution.clone())).await?;

    let mut seen = BTreeSet::new();
    cautions.retain(|caution| !caution.is_empty() && seen.insert(caution.clone()));
    let known_at = known.and_then(|at| instant(at).ok()).unwrap_or_default();
    Ok(Contents {
        groups: groups(session, &question, known).await?,
        courses: courses(session, &question, known).await?,
        checks: coverage(session, &question, (question.first, question.last), known).await?,
        months: months(session, &question, known).await?,
        seal: seal(session, known_at).await?,
        site,
        zones,
        zone,
        named: question.standards,
        first: question.first,
        last: question.last,
        known_at,
        day: the_day,
        stock,
        young_days,
        answers,
        animals,
        weights,
        concerns,
        cautions,
    })
}

fn no_site(site: &str) -> Failure {
    Failure::not_found(format!("there is no site `{site}` whose records you may read"), "see `holt whoami`")
}

fn by_animal<T>(things: Vec<T>, of: impl Fn(&T) -> String) -> BTreeMap<String, Vec<T>> {
    let mut all: BTreeMap<String, Vec<T>> = BTreeMap::new();
    for thing in things {
        all.entry(of(&thing)).or_default().push(thing);
    }
    all
}

/// The answers to the standards that were named, or that the site adopted.
async fn answers(
    session: &Session,
    question: &Question,
    known: Option<Timestamp>,
) -> Result<Vec<v1::AnswerStandardResponse>, Failure> {
    let mut standards = question.standards.clone();
    if standards.is_empty() {
        let ask = v1::ListDocumentsRequest {
            site: question.site.clone(),
            as_of: Some(day(question.last)),
            as_known_at: known,
        };
        let documents = session.ask(ask).await?.documents.into_iter();
        let adopted = documents.filter(|document| {
            document.kind() == v1::DocumentKind::Standard && document.basis() == v1::VersionBasis::Adopted
        });
        standards = adopted.map(|document| (document.code, document.version)).collect();
    }
    let mut answers = Vec::new();
    for (standard, version) in standards {
        let ask = v1::AnswerStandardRequest {
            site: question.site.clone(),
            standard,
            version,
            days: Some(question.days()),
            as_known_at: known,
            max_exceptions: MOST_EXCEPTIONS,
        };
        answers.push(session.ask(ask).await?);
    }
    Ok(answers)
}

/// The groups that had members at the close of the last day.
async fn groups(
    session: &Session,
    question: &Question,
    known: Option<Timestamp>,
) -> Result<Vec<v1::GetGroupResponse>, Failure> {
    let as_of = Some(day(question.last));
    let site = || question.site.clone();
    let ask = v1::ListGroupsRequest { site: site(), as_of, as_known_at: known, ..Default::default() };
    let mut groups = Vec::new();
    for group in session.all(ask, usize::MAX).await? {
        let ask = v1::GetGroupRequest { site: site(), group: group.id, as_of, as_known_at: known };
        groups.push(session.ask(ask).await?);
    }
    Ok(groups)
}

/// How the grades went of each animal that was assessed in these days.
async fn courses(
    session: &Session,
    question: &Question,
    known: Option<Timestamp>,
) -> Result<BTreeMap<String, v1::GetWelfareCourseResponse>, Failure> {
    let (site, days) = (|| question.site.clone(), Some(question.days()));
    let ask = v1::ListAssessmentsRequest { site: site(), days, as_known_at: known, ..Default::default() };
    let assessed = session.all(ask, usize::MAX).await?;
    let animals: BTreeSet<String> = assessed.into_iter().map(|assessment| assessment.animal_id).collect();
    let mut courses = BTreeMap::new();
    for animal in animals {
        let ask = v1::GetWelfareCourseRequest {
            site: site(),
            animal: animal.clone(),
            days,
            as_known_at: known,
            ..Default::default()
        };
        courses.insert(animal, session.ask(ask).await?);
    }
    Ok(courses)
}

async fn coverage(
    session: &Session,
    question: &Question,
    (first, last): (NaiveDate, NaiveDate),
    known: Option<Timestamp>,
) -> Result<v1::GetCheckCoverageResponse, Failure> {
    let ask = v1::GetCheckCoverageRequest {
        site: question.site.clone(),
        days: Some(span(first, last)),
        as_of: Some(day(question.last)),
        as_known_at: known,
        ..Default::default()
    };
    session.ask(ask).await
}

/// How far checks were done in each month.
async fn months(
    session: &Session,
    question: &Question,
    known: Option<Timestamp>,
) -> Result<Vec<(NaiveDate, v1::GetCheckCoverageResponse)>, Failure> {
    let mut months = Vec::new();
    let mut first = question.first;
    while first <= question.last {
        let next = following(first);
        let last = next.pred_opt().unwrap_or(first).min(question.last);
        months.push((first, coverage(session, question, (first, last), known).await?));
        first = next;
    }
    Ok(months)
}

/// The first of the month after a day.
fn following(day: NaiveDate) -> NaiveDate {
    let (year, month) = if day.month() == 12 { (day.year() + 1, 1) } else { (day.year(), day.month() + 1) };
    NaiveDate::from_ymd_opt(year, month, 1).unwrap_or(NaiveDate::MAX)
}

/// The newest seal by an instant. Seals made later say nothing else of what was known then, and would make another page.
async fn seal(session: &Session, known_at: DateTime<Utc>) -> Result<Option<v1::Seal>, Failure> {
    let mut ask = v1::ListSealsRequest::default();
    loop {
        let page = match session.ask(ask).await {
            Ok(page) => page,
            Err(failure) if failure.exit == Exit::NotAllowed => return Ok(None),
            Err(failure) => return Err(failure),
        };
        let by_then =
            |seal: &v1::Seal| seal.sealed_at.and_then(|at| instant(at).ok()).is_some_and(|at| at <= known_at);
        if let Some(seal) = page.seals.into_iter().find(by_then) {
            return Ok(Some(seal));
        }
        let token = page.page.unwrap_or_default().next_token;
        if token.is_empty() {
            return Ok(None);
        }
        ask = v1::ListSealsRequest { page: Some(v1::PageRequest { size: 0, token }) };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn months_end_where_the_next_begins() {
        for (day, next) in
            [("2026-01-31", "2026-02-01"), ("2026-12-05", "2027-01-01"), ("2024-02-29", "2024-03-01")]
        {
            assert_eq!(following(day.parse().unwrap()), next.parse().unwrap());
        }
    }
}
