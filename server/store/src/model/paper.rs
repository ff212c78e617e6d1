//! Papers, and which of them a listed animal that crosses a border is usually asked for.

use crate::model::animal::Label;
use crate::model::taxon::Appendix;
use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Told wherever something is said to be missing.
pub const CAUTION: &str = "Holt shows that somebody saw a paper. That does not replace a lawful check, and \
    the law may need papers that are not missing here.";

/// What kind of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    CitesExportPermit,
    CitesImportPermit,
    CitesReExportCertificate,
    CitesOtherCertificate,
    HealthCertificate,
    MovementLicence,
    Receipt,
    Other,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 8] = [
        Self::CitesExportPermit,
        Self::CitesImportPermit,
        Self::CitesReExportCertificate,
        Self::CitesOtherCertificate,
        Self::HealthCertificate,
        Self::MovementLicence,
        Self::Receipt,
        Self::Other,
    ];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::CitesExportPermit => "cites_export_permit",
            Self::CitesImportPermit => "cites_import_permit",
            Self::CitesReExportCertificate => "cites_re_export_certificate",
            Self::CitesOtherCertificate => "cites_other_certificate",
            Self::HealthCertificate => "health_certificate",
            Self::MovementLicence => "movement_licence",
            Self::Receipt => "receipt",
            Self::Other => "other",
        }
    }

    /// Whether it is one of the convention's.
    #[must_use]
    pub const fn is_cites(self) -> bool {
        matches!(
            self,
            Self::CitesExportPermit
                | Self::CitesImportPermit
                | Self::CitesReExportCertificate
                | Self::CitesOtherCertificate
        )
    }
}

/// What a paper goes with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Occasion {
    Arrival,
    Departure,
    Transfer,
}

impl Occasion {
    /// All occasions.
    pub const ALL: [Self; 3] = [Self::Arrival, Self::Departure, Self::Transfer];

    /// As it is stored, and as people say it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Arrival => "arrival",
            Self::Departure => "departure",
            Self::Transfer => "transfer",
        }
    }
}

/// What a paper says; empty where it was not told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Content {
    pub kind: Kind,
    pub number: String,
    /// Two letters of ISO 3166-1.
    pub country: String,
    pub authority: String,
    pub issued_on: Option<NaiveDate>,
    pub valid_until: Option<NaiveDate>,
    pub appendix: Appendix,
    pub source_codes: String,
    pub purpose_code: String,
    pub note: String,
}

/// A paper on record.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paper {
    pub id: Uuid,
    /// Code of the site that recorded it.
    pub site: String,
    pub animal: Uuid,
    pub occasion: Occasion,
    pub transfer: Option<Uuid>,
    pub content: Content,
    pub recorded_at: DateTime<Utc>,
}

/// A coming or going of an animal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Crossing {
    pub animal: Label,
    pub taxon: String,
    pub appendix: Appendix,
    pub occasion: Occasion,
    pub transfer: Option<Uuid>,
    /// Whether it came to the site; it left otherwise.
    pub came: bool,
    pub on: NaiveDate,
    /// Countries that it came from and went to: two letters of ISO 3166-1; empty where not stated.
    pub from: String,
    pub to: String,
}

impl Crossing {
    /// What a listed animal that crosses a border is usually asked for and is not among these papers.
    ///
    /// Appendix I needs an export and an import permit, II an export permit, III an export permit or a
    /// certificate of origin; a re-export certificate stands for an export permit, and a certificate of another
    /// kind, such as of Article VII, for both (CITES, Arts III to V and VII; from memory). What a country asks
    /// for beyond that, or does not ask for within a union, is not known here.
    #[must_use]
    pub fn missing(&self, papers: &[Paper]) -> Vec<String> {
        let known = !self.from.is_empty() && !self.to.is_empty();
        if !self.appendix.is_listed() || (known && self.from == self.to) {
            return Vec::new();
        }
        let with_it: Vec<&Content> = papers
            .iter()
            .filter(|paper| {
                paper.animal == self.animal.id
                    && paper.occasion == self.occasion
                    && paper.transfer == self.transfer
            })
            .map(|paper| &paper.content)
            .collect();
        let export = [Kind::CitesExportPermit, Kind::CitesReExportCertificate, Kind::CitesOtherCertificate];
        let import = [Kind::CitesImportPermit, Kind::CitesOtherCertificate];
        let mut missing = Vec::new();
        missing.extend(lack("export permit or re-export certificate", &export, &with_it, self.on));
        if self.appendix == Appendix::I {
            missing.extend(lack("import permit", &import, &with_it, self.on));
        }
        if !missing.is_empty() && !known {
            let not_stated = match (self.from.is_empty(), self.to.is_empty()) {
                (true, true) => "neither country is stated",
                (true, false) => "the country that it came from is not stated",
                _ => "the country that it went to is not stated",
            };
            missing.push(format!("whether it crossed a border is not known: {not_stated}"));
        }
        missing
    }
}

/// Why none of these papers does for one that is needed on a day.
fn lack(what: &str, kinds: &[Kind], papers: &[&Content], on: NaiveDate) -> Option<String> {
    let of_kind: Vec<&&Content> = papers.iter().filter(|paper| kinds.contains(&paper.kind)).collect();
    if of_kind.iter().any(|paper| paper.valid_until.is_none_or(|until| on <= until)) {
        return None;
    }
    Some(match of_kind.first().and_then(|paper| paper.valid_until.map(|until| (paper, until))) {
        Some((paper, until)) => format!("no valid {what} of CITES: {} expired on {until}", paper.number),
        None => format!("no {what} of CITES is recorded"),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crossing(appendix: Appendix, from: &str, to: &str) -> Crossing {
        Crossing {
            animal: Label { id: Uuid::nil(), accession: "QUI-26-0001".to_owned(), house_name: String::new() },
            taxon: "Aonyx cinereus".to_owned(),
            appendix,
            occasion: Occasion::Arrival,
            transfer: None,
            came: true,
            on: "2026-02-10".parse().unwrap(),
            from: from.to_owned(),
            to: to.to_owned(),
        }
    }

    fn paper(kind: Kind, occasion: Occasion, until: Option<&str>) -> Paper {
        Paper {
            id: Uuid::nil(),
            site: "QUI".to_owned(),
            animal: Uuid::nil(),
            occasion,
            transfer: None,
            content: Content {
                kind,
                number: "DE-17".to_owned(),
                country: String::new(),
                authority: String::new(),
                issued_on: None,
                valid_until: until.map(|day| day.parse().unwrap()),
                appendix: Appendix::NotStated,
                source_codes: String::new(),
                purpose_code: String::new(),
                note: String::new(),
            },
            recorded_at: DateTime::UNIX_EPOCH,
        }
    }

    #[test]
    fn each_appendix_is_asked_for_its_papers() {
        const EXPORT: &str = "no export permit or re-export certificate of CITES is recorded";
        const IMPORT: &str = "no import permit of CITES is recorded";
        for (appendix, missing) in [
            (Appendix::NotStated, &[][..]),
            (Appendix::None, &[]),
            (Appendix::I, &[EXPORT, IMPORT]),
            (Appendix::Two, &[EXPORT]),
            (Appendix::Three, &[EXPORT]),
        ] {
            assert_eq!(crossing(appendix, "DE", "IE").missing(&[]), missing, "{appendix:?}");
            assert_eq!(crossing(appendix, "IE", "IE").missing(&[]), [""; 0], "{appendix:?} at home");
        }
    }

    #[test]
    fn a_paper_does_where_it_is_of_the_kind_and_the_occasion_and_valid() {
        use Kind::{CitesExportPermit, CitesImportPermit, CitesOtherCertificate, HealthCertificate};
        let listed = crossing(Appendix::Two, "DE", "IE");
        for (paper, enough) in [
            (paper(CitesExportPermit, Occasion::Arrival, None), true),
            (paper(CitesOtherCertificate, Occasion::Arrival, None), true),
            (paper(CitesExportPermit, Occasion::Arrival, Some("2026-02-10")), true),
            (paper(CitesExportPermit, Occasion::Arrival, Some("2026-02-09")), false),
            (paper(CitesExportPermit, Occasion::Departure, None), false),
            (paper(CitesImportPermit, Occasion::Arrival, None), false),
            (paper(HealthCertificate, Occasion::Arrival, None), false),
        ] {
            assert_eq!(listed.missing(std::slice::from_ref(&paper)).is_empty(), enough, "{paper:?}");
        }
        let out = paper(CitesExportPermit, Occasion::Arrival, Some("2026-02-09"));
        assert_eq!(
            listed.missing(&[out]),
            ["no valid export permit or re-export certificate of CITES: DE-17 expired on 2026-02-09"]
        );
    }

    #[test]
    fn where_no_country_is_stated_that_is_told() {
        for (from, to, told) in [
            ("", "IE", "the country that it came from is not stated"),
            ("DE", "", "the country that it went to is not stated"),
            ("", "", "neither country is stated"),
        ] {
            let missing = crossing(Appendix::Two, from, to).missing(&[]);
            assert_eq!(missing.len(), 2);
            assert!(missing[1].ends_with(told), "{missing:?}");
        }
    }
}
