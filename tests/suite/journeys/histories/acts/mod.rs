//! What people do: each act by chance a good one, or one that must be refused.

mod amendments;
mod care;
mod corrections;
mod litters;
mod lives;
mod merges;
mod moves;
mod people;
mod weights;

use super::player::Player;
use tonic::Status;

/// How likely each act is, next to the others.
const ACTS: [(Act, usize); 29] = [
    (Act::Birth, 5),
    (Act::Arrival, 6),
    (Act::Litter, 4),
    (Act::InLitter, 6),
    (Act::ToldApart, 5),
    (Act::CorrectLitter, 2),
    (Act::Sex, 4),
    (Act::Death, 4),
    (Act::PostMortem, 1),
    (Act::Departure, 3),
    (Act::Mark, 6),
    (Act::Weigh, 12),
    (Act::Doubt, 4),
    (Act::Settle, 2),
    (Act::Crate, 1),
    (Act::Assess, 4),
    (Act::State, 5),
    (Act::Place, 5),
    (Act::Group, 6),
    (Act::Encounter, 3),
    (Act::Move, 28),
    (Act::Title, 3),
    (Act::Loan, 3),
    (Act::Correct, 14),
    (Act::NeverWas, 3),
    (Act::Parents, 3),
    (Act::Amend, 6),
    (Act::Merge, 9),
    (Act::People, 2),
];

#[derive(Clone, Copy, Debug)]
enum Act {
    Birth,
    Arrival,
    Litter,
    InLitter,
    ToldApart,
    CorrectLitter,
    Sex,
    Death,
    PostMortem,
    Departure,
    Mark,
    Weigh,
    Doubt,
    Settle,
    Crate,
    Assess,
    State,
    Place,
    Group,
    Encounter,
    Move,
    Title,
    Loan,
    Correct,
    NeverWas,
    Parents,
    Amend,
    Merge,
    People,
}

impl Player {
    /// Does something. What came of it is on the tally; a refusal is an answer like another.
    pub(super) async fn act(&mut self) {
        let few = self.known().beasts.len() < 3;
        let act = if few && !self.one_in(5) { Act::Arrival } else { self.some_act() };
        // What is not there to be done anything about comes to nothing.
        let _: Option<Result<(), Status>> = match act {
            Act::Birth => Some(self.birth().await),
            Act::Arrival => Some(self.arrival().await),
            Act::Litter => Some(self.litter().await),
            Act::InLitter => self.in_litter().await,
            Act::ToldApart => self.told_apart().await,
            Act::CorrectLitter => self.correct_litter().await,
            Act::Sex => self.sex().await,
            Act::Death => self.death().await,
            Act::PostMortem => self.post_mortem().await,
            Act::Departure => self.departure().await,
            Act::Mark => self.mark().await,
            Act::Weigh => self.weigh().await,
            Act::Doubt => self.doubt().await,
            Act::Settle => self.settle().await,
            Act::Crate => self.crate_reading().await,
            Act::Assess => self.assess().await,
            Act::State => self.state().await,
            Act::Place => self.place().await,
            Act::Group => self.group().await,
            Act::Encounter => self.encounter().await,
            Act::Move => self.moves().await,
            Act::Title => self.title().await,
            Act::Loan => self.loan().await,
            Act::Correct => Box::pin(self.correct()).await,
            Act::Parents => self.parents().await,
            Act::NeverWas => self.never_was().await,
            Act::Amend => self.amend().await,
            Act::Merge => self.merge().await,
            Act::People => Some(self.people().await),
        };
    }

    fn some_act(&mut self) -> Act {
        let mut at = self.chance.below(ACTS.iter().map(|(_, weight)| weight).sum());
        for (act, weight) in ACTS {
            match at.checked_sub(weight) {
                Some(rest) => at = rest,
                None => return act,
            }
        }
        Act::Weigh
    }
}
