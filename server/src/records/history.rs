//! Histories: one animal's life as it was known at any instant, and what changed since an earlier one.

use crate::access::permit::Caller;
use crate::access::roles::Deed;
use crate::model::animal::Label;
use crate::model::fact::{FactKind, Told};
use crate::model::page::{Page, Slice};
use crate::records::error::{Refusal, Result};
use crate::records::{Records, one_animal};
use crate::store::Snapshot;
use crate::store::history::{self, Entry, Wanted};
use chrono::{DateTime, Datelike, Months, NaiveDate, Utc};
use holt_audit::terms::Mass;
use serde_json::Value;
use uuid::Uuid;

/// Which history is asked for.
#[derive(Clone, Debug)]
pub struct Asked {
    pub site: String,
    pub animal: String,
    pub known_at: Option<DateTime<Utc>>,
    pub since: Option<DateTime<Utc>>,
}

/// The history of one animal.
#[derive(Clone, Debug)]
pub struct History {
    pub animal: Label,
    /// As it stands now; 0 where it is asked as known at an instant, for the version of then is not kept.
    pub version: i64,
    pub facts: Slice<Told>,
}

/// The facts about an animal that the caller may see, in the order in which they happened.
///
/// # Errors
/// Refused where there is no such site in scope, or no such animal.
pub async fn get(records: &Records, caller: &Caller, asked: &Asked, page: &Page) -> Result<History> {
    let permit = match asked.site.as_str() {
        "" => None,
        site => Some(records.permit(caller, Deed::Read, site).await?),
    };
    let now = records.store.now();
    let known_at = asked.known_at.unwrap_or(now);
    if asked.since.is_some_and(|since| since >= known_at) {
        let say = "it is not before the instant of the question";
        return Err(Refusal::malformed(vec![crate::records::error::Violation {
            field: "changed_since".to_owned(),
            say: say.to_owned(),
            mend: "give an earlier one".to_owned(),
        }])
        .into());
    }
    let snapshot = records.look(caller, Some(known_at)).await?;
    let animal = one_animal(&snapshot, permit.as_ref(), &asked.animal, now).await?;
    let wanted = Wanted {
        since: asked.since,
        after: page.after.clone(),
        most: Some(i64::from(page.size) + 1),
        ids: None,
    };
    let entries = history::of(&snapshot, &[animal.id], &wanted).await?;
    let version = match asked.known_at {
        Some(_) => 0,
        None => crate::store::animals::version(&snapshot, animal.id).await?,
    };
    let found = Slice::cut(entries, page, Entry::key);
    let facts = found.entries.into_iter().map(|entry| told(caller, entry)).collect::<Result<_>>()?;
    Ok(History { animal, version, facts: Slice { entries: facts, next: found.next } })
}

/// These versions of facts about animals, in the order in which they are named.
pub(crate) async fn these(
    snapshot: &Snapshot,
    caller: &Caller,
    animals: &[Uuid],
    ids: &[Uuid],
) -> Result<Vec<Told>> {
    let wanted = Wanted { ids: Some(ids.to_vec()), ..Wanted::default() };
    let entries = history::of(snapshot, animals, &wanted).await?;
    let mut facts: Vec<Told> = entries.into_iter().map(|entry| told(caller, entry)).collect::<Result<_>>()?;
    facts.sort_by_key(|fact| ids.iter().position(|id| *id == fact.id));
    Ok(facts)
}

fn told(caller: &Caller, entry: Entry) -> Result<Told> {
    let kind = entry.kind()?;
    Ok(Told {
        kind,
        id: entry.id,
        at: entry.at,
        day_only: entry.day_only,
        ended_at: entry.ended_at,
        say: say(kind, &entry.says),
        recorded_at: entry.recorded_at,
        superseded: entry.superseded_at.map(|at| (at, entry.superseded_why.clone().unwrap_or_default())),
        change: entry.change()?,
        entered_for: entry.entered_for,
        set_aside: entry.set_aside,
        // Another site's people: not even that they exist.
        recorded_by: if caller.reach(Deed::Read).is_ok_and(|reach| reach.covers(entry.recorder_id)) {
            entry.recorded_by
        } else {
            String::new()
        },
        recorder: entry.recorder,
        site: entry.site,
    })
}

/// What a fact says, in words.
fn say(kind: FactKind, says: &Value) -> String {
    let text = |name: &str| says[name].as_str().unwrap_or_default();
    let spoken = |name: &str| text(name).replace('_', " ");
    let with = |text: String, rest: &[&str]| {
        let rest: Vec<&str> = rest.iter().copied().filter(|rest| !rest.is_empty()).collect();
        if rest.is_empty() { text } else { format!("{text} ({})", rest.join(", ")) }
    };
    match kind {
        FactKind::Birth => {
            let day = match (text("first"), text("last")) {
                ("", _) => "born on an unknown day".to_owned(),
                (first, last) if first == last => format!("born on {first}"),
                (first, last) => spoken_span("born", first, last),
            };
            with(day, &[if says["estimated"] == true { "estimated" } else { "" }])
        }
        FactKind::Sex => text("sex").to_owned(),
        FactKind::Parent => {
            let parent = if text("parent").is_empty() { text("id") } else { text("parent") };
            let share = says["share"].as_f64().filter(|share| *share < 1.0);
            let share = share.map(|share| format!("{:.0} %", share * 100.0)).unwrap_or_default();
            with(format!("{} {parent}", text("kind")), &[&share, text("known_by"), text("note")])
        }
        FactKind::Accession => format!("added as {}", text("number")),
        FactKind::Holding => {
            let how = match text("began_how") {
                "told_apart" => "identification".to_owned(),
                _ => spoken("began_how"),
            };
            let began = with(how, &[&spoken("began_source"), text("began_name"), text("began_country")]);
            if text("ended_how").is_empty() {
                format!("held since its {began}")
            } else {
                let to = [&spoken("ended_source"), text("ended_name"), text("ended_country")];
                let ended = with(spoken("ended_how"), &to);
                format!("held from its {began} to its {ended}")
            }
        }
        FactKind::Title => format!("owned by {}", text("owner")),
        FactKind::Placement if text("enclosure").is_empty() => {
            "lives in an enclosure of that site".to_owned()
        }
        FactKind::Placement => format!("lives in {}", text("enclosure")),
        FactKind::Membership => {
            with(format!("belongs to {}", text("group")), &[&spoken("role"), text("ended_why")])
        }
        FactKind::ToldApart => {
            let of = if text("dam").is_empty() { String::new() } else { format!(" of {}", text("dam")) };
            format!("identified from the litter{of} born {}", text("born_on"))
        }
        FactKind::LifeState => {
            let suspected = if says["suspected"] == true { "suspected" } else { "" };
            with(spoken("state"), &[suspected, text("note"), text("ended_why")])
        }
        FactKind::Mark => {
            with(format!("{} {}", spoken("kind"), text("code")), &[text("place"), text("ended_why")])
        }
        FactKind::Mistake => format!("entered by mistake: {}", text("because")),
        FactKind::Loan => {
            let until = match text("until") {
                "" => String::new(),
                until => format!(" until {until}"),
            };
            let ended = match spoken("ended_how").as_str() {
                "" => String::new(),
                how => format!(", ended: {how}"),
            };
            let loan = format!("on loan from {} to {}{until}{ended}", text("lender"), text("borrower"));
            with(loan, &[text("terms")])
        }
        FactKind::Paper => {
            let paper = [spoken("kind").replace("cites", "CITES"), text("number").to_owned()].join(" ");
            let appendix = match text("appendix") {
                "" => String::new(),
                appendix => format!("appendix {appendix}"),
            };
            let told = |what: &str, name: &str| match text(name) {
                "" => String::new(),
                text => format!("{what} {text}"),
            };
            let rest = [
                &format!("with the {}", text("occasion")),
                text("country"),
                text("by"),
                &told("valid until", "until"),
                &appendix,
                &told("source", "source"),
                &told("purpose", "purpose"),
                text("note"),
            ];
            with(paper.trim().to_owned(), &rest)
        }
        FactKind::Weight => {
            let mass = says["mass_mg"].as_i64().map(Mass::from_mg);
            let mass = mass.map_or_else(|| "declined the scale".to_owned(), grams);
            let doubtful = match (says["doubtful"] == true, says["accepted"] == true) {
                (true, false) => "awaits a second weighing",
                (true, true) => "accepted",
                (false, _) => "",
            };
            with(mass, &[text("method"), text("scale"), doubtful, text("note")])
        }
        FactKind::Assessment => {
            let findings = says["findings"].as_array().map_or(0, Vec::len);
            let found = if findings == 1 { "1 finding".to_owned() } else { format!("{findings} findings") };
            with(format!("assessed by {}@{}", text("protocol"), says["version"]), &[&found, text("note")])
        }
        FactKind::Encounter => with(format!("met the public: {}", spoken("kind")), &[text("incident")]),
        FactKind::Transfer => {
            let way = format!("transfer from {} to {}: {}", text("from"), text("to"), text("step"));
            with(way, &[text("note")])
        }
        FactKind::Merge => {
            let other = if text("other").is_empty() { text("id") } else { text("other") };
            with(format!("found to be the animal recorded as {other}"), &[text("because")])
        }
        FactKind::Death => {
            let day = match (text("first"), text("last")) {
                ("", _) => "died on an unknown day".to_owned(),
                (first, last) if first == last => "died".to_owned(),
                (first, last) => spoken_span("died", first, last),
            };
            let found = match text("found") {
                "" => String::new(),
                found => format!("found on {found}"),
            };
            let examined = match (text("post_mortem"), text("result")) {
                ("", _) => String::new(),
                (_, "") => format!("post-mortem {}", spoken("post_mortem")),
                (_, result) => format!("post-mortem: {result}"),
            };
            let body = with(spoken("disposal"), &[text("disposal_name")]);
            with(day, &[&found, &spoken("manner"), text("note"), &examined, &body])
        }
    }
}

/// A year or a month as such; other stretches by their ends.
fn spoken_span(what: &str, first: &str, last: &str) -> String {
    let days = first.parse::<NaiveDate>().ok().zip(last.parse::<NaiveDate>().ok());
    let whole = |from: NaiveDate, next: Option<NaiveDate>| {
        days.is_some_and(|(first, last)| first == from && last.succ_opt() == next)
    };
    let Some((day, _)) = days else { return format!("{what} between {first} and {last}") };
    let (month, year) = (day.with_day(1).unwrap_or(day), day.with_ordinal(1).unwrap_or(day));
    if whole(month, month.checked_add_months(Months::new(1))) {
        format!("{what} in {}", day.format("%Y-%m"))
    } else if whole(year, year.checked_add_months(Months::new(12))) {
        format!("{what} in {}", day.format("%Y"))
    } else {
        format!("{what} between {first} and {last}")
    }
}

/// To the milligram, in the unit that people use for such a mass.
fn grams(mass: Mass) -> String {
    let (whole, unit) = if mass.mg() >= 1_000_000 { (1_000_000, "kg") } else { (1000, "g") };
    let rest = mass.mg() % whole;
    if rest == 0 {
        return format!("{} {unit}", mass.mg() / whole);
    }
    let digits = if whole == 1000 { 3 } else { 6 };
    let fraction = format!("{rest:0digits$}");
    format!("{}.{} {unit}", mass.mg() / whole, fraction.trim_end_matches('0'))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn facts_are_told_in_words() {
        for (kind, says, words) in [
            (
                FactKind::Birth,
                json!({ "first": "2019-05-01", "last": "2019-05-31", "estimated": true }),
                "born in 2019-05 (estimated)",
            ),
            (
                FactKind::Birth,
                json!({ "first": null, "last": null, "estimated": false }),
                "born on an unknown day",
            ),
            (
                FactKind::Parent,
                json!({ "kind": "sire", "share": 0.5, "parent": "QUI-25-0001" }),
                "sire QUI-25-0001 (50 %)",
            ),
            (
                FactKind::Holding,
                json!({ "began_how": "arrival", "began_source": "rescue", "began_name": "", "ended_how": null }),
                "held since its arrival (rescue)",
            ),
            (
                FactKind::Weight,
                json!({ "mass_mg": 8_120_500, "doubtful": false, "method": "trained", "scale": "", "note": "wet" }),
                "8.1205 kg (trained, wet)",
            ),
            (FactKind::Weight, json!({ "mass_mg": null }), "declined the scale"),
            (
                FactKind::Death,
                json!({ "first": "2026-02-20", "last": "2026-02-20", "manner": "by_animal", "note": "" }),
                "died (by animal)",
            ),
            (
                FactKind::Death,
                json!({
                    "first": "2026-01-01", "last": "2026-01-31", "found": "2026-02-03", "manner": "unknown",
                    "post_mortem": "done", "result": "no cause found", "disposal": "collection",
                    "disposal_name": "Quill Museum",
                }),
                "died in 2026-01 (found on 2026-02-03, unknown, post-mortem: no cause found, collection \
                 (Quill Museum))",
            ),
        ] {
            assert_eq!(say(kind, &says), words);
        }
    }

    #[test]
    fn masses_are_told_to_the_milligram() {
        for (mg, text) in [
            (812_000, "812 g"),
            (812_345, "812.345 g"),
            (8_000_000, "8 kg"),
            (8_000_001, "8.000001 kg"),
            (5, "0.005 g"),
        ] {
            assert_eq!(grams(Mass::from_mg(mg)), text);
        }
    }
}
