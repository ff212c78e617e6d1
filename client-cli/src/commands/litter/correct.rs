//! `holt litter withdraw`, `holt litter parents`

use super::find;
use super::record::sire;
use crate::errand::{Errand, Outcome, nothing_of, the_one};
use crate::session::request_id;
use crate::views::Told;
use crate::views::litter::Litter as View;
use clap::Args;
use holt_proto::v1;
use holt_proto::v1::correct_litter_request::Correction;

/// Which litter is corrected, and why.
#[derive(Args, Debug)]
struct Of {
    /// The litter: its dam, or its id
    litter: String,
    /// How you found that it is wrong
    #[arg(long, value_name = "WHY")]
    because: String,
    /// Refuse if the litter was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Of {
    async fn correct(
        self,
        errand: &mut Errand<'_>,
        correction: impl FnOnce(&v1::Litter) -> Result<Correction, crate::failure::Failure>,
    ) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let litter = find(session, &site, &self.litter).await?;
        let ask = v1::CorrectLitterRequest {
            request_id: request_id(),
            site,
            litter_id: litter.id.clone(),
            correction: Some(correction(&litter)?),
            because: self.because,
            version: self.based_on,
            validate_only: self.check_only,
        };
        let thing = View::new(session.ask(ask).await?.litter.unwrap_or_default(), zone);
        let say = |thing: &View| {
            format!(
                "{} is corrected: {} remaining. The history keeps what was recorded.",
                thing.spoken(),
                thing.remaining
            )
        };
        errand.show(&Told::new(thing, self.check_only, say))
    }
}

/// Withdraw a birth, deaths or sexes that were recorded wrong; then record what is right
#[derive(Args, Debug)]
#[command(after_help = "\
`holt litter show` lists the changes of a litter, each with the end of its id.

Examples:
  holt litter withdraw Sedge 3f9c01d2 --because \"it slept, and lives\"")]
pub(super) struct Withdraw {
    #[command(flatten)]
    of: Of,
    /// The change: its id, or the beginning or end of it
    #[arg(value_name = "ID")]
    change: String,
}

impl Withdraw {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let text = self.change;
        let found = |litter: &v1::Litter| {
            let one = the_one("change", &text, &litter.changes, |change| &change.id)?;
            let one = one.ok_or_else(|| nothing_of("change of the litter", &text, "holt litter show"))?;
            Ok(Correction::StruckChangeId(one.id.clone()))
        };
        self.of.correct(errand, found).await
    }
}

/// Replace the parents of a litter: name all of them
#[derive(Args, Debug)]
#[command(after_help = "\
Identified animals keep their parents: use `holt animal parents` for each.

Examples:
  holt litter parents Sedge --dam Sedge --sire Alder --because \"seen mating\"
  holt litter parents 0000002a --dam Sedge --because \"no male was with her\"")]
pub(super) struct Parents {
    #[command(flatten)]
    of: Of,
    /// The dam [default: not known]
    #[arg(long, value_name = "ANIMAL")]
    dam: Option<String>,
    /// A possible sire, with =SHARE if it is known; may be given several times
    #[arg(long = "sire", value_name = "ANIMAL", value_parser = sire)]
    sires: Vec<v1::NewSire>,
    /// Why these parents are right although they do not fit the records
    #[arg(long, value_name = "TEXT")]
    parents_because: Option<String>,
}

impl Parents {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let parents = v1::LitterParents {
            dam: self.dam.unwrap_or_default(),
            sires: self.sires,
            parents_because: self.parents_because.unwrap_or_default(),
        };
        self.of.correct(errand, |_| Ok(Correction::Parents(parents))).await
    }
}
