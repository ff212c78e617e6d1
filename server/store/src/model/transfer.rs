//! Transfers: a state machine, and who may take which step of it.

use crate::model::moment::Moment;
use chrono::{DateTime, NaiveDate, Utc};
use holt_audit::terms::Sex;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// Where a transfer stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum State {
    Proposed,
    Agreed,
    Dispatched,
    Received,
    Refused,
    Cancelled,
    Died,
    Escaped,
}

impl State {
    /// Whether more steps can follow.
    #[must_use]
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Proposed | Self::Agreed | Self::Dispatched)
    }

    /// In capitals, for programs.
    #[must_use]
    pub fn name(self) -> String {
        format!("{self:?}").to_uppercase()
    }

    /// As people say it: "the transfer is …".
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Proposed => "proposed and not yet agreed",
            Self::Agreed => "agreed and not yet dispatched",
            Self::Dispatched => "on the way",
            Self::Received => "already received",
            Self::Refused => "already refused",
            Self::Cancelled => "already cancelled",
            Self::Died => "ended: the animal died on the way",
            Self::Escaped => "ended: the animal escaped on the way",
        }
    }
}

/// What can be done with a transfer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    Proposed,
    Agreed,
    Dispatched,
    Received,
    Refused,
    Cancelled,
    Died,
    Escaped,
    Withheld,
    Released,
}

/// Which site may take a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Sender,
    Destination,
    Either,
}

impl Step {
    /// All steps that follow a proposal.
    pub const LATER: [Self; 9] = [
        Self::Agreed,
        Self::Dispatched,
        Self::Received,
        Self::Refused,
        Self::Cancelled,
        Self::Died,
        Self::Escaped,
        Self::Withheld,
        Self::Released,
    ];

    /// Which site may take it.
    #[must_use]
    pub const fn side(self) -> Side {
        match self {
            Self::Proposed | Self::Dispatched | Self::Cancelled => Side::Sender,
            Self::Agreed | Self::Received | Self::Refused => Side::Destination,
            Self::Died | Self::Escaped | Self::Withheld | Self::Released => Side::Either,
        }
    }

    /// Where it leads from `state`; none where it cannot be taken there.
    #[must_use]
    pub const fn from(self, state: State) -> Option<State> {
        use State as S;
        match (self, state) {
            (Self::Agreed, S::Proposed) => Some(S::Agreed),
            (Self::Refused, S::Proposed | S::Agreed) => Some(S::Refused),
            // On the way the sender still answers for the animal, so it may turn it back.
            (Self::Cancelled, S::Proposed | S::Agreed | S::Dispatched) => Some(S::Cancelled),
            (Self::Dispatched, S::Agreed) => Some(S::Dispatched),
            (Self::Received, S::Dispatched) => Some(S::Received),
            (Self::Died, S::Dispatched) => Some(S::Died),
            (Self::Escaped, S::Dispatched) => Some(S::Escaped),
            (Self::Withheld | Self::Released, S::Proposed | S::Agreed) => Some(state),
            _ => None,
        }
    }

    /// What the fields that say when it was are called, without `_at` and `_on`.
    #[must_use]
    pub const fn field(self) -> &'static str {
        match self {
            Self::Proposed => "proposed",
            Self::Agreed => "agreed",
            Self::Dispatched => "dispatched",
            Self::Received => "received",
            Self::Died | Self::Escaped => "lost",
            Self::Refused => "refused",
            Self::Cancelled => "cancelled",
            Self::Withheld => "withheld",
            Self::Released => "released",
        }
    }

    /// As a verb for "it cannot be …".
    #[must_use]
    pub const fn spoken(self) -> &'static str {
        match self {
            Self::Proposed => "proposed",
            Self::Agreed => "agreed",
            Self::Dispatched => "dispatched",
            Self::Received => "received",
            Self::Refused => "refused",
            Self::Cancelled => "cancelled",
            Self::Died => "ended by a death on the way",
            Self::Escaped => "ended by an escape on the way",
            Self::Withheld => "withheld",
            Self::Released => "released",
        }
    }
}

/// Whether the title passes with the animal.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Terms {
    TitlePasses,
    Loan,
}

/// A step that was taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepTaken {
    pub step: Step,
    pub state: State,
    pub site: String,
    /// Empty where the caller may not see the person.
    pub person: String,
    pub happened_at: DateTime<Utc>,
    /// Whether only the day is known.
    pub day_only: bool,
    pub recorded_at: DateTime<Utc>,
    pub note: String,
}

/// A transfer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Transfer {
    pub id: Uuid,
    pub animal: Uuid,
    pub house_name: String,
    pub taxon: String,
    pub sex: Sex,
    /// First and last day that it can have been born.
    pub born: Option<(NaiveDate, NaiveDate)>,
    pub from_site: String,
    pub to_site: String,
    pub from_accession: String,
    pub to_accession: String,
    pub state: State,
    pub terms: Terms,
    pub loan_until: Option<NaiveDate>,
    pub planned_on: Option<NaiveDate>,
    pub why: String,
    pub withheld: bool,
    pub steps: Vec<StepTaken>,
    pub missing: Vec<String>,
    pub version: i64,
}

/// A transfer to propose.
#[derive(Clone, Debug)]
pub struct NewTransfer {
    pub animal: String,
    pub to_site: String,
    pub terms: Terms,
    pub loan_until: Option<NaiveDate>,
    pub planned_on: Option<NaiveDate>,
    pub why: String,
    /// When it was proposed; now where none.
    pub when: Option<Moment>,
    /// Who agreed for the owner; may be empty.
    pub owner_agreed: String,
}

/// A step to take.
#[derive(Clone, Debug)]
pub struct NewStep {
    pub transfer: Uuid,
    pub step: Step,
    /// When it happened; now where none.
    pub when: Option<Moment>,
    pub note: String,
    /// Version that this was based on; 0 to skip the guard.
    pub version: i64,
    /// For a receipt, the enclosure the animal goes into; may be empty.
    pub enclosure: String,
    /// For a dispatch, why it leaves with an open concern; may be empty.
    pub despite: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    const STATES: [State; 8] = [
        State::Proposed,
        State::Agreed,
        State::Dispatched,
        State::Received,
        State::Refused,
        State::Cancelled,
        State::Died,
        State::Escaped,
    ];

    #[test]
    fn nothing_follows_an_end() {
        for state in STATES.into_iter().filter(|state| !state.is_open()) {
            for step in Step::LATER {
                assert_eq!(step.from(state), None, "{step:?} from {state:?}");
            }
        }
    }

    #[test]
    fn there_is_one_way_to_receipt() {
        let to = |wanted: State| {
            STATES
                .into_iter()
                .flat_map(|state| Step::LATER.map(|step| (state, step)))
                .filter(|(state, step)| *state != wanted && step.from(*state) == Some(wanted))
                .map(|(state, _)| state)
                .collect::<Vec<_>>()
        };
        assert_eq!(to(State::Received), [State::Dispatched]);
        assert_eq!(to(State::Dispatched), [State::Agreed]);
        assert_eq!(to(State::Agreed), [State::Proposed]);
    }
}
