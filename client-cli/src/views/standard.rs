//! Standards, and what the records of a site answer to them.

use super::row::row;
use super::{Thing, count, day, instant, some, written};
use crate::moment;
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use chrono::{DateTime, Utc};
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A clause.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Clause {
    number: String,
    text: String,
    basis: &'static str,
    evidence: &'static str,
    rule: &'static str,
    every_days: Option<i32>,
    percent: i32,
    min_days: i32,
    within_days: Option<i32>,
    at_least: Option<i32>,
    note: Option<String>,
}

impl From<v1::Clause> for Clause {
    fn from(clause: v1::Clause) -> Self {
        Self {
            basis: clause.basis().word(),
            evidence: clause.evidence().word(),
            rule: clause.rule().word(),
            every_days: (clause.every_days > 0).then_some(clause.every_days),
            number: clause.number,
            text: clause.text,
            percent: clause.percent,
            min_days: clause.min_days,
            within_days: clause.within_days,
            at_least: clause.at_least,
            note: some(clause.note),
        }
    }
}

impl Clause {
    /// The rule as people say it: `every 45 days, 90 %`.
    pub(crate) fn asked(&self) -> String {
        let mut parts = vec![match self.every_days {
            Some(days) => format!("every {}", span(days)),
            None => self.rule.to_owned(),
        }];
        parts.extend(self.within_days.map(|days| format!("within {}", span(days))));
        parts.extend(self.at_least.map(|kinds| format!("{kinds} kinds or more")));
        parts.extend((self.min_days > 0).then(|| format!("after {}", span(self.min_days))));
        parts.extend((self.percent < 100).then(|| format!("{} %", self.percent)));
        parts.join(", ")
    }
}

fn span(days: i32) -> String {
    count(usize::try_from(days).unwrap_or_default(), "day", "days")
}

/// What no record can show.
#[derive(Clone, Serialize)]
struct Unshown {
    number: String,
    text: String,
    basis: &'static str,
    why: String,
}

impl From<v1::UnshownClause> for Unshown {
    fn from(one: v1::UnshownClause) -> Self {
        Self { basis: one.basis().word(), number: one.number, text: one.text, why: one.why }
    }
}

fn unshown_page(unshown: &[Unshown], page: &mut Page) {
    if unshown.is_empty() {
        return;
    }
    page.heading("What no record can show");
    for one in unshown {
        page.hanging(&format!("{}  {} {}", one.number, one.text, one.why), 2);
    }
}

/// A version of a standard.
#[derive(Clone, Serialize)]
pub(crate) struct Standard {
    code: String,
    version: i32,
    pub(crate) title: String,
    source: String,
    year: i32,
    own_site: Option<String>,
    clauses: Vec<Clause>,
    unshown: Vec<Unshown>,
    id: String,
}

row! {
    /// A version of a standard as a line.
    Row of one: Standard {
        code, version, title, source, year, clauses: one.clauses.len(), unshown: one.unshown.len(), own_site, id,
    }
}

impl From<v1::Standard> for Standard {
    fn from(standard: v1::Standard) -> Self {
        Self {
            code: standard.code,
            version: standard.version,
            title: standard.title,
            source: standard.source,
            year: standard.year,
            own_site: some(standard.own_site),
            clauses: standard.clauses.into_iter().map(Clause::from).collect(),
            unshown: standard.unshown.into_iter().map(Unshown::from).collect(),
            id: standard.id,
        }
    }
}

impl Standard {
    /// As people name it: `eu-zoos-directive, version 1`.
    pub(crate) fn spoken(&self) -> String {
        format!("{}, version {}", self.code, self.version)
    }
}

impl Thing for Standard {
    const MANY: &'static str = "standards";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(standards: &[Self], page: &mut Page) {
        let mut table = Table::new(["Code", "Version", "Title", "Clauses", "Not shown"]).numbers([1, 3, 4]);
        for one in standards {
            table.row([
                one.code.clone(),
                one.version.to_string(),
                one.title.clone(),
                one.clauses.len().to_string(),
                one.unshown.len().to_string(),
            ]);
        }
        page.table(&table);
    }
}

impl Answer for Standard {
    type Row = Clause;

    fn rows(&self) -> Vec<Clause> {
        self.clauses.clone()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&format!("{} ({})", self.title, self.spoken()));
        page.line(&format!("{} ({})", self.source, self.year));
        for one in &self.clauses {
            page.gap();
            page.hanging(&format!("{}  {}", one.number, one.text), 2);
            page.indented(&format!("{}: {} (source: {})", one.evidence, one.asked(), one.basis), 2);
            if let Some(note) = &one.note {
                page.indented(note, 2);
            }
        }
        unshown_page(&self.unshown, page);
    }
}

/// One that does not fulfil a clause.
#[derive(Clone, Serialize)]
struct Exception {
    kind: &'static str,
    name: String,
    what: String,
    shown_on: Option<String>,
    record_id: Option<String>,
    id: String,
}

impl From<v1::ClauseException> for Exception {
    fn from(one: v1::ClauseException) -> Self {
        Self {
            kind: one.kind().word(),
            name: one.name,
            what: one.what,
            shown_on: day(one.shown_on),
            record_id: some(one.record_id),
            id: one.id,
        }
    }
}

/// A clause and its answer.
#[derive(Clone, Serialize)]
struct Answered {
    answer: &'static str,
    numerator: i32,
    denominator: i32,
    clause: Clause,
    exceptions: Vec<Exception>,
    more_exceptions: i32,
    remark: Option<String>,
    #[serde(skip)]
    verdict: v1::ClauseVerdict,
}

impl From<v1::ClauseAnswer> for Answered {
    fn from(answer: v1::ClauseAnswer) -> Self {
        Self {
            verdict: answer.verdict(),
            answer: answer.verdict().word(),
            numerator: answer.numerator,
            denominator: answer.denominator,
            clause: answer.clause.unwrap_or_default().into(),
            exceptions: answer.exceptions.into_iter().map(Exception::from).collect(),
            more_exceptions: answer.more_exceptions,
            remark: some(answer.remark),
        }
    }
}

impl Answered {
    const fn tone(&self) -> Tone {
        match self.verdict {
            v1::ClauseVerdict::Short | v1::ClauseVerdict::NoEvidence => Tone::Alarm,
            v1::ClauseVerdict::NotApplicable | v1::ClauseVerdict::NotComputed => Tone::Faint,
            v1::ClauseVerdict::Met | v1::ClauseVerdict::Unspecified => Tone::Calm,
        }
    }

    /// Whether somebody must do or look for something.
    const fn is_lacking(&self) -> bool {
        matches!(self.verdict, v1::ClauseVerdict::Short | v1::ClauseVerdict::NoEvidence)
    }

    fn of(&self) -> String {
        if self.denominator == 0 {
            String::new()
        } else {
            format!("{} of {}", self.numerator, self.denominator)
        }
    }
}

/// What the records of a site answer to a standard.
#[derive(Serialize)]
pub(crate) struct Answers {
    site: String,
    name: String,
    licence: Option<String>,
    standard: String,
    version: i32,
    version_basis: &'static str,
    title: String,
    source: String,
    year: i32,
    first_day: Option<String>,
    last_day: Option<String>,
    as_known_at: Option<String>,
    answers: Vec<Answered>,
    unshown: Vec<Unshown>,
    caution: String,
    #[serde(skip)]
    known_at: Option<DateTime<Utc>>,
    #[serde(skip)]
    zone: Tz,
}

/// An exception as a line, or a clause without one.
#[derive(Default, Serialize)]
pub(crate) struct Line {
    site: String,
    standard: String,
    version: i32,
    number: String,
    answer: &'static str,
    numerator: i32,
    denominator: i32,
    percent: i32,
    kind: &'static str,
    name: String,
    what: String,
    shown_on: String,
    record_id: String,
    more_exceptions: i32,
    remark: String,
}

impl Answers {
    pub(crate) fn new(answer: v1::AnswerStandardResponse, zone: Tz) -> Self {
        let days = answer.days.unwrap_or_default();
        Self {
            version_basis: answer.version_basis().word(),
            site: answer.site,
            name: answer.name,
            licence: some(answer.licence),
            standard: answer.standard,
            version: answer.version,
            title: answer.title,
            source: answer.source,
            year: answer.year,
            first_day: day(days.first),
            last_day: day(days.last),
            as_known_at: written(answer.as_known_at, zone),
            answers: answer.answers.into_iter().map(Answered::from).collect(),
            unshown: answer.unshown.into_iter().map(Unshown::from).collect(),
            caution: answer.caution,
            known_at: instant(answer.as_known_at),
            zone,
        }
    }

    /// Whether any clause is short or has no evidence.
    pub(crate) fn any_lacking(&self) -> bool {
        self.answers.iter().any(Answered::is_lacking)
    }
}

impl Answer for Answers {
    type Row = Line;

    fn rows(&self) -> Vec<Line> {
        let mut rows = Vec::new();
        for one in &self.answers {
            let line = || Line {
                site: self.site.clone(),
                standard: self.standard.clone(),
                version: self.version,
                number: one.clause.number.clone(),
                answer: one.answer,
                numerator: one.numerator,
                denominator: one.denominator,
                percent: one.clause.percent,
                more_exceptions: one.more_exceptions,
                remark: one.remark.clone().unwrap_or_default(),
                ..Line::default()
            };
            rows.extend(one.exceptions.iter().map(|exception| Line {
                kind: exception.kind,
                name: exception.name.clone(),
                what: exception.what.clone(),
                shown_on: exception.shown_on.clone().unwrap_or_default(),
                record_id: exception.record_id.clone().unwrap_or_default(),
                ..line()
            }));
            if one.exceptions.is_empty() {
                rows.push(line());
            }
        }
        rows.extend(self.unshown.iter().map(|one| Line {
            site: self.site.clone(),
            standard: self.standard.clone(),
            version: self.version,
            number: one.number.clone(),
            answer: "not-shown",
            remark: one.why.clone(),
            ..Line::default()
        }));
        rows
    }

    fn page(&self, page: &mut Page) {
        let text = |day: &Option<String>| day.clone().unwrap_or_default();
        let licence = self.licence.as_ref().map(|licence| format!(", licence {licence}")).unwrap_or_default();
        page.heading(&format!("{} ({}){licence}", self.name, self.site));
        page.line(&format!(
            "{}, version {} ({}): {}, from {} to {}, both included; as known at {}.",
            self.standard,
            self.version,
            self.version_basis,
            self.title,
            text(&self.first_day),
            text(&self.last_day),
            self.known_at.map(|at| moment::spoken(at, self.zone)).unwrap_or_default(),
        ));
        page.line(&format!("{} ({})", self.source, self.year));
        page.gap();
        let mut table = Table::new(["Answer", "Clause", "Fulfilled", "Required", "Requirement"]);
        for one in &self.answers {
            table.toned([
                (one.tone(), one.answer.replace('-', " ")),
                (Tone::Calm, one.clause.number.clone()),
                (Tone::Calm, one.of()),
                (Tone::Calm, one.clause.asked()),
                (Tone::Calm, one.clause.text.clone()),
            ]);
        }
        page.table(&table);
        for one in self.answers.iter().filter(|one| !one.exceptions.is_empty() || one.remark.is_some()) {
            page.gap();
            let head = format!("{}: {}", one.clause.number, one.answer.replace('-', " "));
            let head = page.paint(one.tone(), &head);
            page.line(&head);
            for exception in &one.exceptions {
                page.hanging(&format!("  {}: {}", exception.name, exception.what), 4);
            }
            if one.more_exceptions > 0 {
                page.line(&format!("  and {} more", one.more_exceptions));
            }
            if let Some(remark) = &one.remark {
                page.indented(remark, 2);
            }
        }
        unshown_page(&self.unshown, page);
        page.remark(&self.caution);
    }
}
