//! Documents and the versions by which a site works.

use super::row::row;
use super::{Thing, some, written};
use crate::output::{Answer, Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::time::whole_day;
use holt_proto::v1;
use serde::Serialize;

/// A version that the site adopted.
#[derive(Clone, Serialize)]
struct Adoption {
    version: i32,
    adopted_on: Option<String>,
    recorded_at: Option<String>,
    recorded_by: Option<String>,
}

/// A document, as a site uses it.
#[derive(Clone, Serialize)]
pub(crate) struct Document {
    kind: &'static str,
    code: String,
    title: String,
    version: i32,
    basis: &'static str,
    last_version: i32,
    own_site: Option<String>,
    adoptions: Vec<Adoption>,
}

row! {
    /// A document as a line.
    Row of one: Document {
        kind, code, title, version, basis, last_version, own_site,
    }
}

/// Why a version counts, in a sentence.
pub(crate) fn why(basis: v1::VersionBasis) -> Option<&'static str> {
    match basis {
        v1::VersionBasis::Unspecified => None,
        v1::VersionBasis::Adopted => Some("adopted by the site"),
        v1::VersionBasis::Last => Some("the last version: the site adopted none"),
        v1::VersionBasis::Named => Some("the version named: the site adopted none"),
    }
}

impl Document {
    pub(crate) fn new(document: v1::Document, zone: Tz) -> Self {
        let (kind, basis) = (document.kind().word(), document.basis().word());
        let adoptions = document.adoptions.into_iter().map(|one| Adoption {
            version: one.version,
            adopted_on: one.adopted_on.and_then(|day| whole_day(day).ok()).map(|day| day.to_string()),
            recorded_at: written(one.recorded_at, zone),
            recorded_by: some(one.recorded_by),
        });
        Self {
            kind,
            code: document.code,
            title: document.title,
            version: document.version,
            basis,
            last_version: document.last_version,
            own_site: some(document.own_site),
            adoptions: adoptions.collect(),
        }
    }

    /// Whether it is the document of this kind and code.
    pub(crate) fn is(&self, kind: v1::DocumentKind, code: &str) -> bool {
        self.kind == kind.word() && self.code == code
    }

    /// The version in use, in a sentence.
    pub(crate) fn spoken(&self) -> String {
        let why =
            if self.basis == v1::VersionBasis::Adopted.word() { "" } else { ", the last: it adopted none" };
        format!("version {} of the {} {} today{why}", self.version, self.kind, self.code)
    }
}

impl Thing for Document {
    const MANY: &'static str = "documents";
    type Row = Row;

    fn row(&self) -> Row {
        self.into()
    }

    fn table(documents: &[Self], page: &mut Page) {
        let mut table = Table::new(["Kind", "Code", "Version", "Because", "Last", "Owner", "Title"]);
        for one in documents {
            table.row([
                one.kind.to_owned(),
                one.code.clone(),
                one.version.to_string(),
                if one.basis == "adopted" { "adopted" } else { "none adopted" }.to_owned(),
                one.last_version.to_string(),
                one.own_site.clone().unwrap_or_else(|| "all sites".to_owned()),
                one.title.clone(),
            ]);
        }
        page.table(&table);
    }
}

impl Answer for Document {
    type Row = Row;

    fn rows(&self) -> Vec<Row> {
        vec![self.row()]
    }

    fn page(&self, page: &mut Page) {
        Document::table(std::slice::from_ref(self), page);
        page.gap();
        if self.adoptions.is_empty() {
            page.line("The site adopted no version: it works by the last one.");
            return;
        }
        let mut table = Table::new(["From", "Version", "Recorded", "By"]);
        for one in &self.adoptions {
            table.row([
                one.adopted_on.clone().unwrap_or_default(),
                one.version.to_string(),
                one.recorded_at.clone().unwrap_or_default(),
                one.recorded_by.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
