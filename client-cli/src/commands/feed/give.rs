//! `holt feed give`, `holt feed as-planned`

use super::amount;
use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::moment::{DayWord, WhenWord};
use crate::session::request_id;
use crate::views::feeding::{Feed as View, Given};
use crate::words;
use clap::Args;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;

/// Record what a group, or an animal alone, was given
#[derive(Args, Debug)]
#[command(after_help = "\
Record leftovers here, or later with `holt feed leftovers`.

Examples:
  holt feed give Trout 400g --group \"Weir family\" --how bowl --at 06:35
  holt feed give Sprats 90g --group \"Weir family\" --how hidden --enrichment
  holt feed give Trout 250g --animal Sedge --how hand --left 30g")]
pub(super) struct Give {
    /// The food: its name, or its id
    food: String,
    /// How much, as fed, with its unit
    #[arg(value_name = "MASS", value_parser = amount)]
    mass: v1::Mass,
    #[command(flatten)]
    to: To,
    /// How it was offered
    #[arg(long, value_name = "HOW", value_parser = words::parser::<v1::FeedMethod>())]
    how: v1::FeedMethod,
    /// When [default: now]
    #[arg(long, value_name = "TIME")]
    at: Option<WhenWord>,
    /// It was also enrichment; it counts towards the ration
    #[arg(long)]
    enrichment: bool,
    /// Leftovers, with their unit
    #[arg(long, value_name = "MASS", value_parser = amount)]
    left: Option<v1::Mass>,
    /// How many minutes it lasted
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    lasted: Option<i32>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
}

/// To whom something was given.
#[derive(Args, Debug)]
#[group(required = true, multiple = false)]
struct To {
    /// To a group: its name, or its id
    #[arg(long, value_name = "GROUP")]
    group: Option<String>,
    /// To an animal alone: house name, accession, transponder, ring or id
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
}

impl Give {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let to = match (self.to.group, self.to.animal) {
            (Some(group), _) => v1::new_feed::To::Group(group),
            (None, animal) => v1::new_feed::To::Animal(animal.unwrap_or_default()),
        };
        let feed = v1::NewFeed {
            to: Some(to),
            food: self.food,
            given: Some(self.mass),
            given_at: when::instant(self.at, zone, session.now())?,
            method: self.how.into(),
            as_enrichment: self.enrichment,
            left: self.left,
            lasted_minutes: self.lasted,
            note: self.note.unwrap_or_default(),
        };
        let ask = v1::RecordFeedsRequest { request_id: request_id(), site, feeds: vec![feed] };
        let feeds = session.ask(ask).await?.feeds;
        errand.show(&Given(feeds.into_iter().map(|feed| View::new(feed, zone)).collect()))
    }
}

/// Record that a group was given what its plan has for a time of the day
#[derive(Args, Debug)]
#[command(after_help = "\
Holt records everything that the plan of that day has for that time. Record anything else with `holt feed give`.

Examples:
  holt feed as-planned \"Weir family\" 06:30
  holt feed as-planned \"Weir family\" 06:30 15:00 --on yesterday")]
pub(super) struct AsPlanned {
    /// The group: its name, or its id
    group: String,
    /// Times of the day, as the plan has them
    #[arg(value_name = "TIME", required = true)]
    times: Vec<String>,
    /// The day [default: today]
    #[arg(long, value_name = "DAY")]
    on: Option<DayWord>,
}

impl AsPlanned {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let on = self.on.unwrap_or(DayWord::FromToday(0));
        let ask = v1::GetFeedingRequest {
            site: site.clone(),
            group: self.group.clone(),
            as_of: Some(day(on.resolve(session.today(zone)))),
            days: 1,
            ..Default::default()
        };
        let plan = session.ask(ask).await?.plan.unwrap_or_default();
        let mut feeds = Vec::new();
        for time in &self.times {
            let at = format!("{} {time}", on.resolve(session.today(zone)));
            let word: WhenWord = at.parse().map_err(|_| {
                Failure::usage(
                    format!("`{time}` is not a time of the day"),
                    "write it as the plan has it: 06:30",
                )
            })?;
            let given_at = when::instant(Some(word), zone, session.now())?;
            let before = feeds.len();
            let of_time = plan.feeds.iter().filter(|feed| feed.time_of_day == *time);
            feeds.extend(of_time.map(|feed| v1::NewFeed {
                to: Some(v1::new_feed::To::Group(self.group.clone())),
                food: feed.food.clone(),
                given: feed.mass,
                given_at: given_at.or_else(|| Some(timestamp(session.now()))),
                method: feed.method,
                as_enrichment: feed.as_enrichment,
                note: feed.note.clone(),
                ..Default::default()
            }));
            if feeds.len() == before {
                return Err(Failure::refused(
                    format!("the plan of that day has nothing for {time}"),
                    "look at it: `holt feed show`; or record what was given: `holt feed give`",
                ));
            }
        }
        let ask = v1::RecordFeedsRequest { request_id: request_id(), site, feeds };
        let feeds = session.ask(ask).await?.feeds;
        errand.show(&Given(feeds.into_iter().map(|feed| View::new(feed, zone)).collect()))
    }
}
