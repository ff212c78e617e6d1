//! Reasons of refusal, enumerated. `holt/v1/error_reason.proto` documents each.

use serde::{Deserialize, Serialize};

/// Why a request was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "SCREAMING_SNAKE_CASE")]
pub enum Reason {
    Malformed,
    NotSignedIn,
    SignInFailed,
    RefreshRefused,
    PasswordChangeNeeded,
    RoleNeeded,
    NotFound,
    AmbiguousAnimal,
    RequestIdReused,
    VersionPassed,
    Contention,
    Exists,
    AnimalNotHeldThen,
    AnimalDead,
    AnimalOnTheMove,
    InTheFuture,
    OutOfOrder,
    MassOutOfRange,
    ReadingConflicts,
    TransferWrongState,
    TransferOtherSite,
    TransferWithheld,
    TransferSameSite,
    TransponderInUse,
    TransponderMalformed,
    ParentDoesNotFit,
    RecurrenceMalformed,
    ProtocolMalformed,
    FindingDoesNotFit,
    ConcernSettled,
    PageTokenRefused,
    TooMuch,
    DeadlinePassed,
    Away,
    Fault,
    LastSteward,
    LitterTooFew,
    LedgerBroken,
    FactOfAnotherSite,
    MergeConflict,
    NotTheOwner,
    BetweenSites,
    ObservationDoesNotFit,
    HeldElsewhere,
    ProposalWrongState,
    VersionNotNext,
    VersionNotAdopted,
    ReadingDoesNotWait,
    ConcernOpen,
}

/// What kind of refusal a reason makes, which decides the status code.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    Malformed,
    NotSignedIn,
    NotAllowed,
    NotFound,
    Exists,
    WrongState,
    Changed,
    TooMuch,
    Late,
    Away,
    Fault,
}

impl Reason {
    /// The kind of refusal it makes.
    #[must_use]
    pub const fn kind(self) -> Kind {
        match self {
            Self::Malformed
            | Self::InTheFuture
            | Self::MassOutOfRange
            | Self::TransferSameSite
            | Self::TransponderMalformed
            | Self::RecurrenceMalformed
            | Self::ProtocolMalformed
            | Self::FindingDoesNotFit
            | Self::ObservationDoesNotFit
            | Self::PageTokenRefused => Kind::Malformed,
            Self::NotSignedIn | Self::SignInFailed | Self::RefreshRefused => Kind::NotSignedIn,
            Self::RoleNeeded | Self::TransferOtherSite | Self::FactOfAnotherSite | Self::HeldElsewhere => {
                Kind::NotAllowed
            }
            Self::NotFound => Kind::NotFound,
            Self::Exists | Self::RequestIdReused => Kind::Exists,
            Self::PasswordChangeNeeded
            | Self::AmbiguousAnimal
            | Self::AnimalNotHeldThen
            | Self::AnimalDead
            | Self::AnimalOnTheMove
            | Self::OutOfOrder
            | Self::ReadingConflicts
            | Self::TransferWrongState
            | Self::TransferWithheld
            | Self::TransponderInUse
            | Self::ParentDoesNotFit
            | Self::ConcernSettled
            | Self::LastSteward
            | Self::LitterTooFew
            | Self::LedgerBroken
            | Self::MergeConflict
            | Self::NotTheOwner
            | Self::ProposalWrongState
            | Self::VersionNotNext
            | Self::VersionNotAdopted
            | Self::ReadingDoesNotWait
            | Self::ConcernOpen
            | Self::BetweenSites => Kind::WrongState,
            Self::VersionPassed | Self::Contention => Kind::Changed,
            Self::TooMuch => Kind::TooMuch,
            Self::DeadlinePassed => Kind::Late,
            Self::Away => Kind::Away,
            Self::Fault => Kind::Fault,
        }
    }

    /// Name as in the proto, without its prefix: `ANIMAL_DEAD`.
    #[must_use]
    pub fn name(self) -> String {
        let mut name = String::new();
        for c in format!("{self:?}").chars() {
            if c.is_ascii_uppercase() && !name.is_empty() {
                name.push('_');
            }
            name.push(c.to_ascii_uppercase());
        }
        name
    }
}
