//! JSON: one object, whose keys are a contract.

use crate::failure::{Failure, Flaw};
use serde::Serialize;

pub(super) fn print(answer: &impl Serialize) -> Result<String, Failure> {
    let mut text =
        serde_json::to_string_pretty(answer).map_err(|error| Failure::machine(error.to_string(), ""))?;
    text.push('\n');
    Ok(text)
}

#[derive(Serialize)]
struct Failed<'a> {
    failed: What<'a>,
}

#[derive(Serialize)]
struct What<'a> {
    exit: u8,
    #[serde(skip_serializing_if = "str::is_empty")]
    reason: &'a str,
    say: &'a str,
    #[serde(skip_serializing_if = "str::is_empty")]
    mend: &'a str,
    #[serde(skip_serializing_if = "<[Flaw]>::is_empty")]
    fields: &'a [Flaw],
    #[serde(skip_serializing_if = "str::is_empty")]
    call: &'a str,
}

/// A failure as an object, on the stream of errors.
pub(super) fn failure(failure: &Failure) -> String {
    let failed = What {
        exit: failure.exit.into(),
        reason: failure.reason(),
        say: &failure.say,
        mend: &failure.mend,
        fields: &failure.flaws,
        call: failure.call(),
    };
    print(&Failed { failed }).unwrap_or_default()
}
