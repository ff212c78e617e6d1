//! What became of a round of weighing.

use super::concern::{CAUTION, Concern};
use super::{CHECKED_ONLY, about, count, some, spoken, spoken_mass};
use crate::moment;
use crate::output::{Answer, Page, Tone};
use crate::round::send::{Answered, Sent};
use crate::session::Zones;
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::time;
use holt_proto::v1::reading::{Result as Outcome, When};
use holt_proto::v1::{self, ErrorReason, ReadingOutcome};
use serde::Serialize;

/// Why a reading was refused.
#[derive(Clone, Serialize)]
struct Refusal {
    reason: String,
    field: String,
    say: String,
    mend: String,
}

/// What an animal was expected to weigh.
#[derive(Clone, Serialize)]
struct Expected {
    mass_mg: i64,
    low_mg: i64,
    high_mg: i64,
}

/// What became of one reading.
#[derive(Clone, Serialize)]
struct Line {
    /// Row of the file, the header being row 1; none for what was typed.
    row: Option<u64>,
    /// The animal as it was written.
    animal: String,
    outcome: &'static str,
    accession: Option<String>,
    house_name: Option<String>,
    /// None where the animal declined, or where it is no reading.
    mass_mg: Option<i64>,
    declined: bool,
    weight_id: Option<String>,
    refusal: Option<Refusal>,
    expected: Option<Expected>,
    hint: Option<String>,
    /// What the animal weighed when it was weighed again in the same round.
    #[serde(skip)]
    then: Option<String>,
    #[serde(skip)]
    when: String,
}

/// A scale that is off for all animals of a round.
#[derive(Clone, Serialize)]
struct Drift {
    scale: Option<String>,
    percent: f64,
    standard_error_percent: f64,
    animals: i32,
}

impl Drift {
    fn spoken(&self) -> String {
        let scale =
            self.scale.as_ref().map_or_else(|| "the scale".to_owned(), |name| format!("the scale `{name}`"));
        let side = if self.percent < 0.0 { "below" } else { "above" };
        format!(
            "All {} animals are {:.1} % {side} what was expected, by almost the same factor: check {scale} with a \
             known weight before the next round.",
            self.animals,
            self.percent.abs()
        )
    }
}

/// What became of a round.
#[derive(Serialize)]
pub(crate) struct Round {
    site: String,
    checked_only: bool,
    accepted: usize,
    repeated: usize,
    second_weighings: usize,
    /// Readings that asked for a second weighing, which came in the same round and is another.
    set_aside: usize,
    pub(crate) refused: usize,
    readings: Vec<Line>,
    drifts: Vec<Drift>,
    pub(crate) concerns: Vec<Concern>,
    caution: Option<&'static str>,
}

impl From<v1::ScaleDrift> for Drift {
    fn from(drift: v1::ScaleDrift) -> Self {
        Self {
            scale: some(drift.scale),
            percent: drift.percent,
            standard_error_percent: drift.standard_error_percent,
            animals: drift.animals,
        }
    }
}

/// What became of one reading, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    row: Option<u64>,
    animal: String,
    outcome: &'static str,
    accession: Option<String>,
    house_name: Option<String>,
    mass: Option<String>,
    mass_mg: Option<i64>,
    reason: Option<String>,
    field: Option<String>,
    say: Option<String>,
    mend: Option<String>,
    expected_mg: Option<i64>,
    expected_low_mg: Option<i64>,
    expected_high_mg: Option<i64>,
    hint: Option<String>,
    weight_id: Option<String>,
}

/// What became of one reading that was typed just now, in a sentence.
pub(crate) fn told(one: &Answered, zone: Tz) -> String {
    let line = line(one, zone);
    match line.attention(false, true) {
        Some((_, what, say)) => format!("{}  {what}: {say}", line.name()),
        None => format!("{}  {}", line.name(), line.result()),
    }
}

fn line(one: &Answered, zone: Tz) -> Line {
    let reading = one.entry.reading.as_ref().ok();
    let mass = reading.and_then(|reading| match reading.result {
        Some(Outcome::Mass(mass)) => Some(mass.milligrams),
        _ => None,
    });
    let when = reading.and_then(|reading| match reading.when? {
        When::WeighedAt(at) => time::instant(at).ok().map(|at| moment::spoken(at, zone)),
        When::WeighedOn(day) => Some(day.to_string()),
    });
    let answer = one.answer.clone().unwrap_or_default();
    let refusal = one.refusal().map(|refusal| Refusal {
        reason: ErrorReason::try_from(refusal.reason)
            .map(|reason| reason.as_str_name().trim_start_matches("ERROR_REASON_").to_owned())
            .unwrap_or_default(),
        field: refusal.field,
        say: refusal.say,
        mend: refusal.mend,
    });
    let mg = |mass: Option<v1::Mass>| mass.unwrap_or_default().milligrams;
    let expected = answer.forecast.map(|forecast| Expected {
        mass_mg: mg(forecast.expected),
        low_mg: mg(forecast.low),
        high_mg: mg(forecast.high),
    });
    Line {
        row: one.entry.row,
        animal: one.entry.animal.clone(),
        outcome: one.outcome().word(),
        accession: some(answer.accession),
        house_name: some(answer.house_name),
        mass_mg: mass,
        declined: reading.is_some_and(|reading| matches!(reading.result, Some(Outcome::Tried(_)))),
        weight_id: some(answer.weight_id),
        refusal,
        expected,
        hint: some(answer.hint),
        then: None,
        when: when.unwrap_or_default(),
    }
}

/// Notes of each reading that asked for a second weighing what that one showed, where it is in the same round.
fn weighed_again(lines: &mut [Line]) {
    for n in 0..lines.len() {
        if lines[n].outcome != ReadingOutcome::SecondWeighing.word() {
            continue;
        }
        let later = lines[n + 1..].iter().find(|later| {
            later.accession == lines[n].accession && later.outcome == ReadingOutcome::Accepted.word()
        });
        lines[n].then = later.map(Line::result);
    }
}

impl Round {
    pub(crate) fn new(site: &str, checked_only: bool, sent: Sent, zones: &Zones) -> Self {
        let number = |outcome| sent.lines.iter().filter(|one| one.outcome() == outcome).count();
        let mut readings: Vec<Line> = sent.lines.iter().map(|one| line(one, zones.of(site))).collect();
        weighed_again(&mut readings);
        let set_aside = readings.iter().filter(|line| line.then.is_some()).count();
        let concerns = sent.concerns.into_iter().map(|concern| Concern::new(concern, zones));
        let concerns: Vec<_> =
            if checked_only { concerns.map(Concern::not_yet).collect() } else { concerns.collect() };
        Self {
            site: site.to_owned(),
            checked_only,
            accepted: number(ReadingOutcome::Accepted),
            repeated: number(ReadingOutcome::Repeat),
            second_weighings: number(ReadingOutcome::SecondWeighing) - set_aside,
            set_aside,
            refused: number(ReadingOutcome::Refused),
            readings,
            drifts: sent.drifts.into_iter().map(Drift::from).collect(),
            caution: (!concerns.is_empty()).then_some(CAUTION),
            concerns,
        }
    }

    /// What it comes to: `12 readings: 10 recorded, 1 to weigh again, 1 refused.`
    fn summary(&self) -> String {
        let recorded = if self.checked_only { "OK" } else { "recorded" };
        let parts = [
            (self.accepted, recorded),
            (self.repeated, "already recorded"),
            (self.second_weighings, "to weigh again"),
            (self.set_aside, "set aside"),
            (self.refused, "refused"),
        ];
        let told =
            parts.iter().filter(|(number, _)| *number > 0).map(|(number, what)| format!("{number} {what}"));
        let total = count(self.readings.len(), "reading", "readings");
        format!("{total} at {}: {}.", self.site, told.collect::<Vec<_>>().join(", "))
    }
}

impl Line {
    fn name(&self) -> String {
        match &self.accession {
            Some(accession) => spoken(self.house_name.as_deref(), accession),
            None => self.animal.clone(),
        }
    }

    fn result(&self) -> String {
        match self.mass_mg {
            Some(mg) => spoken_mass(mg),
            None if self.declined => "declined".to_owned(),
            None => "no reading".to_owned(),
        }
    }

    /// One line for people, if it needs their attention; a single reading always does.
    fn page(&self, single: bool, checked_only: bool, page: &mut Page) {
        let Some((tone, what, say)) = self.attention(single, checked_only) else { return };
        let row = self.row.map(|row| format!("row {row}  ")).unwrap_or_default();
        page.hanging(&format!("{row}{}  {}: {say}", self.name(), page.paint(tone, what)), 4);
    }

    /// What became of it, and what there is to say.
    fn attention(&self, single: bool, checked_only: bool) -> Option<(Tone, &'static str, String)> {
        Some(match (self.outcome, &self.refusal) {
            ("refused", refusal) => {
                let say = refusal.as_ref().map(|refusal| {
                    let field =
                        if refusal.field.is_empty() { String::new() } else { format!("{}: ", refusal.field) };
                    format!("{field}{}; {}", refusal.say, refusal.mend)
                });
                (Tone::Alarm, "refused", say.unwrap_or_default())
            }
            ("second-weighing", _) if let Some(then) = &self.then => {
                (Tone::Faint, "set aside", format!("{}; weighed again: {then}", self.result()))
            }
            ("second-weighing", _) => (Tone::Warning, "weigh again", self.again()),
            ("repeat", _) => (Tone::Faint, "already recorded", format!("{}, {}", self.result(), self.when)),
            _ if single => {
                let done = if checked_only { "OK" } else { "recorded" };
                (Tone::Calm, done, format!("{}, {}", self.result(), self.when))
            }
            _ => return None,
        })
    }

    fn again(&self) -> String {
        let expected = self.expected.as_ref().map(|expected| {
            let [mass, low, high] = [expected.mass_mg, expected.low_mg, expected.high_mg].map(about);
            format!("; expected {mass} ({low} to {high})")
        });
        let hint = self.hint.as_ref().map(|hint| format!("; {hint}")).unwrap_or_default();
        format!("{}{}{hint}", self.result(), expected.unwrap_or_default())
    }
}

impl Answer for Round {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let row = |line: &Line| {
            let refusal = line.refusal.as_ref();
            let expected = line.expected.as_ref();
            Row {
                row: line.row,
                animal: line.animal.clone(),
                outcome: line.outcome,
                accession: line.accession.clone(),
                house_name: line.house_name.clone(),
                mass: line.mass_mg.map(spoken_mass),
                mass_mg: line.mass_mg,
                reason: refusal.map(|refusal| refusal.reason.clone()),
                field: refusal.map(|refusal| refusal.field.clone()),
                say: refusal.map(|refusal| refusal.say.clone()),
                mend: refusal.map(|refusal| refusal.mend.clone()),
                expected_mg: expected.map(|expected| expected.mass_mg),
                expected_low_mg: expected.map(|expected| expected.low_mg),
                expected_high_mg: expected.map(|expected| expected.high_mg),
                hint: line.hint.clone(),
                weight_id: line.weight_id.clone(),
            }
        };
        self.readings.iter().map(row).collect()
    }

    fn page(&self, page: &mut Page) {
        let single = matches!(self.readings.as_slice(), [only] if only.row.is_none());
        for line in &self.readings {
            line.page(single, self.checked_only, page);
        }
        if !single {
            page.line(&self.summary());
        }
        for drift in &self.drifts {
            let word = page.paint(Tone::Warning, "scale");
            page.hanging(&format!("{word}: {}", drift.spoken()), 2);
        }
        if self.checked_only {
            page.line(CHECKED_ONLY);
        }
        if self.checked_only && !self.concerns.is_empty() {
            page.line("It would raise or change:");
        }
        for concern in &self.concerns {
            page.gap();
            concern.paragraph(page);
        }
        page.remark(self.caution.unwrap_or_default());
    }
}
