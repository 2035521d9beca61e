//! A small seeded generator, so that every night of the demo is the same night.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014).
#[derive(Debug, Clone)]
pub(super) struct Chance(u64);

impl Chance {
    /// The same seed gives the same numbers.
    pub(super) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// Evenly spread over 0…1.
    fn share(&mut self) -> f64 {
        // 53 bits, so that every number is exact.
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A sensor's noise: mean 0, standard deviation `spread`, never beyond six of them. The sum of twelve even numbers
    /// has variance 1 and is bell-shaped enough for a sensor.
    pub(super) fn noise(&mut self, spread: f64) -> f64 {
        let sum: f64 = (0..12).map(|_| self.share()).sum();
        (sum - 6.0) * spread
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn noise_has_no_bias_and_the_spread_that_was_asked_for() {
        let mut chance = Chance::new(7);
        let draws: Vec<f64> = (0..20_000).map(|_| chance.noise(0.5)).collect();
        let mean = draws.iter().sum::<f64>() / 20_000.0;
        let variance = draws.iter().map(|draw| (draw - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.02, "mean {mean}");
        assert!((variance.sqrt() - 0.5).abs() < 0.02, "spread {}", variance.sqrt());
    }
}
