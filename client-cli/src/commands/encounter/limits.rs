//! `holt encounter limit`, `holt encounter limits`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::request_id;
use crate::views::encounter::Rule as View;
use crate::views::{Many, Told};
use clap::Args;
use holt_proto::v1;
use holt_proto::v1::set_encounter_limits_request::Of;

/// Set the limits of a species or of one animal; they replace the earlier ones
#[derive(Args, Debug)]
#[command(after_help = "\
What you leave out has no limit. An animal's own limits replace all those of its species.

Examples:
  holt encounter limit --species \"Lontra canadensis\" --minutes-a-day 45 \\
    --rest 60 --free-days 2
  holt encounter limit --animal Sedge --encounters-a-day 1 --because \"pregnant\"
  holt encounter limit --animal Sedge --none --because \"her pups are weaned\"")]
pub(super) struct Limit {
    #[command(flatten)]
    of: OfWhom,
    /// Minutes on one day
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=1440))]
    minutes_a_day: Option<i32>,
    /// Minutes in any seven consecutive days
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    minutes_a_week: Option<i32>,
    /// Encounters that begin on one day
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(i32).range(0..=100))]
    encounters_a_day: Option<i32>,
    /// Minutes of rest between the end of one and the beginning of the next
    #[arg(long, value_name = "MINUTES", value_parser = clap::value_parser!(i32).range(0..=10_080))]
    rest: Option<i32>,
    /// Days without an encounter in any seven consecutive days
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(0..=7))]
    free_days: Option<i32>,
    /// No limits
    #[arg(long)]
    #[arg(conflicts_with_all = ["minutes_a_day", "minutes_a_week", "encounters_a_day", "rest", "free_days"])]
    none: bool,
    /// Why, if they replace other limits
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

/// For what limits hold.
#[derive(Args, Debug)]
#[group(required = true, multiple = false)]
struct OfWhom {
    /// For all of a species: its scientific name
    #[arg(long, value_name = "SPECIES")]
    species: Option<String>,
    /// For one animal: house name, accession, transponder, ring or id
    #[arg(long, value_name = "ANIMAL")]
    animal: Option<String>,
}

impl Limit {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let limits = v1::EncounterLimits {
            minutes_a_day: self.minutes_a_day,
            minutes_a_week: self.minutes_a_week,
            encounters_a_day: self.encounters_a_day,
            rest_minutes: self.rest,
            free_days_a_week: self.free_days,
        };
        if !self.none && limits == v1::EncounterLimits::default() {
            return Err(Failure::usage("no limit given", "give one such as --minutes-a-day 45, or --none"));
        }
        let of = match (self.of.species, self.of.animal) {
            (Some(name), _) => Of::Taxon(name),
            (None, animal) => Of::Animal(animal.unwrap_or_default()),
        };
        let ask = v1::SetEncounterLimitsRequest {
            request_id: request_id(),
            site: errand.site().await?,
            of: Some(of),
            limits: Some(limits),
            because: self.because.unwrap_or_default(),
        };
        let thing = View::from(errand.session.ask(ask).await?.rule.unwrap_or_default());
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}

/// List the limits of a site
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt encounter limits\n  holt encounter limits --format csv")]
pub(super) struct Limits {
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Limits {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let as_known_at = self.as_known_at.instant(zone, session.now())?;
        let rules = session.ask(v1::ListEncounterLimitsRequest { site, as_known_at }).await?.rules;
        errand.show(&Many(rules.into_iter().map(View::from).collect()))
    }
}
