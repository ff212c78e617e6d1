//! `holt kin`

use super::when;
use crate::errand::{Errand, Outcome};
use crate::views::kinship::{Compared, Family};
use clap::{Args, Subcommand};
use holt_proto::v1;

/// Kin of an animal, and how closely animals are related
#[derive(Args, Debug)]
pub(crate) struct Kin {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Show parents, siblings, offspring and ancestors of an animal, and its inbreeding
    #[command(after_help = "\
An ancestor at a site that you may not see counts as unknown. The lowest and highest figures show how much \
that leaves open.

Examples:
  holt kin show Fern
  holt kin show Fern --generations 5
  holt kin show Fern --format json")]
    Show {
        /// The animal: house name, accession, transponder, ring or id
        animal: String,
        /// Generations of ancestors, 1 to 10 [default: 3]
        #[arg(long, value_name = "N")]
        generations: Option<i32>,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
    /// Compare animals, or the members of a group: the kinship of each pair
    #[command(after_help = "\
The kinship of two animals is the inbreeding that their offspring would have. Mean kinship is over all \
animals compared, the animal itself included.

Examples:
  holt kin compare Fern Larch
  holt kin compare --group \"Weir family\"
  holt kin compare --group \"Weir family\" --format csv")]
    Compare {
        /// The animals: house name, accession, transponder, ring or id
        #[arg(required_unless_present = "group", conflicts_with = "group")]
        animals: Vec<String>,
        /// The group: its name, or its id
        #[arg(long, value_name = "GROUP")]
        group: Option<String>,
        #[command(flatten)]
        as_known_at: when::AsKnownAt,
    },
}

impl Kin {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let session = &errand.session;
        let (site, zone) = errand.here().await?;
        match self.what {
            What::Show { animal, generations, as_known_at } => {
                let ask = v1::GetKinRequest {
                    site,
                    animal,
                    generations: generations.unwrap_or_default(),
                    as_known_at: as_known_at.instant(zone, session.now())?,
                };
                let answer = session.ask(ask).await?;
                errand.show(&Family::from(answer))
            }
            What::Compare { animals, group, as_known_at } => {
                let ask = v1::CompareKinshipRequest {
                    site,
                    animals,
                    group: group.unwrap_or_default(),
                    as_known_at: as_known_at.instant(zone, session.now())?,
                };
                let answer = session.ask(ask).await?;
                errand.show(&Compared::from(answer))
            }
        }
    }
}
