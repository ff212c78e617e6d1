//! `StandingService`.

use crate::api::decode::Form;
use crate::api::encode::{concern_level, day_span, label};
use crate::api::groups::role;
use crate::api::{Api, caller, status};
use crate::model::animal::Label;
use crate::model::standing::{Budget, CAUTION, Member, Part, Pushed, Standing};
use crate::report::standing::{self, Question};
use holt_audit::standing::exclusion::Certainty;
use holt_audit::standing::exclusion::estimate;
use holt_audit::standing::exclusion::evidence::Kind;
use holt_audit::standing::exclusion::told::figures;
use holt_audit::standing::linearity::Verdict;
use holt_audit::standing::rates::{self, Watched};
use holt_audit::words::Figure;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::standing_service_server::StandingService;
use std::collections::{BTreeMap, BTreeSet};
use tonic::{Request, Response, Status};
use uuid::Uuid;

fn number(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn counted(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn rate(watched: Watched) -> v1::EventRate {
    let rate = watched.rate();
    v1::EventRate {
        events: counted(watched.events),
        hours: watched.hours,
        per_hour: rate.map(|rate| rate.per_hour),
        low: rate.map(|rate| rate.range.low),
        high: rate.map(|rate| rate.range.high),
    }
}

fn share(part: Part) -> v1::CountedShare {
    let share = rates::share(part.hits, part.of);
    v1::CountedShare {
        hits: counted(part.hits),
        of: counted(part.of),
        share: share.map(|share| share.share),
        low: share.map(|share| share.range.low),
        high: share.map(|share| share.range.high),
    }
}

/// Of scans, the counts are told by what the shares were made of.
fn budget(budget: Budget) -> v1::TimeBudget {
    let Budget { of_scans, of_time } = budget;
    let codes: BTreeSet<&String> = of_scans.shares.keys().chain(of_time.shares.keys()).collect();
    let mut shares: Vec<v1::BehaviourShare> = codes
        .into_iter()
        .map(|code| {
            let scans = of_scans.shares.get(code).map(|share| {
                let hits = (share.share * f64::from(of_scans.seen)).round();
                v1::CountedShare {
                    hits: format!("{hits:.0}").parse().unwrap_or_default(),
                    of: counted(of_scans.seen),
                    share: Some(share.share),
                    low: Some(share.range.low),
                    high: Some(share.range.high),
                }
            });
            v1::BehaviourShare { behaviour: code.clone(), scans, of_time: of_time.shares.get(code).copied() }
        })
        .collect();
    let largest = |one: &v1::BehaviourShare| {
        one.scans.and_then(|scans| scans.share).or(one.of_time).unwrap_or_default()
    };
    shares.sort_by(|a, b| largest(b).total_cmp(&largest(a)));
    v1::TimeBudget {
        shares,
        scans_seen: counted(of_scans.seen),
        scans_not_seen: counted(of_scans.not_seen),
        seconds_followed: of_time.seen,
    }
}

pub(super) fn member(member: Member) -> v1::MemberStanding {
    v1::MemberStanding {
        animal: Some(label(member.animal)),
        role: role(member.role).into(),
        david: member.score.as_ref().map(|score| score.david),
        david_normalised: member.score.as_ref().map(|score| score.normalised),
        won: counted(member.won),
        lost: counted(member.lost),
        elo: member.elo,
        elo_course: member
            .course
            .into_iter()
            .map(|(at, rating)| v1::RatedAt { happened_at: Some(timestamp(at)), rating })
            .collect(),
        received: Some(rate(member.rates.received)),
        dealt: Some(rate(member.rates.dealt)),
        friendly: Some(rate(member.rates.friendly)),
        kept_off_food: Some(share(member.kept_off)),
        alone: Some(share(member.alone)),
        ties: member
            .ties
            .into_iter()
            .map(|(animal, index)| v1::Tie { animal: Some(label(animal)), index })
            .collect(),
        strength: member.strength,
        budget: Some(budget(member.budget)),
    }
}

fn pairs(pairs: &[(Uuid, Uuid)], labels: &BTreeMap<Uuid, Label>) -> Vec<v1::MemberPair> {
    let of = |animal: &Uuid| labels.get(animal).cloned().map(label);
    pairs.iter().map(|(first, second)| v1::MemberPair { first: of(first), second: of(second) }).collect()
}

const fn kind(kind: Kind) -> v1::ExclusionKind {
    match kind {
        Kind::Aggression => v1::ExclusionKind::Aggression,
        Kind::Food => v1::ExclusionKind::Food,
        Kind::Isolation => v1::ExclusionKind::Isolation,
        Kind::Fall => v1::ExclusionKind::Fall,
        Kind::Weight => v1::ExclusionKind::Weight,
        Kind::BesideBreeder => v1::ExclusionKind::BesideBreeder,
        Kind::GroupChange => v1::ExclusionKind::GroupChange,
    }
}

pub(super) fn pushed(pushed: Pushed) -> v1::ExclusionEstimate {
    let Pushed { animal, estimate, said } = pushed;
    let kinds = |kinds: Vec<Kind>| kinds.into_iter().map(|one| kind(one).into()).collect();
    let certainty = match estimate.certainty {
        Certainty::Low => v1::Confidence::Low,
        Certainty::Medium => v1::Confidence::Medium,
        Certainty::High => v1::Confidence::High,
    };
    let part = |(part, seen): (estimate::Part<Uuid>, String)| v1::ExclusionPart {
        kind: kind(part.evidence.kind()).into(),
        seen,
        strength: part.evidence.strength(),
        adds: part.adds,
        figures: figures(&part.evidence)
            .into_iter()
            .map(|Figure { name, value, unit, low, high }| v1::Figure {
                name: name.to_owned(),
                value,
                unit: unit.to_owned(),
                low,
                high,
            })
            .collect(),
    };
    v1::ExclusionEstimate {
        animal: Some(label(animal)),
        probability: estimate.probability,
        level: estimate.severity.map_or(v1::ConcernLevel::Unspecified, concern_level).into(),
        certainty: certainty.into(),
        parts: estimate.parts.into_iter().zip(said).map(part).collect(),
        missing: kinds(estimate.missing),
        thin: kinds(estimate.thin),
    }
}

fn answer(told: Standing) -> v1::GetStandingResponse {
    let linearity = told.linearity.as_ref();
    let (verdict, p) = match linearity.map(|linearity| linearity.verdict) {
        None => (v1::OrderVerdict::Unspecified, None),
        Some(Verdict::TooFewAnimals) => (v1::OrderVerdict::TooFewAnimals, None),
        Some(Verdict::Linear { p }) => (v1::OrderVerdict::Linear, Some(p)),
        Some(Verdict::NotShown { p }) => (v1::OrderVerdict::NotShown, Some(p)),
    };
    let order = v1::GroupOrder {
        steepness: told.steepness,
        landau_h: linearity.map(|linearity| linearity.landau),
        corrected_h: linearity.map(|linearity| linearity.corrected),
        verdict: verdict.into(),
        p,
        draws: p.map_or(0, |_| counted(told.draws)),
        unseen: linearity.map(|linearity| pairs(&linearity.unseen, &told.labels)).unwrap_or_default(),
        tied: linearity.map(|linearity| pairs(&linearity.tied, &told.labels)).unwrap_or_default(),
    };
    v1::GetStandingResponse {
        group: told.group,
        days: Some(day_span(told.days)),
        watches: number(told.watches),
        hours: told.hours,
        decided: number(told.decided),
        decided_with_others: number(told.decided_with_others),
        scans: number(told.scans),
        feeds: number(told.feeds),
        members: told.members.into_iter().map(member).collect(),
        order: Some(order),
        budget: Some(budget(told.budget)),
        caution: CAUTION.to_owned(),
        pushed_out: told.pushed_out.into_iter().map(pushed).collect(),
    }
}

#[tonic::async_trait]
impl StandingService for Api {
    async fn get_standing(
        &self,
        request: Request<v1::GetStandingRequest>,
    ) -> Result<Response<v1::GetStandingResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let question = Question {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 1..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let told = standing::of(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(answer(told)))
    }
}
