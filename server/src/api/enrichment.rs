//! `EnrichmentService`.

use crate::api::animals::scientific_name;
use crate::api::decode::Form;
use crate::api::encode::id;
use crate::api::{Api, caller, status};
use crate::model::enrichment::{
    Account, Content, Item, Met, NewItem, NewOffer, Objection, Offer, Response as Seen, Rota, Standing,
    Terms, To, Variety,
};
use crate::records::enrichment::{self, Asked, TermsSet};
use crate::report::enrichment::{self as report, Question, Wish};
use holt_audit::enrichment::Kind;
use holt_audit::enrichment::plan::Why;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::enrichment_service_server::EnrichmentService;
use std::collections::BTreeSet;
use tonic::{Request, Response, Status};

const MOST_OFFERS: usize = 50;

/// A week.
const MOST_MINUTES: i32 = 10_080;

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn number(n: u32) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn kind(form: &mut Form, field: &str, wire: i32) -> Kind {
    let kind = match v1::EnrichmentKind::try_from(wire) {
        Ok(v1::EnrichmentKind::Food) => Some(Kind::Food),
        Ok(v1::EnrichmentKind::Sensory) => Some(Kind::Sensory),
        Ok(v1::EnrichmentKind::Structural) => Some(Kind::Structural),
        Ok(v1::EnrichmentKind::Social) => Some(Kind::Social),
        Ok(v1::EnrichmentKind::Cognitive) => Some(Kind::Cognitive),
        Ok(v1::EnrichmentKind::Unspecified) | Err(_) => None,
    };
    form.choice(field, kind, "food, sensory, structural, social, cognitive", Kind::Food)
}

const fn told_kind(kind: Kind) -> v1::EnrichmentKind {
    match kind {
        Kind::Food => v1::EnrichmentKind::Food,
        Kind::Sensory => v1::EnrichmentKind::Sensory,
        Kind::Structural => v1::EnrichmentKind::Structural,
        Kind::Social => v1::EnrichmentKind::Social,
        Kind::Cognitive => v1::EnrichmentKind::Cognitive,
    }
}

fn response(form: &mut Form, field: &str, wire: i32) -> Option<Seen> {
    match v1::EnrichmentResponse::try_from(wire) {
        Ok(v1::EnrichmentResponse::Unspecified) => None,
        Ok(v1::EnrichmentResponse::Avoided) => Some(Seen::Avoided),
        Ok(v1::EnrichmentResponse::Ignored) => Some(Seen::Ignored),
        Ok(v1::EnrichmentResponse::Inspected) => Some(Seen::Inspected),
        Ok(v1::EnrichmentResponse::Used) => Some(Seen::Used),
        Err(_) => {
            form.wrong(
                field,
                "is unknown",
                "choose one of avoided, ignored, inspected, used, or leave it out",
            );
            None
        }
    }
}

const fn told_response(response: Option<Seen>) -> v1::EnrichmentResponse {
    match response {
        None => v1::EnrichmentResponse::Unspecified,
        Some(Seen::Avoided) => v1::EnrichmentResponse::Avoided,
        Some(Seen::Ignored) => v1::EnrichmentResponse::Ignored,
        Some(Seen::Inspected) => v1::EnrichmentResponse::Inspected,
        Some(Seen::Used) => v1::EnrichmentResponse::Used,
    }
}

fn met(form: &mut Form, prefix: &str, wire: i32, used_minutes: Option<i32>) -> Met {
    let response = response(form, &format!("{prefix}response"), wire);
    let field = format!("{prefix}used_minutes");
    if let Some(minutes) = used_minutes {
        if !(0..=MOST_MINUTES).contains(&minutes) {
            form.wrong(&field, format!("is {minutes}"), "give minutes: 0 to 10080, which is a week");
        }
        let used = response == Some(Seen::Used);
        if (minutes > 0) != used {
            let mend = "give minutes if it was used, and none if it was not";
            form.wrong(&field, format!("{minutes} minutes and the response do not go together"), mend);
        }
    }
    Met { response, used_minutes }
}

fn between(form: &mut Form, field: &str, wire: i32, most: i32, unit: &str) -> u32 {
    if !(0..=most).contains(&wire) {
        form.wrong(field, format!("is {wire}"), format!("give 0 to {most} {unit}"));
    }
    u32::try_from(wire).unwrap_or_default()
}

fn hazards(form: &mut Form, field: &str, wire: &[String]) -> BTreeSet<String> {
    if wire.len() > 20 {
        form.wrong(field, format!("has {} hazards", wire.len()), "give 20 at most");
    }
    let hazard =
        |(n, text): (usize, &String)| form.text(&format!("{field}[{n}]"), text, 1..=50).to_lowercase();
    wire.iter().take(20).enumerate().map(hazard).collect()
}

fn new_item(form: &mut Form, wire: Option<v1::EnrichmentItem>) -> NewItem {
    let wire = wire.unwrap_or_default();
    if wire.not_for.len() > 50 {
        form.wrong("item.not_for", format!("has {} species", wire.not_for.len()), "give 50 at most");
    }
    let kcal = wire.kcal.map(|kcal| form.number("item.kcal", kcal, 1e-3..=1e6, " kcal, or leave it out"));
    let name = form.text("item.name", &wire.name, 1..=100);
    let kind = kind(form, "item.kind", wire.kind);
    let staff_minutes = between(form, "item.staff_minutes", wire.staff_minutes, 1440, "minutes");
    let rest_days = between(form, "item.rest_days", wire.rest_days, 366, "days");
    let hazards = hazards(form, "item.hazards", &wire.hazards);
    let not_for = wire.not_for.iter().take(50).enumerate();
    let not_for =
        not_for.map(|(n, name)| scientific_name(form, &format!("item.not_for[{n}]"), name)).collect();
    let note = form.text("item.note", &wire.note, 0..=500);
    let content = Content { staff_minutes, rest_days, hazards, not_for, kcal, note };
    NewItem { name, kind, content, out_of_use: wire.out_of_use }
}

fn new_offer(form: &mut Form, n: usize, wire: v1::NewEnrichmentOffer) -> NewOffer {
    let field = |name: &str| format!("offers[{n}].{name}");
    let to = match wire.to {
        Some(v1::new_enrichment_offer::To::Group(name)) => {
            To::Group(form.text(&field("group"), &name, 1..=100))
        }
        Some(v1::new_enrichment_offer::To::Enclosure(name)) => {
            To::Enclosure(form.text(&field("enclosure"), &name, 1..=100))
        }
        None => {
            form.wrong(&field("to"), "is missing", "name a group or an enclosure");
            To::Group(String::new())
        }
    };
    NewOffer {
        to,
        item: form.text(&field("item"), &wire.item, 1..=100),
        at: form.instant(&field("given_at"), wire.given_at),
        met: met(form, &field(""), wire.response, wire.used_minutes),
        note: form.text(&field("note"), &wire.note, 0..=500),
    }
}

fn told_item(item: Item, site: &str) -> v1::EnrichmentItem {
    v1::EnrichmentItem {
        id: id(item.id),
        site: site.to_owned(),
        name: item.name,
        kind: told_kind(item.kind).into(),
        staff_minutes: number(item.content.staff_minutes),
        rest_days: number(item.content.rest_days),
        hazards: item.content.hazards.into_iter().collect(),
        not_for: item.content.not_for.into_iter().map(|(_, name)| name).collect(),
        kcal: item.content.kcal,
        note: item.content.note,
        out_of_use: item.out_of_use,
    }
}

fn told_terms(group: String, terms: Terms) -> v1::EnrichmentTerms {
    v1::EnrichmentTerms {
        group,
        refused_hazards: terms.refused_hazards.into_iter().collect(),
        offers_a_day: number(terms.offers_a_day),
    }
}

fn told_offer(offer: Offer) -> v1::EnrichmentOffer {
    v1::EnrichmentOffer {
        id: id(offer.id),
        site: offer.site,
        group: offer.group,
        enclosure: offer.enclosure,
        item: offer.item_name,
        kind: told_kind(offer.kind).into(),
        given_at: Some(timestamp(offer.given_at)),
        given_on: Some(day(offer.given_on)),
        response: told_response(offer.met.response).into(),
        used_minutes: offer.met.used_minutes,
        kcal: offer.kcal,
        note: offer.note,
        recorded_at: Some(timestamp(offer.recorded_at)),
    }
}

const fn told_objection(objection: &Objection) -> v1::EnrichmentObjection {
    match objection {
        Objection::Hazard(_) => v1::EnrichmentObjection::Hazard,
        Objection::Species(_) => v1::EnrichmentObjection::Species,
        Objection::TooSoon(..) => v1::EnrichmentObjection::TooSoon,
        Objection::OutOfUse => v1::EnrichmentObjection::OutOfUse,
    }
}

fn warning(row: usize, objection: &Objection, item: &str) -> v1::EnrichmentWarning {
    let say = match objection {
        Objection::Hazard(hazards) => {
            format!("{item} has a hazard that this group must not meet: {}", hazards.join(", "))
        }
        Objection::Species(species) => format!("{item} is not for {}", species.join(", ")),
        Objection::TooSoon(day, rest) => {
            let rest = match rest {
                0 => "it is offered once a day".to_owned(),
                1 => "it rests for a day".to_owned(),
                days => format!("it rests for {days} days"),
            };
            format!("{item} was offered to them on {day}, and {rest}")
        }
        Objection::OutOfUse => format!("{item} is out of use"),
    };
    v1::EnrichmentWarning { row: count(row), objection: told_objection(objection).into(), say }
}

fn told_variety(variety: Variety) -> v1::EnrichmentVariety {
    let kinds = variety.kinds.into_iter().map(|(kind, offers)| v1::EnrichmentKindCount {
        kind: told_kind(kind).into(),
        offers: number(offers),
    });
    v1::EnrichmentVariety {
        kinds: kinds.collect(),
        shannon_nats: variety.told.shannon_nats,
        effective_kinds: variety.told.effective,
        evenness: variety.told.evenness,
    }
}

fn told_standing(standing: Standing, site: &str) -> v1::EnrichmentStanding {
    let share = standing.taken_up;
    v1::EnrichmentStanding {
        offers: count(standing.wear.offered),
        days_since: standing.days_since.map(|days| i32::try_from(days).unwrap_or(i32::MAX)),
        looked_at: count(standing.looked_at),
        taken_up: share.map(|share| share.share),
        taken_up_low: share.map(|share| share.range.low).unwrap_or_default(),
        taken_up_high: share.map(|share| share.range.high).unwrap_or_default(),
        wear: standing.wear.slope.map(|slope| v1::EnrichmentWear {
            percent: slope.percent,
            low_percent: slope.low,
            high_percent: slope.high,
        }),
        worn: standing.wear.slope.is_some_and(|slope| slope.worn()),
        objections: standing.objections.iter().map(|one| told_objection(one).into()).collect(),
        item: Some(told_item(standing.item, site)),
    }
}

fn told_account(account: Account, site: &str) -> v1::GetEnrichmentResponse {
    v1::GetEnrichmentResponse {
        terms: Some(told_terms(account.group, account.terms)),
        variety: account.variety.map(told_variety),
        items: account.items.into_iter().map(|standing| told_standing(standing, site)).collect(),
        offers: account.offers.into_iter().map(told_offer).collect(),
    }
}

const fn gap(why: Why) -> v1::EnrichmentGap {
    match why {
        Why::NothingSuits => v1::EnrichmentGap::NothingSuits,
        Why::AllResting => v1::EnrichmentGap::AllResting,
        Why::RationSpent => v1::EnrichmentGap::RationSpent,
        Why::NoStaffTime => v1::EnrichmentGap::NoStaffTime,
    }
}

fn told_rota(rota: Rota, seed: u64) -> v1::PlanEnrichmentResponse {
    let slots = rota.slots.into_iter().map(|slot| v1::EnrichmentSlot {
        planned_on: Some(day(slot.on)),
        group: slot.group,
        kind: told_kind(slot.item.kind).into(),
        staff_minutes: number(slot.item.content.staff_minutes),
        kcal: slot.item.content.kcal,
        item: slot.item.name,
    });
    let unfilled = rota.unfilled.into_iter().map(|(on, group, why)| v1::EnrichmentUnfilled {
        planned_on: Some(day(on)),
        group,
        because: gap(why).into(),
    });
    let groups = rota.groups.into_iter().map(|group| v1::EnrichmentGroupRota {
        group: group.group,
        variety: group.variety.map(told_variety),
        kept_kcal: group.kept_kcal,
    });
    v1::PlanEnrichmentResponse {
        slots: slots.collect(),
        unfilled: unfilled.collect(),
        groups: groups.collect(),
        seed,
    }
}

#[tonic::async_trait]
impl EnrichmentService for Api {
    async fn set_enrichment_item(
        &self,
        request: Request<v1::SetEnrichmentItemRequest>,
    ) -> Result<Response<v1::SetEnrichmentItemResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EnrichmentService/SetEnrichmentItem", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let because = form.text("because", &asked.because, 0..=500);
        let new = new_item(&mut form, asked.item);
        form.done()?;
        let set = enrichment::set_item(&self.records, &caller, &write, &site, &new, &because)
            .await
            .map_err(status::from)?;
        let item = Some(told_item(set.item, &site));
        Ok(Response::new(v1::SetEnrichmentItemResponse { item, changed: set.changed }))
    }

    async fn list_enrichment_items(
        &self,
        request: Request<v1::ListEnrichmentItemsRequest>,
    ) -> Result<Response<v1::ListEnrichmentItemsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let items = enrichment::items(&self.records, &caller, &site, asked.also_out_of_use, known_at)
            .await
            .map_err(status::from)?;
        let items = items.into_iter().map(|item| told_item(item, &site)).collect();
        Ok(Response::new(v1::ListEnrichmentItemsResponse { items }))
    }

    async fn set_enrichment_terms(
        &self,
        request: Request<v1::SetEnrichmentTermsRequest>,
    ) -> Result<Response<v1::SetEnrichmentTermsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EnrichmentService/SetEnrichmentTerms", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let because = form.text("because", &asked.because, 0..=500);
        let wire = asked.terms.unwrap_or_default();
        let offers = between(&mut form, "terms.offers_a_day", wire.offers_a_day, 20, "offers a day");
        let new = TermsSet {
            group: form.text("terms.group", &wire.group, 1..=100),
            terms: Terms {
                refused_hazards: hazards(&mut form, "terms.refused_hazards", &wire.refused_hazards),
                offers_a_day: offers.max(1),
            },
        };
        form.done()?;
        let set = enrichment::set_terms(&self.records, &caller, &write, &site, &new, &because)
            .await
            .map_err(status::from)?;
        let terms = Some(told_terms(set.group, set.terms));
        Ok(Response::new(v1::SetEnrichmentTermsResponse { terms }))
    }

    async fn record_enrichment(
        &self,
        request: Request<v1::RecordEnrichmentRequest>,
    ) -> Result<Response<v1::RecordEnrichmentResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EnrichmentService/RecordEnrichment", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let offers = asked.offers.len();
        if !(1..=MOST_OFFERS).contains(&offers) {
            form.wrong("offers", format!("has {offers} offers"), "send 1 to 50 at once");
        }
        let offers = asked.offers.into_iter().take(MOST_OFFERS).enumerate();
        let new: Vec<NewOffer> = offers.map(|(n, wire)| new_offer(&mut form, n, wire)).collect();
        form.done()?;
        let recorded =
            enrichment::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        let warnings = recorded.warnings.iter().filter_map(|(row, objection)| {
            Some(warning(*row, objection, &recorded.offers.get(*row)?.item_name))
        });
        let warnings = warnings.collect();
        let offers = recorded.offers.into_iter().map(told_offer).collect();
        Ok(Response::new(v1::RecordEnrichmentResponse { offers, warnings }))
    }

    async fn record_enrichment_use(
        &self,
        request: Request<v1::RecordEnrichmentUseRequest>,
    ) -> Result<Response<v1::RecordEnrichmentUseResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EnrichmentService/RecordEnrichmentUse", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let offer = form.uuid("offer_id", &asked.offer_id);
        let met = met(&mut form, "", asked.response, asked.used_minutes);
        if asked.response == 0 {
            let mend = "choose one of avoided, ignored, inspected, used";
            form.wrong("response", "is missing", mend);
        }
        form.done()?;
        let offer = enrichment::record_use(&self.records, &caller, &write, &site, offer, met)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::RecordEnrichmentUseResponse { offer: Some(told_offer(offer)) }))
    }

    async fn withdraw_enrichment(
        &self,
        request: Request<v1::WithdrawEnrichmentRequest>,
    ) -> Result<Response<v1::WithdrawEnrichmentResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("EnrichmentService/WithdrawEnrichment", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let offer = form.uuid("offer_id", &asked.offer_id);
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let offer = enrichment::withdraw(&self.records, &caller, &write, &site, offer, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::WithdrawEnrichmentResponse { offer: Some(told_offer(offer)) }))
    }

    async fn list_enrichment_offers(
        &self,
        request: Request<v1::ListEnrichmentOffersRequest>,
    ) -> Result<Response<v1::ListEnrichmentOffersResponse>, Status> {
        const METHOD: &str = "EnrichmentService/ListEnrichmentOffers";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 0..=100),
            enclosure: form.text("enclosure", &asked.enclosure, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = enrichment::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListEnrichmentOffersResponse {
            offers: found.entries.into_iter().map(told_offer).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn get_enrichment(
        &self,
        request: Request<v1::GetEnrichmentRequest>,
    ) -> Result<Response<v1::GetEnrichmentResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let days = if asked.days == 0 { 28 } else { asked.days };
        if !(1..=182).contains(&days) {
            form.wrong("days", format!("is {days}"), "give 1 to 182");
        }
        let question = Question {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 1..=100),
            as_of: form.optional_day("as_of", asked.as_of),
            days: u64::try_from(days).unwrap_or_default(),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let account = report::of_group(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(told_account(account, &question.site)))
    }

    async fn plan_enrichment(
        &self,
        request: Request<v1::PlanEnrichmentRequest>,
    ) -> Result<Response<v1::PlanEnrichmentResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        if !(1..=20).contains(&asked.groups.len()) {
            form.wrong("groups", format!("names {} groups", asked.groups.len()), "name 1 to 20");
        }
        let days = if asked.days == 0 { 7 } else { asked.days };
        if !(1..=28).contains(&days) {
            form.wrong("days", format!("is {days}"), "give 1 to 28");
        }
        let groups = asked.groups.iter().take(20).enumerate();
        let groups = groups.map(|(n, name)| form.text(&format!("groups[{n}]"), name, 1..=100)).collect();
        let wish = Wish {
            site: form.site("site", &asked.site),
            groups,
            first: form.optional_day("first", asked.first),
            days: usize::try_from(days).unwrap_or_default(),
            staff_minutes: between(&mut form, "staff_minutes", asked.staff_minutes, 1440, "minutes a day"),
            seed: asked.seed,
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let rota = report::rota(&self.records, &caller, &wish).await.map_err(status::from)?;
        Ok(Response::new(told_rota(rota, wish.seed)))
    }
}
