//! Somebody who does one thing after another, drawn by chance, and what all who play a history know of it.

use super::stage::{Actor, SPECIES, Stage, ZONES};
use super::tally::{Tally, brief};
use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use holt_audit::chance::Chance;
use holt_proto::call::Call;
use holt_proto::v1;
use holt_server::clock::Clock;
use holt_server::model::person::Role;
use std::fmt::Write;
use std::sync::{Arc, Mutex, MutexGuard};
use tonic::Status;
use tonic_types::StatusExt;

/// Writers of whom none is refused because another was quicker know of one another; faults nobody may meet.
const FAULTS: [&str; 5] = ["FAULT", "AWAY", "DEADLINE_PASSED", "LEDGER_BROKEN", "TOO_MUCH"];

/// One in so many writes is sent again once it was answered; one in so many goes out several times at once.
const AGAIN: usize = 8;
const AT_ONCE: usize = 12;

/// An animal, as far as is known.
#[derive(Clone, Debug)]
pub(super) struct Beast {
    pub(super) id: String,
    pub(super) species: usize,
    /// Where it was last, and where before.
    pub(super) site: usize,
    pub(super) was: Vec<usize>,
    /// Whether it died, left or was given up for another record.
    pub(super) over: bool,
    pub(super) marks: Vec<String>,
}

#[derive(Clone, Debug)]
pub(super) struct Move {
    pub(super) id: String,
    pub(super) animal: String,
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) state: v1::TransferState,
}

#[derive(Clone, Debug)]
pub(super) struct Merged {
    pub(super) id: String,
    pub(super) gone: String,
    pub(super) site: usize,
}

/// A change that a site proposed to another.
#[derive(Clone, Debug)]
pub(super) struct Proposed {
    pub(super) id: String,
    pub(super) animal: String,
    pub(super) from: usize,
    /// Of a merge, the site that is asked, and its record.
    pub(super) asked: Option<(usize, String)>,
}

/// What those who play know of one another's work, and may be wrong about by the time they act on it.
#[derive(Default)]
pub(super) struct Known {
    pub(super) beasts: Vec<Beast>,
    pub(super) litters: Vec<(String, usize)>,
    pub(super) moves: Vec<Move>,
    pub(super) merges: Vec<Merged>,
    pub(super) encounters: Vec<(String, usize)>,
    /// Records that were withdrawn, and the site that did.
    pub(super) never: Vec<(String, usize)>,
    /// Amendments that are open.
    pub(super) amendments: Vec<Proposed>,
    /// Merges that two sites agreed on, by the amendment that made them.
    pub(super) agreed: Vec<Proposed>,
    words: usize,
}

impl Known {
    pub(super) fn change(&mut self, animal: &str, change: impl FnOnce(&mut Beast)) {
        if let Some(beast) = self.beasts.iter_mut().find(|beast| beast.id == animal) {
            change(beast);
        }
    }
}

/// Somebody who plays.
pub(super) struct Player {
    pub(super) stage: Arc<Stage>,
    pub(super) known: Arc<Mutex<Known>>,
    pub(super) tally: Arc<Mutex<Tally>>,
    pub(super) chance: Chance,
    /// Whether nobody else plays at the same time.
    pub(super) alone: bool,
}

/// The reason of a refusal; the code where none is given.
pub(super) fn reason_of(status: &Status) -> String {
    status.get_details_error_info().map_or_else(|| format!("{:?}", status.code()), |info| info.reason)
}

pub(super) fn is_fault(reason: &str) -> bool {
    FAULTS.contains(&reason) || ["Internal", "Unknown", "Unavailable", "Cancelled"].contains(&reason)
}

impl Player {
    /// Asks for a write as somebody, perhaps more than once, and keeps count of what came of it.
    pub(super) async fn ask<C: Call>(&mut self, who: &Actor, call: C) -> Result<C::Answer, Status> {
        let at_once = self.one_in(AT_ONCE);
        let mut answers = if at_once {
            let (one, two, three) = tokio::join!(
                who.client.send(call.clone()),
                who.client.send(call.clone()),
                who.client.send(call.clone())
            );
            vec![one, two, three]
        } else {
            vec![who.client.send(call.clone()).await]
        };
        // A refusal is not kept: of copies sent at once, one may be refused and the next be right, where somebody else
        // did in between what it waited for.
        if !self.alone
            && let Some(done) = answers.iter().position(Result::is_ok)
        {
            answers.swap(0, done);
            answers.retain(Result::is_ok);
        }
        if answers[0].is_ok() && self.one_in(AGAIN) {
            answers.push(who.client.send(call.clone()).await);
        }
        let mut line = brief(&format!("{} {call:?}", who.part.name));
        let mut tally = self.tally.lock().unwrap();
        tally.asked += 1;
        tally.copies += answers.len() - 1;
        match &answers[0] {
            Ok(_) => {
                tally.accepted += 1;
                *tally.of.entry(C::METHOD).or_default() += 1;
                line.push_str(" => done");
                tally.acts.push(line);
            }
            Err(status) => {
                let reason = reason_of(status);
                write!(line, " => {reason}: {}", status.message()).unwrap();
                tally.acts.push(line);
                if is_fault(&reason) || (self.alone && !at_once && reason == "CONTENTION") {
                    tally.violated(&format!("{} met {reason}: {}", C::METHOD, status.message()));
                }
                *tally.refused.entry(reason).or_default() += 1;
            }
        }
        let same = |other: &Result<C::Answer, Status>| match (&answers[0], other) {
            (Ok(one), Ok(other)) => one == other,
            (Err(_), Err(_)) => true,
            _ => false,
        };
        if !answers.iter().all(same) {
            tally.violated(&format!("copies of one {} were answered differently: {answers:?}", C::METHOD));
        }
        drop(tally);
        answers.swap_remove(0)
    }

    pub(super) fn one_in(&mut self, n: usize) -> bool {
        self.chance.below(n) == 0
    }

    pub(super) fn pick<T: Clone>(&mut self, of: &[T]) -> Option<T> {
        of.get(self.chance.below(of.len())).cloned()
    }

    pub(super) fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap()
    }

    pub(super) fn request(&self) -> String {
        self.stage.house.request()
    }

    pub(super) fn code(&self, site: usize) -> String {
        self.stage.codes[site].clone()
    }

    pub(super) fn now(&self) -> DateTime<Utc> {
        self.stage.house.clock.now()
    }

    /// Today at a site, or some days before; now and then the day after.
    pub(super) fn lately(&mut self, site: usize) -> NaiveDate {
        let today = self.now().with_timezone(&ZONES[site]).date_naive();
        if self.one_in(40) {
            return today + Days::new(1);
        }
        today - Days::new([0, 0, 0, 1, 1, 2, 4, 9][self.chance.below(8)])
    }

    /// Now, or some hours or days before; now and then a while to come.
    pub(super) fn instant(&mut self) -> DateTime<Utc> {
        let back = [0, 0, 0, 1, 5, 20, 70, 200, -2][self.chance.below(9)];
        self.now() - TimeDelta::hours(back)
    }

    /// Somebody with one of these roles at a site; now and then anybody.
    pub(super) fn who(&mut self, roles: &[Role], site: usize) -> Arc<Actor> {
        let all = self.stage.actors.clone();
        let fit: Vec<_> = all.iter().filter(|actor| actor.has(roles, site)).cloned().collect();
        let anybody = self.one_in(25);
        self.pick(if anybody { &all } else { &fit }).unwrap()
    }

    pub(super) fn registrar(&mut self, site: usize) -> Arc<Actor> {
        self.who(&[Role::Registrar], site)
    }

    pub(super) fn keeper(&mut self, site: usize) -> Arc<Actor> {
        self.who(&[Role::Keeper], site)
    }

    pub(super) fn some_site(&mut self) -> usize {
        self.chance.below(3)
    }

    pub(super) fn species(&mut self) -> usize {
        // Few of the second, so that there are many who might be one animal, and some who might not.
        usize::from(self.one_in(4))
    }

    pub(super) fn taxon(species: usize) -> String {
        SPECIES[species].to_owned()
    }

    /// A word that nobody else uses, of ten characters.
    pub(super) fn word(&self, site: usize) -> String {
        let mut known = self.known();
        known.words += 1;
        format!("Nm{}{:05}", self.stage.codes[site].to_lowercase(), known.words)
    }

    /// A transponder code that no animal bears; of the code for tests in ISO 11784.
    pub(super) fn chip(&self) -> String {
        let mut known = self.known();
        known.words += 1;
        let place =
            self.stage.codes[0].bytes().take(2).fold(0, |n, letter| n * 26 + u32::from(letter - b'A'));
        format!("999{place:06}{:06}", known.words)
    }

    /// Some animal, mostly one that is alive, and the site of those who will do something about it: mostly the one
    /// where it is, now and then one where it was, or any.
    pub(super) fn animal(&mut self) -> Option<(Beast, usize)> {
        let all = self.known().beasts.clone();
        let living: Vec<_> = all.iter().filter(|beast| !beast.over).cloned().collect();
        let any = living.is_empty() || self.one_in(8);
        let beast = self.pick(if any { &all } else { &living })?;
        let site = match self.chance.below(20) {
            0 => self.some_site(),
            1 | 2 if !beast.was.is_empty() => self.pick(&beast.was)?,
            _ => beast.site,
        };
        Some((beast, site))
    }

    /// How somebody would name an animal: mostly by its identifier, now and then by a mark.
    pub(super) fn spoken(&mut self, beast: &Beast) -> String {
        match self.pick(&beast.marks) {
            Some(mark) if self.one_in(3) => mark,
            _ => beast.id.clone(),
        }
    }
}
