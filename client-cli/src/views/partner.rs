//! Partners: cards, what sites show, and who searched.

use super::{Thing, instant, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;
use std::collections::BTreeSet;

/// What another site shows of an animal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Card {
    site: String,
    sex: &'static str,
    age_years: Option<i32>,
    kinship: f64,
    kinship_may_be: f64,
    known: f64,
    mean_kinship: f64,
    gene_diversity_change: f64,
    taken: Option<&'static str>,
    room: Option<i32>,
    kilometres: Option<f64>,
    abroad: bool,
    papers: String,
    why: String,
    against: f64,
    animal_id: String,
}

impl From<v1::PartnerCard> for Card {
    fn from(card: v1::PartnerCard) -> Self {
        Self {
            sex: card.sex().word(),
            taken: Some(card.taken().word()).filter(|word| !word.is_empty()),
            site: card.site,
            age_years: card.age_years,
            kinship: card.kinship,
            kinship_may_be: card.kinship_may_be,
            known: card.known,
            mean_kinship: card.mean_kinship,
            gene_diversity_change: card.gene_diversity_change,
            room: card.room,
            kilometres: card.kilometres,
            abroad: card.abroad,
            papers: card.papers.join("; "),
            why: card.why,
            against: card.against,
            animal_id: card.animal_id,
        }
    }
}

/// Animals of a site that were left out.
#[derive(Clone, Serialize)]
struct LeftOut {
    site: String,
    why: &'static str,
    animals: i32,
    #[serde(skip)]
    reason: &'static str,
}

/// What a search found.
#[derive(Serialize)]
pub(crate) struct Found {
    partners: Vec<Card>,
    more: i32,
    left_out: Vec<LeftOut>,
    compared: i32,
    gene_diversity: f64,
    sites: Vec<String>,
    assumption: String,
    caution: String,
}

impl From<v1::FindPartnersResponse> for Found {
    fn from(answer: v1::FindPartnersResponse) -> Self {
        let left_out = |one: v1::PartnersLeftOut| LeftOut {
            why: one.why().word(),
            reason: reason(one.why()),
            site: one.site,
            animals: one.animals,
        };
        Self {
            partners: answer.partners.into_iter().map(Card::from).collect(),
            more: answer.more,
            left_out: answer.left_out.into_iter().map(left_out).collect(),
            compared: answer.compared,
            gene_diversity: answer.gene_diversity,
            sites: answer.sites,
            assumption: answer.assumption,
            caution: answer.caution,
        }
    }
}

/// Why animals were left out, as people say it.
const fn reason(why: v1::PartnerLeftOut) -> &'static str {
    match why {
        v1::PartnerLeftOut::Unspecified => "",
        v1::PartnerLeftOut::SameSex => "of the same sex",
        v1::PartnerLeftOut::SameSite => "at the site to leave",
        v1::PartnerLeftOut::NotOfAge => "not of breeding age",
        v1::PartnerLeftOut::Breeds => "breeding where they are",
        v1::PartnerLeftOut::Moves => "about to move",
        v1::PartnerLeftOut::Concern => "with an open concern",
        v1::PartnerLeftOut::TooCloseKin => "too closely related",
    }
}

impl Answer for Found {
    type Row = Card;

    fn rows(&self) -> Vec<Card> {
        self.partners.clone()
    }

    fn page(&self, page: &mut Page) {
        if self.sites.is_empty() {
            page.line(
                "No other site shows cards of its animals. They do so with `holt partners show-cards yes`.",
            );
        } else if self.partners.is_empty() {
            page.line(&format!("No partner at {}.", self.sites.join(", ")));
        } else {
            let mut table = Table::new(["Site", "Sex", "Years", "Kinship, estimated", "Room", "Why", "Id"]);
            for one in &self.partners {
                table.row([
                    one.site.clone(),
                    one.sex.to_owned(),
                    one.age_years.map(|years| years.to_string()).unwrap_or_default(),
                    format!("{:.4}", one.kinship_may_be),
                    one.room.map(|room| room.to_string()).unwrap_or_default(),
                    one.why.clone(),
                    one.animal_id.clone(),
                ]);
            }
            page.table(&table);
            if self.more > 0 {
                page.remark(&format!("{} more. Use --most.", self.more));
            }
            let crossings = self.partners.iter().filter(|one| !one.papers.is_empty());
            let crossings: BTreeSet<(&str, &str)> =
                crossings.map(|one| (one.site.as_str(), one.papers.as_str())).collect();
            for (site, papers) in crossings {
                page.remark(&format!("To {site}: {papers}."));
            }
        }
        for of_site in self.left_out.chunk_by(|one, next| one.site == next.site) {
            let each: Vec<String> =
                of_site.iter().map(|one| format!("{} {}", one.animals, one.reason)).collect();
            page.remark(&format!("Left out at {}: {}.", of_site[0].site, each.join(", ")));
        }
        page.remark(&format!(
            "Compared with {} living; gene diversity {:.4}. Assumed: {}",
            self.compared, self.gene_diversity, self.assumption
        ));
        page.remark(&self.caution);
    }
}

/// What a site shows.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Terms {
    site: String,
    shows_cards: bool,
    note: Option<String>,
    recorded_at: Option<String>,
}

impl Terms {
    pub(crate) fn new(terms: v1::PartnerTerms, zone: Tz) -> Self {
        Self {
            site: terms.site,
            shows_cards: terms.shows_cards,
            note: some(terms.note),
            recorded_at: written(terms.recorded_at, zone),
        }
    }

    pub(crate) fn spoken(&self) -> String {
        if self.shows_cards {
            format!("{} shows cards of its animals to other sites.", self.site)
        } else {
            format!("{} shows no cards of its animals.", self.site)
        }
    }
}

impl Thing for Terms {
    const MANY: &'static str = "terms";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(all: &[Self], page: &mut Page) {
        let mut table = Table::new(["Site", "Shows cards", "Seeks and offers"]);
        for one in all {
            table.row([
                one.site.clone(),
                if one.shows_cards { "yes" } else { "no" }.to_owned(),
                one.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}

/// A search on record.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Search {
    site: String,
    scientific_name: String,
    cards: i32,
    searched_at: Option<String>,
    id: String,
    #[serde(skip)]
    at: String,
}

impl Search {
    pub(crate) fn new(search: v1::PartnerSearch, zone: Tz) -> Self {
        Self {
            site: search.site,
            scientific_name: search.taxon,
            cards: search.cards,
            searched_at: written(search.searched_at, zone),
            id: search.id,
            at: instant(search.searched_at).map(|at| moment::spoken(at, zone)).unwrap_or_default(),
        }
    }
}

impl Thing for Search {
    const MANY: &'static str = "searches";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(all: &[Self], page: &mut Page) {
        let mut table = Table::new(["When", "Site", "Species", "Cards"]);
        for one in all {
            table.row([one.at.clone(), one.site.clone(), one.scientific_name.clone(), one.cards.to_string()]);
        }
        page.table(&table);
    }
}
