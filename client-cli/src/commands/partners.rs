//! `holt partners`

use crate::errand::{Errand, Outcome};
use crate::session::request_id;
use crate::views::partner::{Found, Search, Terms};
use crate::views::{Many, Told};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Find a home with an unrelated partner for an animal that must leave
#[derive(Args, Debug)]
pub(crate) struct Partners {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Find partners at sites that show cards of their animals, best first
    #[command(after_help = "\
Holt orders partners by kinship (counts 8), by how common their genes are (2), by distance (1) and by a \
border (1). \
Unknown ancestry counts as average kinship. A card shows sex, age, kinship and site of another site's \
animal; its \
registrar finds it by the id. Holt records the search, also for the sites whose animals it compared.

Examples:
  holt partners find Fennel
  holt partners find Fennel Yarrow --most-inbreeding 0.03
  holt partners find Fennel --count distance=5 --count border=0
  holt partners find Fennel --also-taken --format json")]
    Find {
        /// The animals: house name, accession, transponder, ring or id; several of one sex stay together
        #[arg(required = true)]
        animals: Vec<String>,
        /// Highest inbreeding of their offspring by recorded ancestry, 0 to 1 [default: 0.0625]
        #[arg(long, value_name = "SHARE")]
        most_inbreeding: Option<f64>,
        /// Also animals that breed where they are, are about to move or have an open concern
        #[arg(long)]
        also_taken: bool,
        /// How much a criterion counts, 0 to 100: kinship, rarity, distance or border
        #[arg(long, value_name = "CRITERION=N", value_parser = counted)]
        count: Vec<(Criterion, f64)>,
        /// The most cards, 1 to 500 [default: 50]
        #[arg(long, value_name = "N")]
        most: Option<i32>,
    },
    /// Set whether your site shows cards of its animals to other sites
    #[command(after_help = "\
A site shows nothing until you set this to yes. `holt partners searches` shows who looked.

Examples:
  holt partners show-cards yes --note \"two males to give\"
  holt partners show-cards no")]
    ShowCards {
        /// yes or no
        #[arg(value_name = "YES|NO", action = clap::ArgAction::Set, value_parser = clap::builder::BoolishValueParser::new())]
        shown: bool,
        /// What your site seeks and offers, for the others to read
        #[arg(long, value_name = "TEXT")]
        note: Option<String>,
        /// Check everything and record nothing
        #[arg(long)]
        check_only: bool,
    },
    /// List the sites that show cards, with what they seek and offer
    #[command(after_help = "\
Example:
  holt partners sites")]
    Sites,
    /// List searches that your site made, and those that compared its animals
    #[command(after_help = "\
Example:
  holt partners searches")]
    Searches,
}

/// What the order goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Criterion {
    Kinship,
    Rarity,
    Distance,
    Border,
}

/// `distance=5`
fn counted(text: &str) -> Result<(Criterion, f64), String> {
    let mend = "write it as in `distance=5`, with kinship, rarity, distance or border";
    let (name, number) = text.split_once('=').ok_or(mend)?;
    let criterion = match name.trim() {
        "kinship" => Criterion::Kinship,
        "rarity" => Criterion::Rarity,
        "distance" => Criterion::Distance,
        "border" => Criterion::Border,
        _ => return Err(mend.to_owned()),
    };
    let number = number.trim().parse().map_err(|_| mend)?;
    Ok((criterion, number))
}

fn weights(count: Vec<(Criterion, f64)>) -> v1::PartnerWeights {
    let mut weights = v1::PartnerWeights::default();
    for (criterion, number) in count {
        let weight = match criterion {
            Criterion::Kinship => &mut weights.kinship,
            Criterion::Rarity => &mut weights.rarity,
            Criterion::Distance => &mut weights.distance,
            Criterion::Border => &mut weights.border,
        };
        *weight = Some(number);
    }
    weights
}

impl Partners {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let site = errand.site().await?;
        let session = &errand.session;
        match self.what {
            What::Find { animals, most_inbreeding, also_taken, count, most } => {
                let ask = v1::FindPartnersRequest {
                    request_id: request_id(),
                    site,
                    animals,
                    most_inbreeding,
                    also_taken,
                    weights: Some(weights(count)),
                    most: most.unwrap_or_default(),
                };
                let answer = session.ask(ask).await?;
                errand.show(&Found::from(answer))
            }
            What::ShowCards { shown, note, check_only } => {
                let zone = session.zone(&site).await?;
                let ask = v1::SetPartnerTermsRequest {
                    request_id: request_id(),
                    site,
                    shows_cards: shown,
                    note: note.unwrap_or_default(),
                    validate_only: check_only,
                };
                let thing = Terms::new(session.ask(ask).await?.terms.unwrap_or_default(), zone);
                errand.show(&Told::new(thing, check_only, Terms::spoken))
            }
            What::Sites => {
                let zone = session.zone(&site).await?;
                let answer = session.ask(v1::ListPartnerTermsRequest { site }).await?;
                let terms = answer.terms.into_iter().map(|terms| Terms::new(terms, zone)).collect();
                errand.show(&Many(terms))
            }
            What::Searches => {
                let zone = session.zone(&site).await?;
                let ask = v1::ListPartnerSearchesRequest { site, page: None };
                let searches = session.all(ask, usize::MAX).await?;
                let searches = searches.into_iter().map(|one| Search::new(one, zone)).collect();
                errand.show(&Many(searches))
            }
        }
    }
}
