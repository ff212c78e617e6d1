//! `MergeService`.

use crate::api::decode::Form;
use crate::api::encode::{fact_kind, id};
use crate::api::{Api, animals, caller, status};
use crate::model::fact::FactKind;
use crate::records::merges::{self, Asked, Named, Stands, Wrong};
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
            stands: stands(&mut form, &asked.resolve),
        };
        form.done()?;
        let merged =
            merges::merge(&self.records, &caller, &write, &site, &wanted).await.map_err(status::from)?;
        Ok(Response::new(v1::MergeAnimalsResponse {
            animal: Some(animals::encode(merged.animal)),
            merge_id: id(merged.merge),
            joined: i32::try_from(merged.joined).unwrap_or(i32::MAX),
            set_aside: merged.set_aside.into_iter().map(named).collect(),
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
            stands: stands(&mut form, &asked.resolve),
        };
        form.done()?;
        let apart =
            merges::unmerge(&self.records, &caller, &write, &site, &wrong).await.map_err(status::from)?;
        Ok(Response::new(v1::UnmergeAnimalsResponse {
            kept: apart.kept.map(animals::encode),
            given_up: apart.given_up.map(animals::encode),
        }))
    }
}

/// Most facts that are said to stand.
const MOST: usize = 100;

/// Kinds of which two facts can contradict one another.
const KINDS: [FactKind; 12] = [
    FactKind::Birth,
    FactKind::Sex,
    FactKind::Parent,
    FactKind::Holding,
    FactKind::Title,
    FactKind::Loan,
    FactKind::Placement,
    FactKind::Membership,
    FactKind::LifeState,
    FactKind::Weight,
    FactKind::ToldApart,
    FactKind::Death,
];

pub(super) fn stands(form: &mut Form, asked: &[v1::Resolution]) -> Vec<Stands> {
    if asked.len() > MOST {
        form.wrong("resolve", format!("names {} facts", asked.len()), format!("name at most {MOST}"));
        return Vec::new();
    }
    let one = |(n, asked): (usize, &v1::Resolution)| {
        let field = |name: &str| format!("resolve[{n}].{name}");
        if !asked.fact_id.is_empty() {
            return Stands::Fact(form.uuid(&field("fact_id"), &asked.fact_id));
        }
        let kind = KINDS.into_iter().find(|kind| fact_kind(*kind) == asked.kind());
        let kind = kind.unwrap_or_else(|| {
            let words = KINDS.map(FactKind::spoken).join(", ");
            form.wrong(
                &field("kind"),
                "no two facts of this kind contradict one another",
                format!("give one of: {words}"),
            );
            FactKind::Holding
        });
        Stands::Of(kind, form.animal(&field("record"), &asked.record))
    };
    asked.iter().enumerate().map(one).collect()
}

fn named(fact: Named) -> v1::NamedFact {
    v1::NamedFact { fact_id: id(fact.id), kind: fact_kind(fact.kind).into(), record: fact.of }
}
