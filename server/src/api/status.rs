//! Refusals and faults as gRPC statuses: the only place where one is built.

use crate::model::reason::{Kind, Reason};
use crate::records::error::{Error, Refusal, Violation};
use crate::store;
use holt_proto::ERROR_DOMAIN;
use holt_proto::notation::text::clipped;
use std::collections::HashMap;
use std::time::Duration;
use tonic::{Code, Status};
use tonic_types::{ErrorDetails, FieldViolation, PreconditionViolation, QuotaViolation, StatusExt};
use uuid::Uuid;

/// When trying again may be worth it, where the refusal does not say.
const SOON: Duration = Duration::from_secs(1);

/// Fields that are told of, at most: whoever sent five thousand that are wrong mends them by a rule and not one by
/// one.
const MOST_VIOLATIONS: usize = 20;

/// Bytes of them, at most. Ordinary clients take 8 KiB of trailers, and there the details stand in Base64.
const MOST_BYTES: usize = 3_000;

/// Characters of a sentence, at most: a sentence says what is wrong and does not repeat what was sent.
const MOST_CHARACTERS: usize = 300;

/// Characters of a fact for programs, at most: the contradictions of a merge, ten of them, are the longest.
const MOST_FACT: usize = 3_000;

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
    let say = clipped(&refusal.say, MOST_CHARACTERS).into_owned();
    let mut facts: HashMap<String, String> = refusal
        .facts
        .into_iter()
        .map(|(name, value)| (name.to_owned(), clipped(&value, MOST_FACT).into_owned()))
        .collect();
    if !refusal.mend.is_empty() {
        facts.insert("mend".to_owned(), clipped(&refusal.mend, MOST_CHARACTERS).into_owned());
    }
    details.set_error_info(refusal.reason.name(), ERROR_DOMAIN, facts);
    if !refusal.at.is_empty() {
        details.set_bad_request(violations(refusal.at));
    }
    match kind {
        Kind::WrongState => {
            let violation = PreconditionViolation::new(refusal.reason.name(), "", say.clone());
            details.set_precondition_failure(vec![violation]);
        }
        Kind::TooMuch => {
            details.set_quota_failure(vec![QuotaViolation::new("calls", say.clone())]);
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
    Status::with_error_details(code(kind), say, details)
}

/// The first violations, as many as a client takes, and how many more there are.
fn violations(all: Vec<Violation>) -> Vec<FieldViolation> {
    let count = all.len();
    let mut told = Vec::new();
    let mut bytes = 0;
    for Violation { field, say, mend } in all {
        let field = clipped(&field, MOST_CHARACTERS / 2).into_owned();
        let description = clipped(&format!("{say}; {mend}"), MOST_CHARACTERS).into_owned();
        bytes += field.len() + description.len();
        if told.len() == MOST_VIOLATIONS || (bytes > MOST_BYTES && !told.is_empty()) {
            break;
        }
        told.push(FieldViolation::new(field, description));
    }
    if told.len() < count {
        let more = with_commas(count - told.len());
        told.push(FieldViolation::new("", format!("and {more} more")));
    }
    told
}

/// `4,980`.
fn with_commas(count: usize) -> String {
    let digits = count.to_string();
    let mut told = String::new();
    for (n, digit) in digits.chars().enumerate() {
        if n > 0 && (digits.len() - n).is_multiple_of(3) {
            told.push(',');
        }
        told.push(digit);
    }
    told
}

/// What the transport says of a message that it could not read, as a refusal of ours. What we refused ourselves has
/// details and stays as it is.
#[must_use]
pub fn unread(status: Status) -> Status {
    if !status.details().is_empty() {
        return status;
    }
    let (say, mend) = match status.code() {
        Code::Internal => (
            "the message could not be read",
            "send the message that the method asks for, encoded in Protobuf",
        ),
        Code::OutOfRange => ("the message is too large", "send it in several parts"),
        Code::Unimplemented => {
            let mend = "leave it uncompressed, and call a method of the contract";
            let refusal = Refusal::new(
                Reason::Malformed,
                "the message is compressed, or there is no such method",
                mend,
            );
            // The code is one that clients act on: they take it for the answer of an older server.
            let details = refused(refusal).details().to_vec();
            return Status::with_details(Code::Unimplemented, status.message(), details.into());
        }
        _ => return status,
    };
    refused(Refusal::new(Reason::Malformed, say, mend))
}

/// The same of an answer that is on its way.
#[must_use]
pub fn readable<B: Default>(answer: http::Response<B>) -> http::Response<B> {
    match Status::from_header_map(answer.headers()) {
        Some(status) if status.details().is_empty() && status.code() != Code::Ok => {
            unread(status).into_http()
        }
        _ => answer,
    }
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
            "others were changing the same records at each attempt",
            "send it again, with the same request id",
        )),
        store::Error::TimedOut => refused(late()),
        store::Error::Lost(what) => {
            tracing::warn!(error = what, "the database does not answer");
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
            "report it to whoever runs the server; the log has the cause under this number",
        )
        .fact("incident", incident.to_string()),
    )
}

#[expect(clippy::disallowed_methods, reason = "the number of an incident does not identify a record")]
fn incident_number() -> Uuid {
    Uuid::new_v4()
}

/// The deadline passed.
#[must_use]
pub fn late() -> Refusal {
    Refusal::new(
        Reason::DeadlinePassed,
        "the deadline passed before the answer was there",
        "a write may have been recorded: send it again with the same request id to find out",
    )
}

/// The database is away, or the server is stopping.
#[must_use]
pub fn away() -> Refusal {
    Refusal::new(
        Reason::Away,
        "the database does not answer, or the server is stopping",
        "try again in a moment",
    )
}

/// Nothing more of a request came.
#[must_use]
pub(super) fn silent() -> Refusal {
    Refusal::new(
        Reason::DeadlinePassed,
        "the rest of the request did not come in time",
        "send it again, with the same request id",
    )
}

/// More in one request than is taken.
#[must_use]
pub(super) fn too_large() -> Refusal {
    Refusal::new(
        Reason::Malformed,
        "the request is larger than the server takes at once",
        "send less at a time",
    )
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

    const ALL: [Reason; 49] = [
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
        Reason::ProposalWrongState,
        Reason::VersionNotNext,
        Reason::VersionNotAdopted,
        Reason::ReadingDoesNotWait,
        Reason::ConcernOpen,
    ];

    #[test]
    fn every_reason_is_in_the_proto_under_its_name() {
        for (n, reason) in ALL.into_iter().enumerate() {
            let proto = ErrorReason::from_str_name(&format!("ERROR_REASON_{}", reason.name()));
            assert_eq!(proto.map(|proto| proto as usize), Some(n + 1), "{reason:?}");
        }
    }

    /// What ordinary clients take is 8 KiB of trailers; the details go in Base64, and the message in per cents.
    #[test]
    fn five_thousand_violations_fit_into_the_trailers() {
        for (field, say) in [("readings[0].mass", "is missing"), ("a", &*"ü".repeat(5_000))] {
            let violation =
                Violation { field: field.to_owned(), say: say.to_owned(), mend: "fill it in".to_owned() };
            let status = refused(Refusal::malformed(vec![violation; 5_000]));
            let told = status.get_details_bad_request().unwrap().field_violations;
            assert!(told.len() <= MOST_VIOLATIONS + 1);
            let more = format!("and {} more", with_commas(5_001 - told.len()));
            assert_eq!(told.last().unwrap().description, more);
            assert!(status.details().len() * 4 / 3 + status.message().len() * 3 < 7_500, "{field}");
        }
        assert_eq!(with_commas(4_980), "4,980");
        assert_eq!(with_commas(20), "20");
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
