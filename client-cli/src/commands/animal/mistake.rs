//! `holt animal withdraw`, `holt animal reinstate`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::animal::Animal as View;
use crate::views::{Told, count};
use crate::words::Word;
use clap::Args;
use holt_proto::v1;

/// Withdraw the record of an animal that was entered by mistake: it never was
#[derive(Args, Debug)]
#[command(after_help = "\
The record is in no count from then on, and its marks are free again. It stays to be seen, with the reason \
and all that was entered for it, by its accession. If only a part of it is wrong, use `holt correct`; if two \
records are of one animal, use `holt merge`.

Examples:
  holt animal withdraw Pip --because \"entered twice\" --check-only
  holt animal withdraw QUI-26-0003 --because \"an animal of another park\"")]
pub(super) struct Withdraw {
    #[command(flatten)]
    said: Said,
}

/// Let a withdrawn record stand again, with all that it says
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt animal reinstate QUI-26-0003 --because \"the wrong record was withdrawn\"")]
pub(super) struct Reinstate {
    #[command(flatten)]
    said: Said,
}

#[derive(Args, Debug)]
struct Said {
    /// The animal
    animal: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Refuse if the animal was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Withdraw {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (site, zone) = errand.here().await?;
        let Said { animal, because, based_on: version, check_only: validate_only } = self.said;
        let ask = v1::WithdrawAnimalRequest {
            request_id: request_id(),
            site,
            animal,
            because,
            version,
            validate_only,
        };
        let answer = errand.session.ask(ask).await?;
        let thing = View::new(answer.animal.unwrap_or_default(), zone);
        let say = format!(
            "The record of {} is withdrawn and in no count. This no longer stands: {}. If that was wrong: holt animal \
             reinstate {}",
            thing.spoken(),
            counted(&answer.facts),
            thing.accession
        );
        errand.show(&Told::new(thing, validate_only, |_| say))
    }
}

impl Reinstate {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let (site, zone) = errand.here().await?;
        let Said { animal, because, based_on: version, check_only: validate_only } = self.said;
        let ask = v1::ReinstateAnimalRequest {
            request_id: request_id(),
            site,
            animal,
            because,
            version,
            validate_only,
        };
        let answer = errand.session.ask(ask).await?;
        let thing = View::new(answer.animal.unwrap_or_default(), zone);
        let say = format!("The record of {} stands again: {}.", thing.spoken(), counted(&answer.facts));
        errand.show(&Told::new(thing, validate_only, |_| say))
    }
}

/// `1 holding, 3 weights`.
fn counted(facts: &[v1::FactCount]) -> String {
    let each = facts.iter().map(|fact| {
        let one = fact.kind().word();
        let many = if one == "sex" { "sexes".to_owned() } else { format!("{one}s") };
        count(usize::try_from(fact.count).unwrap_or(0), one, &many)
    });
    each.collect::<Vec<_>>().join(", ")
}
