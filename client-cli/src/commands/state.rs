//! `holt state`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, When, WhenWord};
use crate::session::request_id;
use crate::views::life_state::LifeState as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::begin_life_state_request::Since;
use holt_proto::v1::end_life_state_request::When as Ended;

/// Life states of an animal: carrying, moult, rut, torpor, rest
#[derive(Args, Debug)]
pub(crate) struct State {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Record that an animal is in a state, or that what was suspected is confirmed
    #[command(after_help = "\
States change the expected weight. A recorded birth ends carrying by itself. Correct a mistake with `holt correct`.

Examples:
  holt state begin Juniper carrying --suspected --at 2026-02-20
  holt state begin Juniper carrying --note \"seen by ultrasound\"
  holt state begin Alder moult --at yesterday")]
    Begin {
        /// The animal: house name, accession, transponder, ring or id
        animal: String,
        /// Which state
        #[arg(value_name = "STATE", value_parser = words::parser::<v1::LifeStateKind>())]
        kind: v1::LifeStateKind,
        /// Of carrying: it is only suspected
        #[arg(long)]
        suspected: bool,
        /// Day or time at which it began [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
        /// What was seen
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
    /// Record that a state of an animal is over
    #[command(after_help = "\
Examples:
  holt state end Alder moult --because \"coat complete\"
  holt state end Juniper carrying --at 2026-03-01 --because \"ultrasound: empty\"")]
    End {
        /// The animal: house name, accession, transponder, ring or id
        animal: String,
        /// Which state
        #[arg(value_name = "STATE", value_parser = words::parser::<v1::LifeStateKind>())]
        kind: v1::LifeStateKind,
        /// Day or time at which it ended [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
        /// Why, or what was seen
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
    /// List the states of a site's animals, newest first
    #[command(after_help = "\
Examples:
  holt state list
  holt state list Juniper --ended --format csv")]
    List {
        /// The animal [default: all of the site]
        animal: Option<String>,
        /// Also those that ended
        #[arg(long)]
        ended: bool,
        /// Those that last at the close of this day [default: today]
        #[arg(long, value_name = "DAY", conflicts_with = "ended")]
        on: Option<DayWord>,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
}

impl State {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        let (zone, now) = (session.zone(&site).await?, session.now());
        let (state, check_only) = match self.what {
            What::Begin { animal, kind, suspected, at, note, check_only } => {
                let since = at.map(|at| at.resolve(zone, now)).transpose()?.map(|at| match at {
                    When::At(at) => Since::BeganAt(timestamp(at)),
                    When::On(on) => Since::BeganOn(day(on)),
                });
                let ask = v1::BeginLifeStateRequest {
                    request_id: request_id(),
                    site,
                    animal,
                    kind: kind.into(),
                    suspected,
                    since,
                    note: note.unwrap_or_default(),
                    validate_only: check_only,
                };
                (session.ask(ask).await?.state, check_only)
            }
            What::End { animal, kind, at, because, check_only } => {
                let when = at.map(|at| at.resolve(zone, now)).transpose()?.map(|at| match at {
                    When::At(at) => Ended::EndedAt(timestamp(at)),
                    When::On(on) => Ended::EndedOn(day(on)),
                });
                let ask = v1::EndLifeStateRequest {
                    request_id: request_id(),
                    site,
                    animal,
                    kind: kind.into(),
                    when,
                    because,
                    validate_only: check_only,
                };
                (session.ask(ask).await?.state, check_only)
            }
            What::List { animal, ended, on, as_known_at } => {
                let ask = v1::ListLifeStatesRequest {
                    site,
                    animal: animal.unwrap_or_default(),
                    as_of: on.map(|on| day(on.resolve(session.today(zone)))),
                    also_ended: ended,
                    page: None,
                    as_known_at: as_known_at.instant(zone, now)?,
                };
                let states = session.all(ask, usize::MAX).await?;
                let states = states.into_iter().map(|state| View::new(state, zone)).collect();
                return errand.show(&Many(states));
            }
        };
        let thing = View::new(state.unwrap_or_default(), zone);
        errand.show(&Told::new(thing, check_only, |thing| format!("{}.", thing.spoken())))
    }
}
