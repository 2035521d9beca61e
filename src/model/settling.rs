//! When a sensor in a closed jar has come to rest.

use std::{collections::VecDeque, time::Duration};

use crate::units::RelativeHumidity;

/// Movement over the whole stretch that still counts as rest, as a ratio: 0.3 points. A sensor that comes to rest
/// exponentially with a time constant as long as the stretch has then less than half a point before it, and with a third
/// of that, as most have, a tenth.
const AT_REST: f64 = 0.003;
/// Readings within the stretch may differ by this much, as a ratio.
const RUSTLE: f64 = 0.01;
/// A stretch with fewer readings says nothing.
const LEAST_READINGS: usize = 8;

/// The readings of the last stretch.
#[derive(Debug, Clone)]
pub struct Settling {
    hold: Duration,
    readings: VecDeque<(Duration, f64)>,
    first: Option<Duration>,
}

/// What the readings say so far.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Verdict {
    /// Not watched for long enough.
    Waiting,
    /// Still on its way, by so many points an hour.
    Moving {
        /// Positive where it rises.
        points_per_hour: f64,
    },
    /// At rest.
    Settled {
        /// Mean over the later half of the stretch.
        mean: RelativeHumidity,
        /// Half of the difference of the highest and the lowest, in points.
        within: f64,
    },
}

impl Settling {
    /// At rest is who moves no more for `hold`.
    pub const fn new(hold: Duration) -> Self {
        Self { hold, readings: VecDeque::new(), first: None }
    }

    /// Takes in a reading made `at` a time that only grows.
    pub fn take(&mut self, at: Duration, humidity: RelativeHumidity) -> Verdict {
        let first = *self.first.get_or_insert(at);
        self.readings.push_back((at, humidity.ratio()));
        while self.readings.front().is_some_and(|(then, _)| at.saturating_sub(*then) > self.hold) {
            self.readings.pop_front();
        }
        if at.saturating_sub(first) < self.hold || self.readings.len() < LEAST_READINGS {
            return Verdict::Waiting;
        }
        let slope = self.slope();
        let values = || self.readings.iter().map(|(_, value)| *value);
        let (lowest, highest) =
            values().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        if (slope * self.hold.as_secs_f64()).abs() > AT_REST || highest - lowest > RUSTLE {
            return Verdict::Moving { points_per_hour: slope * 3_600.0 * 100.0 };
        }
        // The later half has less of the way to rest in it.
        let late = || self.readings.iter().filter(|(then, _)| at.saturating_sub(*then) <= self.hold / 2);
        let mean = late().map(|(_, value)| value).sum::<f64>() / late().count() as f64;
        Verdict::Settled { mean: RelativeHumidity::clamped(mean), within: 50.0 * (highest - lowest) }
    }

    /// Of the straight line through the readings, by least squares, per second.
    fn slope(&self) -> f64 {
        let count = self.readings.len() as f64;
        let start = self.readings.front().map_or(Duration::ZERO, |(at, _)| *at);
        let seconds = |at: Duration| at.saturating_sub(start).as_secs_f64();
        let mean_time = self.readings.iter().map(|(at, _)| seconds(*at)).sum::<f64>() / count;
        let mean = self.readings.iter().map(|(_, value)| value).sum::<f64>() / count;
        let (over, under) = self.readings.iter().fold((0.0, 0.0), |(over, under), (at, value)| {
            let apart = seconds(*at) - mean_time;
            (over + apart * (value - mean), under + apart * apart)
        });
        if under > 0.0 { over / under } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HOLD: Duration = Duration::from_secs(1_200);

    /// Minutes until it is called settled, and the mean then, for a sensor that says `value` at each minute.
    fn settles(value: impl Fn(f64) -> f64) -> Option<(u64, f64)> {
        let mut settling = Settling::new(HOLD);
        (0..600_u64).find_map(|minute| {
            let humidity = RelativeHumidity::from_percent(value(minute as f64)).unwrap();
            match settling.take(Duration::from_secs(60 * minute), humidity) {
                Verdict::Settled { mean, .. } => Some((minute, mean.percent())),
                Verdict::Waiting | Verdict::Moving { .. } => None,
            }
        })
    }

    #[test]
    fn a_sensor_is_called_settled_when_it_has_less_than_half_a_point_before_it() {
        for constant in [3.0, 8.0, 20.0] {
            let (minute, mean) = settles(|minute| 75.0 - 35.0 * (-minute / constant).exp()).unwrap();
            assert!((mean - 75.0).abs() < 0.45, "time constant {constant} min: {mean} after {minute} min");
            assert!(minute >= 20, "after {minute} min");
        }
    }

    #[test]
    fn noise_of_a_few_tenths_is_rest_and_a_leak_that_goes_on_is_none() {
        assert!(settles(|minute| 75.0 + 0.3 * (minute * 2.3).sin()).is_some());
        // A jar that leaks loses a point an hour.
        assert_eq!(settles(|minute| 75.0 - minute / 60.0), None);
        // A hand on the jar.
        assert_eq!(settles(|minute| 75.0 + 2.0 * (minute / 5.0).sin()), None);
    }
}
