//! `holt enrich item`, `holt enrich limits`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::Told;
use crate::views::enrichment::{Item as View, Terms as TermsView};
use crate::words;
use clap::Args;
use holt_proto::v1;

/// Add an item, change it, or take it out of use
#[derive(Args, Debug)]
#[command(after_help = "\
The new description replaces the old one: what you leave out no longer applies. Hazards are words of your \
own, the same as in `holt enrich limits`.

Examples:
  holt enrich item \"Puzzle box\" --kind cognitive --minutes 15 --rest 2 --kcal 60
  holt enrich item \"Rope tangle\" --kind structural --hazard loose-cord
  holt enrich item \"Mirror box\" --kind social --not-for \"Lontra canadensis\"
  holt enrich item \"Rope tangle\" --kind structural --out-of-use \\
    --because \"a paw was caught\"")]
pub(super) struct Item {
    /// Its name, unique at the site
    name: String,
    /// Kind of enrichment
    #[arg(long, value_parser = words::parser::<v1::EnrichmentKind>())]
    kind: v1::EnrichmentKind,
    /// Staff minutes of one offer
    #[arg(long, value_name = "MINUTES", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=1440))]
    minutes: i32,
    /// Days between two offers to one group
    #[arg(long, value_name = "DAYS", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=366))]
    rest: i32,
    /// A hazard; may be given several times
    #[arg(long, value_name = "WORD")]
    hazard: Vec<String>,
    /// Scientific name of a species that it is not for; may be given several times
    #[arg(long, value_name = "SPECIES")]
    not_for: Vec<String>,
    /// Energy of one offer, kcal; it counts towards the ration
    #[arg(long, value_name = "KCAL")]
    kcal: Option<f64>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Take it out of use; earlier offers stay
    #[arg(long)]
    out_of_use: bool,
    /// Why, if it replaces another description
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

impl Item {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let item = v1::EnrichmentItem {
            name: self.name,
            kind: self.kind.into(),
            staff_minutes: self.minutes,
            rest_days: self.rest,
            hazards: self.hazard,
            not_for: self.not_for,
            kcal: self.kcal,
            note: self.note.unwrap_or_default(),
            out_of_use: self.out_of_use,
            ..Default::default()
        };
        let ask = v1::SetEnrichmentItemRequest {
            request_id: request_id(),
            site: errand.site().await?,
            item: Some(item),
            because: self.because.unwrap_or_default(),
        };
        let thing = View::from(errand.session.ask(ask).await?.item.unwrap_or_default());
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}

/// Set which hazards a group must not meet, and how many items it gets a day
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt enrich limits \"Weir family\" --refuse loose-cord --refuse glass --a-day 2")]
pub(super) struct Limits {
    /// The group: its name, or its id
    group: String,
    /// A hazard that it must not meet; may be given several times
    #[arg(long, value_name = "WORD")]
    refuse: Vec<String>,
    /// Items a day in a rota
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(i32).range(1..=20))]
    a_day: i32,
    /// Why, if they replace other limits
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

impl Limits {
    pub(super) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let terms =
            v1::EnrichmentTerms { group: self.group, refused_hazards: self.refuse, offers_a_day: self.a_day };
        let ask = v1::SetEnrichmentTermsRequest {
            request_id: request_id(),
            site: errand.site().await?,
            terms: Some(terms),
            because: self.because.unwrap_or_default(),
        };
        let thing = TermsView::from(errand.session.ask(ask).await?.terms.unwrap_or_default());
        let say = thing.spoken();
        errand.show(&Told { thing, say })
    }
}
