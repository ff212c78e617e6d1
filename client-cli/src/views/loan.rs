//! Loans.

use super::{Thing, day, some, spoken};
use crate::output::{Page, Table, Tone};
use crate::words::Word;
use holt_proto::v1;
use serde::Serialize;

/// A loan, as a site that lends or borrows sees it.
#[derive(Clone, Default, Serialize)]
pub(crate) struct Loan {
    way: &'static str,
    accession: String,
    house_name: Option<String>,
    scientific_name: String,
    lender: String,
    borrower: String,
    began_on: Option<String>,
    until: Option<String>,
    days_left: Option<i32>,
    terms: Option<String>,
    ended: Option<&'static str>,
    ended_on: Option<String>,
    animal_id: String,
    id: String,
}

impl From<v1::Loan> for Loan {
    fn from(loan: v1::Loan) -> Self {
        let ended = loan.ended().word();
        let terms = loan.terms.unwrap_or_default();
        let lasts = ended.is_empty() && terms.loan_until.is_some();
        Self {
            way: if loan.out { "out" } else { "in" },
            accession: loan.accession,
            house_name: some(loan.house_name),
            scientific_name: loan.taxon,
            lender: loan.lender,
            borrower: loan.borrower,
            began_on: day(loan.began_on),
            until: day(terms.loan_until),
            days_left: lasts.then_some(loan.days_left),
            terms: some(terms.terms),
            ended: (!ended.is_empty()).then_some(ended),
            ended_on: day(loan.ended_on),
            animal_id: loan.animal_id,
            id: loan.id,
        }
    }
}

impl Loan {
    /// The sentence that says until when it lasts.
    pub(crate) fn spoken(&self) -> String {
        let animal = spoken(self.house_name.as_deref(), &self.accession);
        let until = self.until.as_ref().map_or("without an end".to_owned(), |day| format!("until {day}"));
        format!("{animal} is on loan from {} to {} {until}.", self.lender, self.borrower)
    }
}

impl Thing for Loan {
    const MANY: &'static str = "loans";
    type Row = Self;

    fn row(&self) -> Self {
        self.clone()
    }

    fn table(loans: &[Self], page: &mut Page) {
        let mut table =
            Table::new(["In or out", "Animal", "Species", "With", "Since", "Until", "Days to run"]);
        for loan in loans {
            let with = if loan.way == "out" { &loan.borrower } else { &loan.lender };
            let (tone, left) = match (loan.ended, loan.days_left) {
                (Some(how), _) => {
                    (Tone::Calm, format!("{how} {}", loan.ended_on.as_deref().unwrap_or_default()))
                }
                (None, Some(left)) if left < 0 => (Tone::Alarm, format!("{} days over", -left)),
                (None, Some(left)) => (Tone::Calm, format!("{left} days")),
                (None, None) => (Tone::Calm, "no end".to_owned()),
            };
            table.toned([
                (Tone::Calm, loan.way.to_owned()),
                (Tone::Calm, spoken(loan.house_name.as_deref(), &loan.accession)),
                (Tone::Calm, loan.scientific_name.clone()),
                (Tone::Calm, with.clone()),
                (Tone::Calm, loan.began_on.clone().unwrap_or_default()),
                (Tone::Calm, loan.until.clone().unwrap_or_default()),
                (tone, left),
            ]);
        }
        page.table(&table);
    }
}
