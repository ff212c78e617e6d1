//! Amendments.

use super::{Thing, short, some, spoken, written};
use crate::output::{Page, Table};
use crate::words::Word;
use chrono_tz::Tz;
use holt_proto::v1;
use serde::Serialize;

/// A change that one site proposes to another.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Amendment {
    state: &'static str,
    accession: String,
    house_name: Option<String>,
    says: String,
    because: String,
    site: String,
    asked_site: Option<String>,
    proposed_at: Option<String>,
    proposed_by: Option<String>,
    answered_site: Option<String>,
    answer: Option<String>,
    answered_at: Option<String>,
    answered_by: Option<String>,
    fact_id: Option<String>,
    animal_id: String,
    id: String,
}

impl Amendment {
    pub(crate) fn new(amendment: v1::Amendment, zone: Tz) -> Self {
        Self {
            state: amendment.state().word(),
            accession: amendment.accession,
            house_name: some(amendment.house_name),
            says: amendment.says,
            because: amendment.because,
            site: amendment.site,
            asked_site: some(amendment.asked_site),
            proposed_at: written(amendment.proposed_at, zone),
            proposed_by: some(amendment.proposed_by),
            answered_site: some(amendment.answered_site),
            answer: some(amendment.answer),
            answered_at: written(amendment.answered_at, zone),
            answered_by: some(amendment.answered_by),
            fact_id: some(amendment.fact_id),
            animal_id: amendment.animal_id,
            id: amendment.id,
        }
    }

    fn animal(&self) -> String {
        if self.accession.is_empty() {
            // Asked about once, and no longer in sight.
            return format!("an animal of {}", self.site);
        }
        spoken(self.house_name.as_deref(), &self.accession)
    }

    /// The sentence that says where it stands.
    pub(crate) fn spoken(&self) -> String {
        format!("Amendment of {}, {}: {}. [{}]", self.animal(), self.says, self.state, short(&self.id))
    }
}

impl Thing for Amendment {
    const MANY: &'static str = "amendments";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(amendments: &[Self], page: &mut Page) {
        let mut table = Table::new(["Id", "State", "Animal", "From", "Change", "Why", "Answer"]);
        for one in amendments {
            table.row([
                short(&one.id).to_owned(),
                one.state.to_owned(),
                one.animal(),
                one.site.clone(),
                one.says.clone(),
                one.because.clone(),
                one.answer.clone().unwrap_or_default(),
            ]);
        }
        page.table(&table);
    }
}
