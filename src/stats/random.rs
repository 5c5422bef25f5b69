//! Reproducible pseudo-random numbers for simulations.
//!
//! Written here instead of using a library, because a figure in an audit must be the same in every later release.

/// `SplitMix64` (Steele, Lea and Flood 2014; from memory).
#[derive(Debug, Clone)]
pub struct Random(u64);

impl Random {
    /// The sequence of this seed.
    pub const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn next_bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^ (bits >> 31)
    }

    /// Uniform between 0 and 1, both excluded.
    pub fn next_share(&mut self) -> f64 {
        Self::share_of(self.next_bits())
    }

    /// Bits as a share: their 53 highest, each in the place that it has in the share.
    pub(super) fn share_of(bits: u64) -> f64 {
        let half = |bits: u64| u32::try_from(bits).map_or(0.0, f64::from);
        let whole = half(bits >> 32) * 2_097_152.0 + half((bits >> 11) & 0x1f_ffff);
        (whole + 0.5) / 9_007_199_254_740_992.0
    }

    /// A whole number from 0 to below `end`; 0 if `end` is 0.
    pub fn below(&mut self, end: usize) -> usize {
        // The remainder is uniform to within 2⁻⁴⁰ for any realistic number of readings.
        let end = u64::try_from(end).unwrap_or(u64::MAX).max(1);
        usize::try_from(self.next_bits() % end).unwrap_or(0)
    }

    /// A value of the standard normal distribution (Box and Muller 1958, from memory).
    pub fn next_normal(&mut self) -> f64 {
        let radius = (-2.0 * self.next_share().ln()).sqrt();
        radius * (std::f64::consts::TAU * self.next_share()).cos()
    }

    /// A value of the gamma distribution with this shape, at least ½, and scale 1 (Marsaglia and Tsang 2000, from memory).
    pub fn next_gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            return self.next_gamma(shape + 1.0) * self.next_share().powf(1.0 / shape);
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.next_normal();
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && self.next_share().ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v;
            }
        }
    }
}
