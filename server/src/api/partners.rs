//! `PartnerService`.

use crate::api::decode::Form;
use crate::api::encode::{id, sex};
use crate::api::{Api, caller, status};
use crate::model::partner::{CAUTION, Card, Found, Search, Searched, Terms};
use crate::records::partners;
use holt_audit::pairing::{Taken, Weights, Why};
use holt_proto::time::timestamp;
use holt_proto::v1;
use holt_proto::v1::partner_service_server::PartnerService;
use tonic::{Request, Response, Status};

/// The most that young may be inbred where nobody says: young of first cousins (common practice, no source).
const LIMIT: f64 = 0.0625;

/// Cards that are told where nobody says how many, and the most.
const CARDS: (usize, usize) = (50, 500);

/// The most animals that one search is for.
const TOGETHER: usize = 20;

const fn taken(taken: Option<Taken>) -> v1::PartnerTaken {
    match taken {
        None => v1::PartnerTaken::Unspecified,
        Some(Taken::Breeds) => v1::PartnerTaken::Breeds,
        Some(Taken::Moves) => v1::PartnerTaken::Moves,
        Some(Taken::Concern) => v1::PartnerTaken::Concern,
    }
}

const fn left_out(why: Why) -> v1::PartnerLeftOut {
    match why {
        Why::SameSex => v1::PartnerLeftOut::SameSex,
        Why::SameSite => v1::PartnerLeftOut::SameSite,
        Why::NotOfAge => v1::PartnerLeftOut::NotOfAge,
        Why::Taken(Taken::Breeds) => v1::PartnerLeftOut::Breeds,
        Why::Taken(Taken::Moves) => v1::PartnerLeftOut::Moves,
        Why::Taken(Taken::Concern) => v1::PartnerLeftOut::Concern,
        Why::TooCloseKin => v1::PartnerLeftOut::TooCloseKin,
    }
}

fn card(card: Card) -> v1::PartnerCard {
    v1::PartnerCard {
        animal_id: id(card.animal),
        site: card.site,
        sex: sex(card.sex).into(),
        age_years: card.age_years.and_then(|years| i32::try_from(years).ok()),
        kinship: card.kinship,
        kinship_may_be: card.may_be,
        known: card.known,
        mean_kinship: card.mean_kinship,
        gene_diversity_change: card.diversity_change,
        taken: taken(card.taken).into(),
        room: card.room,
        kilometres: card.kilometres,
        abroad: card.abroad,
        papers: card.papers,
        why: card.why,
        against: card.against,
    }
}

fn number(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn found(found: Found) -> v1::FindPartnersResponse {
    let group = |(site, why, animals): (String, Why, u32)| v1::PartnersLeftOut {
        site,
        why: left_out(why).into(),
        animals: i32::try_from(animals).unwrap_or(i32::MAX),
    };
    v1::FindPartnersResponse {
        partners: found.partners.into_iter().map(card).collect(),
        more: number(found.more),
        left_out: found.left_out.into_iter().map(group).collect(),
        compared: number(found.compared),
        gene_diversity: found.gene_diversity,
        sites: found.sites,
        assumption: found.assumption,
        caution: CAUTION.to_owned(),
    }
}

fn terms(terms: Terms) -> v1::PartnerTerms {
    v1::PartnerTerms {
        site: terms.site,
        shows_cards: terms.shows_cards,
        note: terms.note,
        recorded_at: terms.recorded_at.map(timestamp),
    }
}

fn searched(search: Searched) -> v1::PartnerSearch {
    v1::PartnerSearch {
        site: search.site,
        taxon: search.taxon,
        cards: search.cards,
        searched_at: Some(timestamp(search.at)),
        id: id(search.id),
    }
}

fn between(form: &mut Form, field: &str, asked: Option<f64>, usual: f64, most: f64) -> f64 {
    match asked {
        None => usual,
        Some(given) if (0.0..=most).contains(&given) => given,
        Some(given) => {
            form.wrong(field, format!("is {given}"), format!("give 0 to {most}"));
            usual
        }
    }
}

fn weights(form: &mut Form, asked: Option<v1::PartnerWeights>) -> Weights {
    let (asked, usual) = (asked.unwrap_or_default(), Weights::default());
    let mut one = |name: &str, given, usual| between(form, &format!("weights.{name}"), given, usual, 100.0);
    Weights {
        kinship: one("kinship", asked.kinship, usual.kinship),
        rarity: one("rarity", asked.rarity, usual.rarity),
        distance: one("distance", asked.distance, usual.distance),
        border: one("border", asked.border, usual.border),
    }
}

#[tonic::async_trait]
impl PartnerService for Api {
    async fn find_partners(
        &self,
        request: Request<v1::FindPartnersRequest>,
    ) -> Result<Response<v1::FindPartnersResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("PartnerService/FindPartners", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        if asked.animals.is_empty() || asked.animals.len() > TOGETHER {
            let say = format!("are {}", asked.animals.len());
            form.wrong("animals", say, format!("name 1 to {TOGETHER} that stay together"));
        }
        let most = match usize::try_from(asked.most) {
            Ok(0) => CARDS.0,
            Ok(most) if most <= CARDS.1 => most,
            _ => {
                form.wrong("most", format!("is {}", asked.most), format!("give 1 to {}", CARDS.1));
                CARDS.0
            }
        };
        let search = Search {
            animals: form.animals("animals", &asked.animals),
            limit: between(&mut form, "most_inbreeding", asked.most_inbreeding, LIMIT, 1.0),
            also_taken: asked.also_taken,
            weights: weights(&mut form, asked.weights),
            most,
        };
        form.done()?;
        let told = partners::find(&self.records, &caller, &write, &site, &search).await;
        Ok(Response::new(found(told.map_err(status::from)?)))
    }

    async fn set_partner_terms(
        &self,
        request: Request<v1::SetPartnerTermsRequest>,
    ) -> Result<Response<v1::SetPartnerTermsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("PartnerService/SetPartnerTerms", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        let note = form.text("note", &asked.note, 0..=500);
        form.done()?;
        let told = partners::set_terms(&self.records, &caller, &write, &site, asked.shows_cards, &note).await;
        let told = terms(told.map_err(status::from)?);
        Ok(Response::new(v1::SetPartnerTermsResponse { terms: Some(told) }))
    }

    async fn list_partner_terms(
        &self,
        request: Request<v1::ListPartnerTermsRequest>,
    ) -> Result<Response<v1::ListPartnerTermsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        form.done()?;
        let all = partners::terms(&self.records, &caller, &site).await.map_err(status::from)?;
        Ok(Response::new(v1::ListPartnerTermsResponse { terms: all.into_iter().map(terms).collect() }))
    }

    async fn list_partner_searches(
        &self,
        request: Request<v1::ListPartnerSearchesRequest>,
    ) -> Result<Response<v1::ListPartnerSearchesResponse>, Status> {
        const METHOD: &str = "PartnerService/ListPartnerSearches";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        form.done()?;
        let all = partners::searches(&self.records, &caller, &site, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListPartnerSearchesResponse {
            searches: all.entries.into_iter().map(searched).collect(),
            page: Some(self.pages.write(all.next, METHOD, &asked)),
        }))
    }
}
