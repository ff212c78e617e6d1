//! `EthogramService`.

use crate::api::decode::Form;
use crate::api::documents::{loads_for, own_site};
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::document::Kept;
use crate::records::documents;
use holt_audit::ethogram::{Above, Behaviour, Ethogram, Kind, Receiver, SoundEthogram};
use holt_proto::v1;
use holt_proto::v1::ethogram_service_server::EthogramService;
use tonic::{Request, Response, Status};

const fn kind(kind: Kind) -> v1::BehaviourKind {
    match kind {
        Kind::Displacement => v1::BehaviourKind::Displacement,
        Kind::Chase => v1::BehaviourKind::Chase,
        Kind::Bite => v1::BehaviourKind::Bite,
        Kind::Threat => v1::BehaviourKind::Threat,
        Kind::Submission => v1::BehaviourKind::Submission,
        Kind::HangBack => v1::BehaviourKind::HangBack,
        Kind::Mount => v1::BehaviourKind::Mount,
        Kind::Groom => v1::BehaviourKind::Groom,
        Kind::Huddle => v1::BehaviourKind::Huddle,
        Kind::Play => v1::BehaviourKind::Play,
        Kind::Guard => v1::BehaviourKind::Guard,
        Kind::AtFood => v1::BehaviourKind::AtFood,
        Kind::Alone => v1::BehaviourKind::Alone,
        Kind::Rest => v1::BehaviourKind::Rest,
        Kind::Move => v1::BehaviourKind::Move,
        Kind::Other => v1::BehaviourKind::Other,
    }
}

fn behaviour(behaviour: Behaviour) -> v1::Behaviour {
    let receiver = match behaviour.receiver {
        Receiver::None => v1::BehaviourReceiver::None,
        Receiver::May => v1::BehaviourReceiver::May,
        Receiver::Must => v1::BehaviourReceiver::Must,
    };
    let above = match behaviour.above {
        Above::Nobody => v1::BehaviourAbove::Nobody,
        Above::Actor => v1::BehaviourAbove::Actor,
        Above::Receiver => v1::BehaviourAbove::Receiver,
    };
    v1::Behaviour {
        code: behaviour.code,
        name: behaviour.name,
        kind: kind(behaviour.kind).into(),
        receiver: receiver.into(),
        above: above.into(),
        meaning: behaviour.meaning,
    }
}

fn ethogram(kept: Kept<Ethogram>) -> v1::Ethogram {
    let ethogram = kept.document;
    v1::Ethogram {
        id: id(kept.id),
        own_site: own_site(&ethogram.code),
        code: ethogram.code,
        version: i32::try_from(ethogram.version).unwrap_or(i32::MAX),
        title: ethogram.title,
        taxa: ethogram.species,
        behaviours: ethogram.behaviours.into_iter().map(behaviour).collect(),
    }
}

#[tonic::async_trait]
impl EthogramService for Api {
    async fn load_ethogram(
        &self,
        request: Request<v1::LoadEthogramRequest>,
    ) -> Result<Response<v1::LoadEthogramResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("EthogramService/LoadEthogram", &asked.request_id, &asked, only);
        let document = form.document("toml", &asked.toml);
        let site = loads_for(&mut form, &asked.site);
        form.done()?;
        let loaded = documents::load::<SoundEthogram>(&self.records, &caller, &write, &site, &document)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::LoadEthogramResponse { ethogram: Some(ethogram(loaded)) }))
    }

    async fn list_ethograms(
        &self,
        request: Request<v1::ListEthogramsRequest>,
    ) -> Result<Response<v1::ListEthogramsResponse>, Status> {
        let (caller, _) = caller::open(request)?;
        let all = documents::all(&self.records, &caller).await.map_err(status::from)?;
        Ok(Response::new(v1::ListEthogramsResponse { ethograms: all.into_iter().map(ethogram).collect() }))
    }
}
