//! What a check of a sensor has shown, and how its readings are put right.

use std::time::Duration;

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use super::Measured;

/// A correction: truth = gain · reading + offset, in the base unit of the quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Calibration {
    /// Factor of the reading; 1 where only an offset was found.
    pub gain: f64,
    /// Added after the factor, in the base unit: °C, ratio, ppm, Pa.
    pub offset: f64,
    /// When it was made; `None` where nobody wrote it down, or nothing was calibrated.
    pub made: Option<Date>,
    /// For how long it may be relied on.
    pub good_for: Duration,
}

/// Two points from which no correction follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadPoints {
    /// One reading for two truths.
    #[error("both points have the same reading, so no line goes through them")]
    SameReading,
    /// A line that no working sensor has.
    #[error("the two points ask for a factor outside 0.5 to 2: the sensor is broken, or the points are mixed up")]
    Steep,
}

impl Calibration {
    /// The sensor's own word, taken as it is.
    pub const NONE: Self = Self { gain: 1.0, offset: 0.0, made: None, good_for: Self::GOOD_FOR };

    /// Half a year. Makers state drifts of some tenths of a point to a point of relative humidity a year for clean air;
    /// months in wet air do more (common practice, no source).
    pub const GOOD_FOR: Duration = Duration::from_secs(180 * 86_400);

    /// The line through two checks, each a reading and the truth beside it, in the base unit.
    ///
    /// # Errors
    /// See [`BadPoints`].
    pub fn through(low: (f64, f64), high: (f64, f64)) -> Result<Self, BadPoints> {
        let run = high.0 - low.0;
        if run.abs() < 1e-9 {
            return Err(BadPoints::SameReading);
        }
        let gain = (high.1 - low.1) / run;
        if !(0.5..=2.0).contains(&gain) {
            return Err(BadPoints::Steep);
        }
        Ok(Self { gain, offset: low.1 - gain * low.0, ..Self::NONE })
    }

    /// The corrected reading, kept inside what a sensor can truthfully say.
    pub fn apply(&self, measured: Measured) -> Measured {
        // What was never calibrated must not be rounded.
        if self.is_none() {
            return measured;
        }
        Measured::clamped(measured.quantity(), self.gain * measured.base() + self.offset)
    }

    /// Whether nothing is corrected.
    pub fn is_none(&self) -> bool {
        (self.gain - 1.0).abs() < 1e-12 && self.offset.abs() < 1e-12
    }

    /// Days since it was made, where that is more than it is good for.
    pub fn overdue(&self, now: Timestamp) -> Option<i64> {
        let made = TimeZone::UTC.to_timestamp(self.made?.at(12, 0, 0, 0)).ok()?;
        let age = now.duration_since(made);
        let overdue = Duration::try_from(age).is_ok_and(|age| age > self.good_for);
        overdue.then(|| age.as_hours() / 24)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Quantity;

    #[test]
    fn two_points_are_both_put_right_and_so_is_everything_between() {
        // A sensor that reads 73.0 over NaCl (75.5) and 95.0 over K2SO4 (97.6).
        let found = Calibration::through((0.730, 0.755), (0.950, 0.976)).unwrap();
        let right = |raw| found.apply(Measured::from_base(Quantity::RelativeHumidity, raw).unwrap()).base();
        assert!((right(0.730) - 0.755).abs() < 1e-12);
        assert!((right(0.950) - 0.976).abs() < 1e-12);
        assert!((right(0.840) - 0.8655).abs() < 1e-12);
        // What would leave the scale is kept on it.
        assert!((right(1.05) - 1.05).abs() < 1e-12);
    }

    #[test]
    fn points_that_no_working_sensor_has_give_no_correction() {
        assert_eq!(Calibration::through((0.7, 0.7), (0.7, 0.9)), Err(BadPoints::SameReading));
        assert_eq!(Calibration::through((0.74, 0.75), (0.75, 0.97)), Err(BadPoints::Steep));
        assert_eq!(Calibration::through((0.90, 0.75), (0.75, 0.97)), Err(BadPoints::Steep));
    }

    #[test]
    fn a_calibration_is_overdue_one_day_after_the_days_that_it_is_good_for() {
        let made = Calibration { offset: 0.01, made: Some(jiff::civil::date(2026, 5, 1)), ..Calibration::NONE };
        let at = |text: &str| made.overdue(text.parse().unwrap());
        assert_eq!(at("2026-10-28T11:00:00Z"), None);
        assert_eq!(at("2026-10-28T13:00:00Z"), Some(180));
        assert_eq!(Calibration::NONE.overdue("2030-01-01T00:00:00Z".parse().unwrap()), None);
    }
}
