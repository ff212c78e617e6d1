//! `holt litter died`, `holt litter sexed`, `holt litter found`

use super::{find, young};
use crate::errand::{Errand, Outcome};
use crate::moment::DayWord;
use crate::session::request_id;
use crate::views::Told;
use crate::views::litter::Litter as View;
use crate::words;
use clap::Args;
use holt_proto::time::day;
use holt_proto::v1;
use holt_proto::v1::record_litter_event_request::Event;

/// Which litter something happened in, and how it is recorded.
#[derive(Args, Debug)]
struct In {
    /// The litter: its dam, or its id
    litter: String,
    /// What was seen or found
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Refuse if the litter was changed since this version of it
    #[arg(long, value_name = "VERSION", default_value_t = 0, hide_default_value = true)]
    based_on: i64,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

impl In {
    async fn record(self, on: Option<DayWord>, event: Event, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let litter = find(session, &site, &self.litter).await?;
        let ask = v1::RecordLitterEventRequest {
            request_id: request_id(),
            site,
            litter_id: litter.id,
            happened_on: on.map(|on| day(on.resolve(session.today(zone)))),
            event: Some(event),
            note: self.note.unwrap_or_default(),
            version: self.based_on,
            validate_only: self.check_only,
        };
        let thing = View::new(session.ask(ask).await?.litter.unwrap_or_default(), zone);
        let say = |thing: &View| format!("{}: {} remaining.", thing.spoken(), thing.remaining);
        errand.show(&Told::new(thing, self.check_only, say))
    }
}

/// Record that animals of a litter died before they were identified
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt litter died Sedge 1 --manner natural --note \"found cold at the entrance\"
  holt litter died 0000002a 1.0.0 --on 2026-03-04 --manner by-animal")]
pub(super) struct Died {
    #[command(flatten)]
    of: In,
    /// How many: 1, or 1.0.0
    #[arg(value_name = "YOUNG", value_parser = young)]
    young: v1::Counts,
    /// Day of death [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
    /// How they died
    #[arg(long, value_parser = words::parser::<v1::DeathManner>())]
    manner: v1::DeathManner,
}

impl Died {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let died = v1::LitterDeaths { young: Some(self.young), manner: self.manner.into() };
        self.of.record(self.on, Event::Died(died), errand).await
    }
}

/// Record how many animals of unknown sex proved male and female
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt litter sexed Sedge --males 1 --females 2
  holt litter sexed 0000002a --females 1 --on yesterday")]
pub(super) struct Sexed {
    #[command(flatten)]
    of: In,
    /// How many are male
    #[arg(long, value_name = "NUMBER", default_value_t = 0, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i64).range(0..), required_unless_present = "females")]
    males: i64,
    /// How many are female
    #[arg(long, value_name = "NUMBER", default_value_t = 0, hide_default_value = true)]
    #[arg(value_parser = clap::value_parser!(i64).range(0..))]
    females: i64,
    /// Day on which they were sexed [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
}

impl Sexed {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let sexed = v1::LitterSexing { males: self.males, females: self.females };
        self.of.record(self.on, Event::Sexed(sexed), errand).await
    }
}

/// Record young animals that nobody saw at first; they count from the litter's birth
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt litter found Sedge 1 --note \"a fourth, at the back\"")]
pub(super) struct Found {
    #[command(flatten)]
    of: In,
    /// How many more: 1, or 1.0.0
    #[arg(value_name = "YOUNG", value_parser = young)]
    young: v1::Counts,
}

impl Found {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let found = v1::LitterFound { young: Some(self.young) };
        self.of.record(None, Event::Found(found), errand).await
    }
}
