//! Pseudo-random numbers that are the same for the same seed in every release.
//!
//! Written here instead of using the `rand` crates, because a seeded run of the demo or of a test must not change when
//! a crate chooses a better algorithm; and integers are enough here.

/// The generator `SplitMix64` (G. Steele, D. Lea, C. Flood, OOPSLA 2014; constants from memory).
#[derive(Debug, Clone)]
pub(super) struct Random(u64);

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub(super) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// `centre` plus a nearly normal deviation with standard deviation `spread`, limited to six of them: the sum of
    /// twelve uniform numbers has variance one.
    pub(super) fn around(&mut self, centre: i64, spread: i64) -> i64 {
        let sum: i128 = (0..12).map(|_| i128::from(self.next() >> 32)).sum();
        let deviation = sum - (6_i128 << 32);
        let offset = (deviation * i128::from(spread)) >> 32;
        centre.saturating_add(i64::try_from(offset).unwrap_or(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_numbers_for_ever() {
        let mut random = Random::new(0);
        // First outputs of SplitMix64 for seed 0, as in the reference program (from memory).
        assert_eq!(random.next(), 0xe220_a839_7b1d_cdaf);
        assert_eq!(random.next(), 0x6e78_9e6a_a1b9_65f4);
    }

    #[test]
    fn deviations_have_the_given_spread() {
        let mut random = Random::new(7);
        let (count, spread) = (10_000_i64, 10_000_i64);
        let values: Vec<i64> = (0..count).map(|_| random.around(0, spread)).collect();
        let mean = values.iter().sum::<i64>() / count;
        let variance = values.iter().map(|v| v * v).sum::<i64>() / count;
        assert!(mean.abs() < 400, "mean {mean}");
        assert!((95_000_000..105_000_000).contains(&variance), "{variance}");
        assert!(values.iter().all(|value| value.abs() <= 6 * spread));
    }
}
