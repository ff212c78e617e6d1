//! `holt transfer packet`

use super::find;
use crate::errand::{Errand, Outcome, id_part};
use crate::views::packet::Packet as View;
use clap::Args;
use holt_proto::v1;

/// Show what the sender knows of the animal; read it before you agree
#[derive(Args, Debug)]
#[command(after_help = "\
People of either site read it while the transfer is open: life, kin, weights, concerns, feed, standing in its group, \
disturbances and what calmed it, checks and assessments, and the kin that the animal would meet.

Examples:
  holt transfer packet 0000002a
  holt transfer packet 0000002a --format json")]
pub(super) struct Packet {
    /// The transfer: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
}

impl Packet {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let transfer_id = find(&errand.session, &self.id).await?.id;
        let zones = errand.session.zones().await?;
        let packet = errand.session.ask(v1::GetPacketRequest { transfer_id }).await?;
        errand.show(&View::new(packet, &zones))
    }
}
