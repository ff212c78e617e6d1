//! `ConcernService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::model::concern::CAUTION;
use crate::model::page::{Page, Slice};
use crate::records::concerns::{self, Answer};
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
        form.done()?;
        let all = concerns::list(&self.records, &caller, &site, &animal, asked.include_settled)
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
            settle: false,
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
        let answer = Answer {
            concern: form.uuid("concern_id", &asked.concern_id),
            note: form.text("because", &asked.because, 1..=1000),
            version: asked.version,
            settle: true,
        };
        form.done()?;
        let concern =
            concerns::answer(&self.records, &caller, &write, &site, &answer).await.map_err(status::from)?;
        Ok(Response::new(v1::SettleConcernResponse { concern: Some(encode::concern(concern)) }))
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
