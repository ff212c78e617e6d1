//! The steps of a transfer, from `holt transfer agree` to `holt transfer release`.

use super::find;
use crate::commands::when;
use crate::contract::Ask;
use crate::errand::{Errand, Outcome, id_part};
use crate::failure::Failure;
use crate::moment::WhenWord;
use crate::session::{Session, Zones, request_id};
use crate::views::transfer::Transfer as View;
use crate::views::{CHECKED_ONLY, Told};
use crate::words;
use chrono::{DateTime, Utc};
use clap::Args;
use holt_proto::v1;

/// Which transfer is meant.
#[derive(Args, Debug)]
struct Which {
    /// The transfer: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    id: String,
}

/// On which version of a transfer a step is based.
#[derive(Args, Debug)]
struct BasedOn {
    /// Refuse if it was changed since this version of it
    #[arg(long = "based-on", value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    version: i64,
}

/// Takes a step: finds the transfer, asks for the step, and tells what came of it.
async fn take<C: Ask>(
    session: &Session,
    which: &Which,
    ask: impl FnOnce(&v1::Transfer, &Zones, DateTime<Utc>) -> Result<C, Failure>,
    open: fn(C::Answer) -> Option<v1::Transfer>,
) -> Result<Told<View>, Failure> {
    let found = find(session, &which.id).await?;
    let zones = session.zones().await?;
    let ask = ask(&found, &zones, session.now())?;
    let transfer = open(session.ask(ask).await?).unwrap_or_default();
    let thing = View::new(transfer, &zones);
    let say = thing.told();
    Ok(Told { thing, say })
}

/// Agree to a transfer, as its destination; you may then read the animal's whole life
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt transfer agree 0000002a --note \"crate by Monday\"
  holt transfer agree 0000002a --at 2026-03-13")]
pub(super) struct Agree {
    #[command(flatten)]
    which: Which,
    /// Remark
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// When you agreed, in the time of the destination [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    #[command(flatten)]
    based_on: BasedOn,
}

impl Agree {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, zones: &Zones, now| {
            let (agreed_at, agreed_on) = when::moment(self.at, zones.of(&found.to_site), now)?;
            Ok(v1::AgreeTransferRequest {
                agreed_at,
                agreed_on,
                request_id: request_id(),
                transfer_id: found.id.clone(),
                note: self.note.unwrap_or_default(),
                version: self.based_on.version,
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Refuse a transfer, or withdraw your agreement, as its destination
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt transfer refuse 0000002a --because \"no room before May\"")]
pub(super) struct Refuse {
    #[command(flatten)]
    which: Which,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    #[command(flatten)]
    based_on: BasedOn,
}

impl Refuse {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, _: &Zones, _| {
            Ok(v1::RefuseTransferRequest {
                request_id: request_id(),
                transfer_id: found.id.clone(),
                why: self.because,
                version: self.based_on.version,
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Call a transfer off, or turn back an animal on the way, as its sender
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt transfer cancel 0000002a --because \"pregnant\"")]
pub(super) struct Cancel {
    #[command(flatten)]
    which: Which,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    #[command(flatten)]
    based_on: BasedOn,
}

impl Cancel {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, _: &Zones, _| {
            Ok(v1::CancelTransferRequest {
                request_id: request_id(),
                transfer_id: found.id.clone(),
                why: self.because,
                version: self.based_on.version,
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Record that the animal has left, as its sender
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt transfer dispatch 0000002a --note \"Larch Carriers, crate 4\"
  holt transfer dispatch 0000002a --at 07:15
  holt transfer dispatch 0000002a --at 2026-03-13")]
pub(super) struct Dispatch {
    #[command(flatten)]
    which: Which,
    /// When it left, in the time of the sender; a day alone if no time was noted [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// Carrier, crate, papers
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// For an animal with an open concern: that your vet cleared it for the journey, or why it leaves all the same
    #[arg(long, value_name = "TEXT")]
    despite_concern: Option<String>,
    #[command(flatten)]
    based_on: BasedOn,
}

impl Dispatch {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, zones: &Zones, now| {
            let (dispatched_at, dispatched_on) = when::moment(self.at, zones.of(&found.from_site), now)?;
            Ok(v1::DispatchTransferRequest {
                request_id: request_id(),
                dispatched_at,
                dispatched_on,
                transfer_id: found.id.clone(),
                note: self.note.unwrap_or_default(),
                version: self.based_on.version,
                despite_concern: self.despite_concern.unwrap_or_default(),
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Record that the animal has arrived, as its destination: your site answers for it from then on
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt transfer receive 0000002a --in \"Quarantine 2\" --note \"calm, drank\"
  holt transfer receive 0000002a --at 15:40 --check-only")]
pub(super) struct Receive {
    #[command(flatten)]
    which: Which,
    /// When it arrived, in the time of the destination; a day alone if no time was noted [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// Enclosure it goes into
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Its condition on arrival
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    #[command(flatten)]
    based_on: BasedOn,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Receive {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, zones: &Zones, now| {
            let (received_at, received_on) = when::moment(self.at, zones.of(&found.to_site), now)?;
            Ok(v1::ReceiveTransferRequest {
                request_id: request_id(),
                received_at,
                received_on,
                transfer_id: found.id.clone(),
                enclosure: self.enclosure.unwrap_or_default(),
                note: self.note.unwrap_or_default(),
                version: self.based_on.version,
                validate_only: self.check_only,
            })
        };
        let mut told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        if self.check_only {
            CHECKED_ONLY.clone_into(&mut told.say);
        }
        errand.show(&told)
    }
}

/// Record that the animal died or escaped on the way; that ends the transfer
#[derive(Args, Debug)]
#[command(
    after_help = "Examples:\n  holt transfer loss 0000002a --how death --note \"found at the ferry\" --at 11:30"
)]
pub(super) struct Loss {
    #[command(flatten)]
    which: Which,
    /// What happened
    #[arg(long, value_parser = words::parser::<v1::TransferLoss>())]
    how: v1::TransferLoss,
    /// What is known
    #[arg(long, value_name = "TEXT")]
    note: String,
    /// When it happened, in the time of the sender [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    #[command(flatten)]
    based_on: BasedOn,
}

impl Loss {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, zones: &Zones, now| {
            let (lost_at, lost_on) = when::moment(self.at, zones.of(&found.from_site), now)?;
            Ok(v1::ReportTransferLossRequest {
                request_id: request_id(),
                lost_at,
                lost_on,
                transfer_id: found.id.clone(),
                loss: self.how.into(),
                note: self.note,
                version: self.based_on.version,
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Withhold a transfer, as a veterinary surgeon of either site: it cannot be dispatched
#[derive(Args, Debug)]
#[command(
    after_help = "Examples:\n  holt transfer withhold 0000002a --because \"parasite sample outstanding\""
)]
pub(super) struct Withhold {
    #[command(flatten)]
    which: Which,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Withhold {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, _: &Zones, _| {
            Ok(v1::WithholdTransferRequest {
                request_id: request_id(),
                transfer_id: found.id.clone(),
                why: self.because,
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}

/// Release a transfer that you withheld
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt transfer release 0000002a --note \"sample clear\"")]
pub(super) struct Release {
    #[command(flatten)]
    which: Which,
    /// Remark
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Release {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = |found: &v1::Transfer, _: &Zones, _| {
            Ok(v1::ReleaseTransferRequest {
                request_id: request_id(),
                transfer_id: found.id.clone(),
                note: self.note.unwrap_or_default(),
            })
        };
        let told = take(&errand.session, &self.which, ask, |answer| answer.transfer).await?;
        errand.show(&told)
    }
}
