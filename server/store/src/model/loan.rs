//! Loans: an animal that one keeps and another owns, for a time.

use crate::model::animal::Label;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What lender and borrower agreed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Terms {
    /// Last day, where one is agreed.
    pub until: Option<NaiveDate>,
    pub text: String,
}

/// How a loan ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum End {
    Returned,
    TitlePassed,
    MovedOn,
    Died,
    Escaped,
}

impl End {
    /// All ends.
    pub const ALL: [Self; 5] = [Self::Returned, Self::TitlePassed, Self::MovedOn, Self::Died, Self::Escaped];

    /// As it is stored.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Returned => "returned",
            Self::TitlePassed => "title_passed",
            Self::MovedOn => "moved_on",
            Self::Died => "died",
            Self::Escaped => "escaped",
        }
    }
}

/// A loan, as a site that lends or borrows sees it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Loan {
    pub id: Uuid,
    pub animal: Label,
    /// Accepted name of its species.
    pub taxon: String,
    /// Code of a site, or a name outside Holt.
    pub lender: String,
    pub borrower: String,
    /// Whether the site lends; it borrows otherwise.
    pub out: bool,
    /// Enclosure at the site in which the animal lives; empty where it lives elsewhere.
    pub enclosure: String,
    pub began_on: NaiveDate,
    pub terms: Terms,
    /// Days from the day asked for to the last day; none where there is none, or the loan has ended.
    pub days_left: Option<i32>,
    pub ended: Option<(NaiveDate, End)>,
}
