//! `holt feed leftovers`, `holt feed withdraw`

use super::amount;
use crate::errand::{Errand, Outcome, id_part, lately};
use crate::failure::Failure;
use crate::session::{Session, request_id};
use crate::views::Told;
use crate::views::feeding::Feed as View;
use clap::Args;
use holt_proto::v1;

/// Record the leftovers of a feed, and how long it lasted
#[derive(Args, Debug)]
#[command(after_help = "\
They replace those recorded before. `holt feed show` and `holt feed list` show feeds with their ids. For the \
last month, four characters from the beginning or end of an id are enough.

Examples:
  holt feed leftovers 0000002a 35g
  holt feed leftovers 0000002a 0g --lasted 25")]
pub(super) struct Leftovers {
    /// The feed: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    feed: String,
    /// Leftovers, with their unit
    #[arg(value_name = "MASS", value_parser = amount)]
    left: v1::Mass,
    /// How many minutes it lasted
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    lasted: Option<i32>,
}

/// The identifier that a part of one means.
async fn find(session: &Session, site: &str, part: &str) -> Result<String, Failure> {
    let ask = |site, days| v1::ListFeedsRequest { site, days: Some(days), ..Default::default() };
    lately(session, site, part, ("feed", "holt feed list"), ask, |feed| &feed.id).await
}

impl Leftovers {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::RecordLeftoversRequest {
            request_id: request_id(),
            feed_id: find(session, &site, &self.feed).await?,
            site,
            left: Some(self.left),
            lasted_minutes: self.lasted,
        };
        let thing = View::new(session.ask(ask).await?.feed.unwrap_or_default(), zone);
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}

/// Withdraw a feed that was not given
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt feed withdraw 0000002a --because \"entered twice\"")]
pub(super) struct Withdraw {
    /// The feed: its id, or the beginning or end of it
    #[arg(value_name = "ID", value_parser = id_part)]
    feed: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
}

impl Withdraw {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let ask = v1::WithdrawFeedRequest {
            request_id: request_id(),
            feed_id: find(session, &site, &self.feed).await?,
            site,
            because: self.because,
        };
        let thing = View::new(session.ask(ask).await?.feed.unwrap_or_default(), zone);
        let say = format!("Withdrawn: {}", thing.spoken());
        errand.show(&Told { thing, say })
    }
}
