//! `MarkService`.

use crate::api::decode::Form;
use crate::api::encode;
use crate::api::{Api, caller, status};
use crate::records::marks::{self, Gone};
use holt_proto::v1;
use holt_proto::v1::mark_service_server::MarkService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl MarkService for Api {
    async fn apply_mark(
        &self,
        request: Request<v1::ApplyMarkRequest>,
    ) -> Result<Response<v1::ApplyMarkResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("MarkService/ApplyMark", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let animal = form.animal("animal", &asked.animal);
        let new = form.mark("mark", asked.mark.as_ref());
        let at = form.instant("applied_at", asked.applied_at);
        form.done()?;
        let mark = marks::apply(&self.records, &caller, &write, &site, &animal, &new, at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ApplyMarkResponse { mark: Some(encode::mark(mark)) }))
    }

    async fn end_mark(
        &self,
        request: Request<v1::EndMarkRequest>,
    ) -> Result<Response<v1::EndMarkResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("MarkService/EndMark", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let gone = Gone {
            animal: form.animal("animal", &asked.animal),
            mark: form.uuid("mark_id", &asked.mark_id),
            at: form.instant("ended_at", asked.ended_at),
            why: form.text("why", &asked.why, 1..=200),
        };
        form.done()?;
        let mark = marks::end(&self.records, &caller, &write, &site, &gone).await.map_err(status::from)?;
        Ok(Response::new(v1::EndMarkResponse { mark: Some(encode::mark(mark)) }))
    }

    async fn replace_mark(
        &self,
        request: Request<v1::ReplaceMarkRequest>,
    ) -> Result<Response<v1::ReplaceMarkResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("MarkService/ReplaceMark", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let gone = Gone {
            animal: form.animal("animal", &asked.animal),
            mark: form.uuid("mark_id", &asked.mark_id),
            at: form.instant("replaced_at", asked.replaced_at),
            why: form.text("why", &asked.why, 1..=200),
        };
        let new = form.mark("mark", asked.mark.as_ref());
        form.done()?;
        let (ended, began) =
            marks::replace(&self.records, &caller, &write, &site, &gone, &new).await.map_err(status::from)?;
        let (ended, began) = (Some(encode::mark(ended)), Some(encode::mark(began)));
        Ok(Response::new(v1::ReplaceMarkResponse { ended, began }))
    }
}
