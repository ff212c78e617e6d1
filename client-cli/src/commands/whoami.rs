//! `holt whoami`

use crate::errand::{Errand, Outcome};
use crate::views::Told;
use crate::views::person::Person;
use clap::Args;
use holt_proto::v1;

/// Show who you are to the server, and your roles
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt whoami
  holt whoami --format json")]
pub(crate) struct Whoami {}

impl Whoami {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let answer = errand.session.ask(v1::GetSelfRequest {}).await?;
        let thing = Person::from(answer.person.unwrap_or_default());
        let say = format!("{} ({}): {}.", thing.name, thing.sign_in_name, thing.spoken_grants());
        errand.show(&Told { thing, say })
    }
}
