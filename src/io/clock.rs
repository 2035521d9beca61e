//! The only file that reads a clock.
//!
//! A [`Clock`] is either the machine's or a scenario's. The machine's elapsed time is `CLOCK_BOOTTIME`, which counts a
//! suspended night; the ordinary monotonic clock does not. A scenario's time moves only when its handle moves it.

use std::{
    sync::{
        Arc,
        atomic::{AtomicI64, Ordering},
    },
    time::Duration,
};

use jiff::{SignedDuration, Timestamp};
use tokio::sync::watch;

use crate::model::Now;

/// No wall clock may read earlier than this release: a board without a battery clock does, until network time comes.
const RELEASED: Timestamp = Timestamp::constant(1_793_491_200, 0);

/// A service's clock and ours may differ by so much and both be right enough.
const CLOCKS_APART: SignedDuration = SignedDuration::from_mins(15);
/// A forecast that has just been fetched was made within this; MET Norway makes one several times a day.
const FORECAST_MADE_WITHIN: SignedDuration = SignedDuration::from_hours(24);

/// Longest wait before the clock is looked at again: a suspended machine's timers do not count the suspended time.
const LONGEST_WAIT: Duration = Duration::from_secs(5);

/// Where time comes from. Clones share it.
#[derive(Debug, Clone)]
pub struct Clock(Source);

#[derive(Debug, Clone)]
enum Source {
    /// No wall clock that reads earlier, in seconds since 1970, is trusted.
    Machine {
        floor: Arc<AtomicI64>,
    },
    Scenario {
        start: Timestamp,
        speed: f64,
        elapsed: watch::Receiver<Duration>,
    },
}

/// Moves a scenario's time.
#[derive(Debug, Clone)]
pub struct ScenarioHandle(Arc<watch::Sender<Duration>>);

impl ScenarioHandle {
    /// Lets scenario time pass; every sleeper whose time has come wakes.
    pub fn advance(&self, by: Duration) {
        self.0.send_modify(|elapsed| *elapsed = elapsed.saturating_add(by));
    }
}

impl Clock {
    /// The machine's clock.
    pub fn machine() -> Self {
        Self(Source::Machine { floor: Arc::new(AtomicI64::new(RELEASED.as_second())) })
    }

    /// Learns that `moment` has already been: from now on the machine's clock is not trusted while it is before it.
    pub fn not_before(&self, moment: Timestamp) {
        if let Source::Machine { floor } = &self.0 {
            floor.fetch_max(moment.as_second(), Ordering::Relaxed);
        }
    }

    /// Learns that a forecast that has just arrived was made at `issued`. A clock clearly before it is wrong. A clock
    /// that agrees with it is right, whatever was believed before: a date that was once wrong and far ahead must not
    /// be waited for.
    pub fn compare(&self, issued: Timestamp) {
        let Source::Machine { floor } = &self.0 else { return };
        let earliest = issued.checked_sub(CLOCKS_APART).unwrap_or(RELEASED).max(RELEASED);
        let age = self.now().wall.duration_since(issued);
        if age >= -CLOCKS_APART && age < FORECAST_MADE_WITHIN {
            floor.store(earliest.as_second(), Ordering::Relaxed);
        } else {
            floor.fetch_max(earliest.as_second(), Ordering::Relaxed);
        }
    }

    /// A clock that starts at `start` and moves by its handle, meant to run about `speed` times as fast as real time.
    pub fn scenario(start: Timestamp, speed: f64) -> (Self, ScenarioHandle) {
        // Elapsed time starts above zero, so that "now minus a minute" has a meaning from the first turn on.
        let (sender, elapsed) = watch::channel(Duration::from_secs(86_400));
        (Self(Source::Scenario { start, speed, elapsed }), ScenarioHandle(Arc::new(sender)))
    }

    /// The present.
    #[expect(clippy::disallowed_methods, reason = "this is the one place that reads the clocks")]
    pub fn now(&self) -> Now {
        match &self.0 {
            Source::Machine { floor } => {
                let boot = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
                let seconds = u64::try_from(boot.tv_sec).unwrap_or(0);
                let nanoseconds = u32::try_from(boot.tv_nsec).unwrap_or(0);
                let wall = Timestamp::now();
                Now {
                    elapsed: Duration::new(seconds, nanoseconds),
                    wall,
                    trusted: wall.as_second() >= floor.load(Ordering::Relaxed),
                }
            }
            Source::Scenario { start, elapsed, .. } => {
                let elapsed = *elapsed.borrow();
                let passed = elapsed.saturating_sub(Duration::from_secs(86_400));
                let passed = SignedDuration::try_from(passed).unwrap_or(SignedDuration::MAX);
                Now { elapsed, wall: start.checked_add(passed).unwrap_or(Timestamp::MAX), trusted: true }
            }
        }
    }

    /// How many seconds of this clock pass in a real second. A broker counts real seconds.
    pub const fn speed(&self) -> f64 {
        match &self.0 {
            Source::Machine { .. } => 1.0,
            Source::Scenario { speed, .. } => *speed,
        }
    }

    /// Waits until [`Now::elapsed`] has reached `deadline`.
    pub async fn sleep_until(&self, deadline: Duration) {
        match &self.0 {
            Source::Machine { .. } => loop {
                let left = deadline.saturating_sub(self.now().elapsed);
                if left.is_zero() {
                    return;
                }
                tokio::time::sleep(left.min(LONGEST_WAIT)).await;
            },
            Source::Scenario { elapsed, .. } => {
                let mut elapsed = elapsed.clone();
                // The scenario has ended when its handle is gone: nothing will ever be due again.
                if elapsed.wait_for(|elapsed| *elapsed >= deadline).await.is_err() {
                    std::future::pending::<()>().await;
                }
            }
        }
    }

    /// Waits for `duration` of this clock's time, counted from this call and not from the first poll.
    pub fn sleep(&self, duration: Duration) -> impl Future<Output = ()> {
        self.sleep_until(self.now().elapsed.saturating_add(duration))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn scenario_time_moves_only_when_it_is_moved() {
        let start = Timestamp::from_second(1_800_000_000).unwrap();
        let (clock, handle) = Clock::scenario(start, 60.0);
        let before = clock.now();
        assert_eq!(before.wall, start);
        let sleeper = clock.sleep(Duration::from_secs(10));
        tokio::pin!(sleeper);
        handle.advance(Duration::from_secs(9));
        assert!(futures_poll(&mut sleeper).await.is_none(), "woke a second early");
        handle.advance(Duration::from_secs(1));
        assert!(futures_poll(&mut sleeper).await.is_some(), "did not wake");
        assert_eq!(clock.now().elapsed - before.elapsed, Duration::from_secs(10));
    }

    #[test]
    fn elapsed_time_is_the_one_that_counts_a_suspended_night() {
        // proc(5): uptime in seconds, including time spent in suspend.
        let uptime = || -> f64 {
            let text = std::fs::read_to_string("/proc/uptime").unwrap();
            text.split(' ').next().unwrap().parse().unwrap()
        };
        let (before, elapsed, after) = (uptime(), Clock::machine().now().elapsed.as_secs_f64(), uptime());
        assert!(before - 0.011 <= elapsed && elapsed <= after + 0.011, "{before} {elapsed} {after}");
    }

    #[test]
    fn a_clock_before_what_has_already_been_is_not_trusted_until_a_forecast_agrees_with_it() {
        let clock = Clock::machine();
        let wall = clock.now().wall;
        assert!(clock.now().trusted, "the tests need a machine with the right date");
        clock.not_before(wall + SignedDuration::from_hours(24 * 365));
        assert!(!clock.now().trusted);
        clock.compare(wall - SignedDuration::from_hours(25));
        assert!(!clock.now().trusted, "an old forecast says nothing");
        clock.compare(wall - SignedDuration::from_hours(2));
        assert!(clock.now().trusted);
        clock.not_before(wall - SignedDuration::from_hours(1));
        assert!(clock.now().trusted);
    }

    #[test]
    fn a_forecast_from_some_minutes_ahead_does_not_make_the_clock_untrusted_and_one_from_an_hour_ahead_does() {
        let clock = Clock::machine();
        let wall = clock.now().wall;
        clock.compare(wall + SignedDuration::from_mins(14));
        assert!(clock.now().trusted);
        clock.compare(wall + SignedDuration::from_mins(60));
        assert!(!clock.now().trusted);
    }

    async fn futures_poll(future: &mut (impl Future<Output = ()> + Unpin)) -> Option<()> {
        tokio::time::timeout(Duration::from_millis(20), future).await.ok()
    }
}
