//! `holt concern list`

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
With --replay, Holt goes through the past week by week. It lists what it would have raised, by today's \
thresholds and by those of --with. Nothing is recorded.

The chart shows the weights of one animal, and each concern on its day.

Examples:
  holt concern list
  holt concern list --animal Bramble --closed
  holt concern list --animal Bramble --closed --svg bramble.svg
  holt concern list --replay --from 2025-01-01 --with false_a_year=0.2
  holt concern list --all-sites --format csv")]
pub(super) struct List {
    /// Only those of this animal
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
    /// Also closed ones
    #[arg(long)]
    closed: bool,
    /// As known at this time [default: now]
    #[arg(long, value_name = "TIME", conflicts_with = "replay")]
    as_known_at: Option<WhenWord>,
    /// All your sites, not only the one in use
    #[arg(long, conflicts_with = "replay")]
    all_sites: bool,
    /// Go through the past of the site again
    #[arg(long, requires = "from", conflicts_with = "closed")]
    replay: bool,
    /// First day of the replay
    #[arg(long, value_name = "DAY", requires = "replay")]
    from: Option<DayWord>,
    /// Last day of the replay [default: today]
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
    let value = value.trim().parse().map_err(|_| format!("`{value}` is not a number"))?;
    Ok(v1::Threshold { name: name.trim().to_owned(), value })
}

impl List {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
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
            include_settled: self.closed,
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
                "a chart shows one animal of one site",
                "name the animal with --animal, and leave out --replay and --all-sites",
            ));
        };
        let session = &errand.session;
        let site = errand.named_site().unwrap_or_default();
        let zone = session.zones().await?.of(&site);
        let as_known_at = when::instant(self.as_known_at, zone, session.now())?;
        let ask = v1::ListWeightsRequest { site, animal: animal.clone(), as_known_at, ..Default::default() };
        let recorded = Recorded::of(session, ask, usize::MAX, self.closed).await?;
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
