//! Random numbers from a seed: the same in every run and on every machine.

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014), which passes through every 64-bit number once.
pub(crate) struct Draws(u64);

impl Draws {
    /// From a seed.
    pub(crate) fn seeded(seed: u64) -> Self {
        Self(seed)
    }

    /// Uniform between 0 and 1, never either.
    pub(crate) fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut word = self.0;
        word = (word ^ (word >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        word = (word ^ (word >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        word ^= word >> 31;
        #[expect(clippy::cast_precision_loss, reason = "53 bits are a double")]
        let high = (word >> 11) as f64;
        (high + 0.5) / 9_007_199_254_740_992.0
    }

    /// Standard normal (Box and Muller).
    pub(crate) fn normal(&mut self) -> f64 {
        let (one, two) = (self.uniform(), self.uniform());
        (-2.0 * one.ln()).sqrt() * (std::f64::consts::TAU * two).cos()
    }
}
