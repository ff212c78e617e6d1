//! Chance that repeats itself: the same seed gives the same draws on every machine and in every release.
//!
//! SplitMix64 (Steele, Lea & Flood 2014, OOPSLA, doi 10.1145/2660193.2660195). Written here and not taken
//! from a library, because a report asked for again must give the same bytes, and libraries keep the
//! right to change what a seed draws. Not for secrets.

/// A stream of draws.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// The stream of a seed.
    #[must_use]
    pub const fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number from 0 up to but without 1, in steps of 2^-53.
    #[expect(clippy::cast_precision_loss, reason = "53 bits are exact in a double")]
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Whether a thing of probability `p` happens.
    pub fn happens(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// A whole number from 0 up to but without `n`; 0 where `n` is 0. The high half of a product: off from
    /// uniform by less than `n`/2^64.
    pub fn below(&mut self, n: usize) -> usize {
        let wide = u128::from(self.bits()) * (n as u128);
        usize::try_from(wide >> 64).unwrap_or_default()
    }

    /// Puts the items into a random order (Fisher–Yates).
    pub fn shuffle<T>(&mut self, items: &mut [T]) {
        for last in (1..items.len()).rev() {
            items.swap(last, self.below(last + 1));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// First outputs for seed 1234567 as on rosettacode.org/wiki/Pseudo-random_numbers/Splitmix64.
    #[test]
    fn draws_what_the_reference_draws() {
        let mut chance = Chance::seeded(1_234_567);
        let drawn: Vec<u64> = (0..5).map(|_| chance.bits()).collect();
        assert_eq!(
            drawn,
            [
                6_457_827_717_110_365_317,
                3_203_168_211_198_807_973,
                9_817_491_932_198_370_423,
                4_593_380_528_125_082_431,
                16_408_922_859_458_223_821,
            ]
        );
    }

    #[test]
    fn each_order_is_as_likely() {
        let mut chance = Chance::seeded(5);
        let mut seen = std::collections::BTreeMap::new();
        for _ in 0..6_000 {
            let mut items = [0, 1, 2];
            chance.shuffle(&mut items);
            *seen.entry(items).or_insert(0_u32) += 1;
        }
        assert_eq!(seen.len(), 6);
        // Six cells of 1000: a deviation of 120 is four standard deviations.
        assert!(seen.values().all(|n| n.abs_diff(1_000) < 120), "{seen:?}");
    }
}
