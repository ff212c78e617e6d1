//! `holt litter identify`

use super::find;
use crate::commands::animal::Marks;
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::litter::Identified as View;
use crate::words;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;

/// Identify one animal of a litter, and give it a record of its own
#[derive(Args, Debug)]
#[command(after_help = "\
It has the birth and the parents of its litter, and gets an accession. The litter then counts one fewer of \
its sex, or of unknown sex if it has none of that sex.

Examples:
  holt litter identify Sedge --sex female --name Pip \\
    --mark transponder=985112000123456
  holt litter identify 0000002a --sex unknown --on yesterday --in Attic")]
pub(super) struct Identify {
    /// The litter: its dam, or its id
    litter: String,
    /// Its sex
    #[arg(long, value_parser = words::parser::<v1::Sex>())]
    sex: v1::Sex,
    #[command(flatten)]
    marks: Marks,
    /// Day on which it was identified [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// Enclosure it lives in
    #[arg(long = "in", value_name = "ENCLOSURE")]
    enclosure: Option<String>,
    /// Who owns it: the code of a site or a name [default: this site]
    #[arg(long, value_name = "OWNER")]
    owner: Option<String>,
    /// Refuse if the litter was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Identify {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let litter = find(session, &site, &self.litter).await?;
        let ask = v1::TellApartRequest {
            request_id: request_id(),
            site,
            litter_id: litter.id,
            told_apart_on: self.on.map(|on| day(on.resolve(session.today(zone)))),
            sex: self.sex.into(),
            marks: self.marks.wire(),
            enclosure: self.enclosure.unwrap_or_default(),
            owner: self.owner.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
        };
        let answer = session.ask(ask).await?;
        errand.show(&View::new(answer, zone, self.check_only))
    }
}
