//! Refusals and faults as gRPC statuses: the only place where one is built.

use crate::model::reason::{Kind, Reason};
use crate::records::error::{Error, Refusal};
use crate::store;
use holt_proto::ERROR_DOMAIN;
use std::collections::HashMap;
use std::time::Duration;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, PreconditionViolation, QuotaViolation, StatusExt};
use uuid::Uuid;

/// When trying again may be worth it, where the refusal does not say.
const SOON: Duration = Duration::from_secs(1);

const fn code(kind: Kind) -> Code {
    match kind {
        Kind::Malformed => Code::InvalidArgument,
        Kind::NotSignedIn => Code::Unauthenticated,
        Kind::NotAllowed => Code::PermissionDenied,
        Kind::NotFound => Code::NotFound,
        Kind::Exists => Code::AlreadyExists,
        Kind::WrongState => Code::FailedPrecondition,
        Kind::Changed => Code::Aborted,
        Kind::TooMuch => Code::ResourceExhausted,
        Kind::Late => Code::DeadlineExceeded,
        Kind::Away => Code::Unavailable,
        Kind::Fault => Code::Internal,
    }
}

/// A refusal as a status with its details.
#[must_use]
pub fn refused(refusal: Refusal) -> Status {
    let kind = refusal.reason.kind();
    let mut details = ErrorDetails::new();
    let mut facts: HashMap<String, String> =
        refusal.facts.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
    if !refusal.mend.is_empty() {
        facts.insert("mend".to_owned(), refusal.mend.clone());
    }
    details.set_error_info(refusal.reason.name(), ERROR_DOMAIN, facts);
    if !refusal.at.is_empty() {
        let violations = refusal.at.into_iter().map(|violation| {
            FieldViolation::new(violation.field, format!("{}; {}", violation.say, violation.mend))
        });
        details.set_bad_request(violations.collect::<Vec<_>>());
    }
    match kind {
        Kind::WrongState => {
            let violation = PreconditionViolation::new(refusal.reason.name(), "", refusal.say.clone());
            details.set_precondition_failure(vec![violation]);
        }
        Kind::TooMuch => {
            details.set_quota_failure(vec![QuotaViolation::new("calls", refusal.say.clone())]);
        }
        _ => {}
    }
    let retry = match kind {
        Kind::TooMuch | Kind::Away => Some(refusal.retry_after.unwrap_or(SOON)),
        Kind::Changed if refusal.reason == Reason::Contention => Some(SOON),
        _ => refusal.retry_after,
    };
    if let Some(retry) = retry {
        details.set_retry_info(Some(retry));
    }
    Status::with_error_details(code(kind), refusal.say, details)
}

/// What comes of a call that is not done, as a status. A fault is logged here, once, with an incident
/// number; the caller is told the number and no more.
#[must_use]
pub fn from(error: Error) -> Status {
    let fault = match error {
        Error::Refused(refusal) => return refused(*refusal),
        Error::Fault(fault) => fault,
    };
    match fault {
        store::Error::Contention => refused(Refusal::new(
            Reason::Contention,
            "others were changing the same records, each time this was tried",
            "send it again, with the same request id",
        )),
        store::Error::TimedOut => refused(late()),
        store::Error::Lost(what) => {
            tracing::warn!(error = what, "the database is away");
            refused(away())
        }
        fault => incident(&fault.to_string()),
    }
}

/// A fault of Holt's own: logged with a number, told by its number.
#[must_use]
pub fn incident(what: &str) -> Status {
    let incident = incident_number();
    tracing::error!(%incident, error = what, "a fault of Holt");
    refused(
        Refusal::new(
            Reason::Fault,
            format!("this is a fault of Holt (incident {incident})"),
            "tell whoever runs the server; the log has the cause under this number",
        )
        .fact("incident", incident.to_string()),
    )
}

#[expect(clippy::disallowed_methods, reason = "an incident's number is no record's identifier")]
fn incident_number() -> Uuid {
    Uuid::new_v4()
}

/// The deadline passed.
#[must_use]
pub fn late() -> Refusal {
    Refusal::new(
        Reason::DeadlinePassed,
        "the deadline passed before the answer was there",
        "a write may have been recorded: send it again with the same request id to learn",
    )
}

/// The database is away, or the server is stopping.
#[must_use]
pub fn away() -> Refusal {
    Refusal::new(Reason::Away, "the database is away, or the server is stopping", "try again in a moment")
}

/// More calls than are worked on at the same time.
#[must_use]
pub fn too_many_calls() -> Refusal {
    Refusal::new(Reason::TooMuch, "too many calls at the same time", "try again in a moment")
        .retry_after(SOON)
}

#[cfg(test)]
mod tests {
    use super::*;
    use holt_proto::v1::ErrorReason;

    const ALL: [Reason; 47] = [
        Reason::Malformed,
        Reason::NotSignedIn,
        Reason::SignInFailed,
        Reason::RefreshRefused,
        Reason::PasswordChangeNeeded,
        Reason::RoleNeeded,
        Reason::NotFound,
        Reason::AmbiguousAnimal,
        Reason::RequestIdReused,
        Reason::VersionPassed,
        Reason::Contention,
        Reason::Exists,
        Reason::AnimalNotHeldThen,
        Reason::AnimalDead,
        Reason::AnimalOnTheMove,
        Reason::InTheFuture,
        Reason::OutOfOrder,
        Reason::MassOutOfRange,
        Reason::ReadingConflicts,
        Reason::TransferWrongState,
        Reason::TransferOtherSite,
        Reason::TransferWithheld,
        Reason::TransferSameSite,
        Reason::TransponderInUse,
        Reason::TransponderMalformed,
        Reason::ParentDoesNotFit,
        Reason::RecurrenceMalformed,
        Reason::ProtocolMalformed,
        Reason::FindingDoesNotFit,
        Reason::ConcernSettled,
        Reason::PageTokenRefused,
        Reason::TooMuch,
        Reason::DeadlinePassed,
        Reason::Away,
        Reason::Fault,
        Reason::LastSteward,
        Reason::LitterTooFew,
        Reason::LedgerBroken,
        Reason::FactOfAnotherSite,
        Reason::MergeConflict,
        Reason::NotTheOwner,
        Reason::BetweenSites,
        Reason::ObservationDoesNotFit,
        Reason::HeldElsewhere,
        Reason::AmendmentWrongState,
        Reason::VersionNotNext,
        Reason::VersionNotAdopted,
    ];

    #[test]
    fn every_reason_is_in_the_proto_under_its_name() {
        for (n, reason) in ALL.into_iter().enumerate() {
            let proto = ErrorReason::from_str_name(&format!("ERROR_REASON_{}", reason.name()));
            assert_eq!(proto.map(|proto| proto as usize), Some(n + 1), "{reason:?}");
        }
    }

    #[test]
    fn a_refusal_carries_its_reason_its_facts_and_every_violation() {
        let refusal = Refusal::new(Reason::Malformed, "no", "yes").at("a.b").fact("name", "x");
        let status = refused(refusal);
        assert_eq!(status.code(), Code::InvalidArgument);
        let info = status.get_details_error_info().unwrap();
        assert_eq!((info.reason.as_str(), info.domain.as_str()), ("MALFORMED", "holt.v1"));
        assert_eq!(info.metadata["name"], "x");
        assert_eq!(status.get_details_bad_request().unwrap().field_violations[0].field, "a.b");
    }
}
