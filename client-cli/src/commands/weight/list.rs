//! `holt weight list`

use crate::commands::drawn::{Drawn, Recorded};
use crate::commands::when;
use crate::errand::{Errand, Outcome, most};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::profile::Source;
use crate::views::growth::Expected;
use crate::views::weight::{Weight, Weights as View};
use clap::Args;
use holt_proto::{time, v1};

/// List the weights of an animal, or of a site, newest first
#[derive(Args, Debug)]
#[command(after_help = "\
For an animal, Holt lists the readings of all sites that you may see, unless --site names one.

The chart shows one animal: its readings, those to weigh again, the next expected weight with its 95 % \
interval, and each concern with a number.

Examples:
  holt weight list Bramble
  holt weight list Bramble --from 2026-01-01 --chart
  holt weight list Bramble --svg bramble.svg
  holt weight list --from 2026-02-01 --to 2026-02-28 --format csv
  holt weight list Bramble --as-known-at \"2026-02-20 12:00\"")]
pub(super) struct List {
    /// The animal [default: all of the site]
    animal: Option<String>,
    #[command(flatten)]
    days: when::Days,
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
    /// Show only the newest N
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    limit: Option<u32>,
    #[command(flatten)]
    drawn: Drawn,
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        if self.drawn.is_wanted() && self.animal.is_none() {
            return Err(Failure::usage(
                "a chart shows one animal",
                "name it: `holt weight list Bramble --chart`",
            ));
        }
        let session = &errand.session;
        let zones = session.zones().await?;
        let named = errand.settings.site.as_ref().filter(|site| matches!(site.source, Source::Flag(_)));
        let site = match (&self.animal, named) {
            (_, Some(site)) => site.value.clone(),
            (Some(_), None) => String::new(),
            (None, None) => errand.site().await?,
        };
        let zone = zones.of(&site);
        let ask = v1::ListWeightsRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: self.days.span(session.today(zone))?,
            page: None,
            as_known_at: self.as_known_at.instant(zone, session.now())?,
        };
        let known_now = self.as_known_at.is_now();
        let animal = ask.animal.clone();
        let limit = most(self.limit);
        let days = ask.days;
        if self.drawn.is_wanted() {
            let next = if known_now { next(errand, animal.clone()).await? } else { None };
            let day = |day: Option<v1::Day>| day.and_then(|day| time::whole_day(day).ok());
            let last = days.and_then(|days| day(days.last));
            let first = self.days.from.and(days).and_then(|days| day(days.first));
            let recorded = Recorded::of(session, ask, limit, true).await?;
            let chart = recorded.weighed(&animal, next, (first, last)).chart();
            return self.drawn.show(errand, &chart);
        }
        let weights = session.all(ask, limit).await?;
        let views = weights.into_iter().map(|weight| {
            let zone = zones.of(&weight.site);
            Weight::new(weight, zone)
        });
        let weights = views.collect();
        let expected = if known_now && !animal.is_empty() { next(errand, animal).await? } else { None };
        errand.show(&View { weights, next: expected.map(Expected::from) })
    }
}

/// What an animal is expected to weigh next, if the site has it.
async fn next(errand: &Errand<'_>, animal: String) -> Result<Option<v1::ExpectedWeight>, Failure> {
    let site = match errand.named_site() {
        Some(site) => Ok(site),
        None => errand.own_site().await?,
    };
    let Ok(site) = site else { return Ok(None) };
    match errand.session.ask(v1::GetGrowthRequest { site, animal, expected_on: None }).await {
        Ok(answer) => Ok(answer.next),
        Err(failure) if failure.exit == Exit::NotFound => Ok(None),
        Err(failure) => Err(failure),
    }
}
