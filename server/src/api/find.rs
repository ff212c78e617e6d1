//! `FindService`.

use crate::api::decode::Form;
use crate::api::{Api, animals, caller, encode, status};
use crate::model::animal::Animal;
use crate::model::find::{Clue, FoundBy, Nearness};
use crate::records::find;
use holt_proto::v1;
use holt_proto::v1::find_service_server::FindService;
use tonic::{Request, Response, Status};

/// How many animals are answered where it is not said.
const USUAL: usize = 20;

fn found((animal, clue): (Animal, Clue)) -> v1::Match {
    let (found_by, mark_kind) = match clue.by {
        FoundBy::Id => (v1::FoundBy::Id, v1::MarkKind::Unspecified),
        FoundBy::Accession => (v1::FoundBy::Accession, v1::MarkKind::Unspecified),
        FoundBy::Mark(kind) => (v1::FoundBy::Mark, encode::mark_kind(kind)),
    };
    let nearness = match clue.nearness {
        Nearness::Whole => v1::Nearness::Whole,
        Nearness::End => v1::Nearness::End,
        Nearness::Within => v1::Nearness::Within,
    };
    v1::Match {
        animal: Some(animals::encode(animal)),
        found_by: found_by.into(),
        mark_kind: mark_kind.into(),
        text: clue.text,
        nearness: nearness.into(),
        in_force: clue.in_force,
    }
}

#[tonic::async_trait]
impl FindService for Api {
    async fn find_animals(
        &self,
        request: Request<v1::FindAnimalsRequest>,
    ) -> Result<Response<v1::FindAnimalsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let text = form.text("text", &asked.text, 2..=100);
        let most = match usize::try_from(asked.most) {
            Ok(0) => USUAL,
            Ok(most @ 1..=100) => most,
            _ => {
                form.wrong("most", format!("is {}", asked.most), "give 1 to 100, or 0 for the default of 20");
                USUAL
            }
        };
        form.done()?;
        let all = find::animals(&self.records, &caller, &text, most).await.map_err(status::from)?;
        let matches = all.matches.into_iter().map(found).collect();
        Ok(Response::new(v1::FindAnimalsResponse { matches, more: all.more }))
    }
}
