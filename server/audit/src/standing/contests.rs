//! Decided interactions, counted by who won against whom.

use crate::terms::Instant;

/// An interaction that one of the two clearly won.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Decided<A> {
    /// When it was seen.
    pub at: Instant,
    /// The one that stayed or took.
    pub winner: A,
    /// The one that yielded.
    pub loser: A,
}

/// An interaction that cannot be counted.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Misfit<A> {
    /// One of the two is not of the group.
    #[error("an interaction names an animal that is not of the group: {0:?}")]
    NotOfGroup(A),
    /// Winner and loser are the same.
    #[error("an animal cannot win against itself: {0:?}")]
    SameAnimal(A),
}

/// How often each animal of a group won against each other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contests<A> {
    animals: Vec<A>,
    /// Row by row, winners in rows.
    wins: Vec<u32>,
}

impl<A: Clone + Ord> Contests<A> {
    /// Counts the interactions of a group. Animals keep the order they are given in; one that was never
    /// seen to win or lose belongs to the group like any other.
    ///
    /// # Errors
    /// The first interaction that cannot be counted.
    pub fn of<'a>(animals: &[A], decided: impl IntoIterator<Item = &'a Decided<A>>) -> Result<Self, Misfit<A>>
    where
        A: 'a,
    {
        let mut contests = Self { animals: animals.to_vec(), wins: vec![0; animals.len() * animals.len()] };
        for Decided { winner, loser, .. } in decided {
            if winner == loser {
                return Err(Misfit::SameAnimal(winner.clone()));
            }
            let place = |animal: &A| {
                animals.iter().position(|a| a == animal).ok_or_else(|| Misfit::NotOfGroup(animal.clone()))
            };
            let at = place(winner)? * animals.len() + place(loser)?;
            contests.wins[at] += 1;
        }
        Ok(contests)
    }

    /// Animals, in the order of rows and columns.
    #[must_use]
    pub fn animals(&self) -> &[A] {
        &self.animals
    }

    /// How many animals there are.
    #[must_use]
    pub fn size(&self) -> usize {
        self.animals.len()
    }

    /// How often the animal at `winner` won against the one at `loser`, both counted from 0.
    #[must_use]
    pub fn wins(&self, winner: usize, loser: usize) -> u32 {
        self.wins[winner * self.animals.len() + loser]
    }

    /// All pairs of places, the smaller first.
    pub fn dyads(&self) -> impl Iterator<Item = (usize, usize)> + use<A> {
        let n = self.animals.len();
        (0..n).flat_map(move |i| (i + 1..n).map(move |j| (i, j)))
    }

    /// The dyads of which no decided interaction was seen: what scores say about these two rests on
    /// others alone.
    #[must_use]
    pub fn unseen(&self) -> Vec<(A, A)> {
        self.dyads_where(|a, b| a == 0 && b == 0)
    }

    /// The dyads in which both won equally often.
    #[must_use]
    pub fn tied(&self) -> Vec<(A, A)> {
        self.dyads_where(|a, b| a == b && a > 0)
    }

    fn dyads_where(&self, holds: impl Fn(u32, u32) -> bool) -> Vec<(A, A)> {
        self.dyads()
            .filter(|&(i, j)| holds(self.wins(i, j), self.wins(j, i)))
            .map(|(i, j)| (self.animals[i].clone(), self.animals[j].clone()))
            .collect()
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Contests from a table of wins, winners in rows; the animals are named by their place.
    pub(in super::super) fn table<const N: usize>(wins: [[u32; N]; N]) -> Contests<usize> {
        let mut decided = Vec::new();
        for (winner, row) in wins.iter().enumerate() {
            for (loser, &n) in row.iter().enumerate() {
                let one = Decided { at: Instant::UNIX_EPOCH, winner, loser };
                decided.extend(std::iter::repeat_n(one, n as usize));
            }
        }
        Contests::of(&(0..N).collect::<Vec<_>>(), &decided).unwrap()
    }

    #[test]
    fn unseen_and_tied_dyads_are_listed() {
        let contests = table([[0, 2, 1], [2, 0, 0], [0, 0, 0]]);
        assert_eq!(contests.unseen(), [(1, 2)]);
        assert_eq!(contests.tied(), [(0, 1)]);
    }

    #[test]
    fn interactions_that_cannot_be_counted_are_refused() {
        let one = |winner, loser| [Decided { at: Instant::UNIX_EPOCH, winner, loser }];
        assert_eq!(Contests::of(&["Ash", "Birch"], &one("Ash", "Cedar")), Err(Misfit::NotOfGroup("Cedar")));
        assert_eq!(Contests::of(&["Ash", "Birch"], &one("Ash", "Ash")), Err(Misfit::SameAnimal("Ash")));
    }
}
