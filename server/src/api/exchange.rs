//! `ExchangeService`.

use crate::api::animals::{destination, known_by, manner, scientific_name, source};
use crate::api::decode::{Form, LEAST_SHARE};
use crate::api::{Api, caller, encode, status, weights};
use crate::model::animal::{ArrivalSource, Born, Destination};
use crate::model::concern::CAUTION;
use crate::model::exchange::{
    Answer, Flaw, Life, LivedIn, MOST_LIVES, MOST_READINGS, Parentage, Stay, TakenIn, Weighed, Worn,
};
use crate::model::exchange::{Coming, Leaving};
use crate::model::holding::When;
use crate::model::kinship::Known;
use crate::model::mark::MarkKind;
use crate::model::site::EnclosureKind;
use crate::model::weight::{Outcome, Taken};
use crate::records::exchange;
use holt_audit::terms::Sex;
use holt_proto::notation::accession::Accession;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::exchange_service_server::ExchangeService;
use prost::Message;
use tonic::{Request, Response, Status, Streaming};
use uuid::Uuid;

/// Reads one life; every field of it that is not of its form is told.
fn life(wire: &v1::Life) -> Result<Life, Vec<Flaw>> {
    let mut form = Form::new();
    let id = (!wire.id.is_empty()).then(|| form.uuid("id", &wire.id));
    let born = form.born("born_on", wire.born_on, wire.born_estimated);
    let stays: Vec<Stay> = wire.stays.iter().enumerate().map(|(n, one)| stay(&mut form, n, one)).collect();
    if stays.is_empty() {
        form.wrong("stays", "the animal was never at the site", "give its day of arrival");
    }
    // The day of birth of one that was born here is the day on which it came onto the books.
    let born = born.or_else(|| match stays.first()?.coming {
        Coming::Birth { day } => Some(Born { first: day, last: day, estimated: false }),
        Coming::Arrival { .. } => None,
    });
    let marks: Vec<Worn> = wire.marks.iter().enumerate().map(|(n, one)| worn(&mut form, n, one)).collect();
    if id.is_none_or(|id: Uuid| id.is_nil())
        && !marks.iter().any(|worn| worn.mark.kind == MarkKind::FormerNumber)
    {
        let say = "it has neither an identifier nor a former number";
        form.wrong("id", say, "give one, so that Holt recognises the animal if you send it again");
    }
    let sexes = wire.sexes.iter().enumerate().map(|(n, one)| {
        let on = form.optional_day(&format!("sexes[{n}].determined_on"), one.determined_on);
        (on, form.sex(&format!("sexes[{n}].sex"), one.sex))
    });
    let sexes = sexes.collect();
    let parents = wire.parents.iter().enumerate().map(|(n, one)| parentage(&mut form, n, one)).collect();
    let placements = wire.placements.iter().enumerate().map(|(n, one)| lived_in(&mut form, n, one)).collect();
    let mut readings = Vec::with_capacity(wire.readings.len());
    let mut flaws = Vec::new();
    for (n, one) in wire.readings.iter().enumerate() {
        match weights::reading_of("its own", one.reading.as_ref().unwrap_or(&v1::Reading::default())) {
            Ok(reading) => readings.push(Weighed { reading, doubtful: one.doubtful }),
            Err(refusal) => flaws.push(Flaw {
                reason: refusal.reason,
                field: format!("readings[{n}].{}", refusal.field),
                say: refusal.say,
                mend: refusal.mend,
            }),
        }
    }
    let life = Life {
        id,
        accession: accession(&mut form, &wire.accession),
        taxon: scientific_name(&mut form, "taxon", &wire.taxon),
        common_name: form.text("common_name", &wire.common_name, 0..=100),
        sexes,
        born,
        parents,
        marks,
        stays,
        placements,
        owner: form.text("owner", &wire.owner, 0..=200),
        readings,
    };
    flaws.splice(0..0, form.flaws());
    if flaws.is_empty() { Ok(life) } else { Err(flaws) }
}

fn accession(form: &mut Form, text: &str) -> String {
    if text.is_empty() {
        return String::new();
    }
    match text.parse::<Accession>() {
        Ok(number) => number.to_string(),
        Err(error) => {
            form.wrong("accession", error.to_string(), "write site, year and serial, such as QUI-26-0042");
            String::new()
        }
    }
}

fn parentage(form: &mut Form, n: usize, wire: &v1::LifeParent) -> Parentage {
    let field = |name: &str| format!("parents[{n}].{name}");
    let share = if wire.share == 0.0 { 1.0 } else { wire.share };
    let share = form.number(&field("share"), share, LEAST_SHARE..=1.0, "");
    let sex = form.sex(&field("sex"), wire.sex);
    if sex == Sex::Unknown {
        form.wrong(&field("sex"), "is neither", "say female for the dam, male for a sire");
    }
    Parentage {
        animal: form.animal(&field("animal"), &wire.animal),
        sex,
        share,
        because: form.text(&field("because"), &wire.because, 0..=500),
        known: Known {
            by: known_by(form, &field("known_by"), wire.known_by),
            note: form.text(&field("note"), &wire.note, 0..=500),
        },
    }
}

fn worn(form: &mut Form, n: usize, wire: &v1::LifeMark) -> Worn {
    let field = |name: &str| format!("marks[{n}].{name}");
    Worn {
        mark: form.mark(&format!("marks[{n}]"), wire.mark.as_ref()),
        from: form.instant(&field("from"), wire.from),
        until: form.instant(&field("until"), wire.until),
        ended_why: form.text(&field("ended_why"), &wire.ended_why, 0..=200),
    }
}

fn stay(form: &mut Form, n: usize, wire: &v1::Stay) -> Stay {
    let field = |name: &str| format!("stays[{n}].{name}");
    let began = form.when(&field("began_on"), wire.began_on, &field("began_at"), wire.began_at);
    let from = form.text(&field("source_name"), &wire.source_name, 0..=200);
    let coming = match wire.began() {
        v1::StayBeginning::Birth => Coming::Birth { day: began.day },
        v1::StayBeginning::Arrival => {
            Coming::Arrival { when: began, source: source(form, &field("source"), wire.source), from }
        }
        v1::StayBeginning::Unspecified => {
            form.wrong(&field("began"), "is missing or unknown", "choose one of birth, arrival");
            Coming::Arrival { when: began, source: ArrivalSource::OnSiteBefore, from }
        }
    };
    let to = form.text(&field("destination_name"), &wire.destination_name, 0..=200);
    let note = form.text(&field("note"), &wire.note, 0..=2000);
    let how = match wire.ended() {
        v1::StayEnd::Unspecified if wire.ended_on.is_none() && wire.ended_at.is_none() => None,
        v1::StayEnd::Death => {
            Some(Leaving::Death { manner: manner(form, &field("manner"), wire.manner), note })
        }
        v1::StayEnd::Departure => Some(Leaving::Departure {
            destination: destination(form, &field("destination"), wire.destination),
            name: to,
        }),
        v1::StayEnd::Unspecified => {
            form.wrong(&field("ended"), "is missing or unknown", "choose one of death, departure");
            Some(Leaving::Departure { destination: Destination::Collection, name: to })
        }
    };
    let left =
        how.map(|how| (form.when(&field("ended_on"), wire.ended_on, &field("ended_at"), wire.ended_at), how));
    Stay { coming, left }
}

fn lived_in(form: &mut Form, n: usize, wire: &v1::LifePlacement) -> LivedIn {
    let field = |name: &str| format!("placements[{n}].{name}");
    LivedIn {
        enclosure: form.text(&field("enclosure"), &wire.enclosure, 1..=100),
        kind: match wire.kind() {
            v1::EnclosureKind::Unspecified => None,
            v1::EnclosureKind::Indoor => Some(EnclosureKind::Indoor),
            v1::EnclosureKind::Outdoor => Some(EnclosureKind::Outdoor),
            v1::EnclosureKind::Mixed => Some(EnclosureKind::Mixed),
        },
        from: form.instant(&field("from"), wire.from),
        until: form.instant(&field("until"), wire.until),
    }
}

fn encode_life(life: Life) -> v1::Life {
    let sexes = life.sexes.into_iter();
    let parents = life.parents.into_iter().map(|parent| v1::LifeParent {
        animal: parent.animal,
        sex: encode::sex(parent.sex).into(),
        share: parent.share,
        because: parent.because,
        known_by: encode::known_by(parent.known.by).into(),
        note: parent.known.note,
    });
    let marks = life.marks.into_iter().map(|worn| v1::LifeMark {
        mark: Some(v1::NewMark {
            kind: encode::mark_kind(worn.mark.kind).into(),
            code: worn.mark.code,
            place_on_body: worn.mark.place_on_body,
        }),
        from: worn.from.map(timestamp),
        until: worn.until.map(timestamp),
        ended_why: worn.ended_why,
    });
    let placements = life.placements.into_iter().map(|lived| v1::LifePlacement {
        enclosure: lived.enclosure,
        kind: lived.kind.map_or(v1::EnclosureKind::Unspecified, encode::enclosure_kind).into(),
        from: lived.from.map(timestamp),
        until: lived.until.map(timestamp),
    });
    v1::Life {
        id: life.id.map(encode::id).unwrap_or_default(),
        accession: life.accession,
        taxon: life.taxon,
        common_name: life.common_name,
        sexes: sexes
            .map(|(on, sex)| v1::SexSince { determined_on: on.map(day), sex: encode::sex(sex).into() })
            .collect(),
        born_on: life.born.map(|born| encode::day_between(born.first, born.last)),
        born_estimated: life.born.is_some_and(|born| born.estimated),
        parents: parents.collect(),
        marks: marks.collect(),
        stays: life.stays.into_iter().map(encode_stay).collect(),
        placements: placements.collect(),
        owner: life.owner,
        readings: life.readings.into_iter().map(encode_reading).collect(),
    }
}

fn encode_stay(stay: Stay) -> v1::Stay {
    let mut wire = v1::Stay::default();
    match stay.coming {
        Coming::Birth { day: on } => {
            wire.began_on = Some(day(on));
            wire.began = v1::StayBeginning::Birth.into();
        }
        Coming::Arrival { when: When { day: on, at }, source, from } => {
            (wire.began_on, wire.began_at) = (Some(day(on)), at.map(timestamp));
            wire.began = v1::StayBeginning::Arrival.into();
            wire.source = encode::source(source).into();
            wire.source_name = from;
        }
    }
    let Some((When { day: on, at }, how)) = stay.left else { return wire };
    (wire.ended_on, wire.ended_at) = (Some(day(on)), at.map(timestamp));
    match how {
        Leaving::Death { manner, note } => {
            wire.ended = v1::StayEnd::Death.into();
            wire.manner = encode::manner(manner).into();
            wire.note = note;
        }
        Leaving::Departure { destination, name } => {
            wire.ended = v1::StayEnd::Departure.into();
            wire.destination = encode::destination(destination).into();
            wire.destination_name = name;
        }
    }
    wire
}

fn encode_reading(weighed: Weighed) -> v1::LifeReading {
    let reading = weighed.reading;
    let wire = v1::Reading {
        animal: String::new(),
        when: match reading.taken {
            Taken::Now => None,
            Taken::At(at) => Some(v1::reading::When::WeighedAt(timestamp(at))),
            Taken::On(on) => Some(v1::reading::When::WeighedOn(day(on))),
        },
        result: Some(match reading.outcome {
            Outcome::Mass(mass) => v1::reading::Result::Mass(encode::mass(mass)),
            Outcome::Tried => v1::reading::Result::Tried(v1::Tried {}),
        }),
        scale: reading.scale,
        method: encode::weighing_method(reading.method).into(),
        note: reading.note,
    };
    v1::LifeReading { reading: Some(wire), doubtful: weighed.doubtful }
}

fn answer(index: usize, answer: Answer) -> v1::LifeAnswer {
    let (outcome, animal, accession, flaws) = match answer {
        Answer::TakenIn { animal, accession } => {
            (v1::LifeOutcome::TakenIn, Some(animal), accession, Vec::new())
        }
        Answer::OnRecord { animal, accession } => {
            (v1::LifeOutcome::OnRecord, Some(animal), accession, Vec::new())
        }
        Answer::Sound => (v1::LifeOutcome::Sound, None, String::new(), Vec::new()),
        Answer::Refused(flaws) => (v1::LifeOutcome::Refused, None, String::new(), flaws),
    };
    let flaws = flaws.into_iter().map(|flaw| v1::Flaw {
        reason: encode::reason(flaw.reason).into(),
        field: flaw.field,
        say: flaw.say,
        mend: flaw.mend,
    });
    v1::LifeAnswer {
        index: i32::try_from(index).unwrap_or(i32::MAX),
        outcome: outcome.into(),
        animal_id: animal.map(encode::id).unwrap_or_default(),
        accession,
        flaws: flaws.collect(),
    }
}

fn taken_in(taken: TakenIn) -> v1::TakeInLivesResponse {
    v1::TakeInLivesResponse {
        answers: taken.answers.into_iter().enumerate().map(|(n, one)| answer(n, one)).collect(),
        written: taken.written,
        taxa_added: taken.taxa_added,
        enclosures_added: taken.enclosures_added,
        caution: if taken.concerns.is_empty() { String::new() } else { CAUTION.to_owned() },
        concerns: taken.concerns.into_iter().map(encode::concern).collect(),
    }
}

/// All messages of a request as one; refused as soon as it is larger than what is taken in at once, which what came
/// compressed may be though its bytes on the line are few.
async fn gathered(
    mut messages: Streaming<v1::TakeInLivesRequest>,
    most: usize,
) -> Result<v1::TakeInLivesRequest, Status> {
    let mut whole = messages.message().await?.unwrap_or_default();
    let mut bytes = whole.encoded_len();
    let mut form = Form::new();
    let mut first = true;
    loop {
        let readings: usize = whole.lives.iter().map(|life| life.readings.len()).sum();
        if bytes > most {
            return Err(status::refused(status::too_large()));
        }
        if whole.lives.len() > MOST_LIVES {
            let say = format!("has {} animals", whole.lives.len());
            form.wrong("lives", say, format!("send up to {MOST_LIVES} at once"));
        } else if readings > MOST_READINGS {
            let say = format!("has {readings} readings");
            form.wrong("lives", say, format!("send up to {MOST_READINGS} at once"));
        } else if first && whole.lives.is_empty() {
            form.wrong("lives", "names no animal", "give at least one");
        } else if let Some(more) = messages.message().await? {
            bytes = bytes.saturating_add(more.encoded_len());
            whole.lives.extend(more.lives);
            first = false;
            continue;
        }
        form.done()?;
        return Ok(whole);
    }
}

#[tonic::async_trait]
impl ExchangeService for Api {
    async fn take_in_lives(
        &self,
        request: Request<Streaming<v1::TakeInLivesRequest>>,
    ) -> Result<Response<v1::TakeInLivesResponse>, Status> {
        let (caller, messages) = caller::open(request)?;
        let asked = gathered(messages, self.most_taken_in).await?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("ExchangeService/TakeInLives", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        form.done()?;
        let lives: Vec<_> = asked.lives.iter().map(life).collect();
        let taken =
            exchange::take_in(&self.records, &caller, &write, &site, &lives).await.map_err(status::from)?;
        Ok(Response::new(taken_in(taken)))
    }

    async fn list_lives(
        &self,
        request: Request<v1::ListLivesRequest>,
    ) -> Result<Response<v1::ListLivesResponse>, Status> {
        const METHOD: &str = "ExchangeService/ListLives";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        // A page token is bound to the instant that was answered with it, whether or not it was asked for then.
        let bound =
            |known_at| v1::ListLivesRequest { as_known_at: Some(timestamp(known_at)), ..asked.clone() };
        let known_at = known_at.unwrap_or_else(|| self.records.store.now());
        let page = self.pages.read(page, METHOD, &bound(known_at)).map_err(status::refused)?;
        let found =
            exchange::lives(&self.records, &caller, &site, known_at, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListLivesResponse {
            lives: found.entries.into_iter().map(encode_life).collect(),
            page: Some(self.pages.write(found.next, METHOD, &bound(known_at))),
            known_at: Some(timestamp(known_at)),
        }))
    }
}
