//! `ConcernService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::model::concern::{CAUTION, SettledAs};
use crate::model::page::{Page, Slice};
use crate::records::concerns::{self, Answer};
use crate::report::replay;
use holt_audit::episode::Change;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::concern_service_server::ConcernService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl ConcernService for Api {
    async fn list_concerns(
        &self,
        request: Request<v1::ListConcernsRequest>,
    ) -> Result<Response<v1::ListConcernsResponse>, Status> {
        const METHOD: &str = "ConcernService/ListConcerns";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.optional_site("site", &asked.site);
        let animal = form.text("animal", &asked.animal, 0..=100);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let all = concerns::list(&self.records, &caller, &site, &animal, asked.include_settled, known_at)
            .await
            .map_err(status::from)?;
        let found = page_of(all, &page);
        Ok(Response::new(v1::ListConcernsResponse {
            concerns: found.entries.into_iter().map(encode::concern).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
            caution: CAUTION.to_owned(),
        }))
    }

    async fn take_up_concern(
        &self,
        request: Request<v1::TakeUpConcernRequest>,
    ) -> Result<Response<v1::TakeUpConcernResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ConcernService/TakeUpConcern", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let answer = Answer {
            concern: form.uuid("concern_id", &asked.concern_id),
            note: form.text("note", &asked.note, 0..=1000),
            version: asked.version,
            settle: None,
        };
        form.done()?;
        let concern =
            concerns::answer(&self.records, &caller, &write, &site, &answer).await.map_err(status::from)?;
        Ok(Response::new(v1::TakeUpConcernResponse { concern: Some(encode::concern(concern)) }))
    }

    async fn settle_concern(
        &self,
        request: Request<v1::SettleConcernRequest>,
    ) -> Result<Response<v1::SettleConcernResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("ConcernService/SettleConcern", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let settled_as = match v1::SettledAs::try_from(asked.settled_as) {
            Ok(v1::SettledAs::Unspecified) => None,
            Ok(v1::SettledAs::FalseAlarm) => Some(SettledAs::FalseAlarm),
            Ok(v1::SettledAs::Treated) => Some(SettledAs::Treated),
            Ok(v1::SettledAs::NewNormal) => Some(SettledAs::NewNormal),
            Err(_) => {
                form.wrong("settled_as", "is unknown", "choose one of false alarm, treated, new normal");
                None
            }
        };
        let answer = Answer {
            concern: form.uuid("concern_id", &asked.concern_id),
            note: form.text("because", &asked.because, 1..=1000),
            version: asked.version,
            settle: Some(settled_as),
        };
        form.done()?;
        let concern =
            concerns::answer(&self.records, &caller, &write, &site, &answer).await.map_err(status::from)?;
        Ok(Response::new(v1::SettleConcernResponse { concern: Some(encode::concern(concern)) }))
    }

    async fn replay_concerns(
        &self,
        request: Request<v1::ReplayConcernsRequest>,
    ) -> Result<Response<v1::ReplayConcernsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let animal = form.text("animal", &asked.animal, 0..=100);
        let days = form.days("days", asked.days);
        if days.is_none() {
            form.wrong("days", "is not given", "give the first and the last day of the replay");
        }
        form.done()?;
        let (first, last) = days.unwrap_or_default();
        let thresholds = asked.thresholds.into_iter().map(|one| (one.name, one.value)).collect();
        let question = replay::Question { site, animal, first, last, thresholds };
        let found = replay::of(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(v1::ReplayConcernsResponse {
            today: Some(replayed(found.today)),
            otherwise: found.otherwise.map(replayed),
            animals: i32::try_from(found.animals).unwrap_or(i32::MAX),
            animal_years: found.animal_years,
            caution: replay::CAUTION.to_owned(),
        }))
    }
}

fn replayed(told: Vec<replay::Told>) -> v1::Replayed {
    let raised = told.iter().filter(|one| one.change == Change::Raised).count();
    let told = told.into_iter().map(|one| {
        let about = encode::about(one.about);
        v1::ReplayedConcern {
            told_on: Some(day(one.on)),
            animal_id: about.animal_id,
            accession: about.accession,
            house_name: about.house_name,
            enclosure: about.enclosure,
            taxon: about.taxon,
            kind: encode::concern_kind(one.kind).into(),
            change: change(one.change).into(),
            level: one
                .found
                .map_or(v1::ConcernLevel::Unspecified, |(level, _)| encode::concern_level(level))
                .into(),
            began_on: one.found.map(|(_, since)| day(since)),
        }
    });
    v1::Replayed { told: told.collect(), raised: i32::try_from(raised).unwrap_or(i32::MAX) }
}

const fn change(change: Change) -> v1::ConcernChange {
    match change {
        Change::None => v1::ConcernChange::Unspecified,
        Change::Raised => v1::ConcernChange::Raised,
        Change::Worse => v1::ConcernChange::Worse,
        Change::Better => v1::ConcernChange::Better,
        Change::Quiet => v1::ConcernChange::Quiet,
        Change::Returned => v1::ConcernChange::Returned,
        Change::Over => v1::ConcernChange::Over,
    }
}

/// Concerns are sorted by what people made of them, so a page goes on after the concern that it ended
/// with, wherever that stands now.
fn page_of(all: Vec<crate::model::concern::Concern>, page: &Page) -> Slice<crate::model::concern::Concern> {
    let start = page
        .after
        .as_ref()
        .and_then(|last| all.iter().position(|concern| concern.id.to_string() == *last))
        .map_or(0, |place| place + 1);
    Slice::cut(all.into_iter().skip(start).collect(), page, |concern| concern.id.to_string())
}
