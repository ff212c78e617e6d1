//! `holt concerns`

use crate::commands::drawn::{Drawn, Recorded};
use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::moment::{DayWord, WhenWord};
use crate::views::concern::{Concern, Concerns as View};
use crate::views::replay::Replay;
use clap::Args;
use holt_proto::v1;

/// List the open concerns, worst first, with the numbers that raised them
#[derive(Args, Debug)]
#[command(after_help = "\
With --replay the past is watched again, week by week: what would have been raised when, under the \
thresholds of today and under those given with --with, and how often in all. Nothing is recorded.

The chart is of the weights of one animal, with each concern where it was raised.

Examples:
  holt concerns
  holt concerns --animal Bramble --settled
  holt concerns --animal Bramble --settled --svg bramble.svg
  holt concerns --replay --from 2025-01-01 --with false_a_year=0.2
  holt concerns --all-sites --format csv")]
pub(crate) struct Concerns {
    /// Of one animal
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    /// Settled ones, too
    #[arg(long)]
    settled: bool,
    /// As they stood, and as was known, at this time; now, unless given
    #[arg(long, value_name = "TIME", conflicts_with = "replay")]
    as_known_at: Option<WhenWord>,
    /// At all your sites, whichever is meant otherwise
    #[arg(long, conflicts_with = "replay")]
    all_sites: bool,
    /// Watch the past of the site again
    #[arg(long, requires = "from", conflicts_with = "settled")]
    replay: bool,
    /// First day to watch again
    #[arg(long, value_name = "DAY", requires = "replay")]
    from: Option<DayWord>,
    /// Last day to watch again; today, unless given
    #[arg(long, value_name = "DAY", requires = "replay")]
    to: Option<DayWord>,
    /// A threshold with another value; may be given several times
    #[arg(long, value_name = "THRESHOLD=VALUE", requires = "replay", value_parser = threshold)]
    with: Vec<v1::Threshold>,
    #[command(flatten)]
    drawn: Drawn,
}

fn threshold(text: &str) -> Result<v1::Threshold, String> {
    let (name, value) = text.split_once('=').ok_or("write a threshold and its value: false_a_year=0.2")?;
    let value = value.trim().parse().map_err(|_| format!("`{value}` is no number"))?;
    Ok(v1::Threshold { name: name.trim().to_owned(), value })
}

impl Concerns {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        if self.drawn.is_wanted() {
            return self.draw(errand).await;
        }
        if self.replay {
            return self.watch_again(errand).await;
        }
        let session = &errand.session;
        let site = if self.all_sites { String::new() } else { errand.named_site().unwrap_or_default() };
        let zones = session.zones().await?;
        let as_known_at = when::instant(self.as_known_at, zones.of(&site), session.now())?;
        let ask = v1::ListConcernsRequest {
            as_known_at,
            site,
            animal: self.animal.unwrap_or_default(),
            include_settled: self.settled,
            page: None,
        };
        let mut caution = String::new();
        let concerns = session.pages(ask, usize::MAX, |page| page.caution.clone_into(&mut caution)).await?;
        let concerns = concerns.into_iter().map(|concern| Concern::new(concern, &zones)).collect();
        errand.show(&View { concerns, caution })
    }

    /// The weights of an animal with its concerns.
    async fn draw(self, errand: &mut Errand<'_>) -> Outcome {
        let Some(animal) = self.animal.filter(|_| !self.replay && !self.all_sites) else {
            return Err(Failure::usage(
                "a chart is of one animal as it was, and of one site",
                "name the animal with --animal, and leave out --replay and --all-sites",
            ));
        };
        let session = &errand.session;
        let site = errand.named_site().unwrap_or_default();
        let zone = session.zones().await?.of(&site);
        let as_known_at = when::instant(self.as_known_at, zone, session.now())?;
        let ask = v1::ListWeightsRequest { site, animal: animal.clone(), as_known_at, ..Default::default() };
        let recorded = Recorded::of(session, ask, usize::MAX, self.settled).await?;
        let chart = recorded.weighed(&animal, None, (None, None)).chart();
        self.drawn.show(errand, &chart)
    }

    async fn watch_again(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let zone = errand.session.zones().await?.of(&site);
        let ask = v1::ReplayConcernsRequest {
            site,
            animal: self.animal.unwrap_or_default(),
            days: when::span(self.from, self.to, errand.session.today(zone))?,
            thresholds: self.with,
        };
        let answer = errand.session.ask(ask).await?;
        errand.show(&Replay::from(answer))
    }
}
