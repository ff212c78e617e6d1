use super::course::{Change, course};
use super::grade::{Confidence, Raw, Score, grade};
use super::protocol::{Compromise, Enhancement, Protocol};
use super::validate::Sound;
use crate::terms::{Day, Domain};
use proptest::prelude::*;

/// A small protocol for an invented park's coypus.
const COYPU: &str = r#"
code = "coypu-round"
version = 2
title = "Coypu, monthly round"
species = ["Myocastor coypus"]

[[indicator]]
code = "body-condition"
text = "Body condition"
domain = "nutrition"
basis = "animal"
guidance = "Feel along the spine while it feeds from the hand."
[indicator.scale]
kind = "measured"
unit = "{score}"
min = 1
max = 9
bands = [
  { from = 1, compromise = "E", enhancement = "0", affect = "hunger, weakness" },
  { from = 3, compromise = "C", enhancement = "0", affect = "hunger" },
  { from = 4, compromise = "A", enhancement = "+" },
  { from = 7, compromise = "B", enhancement = "0" },
]

[[indicator]]
code = "browse"
text = "Fresh browse"
domain = "nutrition"
basis = "resource"
guidance = "Count what is there at the afternoon round."
[indicator.scale]
kind = "levels"
levels = [
  { name = "none", compromise = "B", enhancement = "0" },
  { name = "some", compromise = "A", enhancement = "+" },
  { name = "varied", compromise = "A", enhancement = "+++", affect = "pleasure of eating" },
]

[[indicator]]
code = "pool"
text = "Water to swim in"
domain = "environment"
basis = "resource"
guidance = "Look at depth and clarity."
[indicator.scale]
kind = "levels"
levels = [
  { name = "dry", compromise = "D", enhancement = "0", affect = "discomfort" },
  { name = "clear", compromise = "A", enhancement = "+" },
]

[[indicator]]
code = "wounds"
text = "Bite wounds"
domain = "health"
basis = "animal"
guidance = "Tail, ears, rump."
[indicator.scale]
kind = "levels"
levels = [
  { name = "none", compromise = "A", enhancement = "0" },
  { name = "old", compromise = "B", enhancement = "0" },
  { name = "fresh", compromise = "D", enhancement = "0", affect = "pain, fear" },
]

[[indicator]]
code = "play"
text = "Play"
domain = "behaviour"
basis = "animal"
guidance = "Ten minutes at dusk."
[indicator.scale]
kind = "levels"
levels = [
  { name = "not seen", compromise = "A", enhancement = "0" },
  { name = "seen", compromise = "A", enhancement = "++", affect = "playfulness" },
]
"#;

fn coypu() -> Sound {
    toml::from_str::<Protocol>(COYPU).unwrap().try_into().unwrap()
}

fn level(indicator: &str, name: &str) -> Score {
    Score { indicator: indicator.into(), raw: Raw::Level(name.into()), confidence: Confidence::Medium }
}

fn number(indicator: &str, value: f64) -> Score {
    Score { indicator: indicator.into(), raw: Raw::Number(value), confidence: Confidence::High }
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

#[test]
fn a_bad_domain_stays_visible_however_good_the_others_are() {
    let told = grade(
        &coypu(),
        &[
            number("body-condition", 5.0),
            level("browse", "varied"),
            level("pool", "clear"),
            level("wounds", "fresh"),
            level("play", "seen"),
        ],
    )
    .unwrap();
    let symbols: Vec<String> = told.domains.values().map(ToString::to_string).collect();
    assert_eq!(symbols, ["A/+", "A/+", "D/0", "A/++"]);
    assert_eq!(told.mental.compromise, Some(Compromise::D));
    assert_eq!(told.mental.enhancement, Some(Enhancement::Mid));
    assert!(told.mental.without.is_empty());
    let because: Vec<_> = told
        .mental
        .because
        .iter()
        .map(|b| (b.indicator.as_str(), b.affect.as_deref().unwrap_or_default()))
        .collect();
    assert_eq!(because[0], ("wounds", "pain, fear"));
    assert!(because.contains(&("play", "playfulness")));
}

#[test]
fn what_is_only_provided_is_not_yet_enjoyed() {
    let told = grade(&coypu(), &[level("browse", "varied")]).unwrap();
    let nutrition = &told.domains[&Domain::Nutrition];
    assert_eq!(nutrition.enhancement.as_ref().unwrap().grade, Enhancement::Low);
}

#[test]
fn what_was_not_assessed_is_not_good() {
    let told = grade(&coypu(), &[level("wounds", "none")]).unwrap();
    let nutrition = &told.domains[&Domain::Nutrition];
    assert_eq!((nutrition.to_string().as_str(), nutrition.compromise.as_ref()), ("-", None));
    assert_eq!(nutrition.missing, ["body-condition", "browse"]);
    assert_eq!(told.mental.without, [Domain::Nutrition, Domain::Environment, Domain::Behaviour]);
    assert_eq!(grade(&coypu(), &[]).unwrap().mental.compromise, None);
}

#[test]
fn one_witness_proves_harm_but_its_absence_needs_all() {
    let bad = grade(&coypu(), &[level("browse", "none"), number("body-condition", 2.0)]).unwrap();
    let nutrition = bad.domains[&Domain::Nutrition].compromise.clone().unwrap();
    assert_eq!((nutrition.grade, nutrition.confidence), (Compromise::E, Confidence::High));
    assert_eq!(nutrition.evidence, ["body-condition"]);

    let good = grade(&coypu(), &[level("browse", "some"), number("body-condition", 5.0)]).unwrap();
    let nutrition = good.domains[&Domain::Nutrition].compromise.clone().unwrap();
    assert_eq!((nutrition.grade, nutrition.confidence), (Compromise::A, Confidence::Medium));

    // A third indicator of the domain that nobody looked at makes one look out of three.
    let mut wider = toml::from_str::<Protocol>(COYPU).unwrap();
    let extra = ["water", "bedding"].map(|code| {
        let mut indicator = wider.indicators[1].clone();
        indicator.code = code.into();
        indicator
    });
    wider.indicators.extend(extra);
    let thin = grade(&wider.try_into().unwrap(), &[number("body-condition", 5.0)]).unwrap();
    assert_eq!(thin.domains[&Domain::Nutrition].compromise.clone().unwrap().confidence, Confidence::Low);
}

#[test]
fn bands_include_their_lower_end_and_the_last_its_upper() {
    let compromise = |value| {
        let told = grade(&coypu(), &[number("body-condition", value)]).unwrap();
        told.domains[&Domain::Nutrition].compromise.clone().unwrap().grade
    };
    use Compromise::{A, B, C, E};
    let told = [1.0, 2.9, 3.0, 3.99, 4.0, 7.0, 9.0].map(compromise);
    assert_eq!(told, [E, E, C, C, A, B, B]);
}

#[test]
fn scores_that_do_not_fit_are_refused_all_at_once() {
    let refused = grade(
        &coypu(),
        &[
            level("wound", "none"),
            level("wounds", "fresh"),
            level("wounds", "old"),
            level("play", "often"),
            number("body-condition", 9.5),
            number("pool", 1.0),
            number("browse", f64::NAN),
        ],
    )
    .unwrap_err();
    let told: Vec<String> = refused.iter().map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "findings[0].indicator: protocol coypu-round has no indicator \"wound\"; use one of body-condition, browse, pool, wounds, play",
            "findings[2].indicator: \"wounds\" is scored twice; keep one",
            "findings[3].level: \"often\" is not on the scale of \"play\"; use one of not seen | seen",
            "findings[4].number: 9.5 is not on the scale of \"body-condition\"; give a number from 1 to 9 in {score}",
            "findings[5].number: 1 is not on the scale of \"pool\"; use one of dry | clear",
            "findings[6].number: NaN is not on the scale of \"browse\"; use one of none | some | varied",
        ]
    );
}

#[test]
fn a_protocol_says_everything_that_is_wrong_with_it() {
    let broken = COYPU
        .replace("version = 2", "version = 0")
        .replace("code = \"browse\"", "code = \"body-condition\"")
        .replace("domain = \"health\"", "domain = \"mental\"")
        .replace("{ from = 3,", "{ from = 4,")
        .replace("{ from = 1,", "{ from = 2,")
        .replace("Ten minutes at dusk.", " ")
        .replace("enhancement = \"++\"", "enhancement = \"0\"")
        .replace("name = \"old\"", "name = \"none\"");
    let flaws = Sound::try_from(toml::from_str::<Protocol>(&broken).unwrap()).unwrap_err();
    let paths: Vec<_> = flaws.iter().map(|flaw| flaw.path.as_str()).collect();
    assert_eq!(
        paths,
        [
            "version",
            "indicator[0].scale.bands[0].from",
            "indicator[0].scale.bands[2].from",
            "indicator[1].code",
            "indicator[3].domain",
            "indicator[3].scale.levels[1].name",
            "indicator[4].guidance",
            "indicator[4].scale",
        ]
    );
    assert!(flaws.iter().all(|flaw| !flaw.what.is_empty() && !flaw.mend.is_empty()));
}

#[test]
fn a_misspelt_key_is_refused() {
    for (right, wrong) in
        [("guidance", "guidence"), ("affect", "afect"), ("species", "specie"), ("unit", "units")]
    {
        let text = COYPU.replace(right, wrong);
        assert!(toml::from_str::<Protocol>(&text).is_err(), "{wrong} was taken");
    }
}

#[test]
fn a_protocol_survives_writing_and_reading() {
    let protocol = toml::from_str::<Protocol>(COYPU).unwrap();
    let written = toml::to_string(&protocol).unwrap();
    assert_eq!(toml::from_str::<Protocol>(&written).unwrap(), protocol);
}

#[test]
fn better_counts_only_when_what_was_bad_was_looked_at_again() {
    let protocol = coypu();
    let grade = |scores: &[Score]| grade(&protocol, scores).unwrap();
    let bad = grade(&[number("body-condition", 3.0), level("browse", "none")]);
    let unseen = grade(&[number("body-condition", 5.0)]);
    let good = grade(&[number("body-condition", 5.0), level("browse", "some")]);

    let nutrition = |list: &[(Day, super::Graded)]| course(list)[&Domain::Nutrition].clone();
    let told = nutrition(&[(day("2026-03-01"), bad.clone()), (day("2026-04-01"), unseen)]);
    assert_eq!(told.change, Change::NotShownBetter { not_assessed: vec!["browse".into()] });

    // Given in any order: days decide.
    let told = nutrition(&[(day("2026-04-01"), good.clone()), (day("2026-03-01"), bad.clone())]);
    assert_eq!(told.change, Change::Better { grades: 2 });

    let told = nutrition(&[
        (day("2026-01-01"), good),
        (day("2026-02-01"), bad.clone()),
        (day("2026-03-01"), grade(&[level("wounds", "none")])),
        (day("2026-04-01"), bad),
    ]);
    assert_eq!(told.change, Change::Same { enhancement: 0 });
    assert_eq!(told.since, Some(day("2026-02-01")));
    assert_eq!(
        told.points.len(),
        3,
        "the assessment that did not look at nutrition is no point of its course"
    );
}

#[test]
fn one_assessment_is_no_course() {
    let told = course(&[(day("2026-03-01"), grade(&coypu(), &[level("wounds", "old")]).unwrap())]);
    assert_eq!(told[&Domain::Health].change, Change::TooFew);
    assert_eq!(told[&Domain::Nutrition].since, None);
}

fn any_scores() -> impl Strategy<Value = Vec<Score>> {
    let of = |code: &'static str, names: &'static [&'static str]| {
        prop::option::of(prop::sample::select(names).prop_map(move |name| level(code, name)))
    };
    (
        prop::option::of((1.0..=9.0_f64).prop_map(|value| number("body-condition", value))),
        of("browse", &["none", "some", "varied"]),
        of("pool", &["dry", "clear"]),
        of("wounds", &["none", "old", "fresh"]),
        of("play", &["not seen", "seen"]),
    )
        .prop_map(|(a, b, c, d, e)| [a, b, c, d, e].into_iter().flatten().collect())
}

proptest! {
    /// One more look can show something worse or something good that was not seen; it never makes what
    /// was seen less bad.
    #[test]
    fn another_score_never_hides_harm(scores in any_scores(), keep in any::<prop::sample::Index>()) {
        prop_assume!(!scores.is_empty());
        let protocol = coypu();
        let mut fewer = scores.clone();
        fewer.remove(keep.index(scores.len()));
        let (all, some) = (grade(&protocol, &scores).unwrap(), grade(&protocol, &fewer).unwrap());
        prop_assert!(all.mental.compromise >= some.mental.compromise);
        for domain in Domain::OBSERVED {
            let worst = |graded: &super::Graded| graded.domains[&domain].compromise.as_ref().map(|j| j.grade);
            prop_assert!(worst(&all) >= worst(&some));
            let told = &all.domains[&domain];
            prop_assert_eq!(told.compromise.is_some(), !told.assessed.is_empty());
            let of_domain = protocol.indicators.iter().filter(|i| i.domain == domain).count();
            prop_assert_eq!(told.assessed.len() + told.missing.len(), of_domain);
        }
    }
}
