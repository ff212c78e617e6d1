//! Papers.

use super::row::row;
use super::{Thing, day, some, spoken, written};
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A paper of an animal.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Paper {
    kind: &'static str,
    number: Option<String>,
    occasion: &'static str,
    issued_by_country: Option<String>,
    issued_by: Option<String>,
    issued_on: Option<String>,
    valid_until: Option<String>,
    cites_appendix: Option<&'static str>,
    source_codes: Option<String>,
    purpose_code: Option<String>,
    note: Option<String>,
    site: String,
    transfer_id: Option<String>,
    recorded_at: Option<String>,
    animal_id: String,
    id: String,
}

impl Paper {
    pub(crate) fn new(paper: v1::Paper, zone: Tz) -> Self {
        let occasion = paper.occasion().word();
        let says = paper.content.unwrap_or_default();
        let (kind, appendix) = (says.kind().word(), says.cites_appendix().word());
        Self {
            kind,
            number: some(says.number),
            occasion,
            issued_by_country: some(says.issued_by_country),
            issued_by: some(says.issued_by),
            issued_on: day(says.issued_on),
            valid_until: day(says.expires_on),
            cites_appendix: (!appendix.is_empty()).then_some(appendix),
            source_codes: some(says.source_codes),
            purpose_code: some(says.purpose_code),
            note: some(says.note),
            site: paper.site,
            transfer_id: some(paper.transfer_id),
            recorded_at: written(paper.recorded_at, zone),
            animal_id: paper.animal_id,
            id: paper.id,
        }
    }

    /// The sentence that says it is on record.
    pub(crate) fn spoken(&self) -> String {
        let number = self.number.as_ref().map(|number| format!(" {number}")).unwrap_or_default();
        format!("Recorded {}{number} with the {}.", self.kind, self.occasion)
    }
}

impl Thing for Paper {
    const MANY: &'static str = "papers";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(papers: &[Self], page: &mut Page) {
        let mut table =
            Table::new(["With", "Kind", "Number", "Issued by", "Issued", "Valid until", "CITES", "Note"]);
        for paper in papers {
            let by: Vec<&str> = [&paper.issued_by_country, &paper.issued_by]
                .into_iter()
                .flatten()
                .map(String::as_str)
                .collect();
            let codes = [
                paper.cites_appendix.map(str::to_owned),
                paper.source_codes.clone(),
                paper.purpose_code.clone(),
            ];
            table.row([
                paper.occasion.to_owned(),
                paper.kind.to_owned(),
                paper.number.clone().unwrap_or_default(),
                by.join(", "),
                paper.issued_on.clone().unwrap_or_default(),
                paper.valid_until.clone().unwrap_or_default(),
                codes.into_iter().flatten().collect::<Vec<_>>().join(" / "),
                paper.note.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}

/// A coming or going of a listed animal with something missing.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Missing {
    on: Option<String>,
    accession: String,
    house_name: Option<String>,
    scientific_name: String,
    cites_appendix: &'static str,
    occasion: &'static str,
    came: bool,
    from_country: Option<String>,
    to_country: Option<String>,
    missing: Vec<String>,
    animal_id: String,
}

row! {
    /// The same as a line.
    MissingRow of one: Missing {
        on, accession, house_name, scientific_name, cites_appendix, occasion, came, from_country, to_country,
        missing, animal_id,
    }
}

impl From<v1::PapersMissing> for Missing {
    fn from(one: v1::PapersMissing) -> Self {
        Self {
            cites_appendix: one.cites_appendix().word(),
            occasion: one.occasion().word(),
            on: day(one.happened_on),
            accession: one.accession,
            house_name: some(one.house_name),
            scientific_name: one.taxon,
            came: one.came,
            from_country: some(one.from_country),
            to_country: some(one.to_country),
            missing: one.missing,
            animal_id: one.animal_id,
        }
    }
}

impl Thing for Missing {
    const MANY: &'static str = "gaps";
    const CAUTION: &'static str = "Holt shows that somebody saw a paper. That does not replace a lawful \
        check, and the law may need papers that are not missing here.";
    type Row = MissingRow;

    fn row(&self) -> MissingRow {
        self.into()
    }

    fn table(all: &[Self], page: &mut Page) {
        let mut table = Table::new(["On", "Animal", "Species", "CITES", "What", "From", "To", "Missing"]);
        let place = |country: &Option<String>| country.clone().unwrap_or_else(|| "not stated".to_owned());
        for one in all {
            let what = match (one.occasion, one.came) {
                ("transfer", true) => "transfer in",
                ("transfer", false) => "transfer out",
                (occasion, _) => occasion,
            };
            table.row([
                one.on.clone().unwrap_or_default(),
                spoken(one.house_name.as_deref(), &one.accession),
                one.scientific_name.clone(),
                one.cites_appendix.to_owned(),
                what.to_owned(),
                place(&one.from_country),
                place(&one.to_country),
                one.missing.join("; "),
            ]);
        }
        page.table(&table);
    }
}
