//! `TitleService`.

use crate::api::animals::encode;
use crate::api::decode::Form;
use crate::api::{Api, caller, status};
use crate::records::titles::{self, Passing};
use holt_proto::v1;
use holt_proto::v1::title_service_server::TitleService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl TitleService for Api {
    async fn pass_title(
        &self,
        request: Request<v1::PassTitleRequest>,
    ) -> Result<Response<v1::PassTitleResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("TitleService/PassTitle", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = Passing {
            animal: form.animal("animal", &asked.animal),
            to: form.text("to", &asked.to, 1..=200),
            on: form.optional_day("passes_on", asked.passes_on),
            because: form.text("because", &asked.because, 1..=500),
            version: asked.version,
        };
        form.done()?;
        let animal = titles::pass(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::PassTitleResponse { animal: Some(encode(animal)) }))
    }

    async fn list_owned_elsewhere(
        &self,
        request: Request<v1::ListOwnedElsewhereRequest>,
    ) -> Result<Response<v1::ListOwnedElsewhereResponse>, Status> {
        const METHOD: &str = "TitleService/ListOwnedElsewhere";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let as_of = form.optional_day("as_of", asked.as_of);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let found = titles::owned_elsewhere(&self.records, &caller, &site, as_of, &page, known_at)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::ListOwnedElsewhereResponse {
            animals: found.entries.into_iter().map(encode).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
