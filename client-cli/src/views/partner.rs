//! Partners: cards, what sites show, and who searched.

use super::{Thing, instant, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

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
fn reason(why: &str) -> &str {
    match why {
        "same-sex" => "of the same sex",
        "same-site" => "of this site itself",
        "not-of-age" => "not of an age to breed",
        "breeds" => "breeding where they are",
        "moves" => "about to move",
        "concern" => "under an open concern",
        "too-close-kin" => "too close kin",
        other => other,
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
                "No site shows cards of its animals: ask the others for `holt partners show-cards yes`.",
            );
        } else if self.partners.is_empty() {
            page.line(&format!("No partner at {}.", self.sites.join(", ")));
        } else {
            let mut table = Table::new(["Site", "Sex", "Years", "May be", "Room", "Why", "Id"]);
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
                page.remark(&format!("{} more: ask with --most.", self.more));
            }
            let mut asked: Vec<(&str, &str)> = self
                .partners
                .iter()
                .filter(|one| !one.papers.is_empty())
                .map(|one| (one.site.as_str(), one.papers.as_str()))
                .collect();
            asked.dedup();
            for (n, (site, papers)) in asked.iter().enumerate() {
                if !asked[..n].contains(&(*site, *papers)) {
                    page.remark(&format!("To {site}: {papers}."));
                }
            }
        }
        for of_site in self.left_out.chunk_by(|one, next| one.site == next.site) {
            let each: Vec<String> =
                of_site.iter().map(|one| format!("{} {}", one.animals, reason(one.why))).collect();
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
            format!("{} shows cards of its animals to sites that search partners.", self.site)
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
