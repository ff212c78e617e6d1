//! Sending animals to be taken in: all in one request, and all that is wrong told at once.

use super::{Entry, Fault, Place};
use crate::contract::Lives;
use crate::failure::Failure;
use crate::session::{Session, request_id};
use holt_proto::v1;
use prost::Message;

/// How much goes into one message: well below what a server takes.
const PORTION_BYTES: usize = 1 << 20;

/// How many animals go into one message.
const PORTION_LIVES: usize = 1000;

/// What became of an animal.
#[derive(Clone, Debug)]
pub(crate) struct Answered {
    pub(crate) name: String,
    pub(crate) place: Place,
    pub(crate) outcome: v1::LifeOutcome,
    pub(crate) animal_id: String,
    pub(crate) accession: String,
    pub(crate) faults: Vec<Fault>,
}

/// What became of all.
#[derive(Debug, Default)]
pub(crate) struct Sent {
    pub(crate) answers: Vec<Answered>,
    pub(crate) written: bool,
    pub(crate) taxa_added: Vec<String>,
    pub(crate) enclosures_added: Vec<String>,
    pub(crate) concerns: Vec<v1::Concern>,
    pub(crate) caution: String,
}

/// Sends animals. Where one of them could not be read, all are only checked, so that what else is wrong is told
/// with it.
pub(crate) async fn send(
    session: &Session,
    site: &str,
    entries: Vec<Entry>,
    check_only: bool,
) -> Result<Sent, Failure> {
    let unread = entries.iter().any(|entry| !entry.faults.is_empty());
    let lives: Vec<v1::Life> = entries.iter().map(|entry| entry.life.clone()).collect();
    let answer = session.ask(parcel(site, lives, check_only || unread)).await?;
    let answers = entries.into_iter().zip(answer.answers).map(|(entry, answer)| answered(entry, answer));
    Ok(Sent {
        answers: answers.collect(),
        written: answer.written,
        taxa_added: answer.taxa_added,
        enclosures_added: answer.enclosures_added,
        concerns: answer.concerns,
        caution: answer.caution,
    })
}

/// One request in as many messages as it needs.
fn parcel(site: &str, lives: Vec<v1::Life>, validate_only: bool) -> Lives {
    let mut messages = vec![v1::TakeInLivesRequest {
        request_id: request_id(),
        site: site.to_owned(),
        validate_only,
        lives: Vec::new(),
    }];
    let mut bytes = 0;
    for life in lives {
        let size = life.encoded_len();
        let full = |message: &v1::TakeInLivesRequest| {
            !message.lives.is_empty()
                && (message.lives.len() == PORTION_LIVES || bytes + size > PORTION_BYTES)
        };
        if messages.last().is_none_or(full) {
            messages.push(v1::TakeInLivesRequest::default());
            bytes = 0;
        }
        bytes += size;
        if let Some(message) = messages.last_mut() {
            message.lives.push(life);
        }
    }
    Lives(messages)
}

/// The answer to one animal, with its faults led back to where they were written.
fn answered(entry: Entry, answer: v1::LifeAnswer) -> Answered {
    let mut faults = entry.faults.clone();
    for flaw in &answer.flaws {
        let place = entry.place_of(&flaw.field);
        // What could not be read is told already.
        if !faults.iter().any(|fault| fault.place == place) {
            faults.push(Fault { place, say: flaw.say.clone(), mend: flaw.mend.clone() });
        }
    }
    Answered {
        outcome: if faults.is_empty() { answer.outcome() } else { v1::LifeOutcome::Refused },
        name: entry.name,
        place: entry.place,
        animal_id: answer.animal_id,
        accession: answer.accession,
        faults,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_request_is_cut_where_a_message_is_full_and_loses_nothing() {
        let life = |n: usize| v1::Life { id: n.to_string(), owner: "x".repeat(2000), ..Default::default() };
        let Lives(messages) = parcel("QUI", (0..1200).map(life).collect(), true);
        assert!(messages.len() > 2, "{}", messages.len());
        assert!(messages.iter().all(|message| message.encoded_len() < 2 * PORTION_BYTES));
        assert_eq!((messages[0].site.as_str(), messages[0].validate_only), ("QUI", true));
        assert!(
            messages[1..].iter().all(|message| message.request_id.is_empty() && !message.lives.is_empty())
        );
        let ids: Vec<_> =
            messages.iter().flat_map(|message| &message.lives).map(|life| life.id.clone()).collect();
        assert_eq!(ids, (0..1200).map(|n| n.to_string()).collect::<Vec<_>>());
    }

    #[test]
    fn what_could_not_be_read_is_not_told_a_second_time() {
        let place = Place { file: "", row: Some(2), column: "Acquired".to_owned() };
        let mut entry = Entry::default();
        entry.note("stays[0]", place.clone());
        entry.wrong(place.clone(), "`soon` is not a day", "correct it");
        let flaw = |field: &str| v1::Flaw {
            field: field.to_owned(),
            say: "is missing".to_owned(),
            ..Default::default()
        };
        let answer =
            v1::LifeAnswer { flaws: vec![flaw("stays[0].began_on"), flaw("taxon")], ..Default::default() };
        let told = answered(entry, answer);
        let says: Vec<_> = told.faults.iter().map(|fault| fault.say.as_str()).collect();
        assert_eq!(says, ["`soon` is not a day", "is missing"]);
        assert_eq!(told.outcome, v1::LifeOutcome::Refused);
    }
}
