//! How long to wait before trying again.

use std::{
    hash::{BuildHasher, RandomState},
    time::Duration,
};

/// Doubles from the first wait to the longest. Each wait is cut by up to half at random, so that many clients of one
/// broker do not come back in the same instant.
#[derive(Debug, Clone)]
pub struct Backoff {
    first: Duration,
    longest: Duration,
    failures: u32,
}

impl Backoff {
    /// Waits between `first` and `longest`.
    pub const fn new(first: Duration, longest: Duration) -> Self {
        Self { first, longest, failures: 0 }
    }

    /// It worked: the next wait is a first one again.
    pub const fn succeeded(&mut self) {
        self.failures = 0;
    }

    /// Trying again soon would do harm: the next wait is among the longest.
    pub const fn be_patient(&mut self) {
        self.failures = 32;
    }

    /// It failed: how long to wait now.
    pub fn failed(&mut self) -> Duration {
        // The hasher's keys are random for each process and differ in each instance: random enough, without a crate.
        self.wait(RandomState::new().hash_one(self.failures))
    }

    fn wait(&mut self, random: u64) -> Duration {
        let doubled = self.first.saturating_mul(2_u32.saturating_pow(self.failures)).min(self.longest);
        self.failures = self.failures.saturating_add(1);
        doubled - doubled.mul_f64(0.5 * (random as f64 / u64::MAX as f64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIRST: Duration = Duration::from_millis(500);
    const LONGEST: Duration = Duration::from_secs(30);

    #[test]
    fn waits_double_up_to_the_longest_and_start_again_after_a_success() {
        let mut backoff = Backoff::new(FIRST, LONGEST);
        let waits: Vec<f64> = (0..8).map(|_| backoff.wait(0).as_secs_f64()).collect();
        assert_eq!(waits, [0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 30.0, 30.0]);
        backoff.succeeded();
        assert_eq!(backoff.wait(0), FIRST);
        backoff.be_patient();
        assert_eq!(backoff.wait(0), LONGEST);
    }

    #[test]
    fn no_wait_is_shorter_than_half_or_longer_than_whole_and_they_differ() {
        let mut backoff = Backoff::new(FIRST, LONGEST);
        backoff.be_patient();
        assert_eq!(backoff.wait(u64::MAX), LONGEST / 2);
        let waits: Vec<Duration> = (0..20).map(|_| backoff.failed()).collect();
        assert!(waits.iter().all(|wait| (LONGEST / 2..=LONGEST).contains(wait)), "{waits:?}");
        assert!(waits.iter().any(|wait| *wait != waits[0]), "twenty waits are the same");
    }

    #[test]
    fn failures_without_end_do_not_overflow() {
        let mut backoff = Backoff { failures: u32::MAX, ..Backoff::new(FIRST, LONGEST) };
        assert_eq!(backoff.wait(0), LONGEST);
        assert_eq!(backoff.wait(0), LONGEST);
    }
}
