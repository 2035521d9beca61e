//! How far a long replay has come, as whole sentences on the standard error.

use std::{
    io::{IsTerminal, Write},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use jiff::{Timestamp, tz::TimeZone};

use crate::{io::clock::Clock, model::Now};

/// The clock is looked at once in so many turns.
const TURNS: u32 = 2_000;
/// A sentence for somebody who watches.
const FOR_EYES: Duration = Duration::from_secs(5);
/// A sentence for a file.
const FOR_A_FILE: Duration = Duration::from_secs(30);

/// Tells it.
pub(super) struct Progress {
    clock: Clock,
    zone: TimeZone,
    every: Duration,
    told: Duration,
    turns: u32,
    began: Option<Timestamp>,
    /// Bytes read.
    read: Arc<AtomicU64>,
    /// Bytes that there are, where it is known.
    size: Option<u64>,
}

impl Progress {
    pub fn new(zone: TimeZone, read: Arc<AtomicU64>, size: Option<u64>) -> Self {
        let clock = Clock::machine();
        let every = if std::io::stderr().is_terminal() { FOR_EYES } else { FOR_A_FILE };
        let told = clock.now().elapsed;
        Self { clock, zone, every, told, turns: 0, began: None, read, size }
    }

    /// Says how far it has come, where it is time to.
    pub fn tell(&mut self, now: &Now) {
        let began = *self.began.get_or_insert(now.wall);
        self.turns += 1;
        if self.turns < TURNS {
            return;
        }
        self.turns = 0;
        let elapsed = self.clock.now().elapsed;
        if elapsed.saturating_sub(self.told) < self.every {
            return;
        }
        self.told = elapsed;
        let share = self.size.filter(|size| *size > 0).map_or_else(String::new, |size| {
            format!(", {} % of the log is read", self.read.load(Ordering::Relaxed).min(size) * 100 / size)
        });
        let sentence = sentence(began, now.wall, &self.zone, &share);
        // Who does not read the sentence still gets the replay.
        let _ = writeln!(std::io::stderr(), "{sentence}");
    }
}

fn sentence(began: Timestamp, now: Timestamp, zone: &TimeZone, share: &str) -> String {
    let days = now.duration_since(began).as_secs_f64() / 86_400.0;
    let local = now.to_zoned_datetime(zone.clone()).strftime("%A %-d %B %Y, %H:%M");
    format!("Replayed {days:.1} days, up to {local}{share}.")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sentence_says_how_far_in_the_farms_own_time() {
        let zone = TimeZone::get("Europe/Helsinki").unwrap();
        let began = "2027-01-15T18:00:00Z".parse().unwrap();
        let now = "2027-01-18T06:00:00Z".parse().unwrap();
        let said = sentence(began, now, &zone, ", 12 % of the log is read");
        assert_eq!(said, "Replayed 2.5 days, up to Monday 18 January 2027, 08:00, 12 % of the log is read.");
    }
}
