//! `PacketService`.

use crate::api::decode::Form;
use crate::api::encode::{concern, fact, label, sex, transfer};
use crate::api::kinship::figure;
use crate::api::{
    Api, animals, assessments, caller, checks, feeding, life_states, standing, status, upsets, weights,
};
use crate::model::packet::Receiving;
use crate::report::packet::{self, CAUTION, Packet};
use holt_proto::v1;
use holt_proto::v1::packet_service_server::PacketService;
use tonic::{Request, Response, Status};

fn receiving(one: Receiving) -> v1::ReceivingAnimal {
    v1::ReceivingAnimal {
        animal: one.animal.map(label),
        sex: sex(one.sex).into(),
        age_years: one.age_years.and_then(|years| i32::try_from(years).ok()),
        kinship: one.kinship,
        known: one.known,
        enclosure: one.enclosure,
    }
}

fn told(packet: Packet) -> v1::GetPacketResponse {
    let social = packet.social;
    let hours_watched = social.as_ref().map_or(0.0, |social| social.hours);
    let (group, feed_plan, member, exclusion) = social.map_or_else(
        || (String::new(), None, None, None),
        |social| (social.group, social.plan, social.standing, social.exclusion),
    );
    v1::GetPacketResponse {
        transfer: Some(transfer(packet.transfer)),
        animal: Some(animals::encode(packet.animal)),
        life: packet.life.into_iter().map(fact).collect(),
        more_life: packet.more_life,
        inbreeding: Some(figure(packet.inbreeding)),
        assumption: packet.assumption,
        weights: packet.weights.into_iter().map(weights::encode_weight).collect(),
        concerns: packet.concerns.into_iter().map(concern).collect(),
        states: packet.states.into_iter().map(life_states::told).collect(),
        group,
        feed_plan: feed_plan.map(feeding::told_plan),
        standing: member.map(standing::member),
        exclusion: exclusion.map(standing::pushed),
        hours_watched,
        upsets: packet.upsets.into_iter().map(upsets::told).collect(),
        checks: packet.checks.into_iter().map(checks::encode_check).collect(),
        assessments: packet.assessments.into_iter().map(assessments::encode).collect(),
        receiving: packet.receiving.into_iter().map(receiving).collect(),
        caution: CAUTION.to_owned(),
    }
}

#[tonic::async_trait]
impl PacketService for Api {
    async fn get_packet(
        &self,
        request: Request<v1::GetPacketRequest>,
    ) -> Result<Response<v1::GetPacketResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let id = form.uuid("transfer_id", &asked.transfer_id);
        form.done()?;
        let packet = packet::of(&self.records, &caller, id).await.map_err(status::from)?;
        Ok(Response::new(told(packet)))
    }
}
