//! `holt enrich item`, `holt enrich terms`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::Told;
use crate::views::enrichment::{Item as View, Terms as TermsView};
use crate::words;
use clap::Args;
use holt_proto::v1;

/// Put an item on record, say something else of one that is, or take it out of use
#[derive(Args, Debug)]
#[command(after_help = "\
All that is to be said of the item is said: what is left out is not so any more. Hazards are words of your own, \
the same as in `holt enrich terms`.

Examples:
  holt enrich item \"Puzzle box\" --kind cognitive --minutes 15 --rest 2 --kcal 60
  holt enrich item \"Rope tangle\" --kind structural --hazard loose-cord
  holt enrich item \"Mirror box\" --kind social --not-for \"Lontra canadensis\"
  holt enrich item \"Rope tangle\" --kind structural --out-of-use \\
    --because \"a paw was caught\"")]
pub(super) struct Item {
    /// Its name, unique at the site
    name: String,
    /// What it appeals to
    #[arg(long, value_parser = words::parser::<v1::EnrichmentKind>())]
    kind: v1::EnrichmentKind,
    /// One offering takes so many minutes of staff
    #[arg(long, value_name = "MINUTES", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=1440))]
    minutes: i32,
    /// So many days must lie between two offerings to one group
    #[arg(long, value_name = "DAYS", default_value_t = 0, value_parser = clap::value_parser!(i32).range(0..=366))]
    rest: i32,
    /// Something that can go wrong with it; may be given again
    #[arg(long, value_name = "WORD")]
    hazard: Vec<String>,
    /// Scientific name of a species that it is not for; may be given again
    #[arg(long, value_name = "SPECIES")]
    not_for: Vec<String>,
    /// Energy of one offering, kcal; it counts to the ration
    #[arg(long, value_name = "KCAL")]
    kcal: Option<f64>,
    /// Remarks
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// It is offered no more; what was offered stays
    #[arg(long)]
    out_of_use: bool,
    /// Why, where something else was said of it before
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

/// Say which hazards are not taken with a group, and how many things it is offered a day
#[derive(Args, Debug)]
#[command(after_help = "\
Examples:
  holt enrich terms \"Weir family\" --refuse loose-cord --refuse glass --a-day 2")]
pub(super) struct Terms {
    /// The group: its name, or its id
    group: String,
    /// A hazard that is not taken; may be given again
    #[arg(long, value_name = "WORD")]
    refuse: Vec<String>,
    /// A rota offers it so many things a day
    #[arg(long, value_name = "NUMBER", default_value_t = 1, value_parser = clap::value_parser!(i32).range(1..=20))]
    a_day: i32,
    /// Why, where something else held before
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
}

impl Terms {
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
