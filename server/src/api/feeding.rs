//! `FeedingService`.

use crate::api::decode::Form;
use crate::api::encode::{id, label, mass};
use crate::api::{Api, caller, status};
use crate::model::feeding::{
    Beside, FedDay, Feed, Feeding, Food, GroupNeed, Leftovers, Method, NewFeed, NewFood, NewPlan, Plan,
    Portion, To, Unknown,
};
use crate::records::feeding::{self, Asked};
use crate::report::feeding::{self as report, Question};
use holt_audit::ration::Verdict;
use holt_audit::terms::Mass;
use holt_proto::time::{day, timestamp};
use holt_proto::v1;
use holt_proto::v1::feeding_service_server::FeedingService;
use tonic::{Request, Response, Status};

/// What the figures are and are not; goes out with every account of how a group is fed.
const CAUTION: &str = "Holt calculates the need from weight alone; for one animal it can be wrong by a \
    third. Judge a ration by the weights that follow it. It is not a diagnosis and does not replace your \
    vet, your licence or local law.";

const MOST_PORTIONS: usize = 50;
const MOST_FEEDS: usize = 200;

/// No food has more: fat has about 9.4 kcal per gram in all (from memory). What is above was given in kJ.
const MOST_KCAL: f64 = 9.5;

/// A tonne.
const MOST_MG: i64 = 1_000_000_000;

/// A week.
const MOST_MINUTES: i32 = 10_080;

fn count(n: usize) -> i32 {
    i32::try_from(n).unwrap_or(i32::MAX)
}

fn method(form: &mut Form, field: &str, wire: i32) -> Method {
    let method = match v1::FeedMethod::try_from(wire) {
        Ok(v1::FeedMethod::Scattered) => Some(Method::Scattered),
        Ok(v1::FeedMethod::Hidden) => Some(Method::Hidden),
        Ok(v1::FeedMethod::Hand) => Some(Method::Hand),
        Ok(v1::FeedMethod::Bowl) => Some(Method::Bowl),
        Ok(v1::FeedMethod::Unspecified) | Err(_) => None,
    };
    form.choice(field, method, "scattered, hidden, hand, bowl", Method::Bowl)
}

const fn told_method(method: Method) -> v1::FeedMethod {
    match method {
        Method::Scattered => v1::FeedMethod::Scattered,
        Method::Hidden => v1::FeedMethod::Hidden,
        Method::Hand => v1::FeedMethod::Hand,
        Method::Bowl => v1::FeedMethod::Bowl,
    }
}

fn amount(form: &mut Form, field: &str, wire: Option<v1::Mass>) -> Mass {
    let mg = wire.map_or(0, |mass| mass.milligrams);
    if wire.is_none() {
        form.wrong(field, "is missing", "give the amount with its unit");
    } else if !(1..=MOST_MG).contains(&mg) {
        form.wrong(field, format!("is {mg} mg"), "give more than nothing, and a tonne at most");
    }
    Mass::from_mg(mg)
}

fn left(form: &mut Form, field: &str, wire: v1::Mass) -> Mass {
    if !(0..=MOST_MG).contains(&wire.milligrams) {
        form.wrong(field, format!("is {} mg", wire.milligrams), "give 0 if nothing was left over, or more");
    }
    Mass::from_mg(wire.milligrams)
}

fn lasted(form: &mut Form, field: &str, wire: Option<i32>) -> Option<i32> {
    if let Some(minutes) = wire.filter(|minutes| !(0..=MOST_MINUTES).contains(minutes)) {
        form.wrong(field, format!("is {minutes}"), "give minutes: 0 to 10080, which is a week");
    }
    wire
}

fn portion(form: &mut Form, n: usize, wire: &v1::PlannedFeed) -> Portion<String> {
    let field = |name: &str| format!("feeds[{n}].{name}");
    Portion {
        at: form.time_of_day(&field("time_of_day"), &wire.time_of_day),
        food: form.text(&field("food"), &wire.food, 1..=100),
        mass: amount(form, &field("mass"), wire.mass),
        method: method(form, &field("method"), wire.method),
        as_enrichment: wire.as_enrichment,
        note: form.text(&field("note"), &wire.note, 0..=500),
    }
}

fn new_feed(form: &mut Form, n: usize, wire: v1::NewFeed) -> NewFeed {
    let field = |name: &str| format!("feeds[{n}].{name}");
    let to = match wire.to {
        Some(v1::new_feed::To::Group(group)) => To::Group(form.text(&field("group"), &group, 1..=100)),
        Some(v1::new_feed::To::Animal(animal)) => To::Animal(form.animal(&field("animal"), &animal)),
        None => {
            form.wrong(&field("to"), "is missing", "name a group, or an animal that was fed alone");
            To::Group(String::new())
        }
    };
    let given = amount(form, &field("given"), wire.given);
    let left = wire.left.map(|wire| left(form, &field("left"), wire));
    if left.is_some_and(|left| left > given) {
        form.wrong(&field("left"), "is more than was given", "weigh it again: wet food weighs more");
    }
    NewFeed {
        to,
        food: form.text(&field("food"), &wire.food, 1..=100),
        given,
        at: form.instant(&field("given_at"), wire.given_at),
        method: method(form, &field("method"), wire.method),
        as_enrichment: wire.as_enrichment,
        left,
        lasted_minutes: lasted(form, &field("lasted_minutes"), wire.lasted_minutes),
        note: form.text(&field("note"), &wire.note, 0..=500),
    }
}

fn told_food(food: Food, site: &str) -> v1::Food {
    v1::Food {
        id: id(food.id),
        site: site.to_owned(),
        name: food.name,
        kcal_per_g: food.kcal_per_g,
        source: food.source,
        note: food.note,
    }
}

pub(super) fn told_plan(plan: Plan) -> v1::FeedPlan {
    let (kcal, enrichment_kcal) = (plan.kcal(), plan.enrichment_kcal());
    let feeds = plan.portions.into_iter().map(|(portion, kcal)| v1::PlannedFeed {
        time_of_day: portion.at.format("%H:%M").to_string(),
        food: portion.food.name,
        mass: Some(mass(portion.mass)),
        method: told_method(portion.method).into(),
        as_enrichment: portion.as_enrichment,
        note: portion.note,
        kcal,
    });
    v1::FeedPlan {
        group: plan.group,
        begins_on: Some(day(plan.from)),
        feeds: feeds.collect(),
        kcal,
        enrichment_kcal,
    }
}

fn told_need(need: GroupNeed) -> v1::GroupNeed {
    let (low_kcal, high_kcal) = need.sum();
    let members = need.members.into_iter().map(|member| v1::MemberNeed {
        animal: Some(label(member.animal)),
        mass: Some(mass(member.mass)),
        weighed_on: Some(day(member.weighed_on)),
        low_kcal: member.low,
        high_kcal: member.high,
        source: member.source,
    });
    let uncounted = need.uncounted.into_iter().map(|(animal, why)| v1::UncountedMember {
        animal: Some(label(animal)),
        because: match why {
            Unknown::NeverWeighed => v1::NeedUnknown::NeverWeighed,
            Unknown::SpeciesNotDescribed => v1::NeedUnknown::SpeciesNotDescribed,
        }
        .into(),
    });
    v1::GroupNeed { low_kcal, high_kcal, members: members.collect(), uncounted: uncounted.collect() }
}

pub(super) fn verdict(verdict: Option<Verdict>) -> (v1::RationVerdict, f64) {
    match verdict {
        None => (v1::RationVerdict::Unspecified, 0.0),
        Some(Verdict::Short(percent)) => (v1::RationVerdict::Short, percent),
        Some(Verdict::Fits) => (v1::RationVerdict::Fits, 0.0),
        Some(Verdict::Over(percent)) => (v1::RationVerdict::Over, percent),
    }
}

fn beside(beside: Beside) -> v1::RationSum {
    let (verdict, off_percent) = verdict(beside.verdict);
    v1::RationSum { kcal: beside.kcal, verdict: verdict.into(), off_percent }
}

fn told_feed(feed: Feed) -> v1::Feed {
    let (given_kcal, eaten_kcal) = (feed.given_kcal(), feed.eaten_kcal());
    v1::Feed {
        id: id(feed.id),
        site: feed.site,
        group: feed.group,
        animal: feed.animal.map(label),
        food: feed.food,
        given: Some(mass(feed.given)),
        given_at: Some(timestamp(feed.given_at)),
        given_on: Some(day(feed.given_on)),
        method: told_method(feed.method).into(),
        as_enrichment: feed.as_enrichment,
        left: feed.left.map(mass),
        lasted_minutes: feed.lasted_minutes,
        given_kcal,
        eaten_kcal,
        note: feed.note,
        recorded_at: Some(timestamp(feed.recorded_at)),
    }
}

fn told_day(told: FedDay) -> v1::FedDay {
    let alone = told.alone.into_iter().map(|alone| v1::FedAlone {
        animal: Some(label(alone.animal)),
        given_kcal: alone.given,
        eaten_kcal: alone.eaten,
    });
    let weighed = told
        .weighed
        .into_iter()
        .map(|(animal, weighed)| v1::MemberMass { animal: Some(label(animal)), mass: Some(mass(weighed)) });
    v1::FedDay {
        fed_on: Some(day(told.day)),
        given_kcal: told.given,
        eaten_kcal: told.eaten,
        enrichment_kcal: told.enrichment,
        feeds: count(told.feeds),
        not_looked_at: count(told.not_looked_at),
        items: count(told.items),
        alone: alone.collect(),
        weighed: weighed.collect(),
    }
}

fn told(told: Feeding) -> v1::GetFeedingResponse {
    let planned = told.plan.as_ref().map(|plan| beside(told.need.beside(plan.kcal())));
    v1::GetFeedingResponse {
        group: told.group,
        plan: told.plan.map(told_plan),
        need: Some(told_need(told.need)),
        planned,
        given: told.given.map(beside),
        eaten: told.eaten.map(beside),
        days: told.days.into_iter().map(told_day).collect(),
        feeds: told.feeds.into_iter().map(told_feed).collect(),
        caution: CAUTION.to_owned(),
    }
}

#[tonic::async_trait]
impl FeedingService for Api {
    async fn set_food(
        &self,
        request: Request<v1::SetFoodRequest>,
    ) -> Result<Response<v1::SetFoodResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("FeedingService/SetFood", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let unit = " kcal per gram as fed; was it in kJ, or per 100 g?";
        let kcal_per_g = form.number("kcal_per_g", asked.kcal_per_g, 0.0..=MOST_KCAL, unit);
        let new = NewFood {
            name: form.text("name", &asked.name, 1..=100),
            kcal_per_g,
            source: form.text("source", &asked.source, 1..=500),
            note: form.text("note", &asked.note, 0..=500),
        };
        let because = form.text("because", &asked.because, 0..=500);
        form.done()?;
        let set = feeding::set_food(&self.records, &caller, &write, &site, &new, &because)
            .await
            .map_err(status::from)?;
        let food = Some(told_food(set.food, &site));
        Ok(Response::new(v1::SetFoodResponse { food, changed: set.changed }))
    }

    async fn list_foods(
        &self,
        request: Request<v1::ListFoodsRequest>,
    ) -> Result<Response<v1::ListFoodsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let site = form.site("site", &asked.site);
        let known_at = form.instant("as_known_at", asked.as_known_at);
        form.done()?;
        let foods = feeding::foods(&self.records, &caller, &site, known_at).await.map_err(status::from)?;
        let foods = foods.into_iter().map(|food| told_food(food, &site)).collect();
        Ok(Response::new(v1::ListFoodsResponse { foods }))
    }

    async fn set_feed_plan(
        &self,
        request: Request<v1::SetFeedPlanRequest>,
    ) -> Result<Response<v1::SetFeedPlanResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let only = asked.validate_only;
        let write = form.request("FeedingService/SetFeedPlan", &asked.request_id, &asked, only);
        let site = form.site("site", &asked.site);
        if asked.feeds.len() > MOST_PORTIONS {
            form.wrong("feeds", format!("has {} feeds", asked.feeds.len()), "give 50 at most");
        }
        let portions = asked.feeds.iter().take(MOST_PORTIONS).enumerate();
        let new = NewPlan {
            group: form.text("group", &asked.group, 1..=100),
            from: form.optional_day("begins_on", asked.begins_on),
            portions: portions.map(|(n, wire)| portion(&mut form, n, wire)).collect(),
            because: form.text("because", &asked.because, 0..=500),
        };
        form.done()?;
        let planned =
            feeding::set_plan(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        let sum = beside(planned.need.beside(planned.plan.kcal()));
        Ok(Response::new(v1::SetFeedPlanResponse {
            plan: Some(told_plan(planned.plan)),
            need: Some(told_need(planned.need)),
            planned: Some(sum),
        }))
    }

    async fn record_feeds(
        &self,
        request: Request<v1::RecordFeedsRequest>,
    ) -> Result<Response<v1::RecordFeedsResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("FeedingService/RecordFeeds", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let number = asked.feeds.len();
        if !(1..=MOST_FEEDS).contains(&number) {
            form.wrong("feeds", format!("has {number} feeds"), "send 1 to 200 at once");
        }
        let feeds = asked.feeds.into_iter().take(MOST_FEEDS).enumerate();
        let new: Vec<NewFeed> = feeds.map(|(n, wire)| new_feed(&mut form, n, wire)).collect();
        form.done()?;
        let feeds =
            feeding::record(&self.records, &caller, &write, &site, &new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordFeedsResponse { feeds: feeds.into_iter().map(told_feed).collect() }))
    }

    async fn record_leftovers(
        &self,
        request: Request<v1::RecordLeftoversRequest>,
    ) -> Result<Response<v1::RecordLeftoversResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("FeedingService/RecordLeftovers", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        if asked.left.is_none() {
            form.wrong("left", "is missing", "give the leftovers; 0 g if there were none");
        }
        let new = Leftovers {
            feed: form.uuid("feed_id", &asked.feed_id),
            left: left(&mut form, "left", asked.left.unwrap_or_default()),
            lasted_minutes: lasted(&mut form, "lasted_minutes", asked.lasted_minutes),
        };
        form.done()?;
        let feed =
            feeding::leftovers(&self.records, &caller, &write, &site, new).await.map_err(status::from)?;
        Ok(Response::new(v1::RecordLeftoversResponse { feed: Some(told_feed(feed)) }))
    }

    async fn withdraw_feed(
        &self,
        request: Request<v1::WithdrawFeedRequest>,
    ) -> Result<Response<v1::WithdrawFeedResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let write = form.request("FeedingService/WithdrawFeed", &asked.request_id, &asked, false);
        let site = form.site("site", &asked.site);
        let feed = form.uuid("feed_id", &asked.feed_id);
        let because = form.text("because", &asked.because, 1..=500);
        form.done()?;
        let feed = feeding::withdraw(&self.records, &caller, &write, &site, feed, &because)
            .await
            .map_err(status::from)?;
        Ok(Response::new(v1::WithdrawFeedResponse { feed: Some(told_feed(feed)) }))
    }

    async fn list_feeds(
        &self,
        request: Request<v1::ListFeedsRequest>,
    ) -> Result<Response<v1::ListFeedsResponse>, Status> {
        const METHOD: &str = "FeedingService/ListFeeds";
        let (caller, mut asked) = caller::open(request)?;
        let page = asked.page.take();
        let page = self.pages.read(page, METHOD, &asked).map_err(status::refused)?;
        let mut form = Form::new();
        let wanted = Asked {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 0..=100),
            animal: form.text("animal", &asked.animal, 0..=100),
            days: form.days("days", asked.days),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = feeding::list(&self.records, &caller, &wanted, &page).await.map_err(status::from)?;
        Ok(Response::new(v1::ListFeedsResponse {
            feeds: found.entries.into_iter().map(told_feed).collect(),
            page: Some(self.pages.write(found.next, METHOD, &asked)),
        }))
    }

    async fn get_feeding(
        &self,
        request: Request<v1::GetFeedingRequest>,
    ) -> Result<Response<v1::GetFeedingResponse>, Status> {
        let (caller, asked) = caller::open(request)?;
        let mut form = Form::new();
        let days = if asked.days == 0 { 14 } else { asked.days };
        if !(1..=92).contains(&days) {
            form.wrong("days", format!("is {days}"), "give 1 to 92");
        }
        let question = Question {
            site: form.site("site", &asked.site),
            group: form.text("group", &asked.group, 1..=100),
            as_of: form.optional_day("as_of", asked.as_of),
            days: u64::try_from(days).unwrap_or_default(),
            known_at: form.instant("as_known_at", asked.as_known_at),
        };
        form.done()?;
        let found = report::of_group(&self.records, &caller, &question).await.map_err(status::from)?;
        Ok(Response::new(told(found)))
    }
}
