//! What the command line touches of the world around it. `main` fills it from the process; tests fill it
//! with their own.

use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use std::io::{self, Read, Write};
use std::sync::Arc;

/// Shows a prompt and reads a line that is not shown.
pub type AskSecret = Box<dyn FnMut(&str) -> io::Result<String> + Send>;

/// Shows a prompt and reads a line, of which names can be completed; none at the end of the lines. Fails as interrupted
/// where somebody breaks off.
pub type AskLine = Box<dyn FnMut(&str, &[String]) -> io::Result<Option<String>> + Send>;

/// Tells the time.
pub type Clock = Arc<dyn Fn() -> DateTime<Utc> + Send + Sync>;

/// The world around one command.
pub struct World {
    /// Where input comes from.
    pub input: Box<dyn Read + Send>,
    /// Where results go.
    pub output: Box<dyn Write + Send>,
    /// Where everything else goes.
    pub errors: Box<dyn Write + Send>,
    /// How a password is asked for; called only where there is a terminal to ask on.
    pub ask_secret: AskSecret,
    /// How a line is asked for on a terminal; without it, lines come from the input as they are.
    pub ask_line: Option<AskLine>,
    /// Which of the streams are terminals.
    pub terminal: Terminal,
    /// The environment variables.
    pub environment: BTreeMap<String, String>,
    /// The time.
    pub clock: Clock,
}

/// Which of the streams are terminals, and how wide.
#[derive(Clone, Copy, Debug, Default)]
pub struct Terminal {
    /// Whether input comes from one.
    pub input: bool,
    /// Whether results go to one.
    pub output: bool,
    /// Whether errors go to one.
    pub errors: bool,
    /// Its width in columns, where known.
    pub width: Option<u16>,
}

impl World {
    /// An environment variable that is set and not empty.
    #[must_use]
    pub fn variable(&self, name: &str) -> Option<&str> {
        self.environment.get(name).map(String::as_str).filter(|value| !value.is_empty())
    }
}
