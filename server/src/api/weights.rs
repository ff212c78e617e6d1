//! `WeightService`.

use crate::api::decode::{Form, is_of_time, plain};
use crate::api::encode::{self, id, mass};
use crate::api::{Api, caller, status};
use crate::model::crate_reading::{Named, NewCrateReading};
use crate::model::reason::Reason;
use crate::model::weight::{
    Answer, Answered, Method, Outcome, Reading, ReadingRefusal, Round, RoundOutcome, ScaleDrift, Taken,
    Weight,
};
use crate::records::crate_readings;
use crate::records::waiting::{self, Accepted};
use crate::records::weights::{self, Asked};
use chrono::Datelike;
use holt_audit::terms::Mass;
use holt_proto::time::{self, timestamp};
use holt_proto::v1;
use holt_proto::v1::weight_service_server::WeightService;
use holt_proto::v1::{ReadingOutcome, reading};
use tonic::{Request, Response, Status};

/// A reading, or why it is none: what is wrong with one does not touch the others.
fn reading(wire: &v1::Reading) -> Result<Reading, ReadingRefusal> {
    let animal = wire.animal.trim();
    if animal.is_empty() {
        let mend = "name the animal by accession, transponder, ring or house name";
        return Err(wrong("animal", "no animal named", mend));
    }
    reading_of(animal, wire)
}

fn wrong(field: &str, say: &str, mend: &str) -> ReadingRefusal {
    ReadingRefusal {
        reason: Reason::Malformed,
        field: field.to_owned(),
        say: say.to_owned(),
        mend: mend.to_owned(),
    }
}

/// A reading of an animal that is told apart from it.
pub(super) fn reading_of(animal: &str, wire: &v1::Reading) -> Result<Reading, ReadingRefusal> {
    let taken = match wire.when {
        Some(reading::When::WeighedAt(at)) => time::instant(at).map(Taken::At),
        Some(reading::When::WeighedOn(day)) => time::whole_day(day).map(Taken::On),
        None => Ok(Taken::Now),
    };
    let real = "give a real day, such as 2026-11-25, and a time";
    let taken = taken.map_err(|error| wrong("weighed_at", &format!("the time {error}"), real))?;
    let year = match &taken {
        Taken::At(at) => Some(at.year()),
        Taken::On(day) => Some(day.year()),
        Taken::Now => None,
    };
    if let Some(year) = year.filter(|year| !is_of_time(*year)) {
        return Err(wrong("weighed_at", &format!("the time is in the year {year}"), real));
    }
    let outcome = match wire.result {
        Some(reading::Result::Mass(mass)) => Outcome::Mass(Mass::from_mg(mass.milligrams)),
        Some(reading::Result::Tried(v1::Tried {})) => Outcome::Tried,
        None => {
            let mend = "give the weight, or say that the animal declined the scale";
            return Err(wrong("mass", "neither a weight nor a declined scale is given", mend));
        }
    };
    let method = match v1::WeighingMethod::try_from(wire.method) {
        Ok(v1::WeighingMethod::Unspecified) => Method::NotTold,
        Ok(v1::WeighingMethod::Trained) => Method::Trained,
        Ok(v1::WeighingMethod::Handled) => Method::Handled,
        Ok(v1::WeighingMethod::Crate) => Method::Crate,
        Ok(v1::WeighingMethod::Anaesthetised) => Method::Anaesthetised,
        Ok(v1::WeighingMethod::Estimate) => Method::Estimate,
        Err(_) => {
            return Err(wrong("method", "the method is unknown", "leave it out, or use one that is known"));
        }
    };
    let text = |field: &str, text: &str, characters| {
        plain(text, characters).map_err(|(say, mend)| wrong(field, &format!("the {field} {say}"), &mend))
    };
    Ok(Reading {
        animal: text("animal", animal, 0..=100)?,
        taken,
        outcome,
        scale: text("scale", &wire.scale, 0..=100)?,
        method,
        note: text("note", &wire.note, 0..=500)?,
    })
}

fn answer(index: usize, answered: Answered) -> v1::ReadingAnswer {
    let mut wire =
        v1::ReadingAnswer { index: i32::try_from(index).unwrap_or(i32::MAX), ..Default::default() };
    if let Some(label) = answered.animal {
        wire.animal_id = id(label.id);
        wire.accession = label.accession;
        wire.house_name = label.house_name;
    }
    let outcome = match answered.answer {
        Answer::Accepted { weight } => {
            wire.weight_id = id(weight);
            ReadingOutcome::Accepted
        }
        Answer::Repeat { weight } => {
            wire.weight_id = id(weight);
            ReadingOutcome::Repeat
        }
        Answer::SecondWeighing { weight, forecast, hint } => {
            wire.weight_id = id(weight);
            wire.forecast = Some(encode::forecast(forecast));
            wire.hint = hint;
            ReadingOutcome::SecondWeighing
        }
        Answer::Refused(refusal) => {
            wire.refusal = Some(v1::ReadingRefusal {
                reason: encode::reason(refusal.reason).into(),
                field: refusal.field,
                say: refusal.say,
                mend: refusal.mend,
            });
            ReadingOutcome::Refused
        }
    };
    wire.outcome = outcome.into();
    wire
}

fn drift(drift: ScaleDrift) -> v1::ScaleDrift {
    v1::ScaleDrift {
        scale: drift.scale,
        percent: drift.percent,
        standard_error_percent: drift.standard_error_percent,
        animals: i32::try_from(drift.animals).unwrap_or(i32::MAX),
    }
}

fn encode_outcome(outcome: RoundOutcome) -> v1::RecordWeightsResponse {
    v1::RecordWeightsResponse {
        answers: outcome.answers.into_iter().enumerate().map(|(n, one)| answer(n, one)).collect(),
        concerns: outcome.concerns.into_iter().map(encode::concern).collect(),
        drifts: outcome.drifts.into_iter().map(drift).collect(),
    }
}

pub(super) fn encode_weight(weight: Weight) -> v1::Weight {
    let method = encode::weighing_method(weight.method);
    v1::Weight {
        id: id(weight.id),
        animal_id: id(weight.animal.id),
        accession: weight.animal.accession,
        house_name: weight.animal.house_name,
        site: weight.site,
        weighed_at: Some(timestamp(weight.weighed_at)),
        day_only: weight.day_only,
        mass: weight.mass.map(mass),
        awaits_second: weight.doubtful,
        accepted: weight.accepted,
        scale: weight.scale,
        method: method.into(),
        note: weight.note,
        recorded_at: Some(timestamp(weight.recorded_at)),
    }
}

#[tonic::async_trait]
impl WeightService for Api {
    async fn record_weights(
        &self,
        request: Request<v1::RecordWeightsRequest>,
    ) -> Result<Response<v1::RecordWeightsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("WeightService/RecordWeights", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        if !(1..=1000).contains(&asked.readings.len()) {
            let say = format!("has {} readings", asked.readings.len());
            form.wrong("readings", say, "send 1 to 1000 in a round");
        }
        form.done()?;
        let round = Round { readings: asked.readings.iter().map(reading).collect() };
        let outcome =
            weights::record(&self.records, &caller, &write, &site, &round).await.map_err(status::from)?;
        Ok(Response::new(encode_outcome(outcome)))
    }

    async fn record_crate_reading(
        &self,
        request: Request<v1::RecordCrateReadingRequest>,
    ) -> Result<Response<v1::RecordCrateReadingResponse>, Status> {
        use v1::record_crate_reading_request::{Of, When};
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("WeightService/RecordCrateReading", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let named = match &asked.of {
            Some(Of::LitterId(id)) => Named::Litter(form.uuid("litter_id", id)),
            Some(Of::Group(name)) => Named::Group(form.text("group", name, 1..=100)),
            None => {
                form.wrong("of", "is missing", "name the litter or the group in the crate");
                Named::Group(String::new())
            }
        };
        if !(1..=100_000).contains(&asked.animals) {
            form.wrong("animals", format!("is {}", asked.animals), "give the number of animals in the crate");
        }
        if asked.mass.is_none() {
            form.wrong("mass", "is missing", "give what the scale showed");
        }
        let taken = match asked.when {
            None => None,
            Some(When::WeighedAt(at)) => form.instant("weighed_at", Some(at)).map(Taken::At),
            Some(When::WeighedOn(day)) => form.optional_day("weighed_on", Some(day)).map(Taken::On),
        };
        let taken = taken.unwrap_or(Taken::Now);
        let new = NewCrateReading {
            named,
            animals: asked.animals,
            mass: Mass::from_mg(asked.mass.unwrap_or_default().milligrams),
            taken,
            scale: form.text("scale", &asked.scale, 0..=100),
            note: form.text("note", &asked.note, 0..=500),
        };
        form.done()?;
        let told = crate_readings::record(&self.records, &caller, &write, &site, &new)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::RecordCrateReadingResponse { reading: Some(encode::crate_reading(told)) }))
    }

    async fn accept_weight(
        &self,
        request: Request<v1::AcceptWeightRequest>,
    ) -> Result<Response<v1::AcceptWeightResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("WeightService/AcceptWeight", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let wanted = Accepted {
            animal: form.animal("animal", &asked.animal),
            weight: form.uuid("weight_id", &asked.weight_id),
            because: form.text("because", &asked.because, 1..=500),
            version: asked.version,
        };
        form.done()?;
        let told =
            waiting::accept(&self.records, &caller, &write, &site, &wanted).await.map_err(status::from)?;
        Ok(Response::new(v1::AcceptWeightResponse {
            reading: told.facts.into_iter().next().map(encode::fact),
            version: told.version,
            concerns: told.concerns.into_iter().map(encode::concern).collect(),
        }))
    }

    async fn list_weights(
        &self,
        request: Request<v1::ListWeightsRequest>,
    ) -> Result<Response<v1::ListWeightsResponse>, Status> {
        const METHOD: &str = "WeightService/ListWeights";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.optional_site("site", &asked.site),
            animal: form.text("animal", &asked.animal, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = weights::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListWeightsResponse {
            weights: found.entries.into_iter().map(encode_weight).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
