//! How the grades of an animal's welfare went.

use super::{count, day, some, spoken};
use crate::output::{Answer, Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// The grades of a domain in one assessment.
#[derive(Clone, Serialize)]
struct Point {
    assessed_on: Option<String>,
    compromise: &'static str,
    enhancement: &'static str,
    protocol: String,
    protocol_version: i32,
    observer: Option<String>,
    assessment_id: String,
}

/// The course of one domain.
#[derive(Clone, Serialize)]
struct Domain {
    domain: &'static str,
    change: &'static str,
    /// Of compromise where it is worse or better, of enhancement where it is the same.
    grades: i32,
    not_assessed: Vec<String>,
    since: Option<String>,
    points: Vec<Point>,
}

/// The course of an animal's welfare.
#[derive(Serialize)]
pub(crate) struct Course {
    accession: String,
    house_name: Option<String>,
    animal_id: String,
    domains: Vec<Domain>,
}

/// The grades of a domain in one assessment, as a line.
#[derive(Default, Serialize)]
pub(crate) struct Row {
    accession: String,
    house_name: Option<String>,
    domain: &'static str,
    assessed_on: Option<String>,
    compromise: &'static str,
    enhancement: &'static str,
    protocol: String,
    protocol_version: i32,
    observer: Option<String>,
    assessment_id: String,
}

impl From<v1::GetWelfareCourseResponse> for Course {
    fn from(answer: v1::GetWelfareCourseResponse) -> Self {
        let animal = answer.animal.unwrap_or_default();
        let domains = answer.domains.into_iter().map(|course| Domain {
            domain: course.domain().word(),
            change: course.change().word(),
            grades: course.grades,
            not_assessed: course.not_assessed,
            since: day(course.began_on),
            points: course
                .points
                .into_iter()
                .map(|point| Point {
                    assessed_on: day(point.assessed_on),
                    compromise: point.compromise().word(),
                    enhancement: point.enhancement().word(),
                    protocol: point.protocol,
                    protocol_version: point.protocol_version,
                    observer: some(point.observer),
                    assessment_id: point.assessment_id,
                })
                .collect(),
        });
        Self {
            accession: animal.accession,
            house_name: some(animal.house_name),
            animal_id: animal.id,
            domains: domains.collect(),
        }
    }
}

impl Domain {
    /// What became of it, for people.
    fn spoken_change(&self) -> (Tone, String) {
        let grades = || count(usize::try_from(self.grades.abs()).unwrap_or_default(), "grade", "grades");
        match self.change {
            "worse" => (Tone::Warning, format!("worse by {}", grades())),
            "better" => (Tone::Calm, format!("better by {}", grades())),
            "not-shown-better" => {
                (Tone::Warning, format!("not shown better: {} not assessed", self.not_assessed.join(", ")))
            }
            "same" if self.grades > 0 => {
                (Tone::Calm, format!("compromise the same; enhancement up by {}", grades()))
            }
            "same" if self.grades < 0 => {
                (Tone::Calm, format!("compromise the same; enhancement down by {}", grades()))
            }
            "same" => (Tone::Calm, "unchanged".to_owned()),
            _ if self.points.is_empty() => (Tone::Faint, "not assessed".to_owned()),
            _ => (Tone::Faint, "assessed once".to_owned()),
        }
    }
}

/// Most grades of a domain that people are shown in a row.
const SHOWN: usize = 6;

/// A domain for people.
pub(crate) struct Line {
    pub(crate) domain: &'static str,
    /// `A/+ B/0`, the last at the end.
    pub(crate) grades: String,
    pub(crate) change: String,
    pub(crate) since: String,
    tone: Tone,
}

impl Course {
    /// The domains for people.
    pub(crate) fn lines(&self) -> Vec<Line> {
        let line = |domain: &Domain| {
            let late = &domain.points[domain.points.len().saturating_sub(SHOWN)..];
            let grades: Vec<String> =
                late.iter().map(|point| format!("{}/{}", point.compromise, point.enhancement)).collect();
            let (tone, change) = domain.spoken_change();
            let since = domain.since.clone().unwrap_or_default();
            Line { domain: domain.domain, grades: grades.join(" "), change, since, tone }
        };
        self.domains.iter().map(line).collect()
    }
}

impl Answer for Course {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        let of = |domain: &Domain| {
            let row = |point: &Point| Row {
                accession: self.accession.clone(),
                house_name: self.house_name.clone(),
                domain: domain.domain,
                assessed_on: point.assessed_on.clone(),
                compromise: point.compromise,
                enhancement: point.enhancement,
                protocol: point.protocol.clone(),
                protocol_version: point.protocol_version,
                observer: point.observer.clone(),
                assessment_id: point.assessment_id.clone(),
            };
            domain.points.iter().map(row).collect::<Vec<_>>()
        };
        self.domains.iter().flat_map(of).collect()
    }

    fn page(&self, page: &mut Page) {
        page.heading(&spoken(self.house_name.as_deref(), &self.accession));
        let mut table = Table::new(["Domain", "Grades, the last at the end", "Change", "Poor since"]);
        for line in self.lines() {
            table.toned([
                (Tone::Calm, line.domain.to_owned()),
                (Tone::Calm, line.grades),
                (line.tone, line.change),
                (Tone::Calm, line.since),
            ]);
        }
        page.table(&table);
        page.remark(
            "Grades are compromise (A none to E very severe) and enhancement (0 to +++). Mental state is \
             inferred from these four domains and has no row.",
        );
    }
}
