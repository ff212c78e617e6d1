//! `HistoryService`.

use crate::api::decode::Form;
use crate::api::encode::{self, id};
use crate::api::{Api, caller, status};
use crate::records::history::{self, Asked};
use holt_proto::v1;
use holt_proto::v1::history_service_server::HistoryService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl HistoryService for Api {
    async fn get_history(
        &self,
        request: Request<v1::GetHistoryRequest>,
    ) -> Result<Response<v1::GetHistoryResponse>, Status> {
        const METHOD: &str = "HistoryService/GetHistory";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.optional_site("site", &asked.site),
            animal: form.animal("animal", &asked.animal),
            known_at: form.instant("as_known_at", asked.as_known_at),
            since: form.instant("changed_since", asked.changed_since),
        };
        form.done()?;
        let found = history::get(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::GetHistoryResponse {
            animal_id: id(found.animal.id),
            accession: found.animal.accession,
            house_name: found.animal.house_name,
            version: found.version,
            facts: found.facts.entries.into_iter().map(encode::fact).collect(),
            page: Some(self.pages.write(found.facts.next, METHOD, &asked)),
        }))
    }
}
