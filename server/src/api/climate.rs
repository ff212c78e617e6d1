//! `ClimateService`.

use crate::access::permit::Caller;
use crate::api::decode::Form;
use crate::api::encode::{self, id};
use crate::api::streams::Answers;
use crate::api::{Api, caller, status};
use crate::model::climate::{Content, Device, Kept, Measure, NewDevice, Rules, Spoken, State, Taken, Told};
use crate::records::climate;
use crate::report::climate::{self as report, Question};
use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use holt_audit::environment::alarm::{Alarm, Matter};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::climate_service_server::ClimateService;
use tonic::{Request, Response, Status, Streaming};

/// What an alarm is and is not; goes out with every list of them.
const CAUTION: &str = "An alarm supports a decision. It does not replace a look at the animals and their \
    enclosure, your vet, your licence or local law.";

/// What a portion says; the same alone and on a stream.
const RECORD: &str = "ClimateService/RecordReadings";

const MOST_READINGS: usize = 5000;

fn measure(form: &mut Form, field: &str, wire: i32) -> Measure {
    let measure = match v1::Measure::try_from(wire) {
        Ok(v1::Measure::Temperature) => Some(Measure::Temperature),
        Ok(v1::Measure::Humidity) => Some(Measure::Humidity),
        Ok(v1::Measure::UvIndex) => Some(Measure::UvIndex),
        Ok(v1::Measure::WaterTemperature) => Some(Measure::WaterTemperature),
        Ok(v1::Measure::WaterPh) => Some(Measure::WaterPh),
        Ok(v1::Measure::Unspecified) | Err(_) => None,
    };
    let choices = "temperature, humidity, UV index, water temperature, water pH";
    form.choice(field, measure, choices, Measure::Temperature)
}

const fn told_measure(measure: Measure) -> v1::Measure {
    match measure {
        Measure::Temperature => v1::Measure::Temperature,
        Measure::Humidity => v1::Measure::Humidity,
        Measure::UvIndex => v1::Measure::UvIndex,
        Measure::WaterTemperature => v1::Measure::WaterTemperature,
        Measure::WaterPh => v1::Measure::WaterPh,
    }
}

fn told_device(device: Device) -> v1::Device {
    v1::Device {
        id: id(device.id),
        site: device.site,
        enclosure: device.enclosure_name,
        name: device.name,
        measure: told_measure(device.measure).into(),
        may_be_silent_minutes: device.may_be_silent_minutes,
        note: device.note,
    }
}

/// A number of minutes: as given, or the usual where none is.
fn minutes(form: &mut Form, field: &str, wire: i32, usual: i32) -> i32 {
    if wire == 0 {
        return usual;
    }
    if !(1..=10_080).contains(&wire) {
        form.wrong(field, format!("is {wire}"), "give 1 to 10080 minutes, which is a week");
    }
    wire
}

/// A month and a day of any year: `11-01`.
fn day_of_year(form: &mut Form, field: &str, text: &str) -> (u32, u32) {
    use chrono::Datelike;
    // A leap year, for February has its longest there.
    match format!("2024-{text}").parse::<NaiveDate>() {
        Ok(day) => (day.month(), day.day()),
        Err(_) => {
            form.wrong(
                field,
                format!("`{text}` is not a day of the year"),
                "write it as month and day: 11-01",
            );
            (1, 1)
        }
    }
}

/// Both ends of a stretch within the year or the day, or neither.
fn both<T>(
    form: &mut Form,
    field: &str,
    ends: (&str, &str),
    mut read: impl FnMut(&mut Form, &str, &str) -> T,
) -> Option<(T, T)> {
    let names = (format!("{field}_first"), format!("{field}_last"));
    match ends {
        ("", "") => None,
        ("", _) => {
            form.wrong(&names.0, "is missing", "give both ends, or neither");
            None
        }
        (_, "") => {
            form.wrong(&names.1, "is missing", "give both ends, or neither");
            None
        }
        (first, last) => Some((read(form, &names.0, first), read(form, &names.1, last))),
    }
}

fn rules(form: &mut Form, wire: Option<v1::ClimateRules>) -> Rules {
    let wire = wire.unwrap_or_default();
    if wire.rules.len() > 20 {
        form.wrong("rules.rules", format!("has {} rules", wire.rules.len()), "give 20 at most");
    }
    let usual = Content::default();
    let measured = measure(form, "rules.measure", wire.measure);
    let (least, most) = measured.bounds();
    let kept = |form: &mut Form, n: usize, rule: &v1::ClimateRule| {
        let field = format!("rules.rules[{n}]");
        let mut end = |name: &str, value: Option<f64>| {
            value.map(|value| form.number(&format!("{field}.{name}"), value, least..=most, ""))
        };
        let (low, high) = (end("low", rule.low), end("high", rule.high));
        if low.is_none() && high.is_none() {
            form.wrong(&field, "has no limit", "give the lowest or the highest value allowed");
        }
        if let Some((low, high)) = low.zip(high).filter(|(low, high)| low > high) {
            form.wrong(&field, format!("runs from {low} to {high}"), "exchange the two");
        }
        let season = (rule.season_first.as_str(), rule.season_last.as_str());
        let hours = (rule.hours_first.as_str(), rule.hours_last.as_str());
        Kept {
            low,
            high,
            season: both(form, &format!("{field}.season"), season, day_of_year),
            hours: both(form, &format!("{field}.hours"), hours, Form::time_of_day),
        }
    };
    let at_once = form.number("rules.at_once_beyond", wire.at_once_beyond, 0.0..=most - least, "");
    let margin = form.number("rules.margin", wire.margin, 0.0..=most - least, "");
    let raise_after = minutes(form, "rules.raise_after_minutes", wire.raise_after_minutes, 15);
    let clear_after = minutes(form, "rules.clear_after_minutes", wire.clear_after_minutes, 20);
    Rules {
        enclosure: form.text("rules.enclosure", &wire.enclosure, 1..=100),
        measure: measured,
        content: Content {
            rules: wire.rules.iter().enumerate().map(|(n, rule)| kept(form, n, rule)).collect(),
            raise_after_minutes: raise_after,
            at_once_beyond: if at_once == 0.0 { usual.at_once_beyond } else { at_once },
            margin,
            clear_after_minutes: clear_after,
        },
    }
}

fn told_rules(rules: Rules) -> v1::ClimateRules {
    let day = |(month, day): (u32, u32)| format!("{month:02}-{day:02}");
    let time = |time: NaiveTime| time.format("%H:%M").to_string();
    let kept = rules.content.rules.into_iter().map(|kept| v1::ClimateRule {
        low: kept.low,
        high: kept.high,
        season_first: kept.season.map(|(first, _)| day(first)).unwrap_or_default(),
        season_last: kept.season.map(|(_, last)| day(last)).unwrap_or_default(),
        hours_first: kept.hours.map(|(first, _)| time(first)).unwrap_or_default(),
        hours_last: kept.hours.map(|(_, last)| time(last)).unwrap_or_default(),
    });
    v1::ClimateRules {
        enclosure: rules.enclosure,
        measure: told_measure(rules.measure).into(),
        rules: kept.collect(),
        raise_after_minutes: rules.content.raise_after_minutes,
        at_once_beyond: rules.content.at_once_beyond,
        margin: rules.content.margin,
        clear_after_minutes: rules.content.clear_after_minutes,
    }
}

fn told_alarm(alarm: Alarm) -> v1::ClimateAlarm {
    let (matter, worst) = match alarm.matter {
        Matter::TooLow { worst } => (v1::ClimateMatter::TooLow, worst),
        Matter::TooHigh { worst } => (v1::ClimateMatter::TooHigh, worst),
        Matter::Silent => (v1::ClimateMatter::Silent, 0.0),
    };
    v1::ClimateAlarm {
        matter: matter.into(),
        worst,
        began_at: Some(timestamp(alarm.since)),
        raised_at: Some(timestamp(alarm.raised)),
        ended_at: alarm.over.map(timestamp),
    }
}

fn told_state(state: State) -> v1::DeviceState {
    let name = state.device.name.clone();
    v1::DeviceState {
        latest: state.latest.map(|(at, value)| v1::DeviceReading {
            device: name,
            read_at: Some(timestamp(at)),
            value,
        }),
        low: state.range.low,
        high: state.range.high,
        alarms: state.alarms.into_iter().map(told_alarm).collect(),
        device: Some(told_device(state.device)),
    }
}

fn told_exposure(told: Told) -> v1::DeviceExposure {
    v1::DeviceExposure {
        device: Some(told_device(told.device)),
        readings: i64::try_from(told.readings).unwrap_or(i64::MAX),
        known_hours: told.exposure.known,
        below_hours: told.exposure.below,
        above_hours: told.exposure.above,
        below_degree_hours: told.exposure.below_by,
        above_degree_hours: told.exposure.above_by,
        silent_hours: told.silent_hours,
        alarms: told.alarms.into_iter().map(told_alarm).collect(),
    }
}

fn answer(taken: Taken) -> v1::RecordReadingsResponse {
    let count = |n: usize| i32::try_from(n).unwrap_or(i32::MAX);
    let refused = taken.refused.into_iter().map(|refused| v1::DeviceReadingRefusal {
        row: count(refused.row),
        reason: encode::reason(refused.reason).into(),
        say: refused.say,
        mend: refused.mend,
    });
    v1::RecordReadingsResponse {
        recorded: count(taken.recorded),
        known: count(taken.known),
        refused: refused.collect(),
    }
}

impl Api {
    async fn portion(
        &self,
        caller: &Caller,
        asked: &v1::RecordReadingsRequest,
    ) -> Result<v1::RecordReadingsResponse, Status> {
        let mut form = Form::new();
        let write = form.request(RECORD, &asked.request_id, asked, false);
        let site = form.site("site", &asked.site);
        let count = asked.readings.len();
        if !(1..=MOST_READINGS).contains(&count) {
            form.wrong("readings", format!("has {count} readings"), "send 1 to 5000 at once");
        }
        let mut spoken = Vec::with_capacity(count);
        for (n, reading) in asked.readings.iter().take(MOST_READINGS).enumerate() {
            let field = format!("readings[{n}]");
            let at = form.instant(&format!("{field}.read_at"), reading.read_at);
            if reading.read_at.is_none() {
                form.wrong(&format!("{field}.read_at"), "is missing", "give the time of the reading");
            }
            spoken.push(Spoken {
                device: form.text(&format!("{field}.device"), &reading.device, 1..=100),
                at: at.unwrap_or(DateTime::<Utc>::UNIX_EPOCH),
                // What the device's measure can be is known where the device is.
                value: form.number(&format!("{field}.value"), reading.value, -1e6..=1e6, ""),
            });
        }
        form.done()?;
        let taken = climate::record(&self.records, caller, &write, &site, &spoken).await;
        taken.map(answer).map_err(status::from)
    }
}

#[tonic::async_trait]
impl ClimateService for Api {
    type SendReadingsStream = Answers<v1::SendReadingsResponse>;

    async fn add_device(
        &self,
        request: Request<v1::AddDeviceRequest>,
    ) -> Result<Response<v1::AddDeviceResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ClimateService/AddDevice", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let new = NewDevice {
            enclosure: form.text("enclosure", &asked.enclosure, 1..=100),
            name: form.text("name", &asked.name, 1..=100),
            measure: measure(&mut form, "measure", asked.measure),
            may_be_silent_minutes: minutes(
                &mut form,
                "may_be_silent_minutes",
                asked.may_be_silent_minutes,
                30,
            ),
            note: form.text("note", &asked.note, 0..=500),
        };
        form.done()?;
        let device =
            climate::add_device(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::AddDeviceResponse { device: Some(told_device(device)) }))
    }

    async fn retire_device(
        &self,
        request: Request<v1::RetireDeviceRequest>,
    ) -> Result<Response<v1::RetireDeviceResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ClimateService/RetireDevice", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let device = form.text("device", &asked.device, 1..=100);
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let device = climate::retire_device(&self.records, &caller, &write, &site, &device, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::RetireDeviceResponse { device: Some(told_device(device)) }))
    }

    async fn set_climate_rules(
        &self,
        request: Request<v1::SetClimateRulesRequest>,
    ) -> Result<Response<v1::SetClimateRulesResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ClimateService/SetClimateRules", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let because = form.text("because", &asked.because, 0..=500);
        let rules = rules(&mut form, asked.rules);
        form.done()?;
        let set = climate::set_rules(&self.records, &caller, &write, &site, &rules, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::SetClimateRulesResponse { rules: Some(told_rules(set)) }))
    }

    async fn record_readings(
        &self,
        request: Request<v1::RecordReadingsRequest>,
    ) -> Result<Response<v1::RecordReadingsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        Ok(Response::new(self.portion(&caller, &asked).await?))
    }

    async fn send_readings(
        &self,
        request: Request<Streaming<v1::SendReadingsRequest>>,
    ) -> Result<Response<Self::SendReadingsStream>, Status> {
        let (mut caller, portions) = caller::open(request)?;
        // Each portion has the time of a call; the stream as a whole lasts for as long as somebody speaks.
        caller.deadline = None;
        let api = self.clone();
        let answers = self.streams.answer(portions, move |portion: v1::SendReadingsRequest| {
            let (api, caller) = (api.clone(), caller.clone());
            async move {
                let answer = api.portion(&caller, &portion.portion.unwrap_or_default()).await?;
                Ok(v1::SendReadingsResponse { answer: Some(answer) })
            }
        })?;
        Ok(Response::new(answers))
    }

    async fn get_climate(
        &self,
        request: Request<v1::GetClimateRequest>,
    ) -> Result<Response<v1::GetClimateResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let enclosure = form.text("enclosure", &asked.enclosure, 0..=100);
        form.done()?;
        let (states, rules) =
            report::now(&self.records, &caller, &site, &enclosure).await.map_err(status::from)?;
        Ok(Response::new(v1::GetClimateResponse {
            devices: states.into_iter().map(told_state).collect(),
            rules: rules.into_iter().map(told_rules).collect(),
            caution: CAUTION.to_owned(),
        }))
    }

    async fn get_exposure(
        &self,
        request: Request<v1::GetExposureRequest>,
    ) -> Result<Response<v1::GetExposureResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let enclosure = form.text("enclosure", &asked.enclosure, 0..=100);
        let ends = [("from", asked.from), ("until", asked.until)].map(|(field, end)| {
            if end.is_none() {
                form.wrong(field, "is missing", "give the first and the last time");
            }
            form.instant(field, end).unwrap_or(DateTime::<Utc>::UNIX_EPOCH)
        });
        let known_at = form.instant("as_known_at", asked.as_known_at);
        let [from, until] = ends;
        if asked.from.is_some()
            && asked.until.is_some()
            && !(from < until && until - from <= TimeDelta::days(400))
        {
            form.wrong("until", "is not within 400 days after the beginning", "ask for a shorter period");
        }
        form.done()?;
        let question = Question { site, enclosure, from, until, known_at };
        let told = report::exposures(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::GetExposureResponse {
            devices: told.into_iter().map(told_exposure).collect(),
            caution: CAUTION.to_owned(),
        }))
    }
}
