//! `holt climate`

mod devices;

mod look;
mod range;
mod read;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// Climate of enclosures: devices, readings, ranges and alarms
#[derive(Args, Debug)]
#[command(after_help = "\
Temperatures are in °C, humidity in percent; the UV index and pH have no unit. An alarm supports a decision. \
Look at the animals as well.")]
pub(crate) struct Climate {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Exposure(look::Exposure),
    Add(devices::Add),
    Retire(devices::Retire),
    Range(range::Range),
    Read(read::Read),
    Send(read::Send),
}

impl Climate {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show(command) => command.run(errand).await,
            What::Exposure(command) => command.run(errand).await,
            What::Add(command) => command.run(errand).await,
            What::Retire(command) => command.run(errand).await,
            What::Range(command) => command.run(errand).await,
            What::Read(command) => command.run(errand).await,
            What::Send(command) => command.run(errand).await,
        }
    }
}
