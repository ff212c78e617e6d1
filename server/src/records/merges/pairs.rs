//! Two facts of two records of one animal: whether both can stand.

use super::plan::{record, stretch};
use crate::model::fact::{FactKind, Version};

/// What two facts are to one another.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Verdict {
    /// Both can stand.
    Together,
    /// The first says what the second does, or more.
    FirstSays,
    /// The second says what the first does, or more.
    SecondSays,
    /// They cannot both be so: why, for people.
    Clash(String),
}

/// Whether a death ended a holding.
pub(super) fn ends_with_death(holding: &Version, death: &Version) -> bool {
    holding.text("ended_how") == Some("death") && holding.instant("ended_at") == death.instant("died_at")
}

/// Whether a holding began as a young was told apart out of its litter.
pub(super) fn told_apart(holding: &Version) -> bool {
    holding.text("began_how") == Some("told_apart")
}

fn meet(x: &Version, y: &Version) -> bool {
    let ((from, to), (other_from, other_to)) = (stretch(x), stretch(y));
    to.is_none_or(|to| other_from < to) && other_to.is_none_or(|to| from < to)
}

/// Whether `x` lasts all the time that `y` does.
fn spans(x: &Version, y: &Version) -> bool {
    let ((from, to), (other_from, other_to)) = (stretch(x), stretch(y));
    from <= other_from && to.is_none_or(|to| other_to.is_some_and(|other| other <= to))
}

fn same(x: &Version, y: &Version, columns: &[&str]) -> bool {
    columns.iter().all(|column| x.row.get(*column) == y.row.get(*column))
}

fn day(fact: &Version) -> String {
    stretch(fact).0.format("%Y-%m-%d").to_string()
}

/// Of two that say the same, the one that lasts longer, the first where both do.
fn longer(x: &Version, y: &Version) -> Option<Verdict> {
    if spans(x, y) {
        Some(Verdict::FirstSays)
    } else if spans(y, x) {
        Some(Verdict::SecondSays)
    } else {
        None
    }
}

/// What two facts of two records are to one another; `all` are the facts of both.
pub(super) fn pair(x: &Version, y: &Version, all: &[Version]) -> Verdict {
    if x.kind != y.kind {
        return match (x.kind, y.kind) {
            (FactKind::Death, FactKind::Holding) => after_death(x, y),
            (FactKind::Holding, FactKind::Death) => after_death(y, x),
            (FactKind::Death, _) if outlives(x, y) => Verdict::Clash(outlived(x, y)),
            (_, FactKind::Death) if outlives(y, x) => Verdict::Clash(outlived(y, x)),
            (FactKind::Birth, FactKind::Holding) => before_birth(x, y),
            (FactKind::Holding, FactKind::Birth) => before_birth(y, x),
            _ => Verdict::Together,
        };
    }
    match x.kind {
        FactKind::Birth => births(x, y),
        FactKind::Sex => sexes(x, y),
        FactKind::Parent if same(x, y, &["kind", "parent_id"]) => Verdict::FirstSays,
        FactKind::Parent if x.text("kind") == Some("dam") && same(x, y, &["kind"]) => {
            Verdict::Clash("they have different dams".to_owned())
        }
        FactKind::Accession | FactKind::Paper if x.site() != y.site() => Verdict::Together,
        FactKind::Accession => Verdict::FirstSays,
        FactKind::Paper
            if same(x, y, &["occasion", "kind", "number", "issued_by_country"])
                && x.text("number") != Some("") =>
        {
            Verdict::FirstSays
        }
        FactKind::Mark if same(x, y, &["kind", "code", "site_id"]) => {
            longer(x, y).unwrap_or(Verdict::Together)
        }
        FactKind::Holding => holdings(x, y, all),
        FactKind::Title => stretches(x, y, &["owner_site_id", "owner_name"], "both have an owner"),
        FactKind::Loan => stretches(
            x,
            y,
            &["lender_site_id", "lender_name", "borrower_site_id", "borrower_name"],
            "both are on loan",
        ),
        FactKind::Placement => stretches(x, y, &["enclosure_id"], "they live in two places"),
        FactKind::Membership => {
            stretches(x, y, &["group_id", "role"], "they belong to two groups, or in two roles")
        }
        FactKind::LifeState if !same(x, y, &["state"]) => Verdict::Together,
        FactKind::LifeState => stretches(x, y, &["suspected"], "they are in one state twice"),
        FactKind::Weight if !same(x, y, &["weighed_at"]) => Verdict::Together,
        FactKind::Weight if same(x, y, &["mass_mg"]) => Verdict::FirstSays,
        FactKind::Weight => {
            let at = x.instant("weighed_at").unwrap_or_default();
            Verdict::Clash(format!("they weighed differently at {}", at.format("%Y-%m-%d %H:%M UTC")))
        }
        FactKind::Death if same(x, y, &["died_on", "died_at"]) => Verdict::FirstSays,
        FactKind::Death => {
            let day = |death: &Version| death.text("died_on").unwrap_or_default().to_owned();
            Verdict::Clash(format!("they died at different times, on {} and on {}", day(x), day(y)))
        }
        // Where their holdings meet, the one that stands decides this, too.
        FactKind::ToldApart => Verdict::Clash("both were identified out of a litter".to_owned()),
        FactKind::Parent
        | FactKind::Paper
        | FactKind::Mark
        | FactKind::Assessment
        | FactKind::Encounter
        | FactKind::Transfer
        | FactKind::Merge
        | FactKind::Mistake => Verdict::Together,
    }
}

fn births(x: &Version, y: &Version) -> Verdict {
    let days = |birth: &Version| birth.day("born_first").zip(birth.day("born_last"));
    match (days(x), days(y)) {
        (_, None) => Verdict::FirstSays,
        (None, Some(_)) => Verdict::SecondSays,
        (Some((first, last)), Some((other_first, other_last)))
            if last < other_first || other_last < first =>
        {
            Verdict::Clash(format!(
                "one was born by {}, the other not before {}",
                last.min(other_last),
                first.max(other_first)
            ))
        }
        (Some(_), Some(_)) => Verdict::FirstSays,
    }
}

fn sexes(x: &Version, y: &Version) -> Verdict {
    let on = |fact: &Version| fact.day("determined_on");
    match (x.text("sex"), y.text("sex")) {
        (one, other) if one == other && on(x) != on(y) => Verdict::Together,
        (one, other) if one == other => Verdict::FirstSays,
        // That it was not known once stands beside that it became known.
        (_, Some("unknown")) if on(y) < on(x) => Verdict::Together,
        (Some("unknown"), _) if on(x) < on(y) => Verdict::Together,
        (_, Some("unknown")) => Verdict::FirstSays,
        (Some("unknown"), _) => Verdict::SecondSays,
        _ => Verdict::Clash("one is male, the other female".to_owned()),
    }
}

fn stretches(x: &Version, y: &Version, who: &[&str], what: &str) -> Verdict {
    if !meet(x, y) {
        return Verdict::Together;
    }
    let longer = if same(x, y, who) { longer(x, y) } else { None };
    longer.unwrap_or_else(|| {
        Verdict::Clash(format!("{what} at one time, since {} and since {}", day(x), day(y)))
    })
}

fn holdings(x: &Version, y: &Version, all: &[Version]) -> Verdict {
    if !meet(x, y) {
        let (first, then) = if stretch(x).0 < stretch(y).0 { (x, y) } else { (y, x) };
        // Until it was identified it was in its litter, of which nothing leaves under another name.
        if !told_apart(then) {
            return Verdict::Together;
        }
        let (held, identified) = (day(first), day(then));
        return Verdict::Clash(format!(
            "one was held since {held}, before the other was identified from its litter on {identified}"
        ));
    }
    // Which of the two it is, then, is asked of the death.
    let goes_on_after = |x: &Version, y: &Version| {
        let deaths = || all.iter().filter(|fact| fact.kind == FactKind::Death && record(fact) == record(x));
        deaths().any(|death| ends_with_death(x, death) && lasts_beyond(death, y))
    };
    if goes_on_after(x, y) || goes_on_after(y, x) {
        return Verdict::Together;
    }
    // A young that left the count of its litter came onto the books with that: not unasked by another way, too.
    let one_way = told_apart(x) == told_apart(y);
    let moved = |holding: &Version| {
        ["transfer_in", "transfer_out"].iter().any(|column| holding.uuid(column).is_some())
    };
    let longer = if one_way && same(x, y, &["site_id"]) { longer(x, y) } else { None };
    match longer {
        Some(Verdict::FirstSays) if moved(y) => {}
        Some(Verdict::SecondSays) if moved(x) => {}
        Some(verdict) => return verdict,
        None => {}
    }
    Verdict::Clash(format!("both are held at one time, since {} and since {}", day(x), day(y)))
}

fn lasts_beyond(death: &Version, fact: &Version) -> bool {
    let died = death.instant("died_at").unwrap_or_default();
    stretch(fact).1.is_none_or(|ended| ended > died)
}

/// Whether something that ends with an animal's death goes on after a death.
fn outlives(death: &Version, fact: &Version) -> bool {
    matches!(fact.kind, FactKind::Title | FactKind::Loan | FactKind::Mark) && lasts_beyond(death, fact)
}

fn outlived(death: &Version, fact: &Version) -> String {
    let (died, kind) = (death.text("died_on").unwrap_or_default(), fact.kind.spoken());
    format!("one died on {died}, a {kind} of the other is in force after that")
}

fn before_birth(birth: &Version, holding: &Version) -> Verdict {
    match birth.day("born_first").zip(holding.day("began_on")) {
        Some((born, began)) if born > began => {
            Verdict::Clash(format!("one was born on {born} or later, the other was held since {began}"))
        }
        _ => Verdict::Together,
    }
}

fn after_death(death: &Version, holding: &Version) -> Verdict {
    if !lasts_beyond(death, holding) {
        return Verdict::Together;
    }
    let died = death.text("died_on").unwrap_or_default();
    Verdict::Clash(format!("one died on {died}, the other is held after that"))
}
