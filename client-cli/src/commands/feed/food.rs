//! `holt feed food`, `holt feed foods`

use crate::commands::when;
use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::feeding::Food as View;
use crate::views::{Many, Told};
use clap::Args;
use holt_proto::notation::energy::{self, EnergyError};
use holt_proto::v1;

/// Add a food, or change one
#[derive(Args, Debug)]
#[command(after_help = "\
The energy is that of the food as fed, with its unit: kcal, kJ or MJ per g, 100g or kg. A change applies to \
all that was ever given of the food; record one with other energy as another food.

Examples:
  holt feed food Trout 1.48kcal/g --source \"maker's table, 2026\"
  holt feed food \"Chick, day-old\" \"565 kJ/100g\" --source \"laboratory, lot 4\"")]
pub(super) struct Food {
    /// Its name, unique at the site
    name: String,
    /// Its energy, with its unit
    #[arg(value_name = "ENERGY", value_parser = energy)]
    energy: f64,
    /// Source of the energy
    #[arg(long, value_name = "TEXT")]
    source: String,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Why, if it replaces other figures
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

fn energy(text: &str) -> Result<f64, EnergyError> {
    energy::parse(text)
}

impl Food {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = v1::SetFoodRequest {
            request_id: request_id(),
            site: errand.site().await?,
            name: self.name,
            kcal_per_g: self.energy,
            source: self.source,
            note: self.note.unwrap_or_default(),
            because: self.because.unwrap_or_default(),
        };
        let answer = errand.session.ask(ask).await?;
        let thing = View::from(answer.food.unwrap_or_default());
        let has = format!("{} has {}", thing.name, thing.energy());
        let say = if answer.changed {
            format!("{has}, also in all that was given of it.")
        } else {
            format!("{has}.")
        };
        errand.show(&Told { thing, say })
    }
}

/// List the foods of a site
#[derive(Args, Debug)]
#[command(after_help = "Examples:\n  holt feed foods\n  holt feed foods --format csv")]
pub(super) struct Foods {
    #[command(flatten)]
    as_known_at: when::AsKnownAt,
}

impl Foods {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        let as_known_at = self.as_known_at.instant(zone, session.now())?;
        let foods = session.ask(v1::ListFoodsRequest { site, as_known_at }).await?.foods;
        errand.show(&Many(foods.into_iter().map(View::from).collect()))
    }
}
