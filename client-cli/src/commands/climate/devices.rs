//! `holt climate add`, `holt climate retire`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::Told;
use crate::views::climate::Device as View;
use crate::words;
use clap::Args;
use holt_proto::v1;

/// Add a device to an enclosure
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt climate add \"Burrow lamp\" --in \"Burrow House\" --reads temperature
  holt climate add Hygro-2 --in Attic --reads humidity --may-be-silent 120")]
pub(super) struct Add {
    /// Its name, unique at the site
    name: String,
    /// The enclosure
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: String,
    /// What it reads
    #[arg(long, value_name = "MEASURE", value_parser = words::parser::<v1::Measure>())]
    reads: v1::Measure,
    /// Minutes without data before that is an alarm [default: 30]
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(1..=10_080))]
    may_be_silent: Option<i32>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

impl Add {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = v1::AddDeviceRequest {
            request_id: request_id(),
            site: errand.site().await?,
            enclosure: self.enclosure,
            name: self.name,
            measure: self.reads.into(),
            may_be_silent_minutes: self.may_be_silent.unwrap_or_default(),
            note: self.note.unwrap_or_default(),
        };
        let thing = View::from(errand.session.ask(ask).await?.device.unwrap_or_default());
        let say = format!(
            "{} reads the {} of {} from now on.",
            thing.name,
            thing.spoken_measure(),
            thing.enclosure
        );
        errand.show(&Told { thing, say })
    }
}

/// Retire a device; its readings stay
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt climate retire Hygro-2 --because \"reads 100 whatever it is\"")]
pub(super) struct Retire {
    /// The device: its name, or its id
    device: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Retire {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = v1::RetireDeviceRequest {
            request_id: request_id(),
            site: errand.site().await?,
            device: self.device,
            because: self.because,
        };
        let thing = View::from(errand.session.ask(ask).await?.device.unwrap_or_default());
        let say = format!("Retired {}; its readings stay.", thing.name);
        errand.show(&Told { thing, say })
    }
}
