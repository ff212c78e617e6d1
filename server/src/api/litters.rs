//! `LitterService`.

use crate::api::animals::{encode as animal, manner, reference, scientific_name};
use crate::api::decode::{Form, LEAST_SHARE};
use crate::api::encode::{counts, id, label, taxon};
use crate::api::{Api, caller, encode, status};
use crate::model::death::Manner;
use crate::model::litter::{
    Change, Changed, Correction, Event, Litter, NewEvent, NewLitter, NewParents, NewYoung, Wrong,
};
use crate::records::litters;
use holt_audit::terms::Counts;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::correct_litter_request::Correction as WireCorrection;
use holt_proto::v1::litter_service_server::LitterService;
use holt_proto::v1::record_litter_event_request::Event as WireEvent;
use tonic::{Request, Response, Status};

/// Most young that are written down in one go: schools of fish have some.
const MOST_YOUNG: i64 = 100_000;

/// Shares of sires that are counted together may be off by rounding.
const ROUNDING: f64 = 1e-6;

fn changed(changed: Changed) -> v1::LitterChange {
    use v1::LitterChangeKind as Kind;
    let (kind, young, animal, manner) = match changed.change {
        Change::Born(young) => (Kind::Born, young, None, None),
        Change::Died(young, manner) => (Kind::Died, young, None, Some(manner)),
        Change::Sexed { males, females } => (Kind::Sexed, Counts { males, females, unknown: 0 }, None, None),
        Change::ToldApart { counted_as, animal } => {
            (Kind::ToldApart, Counts::of(counted_as, 1), Some(animal), None)
        }
    };
    v1::LitterChange {
        id: id(changed.id),
        kind: kind.into(),
        happened_on: Some(day(changed.on)),
        young: Some(counts(young)),
        animal: animal.map(label),
        manner: manner.map_or(v1::DeathManner::Unspecified, encode::manner).into(),
        note: changed.note,
        recorded_at: Some(timestamp(changed.recorded_at)),
    }
}

fn litter(litter: Litter) -> v1::Litter {
    let total = |of: fn(&Change) -> Option<Counts>| -> Option<v1::Counts> {
        Some(counts(litter.changes.iter().filter_map(|changed| of(&changed.change)).sum()))
    };
    let born = total(|change| match change {
        Change::Born(young) => Some(*young),
        _ => None,
    });
    let died = total(|change| match change {
        Change::Died(young, _) => Some(*young),
        _ => None,
    });
    let told_apart = total(|change| match change {
        Change::ToldApart { counted_as, .. } => Some(Counts::of(*counted_as, 1)),
        _ => None,
    });
    let sires = litter
        .sires
        .iter()
        .map(|sire| v1::PossibleSire { animal: Some(label(sire.animal.clone())), share: sire.share });
    v1::Litter {
        id: id(litter.id),
        sires: sires.collect(),
        born,
        died,
        told_apart,
        remaining: Some(counts(litter.remaining())),
        site: litter.site,
        taxon: Some(taxon(litter.taxon)),
        born_on: Some(day(litter.born_on)),
        dam: litter.dam.map(label),
        changes: litter.changes.into_iter().map(changed).collect(),
        parents_because: litter.parents_because,
        note: litter.note,
        version: litter.version,
    }
}

/// Young by sex, at least one.
fn young(form: &mut Form, field: &str, wire: Option<v1::Counts>) -> Counts {
    let wire = wire.unwrap_or_default();
    let young = Counts { males: wire.males, females: wire.females, unknown: wire.unknown };
    let each = [young.males, young.females, young.unknown];
    if each.iter().any(|n| !(0..=MOST_YOUNG).contains(n)) || !(1..=MOST_YOUNG).contains(&young.total()) {
        let mend = format!("give 1 to {MOST_YOUNG} as males.females.unknown, such as 0.0.4");
        form.wrong(field, format!("`{young}` is not a number of young animals"), mend);
    }
    young
}

/// Possible sires with their shares: as given, or each as likely where none is.
pub(super) fn sires(form: &mut Form, within: &str, wire: &[v1::NewSire]) -> Vec<(String, f64)> {
    const MEND: &str = "give each sire a share above 0 and all together 1 at most, or none of them a share";
    if wire.len() > 20 {
        form.wrong(&format!("{within}sires"), format!("names {} animals", wire.len()), "name 20 at most");
    }
    let equal = wire.iter().all(|sire| sire.share == 0.0);
    let number = u32::try_from(wire.len()).unwrap_or(u32::MAX);
    let mut sires: Vec<(String, f64)> = Vec::with_capacity(wire.len());
    for (n, sire) in wire.iter().enumerate() {
        let field = format!("{within}sires[{n}]");
        let animal = form.animal(&format!("{field}.animal"), &sire.animal);
        let share = if equal { 1.0 / f64::from(number) } else { sire.share };
        if !(LEAST_SHARE..=1.0).contains(&share) {
            form.wrong(&format!("{field}.share"), format!("is {share}"), MEND);
        }
        if sires.iter().any(|(other, _)| *other == animal) {
            form.wrong(&field, format!("`{animal}` is named twice"), "name each once");
        }
        sires.push((animal, share));
    }
    let together: f64 = sires.iter().map(|(_, share)| share).sum();
    if together > 1.0 + ROUNDING {
        form.wrong(&format!("{within}sires"), format!("the shares make {together}"), MEND);
    }
    sires
}

/// Parents of a litter; `within` is the path of the field that holds them.
fn parents(form: &mut Form, within: &str, wire: &v1::LitterParents) -> NewParents {
    NewParents {
        dam: reference(form, &format!("{within}dam"), &wire.dam),
        sires: sires(form, within, &wire.sires),
        because: form.text(&format!("{within}parents_because"), &wire.parents_because, 0..=500),
    }
}

fn wrong(form: &mut Form, wire: Option<WireCorrection>) -> Wrong {
    match wire {
        Some(WireCorrection::StruckChangeId(id)) => Wrong::Change(form.uuid("struck_change_id", &id)),
        Some(WireCorrection::Parents(wire)) => Wrong::Parents(parents(form, "parents.", &wire)),
        None => {
            form.wrong("correction", "is missing", "give what is wrong: a change, or the parents");
            Wrong::Change(uuid::Uuid::nil())
        }
    }
}

fn event(form: &mut Form, wire: Option<WireEvent>) -> Event {
    match wire {
        Some(WireEvent::Died(died)) => {
            let manner = manner(form, "died.manner", died.manner);
            Event::Died(young(form, "died.young", died.young), manner)
        }
        Some(WireEvent::Sexed(sexed)) => {
            let found = Some(v1::Counts { males: sexed.males, females: sexed.females, unknown: 0 });
            let found = young(form, "sexed", found);
            Event::Sexed { males: found.males, females: found.females }
        }
        Some(WireEvent::Found(found)) => Event::Found(young(form, "found.young", found.young)),
        None => {
            form.wrong("event", "is missing", "say what happened: died, sexed or found");
            Event::Died(Counts::ZERO, Manner::Unknown)
        }
    }
}

#[tonic::async_trait]
impl LitterService for Api {
    async fn record_litter(
        &self,
        request: Request<v1::RecordLitterRequest>,
    ) -> Result<Response<v1::RecordLitterResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LitterService/RecordLitter", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let named = !asked.taxon.is_empty();
        let new = NewLitter {
            taxon: if named { scientific_name(&mut form, "taxon", &asked.taxon) } else { String::new() },
            born_on: form.day("born_on", asked.born_on),
            young: young(&mut form, "young", asked.young),
            parents: parents(
                &mut form,
                "",
                &v1::LitterParents {
                    dam: asked.dam,
                    sires: asked.sires,
                    parents_because: asked.parents_because,
                },
            ),
            note: form.text("note", &asked.note, 0..=2000),
        };
        form.done()?;
        let made =
            litters::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordLitterResponse { litter: Some(litter(made)) }))
    }

    async fn record_litter_event(
        &self,
        request: Request<v1::RecordLitterEventRequest>,
    ) -> Result<Response<v1::RecordLitterEventResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LitterService/RecordLitterEvent", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = NewEvent {
            litter: form.uuid("litter_id", &asked.litter_id),
            on: form.optional_day("happened_on", asked.happened_on),
            event: event(&mut form, asked.event),
            note: form.text("note", &asked.note, 0..=2000),
            version: asked.version,
        };
        form.done()?;
        let told = litters::happened(&self.records, &caller, &write, &site, &new).await;
        Ok(Response::new(v1::RecordLitterEventResponse { litter: Some(litter(told.map_err(status::from)?)) }))
    }

    async fn correct_litter(
        &self,
        request: Request<v1::CorrectLitterRequest>,
    ) -> Result<Response<v1::CorrectLitterResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LitterService/CorrectLitter", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let correction = Correction {
            litter: form.uuid("litter_id", &asked.litter_id),
            wrong: wrong(&mut form, asked.correction),
            because: form.text("because", &asked.because, 1..=500),
            version: asked.version,
        };
        form.done()?;
        let told = litters::correct(&self.records, &caller, &write, &site, &correction).await;
        Ok(Response::new(v1::CorrectLitterResponse { litter: Some(litter(told.map_err(status::from)?)) }))
    }

    async fn tell_apart(
        &self,
        request: Request<v1::TellApartRequest>,
    ) -> Result<Response<v1::TellApartResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LitterService/TellApart", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = NewYoung {
            litter: form.uuid("litter_id", &asked.litter_id),
            on: form.optional_day("told_apart_on", asked.told_apart_on),
            sex: form.sex("sex", asked.sex),
            marks: form.marks("marks", &asked.marks),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
            owner: form.text("owner", &asked.owner, 0..=200),
            version: asked.version,
        };
        form.done()?;
        let told =
            litters::tell_apart(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::TellApartResponse {
            animal: Some(animal(told.animal)),
            litter: Some(litter(told.litter)),
        }))
    }

    async fn get_litter(
        &self,
        request: Request<v1::GetLitterRequest>,
    ) -> Result<Response<v1::GetLitterResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let wanted = form.uuid("litter_id", &asked.litter_id);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let (found, readings) = litters::get(&self.records, &caller, &site, wanted, as_of, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::GetLitterResponse {
            litter: Some(litter(found)),
            crate_readings: readings.into_iter().map(encode::crate_reading).collect(),
        }))
    }

    async fn list_litters(
        &self,
        request: Request<v1::ListLittersRequest>,
    ) -> Result<Response<v1::ListLittersResponse>, Status> {
        const METHOD: &str = "LitterService/ListLitters";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = litters::list(&self.records, &caller, &site, as_of, asked.also_empty, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListLittersResponse {
            litters: found.entries.into_iter().map(litter).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
