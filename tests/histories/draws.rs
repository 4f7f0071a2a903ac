//! Numbers that look random and are the same on every run.

/// The xorshift of G. Marsaglia (2003), J. Stat. Softw. 8(14), 64 bits with the shifts 13, 7, 17.
pub(crate) struct Draws(u64);

impl Draws {
    /// From a seed; the first numbers of small seeds are alike, so some are thrown away.
    pub(crate) fn from(seed: u64) -> Self {
        let mut draws = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        for _ in 0..16 {
            draws.below(2);
        }
        draws
    }

    /// A number from 0 to one below `bound`.
    pub(crate) fn below(&mut self, bound: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from((self.0 >> 11) % bound as u64).unwrap()
    }

    /// Whether one of so many times came up.
    pub(crate) fn one_in(&mut self, many: usize) -> bool {
        self.below(many) == 0
    }

    /// One of several.
    pub(crate) fn one_of<'s, T>(&mut self, several: &'s [T]) -> &'s T {
        &several[self.below(several.len())]
    }
}
