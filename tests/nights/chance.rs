//! Chance that is the same on every machine: SplitMix64 (public domain algorithm), and what is drawn from it.

/// A stream of numbers from a seed.
pub struct Chance(u64);

impl Chance {
    /// Neighbouring seeds begin at places of the stream that have nothing to do with each other.
    pub fn new(seed: u64) -> Self {
        Self(Self(seed).next())
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly in 0…1.
    pub fn share(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Evenly between two ends.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// Normally, with unit deviation (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }

    /// Either 1 − x or 1 + x, with x evenly between two ends.
    pub fn off(&mut self, low: f64, high: f64) -> f64 {
        let off = self.between(low, high);
        if self.share() < 0.5 { 1.0 - off } else { 1.0 + off }
    }
}
