//! What comes of a rule that says no, and of a fault.

use crate::access::permit::Denied;
use crate::model::person::Role;
use crate::model::reason::Reason;
use crate::store;
use std::collections::BTreeMap;
use std::fmt;
use std::time::Duration;

/// One field that is not of its form.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    /// Path of the field: `readings[3].mass`.
    pub field: String,
    /// What is wrong, for people.
    pub say: String,
    /// What to do instead.
    pub mend: String,
}

/// A request that was understood and refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    pub reason: Reason,
    /// What is wrong, for people.
    pub say: String,
    /// What to do instead.
    pub mend: String,
    /// Which fields, where it is about fields.
    pub at: Vec<Violation>,
    /// Facts for programs.
    pub facts: BTreeMap<&'static str, String>,
    /// When it may be worth trying again.
    pub retry_after: Option<Duration>,
}

/// What comes of a call that is not done.
#[derive(Debug)]
pub enum Error {
    /// Refused, with a reason.
    Refused(Box<Refusal>),
    /// A fault: the database is away, or Holt is wrong.
    Fault(store::Error),
}

/// What comes of a call.
pub type Result<T> = std::result::Result<T, Error>;

impl Refusal {
    /// A refusal with its sentence and what to do instead.
    #[must_use]
    pub fn new(reason: Reason, say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self {
            reason,
            say: say.into(),
            mend: mend.into(),
            at: Vec::new(),
            facts: BTreeMap::new(),
            retry_after: None,
        }
    }

    /// The same with a fact for programs.
    #[must_use]
    pub fn fact(mut self, name: &'static str, value: impl Into<String>) -> Self {
        self.facts.insert(name, value.into());
        self
    }

    /// The same, about one field.
    #[must_use]
    pub fn at(mut self, field: impl Into<String>) -> Self {
        self.at.push(Violation { field: field.into(), say: self.say.clone(), mend: self.mend.clone() });
        self
    }

    /// The same, with a time after which trying again may be worth it.
    #[must_use]
    pub const fn retry_after(mut self, after: Duration) -> Self {
        self.retry_after = Some(after);
        self
    }

    /// Fields that are not of their form: all of them at once.
    #[must_use]
    pub fn malformed(at: Vec<Violation>) -> Self {
        let say = match at.as_slice() {
            [one] => format!("{}: {}", one.field, one.say),
            many => format!("{} fields are not valid", many.len()),
        };
        let mend = match at.as_slice() {
            [one] => one.mend.clone(),
            _ => "correct each field named".to_owned(),
        };
        Self { at, ..Self::new(Reason::Malformed, say, mend) }
    }

    /// No such thing, or not in the caller's scope: the same words for both.
    #[must_use]
    pub fn not_found(what: &str, name: &str) -> Self {
        Self::new(
            Reason::NotFound,
            format!("there is no {what} `{name}` that you may see"),
            format!("check the {what}, and the sites where you have a role"),
        )
        .fact("what", what)
        .fact("name", name)
    }

    /// The version that a change was based on has passed.
    #[must_use]
    pub fn version_passed(what: &str, version: i64) -> Self {
        Self::new(
            Reason::VersionPassed,
            format!("somebody changed the {what} meanwhile: it is at version {version}"),
            "look at it again and decide again",
        )
        .fact("version", version.to_string())
    }

    /// The time of something lies in the future.
    #[must_use]
    pub fn in_the_future(what: &str, field: &str) -> Self {
        Self::new(
            Reason::InTheFuture,
            format!("the {what} is in the future"),
            "record it after it has happened, or correct the time (and the machine's clock)",
        )
        .at(field)
    }
}

/// Something that should never be.
pub(crate) fn fault(what: String) -> Error {
    Error::Fault(store::Error::Fault(what))
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.say)
    }
}

impl From<Refusal> for Error {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(Box::new(refusal))
    }
}

impl From<Denied> for Error {
    fn from(denied: Denied) -> Self {
        Refusal::from(denied).into()
    }
}

impl From<Denied> for Refusal {
    fn from(denied: Denied) -> Self {
        match denied {
            Denied::OutOfScope { site } => Self::not_found("site", &site),
            Denied::RoleNeeded { site, roles } => {
                let roles = roles.iter().map(|role: &Role| role.as_str()).collect::<Vec<_>>().join(" or ");
                let place = if site.is_empty() { String::new() } else { format!(" at {site}") };
                Self::new(
                    Reason::RoleNeeded,
                    format!("this needs the role {roles}{place}"),
                    format!("ask a steward for the role, or a colleague who is {roles}{place}"),
                )
                .fact("role_needed", roles)
                .fact("site", site)
            }
        }
    }
}

impl From<store::Error> for Error {
    /// A broken constraint that a person can bring about is a refusal; the rest are faults.
    fn from(error: store::Error) -> Self {
        match error {
            store::Error::Broken(constraint) => match constraint.told() {
                Some((reason, say, mend)) => Refusal::new(reason, say, mend).into(),
                None => Self::Fault(store::Error::Broken(constraint)),
            },
            store::Error::RequestReused(id) => Refusal::new(
                Reason::RequestIdReused,
                format!("the request id {id} was used before with other content"),
                "make a fresh request id for each new request; send the old content to get the old answer",
            )
            .fact("request_id", id.to_string())
            .into(),
            store::Error::Ended => super::people::not_signed_in().into(),
            other => Self::Fault(other),
        }
    }
}

impl store::Raced for Error {
    fn lost_race(&self) -> bool {
        matches!(self, Self::Fault(store::Error::Contention))
    }
}
