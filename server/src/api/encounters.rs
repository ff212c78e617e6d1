//! `EncounterService`.

use crate::api::animals::scientific_name;
use crate::api::decode::Form;
use crate::api::encode::{id, label};
use crate::api::{Api, caller, status};
use crate::model::encounter::{Allowance, Broken, Encounter, Kind, Limit, NewEncounter, Of, Rule};
use crate::records::encounters::{self, Asked};
use crate::report::encounters::{self as report, Question};
use chrono::{DateTime, TimeDelta, Utc};
use holt_audit::encounters::Limits;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::encounter_service_server::EncounterService;
use tonic::{Request, Response, Status};

fn number(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn kind(form: &mut Form, wire: i32) -> Kind {
    let kind = match v1::EncounterKind::try_from(wire) {
        Ok(v1::EncounterKind::Talk) => Some(Kind::Talk),
        Ok(v1::EncounterKind::Feed) => Some(Kind::Feed),
        Ok(v1::EncounterKind::Close) => Some(Kind::Close),
        Ok(v1::EncounterKind::Unspecified) | Err(_) => None,
    };
    form.choice("kind", kind, "talk, feed, close", Kind::Talk)
}

const fn told_kind(kind: Kind) -> v1::EncounterKind {
    match kind {
        Kind::Talk => v1::EncounterKind::Talk,
        Kind::Feed => v1::EncounterKind::Feed,
        Kind::Close => v1::EncounterKind::Close,
    }
}

fn limit(form: &mut Form, name: &str, wire: Option<i32>, most: i32) -> Option<u32> {
    let wire = wire?;
    if !(0..=most).contains(&wire) {
        form.wrong(&format!("limits.{name}"), format!("is {wire}"), format!("give 0 to {most}"));
    }
    u32::try_from(wire).ok()
}

fn limits(form: &mut Form, wire: v1::EncounterLimits) -> Limits {
    let free = limit(form, "free_days_a_week", wire.free_days_a_week, 7);
    Limits {
        minutes_a_day: limit(form, "minutes_a_day", wire.minutes_a_day, 1440),
        minutes_a_week: limit(form, "minutes_a_week", wire.minutes_a_week, 10_080),
        encounters_a_day: limit(form, "encounters_a_day", wire.encounters_a_day, 100),
        rest_minutes: limit(form, "rest_minutes", wire.rest_minutes, 10_080),
        free_days_a_week: free.and_then(|days| u8::try_from(days).ok()),
    }
}

fn told_limits(limits: Limits) -> v1::EncounterLimits {
    v1::EncounterLimits {
        minutes_a_day: limits.minutes_a_day.map(number),
        minutes_a_week: limits.minutes_a_week.map(number),
        encounters_a_day: limits.encounters_a_day.map(number),
        rest_minutes: limits.rest_minutes.map(number),
        free_days_a_week: limits.free_days_a_week.map(i32::from),
    }
}

fn told_rule(rule: Rule) -> v1::EncounterRule {
    let (taxon, animal) = match rule.of {
        Of::Taxon((_, name)) => (name, None),
        Of::Animal(animal) => (String::new(), Some(label(animal))),
    };
    v1::EncounterRule {
        taxon,
        animal,
        limits: Some(told_limits(rule.limits)),
        set_at: Some(timestamp(rule.set_at)),
    }
}

fn told_encounter(encounter: Encounter) -> v1::Encounter {
    v1::Encounter {
        id: id(encounter.id),
        site: encounter.site,
        kind: told_kind(encounter.kind).into(),
        began_at: Some(timestamp(encounter.began_at)),
        ended_at: Some(timestamp(encounter.ended_at)),
        animals: encounter.animals.into_iter().map(label).collect(),
        people: encounter.people,
        incident: encounter.incident,
        note: encounter.note,
        recorded_at: Some(timestamp(encounter.recorded_at)),
    }
}

fn told_breach(broken: Broken) -> v1::EncounterBreach {
    let (spoken, on, told, set) = (broken.animal.spoken(), broken.on, broken.told, broken.set);
    let (limit, say) = match broken.limit {
        Limit::MinutesADay => (
            v1::EncounterLimit::MinutesADay,
            format!("{spoken} met people for {told} minutes on {on}; the limit is {set}"),
        ),
        Limit::EncountersADay => (
            v1::EncounterLimit::EncountersADay,
            format!("{spoken} met people {told} times on {on}; the limit is {set}"),
        ),
        Limit::MinutesAWeek => (
            v1::EncounterLimit::MinutesAWeek,
            format!("{spoken} met people for {told} minutes in the seven days from {on}; the limit is {set}"),
        ),
        Limit::Rest => (
            v1::EncounterLimit::Rest,
            format!(
                "{spoken} had rested for {told} minutes before an encounter on {on}; the limit is at least {set}"
            ),
        ),
        Limit::FreeDays => (
            v1::EncounterLimit::FreeDays,
            format!("{spoken} has {told} free days in the seven from {on}; the limit is at least {set}"),
        ),
    };
    v1::EncounterBreach {
        animal: Some(label(broken.animal)),
        limit: limit.into(),
        broken_on: Some(day(on)),
        told: number(told),
        set: number(set),
        say,
    }
}

fn told_allowance(allowance: Allowance) -> v1::EncounterAllowance {
    v1::EncounterAllowance {
        animal: Some(label(allowance.animal)),
        own: allowance.limits.is_some_and(|(own, _)| own),
        limits: allowance.limits.map(|(_, limits)| told_limits(limits)),
        may_meet: allowance.left.may_meet(),
        minutes_left: allowance.left.minutes.map(number),
        encounters_left: allowance.left.encounters.map(number),
        rests_until_at: allowance.left.rests_until.map(timestamp),
        must_stay_free: allowance.left.must_stay_free,
        breaches: allowance.broken.into_iter().map(told_breach).collect(),
    }
}

fn needed(form: &mut Form, field: &str, wire: Option<prost_types::Timestamp>) -> DateTime<Utc> {
    if wire.is_none() {
        form.wrong(field, "is missing", "give its time");
    }
    form.instant(field, wire).unwrap_or(DateTime::<Utc>::UNIX_EPOCH)
}

fn new_encounter(form: &mut Form, asked: &v1::RecordEncounterRequest) -> NewEncounter {
    let began_at = needed(form, "began_at", asked.began_at);
    let ended_at = needed(form, "ended_at", asked.ended_at);
    if asked.began_at.is_some() && asked.ended_at.is_some() {
        if ended_at <= began_at {
            form.wrong("ended_at", "is not after it began", "exchange the two, or correct one");
        } else if ended_at - began_at > TimeDelta::days(1) {
            form.wrong("ended_at", "is more than a day after it began", "record each day on its own");
        }
    }
    if asked.animals.len() > 100 {
        form.wrong("animals", format!("names {} animals", asked.animals.len()), "name 100 at most");
    }
    if asked.animals.is_empty() && asked.group.trim().is_empty() {
        form.wrong("animals", "names no animal", "name the animals that took part, or their group");
    }
    if !(0..=100_000).contains(&asked.people) {
        form.wrong("people", format!("is {}", asked.people), "give 0 to 100000");
    }
    let animals = asked.animals.iter().take(100).enumerate();
    let animals = animals.map(|(n, text)| form.animal(&format!("animals[{n}]"), text)).collect();
    NewEncounter {
        kind: kind(form, asked.kind),
        began_at,
        ended_at,
        animals,
        group: form.text("group", &asked.group, 0..=100),
        people: asked.people,
        incident: form.text("incident", &asked.incident, 0..=2000),
        note: form.text("note", &asked.note, 0..=500),
    }
}

#[tonic::async_trait]
impl EncounterService for Api {
    async fn set_encounter_limits(
        &self,
        request: Request<v1::SetEncounterLimitsRequest>,
    ) -> Result<Response<v1::SetEncounterLimitsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EncounterService/SetEncounterLimits", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let of = match &asked.of {
            Some(v1::set_encounter_limits_request::Of::Taxon(name)) => {
                Of::Taxon(scientific_name(&mut form, "taxon", name))
            }
            Some(v1::set_encounter_limits_request::Of::Animal(text)) => {
                Of::Animal(form.animal("animal", text))
            }
            None => {
                form.wrong("of", "is missing", "name a species or an animal");
                Of::Taxon(String::new())
            }
        };
        let limits = limits(&mut form, asked.limits.unwrap_or_default());
        let because = form.text("because", &asked.because, 0..=500);
        form.done()?;
        let rule = encounters::set_limits(&self.records, &caller, &write, &site, &of, &limits, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::SetEncounterLimitsResponse { rule: Some(told_rule(rule)) }))
    }

    async fn list_encounter_limits(
        &self,
        request: Request<v1::ListEncounterLimitsRequest>,
    ) -> Result<Response<v1::ListEncounterLimitsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let rules = encounters::rules(&self.records, &caller, &site, known_at).await.map_err(status::from)?;
        let rules = rules.into_iter().map(told_rule).collect();
        Ok(Response::new(v1::ListEncounterLimitsResponse { rules }))
    }

    async fn record_encounter(
        &self,
        request: Request<v1::RecordEncounterRequest>,
    ) -> Result<Response<v1::RecordEncounterResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("EncounterService/RecordEncounter", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = new_encounter(&mut form, &asked);
        form.done()?;
        let recorded =
            encounters::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordEncounterResponse {
            encounter: Some(told_encounter(recorded.encounter)),
            breaches: recorded.broken.into_iter().map(told_breach).collect(),
            unlimited: recorded.unlimited.into_iter().map(label).collect(),
        }))
    }

    async fn withdraw_encounter(
        &self,
        request: Request<v1::WithdrawEncounterRequest>,
    ) -> Result<Response<v1::WithdrawEncounterResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EncounterService/WithdrawEncounter", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let encounter = form.uuid("encounter_id", &asked.encounter_id);
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let encounter = encounters::withdraw(&self.records, &caller, &write, &site, encounter, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::WithdrawEncounterResponse { encounter: Some(told_encounter(encounter)) }))
    }

    async fn list_encounters(
        &self,
        request: Request<v1::ListEncountersRequest>,
    ) -> Result<Response<v1::ListEncountersResponse>, Status> {
        const METHOD: &str = "EncounterService/ListEncounters";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            animal: form.text("animal", &asked.animal, 0..=100),
            days: form.days("days", asked.days),
            incidents_only: asked.incidents_only,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = encounters::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListEncountersResponse {
            encounters: found.entries.into_iter().map(told_encounter).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn list_encounter_allowances(
        &self,
        request: Request<v1::ListEncounterAllowancesRequest>,
    ) -> Result<Response<v1::ListEncounterAllowancesResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let question = Question {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 0..=100),
            at: form.instant("asked_at", asked.asked_at),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let told = report::allowances(&self.records, &caller, &question).await.map_err(status::from)?;
        let allowances = told.into_iter().map(told_allowance).collect();
        Ok(Response::new(v1::ListEncounterAllowancesResponse { allowances }))
    }
}
