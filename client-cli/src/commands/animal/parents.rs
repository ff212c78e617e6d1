//! `holt animal parents`

use crate::commands::litter::sire;
use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::fact::Parents as View;
use crate::words;
use clap::{ArgGroup, Args};
use holt_proto::v1;

/// Record the dam, the possible sires, or both, and how that is known
#[derive(Args, Debug)]
#[command(group = ArgGroup::new("parents").args(["dam", "sires"]).required(true).multiple(true), after_help = "\
A dam takes the place of the recorded dam; sires, of all recorded sires. Several possible sires may each \
have a share; without shares, each is as likely. `holt history` keeps what was recorded before.

Examples:
  holt animal parents Pip --sire Bramble --known-by genetic --note \"report 2231\"
  holt animal parents Pip --dam Sedge --sire Bramble=0.7 --sire Alder=0.3 \\
    --known-by assumed")]
pub(super) struct Parents {
    /// The animal
    animal: String,
    /// Its dam
    #[arg(long, value_name = "ANIMAL")]
    dam: Option<String>,
    /// A possible sire, with =SHARE if it is known; may be given several times
    #[arg(long = "sire", value_name = "ANIMAL", value_parser = sire)]
    sires: Vec<v1::NewSire>,
    /// How that is known
    #[arg(long, value_name = "HOW", value_parser = words::parser::<v1::ParentsKnownBy>())]
    known_by: Option<v1::ParentsKnownBy>,
    /// Who says so, such as the report of a laboratory
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Why these parents are right although they do not fit the records
    #[arg(long, value_name = "TEXT")]
    parents_because: Option<String>,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Parents {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (site, zone) = errand.here().await?;
        let ask = v1::SetParentsRequest {
            request_id: request_id(),
            site,
            animal: self.animal.clone(),
            dam: self.dam.unwrap_or_default(),
            sires: self.sires,
            known_by: self.known_by.map(Into::into).unwrap_or_default(),
            note: self.note.unwrap_or_default(),
            parents_because: self.parents_because.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
        };
        let answer = errand.session.ask(ask).await?;
        errand.show(&View::new(self.animal, answer.facts, self.check_only, zone))
    }
}
