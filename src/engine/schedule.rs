//! When to fetch a forecast.

use std::time::Duration;

use crate::model::Now;

/// Services update hourly at the most; asking more often is rude whatever they say.
const SHORTEST: Duration = Duration::from_secs(300);
/// A service that asks for more patience than this is asked again all the same.
const LONGEST: Duration = Duration::from_secs(6 * 3_600);
/// First wait after a failure; it doubles with each one.
const FIRST_RETRY: Duration = Duration::from_secs(60);
/// Longest wait after failures.
const LAST_RETRY: Duration = Duration::from_secs(1_800);
/// An answer that has not come by then will not come.
const ANSWER_WITHIN: Duration = Duration::from_secs(300);

/// When the next forecast is due.
#[derive(Debug, Clone)]
pub(super) struct FetchSchedule {
    wanted: bool,
    due: Duration,
    asked: Option<Duration>,
    failures: u32,
}

impl FetchSchedule {
    pub fn new(wanted: bool, now: &Now) -> Self {
        Self { wanted, due: now.elapsed, asked: None, failures: 0 }
    }

    /// Whether to ask now; it counts as asked.
    pub fn due(&mut self, now: &Now) -> bool {
        let waiting = self.asked.is_some_and(|asked| now.since(asked) < ANSWER_WITHIN);
        let due = self.wanted && !waiting && now.elapsed >= self.due;
        if due {
            self.asked = Some(now.elapsed);
        }
        due
    }

    /// When it will be due, as [`Now::elapsed`]; `None` while an answer is awaited.
    pub fn due_at(&self) -> Option<Duration> {
        (self.wanted && self.asked.is_none()).then_some(self.due)
    }

    /// Whether the last answer was a failure.
    pub fn is_failing(&self) -> bool {
        self.failures > 0
    }

    /// Says whether answers are wanted from now on; the first one at once.
    pub fn want(&mut self, wanted: bool, now: &Now) {
        if wanted && !self.wanted {
            self.due = self.due.max(now.elapsed);
        }
        self.wanted = wanted;
    }

    pub fn ask_now(&mut self, now: &Now) {
        self.due = now.elapsed;
        self.failures = 0;
    }

    pub fn succeeded(&mut self, keep_for: Duration, now: &Now) {
        self.asked = None;
        self.failures = 0;
        self.due = now.elapsed + keep_for.clamp(SHORTEST, LONGEST);
    }

    /// Returns whether this is the first failure after a success.
    pub fn failed(&mut self, retry_after: Option<Duration>, now: &Now) -> bool {
        self.asked = None;
        let wait = FIRST_RETRY.saturating_mul(2_u32.saturating_pow(self.failures.min(10))).min(LAST_RETRY);
        self.failures = self.failures.saturating_add(1);
        self.due = now.elapsed + retry_after.map_or(wait, |asked| asked.clamp(wait, LONGEST));
        self.failures == 1
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: u64) -> Now {
        Now { elapsed: Duration::from_secs(seconds), wall: jiff::Timestamp::UNIX_EPOCH, trusted: true }
    }

    #[test]
    fn failures_are_retried_ever_more_rarely_and_a_success_starts_over() {
        let mut schedule = FetchSchedule::new(true, &at(0));
        let mut now = 0;
        let mut waits = Vec::new();
        for _ in 0..8 {
            assert!(schedule.due(&at(now)));
            assert!(!schedule.due(&at(now)), "asked twice at once");
            schedule.failed(None, &at(now));
            let next = schedule.due_at().unwrap().as_secs();
            waits.push(next - now);
            now = next;
        }
        assert_eq!(waits, [60, 120, 240, 480, 960, 1_800, 1_800, 1_800]);
        assert!(schedule.due(&at(now)));
        schedule.succeeded(Duration::from_secs(1), &at(now));
        assert_eq!(schedule.due_at().unwrap().as_secs() - now, 300, "a service is asked at most every five minutes");
    }

    #[test]
    fn a_farm_without_a_service_never_asks() {
        let mut schedule = FetchSchedule::new(false, &at(0));
        assert!(!schedule.due(&at(1_000_000)));
        assert_eq!(schedule.due_at(), None);
    }
}
