//! Findings in words that a keeper accepts: what was seen, since when, how sure, compared with what, on
//! which records it rests, and what to look at first. Never a diagnosis.

use crate::companions::{Cause, Whole};
use crate::growth::Stall;
use crate::stats::{count, normal};
use crate::terms::{Day, Mass};
use crate::trend::{Beside, Evidence, Finding, Loss, Matter, Refusal, Trend};
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

    fn between(self, low: f64, high: f64) -> Self {
        Self { low: Some(rounded(low)), high: Some(rounded(high)), ..self }
    }
}

/// What to do about an open matter that is found no more: people settle it, not a computation.
pub(crate) const IF_OVER: &str = "If you agree that it is over, settle it and say why.";

/// A finding about the animal called `name`, with its trend, and with what its group does where that
/// loses as a whole.
#[must_use]
pub fn told(name: &str, trend: &Trend, finding: &Finding, whole: Option<&Whole>) -> Words {
    match &finding.evidence {
        Evidence::Loss(loss) => lost(name, trend, finding, loss, whole),
        Evidence::Refusal(refusal) => refused(name, finding, refusal),
    }
}

/// What to say of an open matter once its finding is there no more: people settle it, not a computation.
#[must_use]
pub fn quiet(name: &str, trend: &Trend, matter: Matter) -> Words {
    let (seen, figures) = match matter {
        Matter::Weight => (
            // Not that it is back: what has lasted for more than a year is what it usually weighs.
            format!(
                "What {name} weighs is not remarkable any more against what it weighed over the last year."
            ),
            trend.change_percent.map(|change| Figure::new("change against expected", change, "%")),
        ),
        Matter::Scale => (format!("{name} came to the scale again."), None),
    };
    Words { seen, look_first: IF_OVER.to_owned(), figures: figures.into_iter().collect() }
}

/// A young animal that gains no more as it did.
#[must_use]
pub fn stalled(name: &str, since: Day, stall: &Stall) -> Words {
    let Stall { weighings, expected, weighed, .. } = *stall;
    Words {
        seen: format!(
            "{name} weighed {} last and should weigh {} by how it gained before: its last {weighings} weighings all \
             fall short of what they should have been, from {since} on, and it gained less than a quarter of what it \
             should have since.",
            mass(weighed),
            mass(expected.expected)
        ),
        look_first: "Watch a whole feed, or a suckling: does it get to it, does it swallow; is it warm, and where does \
                     it lie. Look at mouth, belly and droppings; of the hand-reared also at formula and times. Weigh \
                     it again within a day or two."
            .to_owned(),
        figures: vec![
            Figure::new("latest mass", weighed.grams(), "g"),
            Figure::new("expected mass (95 %)", expected.expected.grams(), "g")
                .between(expected.low.grams(), expected.high.grams()),
            Figure::new("weighings that fall short", count(weighings), "1"),
        ],
    }
}

/// What to say of an open matter of growth once the animal gains again.
#[must_use]
pub fn quiet_growth(name: &str) -> Words {
    Words {
        seen: format!("{name} gains again as it should."),
        look_first: IF_OVER.to_owned(),
        figures: Vec::new(),
    }
}

/// A group that loses as a whole, as one matter. `name` says who: `The 9 Lontra canadensis in Weir`.
#[must_use]
pub fn of_group(name: &str, whole: &Whole) -> Words {
    let Whole { since, level_percent, weighed, below, cause } = *whole;
    let fall = format!(
        "{name}: {below} of {weighed} weighed lie below what was expected of them, {:.1} % in the middle, since \
         {since}.",
        -level_percent
    );
    let mut figures = vec![
        Figure::new("middle of the group against expected", level_percent, "%"),
        Figure::new("members weighed", count(weighed), "1"),
        Figure::new("members below expected", count(below), "1"),
    ];
    let (why, look_first) = match cause {
        Cause::Loss => (
            " They lose bit by bit, or each in its own way, which a scale that is off would not do.",
            "What all of them share: feed and how much of it is left, water, warmth, droppings, unrest. Check \
             the scale with a known weight before anything is changed.",
        ),
        Cause::Scale { percent } => {
            figures.push(Figure::new("step of all of them", percent, "%"));
            (
                " All of them fell by the same factor from one weighing to the next: a scale that is off \
                 explains that better than a loss.",
                "Check the scale with a known weight, its place and its tare; weigh two of them on another \
                 scale.",
            )
        }
    };
    Words { seen: fall + why, look_first: look_first.to_owned(), figures }
}

/// What to say of an open matter of a group that loses as a whole no more.
#[must_use]
pub fn quiet_group(name: &str) -> Words {
    Words {
        seen: format!(
            "What {name} weigh is not remarkable any more against what they weighed over the last year."
        ),
        look_first: IF_OVER.to_owned(),
        figures: Vec::new(),
    }
}

fn lost(name: &str, trend: &Trend, finding: &Finding, loss: &Loss, whole: Option<&Whole>) -> Words {
    let way = if loss.sharp { "from one weighing to the next" } else { "bit by bit" };
    let mut seen = format!(
        "{name} weighed {} last and should weigh {}: {:.1} % below what is usual for it, lost {way} since {}.",
        mass(loss.latest),
        mass(loss.expected),
        -loss.change_percent,
        finding.since
    );
    let mut figures = vec![
        Figure::new("change against expected", loss.change_percent, "%"),
        Figure::new("smoothed change against expected", loss.level_percent, "%"),
        Figure::new("latest mass", loss.latest.grams(), "g"),
        Figure::new("expected mass", loss.expected.grams(), "g"),
    ];
    if let Some(slope) = &trend.slope {
        let figure = Figure::new("slope (Theil-Sen, 95 %)", slope.percent_per_week, "%/wk");
        figures.push(figure.between(slope.low, slope.high));
    }
    if let Some(baseline) = &trend.baseline {
        let usual = normal::quantile(0.975) * baseline.spread_percent;
        seen += &format!(
            " When nothing is wrong, 19 in 20 of its weeks lie within {usual:.1} % of that, judged by {} weeks \
             from {}.",
            baseline.weeks, baseline.from
        );
        figures.push(Figure::new("usual spread of a reading", baseline.spread_percent, "%"));
        figures.push(Figure::new("weeks in the baseline", count(baseline.weeks), "wk"));
    }
    let alone = loss.beside.is_some_and(|beside| beside.apart);
    match (whole, &loss.beside) {
        (Some(whole), _) => {
            let what = match whole.cause {
                Cause::Loss => "The whole group loses",
                Cause::Scale { .. } => {
                    "The whole group is lighter by the same factor, as a scale would show it"
                }
            };
            seen += &format!(
                " {what}: {} of {} weighed lie below what was expected of them, {:.1} % in the middle.",
                whole.below, whole.weighed, -whole.level_percent
            );
            figures.push(Figure::new("middle of the group against expected", whole.level_percent, "%"));
        }
        (None, Some(beside)) => {
            seen += &compared(beside);
            figures.push(Figure::new("slope of its companions", beside.companions_slope_percent, "%/wk"));
            figures.push(Figure::new("its slope among theirs (robust z)", beside.z, "1"));
        }
        (None, None) => {}
    }
    let look_first = if whole.is_some() {
        "Check the scale with a known weight; then what all of them share: feed, water, warmth, droppings. \
         Look at this one's teeth, stool and wounds too."
    } else if alone {
        "Watch a whole feed from where all are seen: is it kept off its food, does it hang back or come last; \
         look for bites at tail, ears and rump, and at teeth and stool. Weigh again on the same scale before \
         the feed."
    } else {
        "Weigh again on the same scale before the feed; watch a whole feed: does it eat, is it kept off its \
         food, does it hang back; look at teeth, stool and wounds."
    };
    Words { seen, look_first: look_first.to_owned(), figures }
}

/// How it stands beside its companions.
fn compared(beside: &Beside) -> String {
    let Beside { companions, slope_percent: own, companions_slope_percent: theirs, apart, .. } = *beside;
    let what = if apart { "It loses while they hold" } else { "It does not stand apart from them" };
    // What rounds to nothing from below is nothing, and no -0.0.
    let [own, theirs] = [own, theirs].map(|percent| (percent * 10.0).round() / 10.0 + 0.0);
    format!(
        " Of late it went {own:+.1} % a week, its {companions} companions {theirs:+.1} % in the middle. {what}."
    )
}

fn refused(name: &str, finding: &Finding, refusal: &Refusal) -> Words {
    Words {
        seen: format!(
            "{name} would not come to the scale {} times in a row since {}; before, it refused {:.0} % of the \
             time.",
            refusal.in_a_row, finding.since, refusal.usual_percent
        ),
        look_first:
            "See whether it comes for food at all; whether others keep it away from the scale; whether \
                     it moves freely. Its weight is not known meanwhile."
                .to_owned(),
        figures: vec![
            Figure::new("refusals in a row", f64::from(refusal.in_a_row), "1"),
            Figure::new("refused before", refusal.usual_percent, "%"),
            // A hundredth would make nothing of it.
            Figure { value: refusal.chance, ..Figure::new("chance of such a row by habit", 0.0, "1") },
        ],
    }
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
    use crate::terms::RecordId;
    use crate::trend::{Baseline, Slope};

    fn trend() -> Trend {
        Trend {
            readings: 30,
            used: 30,
            too_few: false,
            baseline: Some(Baseline {
                mass: Mass::from_grams(1000.0),
                spread_percent: 1.5,
                weeks: 40,
                from: "2025-03-03".parse().unwrap(),
                to: "2026-01-05".parse().unwrap(),
            }),
            expected: Some(Mass::from_grams(1000.0)),
            latest: None,
            change_percent: Some(-7.0),
            level_percent: Some(-5.0),
            slope: Some(Slope { percent_per_week: -1.004, low: -1.5, high: -0.5, order_p: 0.01, weeks: 8 }),
            beside: None,
            tried_in_a_row: 0,
            days_since_mass: Some(0),
            findings: Vec::new(),
        }
    }

    fn finding(beside: Option<Beside>) -> Finding {
        Finding {
            severity: Severity::Watch,
            since: "2026-01-19".parse().unwrap(),
            evidence: Evidence::Loss(Loss {
                expected: Mass::from_grams(1000.0),
                latest: Mass::from_grams(930.0),
                change_percent: -7.0,
                level_percent: -5.0,
                weeks: 7,
                strength: 1.4,
                sharp: false,
                beside,
            }),
            records: vec![RecordId(1)],
        }
    }

    #[test]
    fn a_loss() {
        let words = told("Bramble", &trend(), &finding(None), None);
        assert_eq!(
            words.seen,
            "Bramble weighed 930 g last and should weigh 1000 g: 7.0 % below what is usual for it, lost bit by \
             bit since 2026-01-19. When nothing is wrong, 19 in 20 of its weeks lie within 2.9 % of that, judged \
             by 40 weeks from 2025-03-03."
        );
        let slope = words.figures.iter().find(|figure| figure.unit == "%/wk").unwrap();
        assert_eq!((slope.value, slope.low, slope.high), (-1.0, Some(-1.5), Some(-0.5)));
    }

    #[test]
    fn one_that_loses_alone_is_told_from_one_of_many() {
        let apart = Beside {
            companions: 7,
            slope_percent: -1.0,
            companions_slope_percent: 0.1,
            z: -3.0,
            apart: true,
        };
        let alone = told("Bramble", &trend(), &finding(Some(apart)), None);
        assert!(
            alone.seen.ends_with("its 7 companions +0.1 % in the middle. It loses while they hold."),
            "{}",
            alone.seen
        );
        assert!(alone.look_first.contains("kept off its food"));
        let whole = Whole {
            since: "2026-01-19".parse().unwrap(),
            level_percent: -6.0,
            weighed: 8,
            below: 7,
            cause: Cause::Loss,
        };
        let many = told("Bramble", &trend(), &finding(Some(apart)), Some(&whole));
        assert!(many.seen.contains("The whole group loses: 7 of 8"), "{}", many.seen);
        assert!(!many.seen.contains("they hold") && many.look_first.starts_with("Check the scale"));
    }

    #[test]
    fn a_group_is_told_of_as_one_and_a_scale_is_not_called_a_loss() {
        let since = "2026-01-19".parse().unwrap();
        let whole = Whole { since, level_percent: -6.0, weighed: 8, below: 8, cause: Cause::Loss };
        let lost = of_group("The 8 otters in Weir", &whole);
        assert!(lost.seen.starts_with("The 8 otters in Weir: 8 of 8 weighed lie below"), "{}", lost.seen);
        assert!(lost.look_first.starts_with("What all of them share"));
        let scale =
            of_group("The 8 otters in Weir", &Whole { cause: Cause::Scale { percent: -8.0 }, ..whole });
        assert!(scale.seen.contains("a scale that is off explains that better"), "{}", scale.seen);
        assert!(scale.look_first.starts_with("Check the scale"));
        assert_eq!(scale.figures.last().map(|figure| figure.value), Some(-8.0));
    }

    #[test]
    fn no_word_names_an_illness() {
        let evidence = Evidence::Refusal(Refusal { in_a_row: 4, usual_percent: 5.0, chance: 0.000_01 });
        let refusal = Finding { evidence, ..finding(None) };
        for words in [
            told("Bramble", &trend(), &finding(None), None),
            told("Bramble", &trend(), &refusal, None),
            quiet("Bramble", &trend(), Matter::Weight),
            quiet("Bramble", &trend(), Matter::Scale),
        ] {
            let all = format!("{} {}", words.seen, words.look_first).to_lowercase();
            for word in ["ill", "sick", "disease", "diagnosis", "starv", "parasite"] {
                let named = all.split(|c: char| !c.is_alphabetic()).any(|other| other.starts_with(word));
                assert!(!named, "{word}: {all}");
            }
            assert!(!words.seen.is_empty() && !words.look_first.is_empty());
        }
    }
}
