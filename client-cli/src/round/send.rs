//! Sending a round: in parts that a server takes, each under a request id that is the same whenever the
//! same is sent, so that sending it twice records nothing twice.

use super::{Entry, Malformed};
use crate::failure::Failure;
use crate::session::Session;
use holt_proto::v1;
use uuid::Uuid;

/// Most readings that a server takes at once.
const PART: usize = 1000;

/// Names the identifiers of round files among all identifiers made of names (RFC 9562, 5.5).
const ROUND_FILES: Uuid = Uuid::from_u128(0x6f5b_0a5e_9d0c_4c52_8a1b_6b0f_7a3e_51d4);

/// How the request ids of a round are made.
pub(crate) enum Identity<'a> {
    /// A fresh one: what is typed twice is meant twice.
    Fresh,
    /// From a file's content, and from the options that change what it says.
    File { content: &'a [u8], options: String },
}

/// What became of one line of a round.
pub(crate) struct Answered {
    pub(crate) entry: Entry,
    /// The server's answer; none for what was no reading and was not sent.
    pub(crate) answer: Option<v1::ReadingAnswer>,
}

/// What became of a round, as far as it was sent.
#[derive(Default)]
pub(crate) struct Sent {
    /// In the order of the round.
    pub(crate) lines: Vec<Answered>,
    pub(crate) concerns: Vec<v1::Concern>,
    /// Scales that are off for all animals of a part of it.
    pub(crate) drifts: Vec<v1::ScaleDrift>,
    /// Why the rest was not sent.
    pub(crate) broke_off: Option<Failure>,
}

/// Sends a round.
pub(crate) async fn send(
    session: &Session,
    site: &str,
    entries: Vec<Entry>,
    identity: &Identity<'_>,
    validate_only: bool,
) -> Sent {
    let mut sent = Sent::default();
    let mut rest = entries.into_iter().peekable();
    for part in 0.. {
        let mut lines: Vec<Entry> = Vec::new();
        let mut readings: Vec<v1::Reading> = Vec::new();
        while readings.len() < PART
            && let Some(entry) = rest.next()
        {
            readings.extend(entry.reading.as_ref().ok().cloned());
            lines.push(entry);
        }
        if lines.is_empty() {
            break;
        }
        let mut answers = Vec::new().into_iter();
        if !readings.is_empty() {
            let request_id = identity.request_id(site, part);
            let round =
                v1::RecordWeightsRequest { request_id, site: site.to_owned(), readings, validate_only };
            match session.ask(round).await {
                Ok(answer) => {
                    for concern in answer.concerns {
                        // A later part may change what an earlier one raised.
                        sent.concerns.retain(|earlier| earlier.id != concern.id);
                        sent.concerns.push(concern);
                    }
                    sent.drifts.extend(answer.drifts);
                    answers = answer.answers.into_iter();
                }
                Err(failure) => {
                    sent.broke_off = Some(broken_off(failure, lines.first(), identity));
                    break;
                }
            }
        }
        sent.lines.extend(lines.into_iter().map(|entry| {
            let answer = if entry.reading.is_ok() { answers.next() } else { None };
            Answered { entry, answer }
        }));
    }
    sent
}

fn broken_off(failure: Failure, first: Option<&Entry>, identity: &Identity<'_>) -> Failure {
    let Identity::File { .. } = identity else { return failure };
    if failure.reason() == "REQUEST_ID_REUSED" {
        return failure.saying(
            "this file was sent before with another meaning",
            "`--at` meant another time then; if these are new readings, write their day: --at 2026-11-25",
        );
    }
    match first.and_then(|entry| entry.row) {
        Some(row) if row > 2 => {
            let rest = "were not sent: send the file again; nothing is recorded twice";
            let (say, mend) = (failure.say.clone(), format!("{}; rows {row} and on {rest}", failure.mend));
            failure.saying(say, mend)
        }
        _ => failure,
    }
}

impl Identity<'_> {
    fn request_id(&self, site: &str, part: usize) -> String {
        match self {
            Self::Fresh => crate::session::request_id(),
            Self::File { content, options } => {
                let mut name = format!("{site}\n{options}\n{part}\n").into_bytes();
                name.extend_from_slice(content);
                Uuid::new_v5(&ROUND_FILES, &name).to_string()
            }
        }
    }
}

impl Answered {
    /// What became of it.
    pub(crate) fn outcome(&self) -> v1::ReadingOutcome {
        self.answer.as_ref().map_or(v1::ReadingOutcome::Refused, v1::ReadingAnswer::outcome)
    }

    /// Why it was refused, by the server or already here.
    pub(crate) fn refusal(&self) -> Option<v1::ReadingRefusal> {
        match (&self.answer, &self.entry.reading) {
            (Some(answer), _) => answer.refusal.clone(),
            (None, Err(Malformed { column, say, mend })) => Some(v1::ReadingRefusal {
                reason: v1::ErrorReason::Malformed.into(),
                field: (*column).to_owned(),
                say: say.clone(),
                mend: mend.clone(),
            }),
            (None, Ok(_)) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_file_has_the_same_request_ids_and_anything_else_has_others() {
        let id = |content: &[u8], options: &str, site: &str, part| {
            Identity::File { content, options: options.to_owned() }.request_id(site, part)
        };
        let one = id(b"a", "--unit kg", "QUI", 0);
        assert_eq!(one, id(b"a", "--unit kg", "QUI", 0));
        for other in [
            id(b"b", "--unit kg", "QUI", 0),
            id(b"a", "--unit g", "QUI", 0),
            id(b"a", "--unit kg", "MER", 0),
            id(b"a", "--unit kg", "QUI", 1),
            Identity::Fresh.request_id("QUI", 0),
        ] {
            assert_ne!(one, other);
        }
    }
}
