//! Lines that somebody types one after the other, or that are piped in.

use crate::failure::Failure;
use crate::output::Output;
use crate::world::AskLine;
use std::io::{self, BufRead, BufReader, Read};

/// Where lines come from.
pub(crate) struct Typing<'i> {
    lines: BufReader<&'i mut (dyn Read + Send)>,
    ask: Option<&'i mut AskLine>,
    is_terminal: bool,
    /// What a word may be completed to.
    names: Vec<String>,
}

impl<'i> Typing<'i> {
    pub(crate) fn new(
        stream: &'i mut (dyn Read + Send),
        ask: Option<&'i mut AskLine>,
        is_terminal: bool,
        names: Vec<String>,
    ) -> Self {
        Self { lines: BufReader::new(stream), ask: ask.filter(|_| is_terminal), is_terminal, names }
    }

    /// The next line; none at their end. `kept` is what to do with what was typed so far if lines break off.
    pub(crate) fn next(
        &mut self,
        output: &mut Output<'_>,
        prompt: &str,
        kept: impl Fn() -> String,
    ) -> Result<Option<String>, Failure> {
        let line = match &mut self.ask {
            Some(ask) => ask(prompt, &self.names),
            None => {
                if self.is_terminal {
                    output.prompt(prompt)?;
                }
                self.read()
            }
        };
        line.map_err(|error| match error.kind() {
            io::ErrorKind::Interrupted => Failure::refused("it was broken off, and is not recorded", kept()),
            _ => Failure::machine(format!("what you type cannot be read: {error}"), kept()),
        })
    }

    fn read(&mut self) -> io::Result<Option<String>> {
        let mut text = Vec::new();
        let more = self.lines.read_until(b'\n', &mut text)?;
        Ok((more > 0).then(|| String::from_utf8_lossy(&text).into_owned()))
    }
}
