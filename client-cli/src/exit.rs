//! What the command line answers to the shell.

/// Exit codes. Scripts rely on them: they are never given another meaning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Exit {
    /// Done.
    Done = 0,
    /// A fault of Holt, or of this machine.
    Fault = 1,
    /// The command line is not understood.
    Usage = 2,
    /// Understood, and refused as entered: nothing, or not all of it, was recorded.
    Refused = 3,
    /// There is no such thing, or none that the caller may see.
    NotFound = 4,
    /// Not signed in, or the role is missing.
    NotAllowed = 5,
    /// Somebody changed it meanwhile.
    Changed = 6,
    /// No server, or none that answers in time.
    NoAnswer = 7,
    /// It was asked whether something is so, and it is not.
    No = 10,
}

/// The codes as the help tells them.
pub(crate) const EXPLAINED: &str = "\
Exit codes:
   0  done
   1  a fault of Holt, or of this machine
   2  the command line is not understood
   3  understood, and refused as entered
   4  there is no such thing, or none that you may see
   5  not signed in, or your role does not allow it
   6  somebody changed it meanwhile
   7  no server, or none that answers in time
  10  you asked whether something is so, and it is not (`holt due --ask`,
      `holt standard answer --ask`, `holt ledger verify`)";

impl From<Exit> for u8 {
    fn from(exit: Exit) -> Self {
        exit as Self
    }
}
