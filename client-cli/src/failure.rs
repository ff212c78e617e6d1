//! Why a command is not done: what, where, and what to do instead.

use crate::exit::Exit;
use serde::Serialize;
use std::io;
use std::path::Path;
use tonic::{Code, Status};
use tonic_types::StatusExt;

/// The header that names a call in the server's log.
const CALL: &str = "x-request-id";

/// Something that was entered and is wrong.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(crate) struct Flaw {
    /// The argument, or the field as the contract names it.
    pub(crate) field: String,
    /// What is wrong.
    pub(crate) say: String,
    /// What to enter instead.
    pub(crate) mend: String,
}

/// Why a command is not done.
#[derive(Clone, Debug)]
pub(crate) struct Failure {
    pub(crate) exit: Exit,
    /// What is wrong.
    pub(crate) say: String,
    /// Where, if it is about what was entered.
    pub(crate) flaws: Vec<Flaw>,
    /// What to do instead; may be empty.
    pub(crate) mend: String,
    /// What the server said of it, where it did.
    answered: Option<Box<Answered>>,
}

/// What a server says of a call that it did not do.
#[derive(Clone, Debug)]
struct Answered {
    /// Its reason; empty where it gave none.
    reason: String,
    /// The number of the call in its log, where the fault is its own; empty otherwise.
    call: String,
}

impl Failure {
    fn new(exit: Exit, say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self { exit, say: say.into(), flaws: Vec::new(), mend: mend.into(), answered: None }
    }

    /// The command line, or a file that it leans on, is not understood.
    pub(crate) fn usage(say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Exit::Usage, say, mend)
    }

    /// Understood, and cannot be as entered.
    pub(crate) fn refused(say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Exit::Refused, say, mend)
    }

    /// No such thing.
    pub(crate) fn not_found(say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Exit::NotFound, say, mend)
    }

    /// Not signed in.
    pub(crate) fn not_signed_in(say: impl Into<String>) -> Self {
        Self::new(Exit::NotAllowed, say, "sign in: `holt sign-in NAME`")
    }

    /// No server, or none that answers in time.
    pub(crate) fn no_answer(say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Exit::NoAnswer, say, mend)
    }

    /// Something on this machine does not work.
    pub(crate) fn machine(say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self::new(Exit::Fault, say, mend)
    }

    /// A file cannot be used.
    pub(crate) fn file(what: &str, path: &Path, error: &io::Error) -> Self {
        Self::machine(
            format!("{what} {} cannot be used: {error}", path.display()),
            "see that the file is there and that you may read and write it",
        )
    }

    /// A file that was named on the command line cannot be read.
    pub(crate) fn named_file(path: &Path, error: &io::Error) -> Self {
        Self { exit: Exit::Usage, ..Self::file("the file", path, error) }
    }

    /// The same, in other words.
    pub(crate) fn saying(self, say: impl Into<String>, mend: impl Into<String>) -> Self {
        Self { say: say.into(), mend: mend.into(), ..self }
    }

    /// The same, about one argument or field.
    pub(crate) fn at(mut self, field: impl Into<String>) -> Self {
        self.flaws.push(Flaw { field: field.into(), say: self.say.clone(), mend: self.mend.clone() });
        self
    }

    /// A message that says what is wrong and, after a semicolon, what to write instead: as usage of an
    /// argument.
    pub(crate) fn argument(field: &str, message: &str) -> Self {
        let (say, mend) = message.split_once("; ").unwrap_or((message, ""));
        Self::usage(say, mend).at(field)
    }

    /// The server's reason; empty where it gave none.
    pub(crate) fn reason(&self) -> &str {
        self.answered.as_ref().map_or("", |answered| &answered.reason)
    }

    /// The number of the call in the server's log, where the fault is the server's; empty otherwise.
    pub(crate) fn call(&self) -> &str {
        self.answered.as_ref().map_or("", |answered| &answered.call)
    }
}

/// Output that nobody reads to the end is no failure.
impl From<io::Error> for Failure {
    fn from(error: io::Error) -> Self {
        if error.kind() == io::ErrorKind::BrokenPipe {
            return Self::new(Exit::Done, "", "");
        }
        Self::machine(format!("the output cannot be written: {error}"), "see where it goes, and try again")
    }
}

/// The command with which people follow the advice of a server, which knows no commands.
fn command(reason: &str) -> Option<&'static str> {
    match reason {
        "NOT_SIGNED_IN" | "REFRESH_REFUSED" => Some("holt sign-in NAME"),
        "PASSWORD_CHANGE_NEEDED" => Some("holt password"),
        "TRANSFER_SAME_SITE" => Some("holt place"),
        "CONCERN_OPEN" => Some("holt transfer dispatch --despite-concern"),
        "LITTER_TOO_FEW" => Some("holt litter show"),
        _ => None,
    }
}

/// What the server said no to, or failed at.
pub(crate) fn from_server(status: &Status) -> Failure {
    let details = status.get_error_details();
    let info = details.error_info();
    let reason = info.map(|info| info.reason.clone()).unwrap_or_default();
    let exit = match (status.code(), reason.as_str()) {
        (_, "PASSWORD_CHANGE_NEEDED") => Exit::NotAllowed,
        (Code::InvalidArgument | Code::FailedPrecondition | Code::AlreadyExists | Code::OutOfRange, _) => {
            Exit::Refused
        }
        (Code::NotFound, _) => Exit::NotFound,
        (Code::PermissionDenied | Code::Unauthenticated, _) => Exit::NotAllowed,
        (Code::Aborted, _) => Exit::Changed,
        (Code::Unavailable | Code::DeadlineExceeded | Code::ResourceExhausted, _) => Exit::NoAnswer,
        _ => Exit::Fault,
    };
    let mend = info.and_then(|info| info.metadata.get("mend")).map(|mend| match command(&reason) {
        Some(command) => format!("{mend}: `{command}`"),
        None => mend.clone(),
    });
    let flaws = details.bad_request().map(|bad| bad.field_violations.as_slice()).unwrap_or_default();
    let header = status.metadata().get(CALL).and_then(|value| value.to_str().ok());
    Failure {
        exit,
        say: match (status.code(), status.message()) {
            (Code::Unimplemented, _) => "this server does not know the call".to_owned(),
            (code, "") => format!("the server answered: {code}"),
            (_, message) => message.to_owned(),
        },
        flaws: flaws
            .iter()
            .map(|flaw| {
                let (say, mend) = flaw.description.split_once("; ").unwrap_or((&flaw.description, ""));
                Flaw { field: flaw.field.clone(), say: say.to_owned(), mend: mend.to_owned() }
            })
            .collect(),
        mend: mend.unwrap_or_else(|| match status.code() {
            Code::Unimplemented => "use a `holt` of the same version as the server".to_owned(),
            _ => String::new(),
        }),
        answered: Some(Box::new(Answered {
            reason,
            call: header.filter(|_| exit == Exit::Fault).unwrap_or_default().to_owned(),
        })),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;
    use tonic_types::ErrorDetails;

    fn refused(code: Code, reason: &str) -> Failure {
        let facts = HashMap::from([("mend".to_owned(), "do that".to_owned())]);
        let details = ErrorDetails::with_error_info(reason, "holt.v1", facts);
        let mut status = Status::with_error_details(code, "not this", details);
        status.metadata_mut().insert(CALL, "call-7".parse().unwrap());
        from_server(&status)
    }

    #[test]
    fn each_code_of_the_contract_has_its_exit() {
        for (code, reason, exit) in [
            (Code::InvalidArgument, "MALFORMED", Exit::Refused),
            (Code::FailedPrecondition, "ANIMAL_DEAD", Exit::Refused),
            (Code::FailedPrecondition, "PASSWORD_CHANGE_NEEDED", Exit::NotAllowed),
            (Code::AlreadyExists, "EXISTS", Exit::Refused),
            (Code::NotFound, "NOT_FOUND", Exit::NotFound),
            (Code::PermissionDenied, "ROLE_NEEDED", Exit::NotAllowed),
            (Code::Unauthenticated, "NOT_SIGNED_IN", Exit::NotAllowed),
            (Code::Aborted, "VERSION_PASSED", Exit::Changed),
            (Code::Unavailable, "AWAY", Exit::NoAnswer),
            (Code::DeadlineExceeded, "DEADLINE_PASSED", Exit::NoAnswer),
            (Code::ResourceExhausted, "TOO_MUCH", Exit::NoAnswer),
            (Code::Internal, "FAULT", Exit::Fault),
            (Code::Unimplemented, "", Exit::Fault),
        ] {
            assert_eq!(refused(code, reason).exit, exit, "{code:?} {reason}");
        }
    }

    #[test]
    fn the_number_of_a_call_is_told_for_faults_only() {
        assert_eq!(refused(Code::Internal, "FAULT").call(), "call-7");
        assert_eq!(refused(Code::NotFound, "NOT_FOUND").call(), "");
        assert_eq!(refused(Code::NotFound, "NOT_FOUND").mend, "do that");
    }

    #[test]
    fn advice_is_given_with_the_command_where_there_is_one() {
        assert_eq!(refused(Code::Unauthenticated, "NOT_SIGNED_IN").mend, "do that: `holt sign-in NAME`");
    }
}
