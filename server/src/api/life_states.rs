//! `LifeStateService`.

use crate::api::decode::Form;
use crate::api::encode::{id, label};
use crate::api::{Api, caller, status};
use crate::model::life_state::{LifeState, NewState, Over, StateEnd, StateKind};
use crate::model::moment::Moment;
use crate::records::life_states::{self, Asked};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::life_state_service_server::LifeStateService;
use tonic::{Request, Response, Status};

const fn kind(kind: StateKind) -> v1::LifeStateKind {
    match kind {
        StateKind::Carrying => v1::LifeStateKind::Carrying,
        StateKind::Moult => v1::LifeStateKind::Moult,
        StateKind::Rut => v1::LifeStateKind::Rut,
        StateKind::Torpor => v1::LifeStateKind::Torpor,
        StateKind::Rest => v1::LifeStateKind::Rest,
    }
}

const fn ended(how: StateEnd) -> v1::LifeStateEnd {
    match how {
        StateEnd::Over => v1::LifeStateEnd::Over,
        StateEnd::Birth => v1::LifeStateEnd::Birth,
        StateEnd::Left => v1::LifeStateEnd::Left,
        StateEnd::Confirmed => v1::LifeStateEnd::Confirmed,
    }
}

pub(super) fn told(state: LifeState) -> v1::LifeState {
    let (ended_at, how) = state.ended.unzip();
    v1::LifeState {
        id: id(state.id),
        animal: Some(label(state.animal)),
        site: state.site,
        kind: kind(state.kind).into(),
        suspected: state.suspected,
        began_at: Some(timestamp(state.began_at)),
        ended_at: ended_at.map(timestamp),
        ended_how: how.map_or(v1::LifeStateEnd::Unspecified, ended).into(),
        ended_why: state.ended_why,
        note: state.note,
        recorder: state.recorder,
        recorded_at: Some(timestamp(state.recorded_at)),
    }
}

fn asked_kind(form: &mut Form, wire: i32) -> StateKind {
    let kind = match v1::LifeStateKind::try_from(wire) {
        Ok(v1::LifeStateKind::Carrying) => Some(StateKind::Carrying),
        Ok(v1::LifeStateKind::Moult) => Some(StateKind::Moult),
        Ok(v1::LifeStateKind::Rut) => Some(StateKind::Rut),
        Ok(v1::LifeStateKind::Torpor) => Some(StateKind::Torpor),
        Ok(v1::LifeStateKind::Rest) => Some(StateKind::Rest),
        Ok(v1::LifeStateKind::Unspecified) | Err(_) => None,
    };
    form.choice("kind", kind, "carrying, moult, rut, torpor, rest", StateKind::Rest)
}

#[tonic::async_trait]
impl LifeStateService for Api {
    async fn begin_life_state(
        &self,
        request: Request<v1::BeginLifeStateRequest>,
    ) -> Result<Response<v1::BeginLifeStateResponse>, Status> {
        use v1::begin_life_state_request::Since as Wire;
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LifeStateService/BeginLifeState", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let since = match asked.since {
            None => None,
            Some(Wire::BeganAt(at)) => form.instant("began_at", Some(at)).map(Moment::At),
            Some(Wire::BeganOn(day)) => form.optional_day("began_on", Some(day)).map(Moment::On),
        };
        let new = NewState {
            animal: form.animal("animal", &asked.animal),
            kind: asked_kind(&mut form, asked.kind),
            suspected: asked.suspected,
            since,
            note: form.text("note", &asked.note, 0..=500),
        };
        if new.suspected && new.kind != StateKind::Carrying {
            form.wrong(
                "suspected",
                "is given for a state that cannot be suspected",
                "leave it out; only carrying is suspected",
            );
        }
        form.done()?;
        let state =
            life_states::begin(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::BeginLifeStateResponse { state: Some(told(state)) }))
    }

    async fn end_life_state(
        &self,
        request: Request<v1::EndLifeStateRequest>,
    ) -> Result<Response<v1::EndLifeStateResponse>, Status> {
        use v1::end_life_state_request::When as Wire;
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("LifeStateService/EndLifeState", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let when = match asked.when {
            None => None,
            Some(Wire::EndedAt(at)) => form.instant("ended_at", Some(at)).map(Moment::At),
            Some(Wire::EndedOn(day)) => form.optional_day("ended_on", Some(day)).map(Moment::On),
        };
        let over = Over {
            animal: form.animal("animal", &asked.animal),
            kind: asked_kind(&mut form, asked.kind),
            when,
            because: form.text("because", &asked.because, 1..=500),
        };
        form.done()?;
        let state =
            life_states::end(&self.records, &caller, &write, &site, &over).await.map_err(status::from)?;
        Ok(Response::new(v1::EndLifeStateResponse { state: Some(told(state)) }))
    }

    async fn list_life_states(
        &self,
        request: Request<v1::ListLifeStatesRequest>,
    ) -> Result<Response<v1::ListLifeStatesResponse>, Status> {
        const METHOD: &str = "LifeStateService/ListLifeStates";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            animal: form.text("animal", &asked.animal, 0..=100),
            as_of: form.optional_day("as_of", asked.as_of),
            also_ended: asked.also_ended,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = life_states::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListLifeStatesResponse {
            states: found.entries.into_iter().map(told).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }
}
