//! `MergeService`.

use crate::api::decode::Form;
use crate::api::encode::id;
use crate::api::{Api, animals, caller, status};
use crate::records::merges::{self, Asked, Wrong};
use holt_proto::v1;
use holt_proto::v1::merge_service_server::MergeService;
use tonic::{Request, Response, Status};

#[tonic::async_trait]
impl MergeService for Api {
    async fn merge_animals(
        &self,
        request: Request<v1::MergeAnimalsRequest>,
    ) -> Result<Response<v1::MergeAnimalsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("MergeService/MergeAnimals", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let wanted = Asked {
            keep: form.animal("keep", &asked.keep),
            give_up: form.animal("give_up", &asked.give_up),
            because: form.text("because", &asked.because, 1..=500),
            keep_version: asked.keep_version,
            give_up_version: asked.give_up_version,
        };
        form.done()?;
        let merged =
            merges::merge(&self.records, &caller, &write, &site, &wanted).await.map_err(status::from)?;
        let count = |n: usize| i32::try_from(n).unwrap_or(i32::MAX);
        Ok(Response::new(v1::MergeAnimalsResponse {
            animal: Some(animals::encode(merged.animal)),
            merge_id: id(merged.merge),
            moved: count(merged.moved),
            left: count(merged.left),
        }))
    }

    async fn unmerge_animals(
        &self,
        request: Request<v1::UnmergeAnimalsRequest>,
    ) -> Result<Response<v1::UnmergeAnimalsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("MergeService/UnmergeAnimals", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let wrong = Wrong {
            animal: form.animal("animal", &asked.animal),
            merge: form.uuid("merge_id", &asked.merge_id),
            because: form.text("because", &asked.because, 1..=500),
            version: asked.version,
        };
        form.done()?;
        let (kept, given_up) =
            merges::unmerge(&self.records, &caller, &write, &site, &wrong).await.map_err(status::from)?;
        Ok(Response::new(v1::UnmergeAnimalsResponse {
            kept: Some(animals::encode(kept)),
            given_up: Some(animals::encode(given_up)),
        }))
    }
}
