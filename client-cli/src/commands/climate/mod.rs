//! `holt climate`

mod devices;
mod keep;
mod look;
mod read;

use crate::errand::{Errand, Outcome};
use clap::{Args, Subcommand};

/// What the animals' houses are like: devices, readings, and what must be kept
#[derive(Args, Debug)]
#[command(after_help = "\
Temperatures are in °C, humidity in percent; the UV index and pH have no unit. An alarm supports a decision \
and replaces no look at the animals.")]
pub(crate) struct Climate {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    Show(look::Show),
    Outside(look::Outside),
    Add(devices::Add),
    Retire(devices::Retire),
    Keep(keep::Keep),
    Read(read::Read),
    Send(read::Send),
}

impl Climate {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show(command) => command.run(errand).await,
            What::Outside(command) => command.run(errand).await,
            What::Add(command) => command.run(errand).await,
            What::Retire(command) => command.run(errand).await,
            What::Keep(command) => command.run(errand).await,
            What::Read(command) => command.run(errand).await,
            What::Send(command) => command.run(errand).await,
        }
    }
}
