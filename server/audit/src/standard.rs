//! The clauses of a law or a published standard, as versioned data: what each asks in our own words, where it
//! stands in the source, and by which evidence on record it is answered. What no record can show is listed,
//! and never answered.

use crate::compliance::Rule;
use crate::welfare::Flaw;
use crate::welfare::validate::{Finder, code, said};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::ops::Deref;

/// The clauses of a law or a standard, as a file states them.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Standard {
    /// Short name, in lower-case words joined by hyphens.
    pub code: String,
    /// Counted from 1. An answer names the version that it was given by.
    pub version: u32,
    /// Name for people.
    pub title: String,
    /// The law or standard: its name and where it was published.
    pub source: String,
    /// Year in which it was published.
    pub year: u16,
    /// What records can show, at least in part.
    #[serde(rename = "clause")]
    pub clauses: Vec<Clause>,
    /// What no record can show.
    #[serde(default)]
    pub unshown: Vec<Unshown>,
}

/// One requirement, as far as evidence can show it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Clause {
    /// As the source numbers it; a letter of ours after it where one clause asks for several things.
    pub number: String,
    /// What it asks, in our own words.
    pub text: String,
    /// How sure it is that the source says so.
    pub basis: Basis,
    /// What is looked at.
    pub evidence: EvidenceKind,
    /// What each subject's evidence must be like.
    pub rule: Rule,
    /// Subjects out of a hundred that must fulfil the rule, from 1 to 100.
    #[serde(default = "all")]
    pub percent: u8,
    /// Animals that were there for fewer days in a row are left out.
    #[serde(default)]
    pub min_days: u16,
    /// Days within which it is to be answered: of concerns.
    #[serde(default)]
    pub within_days: Option<u16>,
    /// How many kinds there must be: of enrichment.
    #[serde(default)]
    pub at_least: Option<u8>,
    /// What of this is ours and not the source's: mostly the numbers.
    #[serde(default)]
    pub note: String,
}

const fn all() -> u8 {
    100
}

/// A requirement that no record can show.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Unshown {
    /// As the source numbers it.
    pub number: String,
    /// What it asks, in our own words.
    pub text: String,
    /// How sure it is that the source says so.
    pub basis: Basis,
    /// Why no record shows it, or who can.
    pub why: String,
}

/// How sure it is that the source says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Number and content were compared with the published text.
    Text,
    /// They were compared with an official summary of it.
    Summary,
    /// They were written from memory.
    Memory,
    /// It is common practice and has no source.
    Practice,
}

/// What is looked at to answer a clause.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceKind {
    /// Animals: a mark in force that tells it from others; a name or an earlier number is none.
    AnimalsIdentified,
    /// Animals: weights; an estimate, or a refusal of the scale, is none.
    WeightsInTime,
    /// Animals: welfare assessments.
    AssessmentsInTime,
    /// Animals: each due day of each check, done within its grace.
    ChecksDone,
    /// Animals: a feed plan of the group that the animal lives in.
    DietsOnRecord,
    /// Groups: how many kinds of enrichment were offered.
    EnrichmentVaried,
    /// Devices in enclosures: what must be kept was kept, and the device was not silent.
    EnvironmentInRange,
    /// Transfers: nothing is missing that a move needs.
    TransfersPapered,
    /// Deaths of animals, and of offspring in litters: how they died is on record, and a post-mortem has its result.
    DeathsExplained,
    /// Concerns: a person took it up or settled it in time.
    ConcernsAnswered,
    /// The site: the stock return adds up for every species.
    StockBalances,
    /// Enclosures: no more animals than they are meant for.
    WithinCapacity,
    /// The site: the ledger vouches for every record.
    LedgerVerifies,
    /// The site: who works there is allowed to.
    StaffAllowed,
    /// Animals: treatments and their outcome.
    TreatmentsRecorded,
    /// Observers: they agree in what they grade.
    ObserversAgree,
}

/// What evidence of a kind is like, and so which rules can be asked of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Nature {
    /// Something that goes on: asked at the beginning, at each change and at the end.
    State,
    /// Something that is done again and again.
    Act,
    /// Something that came out well or not.
    Outcome,
}

impl EvidenceKind {
    /// All kinds.
    pub const ALL: [Self; 16] = [
        Self::AnimalsIdentified,
        Self::WeightsInTime,
        Self::AssessmentsInTime,
        Self::ChecksDone,
        Self::DietsOnRecord,
        Self::EnrichmentVaried,
        Self::EnvironmentInRange,
        Self::TransfersPapered,
        Self::DeathsExplained,
        Self::ConcernsAnswered,
        Self::StockBalances,
        Self::WithinCapacity,
        Self::LedgerVerifies,
        Self::StaffAllowed,
        Self::TreatmentsRecorded,
        Self::ObserversAgree,
    ];

    const fn nature(self) -> Nature {
        match self {
            Self::AnimalsIdentified | Self::DietsOnRecord | Self::WithinCapacity => Nature::State,
            Self::WeightsInTime | Self::AssessmentsInTime | Self::TreatmentsRecorded => Nature::Act,
            Self::ChecksDone
            | Self::EnrichmentVaried
            | Self::EnvironmentInRange
            | Self::TransfersPapered
            | Self::DeathsExplained
            | Self::ConcernsAnswered
            | Self::StockBalances
            | Self::LedgerVerifies
            | Self::StaffAllowed
            | Self::ObserversAgree => Nature::Outcome,
        }
    }

    /// Whether its subjects are animals while they are at the site.
    const fn is_of_animals(self) -> bool {
        matches!(
            self,
            Self::AnimalsIdentified
                | Self::WeightsInTime
                | Self::AssessmentsInTime
                | Self::ChecksDone
                | Self::DietsOnRecord
                | Self::TreatmentsRecorded
        )
    }

    /// Whether a rule can be asked of it. An act that was done once did not go wrong later, and a state has
    /// no rhythm.
    fn allows(self, rule: Rule) -> bool {
        match self.nature() {
            Nature::Act => matches!(rule, Rule::Once | Rule::Every { .. }),
            Nature::State => matches!(rule, Rule::Once | Rule::Latest | Rule::Always),
            Nature::Outcome => matches!(rule, Rule::Latest | Rule::Always),
        }
    }
}

/// A standard without flaws: only by such a one is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SoundStandard(Standard);

impl Deref for SoundStandard {
    type Target = Standard;
    fn deref(&self) -> &Standard {
        &self.0
    }
}

impl TryFrom<Standard> for SoundStandard {
    type Error = Vec<Flaw>;

    fn try_from(standard: Standard) -> Result<Self, Vec<Flaw>> {
        let flaws = flaws(&standard);
        if flaws.is_empty() { Ok(Self(standard)) } else { Err(flaws) }
    }
}

fn flaws(standard: &Standard) -> Vec<Flaw> {
    let mut found = Finder(Vec::new());
    code(&mut found, "code", &standard.code);
    found.unless(standard.version > 0, "version", "versions are counted from 1", "write 1 for the first");
    said(&mut found, "title", &standard.title);
    said(&mut found, "source", &standard.source);
    found.unless(
        (1800..=2199).contains(&standard.year),
        "year",
        &format!("{} is not the year of a publication", standard.year),
        "write the year in which the source was published",
    );
    found.unless(
        !standard.clauses.is_empty(),
        "clause",
        "the standard has no clause that records can show",
        "add at least one clause",
    );
    let mut seen = BTreeSet::new();
    for (i, one) in standard.clauses.iter().enumerate() {
        let path = format!("clause[{i}]");
        number(&mut found, &mut seen, &path, &one.number);
        clause(&mut found, &path, one);
    }
    for (i, one) in standard.unshown.iter().enumerate() {
        let path = format!("unshown[{i}]");
        number(&mut found, &mut seen, &path, &one.number);
        said(&mut found, &format!("{path}.text"), &one.text);
        said(&mut found, &format!("{path}.why"), &one.why);
    }
    found.0
}

fn number<'s>(found: &mut Finder, seen: &mut BTreeSet<&'s str>, path: &str, number: &'s str) {
    let path = format!("{path}.number");
    said(found, &path, number);
    found.unless(
        seen.insert(number),
        &path,
        &format!("{number:?} is taken by a clause before it"),
        "give each clause a number of its own, such as the source's with a letter",
    );
}

fn clause(found: &mut Finder, path: &str, clause: &Clause) {
    said(found, &format!("{path}.text"), &clause.text);
    found.unless(
        (1..=100).contains(&clause.percent),
        &format!("{path}.percent"),
        &format!("{} is not a share", clause.percent),
        "write 1 to 100",
    );
    let days = if let Rule::Every { days } = clause.rule { days } else { 1 };
    found.unless(
        clause.evidence.allows(clause.rule) && (1..=3660).contains(&days),
        &format!("{path}.rule"),
        "this rule does not apply to this evidence",
        "use \"once\" or every 1 to 3660 days for acts, \"once\", \"latest\" or \"always\" for states, and \"latest\" or \"always\" for outcomes",
    );
    found.unless(
        clause.min_days == 0 || (clause.evidence.is_of_animals() && clause.min_days <= 3660),
        &format!("{path}.min_days"),
        "only animals are left out because they were there for too short a time",
        "leave it out, or write up to 3660 days if the clause is about animals",
    );
    found.unless(
        (clause.evidence == EvidenceKind::ConcernsAnswered) == clause.within_days.is_some()
            && clause.within_days.is_none_or(|days| days <= 3660),
        &format!("{path}.within_days"),
        "only concerns are answered within some days",
        "write it if the evidence is concerns_answered, up to 3660, and nowhere else",
    );
    found.unless(
        (clause.evidence == EvidenceKind::EnrichmentVaried) == clause.at_least.is_some()
            && clause.at_least.is_none_or(|kinds| (1..=5).contains(&kinds)),
        &format!("{path}.at_least"),
        "only enrichment has a number of kinds",
        "write 1 to 5 if the evidence is enrichment_varied, and leave it out elsewhere",
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Those that come with Holt.
    const SHIPPED: [&str; 3] = [
        include_str!("../../standards/eu-zoos-directive.toml"),
        include_str!("../../standards/gb-zoo-licensing-act.toml"),
        include_str!("../../standards/us-animal-welfare-act.toml"),
    ];

    impl Default for Clause {
        fn default() -> Self {
            Self {
                number: "1".to_owned(),
                text: "Each animal is weighed.".to_owned(),
                basis: Basis::Practice,
                evidence: EvidenceKind::WeightsInTime,
                rule: Rule::Once,
                percent: 100,
                min_days: 0,
                within_days: None,
                at_least: None,
                note: String::new(),
            }
        }
    }

    fn of(clauses: Vec<Clause>) -> Standard {
        let words = |text: &str| text.to_owned();
        Standard {
            code: words("house-rules"),
            version: 1,
            title: words("House rules"),
            source: words("common practice, no source"),
            year: 2026,
            clauses,
            unshown: Vec::new(),
        }
    }

    fn paths(standard: Standard) -> Vec<String> {
        SoundStandard::try_from(standard)
            .err()
            .unwrap_or_default()
            .into_iter()
            .map(|flaw| flaw.path)
            .collect()
    }

    #[test]
    fn those_that_come_with_holt_are_sound_and_name_their_sources() {
        let mut codes = BTreeSet::new();
        for document in SHIPPED {
            let standard: Standard = toml::from_str(document).unwrap();
            let code = standard.code.clone();
            assert!(codes.insert(code.clone()), "{code} is there twice");
            assert!(standard.source.len() > 20 && !standard.unshown.is_empty(), "{code}");
            let again: Standard = serde_json::from_str(&serde_json::to_string(&standard).unwrap()).unwrap();
            assert_eq!(again, standard, "{code}");
            for clause in &standard.clauses {
                // A number of days or a share is no law's here: the note must say whose it is.
                let has_numbers = matches!(clause.rule, Rule::Every { .. })
                    || clause.percent < 100
                    || clause.min_days > 0
                    || clause.within_days.is_some()
                    || clause.at_least.is_some();
                assert!(!has_numbers || clause.note.contains("no source"), "{code} {}", clause.number);
            }
            assert_eq!(paths(standard), Vec::<String>::new(), "{code}");
        }
    }

    #[test]
    fn numbers_are_unique_also_of_what_no_record_shows() {
        let mut twice = of(vec![Clause::default(), Clause::default()]);
        twice.unshown.push(Unshown {
            number: "1".to_owned(),
            text: "People are told of nature.".to_owned(),
            basis: Basis::Practice,
            why: "Holt has no record of it.".to_owned(),
        });
        assert_eq!(paths(twice), ["clause[1].number", "unshown[0].number"]);
        assert_eq!(paths(of(Vec::new())), ["clause"]);
    }

    #[test]
    fn a_rule_fits_its_evidence() {
        use EvidenceKind as E;
        let every = Rule::Every { days: 30 };
        let rules = [Rule::Once, Rule::Latest, Rule::Always, every];
        let allowed = |kind: E| rules.map(|rule| kind.allows(rule));
        assert_eq!(allowed(E::WeightsInTime), [true, false, false, true]);
        assert_eq!(allowed(E::AnimalsIdentified), [true, true, true, false]);
        assert_eq!(allowed(E::DeathsExplained), [false, true, true, false]);
        let wrong = Clause { rule: Rule::Always, ..Clause::default() };
        assert_eq!(paths(of(vec![wrong])), ["clause[0].rule"]);
        let never = Clause { rule: Rule::Every { days: 0 }, ..Clause::default() };
        assert_eq!(paths(of(vec![never])), ["clause[0].rule"]);
    }

    #[test]
    fn numbers_stand_where_they_mean_something() {
        let concerns =
            Clause { evidence: EvidenceKind::ConcernsAnswered, rule: Rule::Always, ..Clause::default() };
        assert_eq!(paths(of(vec![concerns.clone()])), ["clause[0].within_days"]);
        let concerns = Clause { within_days: Some(7), ..concerns };
        assert_eq!(paths(of(vec![concerns.clone()])), Vec::<String>::new());
        let wrong = Clause { min_days: 5, at_least: Some(2), percent: 0, ..concerns };
        assert_eq!(paths(of(vec![wrong])), ["clause[0].percent", "clause[0].min_days", "clause[0].at_least"]);
        let weighed = Clause { within_days: Some(7), ..Clause::default() };
        assert_eq!(paths(of(vec![weighed])), ["clause[0].within_days"]);
    }

    #[test]
    fn each_kind_is_there_once_and_is_written_as_it_is_read() {
        let all: BTreeSet<String> =
            EvidenceKind::ALL.iter().map(|kind| serde_json::to_string(kind).unwrap()).collect();
        assert_eq!(all.len(), EvidenceKind::ALL.len());
        for text in all {
            assert!(serde_json::from_str::<EvidenceKind>(&text).is_ok(), "{text}");
        }
    }
}
