//! `holt litter record`

use super::young;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::Told;
use crate::views::litter::Litter as View;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Record the birth of a litter, before anybody can handle the young animals
#[derive(Args, Debug)]
#[command(after_help = "\
Count those born dead as well, and record their deaths next. Several possible sires may each have a share; \
without shares, each is as likely.

Examples:
  holt litter record 4 --on today --dam Sedge
  holt litter record 0.0.4 --on 2026-03-01 --dam Sedge --sire Bramble=0.7 \\
    --sire Alder=0.3 --note \"heard, not seen\"
  holt litter record 2 --on 2026-03-01 --species \"Lontra canadensis\"")]
pub(super) struct Record {
    /// How many animals: 4, or 1.2.1
    #[arg(value_name = "YOUNG", value_parser = young)]
    young: v1::Counts,
    /// Day of birth, or the day on which it was first seen
    #[arg(long, value_name = "DAY")]
    on: DayWord,
    /// The dam
    #[arg(long, value_name = "ANIMAL")]
    dam: Option<String>,
    /// A possible sire, with =SHARE if it is known; may be given several times
    #[arg(long = "sire", value_name = "ANIMAL", value_parser = sire)]
    sires: Vec<v1::NewSire>,
    /// Scientific name of the species [default: that of the parents]
    #[arg(long, value_name = "NAME")]
    species: Option<String>,
    /// Why these parents are right although they do not fit the records
    #[arg(long, value_name = "TEXT")]
    parents_because: Option<String>,
    /// What was seen
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

/// Reads `Bramble` or `Bramble=0.7`.
pub(crate) fn sire(text: &str) -> Result<v1::NewSire, String> {
    let Some((animal, share)) = text.rsplit_once('=') else {
        return Ok(v1::NewSire { animal: text.to_owned(), share: 0.0 });
    };
    let share: f64 = share.parse().map_err(|_| format!("`{share}` is not a share; write one such as 0.7"))?;
    if share > 0.0 && share <= 1.0 {
        Ok(v1::NewSire { animal: animal.to_owned(), share })
    } else {
        Err(format!("{share} is not a share; write a number above 0 and up to 1"))
    }
}

impl Record {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::RecordLitterRequest {
            request_id: request_id(),
            site,
            taxon: self.species.unwrap_or_default(),
            born_on: Some(day(self.on.resolve(session.today(zone)))),
            young: Some(self.young),
            dam: self.dam.unwrap_or_default(),
            sires: self.sires,
            parents_because: self.parents_because.unwrap_or_default(),
            note: self.note.unwrap_or_default(),
            validate_only: self.check_only,
        };
        let thing = View::new(session.ask(ask).await?.litter.unwrap_or_default(), zone);
        let say =
            |thing: &View| format!("{} is recorded: {} born. [{}]", thing.spoken(), thing.born, thing.id);
        errand.show(&Told::new(thing, self.check_only, say))
    }
}
