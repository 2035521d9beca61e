//! What is remembered of a source, so that its faults can be told: a few marks and a coarse day, never every sample.

use std::{collections::VecDeque, time::Duration};

use super::{Now, Quantity};

/// Readings are gathered in stretches of this length.
const STRETCH: Duration = Duration::from_secs(1_800);
/// So many stretches are kept: a day.
const STRETCHES: usize = 48;
/// A relative humidity at or above this, before calibration, rests at the top of the scale.
const TOP: f64 = 0.985;
/// Look back so far to see from where a value rose to the top.
const RISE: Duration = Duration::from_secs(600);
/// Carbon dioxide below this has come near to outdoor air, in ppm.
pub const NEAR_OUTDOOR: f64 = 600.0;
/// A machine that reports more than this share is on.
pub const ON: f64 = 0.5;

/// A jump further than air can change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Jump {
    /// From where, in the base unit.
    pub from: f64,
    /// When, as [`Now::elapsed`].
    pub at: Duration,
}

/// Messages refused in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refusals {
    /// How many.
    pub count: u32,
    /// When the first came, as [`Now::elapsed`].
    pub since: Duration,
    /// When the last came.
    pub last: Duration,
}

/// The marks that a source has left.
#[derive(Debug, Clone, PartialEq)]
pub struct Trail {
    quantity: Quantity,
    /// What it said last, before calibration.
    raw: Option<f64>,
    /// What it said last, put right.
    value: f64,
    at: Duration,
    /// Since when it has said the very same, and how often.
    pub same_since: Duration,
    /// See [`Trail::same_since`].
    pub same_count: u32,
    /// The smallest change that it was ever seen to make, before calibration.
    pub resolution: Option<f64>,
    /// The jump that has not been explained yet.
    pub jump: Option<Jump>,
    /// Since when it has rested at the top of its scale.
    pub top_since: Option<Duration>,
    /// How far it rose to get there, within ten minutes.
    pub rise_to_top: f64,
    /// When carbon dioxide was last near outdoor air; the first reading counts.
    pub near_outdoor: Duration,
    /// Since when the machine has been on.
    pub on_since: Option<Duration>,
    /// Messages refused in a row.
    pub refused: Option<Refusals>,
    recent: VecDeque<(Duration, f64)>,
    day: VecDeque<Stretch>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
struct Stretch {
    start: Duration,
    lowest: f64,
    highest: f64,
}

impl Trail {
    /// Of a source that has said nothing yet.
    pub const fn new(quantity: Quantity) -> Self {
        Self {
            quantity,
            raw: None,
            value: 0.0,
            at: Duration::ZERO,
            same_since: Duration::ZERO,
            same_count: 0,
            resolution: None,
            jump: None,
            top_since: None,
            rise_to_top: 0.0,
            near_outdoor: Duration::ZERO,
            on_since: None,
            refused: None,
            recent: VecDeque::new(),
            day: VecDeque::new(),
        }
    }

    /// A message was refused.
    pub fn refuse(&mut self, now: &Now) {
        let before = self.refused.map_or((0, now.elapsed), |refused| (refused.count, refused.since));
        self.refused = Some(Refusals { count: before.0.saturating_add(1), since: before.1, last: now.elapsed });
    }

    /// A reading: before calibration, after it, and when it was made. Both in the base unit.
    pub fn take(&mut self, raw: f64, value: f64, at: Duration) {
        self.refused = None;
        let first = self.raw.is_none();
        let step = self.raw.map_or(0.0, |before| (raw - before).abs());
        if first || step > 0.0 {
            (self.same_since, self.same_count) = (at, 1);
        } else {
            self.same_count = self.same_count.saturating_add(1);
        }
        if step > 1e-9 {
            self.resolution = Some(self.resolution.map_or(step, |smallest| smallest.min(step)));
        }
        self.note_jump(first, value, at);
        self.note_top(raw, value, at);
        if first || value < NEAR_OUTDOOR {
            self.near_outdoor = at;
        }
        self.on_since = if value >= ON { self.on_since.or(Some(at)) } else { None };
        self.gather(value, at);
        (self.raw, self.value, self.at) = (Some(raw), value, at);
    }

    fn note_jump(&mut self, first: bool, value: f64, at: Duration) {
        let Some((far, per_minute)) = furthest(self.quantity) else { return };
        if let Some(jump) = self.jump {
            if (value - jump.from).abs() <= far {
                self.jump = None;
            }
        } else if !first {
            let minutes = at.saturating_sub(self.at).as_secs_f64() / 60.0;
            if (value - self.value).abs() > far + per_minute * minutes {
                self.jump = Some(Jump { from: self.value, at });
            }
        }
    }

    fn note_top(&mut self, raw: f64, value: f64, at: Duration) {
        if self.quantity != Quantity::RelativeHumidity {
            return;
        }
        while self.recent.front().is_some_and(|(then, _)| at.saturating_sub(*then) > RISE) {
            self.recent.pop_front();
        }
        if raw < TOP {
            self.top_since = None;
        } else if self.top_since.is_none() {
            self.top_since = Some(at);
            let lowest = self.recent.iter().map(|(_, value)| *value).fold(f64::INFINITY, f64::min);
            self.rise_to_top = if lowest.is_finite() { value - lowest } else { 0.0 };
        }
        // One mark a minute is enough, however often it speaks.
        if self.recent.back().is_none_or(|(then, _)| at.saturating_sub(*then) >= Duration::from_secs(60)) {
            self.recent.push_back((at, value));
        }
    }

    fn gather(&mut self, value: f64, at: Duration) {
        match self.day.back_mut() {
            Some(stretch) if at.saturating_sub(stretch.start) < STRETCH => {
                stretch.lowest = stretch.lowest.min(value);
                stretch.highest = stretch.highest.max(value);
            }
            _ => {
                if self.day.len() == STRETCHES {
                    self.day.pop_front();
                }
                self.day.push_back(Stretch { start: at, lowest: value, highest: value });
            }
        }
    }

    /// Lowest and highest since a moment, as far as the day is remembered; stretches that began before it do not count.
    pub fn since(&self, moment: Duration) -> Option<(f64, f64)> {
        let stretches = self.day.iter().filter(|stretch| stretch.start >= moment);
        stretches.fold(None, |all, stretch| {
            let (lowest, highest) = all.unwrap_or((stretch.lowest, stretch.highest));
            Some((lowest.min(stretch.lowest), highest.max(stretch.highest)))
        })
    }

    /// How far it has moved since a moment, in the base unit.
    pub fn moved_since(&self, moment: Duration) -> f64 {
        self.since(moment).map_or(0.0, |(lowest, highest)| highest - lowest)
    }

    /// What it said last, before calibration.
    pub fn raw(&self) -> Option<f64> {
        self.raw
    }
}

/// How far the air at a sensor can change at once, and by how much more each minute, in the base unit: a door that opens
/// on a freezing night, a burst of mist, a person's breath. Beyond that it is the sensor. Judgement, no source.
const fn furthest(quantity: Quantity) -> Option<(f64, f64)> {
    match quantity {
        Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => Some((8.0, 1.0)),
        Quantity::RelativeHumidity => Some((0.35, 0.05)),
        Quantity::CarbonDioxide => Some((4_000.0, 1_000.0)),
        Quantity::Pressure => Some((500.0, 50.0)),
        Quantity::FanState | Quantity::HumidifierState => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MINUTE: Duration = Duration::from_secs(60);

    #[test]
    fn the_very_same_number_is_counted_and_any_other_starts_anew() {
        let mut trail = Trail::new(Quantity::Temperature);
        for minute in 0..30 {
            trail.take(16.25, 16.25, MINUTE * minute);
        }
        assert_eq!((trail.same_since, trail.same_count), (Duration::ZERO, 30));
        trail.take(16.31, 16.31, MINUTE * 30);
        assert_eq!((trail.same_since, trail.same_count), (MINUTE * 30, 1));
        assert!((trail.resolution.unwrap() - 0.06).abs() < 1e-9);
    }

    #[test]
    fn a_jump_stands_until_the_value_is_back_and_a_slow_change_is_none() {
        let mut trail = Trail::new(Quantity::Temperature);
        trail.take(16.0, 16.0, Duration::ZERO);
        trail.take(30.0, 30.0, MINUTE);
        assert_eq!(trail.jump, Some(Jump { from: 16.0, at: MINUTE }));
        trail.take(30.1, 30.1, MINUTE * 2);
        assert!(trail.jump.is_some());
        trail.take(17.0, 17.0, MINUTE * 3);
        assert_eq!(trail.jump, None);
        // An hour's silence lets the air go far.
        trail.take(45.0, 45.0, MINUTE * 63);
        assert_eq!(trail.jump, None);
    }

    #[test]
    fn a_day_is_remembered_and_no_more() {
        let mut trail = Trail::new(Quantity::Temperature);
        for half_hour in 0..60_u32 {
            trail.take(f64::from(half_hour), f64::from(half_hour), STRETCH * half_hour);
        }
        assert_eq!(trail.since(Duration::ZERO), Some((12.0, 59.0)));
        assert!((trail.moved_since(STRETCH * 50) - 9.0).abs() < 1e-9);
    }
}
