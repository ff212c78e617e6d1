//! Findings in words that a keeper accepts: what was seen, since when, how sure, compared with what, on
//! which records it rests, and what to look at first. Never a diagnosis.

use crate::attempts::Refusal;
use crate::expected::{Cause, Course, Loss, Whole};
use crate::stats::count;
use crate::terms::{Day, Mass};
use serde::Serialize;

/// What people are told.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Words {
    /// What was seen, in a few sentences.
    pub seen: String,
    /// What to look at first.
    pub look_first: String,
    /// The numbers that it rests on.
    pub figures: Vec<Figure>,
}

/// A number that a finding rests on, to a hundredth: what is told must be the same wherever it is computed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Figure {
    /// What it is.
    pub name: &'static str,
    /// The value.
    pub value: f64,
    /// Its unit (UCUM where there is one).
    pub unit: &'static str,
    /// Lower end of its interval, where it has one.
    pub low: Option<f64>,
    /// Upper end of its interval, where it has one.
    pub high: Option<f64>,
}

impl Figure {
    pub(crate) fn new(name: &'static str, value: f64, unit: &'static str) -> Self {
        Self { name, value: rounded(value), unit, low: None, high: None }
    }
}

/// What to do about an open matter that is found no more: people settle it, not a computation.
pub(crate) const IF_OVER: &str = "If you agree that it is over, close the concern and say why.";

/// An animal called `name` loses, or gains less than expected, since a day; `latest` is what it weighed last, and
/// `companions` by how much a week its companions went, where that is known: it, and the middle of them, in %.
#[must_use]
pub fn lost(
    name: &str,
    since: Day,
    loss: &Loss,
    latest: Option<Mass>,
    companions: Option<[f64; 2]>,
) -> Words {
    let Loss { percent, a_year, .. } = *loss;
    let way = match (loss.gains_less, loss.course) {
        (true, _) => "gains less than expected",
        (false, Course::Slow) => "lost it gradually",
        (false, Course::Sharp) => "lost it from one weighing to the next",
    };
    let weighed = latest.map(|latest| format!(" weighed {} last and", mass(latest))).unwrap_or_default();
    // The first sentence stands alone where there is little room.
    let mut seen =
        format!("{name}{weighed} is {percent:.1} % below what is expected by now: {way} since {since}.");
    let mut figures = vec![Figure::new("below expected", percent, "%")];
    figures.extend(latest.map(|latest| Figure::new("latest weight", latest.grams(), "g")));
    if let Some([own, theirs]) = companions {
        // What rounds to nothing from below is nothing, and no -0.0.
        let [own, theirs] = [own, theirs].map(|percent| (percent * 10.0).round() / 10.0 + 0.0);
        seen += &format!(
            " Recently it changed by {own:+.1} % a week, its companions by {theirs:+.1} % (median)."
        );
        figures.push(Figure::new("a week recently", own, "%/wk"));
        figures.push(Figure::new("a week recently, companions (median)", theirs, "%/wk"));
    }
    figures.push(rare("as often in healthy ones", a_year));
    let look_first = if loss.gains_less {
        "Watch a whole feed, or a suckling: does it get to it, and does it swallow? Is it warm, and where \
         does it lie? Look at mouth, belly and droppings; if it is hand-reared, also at formula and times. \
         Weigh it again within a day or two."
    } else if companions.is_some_and(|[own, theirs]| theirs > own / 2.0) {
        "Watch a whole feed from where you see all: is it kept off its food, does it hang back or come \
         last? Look for bites at tail, ears and rump, and at teeth and stool. Weigh it again on the same \
         scale before the feed."
    } else {
        "Weigh it again on the same scale before the feed. Watch a whole feed: does it eat, is it kept off \
         its food, does it hang back? Look at teeth, stool and wounds."
    };
    Words { seen, look_first: look_first.to_owned(), figures }
}

/// What to say of an open matter of weight or growth that is found no more: people settle it, not a computation.
#[must_use]
pub fn quiet(name: &str) -> Words {
    // Not that it is back: what has lasted for half a year is what it weighs.
    say_quiet(format!("The weight of {name} is as expected again."))
}

/// The same of refusals.
#[must_use]
pub fn comes_again(name: &str) -> Words {
    say_quiet(format!("{name} came to the scale again."))
}

/// A group that loses as one. `name` says who: `The 9 Lontra canadensis in Weir`.
#[must_use]
pub fn of_group(name: &str, since: Day, whole: &Whole) -> Words {
    let Loss { percent, a_year, course, .. } = whole.loss;
    let way = if course == Course::Slow { "gradually" } else { "from one weighing to the next" };
    let (why, look_first) = match whole.cause {
        Cause::Loss => (
            "",
            "Look at what all of them share: feed and leftovers, water, warmth, droppings, unrest. Check \
             the scale with a known weight before you change anything.",
        ),
        Cause::Scale => (
            " All of them fell by almost the same part at one weighing: a scale that is off explains that \
             better than a loss.",
            "Check the scale with a known weight, its place and its tare; weigh two of them on another \
             scale.",
        ),
        Cause::Season => (
            " A season that is not known yet explains that better than a loss.",
            "Compare with this time of other years; look at feed and leftovers.",
        ),
    };
    Words {
        seen: format!(
            "{name} are {percent:.1} % below what is expected by now: lost {way}, since {since}.{why}"
        ),
        look_first: look_first.to_owned(),
        figures: vec![
            Figure::new("below expected", percent, "%"),
            rare("as often in healthy groups", a_year),
            Figure::new("certainty of that explanation", 100.0 * whole.sure, "%"),
        ],
    }
}

/// What to say of an open matter of a group that loses as one no more.
#[must_use]
pub fn quiet_group(name: &str) -> Words {
    say_quiet(format!("The weights of {name} are as expected again."))
}

fn say_quiet(seen: String) -> Words {
    Words { seen, look_first: IF_OVER.to_owned(), figures: Vec::new() }
}

/// An animal called `name` refuses the scale since a day.
#[must_use]
pub fn refused(name: &str, since: Day, refusal: &Refusal) -> Words {
    Words {
        seen: format!(
            "{name} declined the scale {} consecutive times since {since}; before, it declined {:.0} % of \
             the time.",
            refusal.in_a_row, refusal.usual_percent
        ),
        look_first:
            "Does it come for food at all, do others keep it away from the scale, does it move freely? Its \
             weight is not known meanwhile."
                .to_owned(),
        figures: vec![
            Figure::new("consecutive times declined", count(refusal.in_a_row), "1"),
            Figure::new("declined before", refusal.usual_percent, "%"),
            // A hundredth would make nothing of it.
            Figure { value: refusal.chance, ..Figure::new("chance of such a row by habit", 0.0, "1") },
        ],
    }
}

/// How often a year: a hundredth would make nothing of it, and less than a thousandth nobody knows.
fn rare(name: &'static str, a_year: f64) -> Figure {
    Figure { value: (a_year.max(0.001) * 1000.0).round() / 1000.0, ..Figure::new(name, 0.0, "/a") }
}

fn rounded(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn mass(mass: Mass) -> String {
    if mass.grams() >= 10_000.0 { format!("{:.2} kg", mass.kg()) } else { format!("{:.0} g", mass.grams()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episode::Severity;
    use chrono::{TimeZone, Utc};

    fn since() -> Day {
        "2026-01-19".parse().unwrap()
    }

    fn loss(gains_less: bool) -> Loss {
        Loss {
            since: Utc.with_ymd_and_hms(2026, 1, 19, 8, 0, 0).unwrap(),
            course: Course::Slow,
            percent: 7.0,
            gains_less,
            severity: Severity::Watch,
            odds: 6.0,
            a_year: 0.0412,
            told: true,
        }
    }

    #[test]
    fn a_loss() {
        let words = lost("Bramble", since(), &loss(false), Some(Mass::from_grams(930.0)), None);
        assert_eq!(
            words.seen,
            "Bramble weighed 930 g last and is 7.0 % below what is expected by now: lost it gradually since \
             2026-01-19."
        );
        assert_eq!(words.figures[0], Figure::new("below expected", 7.0, "%"));
        assert!(
            lost("Bramble", since(), &loss(false), None, None).seen.starts_with("Bramble is 7.0 % below")
        );
        let young = lost("Bramble", since(), &loss(true), None, None);
        assert!(young.seen.contains("gains less than expected") && young.look_first.contains("suckling"));
    }

    #[test]
    fn one_that_loses_alone_is_told_from_one_of_many() {
        let told = |companions| lost("Bramble", since(), &loss(false), None, Some(companions));
        let alone = told([-1.0, 0.1]);
        assert!(
            alone.seen.ends_with("Recently it changed by -1.0 % a week, its companions by +0.1 % (median)."),
            "{}",
            alone.seen
        );
        assert!(alone.look_first.contains("kept off its food, does it hang back or come last"));
        let many = told([-1.0, -0.04]);
        assert!(many.seen.contains("its companions by +0.0 %"), "no -0.0: {}", many.seen);
        assert!(!told([-1.0, -0.9]).look_first.contains("come last"));
    }

    #[test]
    fn a_group_is_told_of_as_one_and_a_scale_is_not_called_a_loss() {
        let of =
            |cause| of_group("The 8 otters in Weir", since(), &Whole { loss: loss(false), cause, sure: 0.9 });
        let lost = of(Cause::Loss);
        assert!(lost.seen.starts_with("The 8 otters in Weir are 7.0 % below"), "{}", lost.seen);
        assert!(lost.look_first.starts_with("Look at what all of them share"));
        let scale = of(Cause::Scale);
        assert!(
            scale.seen.contains("a scale that is off") && scale.look_first.starts_with("Check the scale")
        );
        assert!(of(Cause::Season).seen.contains("season"));
    }

    #[test]
    fn heavy_ones_are_told_in_kilograms() {
        let words = lost("Alder", since(), &loss(false), Some(Mass::from_grams(5_432_100.0)), None);
        assert!(words.seen.contains("5432.10 kg"), "{}", words.seen);
    }
}
