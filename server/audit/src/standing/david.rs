//! David's scores: how well an animal does against others, counting how well those do themselves.
//!
//! Sources: David 1987 (Biometrika 74:432); Gammell et al. 2003 (Animal Behaviour 66:601); normalised
//! scores, the index that corrects for chance and steepness: de Vries, Stevens & Vervaecke 2006 (Animal
//! Behaviour 71:585).

use super::contests::Contests;
use crate::stats::{count, least_squares};
use serde::Serialize;

/// What is taken as the strength of one animal against another.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub enum Index {
    /// The share won. One decided interaction counts as much as fifty.
    Pij,
    /// The share won, drawn towards a half where few were seen: (wins + ½) / (interactions + 1).
    Dij,
}

/// The score of one animal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Score<A> {
    /// Which.
    pub animal: A,
    /// Strength against all others, summed.
    pub wins: f64,
    /// The same, each weighed by that other's own `wins`.
    pub weighted_wins: f64,
    /// Strength of all others against it, summed.
    pub losses: f64,
    /// The same, each weighed by that other's own `losses`.
    pub weighted_losses: f64,
    /// David's score: wins and weighted wins less losses and weighted losses. All scores sum to zero.
    pub david: f64,
    /// David's score on a scale from 0 to the number of others.
    pub normalised: f64,
}

/// The order that the scores give.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ranking<A> {
    /// Highest score first; equals in the order of the group.
    pub scores: Vec<Score<A>>,
    /// How fast normalised scores fall with rank: 1 where each beats all below it, 0 where nobody is
    /// above anybody. `None` for fewer than two animals.
    pub steepness: Option<f64>,
    /// Dyads of which no decided interaction was seen.
    pub unseen: Vec<(A, A)>,
}

/// Ranks a group by David's scores.
#[must_use]
pub fn rank<A: Clone + Ord>(contests: &Contests<A>, index: Index) -> Ranking<A> {
    let n = contests.size();
    let strength = |i: usize, j: usize| {
        let (won, lost) = (f64::from(contests.wins(i, j)), f64::from(contests.wins(j, i)));
        match index {
            _ if won + lost < 1.0 => 0.0,
            Index::Pij => won / (won + lost),
            Index::Dij => (won + 0.5) / (won + lost + 1.0),
        }
    };
    let others = |i: usize| (0..n).filter(move |&j| j != i);
    let wins: Vec<f64> = (0..n).map(|i| others(i).map(|j| strength(i, j)).sum()).collect();
    let losses: Vec<f64> = (0..n).map(|i| others(i).map(|j| strength(j, i)).sum()).collect();
    let size = count(n);
    let mut scores: Vec<Score<A>> = (0..n)
        .map(|i| {
            let weighted_wins: f64 = others(i).map(|j| strength(i, j) * wins[j]).sum();
            let weighted_losses: f64 = others(i).map(|j| strength(j, i) * losses[j]).sum();
            let david = wins[i] + weighted_wins - losses[i] - weighted_losses;
            Score {
                animal: contests.animals()[i].clone(),
                wins: wins[i],
                weighted_wins,
                losses: losses[i],
                weighted_losses,
                david,
                normalised: (david + size * (size - 1.0) / 2.0) / size,
            }
        })
        .collect();
    scores.sort_by(|a, b| b.david.total_cmp(&a.david));
    let (ranks, normalised): (Vec<f64>, Vec<f64>) =
        scores.iter().enumerate().map(|(rank, score)| (count(rank + 1), score.normalised)).unzip();
    let steepness = least_squares::line(&ranks, &normalised).map(|line| line.coefficients[1].abs());
    Ranking { scores, steepness, unseen: contests.unseen() }
}

#[cfg(test)]
mod tests {
    use super::super::contests::tests::table;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_perfect_order_is_as_steep_as_can_be() {
        let told = rank(&table([[0, 3, 3, 3], [0, 0, 3, 3], [0, 0, 0, 3], [0, 0, 0, 0]]), Index::Pij);
        let order: Vec<_> = told.scores.iter().map(|s| s.animal).collect();
        assert_eq!(order, [0, 1, 2, 3]);
        let normalised: Vec<_> = told.scores.iter().map(|s| s.normalised).collect();
        assert!(normalised.iter().zip([3.0, 2.0, 1.0, 0.0]).all(|(a, b): (&f64, _)| (a - b).abs() < 1e-12));
        assert!((told.steepness.unwrap() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn one_animal_has_a_score_and_no_steepness() {
        let told = rank(&table([[0]]), Index::Dij);
        assert_eq!((told.scores.len(), told.steepness), (1, None));
    }

    fn five() -> impl Strategy<Value = [[u32; 5]; 5]> {
        prop::array::uniform5(prop::array::uniform5(0_u32..6)).prop_map(|mut wins| {
            for (i, row) in wins.iter_mut().enumerate() {
                row[i] = 0;
            }
            wins
        })
    }

    fn turned(wins: [[u32; 5]; 5]) -> [[u32; 5]; 5] {
        std::array::from_fn(|i| std::array::from_fn(|j| wins[j][i]))
    }

    proptest! {
        #[test]
        fn scores_sum_to_zero_and_a_turned_table_negates_them(wins in five()) {
            for index in [Index::Pij, Index::Dij] {
                let (told, reversed) = (rank(&table(wins), index), rank(&table(turned(wins)), index));
                let sum: f64 = told.scores.iter().map(|s| s.david).sum();
                prop_assert!(sum.abs() < 1e-9);
                for score in &told.scores {
                    let other = reversed.scores.iter().find(|s| s.animal == score.animal).unwrap();
                    prop_assert!((score.david + other.david).abs() < 1e-9);
                }
                prop_assert!((told.steepness.unwrap() - reversed.steepness.unwrap()).abs() < 1e-9);
            }
        }
    }
}
