//! What the database says, told apart by SQLSTATE and constraint name.

use crate::model::reason::Reason;
use sea_orm::{DbErr, RuntimeErr, SqlxError};
use uuid::Uuid;

/// Why a statement or a transaction did not do what it was to do.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// A constraint refused it.
    #[error("the constraint {} refused it", .0.name)]
    Broken(Constraint),
    /// Lost a race: serialization failure, deadlock, or the same request answered meanwhile.
    #[error("lost a race")]
    Contention,
    /// The same request id with other content.
    #[error("request id {0} was used before with other content")]
    RequestReused(Uuid),
    /// What the caller shows has ended: a role was taken, a password changed, a sign-in ended everywhere.
    #[error("the sign-in has ended")]
    Ended,
    /// The time allowed was over.
    #[error("the time allowed was over")]
    TimedOut,
    /// The database is away, full or stopping.
    #[error("the database is away: {0}")]
    Lost(String),
    /// A row that does not mean what its column allows.
    #[error("table {table}, column {column}: {what}")]
    Corrupt {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// What is wrong.
        what: String,
    },
    /// A fault of ours.
    #[error("{0}")]
    Fault(String),
}

/// What a column holds, as the type that it is of.
pub(super) fn stored<T: serde::de::DeserializeOwned>(
    table: &'static str,
    column: &'static str,
    value: impl Into<serde_json::Value>,
) -> Result<T, Error> {
    serde_json::from_value(value.into()).map_err(|error| Error::corrupt(table, column, &error))
}

/// A constraint that refused a row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Constraint {
    /// Its name in the catalogue.
    pub name: String,
}

/// Constraints that people can run into although the rules asked before: two at once, mostly. With each,
/// why it refuses, what is wrong, and what to do instead. Those named `…_guard` and foreign keys are not
/// among them: they break only where Holt is wrong.
pub const REFUSALS: &[(&str, Reason, &str, &str)] = &[
    ("sites_code_key", Reason::Exists, "a site of this code exists", "choose another code"),
    (
        "enclosures_site_name_key",
        Reason::Exists,
        "an enclosure of this name exists at the site",
        "choose another name",
    ),
    ("people_pkey", Reason::Contention, "the person was recorded meanwhile", "send it again"),
    (
        "people_sign_in_name_key",
        Reason::Exists,
        "somebody has this sign-in name",
        "choose another sign-in name",
    ),
    ("grants_in_force_key", Reason::Exists, "the person has this role already", "nothing needs to be done"),
    (
        "animals_pkey",
        Reason::Exists,
        "an animal of this identifier is recorded at another site",
        "it came from there: move it by a transfer",
    ),
    ("taxon_names_scientific_name_key", Reason::Exists, "a species goes by this name", "use that one"),
    (
        "taxon_names_one_accepted_key",
        Reason::Contention,
        "somebody changed the species meanwhile",
        "look at it again",
    ),
    (
        "adoptions_one_a_day_key",
        Reason::Contention,
        "somebody adopted a version meanwhile",
        "look at it again",
    ),
    (
        "amendment_answers_pkey",
        Reason::Contention,
        "somebody answered the amendment meanwhile",
        "look at it again",
    ),
    ("births_one_key", Reason::Exists, "the animal already has a birth", "correct the recorded one"),
    ("parents_once_key", Reason::Exists, "this parent is already recorded", "nothing needs to be done"),
    ("parents_one_dam_key", Reason::Exists, "the animal already has a dam", "correct the recorded one"),
    (
        "parents_no_circle",
        Reason::ParentDoesNotFit,
        "by this, an animal would be its own ancestor",
        "look at their parents, and correct the wrong one first",
    ),
    (
        "sexings_one_a_day_key",
        Reason::Exists,
        "the animal already has a sex recorded for that day",
        "correct the recorded one",
    ),
    (
        "accessions_number_key",
        Reason::Contention,
        "somebody got this accession number meanwhile",
        "send it again",
    ),
    (
        "accession_counters_full",
        Reason::OutOfOrder,
        "the site has given out every accession number of this year, up to 99999",
        "tell whoever runs the server: somebody added a number that is far too high",
    ),
    ("accessions_one_a_site_key", Reason::Exists, "the animal has an accession at this site", "use that one"),
    (
        "litter_parents_once_key",
        Reason::Exists,
        "the litter has the same parent twice",
        "name each parent once",
    ),
    (
        "litter_parents_one_dam_key",
        Reason::Exists,
        "the litter already has a dam",
        "correct the recorded one",
    ),
    ("papers_once_key", Reason::Exists, "the animal already has this paper", "correct the recorded one"),
    (
        "loans_one_at_a_time",
        Reason::OutOfOrder,
        "the animal is on loan at that time",
        "look at all its loans again",
    ),
    ("loans_one_version_key", Reason::Contention, "somebody changed the loan meanwhile", "look at it again"),
    ("mistakes_once_key", Reason::Contention, "the record was withdrawn meanwhile", "look at it again"),
    ("merges_one_key", Reason::Contention, "the record was given up meanwhile", "look at it again"),
    (
        "deaths_once_key",
        Reason::AnimalDead,
        "the animal's death is already recorded",
        "correct the recorded one",
    ),
    (
        "marks_transponder_in_use",
        Reason::TransponderInUse,
        "this transponder is in force on another animal",
        "scan it again; if it is right, the other record is wrong: tell the registrar of that animal",
    ),
    (
        "holdings_one_holder",
        Reason::OutOfOrder,
        "somebody holds the animal at that time",
        "look at its holdings again",
    ),
    (
        "titles_one_owner",
        Reason::OutOfOrder,
        "somebody owns the animal at that time",
        "look at its owners again",
    ),
    (
        "placements_one_place",
        Reason::OutOfOrder,
        "the animal lives somewhere else at that time",
        "look at its enclosure again",
    ),
    (
        "devices_site_name_key",
        Reason::Exists,
        "a device of this name exists at the site",
        "choose another name",
    ),
    (
        "partner_terms_one_key",
        Reason::Contention,
        "somebody else changed what the site shows meanwhile",
        "look at it, and send it again",
    ),
    (
        "climate_rules_one_key",
        Reason::Contention,
        "somebody else changed the range meanwhile",
        "look at it, and send it again",
    ),
    (
        "encounter_limits_taxon_key",
        Reason::Contention,
        "somebody else set limits for the species meanwhile",
        "look at them, and send it again",
    ),
    (
        "encounter_limits_animal_key",
        Reason::Contention,
        "somebody else set limits for the animal meanwhile",
        "look at them, and send it again",
    ),
    (
        "enrichment_items_site_name_key",
        Reason::Contention,
        "somebody changed this item meanwhile",
        "look at it again",
    ),
    (
        "enrichment_terms_one_key",
        Reason::Contention,
        "somebody else changed the limits of the group meanwhile",
        "look at it, and send it again",
    ),
    (
        "enrichment_offers_one_version_key",
        Reason::Contention,
        "somebody changed the record meanwhile",
        "look at it again",
    ),
    ("foods_site_name_key", Reason::Contention, "somebody changed this food meanwhile", "look at it again"),
    (
        "feed_plans_one_key",
        Reason::Contention,
        "somebody else changed the feeding plan meanwhile",
        "look at it, and send it again",
    ),
    (
        "feeds_one_version_key",
        Reason::Contention,
        "somebody changed the record meanwhile",
        "look at it again",
    ),
    (
        "ethograms_code_version_key",
        Reason::Exists,
        "this version of the ethogram already exists",
        "load it as the next version",
    ),
    ("weight_states_pkey", Reason::Contention, "somebody weighed them meanwhile", "send it again"),
    ("weight_states_animal_key", Reason::Contention, "somebody weighed them meanwhile", "send it again"),
    ("weight_kinds_pkey", Reason::Contention, "somebody weighed others of them meanwhile", "send it again"),
    ("watches_pkey", Reason::Contention, "somebody began this observation meanwhile", "send it again"),
    (
        "watch_events_number_key",
        Reason::Contention,
        "an event of this number was recorded meanwhile",
        "send it again",
    ),
    (
        "groups_site_name_key",
        Reason::Exists,
        "a group of this name exists at the site",
        "choose another name",
    ),
    (
        "life_states_once_at_a_time",
        Reason::OutOfOrder,
        "the animal is already in this state at that time",
        "look at its states again, and give another time or correct that one",
    ),
    (
        "memberships_one_group",
        Reason::OutOfOrder,
        "the animal belongs to a group at that time",
        "look at its group again",
    ),
    (
        "weights_one_at_a_time_key",
        Reason::Contention,
        "a reading of the same animal and time was recorded meanwhile",
        "send it again",
    ),
    (
        "crate_readings_one_at_a_time_key",
        Reason::ReadingConflicts,
        "a reading of the same litter or group and time is already recorded",
        "give each reading its own time",
    ),
    (
        "transfers_one_open_key",
        Reason::AnimalOnTheMove,
        "the animal is on an open transfer",
        "finish, refuse or cancel that transfer first",
    ),
    (
        "transfer_steps_pkey",
        Reason::Contention,
        "somebody took a step of this transfer meanwhile",
        "look at it again",
    ),
    ("concerns_one_open_key", Reason::Contention, "the concern was raised meanwhile", "send it again"),
    ("concerns_one_open_device_key", Reason::Contention, "the concern was raised meanwhile", "send it again"),
    ("concerns_one_open_group_key", Reason::Contention, "the concern was raised meanwhile", "send it again"),
    (
        "concern_steps_pkey",
        Reason::Contention,
        "somebody took a step of this concern meanwhile",
        "look at it again",
    ),
    (
        "proposal_answers_pkey",
        Reason::Contention,
        "somebody answered the proposal meanwhile",
        "look at it again",
    ),
    (
        "protocols_code_version_key",
        Reason::Exists,
        "this version of the protocol already exists",
        "load it as the next version",
    ),
    (
        "growth_references_code_version_key",
        Reason::Exists,
        "this version of the reference curve already exists",
        "load it as the next version",
    ),
    (
        "standards_code_version_key",
        Reason::Exists,
        "this version of the standard already exists",
        "load it as the next version",
    ),
    (
        "checks_one_version_key",
        Reason::Contention,
        "somebody changed the check meanwhile",
        "look at it again",
    ),
    ("seals_pkey", Reason::Contention, "the ledger was sealed meanwhile", "send it again"),
    ("requests_pkey", Reason::Contention, "the same request was answered meanwhile", "send it again"),
];

impl Constraint {
    /// What people are told when it refuses: why, what is wrong, what to do instead. None where only a
    /// fault of Holt can break it.
    #[must_use]
    pub fn told(&self) -> Option<(Reason, &'static str, &'static str)> {
        let &(_, reason, say, mend) = REFUSALS.iter().find(|(name, ..)| *name == self.name)?;
        Some((reason, say, mend))
    }

    /// Whether trying the same again may go well: somebody was quicker, and now it shows.
    fn is_race(&self) -> bool {
        self.told().is_some_and(|(reason, ..)| reason == Reason::Contention)
    }
}

impl Error {
    /// A value in a row that its column's meaning does not allow.
    pub fn corrupt(table: &'static str, column: &'static str, what: &(impl ToString + ?Sized)) -> Self {
        Self::Corrupt { table, column, what: what.to_string() }
    }
}

impl From<DbErr> for Error {
    fn from(error: DbErr) -> Self {
        let sqlx = match &error {
            DbErr::Exec(RuntimeErr::SqlxError(e)) | DbErr::Query(RuntimeErr::SqlxError(e)) => e,
            DbErr::Conn(_) | DbErr::ConnectionAcquire(_) => return Self::Lost(error.to_string()),
            _ => return Self::Fault(error.to_string()),
        };
        match &**sqlx {
            SqlxError::Database(database) => {
                let state = database.code().unwrap_or_default();
                let constraint = database.constraint().map(|name| Constraint { name: name.to_owned() });
                match (&*state, constraint) {
                    ("23505" | "23P01", Some(constraint)) if constraint.is_race() => Self::Contention,
                    ("23503" | "23505" | "23514" | "23P01", Some(constraint)) => Self::Broken(constraint),
                    ("40001" | "40P01" | "55P03", _) => Self::Contention,
                    ("57014", _) => Self::TimedOut,
                    // The last is a database that lets nobody in, told to a connection that was to be made.
                    ("57P01" | "57P02" | "57P03" | "53300" | "55000", _) => Self::Lost(database.to_string()),
                    (state, _) if state.starts_with("08") => Self::Lost(database.to_string()),
                    _ => Self::Fault(format!("SQLSTATE {state}: {database}")),
                }
            }
            SqlxError::Io(_)
            | SqlxError::Tls(_)
            | SqlxError::PoolTimedOut
            | SqlxError::PoolClosed
            | SqlxError::WorkerCrashed => Self::Lost(error.to_string()),
            _ => Self::Fault(error.to_string()),
        }
    }
}

impl From<serde_json::Error> for Error {
    fn from(error: serde_json::Error) -> Self {
        Self::Fault(format!("JSON: {error}"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_told_apart() {
        let of = |name: &str| Constraint { name: name.to_owned() };
        assert_eq!(of("sites_code_key").told().unwrap().0, Reason::Exists);
        assert!(of("requests_pkey").is_race());
        assert!(of("weights_mass_guard").told().is_none());
    }
}
