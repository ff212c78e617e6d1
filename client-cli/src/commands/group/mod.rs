//! `holt group`

mod day;

use super::when;
use crate::errand::{Errand, Outcome};
use crate::moment::{DayWord, WhenWord};
use crate::session::request_id;
use crate::views::group::{Group as View, Roll};
use crate::views::placement::Placed;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;
use prost_types::Timestamp;

/// Groups: animals that live as one social unit, each in its role
#[derive(Args, Debug)]
#[command(after_help = "\
An animal belongs to one group at a time. Its membership ends with its death, and when it leaves the site.")]
pub(crate) struct Group {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// List the groups of a site
    #[command(after_help = "\
Examples:
  holt group list
  holt group list --all --on 2026-01-01 --format csv")]
    List {
        /// Also groups without members on the day
        #[arg(long)]
        all: bool,
        /// As of the close of this day [default: today]
        #[arg(long, value_name = "DAY")]
        on: Option<DayWord>,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
    /// Show who is in a group, with ages, sexes, kin and latest weights
    #[command(after_help = "\
Examples:
  holt group show \"Weir family\"
  holt group show \"Weir family\" --on 2026-01-01 --format json")]
    Show {
        /// The group: its name, or its id
        group: String,
        /// As of the close of this day [default: today]
        #[arg(long, value_name = "DAY")]
        on: Option<DayWord>,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
    /// Show one page of a group: members, weights, standing, concerns, enclosure, feeds and what is due
    #[command(after_help = "\
Examples:
  holt group day \"Weir family\"")]
    Day {
        /// The group: its name, or its id
        group: String,
    },
    /// Add a group that has no members yet
    #[command(after_help = "\
Examples:
  holt group add \"Weir family\" --note \"Bramble, her mate and their pups\"")]
    Add {
        /// Its name
        name: String,
        /// Remarks
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
    },
    /// Take animals into a group, or give members another role
    #[command(after_help = "\
Examples:
  holt group join \"Weir family\" Bramble Alder --as breeding
  holt group join \"Weir family\" QUI-26-0003 --as juvenile --at 09:00")]
    Join {
        /// The group: its name, or its id
        group: String,
        /// The animals
        #[arg(required = true, value_name = "ANIMAL")]
        animals: Vec<String>,
        /// Their role
        #[arg(long = "as", value_name = "ROLE", value_parser = words::parser::<v1::GroupRole>())]
        role: v1::GroupRole,
        /// When it began [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
    /// End the membership of animals
    #[command(after_help = "\
Examples:
  holt group leave \"Weir family\" Sedge --because \"driven out by Bramble\"")]
    Leave {
        /// The group: its name, or its id
        group: String,
        /// The animals
        #[arg(required = true, value_name = "ANIMAL")]
        animals: Vec<String>,
        /// Why
        #[arg(long, value_name = "TEXT")]
        because: String,
        /// When [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
    /// Move a whole group into an enclosure; all move, or none
    #[command(after_help = "\
Examples:
  holt group move \"Weir family\" --in \"Night house\"
  holt group move \"Weir family\" --in \"Otter pool\" --at 16:30")]
    Move {
        /// The group: its name, or its id
        group: String,
        /// The enclosure
        #[arg(long = "in", value_name = "ENCLOSURE")]
        enclosure: String,
        /// When they moved [default: now]
        #[arg(long, value_name = "TIME")]
        at: Option<WhenWord>,
    },
}

/// The instant of an `--at` at the site; none where it is not given.
async fn instant(
    at: Option<WhenWord>,
    site: &str,
    errand: &Errand<'_>,
) -> Result<Option<Timestamp>, crate::failure::Failure> {
    match at {
        None => Ok(None),
        at => when::instant(at, errand.session.zone(site).await?, errand.session.now()),
    }
}

impl Group {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        match self.what {
            What::List { all, on, as_known_at } => {
                let session = &errand.session;
                let zone = session.zone(&site).await?;
                let ask = v1::ListGroupsRequest {
                    site,
                    as_of: on.map(|on| day(on.resolve(session.today(zone)))),
                    also_empty: all,
                    page: None,
                    as_known_at: as_known_at.instant(zone, session.now())?,
                };
                let groups = session.all(ask, usize::MAX).await?;
                errand.show(&Many(groups.into_iter().map(View::from).collect()))
            }
            What::Show { group, on, as_known_at } => {
                let session = &errand.session;
                let zone = session.zone(&site).await?;
                let ask = v1::GetGroupRequest {
                    site,
                    group,
                    as_of: on.map(|on| day(on.resolve(session.today(zone)))),
                    as_known_at: as_known_at.instant(zone, session.now())?,
                };
                let roll = Roll::new(session.ask(ask).await?, zone);
                errand.show(&roll)
            }
            What::Day { group } => day::show(errand, site, group).await,
            What::Add { name, note } => {
                let ask = v1::CreateGroupRequest {
                    request_id: request_id(),
                    site,
                    name,
                    note: note.unwrap_or_default(),
                };
                let thing = View::from(errand.session.ask(ask).await?.group.unwrap_or_default());
                let say = format!("Added {}.", thing.name);
                errand.show(&Told { thing, say })
            }
            What::Join { group, animals, role, at } => {
                let ask = v1::JoinGroupRequest {
                    request_id: request_id(),
                    joined_at: instant(at, &site, errand).await?,
                    site,
                    group,
                    animals,
                    role: role.into(),
                };
                let answer = errand.session.ask(ask).await?;
                let thing = View::from(answer.group.unwrap_or_default());
                let say = format!("{} joined {}; it has {} now.", answer.joined, thing.name, thing.members);
                errand.show(&Told { thing, say })
            }
            What::Leave { group, animals, because, at } => {
                let ask = v1::LeaveGroupRequest {
                    request_id: request_id(),
                    left_at: instant(at, &site, errand).await?,
                    site,
                    group,
                    animals,
                    why: because,
                };
                let thing = View::from(errand.session.ask(ask).await?.group.unwrap_or_default());
                let say = format!("{}: {} now.", thing.name, thing.members);
                errand.show(&Told { thing, say })
            }
            What::Move { group, enclosure, at } => {
                let ask = v1::MoveGroupRequest {
                    request_id: request_id(),
                    moved_at: instant(at, &site, errand).await?,
                    site: site.clone(),
                    group,
                    enclosure: enclosure.clone(),
                };
                let answer = errand.session.ask(ask).await?;
                let answer = v1::PlaceAnimalsResponse {
                    moved: answer.moved,
                    occupants: answer.occupants,
                    over_capacity: answer.over_capacity,
                };
                errand.show(&Placed::new(site, enclosure, answer))
            }
        }
    }
}
