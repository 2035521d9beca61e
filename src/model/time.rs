//! Time as an argument.

use std::time::Duration;

use jiff::Timestamp;

/// The present, read once per turn by the shell and handed to everything that needs it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// Time since an arbitrary start that never steps and counts a suspended night. It decides every age and delay.
    pub elapsed: Duration,
    /// Calendar time, for forecasts and for people. It may step, and it may be wrong.
    pub wall: Timestamp,
    /// Whether `wall` is plausible. Boards without a battery clock start in the past until network time arrives.
    pub trusted: bool,
}

impl Now {
    /// How long ago `earlier` was; zero if it lies in the future.
    pub fn since(&self, earlier: Duration) -> Duration {
        self.elapsed.saturating_sub(earlier)
    }

    /// The calendar time `ahead` of now; the end of time where it would overflow.
    pub fn wall_after(&self, ahead: Duration) -> Timestamp {
        let ahead = jiff::SignedDuration::try_from(ahead).unwrap_or(jiff::SignedDuration::MAX);
        self.wall.checked_add(ahead).unwrap_or(Timestamp::MAX)
    }
}
