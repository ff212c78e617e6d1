//! `holt encounter record`, `holt encounter withdraw`

use crate::commands::when;
use crate::errand::{Errand, Outcome, id_part, lately};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::{When, WhenWord};
use crate::session::{Session, request_id};
use crate::views::Told;
use crate::views::encounter::{Encounter as View, Recorded};
use crate::words;
use chrono::TimeDelta;
use clap::Args;
use holt_proto::time::timestamp;
use holt_proto::v1;

/// Record an encounter, and show which limits it breaks
#[derive(Args, Debug)]
#[command(after_help = "\
Holt records an encounter also if it breaks a limit, because it was held. --check-only compares a future one \
with the limits and records nothing. With --ask it then exits with 10 if it breaks one.

Examples:
  holt encounter record talk --from 11:00 --minutes 20 --group \"Weir family\"
  holt encounter record close --from 14:00 --until 14:15 --animal Sedge \\
    --people 8 --incident \"nipped a sleeve\"
  holt encounter record feed --from \"tomorrow 15:00\" --minutes 20 \\
    --animal Sedge --check-only --ask")]
pub(super) struct Record {
    /// Kind of encounter
    #[arg(value_parser = words::parser::<v1::EncounterKind>())]
    kind: v1::EncounterKind,
    /// When it began
    #[arg(long, value_name = "TIME")]
    from: WhenWord,
    /// When it ended
    #[arg(long, value_name = "TIME", required_unless_present = "minutes", conflicts_with = "minutes")]
    until: Option<WhenWord>,
    /// How many minutes it lasted
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i64).range(1..=1440))]
    minutes: Option<i64>,
    /// An animal that took part; may be given several times
    #[arg(long, value_name = "ANIMAL", required_unless_present = "group")]
    animal: Vec<String>,
    /// A group whose members all took part
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// How many people took part
    #[arg(long, value_name = "NUMBER", default_value_t = 0, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(0..=100_000))]
    people: i32,
    /// What went wrong
    #[arg(long, value_name = "TEXT")]
    incident: Option<String>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Exit with 10 if it breaks a limit
    #[arg(long)]
    ask: bool,
    /// Show which limits it would break, and record nothing
    #[arg(long)]
    check_only: bool,
}

impl Record {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let began_at = when::instant(Some(self.from), zone, session.now())?;
        let ended_at = match (self.minutes, self.from.resolve(zone, session.now())?) {
            (Some(minutes), When::At(at)) => Some(timestamp(at + TimeDelta::minutes(minutes))),
            _ => when::instant(self.until, zone, session.now())?,
        };
        let ask = v1::RecordEncounterRequest {
            request_id: request_id(),
            site,
            kind: self.kind.into(),
            began_at,
            ended_at,
            animals: self.animal,
            group: self.group.unwrap_or_default(),
            people: self.people,
            incident: self.incident.unwrap_or_default(),
            note: self.note.unwrap_or_default(),
            validate_only: self.check_only,
        };
        let recorded = Recorded::new(session.ask(ask).await?, self.check_only, zone);
        errand.show(&recorded)?;
        Ok(if self.ask && recorded.breaks_any() { Exit::No } else { Exit::Done })
    }
}

/// The identifier that a part of one means.
async fn find(session: &Session, site: &str, part: &str) -> Result<String, Failure> {
    let ask = |site, days| v1::ListEncountersRequest { site, days: Some(days), ..Default::default() };
    lately(session, site, part, ("encounter", "holt encounter list"), ask, |encounter| &encounter.id).await
}

/// Withdraw an encounter that was not held
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt encounter withdraw 0000002a --because \"it rained: nobody came\"")]
pub(super) struct Withdraw {
    /// The encounter, by its id
    #[arg(value_name = "ID", value_parser = id_part)]
    encounter: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Withdraw {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::WithdrawEncounterRequest {
            request_id: request_id(),
            encounter_id: find(session, &site, &self.encounter).await?,
            site,
            because: self.because,
        };
        let thing = View::new(session.ask(ask).await?.encounter.unwrap_or_default(), zone);
        let say = format!("Withdrawn: {}", thing.spoken());
        errand.show(&Told { thing, say })
    }
}
