//! Numbers from a seed: the same on every platform and in every build.

/// The generator of Steele, Lea and Flood 2014 (split-mix, 64 bits).
pub struct Seeded(u64);

impl Seeded {
    /// A stream that depends on nothing but the seed.
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x5bd1_e995)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in `[low, high)`.
    pub fn within(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.next() >> 11) as f64 / (1u64 << 53) as f64)
    }

    /// One of `0..count`.
    pub fn one_of(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }
}
