//! `holt species`

use super::proposal;
use crate::errand::{Errand, Outcome};
use crate::failure::Failure;
use crate::session::request_id;
use crate::views::species::Species as View;
use crate::views::{Many, Told};
use crate::words;
use clap::{Args, Subcommand};
use holt_proto::v1;
use holt_proto::v1::propose_change_request::Change;

/// Species that animals can belong to
#[derive(Args, Debug)]
pub(crate) struct Species {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, Subcommand)]
enum What {
    /// Add a species or subspecies
    #[command(after_help = "\
Ages and times let Holt refuse an impossible parent; leave them out if they are not known.

Examples:
  holt species add \"Lontra canadensis\" \"North American river otter\"
  holt species add \"Aonyx cinereus\" \"Asian small-clawed otter\" \\
    --cites I --breeds-from 365 --carries-up-to 74 --synonym \"Amblonyx cinereus\"")]
    Add {
        /// Scientific name: a capital genus and one or two lower-case epithets
        scientific_name: String,
        /// Name as people say it
        common_name: String,
        /// Age in days from which it can be a parent
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=36600))]
        breeds_from: Option<i32>,
        /// Longest time in days from mating to birth
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=3660))]
        carries_up_to: Option<i32>,
        /// Appendix of CITES in which it is listed
        #[arg(long, value_name = "APPENDIX", value_parser = words::parser::<v1::CitesAppendix>())]
        cites: Option<v1::CitesAppendix>,
        /// Another name of it; may be given several times
        #[arg(long = "synonym", value_name = "NAME")]
        synonyms: Vec<String>,
    },
    /// Change the name or the figures of a species; its earlier name stays as a synonym
    #[command(after_help = "\
A synonym finds the same animals, and Holt shows the accepted name.

Examples:
  holt species update \"Aonyx cinereus\" --cites I --because \"listed since 2019\"
  holt species update \"Amblonyx cinereus\" --rename \"Aonyx cinereus\" \\
    --year 1987 --source \"Corbet & Hill\" --because \"genus revised\"
  holt species update \"Aonyx cinereus\" --synonym \"Aonyx cinerea\" \\
    --because \"spelling on older papers\"
  holt species update \"Aonyx cinereus\" --cites I --propose \\
    --because \"listed since 2019\"")]
    Update(Update),
    /// Set what is usual in a species, so that Holt can expect its weights
    #[command(after_help = "\
The new description replaces the old one: give all that applies. With --gestation, Holt leaves the weeks in \
which a dam was pregnant out of her usual weight, and the fall at birth is not a loss. With --seasonal, Holt \
compares weights with those of your own animals at the same season of other years. Energy at rest is in kcal \
a day of a body of 1 kg (70 for placental mammals); --need gives the usual multiples of it in keeping.

Examples:
  holt species describe \"Aonyx cinereus\" --gestation 62 \\
    --source \"our own births, 2012 to 2025\"
  holt species describe \"Lontra canadensis\" --seasonal --rest-kcal 70 \\
    --need 1.4 --need 2.0 --source \"house diet sheet, 2024\"")]
    Describe {
        /// Scientific name
        scientific_name: String,
        /// Usual days from conception to birth
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(1..=3660))]
        gestation: Option<i32>,
        /// Its animals gain and lose with the seasons
        #[arg(long)]
        seasonal: bool,
        /// Energy at rest, kcal a day of a body of 1 kg
        #[arg(long, value_name = "KCAL", requires = "need")]
        rest_kcal: Option<f64>,
        /// Usual multiple of energy at rest in keeping; give it twice, the lowest and the highest
        #[arg(long, value_name = "MULTIPLE", requires = "rest_kcal")]
        need: Vec<f64>,
        /// Source: a book with its page, a study, long practice
        #[arg(long, value_name = "TEXT")]
        source: String,
        /// Propose it to the curator for your site, and say why
        #[arg(long, value_name = "WHY")]
        propose: Option<String>,
        /// Check the proposal and record nothing
        #[arg(long, requires = "propose")]
        check_only: bool,
    },
    /// List all species
    #[command(after_help = "Examples:\n  holt species list")]
    List,
}

#[derive(Args, Debug)]
struct Update {
    /// The species, by any of its names
    species: String,
    /// Its new scientific name
    #[arg(long, value_name = "NAME")]
    rename: Option<String>,
    /// Year of the publication that gave it the new name
    #[arg(long, value_name = "YEAR", requires = "rename", value_parser = clap::value_parser!(i32).range(1758..=9999))]
    year: Option<i32>,
    /// That publication, or the list that the name is taken from
    #[arg(long, value_name = "TEXT", requires = "rename")]
    source: Option<String>,
    /// Name as people say it
    #[arg(long, value_name = "NAME")]
    common_name: Option<String>,
    /// Appendix of CITES in which it is listed
    #[arg(long, value_name = "APPENDIX", value_parser = words::parser::<v1::CitesAppendix>())]
    cites: Option<v1::CitesAppendix>,
    /// Age in days from which it can be a parent; 0: not known
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(0..=36600))]
    breeds_from: Option<i32>,
    /// Longest time in days from mating to birth; 0: not known
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i32).range(0..=3660))]
    carries_up_to: Option<i32>,
    /// Another name of it; may be given several times
    #[arg(long = "synonym", value_name = "NAME")]
    synonyms: Vec<String>,
    /// A name that is not a synonym after all; may be given several times
    #[arg(long = "no-synonym", value_name = "NAME")]
    no_synonyms: Vec<String>,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: String,
    /// Propose it to the curator for your site
    #[arg(long)]
    propose: bool,
    /// Check everything and record nothing
    #[arg(long)]
    check_only: bool,
}

fn synonym(name: String) -> v1::Synonym {
    v1::Synonym { name, ..Default::default() }
}

impl Update {
    async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        let ask = v1::UpdateTaxonRequest {
            request_id: request_id(),
            taxon: self.species,
            new_scientific_name: self.rename.unwrap_or_default(),
            renamed_year: self.year.unwrap_or_default(),
            renamed_source: self.source.unwrap_or_default(),
            common_name: self.common_name,
            cites_appendix: self.cites.map(Into::into),
            breeds_from_days: self.breeds_from,
            carries_up_to_days: self.carries_up_to,
            add_synonyms: self.synonyms.into_iter().map(synonym).collect(),
            drop_synonyms: self.no_synonyms,
            because: self.because,
            validate_only: self.check_only,
        };
        if self.propose {
            let because = ask.because.clone();
            return proposal::propose(errand, Change::Species(ask), because, self.check_only).await;
        }
        let thing = View::from(errand.session.ask(ask).await?.taxon.unwrap_or_default());
        errand.show(&Told::new(thing, self.check_only, View::spoken))
    }
}

impl Species {
    pub(crate) async fn run(self, errand: &mut Errand<'_>) -> Outcome {
        match self.what {
            What::Update(command) => command.run(errand).await,
            What::Add { scientific_name, common_name, breeds_from, carries_up_to, cites, synonyms } => {
                let ask = v1::CreateTaxonRequest {
                    request_id: request_id(),
                    scientific_name,
                    common_name,
                    breeds_from_days: breeds_from.unwrap_or_default(),
                    carries_up_to_days: carries_up_to.unwrap_or_default(),
                    cites_appendix: cites.unwrap_or_default().into(),
                    synonyms: synonyms.into_iter().map(synonym).collect(),
                };
                let thing = View::from(errand.session.ask(ask).await?.taxon.unwrap_or_default());
                let say = format!("Added {}, {}.", thing.scientific_name, thing.common_name);
                errand.show(&Told { thing, say })
            }
            What::Describe {
                scientific_name,
                gestation,
                seasonal,
                rest_kcal,
                need,
                source,
                propose,
                check_only,
            } => {
                let energy = match (rest_kcal, need.as_slice()) {
                    (Some(rest_kcal), [both]) => Some(v1::EnergyNeed { rest_kcal, low: *both, high: *both }),
                    (Some(rest_kcal), [low, high]) => {
                        Some(v1::EnergyNeed { rest_kcal, low: *low, high: *high })
                    }
                    (None, []) => None,
                    _ => {
                        return Err(Failure::usage(
                            "more than two multiples given",
                            "give --need twice: the lowest and the highest",
                        ));
                    }
                };
                let traits = v1::TaxonTraits {
                    gestation_days: gestation.unwrap_or_default(),
                    seasonal,
                    energy,
                    source,
                };
                let ask = v1::DescribeTaxonRequest {
                    request_id: request_id(),
                    taxon: scientific_name,
                    traits: Some(traits),
                };
                if let Some(because) = propose {
                    return proposal::propose(errand, Change::Traits(ask), because, check_only).await;
                }
                let thing = View::from(errand.session.ask(ask).await?.taxon.unwrap_or_default());
                let say = format!("{}: {}.", thing.scientific_name, thing.spoken_traits());
                errand.show(&Told { thing, say })
            }
            What::List => {
                let answer = errand.session.ask(v1::ListTaxaRequest {}).await?;
                errand.show(&Many(answer.taxa.into_iter().map(View::from).collect()))
            }
        }
    }
}
