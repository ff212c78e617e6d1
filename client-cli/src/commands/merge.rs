//! `holt merge`, `holt unmerge`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::animal::Animal as View;
use crate::views::{CHECKED_ONLY, Told, count};
use clap::Args;
use holt_proto::v1;
use uuid::Uuid;

/// Give one record up for another: two were found to be one animal
#[derive(Args, Debug)]
#[command(after_help = "\
What is known of the record that is given up is moved to the other; its id and its accession numbers mean \
the other from then on. What contradicts one another is listed, and must be corrected first. A merge can be \
taken back by `holt unmerge`.

Examples:
  holt merge QUI-25-0001 QUI-25-0007 --because \"same transponder, read twice\"
  holt merge QUI-25-0001 QUI-25-0007 --because \"same scars\" --check-only")]
pub(crate) struct Merge {
    /// The record that stays
    keep: String,
    /// The record that is given up
    give_up: String,
    /// How it was found that they are one
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Merge {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zone = session.zone(&site).await?;
        let ask = v1::MergeAnimalsRequest {
            request_id: request_id(),
            site,
            keep: self.keep,
            give_up: self.give_up.clone(),
            because: self.because,
            keep_version: 0,
            give_up_version: 0,
            validate_only: self.check_only,
        };
        let answer = session.ask(ask).await?;
        let thing = View::new(answer.animal.unwrap_or_default(), zone);
        let moved = count(usize::try_from(answer.moved).unwrap_or(0), "fact was moved", "facts were moved");
        let say = format!(
            "{} is {} from now on: {moved}, {} said nothing more. To take it back: holt unmerge {} {}",
            self.give_up,
            thing.spoken(),
            answer.left,
            thing.accession,
            answer.merge_id
        );
        errand.show(&Told { thing, say: if self.check_only { CHECKED_ONLY.to_owned() } else { say } })
    }
}

/// Take a merge back: the two are two animals again
#[derive(Args, Debug)]
#[command(after_help = "\
What was recorded since they were merged stays with the animal that was kept.

Examples:
  holt unmerge QUI-25-0001 0190a1b2-0000-7000-8000-00000000002a \\
    --because \"two animals after all\"")]
pub(crate) struct Unmerge {
    /// The animal that stayed
    animal: String,
    /// The merge: its id, as `holt merge` told it
    merge: Uuid,
    /// Why it was wrong
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Unmerge {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let zone = session.zone(&site).await?;
        let ask = v1::UnmergeAnimalsRequest {
            request_id: request_id(),
            site,
            animal: self.animal,
            merge_id: self.merge.to_string(),
            because: self.because,
            version: 0,
            validate_only: self.check_only,
        };
        let answer = session.ask(ask).await?;
        let kept = View::new(answer.kept.unwrap_or_default(), zone);
        let thing = View::new(answer.given_up.unwrap_or_default(), zone);
        let say = format!("{} and {} are two animals again.", kept.spoken(), thing.spoken());
        errand.show(&Told { thing, say: if self.check_only { CHECKED_ONLY.to_owned() } else { say } })
    }
}
