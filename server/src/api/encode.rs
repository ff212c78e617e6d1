//! To the wire: what several services answer.

use crate::api::decode::quoted;
use crate::model::animal::{ArrivalSource, Destination, Label};
use crate::model::check::{DueItem, DueState, Duty};
use crate::model::concern::{About, Concern, ConcernKind, ConcernState, Level, SettledAs};
use crate::model::crate_reading::CrateReading;
use crate::model::death::{Death, Disposal, Manner, PostMortem};
use crate::model::fact::{Change, FactKind, Told};
use crate::model::kinship::KnownBy;
use crate::model::mark::{Mark, MarkKind};
use crate::model::person::{Grant, Person, Role};
use crate::model::reason::Reason;
use crate::model::site::EnclosureKind;
use crate::model::taxon::{Appendix, Taxon};
use crate::model::transfer::{State, Step, Terms, Transfer};
use crate::model::unreadable::Unreadable;
use crate::model::weight::{Forecast, Method};
use chrono::NaiveDate;
use holt_audit::terms::{Counts, Mass, Sex};
use holt_proto::time::{day, timestamp};
use holt_proto::{UNREADABLE, v1};
use http::{HeaderMap, HeaderValue};
use prost::Message;
use tonic::metadata::{Binary, MetadataValue};
use uuid::Uuid;

/// Records that are named as missing, at most: the others are counted.
const MOST_UNREADABLE: usize = 20;

pub(super) const fn known_by(by: KnownBy) -> v1::ParentsKnownBy {
    match by {
        KnownBy::NotSaid => v1::ParentsKnownBy::Unspecified,
        KnownBy::Observed => v1::ParentsKnownBy::Observed,
        KnownBy::Genetic => v1::ParentsKnownBy::Genetic,
        KnownBy::Assumed => v1::ParentsKnownBy::Assumed,
    }
}

pub(crate) const fn sex(sex: Sex) -> v1::Sex {
    match sex {
        Sex::Male => v1::Sex::Male,
        Sex::Female => v1::Sex::Female,
        Sex::Unknown => v1::Sex::Unknown,
    }
}

pub(crate) const fn counts(counts: Counts) -> v1::Counts {
    v1::Counts { males: counts.males, females: counts.females, unknown: counts.unknown }
}

pub(crate) const fn mass(mass: Mass) -> v1::Mass {
    v1::Mass { milligrams: mass.mg() }
}

pub(crate) fn id(id: Uuid) -> String {
    id.to_string()
}

pub(crate) const fn appendix(appendix: Appendix) -> v1::CitesAppendix {
    match appendix {
        Appendix::NotStated => v1::CitesAppendix::Unspecified,
        Appendix::None => v1::CitesAppendix::None,
        Appendix::I => v1::CitesAppendix::I,
        Appendix::Two => v1::CitesAppendix::Ii,
        Appendix::Three => v1::CitesAppendix::Iii,
    }
}

pub(crate) fn taxon(taxon: Taxon) -> v1::Taxon {
    let synonyms = taxon.synonyms.into_iter().map(|synonym| v1::Synonym {
        name: synonym.name,
        until_year: synonym.until_year.unwrap_or_default(),
        source: synonym.source,
    });
    v1::Taxon {
        id: id(taxon.id),
        scientific_name: taxon.scientific_name,
        common_name: taxon.common_name,
        breeds_from_days: taxon.breeds_from_days.unwrap_or_default(),
        carries_up_to_days: taxon.carries_up_to_days.unwrap_or_default(),
        cites_appendix: appendix(taxon.appendix).into(),
        synonyms: synonyms.collect(),
        asked_as: taxon.asked_as,
        // Told with the list of species only.
        traits: None,
    }
}

pub(crate) fn label(label: Label) -> v1::AnimalLabel {
    v1::AnimalLabel { id: id(label.id), accession: label.accession, house_name: label.house_name }
}

/// Two days, both included.
pub(crate) fn day_span((first, last): (NaiveDate, NaiveDate)) -> v1::DaySpan {
    v1::DaySpan { first: Some(day(first)), last: Some(day(last)) }
}

/// First and last day that something can have been, as the day, month or year that they make up; the
/// year of the first where they make up none.
pub(crate) fn day_between(first: NaiveDate, last: NaiveDate) -> v1::Day {
    let whole = day(first);
    [whole, v1::Day { day: 0, ..whole }, v1::Day { month: 0, day: 0, ..whole }]
        .into_iter()
        .find(|part| holt_proto::time::day_bounds(*part) == Ok((first, last)))
        .unwrap_or(v1::Day { month: 0, day: 0, ..whole })
}

pub(crate) const fn weighing_method(method: Method) -> v1::WeighingMethod {
    match method {
        Method::NotTold => v1::WeighingMethod::Unspecified,
        Method::Trained => v1::WeighingMethod::Trained,
        Method::Handled => v1::WeighingMethod::Handled,
        Method::Crate => v1::WeighingMethod::Crate,
        Method::Anaesthetised => v1::WeighingMethod::Anaesthetised,
        Method::Estimate => v1::WeighingMethod::Estimate,
    }
}

pub(crate) const fn enclosure_kind(kind: EnclosureKind) -> v1::EnclosureKind {
    match kind {
        EnclosureKind::Indoor => v1::EnclosureKind::Indoor,
        EnclosureKind::Outdoor => v1::EnclosureKind::Outdoor,
        EnclosureKind::Mixed => v1::EnclosureKind::Mixed,
    }
}

pub(crate) const fn source(source: ArrivalSource) -> v1::ArrivalSource {
    match source {
        ArrivalSource::Collection => v1::ArrivalSource::Collection,
        ArrivalSource::Wild => v1::ArrivalSource::Wild,
        ArrivalSource::Rescue => v1::ArrivalSource::Rescue,
        ArrivalSource::Confiscation => v1::ArrivalSource::Confiscation,
        ArrivalSource::Private => v1::ArrivalSource::Private,
        ArrivalSource::OnSiteBefore => v1::ArrivalSource::OnSiteBefore,
    }
}

pub(crate) const fn destination(destination: Destination) -> v1::DepartureDestination {
    match destination {
        Destination::Collection => v1::DepartureDestination::Collection,
        Destination::Wild => v1::DepartureDestination::Wild,
        Destination::Private => v1::DepartureDestination::Private,
        Destination::Escape => v1::DepartureDestination::Escape,
    }
}

pub(crate) const fn mark_kind(kind: MarkKind) -> v1::MarkKind {
    match kind {
        MarkKind::Transponder => v1::MarkKind::Transponder,
        MarkKind::Ring => v1::MarkKind::Ring,
        MarkKind::Tattoo => v1::MarkKind::Tattoo,
        MarkKind::EarNotch => v1::MarkKind::EarNotch,
        MarkKind::Natural => v1::MarkKind::Natural,
        MarkKind::HouseName => v1::MarkKind::HouseName,
        MarkKind::FormerNumber => v1::MarkKind::FormerNumber,
    }
}

pub(crate) fn mark(mark: Mark) -> v1::Mark {
    v1::Mark {
        id: id(mark.id),
        kind: mark_kind(mark.kind).into(),
        code: mark.code,
        place_on_body: mark.place_on_body,
        interval: Some(v1::Interval {
            from: Some(timestamp(mark.began_at)),
            until: mark.ended_at.map(timestamp),
        }),
        issuer: mark.issuer,
    }
}

pub(crate) const fn manner(manner: Manner) -> v1::DeathManner {
    match manner {
        Manner::Natural => v1::DeathManner::Natural,
        Manner::Euthanasia => v1::DeathManner::Euthanasia,
        Manner::Accident => v1::DeathManner::Accident,
        Manner::ByAnimal => v1::DeathManner::ByAnimal,
        Manner::Unknown => v1::DeathManner::Unknown,
    }
}

pub(crate) fn death(death: Death) -> v1::Death {
    let post_mortem = match death.body.post_mortem {
        None => v1::PostMortem::Unspecified,
        Some(PostMortem::NotDone) => v1::PostMortem::NotDone,
        Some(PostMortem::AskedFor) => v1::PostMortem::AskedFor,
        Some(PostMortem::Done) => v1::PostMortem::Done,
    };
    let disposal = match death.body.disposal {
        None => v1::Disposal::Unspecified,
        Some(Disposal::Incinerated) => v1::Disposal::Incinerated,
        Some(Disposal::Buried) => v1::Disposal::Buried,
        Some(Disposal::Collection) => v1::Disposal::Collection,
        Some(Disposal::Sample) => v1::Disposal::Sample,
        Some(Disposal::Rendered) => v1::Disposal::Rendered,
        Some(Disposal::Unknown) => v1::Disposal::Unknown,
    };
    v1::Death {
        died_on: death.died.map(|(first, last)| day_between(first, last)),
        found_on: death.found_on.map(day),
        manner: manner(death.manner).into(),
        note: death.note,
        post_mortem: post_mortem.into(),
        post_mortem_result: death.body.result,
        disposal: disposal.into(),
        disposal_name: death.body.disposal_name,
    }
}

pub(crate) fn crate_reading(reading: CrateReading) -> v1::CrateReading {
    v1::CrateReading {
        id: id(reading.id),
        weighed_at: Some(timestamp(reading.weighed_at)),
        day_only: reading.day_only,
        mass: Some(mass(reading.mass)),
        animals: reading.animals,
        scale: reading.scale,
        note: reading.note,
        recorded_at: Some(timestamp(reading.recorded_at)),
    }
}

pub(crate) fn grant(grant: Grant) -> v1::Grant {
    let role = match grant.role {
        Role::Keeper => v1::Role::Keeper,
        Role::Registrar => v1::Role::Registrar,
        Role::Auditor => v1::Role::Auditor,
        Role::Veterinary => v1::Role::Veterinary,
        Role::Steward => v1::Role::Steward,
        Role::Curator => v1::Role::Curator,
    };
    v1::Grant { role: role.into(), every_site: grant.site.is_none(), site: grant.site.unwrap_or_default() }
}

pub(crate) fn person(person: Person) -> v1::Person {
    v1::Person {
        id: id(person.id),
        name: person.name,
        sign_in_name: person.sign_in_name,
        grants: person.grants.into_iter().map(grant).collect(),
    }
}

pub(crate) fn reason(reason: Reason) -> v1::ErrorReason {
    v1::ErrorReason::from_str_name(&format!("ERROR_REASON_{}", reason.name()))
        .unwrap_or(v1::ErrorReason::Unspecified)
}

pub(crate) const fn duty(duty: Duty) -> v1::Duty {
    match duty {
        Duty::Weigh => v1::Duty::Weigh,
        Duty::Assess => v1::Duty::Assess,
        Duty::EndLoan => v1::Duty::EndLoan,
        Duty::WeighAgain => v1::Duty::WeighAgain,
    }
}

pub(crate) fn due_item(item: DueItem) -> v1::DueItem {
    let state = match item.state {
        DueState::Due => v1::DueState::Due,
        DueState::Overdue => v1::DueState::Overdue,
    };
    v1::DueItem {
        check_id: id(item.check),
        duty: duty(item.duty).into(),
        animal_id: id(item.animal.id),
        accession: item.animal.accession,
        house_name: item.animal.house_name,
        enclosure: item.enclosure,
        state: state.into(),
        due_on: Some(day(item.due_on)),
        days_late: item.days_late,
        open_dues: item.open_dues,
        last_done_on: item.last_done_on.map(day),
        tried_on: item.tried_on.map(day),
        by_whom: item.by_whom,
        waiting: item.waiting.map(|waiting| v1::WaitingReading {
            mass: Some(mass(waiting.mass)),
            forecast: Some(forecast(waiting.forecast)),
            weighed_at: Some(timestamp(waiting.weighed_at)),
            day_only: waiting.day_only,
            recorded_by: waiting.recorded_by,
        }),
    }
}

const fn settled_as(settled_as: SettledAs) -> v1::SettledAs {
    match settled_as {
        SettledAs::FalseAlarm => v1::SettledAs::FalseAlarm,
        SettledAs::Treated => v1::SettledAs::Treated,
        SettledAs::NewNormal => v1::SettledAs::NewNormal,
    }
}

pub(crate) const fn concern_kind(kind: ConcernKind) -> v1::ConcernKind {
    match kind {
        ConcernKind::WeightTrend => v1::ConcernKind::WeightTrend,
        ConcernKind::ScaleRefused => v1::ConcernKind::ScaleRefused,
        ConcernKind::GroupWeight => v1::ConcernKind::GroupWeight,
        ConcernKind::ScaleOff => v1::ConcernKind::ScaleOff,
        ConcernKind::Growth => v1::ConcernKind::Growth,
        ConcernKind::PushedOut => v1::ConcernKind::PushedOut,
        ConcernKind::Climate => v1::ConcernKind::Climate,
        ConcernKind::DeviceSilent => v1::ConcernKind::DeviceSilent,
    }
}

pub(crate) const fn concern_level(level: Level) -> v1::ConcernLevel {
    match level {
        Level::Watch => v1::ConcernLevel::Watch,
        Level::Act => v1::ConcernLevel::Act,
        Level::Urgent => v1::ConcernLevel::Urgent,
    }
}

/// Whom a concern is about, as its fields say it.
#[derive(Default)]
pub(crate) struct AboutFields {
    pub(crate) animal_id: String,
    pub(crate) accession: String,
    pub(crate) house_name: String,
    pub(crate) enclosure: String,
    pub(crate) taxon: String,
    pub(crate) device: String,
}

pub(crate) fn about(about: About) -> AboutFields {
    match about {
        About::Animal(label) => AboutFields {
            animal_id: id(label.id),
            accession: label.accession,
            house_name: label.house_name,
            ..AboutFields::default()
        },
        About::Household(household) => {
            AboutFields { enclosure: household.enclosure, taxon: household.taxon, ..AboutFields::default() }
        }
        About::Device { name, enclosure } => {
            AboutFields { enclosure, device: name, ..AboutFields::default() }
        }
    }
}

pub(crate) fn concern(concern: Concern) -> v1::Concern {
    let kind = concern_kind(concern.kind);
    let level = concern_level(concern.content.level);
    let state = match concern.state {
        ConcernState::Raised => v1::ConcernState::Raised,
        ConcernState::TakenUp => v1::ConcernState::TakenUp,
        ConcernState::Settled => v1::ConcernState::Settled,
    };
    let figures = concern.content.figures.into_iter().map(|figure| v1::Figure {
        name: figure.name,
        value: figure.value,
        unit: figure.unit,
        low: figure.low,
        high: figure.high,
    });
    let about = about(concern.about);
    v1::Concern {
        id: id(concern.id),
        site: concern.site,
        animal_id: about.animal_id,
        accession: about.accession,
        house_name: about.house_name,
        enclosure: about.enclosure,
        taxon: about.taxon,
        device: about.device,
        kind: kind.into(),
        level: level.into(),
        state: state.into(),
        raised_at: Some(timestamp(concern.raised_at)),
        changed_at: Some(timestamp(concern.changed_at)),
        seen: concern.content.seen,
        look_first: concern.content.look_first,
        figures: figures.collect(),
        record_ids: concern.content.record_ids.into_iter().map(id).collect(),
        taken_up_by: concern.taken_up_by,
        settled_because: concern.settled_because,
        settled_as: concern.settled_as.map_or(v1::SettledAs::Unspecified, settled_as).into(),
        age_days: concern.age_days,
        version: concern.version,
    }
}

const fn state(state: State) -> v1::TransferState {
    match state {
        State::Proposed => v1::TransferState::Proposed,
        State::Agreed => v1::TransferState::Agreed,
        State::Dispatched => v1::TransferState::Dispatched,
        State::Received => v1::TransferState::Received,
        State::Refused => v1::TransferState::Refused,
        State::Cancelled => v1::TransferState::Cancelled,
        State::Died => v1::TransferState::DiedOnWay,
        State::Escaped => v1::TransferState::EscapedOnWay,
    }
}

const fn step(step: Step) -> &'static str {
    match step {
        Step::Proposed => "proposed",
        Step::Agreed => "agreed",
        Step::Dispatched => "dispatched",
        Step::Received => "received",
        Step::Refused => "refused",
        Step::Cancelled => "cancelled",
        Step::Died => "died",
        Step::Escaped => "escaped",
        Step::Withheld => "withheld",
        Step::Released => "released",
    }
}

pub(crate) fn transfer(transfer: Transfer) -> v1::Transfer {
    let terms = match transfer.terms {
        Terms::TitlePasses => v1::TransferTerms::TitlePasses,
        Terms::Loan => v1::TransferTerms::Loan,
    };
    let steps = transfer.steps.into_iter().map(|taken| v1::TransferStep {
        state: state(taken.state).into(),
        step: step(taken.step).to_owned(),
        site: taken.site,
        person: taken.person,
        happened_at: Some(timestamp(taken.happened_at)),
        day_only: taken.day_only,
        recorded_at: Some(timestamp(taken.recorded_at)),
        note: taken.note,
    });
    v1::Transfer {
        id: id(transfer.id),
        animal_id: id(transfer.animal),
        house_name: transfer.house_name,
        taxon: transfer.taxon,
        from_site: transfer.from_site,
        to_site: transfer.to_site,
        from_accession: transfer.from_accession,
        to_accession: transfer.to_accession,
        state: state(transfer.state).into(),
        terms: terms.into(),
        loan_until: transfer.loan_until.map(day),
        planned_on: transfer.planned_on.map(day),
        why: transfer.why,
        withheld: transfer.withheld,
        steps: steps.collect(),
        missing: transfer.missing,
        version: transfer.version,
        sex: sex(transfer.sex).into(),
        born_on: transfer.born.map(|(first, last)| day_between(first, last)),
    }
}

pub(crate) const fn fact_kind(kind: FactKind) -> v1::FactKind {
    match kind {
        FactKind::Birth => v1::FactKind::Birth,
        FactKind::Sex => v1::FactKind::Sex,
        FactKind::Parent => v1::FactKind::Parent,
        FactKind::Accession => v1::FactKind::Accession,
        FactKind::Holding => v1::FactKind::Holding,
        FactKind::Title => v1::FactKind::Title,
        FactKind::Placement => v1::FactKind::Placement,
        FactKind::Membership => v1::FactKind::Membership,
        FactKind::ToldApart => v1::FactKind::ToldApart,
        FactKind::Mark => v1::FactKind::Mark,
        FactKind::LifeState => v1::FactKind::LifeState,
        FactKind::Mistake => v1::FactKind::Mistake,
        FactKind::Loan => v1::FactKind::Loan,
        FactKind::Paper => v1::FactKind::Paper,
        FactKind::Weight => v1::FactKind::Weight,
        FactKind::Assessment => v1::FactKind::Assessment,
        FactKind::Encounter => v1::FactKind::Encounter,
        FactKind::Transfer => v1::FactKind::Transfer,
        FactKind::Death => v1::FactKind::Death,
        FactKind::Merge => v1::FactKind::Merge,
    }
}

pub(crate) fn forecast(forecast: Forecast) -> v1::Forecast {
    v1::Forecast {
        expected: Some(mass(forecast.expected)),
        low: Some(mass(forecast.low)),
        high: Some(mass(forecast.high)),
    }
}

pub(crate) fn fact(told: Told) -> v1::Fact {
    let change = match told.change {
        None => v1::FactChangeKind::Unspecified,
        Some(Change::Added) => v1::FactChangeKind::Added,
        Some(Change::Gone) => v1::FactChangeKind::Gone,
    };
    let (superseded_at, superseded_because) = told.superseded.unzip();
    v1::Fact {
        kind: fact_kind(told.kind).into(),
        id: id(told.id),
        site: told.site,
        happened_at: told.at.map(timestamp),
        day_only: told.day_only,
        ended_at: told.ended_at.map(timestamp),
        say: told.say,
        recorded_at: Some(timestamp(told.recorded_at)),
        recorded_by: told.recorded_by,
        recorded_at_site: told.recorder,
        superseded_at: superseded_at.map(timestamp),
        superseded_because: superseded_because.unwrap_or_default(),
        change: change.into(),
        entered_for: told.entered_for.unwrap_or_default(),
        set_aside: told.set_aside,
    }
}

/// Names beside an answer the records that are missing from it.
pub(crate) fn name_unreadable(headers: &mut HeaderMap, records: &[Unreadable]) {
    if records.is_empty() {
        return;
    }
    let told = |record: &Unreadable| v1::UnreadableRecord {
        kind: record.kind.to_owned(),
        id: id(record.id),
        say: quoted(&record.say),
    };
    let message = v1::UnreadableRecords {
        records: records.iter().take(MOST_UNREADABLE).map(told).collect(),
        count: i32::try_from(records.len()).unwrap_or(i32::MAX),
    };
    let value = MetadataValue::<Binary>::from_bytes(&message.encode_to_vec());
    if let Ok(value) = HeaderValue::from_bytes(value.as_encoded_bytes()) {
        headers.insert(UNREADABLE, value);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_keeps_the_precision_it_came_with() {
        for text in ["2019", "2019-05", "2019-05-17", "2020-02-29"] {
            let wire: v1::Day = text.parse().unwrap();
            let (first, last) = holt_proto::time::day_bounds(wire).unwrap();
            assert_eq!(day_between(first, last).to_string(), text);
        }
    }
}
