//! `UpsetService`.

use crate::api::decode::Form;
use crate::api::encode::{id, label};
use crate::api::{Api, caller, status};
use crate::model::upset::{NewUpset, Upset, UpsetKind};
use crate::records::upsets;
use crate::records::watches::Asked;
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::upset_service_server::UpsetService;
use tonic::{Request, Response, Status};

/// Longest that a group takes to calm down: a week, in minutes.
const LONGEST: i32 = 10_080;

const fn kind(kind: UpsetKind) -> v1::UpsetKind {
    match kind {
        UpsetKind::Alarm => v1::UpsetKind::Alarm,
        UpsetKind::Fight => v1::UpsetKind::Fight,
        UpsetKind::Escape => v1::UpsetKind::Escape,
        UpsetKind::Visitor => v1::UpsetKind::Visitor,
        UpsetKind::Other => v1::UpsetKind::Other,
    }
}

pub(super) fn told(upset: Upset) -> v1::Upset {
    v1::Upset {
        id: id(upset.id),
        site: upset.site,
        group: upset.group,
        kind: kind(upset.kind).into(),
        began_at: Some(timestamp(upset.began_at)),
        happened: upset.happened,
        response: upset.response,
        calm_after_minutes: upset.calm_after_minutes,
        animals: upset.animals.into_iter().map(label).collect(),
        recorder: upset.recorder,
        recorded_at: Some(timestamp(upset.recorded_at)),
    }
}

fn new_upset(form: &mut Form, asked: &v1::RecordUpsetRequest) -> NewUpset {
    let kind = match v1::UpsetKind::try_from(asked.kind) {
        Ok(v1::UpsetKind::Alarm) => Some(UpsetKind::Alarm),
        Ok(v1::UpsetKind::Fight) => Some(UpsetKind::Fight),
        Ok(v1::UpsetKind::Escape) => Some(UpsetKind::Escape),
        Ok(v1::UpsetKind::Visitor) => Some(UpsetKind::Visitor),
        Ok(v1::UpsetKind::Other) => Some(UpsetKind::Other),
        Ok(v1::UpsetKind::Unspecified) | Err(_) => None,
    };
    if asked.calm_after_minutes.is_some_and(|minutes| !(0..=LONGEST).contains(&minutes)) {
        form.wrong("calm_after_minutes", "is not a time to calm down", "give 0 to 10080 minutes");
    }
    let animals = if asked.animals.is_empty() { Vec::new() } else { form.animals("animals", &asked.animals) };
    NewUpset {
        group: form.text("group", &asked.group, 1..=100),
        kind: form.choice("kind", kind, "alarm, fight, escape, visitor, other", UpsetKind::Other),
        began_at: form.instant("began_at", asked.began_at),
        happened: form.text("happened", &asked.happened, 1..=1000),
        response: form.text("response", &asked.response, 0..=1000),
        calm_after_minutes: asked.calm_after_minutes,
        animals,
    }
}

#[tonic::async_trait]
impl UpsetService for Api {
    async fn record_upset(
        &self,
        request: Request<v1::RecordUpsetRequest>,
    ) -> Result<Response<v1::RecordUpsetResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("UpsetService/RecordUpset", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let new = new_upset(&mut form, &asked);
        form.done()?;
        let upset =
            upsets::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordUpsetResponse { upset: Some(told(upset)) }))
    }

    async fn list_upsets(
        &self,
        request: Request<v1::ListUpsetsRequest>,
    ) -> Result<Response<v1::ListUpsetsResponse>, Status> {
        const METHOD: &str = "UpsetService/ListUpsets";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = upsets::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListUpsetsResponse {
            upsets: found.entries.into_iter().map(told).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
