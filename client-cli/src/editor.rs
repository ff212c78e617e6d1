//! A line typed at a terminal: with its history, and with names on Tab.

use crate::world::AskLine;
use rustyline::completion::Completer;
use rustyline::config::Behavior;
use rustyline::error::ReadlineError;
use rustyline::highlight::Highlighter;
use rustyline::hint::Hinter;
use rustyline::history::MemHistory;
use rustyline::validate::Validator;
use rustyline::{CompletionType, Config, Context, Editor, Helper};
use std::io;

/// What a word may be completed to.
struct Names(Vec<String>);

impl Helper for Names {}
impl Hinter for Names {
    type Hint = String;
}
impl Highlighter for Names {}
impl Validator for Names {}

impl Completer for Names {
    type Candidate = String;

    fn complete(&self, line: &str, end: usize, _: &Context<'_>) -> rustyline::Result<(usize, Vec<String>)> {
        Ok(completed(line.get(..end).unwrap_or_default(), &self.0))
    }
}

/// Where the last word of what was typed begins, and the names that begin like it; the only one with the space after it.
fn completed(typed: &str, names: &[String]) -> (usize, Vec<String>) {
    let begins = typed.rfind([' ', '+', ',']).map_or(0, |place| place + 1);
    let word = typed[begins..].to_lowercase();
    let fit = names.iter().filter(|name| name.to_lowercase().starts_with(&word));
    let mut fit: Vec<String> = fit.cloned().collect();
    if let [only] = fit.as_mut_slice() {
        only.push(' ');
    }
    (begins, fit)
}

/// Asks for lines on the terminal of this process; none where it cannot be used so.
#[must_use]
pub fn line_editor() -> Option<AskLine> {
    let config = Config::builder()
        .behavior(Behavior::PreferTerm)
        .completion_type(CompletionType::List)
        .auto_add_history(true)
        .build();
    let mut editor = Editor::<Names, MemHistory>::with_history(config, MemHistory::new()).ok()?;
    Some(Box::new(move |prompt, names| {
        editor.set_helper(Some(Names(names.to_vec())));
        match editor.readline(prompt) {
            Ok(line) => Ok(Some(line)),
            Err(ReadlineError::Eof) => Ok(None),
            Err(ReadlineError::Interrupted) => Err(io::ErrorKind::Interrupted.into()),
            Err(ReadlineError::Io(error)) => Err(error),
            Err(other) => Err(io::Error::other(other)),
        }
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_word_is_completed_to_the_names_that_begin_so() {
        let names = ["Saffron", "Sage", "Umber"].map(str::to_owned);
        for (typed, begins, wanted) in [
            ("sa", 0, vec!["Saffron", "Sage"]),
            ("06:40 um", 6, vec!["Umber "]),
            ("scan saf+u", 9, vec!["Umber "]),
            ("", 0, vec!["Saffron", "Sage", "Umber"]),
            ("zz", 0, vec![]),
        ] {
            let (at, found) = completed(typed, &names);
            assert_eq!((at, found), (begins, wanted.into_iter().map(str::to_owned).collect()), "{typed}");
        }
    }
}
