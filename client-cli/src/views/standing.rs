//! The standing of the members of a group.

use super::{count, day, some, spoken, written};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// Pairs that are named one by one; in a large group most never met while somebody watched.
const MOST_PAIRS: usize = 10;

/// How often something happened an hour.
#[derive(Clone, Default, Serialize)]
struct Rate {
    events: i32,
    hours: f64,
    per_hour: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

/// How many of how many.
#[derive(Clone, Default, Serialize)]
struct Share {
    hits: i32,
    of: i32,
    share: Option<f64>,
    low: Option<f64>,
    high: Option<f64>,
}

/// A rating after a contest.
#[derive(Clone, Serialize)]
struct Rated {
    happened_at: Option<String>,
    rating: f64,
}

/// Company.
#[derive(Clone, Serialize)]
struct Tie {
    accession: String,
    house_name: Option<String>,
    index: f64,
}

/// How much time goes into one behaviour.
#[derive(Clone, Serialize)]
struct Spent {
    behaviour: String,
    scans: Option<Share>,
    of_time: Option<f64>,
}

/// What one does with its time.
#[derive(Clone, Default, Serialize)]
struct Budget {
    scans_seen: i32,
    scans_not_seen: i32,
    seconds_followed: f64,
    shares: Vec<Spent>,
}

/// A member.
#[derive(Clone, Serialize)]
struct Member {
    accession: String,
    house_name: Option<String>,
    role: &'static str,
    david: Option<f64>,
    david_normalised: Option<f64>,
    won: i32,
    lost: i32,
    elo: Option<f64>,
    elo_course: Vec<Rated>,
    received: Rate,
    dealt: Rate,
    friendly: Rate,
    kept_off_food: Share,
    alone: Share,
    ties: Vec<Tie>,
    strength: f64,
    budget: Budget,
    id: String,
}

/// Two members.
#[derive(Clone, Serialize)]
struct Pair {
    first: String,
    second: String,
}

/// The order as a whole.
#[derive(Serialize)]
struct Order {
    steepness: Option<f64>,
    landau_h: Option<f64>,
    corrected_h: Option<f64>,
    verdict: Option<&'static str>,
    p: Option<f64>,
    draws: i32,
    unseen: Vec<Pair>,
    tied: Vec<Pair>,
}

/// A number that evidence rests on.
#[derive(Clone, Serialize)]
struct Figure {
    name: String,
    value: f64,
    unit: String,
}

/// A piece of evidence.
#[derive(Clone, Serialize)]
struct Part {
    kind: &'static str,
    seen: String,
    strength: f64,
    adds: f64,
    figures: Vec<Figure>,
}

/// What speaks for it that a member is being pushed out.
#[derive(Clone, Serialize)]
struct Pushed {
    accession: String,
    house_name: Option<String>,
    probability: f64,
    /// None where nothing calls for a look.
    level: Option<&'static str>,
    certainty: &'static str,
    parts: Vec<Part>,
    missing: Vec<&'static str>,
    thin: Vec<&'static str>,
    id: String,
}

/// The standing of the members of a group.
#[derive(Serialize)]
pub(crate) struct Standing {
    group: String,
    first: Option<String>,
    last: Option<String>,
    watches: i32,
    hours: f64,
    decided: i32,
    decided_with_others: i32,
    scans: i32,
    feeds: i32,
    members: Vec<Member>,
    order: Order,
    budget: Budget,
    pushed_out: Vec<Pushed>,
    caution: String,
}

/// A member as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    group: String,
    accession: String,
    house_name: Option<String>,
    role: &'static str,
    david: Option<f64>,
    david_normalised: Option<f64>,
    won: i32,
    lost: i32,
    elo: Option<f64>,
    hours_watched: f64,
    received: i32,
    received_per_hour: Option<f64>,
    received_low: Option<f64>,
    received_high: Option<f64>,
    dealt: i32,
    dealt_per_hour: Option<f64>,
    friendly: i32,
    friendly_per_hour: Option<f64>,
    feeds: i32,
    kept_off_food: i32,
    scans: i32,
    alone: i32,
    strength: f64,
    pushed_out: Option<f64>,
    pushed_out_certainty: &'static str,
    id: String,
}

impl From<v1::EventRate> for Rate {
    fn from(rate: v1::EventRate) -> Self {
        let v1::EventRate { events, hours, per_hour, low, high } = rate;
        Self { events, hours, per_hour, low, high }
    }
}

impl From<v1::CountedShare> for Share {
    fn from(share: v1::CountedShare) -> Self {
        let v1::CountedShare { hits, of, share, low, high } = share;
        Self { hits, of, share, low, high }
    }
}

impl From<v1::TimeBudget> for Budget {
    fn from(budget: v1::TimeBudget) -> Self {
        let spent = |one: v1::BehaviourShare| Spent {
            behaviour: one.behaviour,
            scans: one.scans.map(Share::from),
            of_time: one.of_time,
        };
        Self {
            scans_seen: budget.scans_seen,
            scans_not_seen: budget.scans_not_seen,
            seconds_followed: budget.seconds_followed,
            shares: budget.shares.into_iter().map(spent).collect(),
        }
    }
}

impl Member {
    fn new(member: v1::MemberStanding, zone: Tz) -> Self {
        let role = member.role().word();
        let animal = member.animal.unwrap_or_default();
        let rated =
            |one: v1::RatedAt| Rated { happened_at: written(one.happened_at, zone), rating: one.rating };
        let tie = |one: v1::Tie| {
            let animal = one.animal.unwrap_or_default();
            Tie { accession: animal.accession, house_name: some(animal.house_name), index: one.index }
        };
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            role,
            david: member.david,
            david_normalised: member.david_normalised,
            won: member.won,
            lost: member.lost,
            elo: member.elo,
            elo_course: member.elo_course.into_iter().map(rated).collect(),
            received: member.received.unwrap_or_default().into(),
            dealt: member.dealt.unwrap_or_default().into(),
            friendly: member.friendly.unwrap_or_default().into(),
            kept_off_food: member.kept_off_food.unwrap_or_default().into(),
            alone: member.alone.unwrap_or_default().into(),
            ties: member.ties.into_iter().map(tie).collect(),
            strength: member.strength,
            budget: member.budget.unwrap_or_default().into(),
            id: animal.id,
        }
    }

    fn name(&self) -> &str {
        self.house_name.as_deref().unwrap_or(&self.accession)
    }
}

impl Standing {
    pub(crate) fn new(answer: v1::GetStandingResponse, zone: Tz) -> Self {
        let days = answer.days.unwrap_or_default();
        let order = answer.order.unwrap_or_default();
        let verdict = order.verdict().word();
        let name = |animal: Option<v1::AnimalLabel>| {
            let animal = animal.unwrap_or_default();
            spoken(some(animal.house_name).as_deref(), &animal.accession)
        };
        let pairs = |pairs: Vec<v1::MemberPair>| {
            let each = pairs.into_iter();
            each.map(|pair| Pair { first: name(pair.first), second: name(pair.second) }).collect()
        };
        Self {
            group: answer.group,
            first: day(days.first),
            last: day(days.last),
            watches: answer.watches,
            hours: answer.hours,
            decided: answer.decided,
            decided_with_others: answer.decided_with_others,
            scans: answer.scans,
            feeds: answer.feeds,
            members: answer.members.into_iter().map(|member| Member::new(member, zone)).collect(),
            order: Order {
                steepness: order.steepness,
                landau_h: order.landau_h,
                corrected_h: order.corrected_h,
                verdict: Some(verdict).filter(|verdict| !verdict.is_empty()),
                p: order.p,
                draws: order.draws,
                unseen: pairs(order.unseen),
                tied: pairs(order.tied),
            },
            budget: answer.budget.unwrap_or_default().into(),
            pushed_out: answer.pushed_out.into_iter().map(Pushed::from).collect(),
            caution: answer.caution,
        }
    }

    fn pushed(&self, id: &str) -> Option<&Pushed> {
        self.pushed_out.iter().find(|pushed| pushed.id == id)
    }

    /// Who is at risk of being driven out, each with its evidence; the others in a line.
    fn page_pushed_out(&self, page: &mut Page) {
        page.heading("Exclusion risk");
        let (loud, calm): (Vec<&Pushed>, Vec<&Pushed>) =
            self.pushed_out.iter().partition(|pushed| pushed.level.is_some());
        for pushed in loud {
            let name = spoken(pushed.house_name.as_deref(), &pushed.accession);
            page.line(&format!(
                "{name}: estimate {:.0} %, certainty {}, {}.",
                100.0 * pushed.probability,
                pushed.certainty,
                if pushed.level == Some("act") { "look today" } else { "look on the next round" },
            ));
            for part in &pushed.parts {
                page.hanging(&format!("  {} (adds {:.1})", part.seen, part.adds), 4);
            }
            page.indented(&not_known(pushed), 2);
        }
        let names: Vec<String> = calm
            .iter()
            .map(|one| {
                let name = one.house_name.as_deref().unwrap_or(&one.accession);
                format!("{name} {:.0} % ({})", 100.0 * one.probability, one.certainty)
            })
            .collect();
        if !names.is_empty() {
            page.line(&format!("Nothing to look at: {}.", names.join(", ")));
            page.line("In brackets is how certain that is: from little observation, little is known.");
        }
    }

    /// What the order is and is not.
    fn order(&self) -> Vec<String> {
        let order = &self.order;
        let mut lines = Vec::new();
        if self.decided == 0 {
            lines.push("Nobody saw an interaction with a clear winner: the order is not known.".to_owned());
            return lines;
        }
        if let (Some(h), Some(corrected)) = (order.landau_h, order.corrected_h) {
            let verdict = match (order.verdict, order.p) {
                (Some("linear"), Some(p)) => format!("more than chance would give (p {})", p_value(p)),
                (Some("not-shown"), Some(p)) => format!("not more than chance would give (p {})", p_value(p)),
                _ => "too few animals to compare it with chance".to_owned(),
            };
            lines.push(format!("Linearity: h {h:.2}, h' {corrected:.2}; {verdict}."));
        }
        if let Some(steepness) = order.steepness {
            lines.push(format!(
                "Steepness: {steepness:.2} (1: each beats all below it; 0: nobody is above anybody)."
            ));
        }
        for (what, pairs) in [("Never seen to decide anything", &order.unseen), ("Equal so far", &order.tied)]
        {
            if pairs.len() > MOST_PAIRS {
                lines.push(format!("{what}: {} pairs (`--format json` lists them).", pairs.len()));
            } else if !pairs.is_empty() {
                let each: Vec<String> =
                    pairs.iter().map(|pair| format!("{} and {}", pair.first, pair.second)).collect();
                lines.push(format!("{what}: {}.", each.join("; ")));
            }
        }
        if self.decided_with_others > 0 {
            lines.push(format!(
                "{} with former members count in ratings, but in no score.",
                count(
                    usize::try_from(self.decided_with_others).unwrap_or_default(),
                    "interaction",
                    "interactions"
                )
            ));
        }
        lines
    }
}

/// What would make an estimate surer.
fn not_known(pushed: &Pushed) -> String {
    let list = |what: &str, kinds: &[&str]| {
        if kinds.is_empty() { String::new() } else { format!(" {what}: {}.", kinds.join(", ")) }
    };
    let told = format!("{}{}", list("Not known", &pushed.missing), list("Known from little", &pushed.thin));
    told.trim().to_owned()
}

impl From<v1::ExclusionEstimate> for Pushed {
    fn from(estimate: v1::ExclusionEstimate) -> Self {
        let level = Some(estimate.level().word()).filter(|level| !level.is_empty());
        let certainty = estimate.certainty().word();
        let missing = estimate.missing().map(Word::word).collect();
        let thin = estimate.thin().map(Word::word).collect();
        let part = |part: v1::ExclusionPart| Part {
            kind: part.kind().word(),
            strength: part.strength,
            adds: part.adds,
            figures: part
                .figures
                .into_iter()
                .map(|figure| Figure { name: figure.name, value: figure.value, unit: figure.unit })
                .collect(),
            seen: part.seen,
        };
        let animal = estimate.animal.unwrap_or_default();
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            probability: estimate.probability,
            level,
            certainty,
            parts: estimate.parts.into_iter().map(part).collect(),
            missing,
            thin,
            id: animal.id,
        }
    }
}

fn p_value(p: f64) -> String {
    if p < 0.001 { "below 0.001".to_owned() } else { format!("{p:.3}") }
}

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "–".to_owned(), |value| format!("{value:.digits$}"))
}

/// `1.5 (0.7 to 2.9)`, or that it was not observed.
fn rate(rate: &Rate) -> String {
    match (rate.per_hour, rate.low, rate.high) {
        (Some(per_hour), Some(low), Some(high)) => format!("{per_hour:.1} ({low:.1} to {high:.1})"),
        _ => "not observed".to_owned(),
    }
}

fn share(share: &Share) -> String {
    if share.of == 0 { "not seen".to_owned() } else { format!("{} of {}", share.hits, share.of) }
}

impl Answer for Standing {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |member: &Member| Row {
            group: self.group.clone(),
            accession: member.accession.clone(),
            house_name: member.house_name.clone(),
            role: member.role,
            david: member.david,
            david_normalised: member.david_normalised,
            won: member.won,
            lost: member.lost,
            elo: member.elo,
            hours_watched: member.received.hours,
            received: member.received.events,
            received_per_hour: member.received.per_hour,
            received_low: member.received.low,
            received_high: member.received.high,
            dealt: member.dealt.events,
            dealt_per_hour: member.dealt.per_hour,
            friendly: member.friendly.events,
            friendly_per_hour: member.friendly.per_hour,
            feeds: member.kept_off_food.of,
            kept_off_food: member.kept_off_food.hits,
            scans: member.alone.of,
            alone: member.alone.hits,
            strength: member.strength,
            pushed_out: self.pushed(&member.id).map(|pushed| pushed.probability),
            pushed_out_certainty: self.pushed(&member.id).map_or("", |pushed| pushed.certainty),
            id: member.id.clone(),
        };
        self.members.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        let n = |n: i32| usize::try_from(n).unwrap_or_default();
        let (first, last) =
            (self.first.as_deref().unwrap_or_default(), self.last.as_deref().unwrap_or_default());
        page.heading(&format!("{}, {first} to {last}", self.group));
        page.line(&format!(
            "Observed {}, {:.1} hours in all: {}, {}, {}.",
            count(n(self.watches), "time", "times"),
            self.hours,
            count(n(self.decided), "decided interaction", "decided interactions"),
            count(n(self.scans), "scan", "scans"),
            count(n(self.feeds), "feed", "feeds"),
        ));
        if self.watches == 0 {
            page.line("Nothing is known without observations: `holt observe`.");
            page.remark(&self.caution);
            return;
        }
        page.heading("Dominance");
        let mut table = Table::new(["Animal", "Role", "David", "0 to n−1", "Won", "Lost", "Elo"])
            .numbers([2, 3, 4, 5, 6]);
        for member in &self.members {
            table.row([
                member.name().to_owned(),
                member.role.to_owned(),
                number(member.david, 2),
                number(member.david_normalised, 2),
                member.won.to_string(),
                member.lost.to_string(),
                number(member.elo, 0),
            ]);
        }
        page.table(&table);
        for line in self.order() {
            page.line(&line);
        }
        page.heading("For each hour observed (95 % interval)");
        let mut table =
            Table::new(["Animal", "Hours", "Aggression received", "Aggression given", "Friendly contact"])
                .numbers([1]);
        for member in &self.members {
            table.row([
                member.name().to_owned(),
                format!("{:.1}", member.received.hours),
                rate(&member.received),
                rate(&member.dealt),
                rate(&member.friendly),
            ]);
        }
        page.table(&table);
        page.heading("At food and in company");
        let mut table =
            Table::new(["Animal", "Kept off food", "Alone in scans", "Strength", "Most with"]).numbers([3]);
        for member in &self.members {
            let most = member.ties.first().filter(|tie| tie.index > 0.0);
            let most = most.map(|tie| {
                format!("{} ({:.2})", tie.house_name.as_deref().unwrap_or(&tie.accession), tie.index)
            });
            let strength =
                if member.ties.is_empty() { "–".to_owned() } else { format!("{:.2}", member.strength) };
            table.row([
                member.name().to_owned(),
                share(&member.kept_off_food),
                share(&member.alone),
                strength,
                most.unwrap_or_default(),
            ]);
        }
        page.table(&table);
        page.heading("Time, of scans that saw the animal");
        let told = |budget: &Budget| {
            let each = budget.shares.iter().map(|spent| match (&spent.scans, spent.of_time) {
                (Some(scans), _) => {
                    format!("{} {:.0} %", spent.behaviour, 100.0 * scans.share.unwrap_or_default())
                }
                (None, of_time) => {
                    format!(
                        "{} {:.0} % of the time followed",
                        spent.behaviour,
                        100.0 * of_time.unwrap_or_default()
                    )
                }
            });
            each.collect::<Vec<_>>().join(", ")
        };
        let mut table = Table::new(["Animal", "Scans", "Not seen", "Activity"]).numbers([1, 2]);
        let all = std::iter::once(("all", &self.budget));
        for (name, budget) in self.members.iter().map(|member| (member.name(), &member.budget)).chain(all) {
            table.row([
                name.to_owned(),
                budget.scans_seen.to_string(),
                budget.scans_not_seen.to_string(),
                told(budget),
            ]);
        }
        page.table(&table);
        self.page_pushed_out(page);
        page.remark(&self.caution);
    }
}
