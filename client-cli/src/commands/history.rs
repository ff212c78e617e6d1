//! `holt history`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::WhenWord;
use crate::session::Session;
use crate::views::fact::History as View;
use clap::Args;
use holt_proto::v1;

/// Show everything recorded about an animal, in the order in which it happened
#[derive(Args, Debug)]
#[command(after_help = "\
--changed-since also shows what was replaced or withdrawn, with the reason.

Examples:
  holt history Bramble
  holt history Bramble --as-known-at \"2026-02-20 12:00\"
  holt history QUI-25-0001 --changed-since 2026-02-20T12:00Z --format json")]
pub(crate) struct History {
    /// The animal
    animal: String,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Only what was recorded since this time, and what no longer stands
    #[arg(long, value_name = "TIME")]
    changed_since: Option<WhenWord>,
}

impl History {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let zones = session.zones().await?;
        let site = errand.site_if_clear().await?.unwrap_or_default();
        let (zone, now) = (zones.of(&site), session.now());
        let ask = v1::GetHistoryRequest {
            site,
            animal: self.animal,
            as_known_at: self.as_known_at.instant(zone, now)?,
            changed_since: when::instant(self.changed_since, zone, now)?,
            page: None,
        };
        let history = get(session, ask).await?;
        errand.show(&View::new(history, &zones))
    }
}

/// A whole history; in the terms of any site, where the one that is meant does not know the animal.
pub(super) async fn get(
    session: &Session,
    ask: v1::GetHistoryRequest,
) -> Result<v1::GetHistoryResponse, Failure> {
    let mut whole = v1::GetHistoryResponse::default();
    let look = |answer: &v1::GetHistoryResponse, whole: &mut v1::GetHistoryResponse| {
        *whole = v1::GetHistoryResponse { facts: Vec::new(), page: None, ..answer.clone() };
    };
    let found = session.pages(ask.clone(), usize::MAX, |answer| look(answer, &mut whole)).await;
    whole.facts = match found {
        Err(failure) if failure.exit == Exit::NotFound && !ask.site.is_empty() => {
            let ask = v1::GetHistoryRequest { site: String::new(), ..ask };
            session.pages(ask, usize::MAX, |answer| look(answer, &mut whole)).await?
        }
        facts => facts?,
    };
    Ok(whole)
}
