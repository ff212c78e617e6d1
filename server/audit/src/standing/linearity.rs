//! Whether a group has a linear order: one above all, one below all, and no circles between.
//!
//! Sources: Landau 1951 (Bull Math Biophys 13:1) for h; Kendall's coefficient as used by Appleby 1983
//! (Animal Behaviour 31:600); de Vries 1995 (Animal Behaviour 50:1375) for h' and the randomisation
//! test. h' is here the exact mean over all ways to decide the unseen dyads, h + 6u/(n³−n) with u unseen
//! dyads, and not the mean of some draws: the sum of n squared numbers of victories has the variance of
//! one coin, 1/4, more for either animal of each unseen dyad.

use super::contests::Contests;
use crate::chance::Chance;
use crate::stats::count;
use serde::Serialize;

/// In groups smaller than this no order is significant: of the 2¹⁰ ways in which five animals can stand,
/// 120 are linear, which is more than one in twenty.
pub const FEWEST_ANIMALS: usize = 6;

/// How linear a group is.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Linearity<A> {
    /// Landau's h, from 0 to 1; unseen and tied dyads count half a victory for both.
    pub landau: f64,
    /// de Vries' h', corrected for unseen dyads.
    pub corrected: f64,
    /// Kendall's K, from 0 to 1, as Appleby uses it.
    pub kendall: f64,
    /// Dyads of which no decided interaction was seen.
    pub unseen: Vec<(A, A)>,
    /// Dyads in which both won equally often.
    pub tied: Vec<(A, A)>,
    /// Whether it is more than chance would give.
    pub verdict: Verdict,
}

/// Whether the order is more than chance would give.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// The group is smaller than [`FEWEST_ANIMALS`]: no order of it could be told from chance.
    TooFewAnimals,
    /// Chance gives so linear a group with probability `p`, below one in twenty.
    Linear {
        /// Share of random groups at least as linear.
        p: f64,
    },
    /// Chance gives so linear a group with probability `p`, which is not rare.
    NotShown {
        /// Share of random groups at least as linear.
        p: f64,
    },
}

/// Linearity of a group, tested against `draws` random ones from `seed`. `None` for fewer than three
/// animals, among which there is nothing to be linear.
#[must_use]
pub fn linearity<A: Clone + Ord>(contests: &Contests<A>, draws: u32, seed: u64) -> Option<Linearity<A>> {
    let n = contests.size();
    if n < 3 {
        return None;
    }
    let size = count(n);
    let cube = size.powi(3) - size;
    let (unseen, tied) = (contests.unseen(), contests.tied());
    let victories = victories(contests, |_, _| 0.5);
    let squares: f64 = victories.iter().map(|v| v * v).sum();
    let circles = size * (size - 1.0) * (2.0 * size - 1.0) / 12.0 - squares / 2.0;
    let most = if n.is_multiple_of(2) { size.powi(3) - 4.0 * size } else { cube };
    let landau = landau(&victories);
    Some(Linearity {
        landau,
        corrected: landau + 6.0 * count(unseen.len()) / cube,
        kendall: 1.0 - 24.0 * circles / most,
        unseen,
        tied,
        verdict: if n < FEWEST_ANIMALS {
            Verdict::TooFewAnimals
        } else {
            match p_value(contests, draws, &mut Chance::seeded(seed)) {
                p if p < 0.05 => Verdict::Linear { p },
                p => Verdict::NotShown { p },
            }
        },
    })
}

/// Number of others each animal is above. `undecided` says how much of a dyad without decision goes to
/// the first of the two.
fn victories<A: Clone + Ord>(
    contests: &Contests<A>,
    mut unseen: impl FnMut(usize, usize) -> f64,
) -> Vec<f64> {
    let mut victories = vec![0.0; contests.size()];
    for (i, j) in contests.dyads() {
        let (first, second) = (contests.wins(i, j), contests.wins(j, i));
        let share = match first.cmp(&second) {
            std::cmp::Ordering::Greater => 1.0,
            std::cmp::Ordering::Less => 0.0,
            std::cmp::Ordering::Equal if first > 0 => 0.5,
            std::cmp::Ordering::Equal => unseen(i, j),
        };
        victories[i] += share;
        victories[j] += 1.0 - share;
    }
    victories
}

fn landau(victories: &[f64]) -> f64 {
    let n = count(victories.len());
    let spread: f64 = victories.iter().map(|v| (v - (n - 1.0) / 2.0).powi(2)).sum();
    12.0 * spread / (n.powi(3) - n)
}

/// Share of random groups that are at least as linear as this one with its unseen dyads decided at
/// random. The group itself counts as one of them (Davison & Hinkley 1997, §4.2.5), so that no p is 0.
fn p_value<A: Clone + Ord>(contests: &Contests<A>, draws: u32, chance: &mut Chance) -> f64 {
    let mut as_linear = 0_u32;
    for _ in 0..draws {
        let mut coin = || f64::from(u8::from(chance.happens(0.5)));
        let observed = landau(&victories(contests, |_, _| coin()));
        let mut random = vec![0.0; contests.size()];
        for (i, j) in contests.dyads() {
            let first = coin();
            random[i] += first;
            random[j] += 1.0 - first;
        }
        // Sums of squares of whole and half numbers are exact; the division after them is not.
        if landau(&random) > observed - 1e-9 {
            as_linear += 1;
        }
    }
    f64::from(as_linear + 1) / (f64::from(draws) + 1.0)
}

#[cfg(test)]
mod tests {
    use super::super::contests::tests::table;
    use super::*;

    fn order<const N: usize>() -> Contests<usize> {
        table::<N>(std::array::from_fn(|i| std::array::from_fn(|j| u32::from(i < j))))
    }

    #[test]
    fn a_perfect_order_is_linear_and_a_circle_is_not() {
        let told = linearity(&order::<7>(), 2_000, 1).unwrap();
        for value in [told.landau, told.corrected, told.kendall] {
            assert!((value - 1.0).abs() < 1e-12);
        }
        assert!(matches!(told.verdict, Verdict::Linear { p } if p < 0.02));
        // Each beats the next three around a ring of seven.
        let ring = table::<7>(std::array::from_fn(|i| {
            std::array::from_fn(|j| u32::from((1..=3).contains(&((j + 7 - i) % 7))))
        }));
        let told = linearity(&ring, 2_000, 1).unwrap();
        assert!(told.landau.abs() < 1e-12 && told.kendall.abs() < 1e-12);
        assert!(matches!(told.verdict, Verdict::NotShown { p } if p > 0.99));
    }

    /// 6! of the 2^15 tournaments of six are linear: p = 720/32768 = 0.02197. With 20 000 draws the
    /// standard deviation of the estimate is 0.001.
    #[test]
    fn p_of_six_in_order_is_what_counting_gives() {
        let told = linearity(&order::<6>(), 20_000, 7).unwrap();
        let Verdict::Linear { p } = told.verdict else { panic!("{:?}", told.verdict) };
        assert!((p - 720.0 / 32_768.0).abs() < 0.005, "{p}");
    }

    #[test]
    fn too_few_animals_get_no_verdict() {
        assert_eq!(linearity(&order::<5>(), 1_000, 1).unwrap().verdict, Verdict::TooFewAnimals);
        assert_eq!(linearity(&order::<2>(), 1_000, 1), None);
    }

    #[test]
    fn the_same_seed_gives_the_same_answer() {
        let ties = table([[0; 8]; 8]);
        assert_eq!(linearity(&ties, 500, 3), linearity(&ties, 500, 3));
    }
}
