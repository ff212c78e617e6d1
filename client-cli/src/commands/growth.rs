//! `holt growth`

use super::drawn::{Drawn, Recorded};
use super::kept::{Load, all, list};
use crate::chart::Chart;
use crate::errand::{Errand, Input, Outcome};
use crate::exit::Exit;
use crate::failure::Failure;
use crate::moment::DayWord;
use crate::views::growth::{Growing, Need, OfSpecies, Reference};
use crate::views::growth_chart::Grown;
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::time::day;
use holt_proto::v1;
use std::path::Path;

/// Growth: expected weights, growth curves, and the energy that animals need
#[derive(Args, Debug)]
pub(crate) struct Growth {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Show the expected weight of an animal, beside its litter and its species
    #[command(after_help = "\
Examples:
  holt growth show Pip
  holt growth show Pip --chart
  holt growth show Pip --svg pip.svg
  holt growth show Pip --on 2026-03-16")]
    Show {
        /// The animal: house name, accession, transponder, ring or id
        animal: String,
        /// Day of the expected weight [default: its next weighing]
        #[arg(long, value_name = "DAY")]
        on: Option<DayWord>,
        #[command(flatten)]
        drawn: Drawn,
    },
    /// Fit a growth curve to the animals of a species, from the history of the site
    #[command(after_help = "\
The curve has two intervals: one for the curve itself, by resampling the animals, and one for a single animal.

Examples:
  holt growth species \"Lontra canadensis\"
  holt growth species \"Lontra canadensis\" --sex female --format csv")]
    Species {
        /// Scientific name
        scientific_name: String,
        /// Only this sex
        #[arg(long, value_parser = words::parser::<v1::Sex>())]
        sex: Option<v1::Sex>,
    },
    /// Estimate the energy that an animal needs a day, and compare a diet with it
    #[command(after_help = "\
Holt calculates the need from weight alone; for one animal it can be wrong by a third. Judge a ration by the \
weights that follow it. `holt species describe` sets what the species needs.

Examples:
  holt growth need Bramble
  holt growth need Bramble --offered 420 --ask")]
    Need {
        /// The animal: house name, accession, transponder, ring or id
        animal: String,
        /// Energy of its diet, kcal a day
        #[arg(long, value_name = "KCAL")]
        offered: Option<f64>,
        /// Exit with 10 if the diet does not fit
        #[arg(long, requires = "offered")]
        ask: bool,
    },
    /// Load a version of a reference curve from a TOML file; a version, once loaded, never changes
    #[command(after_help = "\
Examples:
  holt growth load otter-cubs.toml --check-only
  holt growth load otter-cubs.toml")]
    Load(Load),
    /// List the reference curves, all versions
    #[command(after_help = "Examples:\n  holt growth references")]
    References,
}

impl Growth {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Show { animal, on, drawn } => {
                let site = errand.site().await?;
                let session = &errand.session;
                let on = match on {
                    None => None,
                    Some(on) => Some(day(on.resolve(session.today(session.zone(&site).await?)))),
                };
                let ask =
                    v1::GetGrowthRequest { site: site.clone(), animal: animal.clone(), expected_on: on };
                let answer = session.ask(ask).await?;
                if drawn.is_wanted() {
                    let chart = chart(errand, site, &animal, &answer).await?;
                    return drawn.show(errand, &chart);
                }
                errand.show(&Growing::from(answer))
            }
            What::Species { scientific_name, sex } => {
                let site = errand.site().await?;
                let ask = v1::FitSpeciesGrowthRequest {
                    site,
                    taxon: scientific_name.clone(),
                    sex: sex.unwrap_or_default().into(),
                };
                let answer = errand.session.ask(ask).await?;
                errand.show(&OfSpecies::new(scientific_name, answer))
            }
            What::Need { animal, offered, ask } => {
                let site = errand.site().await?;
                let question = v1::EstimateEnergyNeedRequest { site, animal, offered_kcal: offered };
                let need = Need::new(offered, errand.session.ask(question).await?);
                errand.show(&need)?;
                Ok(if ask && !need.fits() { Exit::No } else { Exit::Done })
            }
            What::Load(file) => {
                let say = |one: &Reference| format!("Loaded {}, for {}.", one.spoken(), one.scientific_name);
                file.run::<v1::GrowthReference>(errand, lossy, say).await
            }
            What::References => list::<v1::GrowthReference>(errand).await,
        }
    }
}

fn lossy(input: &mut Input<'_>, file: &Path) -> Result<String, Failure> {
    Ok(String::from_utf8_lossy(&input.file(file)?).into_owned())
}

/// Everything of an animal's growth that can be drawn.
async fn chart(
    errand: &Errand<'_>,
    site: String,
    animal: &str,
    growth: &v1::GetGrowthResponse,
) -> Result<Chart, Failure> {
    let session = &errand.session;
    let ask = v1::ListWeightsRequest { site, animal: animal.to_owned(), ..Default::default() };
    let recorded = Recorded::of(session, ask, usize::MAX, true).await?;
    let references = all(session).await?;
    let weighed = recorded.weighed(animal, growth.next, (None, None));
    Ok(Grown { weighed, growth, references: &references }.chart())
}
