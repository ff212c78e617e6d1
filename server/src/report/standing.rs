//! Who gives way to whom in a group, who is with whom, and what each does with its time.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::standing::{Budget, Member, Part, Pushed, Standing};
use crate::records::Records;
use crate::records::animals::lens_of;
use crate::records::error::{Result, fault};
use crate::records::groups;
use crate::records::observed::Book;
use crate::records::pushed_out;
use crate::store::census;
use chrono::{DateTime, Days, NaiveDate, Utc};
use holt_audit::standing::association::{Company, company};
use holt_audit::standing::budget::{of_focal, of_scans};
use holt_audit::standing::contests::{Contests, Decided};
use holt_audit::standing::david::{self, Index};
use holt_audit::standing::elo::{self, Ratings};
use holt_audit::standing::exclusion::Estimate;
use holt_audit::standing::exclusion::record::{NOW_DAYS, PAST_DAYS};
use holt_audit::standing::exclusion::told::{self, Names};
use holt_audit::standing::linearity::linearity;
use holt_audit::standing::observed::Observed;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Random groups that linearity is tested against.
const DRAWS: u32 = 10_000;

/// What is asked of which group.
#[derive(Clone, Debug)]
pub struct Question {
    pub site: String,
    pub group: String,
    /// The days that the estimate of exclusion looks at, where none are named.
    pub days: Option<(NaiveDate, NaiveDate)>,
    pub known_at: Option<DateTime<Utc>>,
}

/// The standing of the members of a group over some days.
///
/// # Errors
/// Refused where there is no such site in scope, or no such group.
pub async fn of(records: &Records, caller: &Caller, question: &Question) -> Result<Standing> {
    let permit = records.permit(caller, Deed::Read, &question.site).await?;
    let (site, now) = (permit.site(), records.store.now());
    let snapshot = records.look(caller, question.known_at).await?;
    let group = groups::one(&snapshot, &permit, &question.group, lens_of(site, None, now)).await?;
    let days = question.days.unwrap_or_else(|| {
        let today = site.day_of(now);
        let back = Days::new((NOW_DAYS + PAST_DAYS - 1).unsigned_abs());
        (today.checked_sub_days(back).unwrap_or(NaiveDate::MIN), today)
    });
    let (from, until) = (site.start_of(days.0), site.close_of(days.1).min(now));
    let book = Book::of(&snapshot, &permit, group.id, until).await?;
    let (seen, ever) = (book.observed(from), book.all());
    let stays = book.members(until);
    let animals: Vec<Uuid> = stays.iter().map(|stay| stay.animal).collect();
    let named: Vec<(Uuid, Uuid)> = animals.iter().map(|animal| (*animal, site.id)).collect();
    let labels: BTreeMap<Uuid, Label> =
        census::names(&snapshot, &named).await?.into_iter().map(|label| (label.id, label)).collect();
    let (own, others): (Vec<Decided<Uuid>>, Vec<_>) = seen
        .contests
        .iter()
        .cloned()
        .partition(|contest| animals.contains(&contest.winner) && animals.contains(&contest.loser));
    let misfit = |misfit: holt_audit::standing::contests::Misfit<Uuid>| fault(misfit.to_string());
    let contests = Contests::of(&animals, &own).map_err(misfit)?;
    let ratings = elo::rate(&ever.contests, elo::Settings::default()).map_err(misfit)?;
    // The same question has the same answer: the draws of a group are its own.
    let seed = u64::try_from(group.id.as_u128() & u128::from(u64::MAX)).unwrap_or_default();
    let order = (!own.is_empty()).then(|| david::rank(&contests, Index::Dij));
    let mut members: Vec<Member> = stays
        .iter()
        .filter_map(|stay| {
            let animal = stay.animal;
            let score = order.as_ref().and_then(|order| order.scores.iter().find(|one| one.animal == animal));
            Some(Member {
                role: stay.role,
                score: score.cloned(),
                won: count(own.iter().filter(|contest| contest.winner == animal)),
                lost: count(own.iter().filter(|contest| contest.loser == animal)),
                ..member(labels.get(&animal)?, &seen, &ratings, &labels, (from, until))
            })
        })
        .collect();
    let david = |member: &Member| member.score.as_ref().map_or(0.0, |score| score.david);
    members.sort_by(|a, b| {
        david(b).total_cmp(&david(a)).then_with(|| a.animal.accession.cmp(&b.animal.accession))
    });
    let of = pushed_out::Of { id: group.id, name: &group.name };
    let estimates = pushed_out::estimates(records, &snapshot, &permit, of, &book, until).await?;
    let spoken = |animal: &Uuid| estimates.labels.get(animal).map(Label::spoken).unwrap_or_default();
    let day = |at: DateTime<Utc>| site.day_of(at);
    let names = Names { animal: &spoken, day: &day, group: &group.name };
    let said = |estimate: &Estimate<Uuid>| {
        estimate.parts.iter().map(|part| told::sentence(&part.evidence, &names)).collect()
    };
    let mut pushed_out: Vec<Pushed> = estimates
        .each
        .iter()
        .filter_map(|estimate| {
            let animal = labels.get(&estimate.animal)?.clone();
            Some(Pushed { animal, said: said(estimate), estimate: estimate.clone() })
        })
        .collect();
    pushed_out.sort_by(|a, b| b.estimate.probability.total_cmp(&a.estimate.probability));
    let looks = animals.iter().filter_map(|animal| seen.looks.get(animal)).flatten().cloned();
    let bouts = animals.iter().filter_map(|animal| seen.bouts.get(animal)).flatten().cloned();
    let budget = Budget {
        of_scans: of_scans(&looks.collect::<Vec<_>>()),
        of_time: of_focal(&bouts.collect::<Vec<_>>()),
    };
    Ok(Standing {
        group: group.name,
        days,
        watches: book.count(from),
        hours: seen.hours,
        decided: own.len(),
        decided_with_others: others.len(),
        scans: seen.scans.len(),
        feeds: seen.feed_count,
        members,
        steepness: order.and_then(|order| order.steepness),
        linearity: (!own.is_empty()).then(|| linearity(&contests, DRAWS, seed)).flatten(),
        draws: DRAWS,
        labels,
        budget,
        pushed_out,
    })
}

fn count<T>(things: impl Iterator<Item = T>) -> u32 {
    u32::try_from(things.count()).unwrap_or(u32::MAX)
}

/// A member with all that is its own; its role, score and contests are added by the caller.
fn member(
    label: &Label,
    seen: &Observed<Uuid>,
    ratings: &Ratings<Uuid>,
    labels: &BTreeMap<Uuid, Label>,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Member {
    let animal = label.id;
    let group: Vec<Uuid> = labels.keys().copied().collect();
    let scans: Vec<_> = seen.scans.iter().map(|(_, scan)| scan.clone()).collect();
    let Company { mut ties, strength, .. } = company(&scans, &animal, &group);
    ties.sort_by(|a, b| b.1.total_cmp(&a.1));
    let parties = || scans.iter().flatten().filter(|party| party.contains(&animal));
    let feeds = || seen.feeds.iter().filter(|feed| feed.animal == animal);
    let course = ratings.course(&animal);
    let known = course.iter().any(|(at, _)| *at <= until);
    Member {
        animal: label.clone(),
        role: crate::model::group::Role::Member,
        score: None,
        won: 0,
        lost: 0,
        elo: known.then(|| ratings.at(&animal, until)),
        course: course.iter().filter(|(at, _)| from <= *at && *at <= until).copied().collect(),
        rates: seen.rates.get(&animal).copied().unwrap_or_default(),
        kept_off: Part { hits: count(feeds().filter(|feed| feed.kept_off)), of: count(feeds()) },
        alone: Part { hits: count(parties().filter(|party| party.len() == 1)), of: count(parties()) },
        ties: ties.into_iter().filter_map(|(other, tie)| Some((labels.get(&other)?.clone(), tie))).collect(),
        strength,
        budget: Budget {
            of_scans: of_scans(seen.looks.get(&animal).map_or(&[][..], Vec::as_slice)),
            of_time: of_focal(seen.bouts.get(&animal).map_or(&[][..], Vec::as_slice)),
        },
    }
}
