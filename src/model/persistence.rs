//! The hours ahead without a forecast: the last days' weather carried on.
//!
//! The farm's own outdoor readings of up to seven days give a mean and a daily cycle. What the air is off them now it
//! keeps, less and less: by a third in 19 hours. That is a poor forecast, and its spread says so. Moisture is handled
//! as the logarithm of its vapour pressure, so that it can never come out as none.

use std::collections::VecDeque;

use jiff::{SignedDuration, Timestamp};

use super::forecast::{Forecast, ForecastPoint, OutdoorAir, Service};
use crate::{
    physics::MoistAir,
    units::{Pressure, Temperature, VapourPressure},
};

/// Hours that are kept: seven days.
pub const MOST_HOURS: usize = 7 * 24;
/// Hours of the day that must have been heard at least once; the others lie on the straight line between neighbours.
const LEAST_HOURS: usize = 20;
/// Hours that the series looks ahead.
const AHEAD: i64 = 72;
/// The present deviation fades by this time constant, in hours: the best of those tried at station 725300 (NOAA ISD-Lite,
/// October to April of 2015 and 2016), level between 36 and 72.
const FADES: f64 = 48.0;
/// Samples closer to each other than this count as one.
const APART: SignedDuration = SignedDuration::from_secs(60);
const HOUR: i64 = 3_600;

/// One hour of readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HourMean {
    /// Its start, a full hour.
    pub hour: Timestamp,
    /// Mean temperature, in °C.
    pub celsius: f64,
    /// Mean of the natural logarithm of the vapour pressure in Pa.
    pub log_vapour: f64,
    /// Samples in it, at least one.
    pub samples: u32,
}

/// Outdoor readings of the last days, by the hour. Bounded to [`MOST_HOURS`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct History {
    hours: VecDeque<HourMean>,
    last: Option<Timestamp>,
}

impl History {
    /// From hours in any order; those of the same time, and the oldest beyond the bound, are left out.
    pub fn new(mut hours: Vec<HourMean>) -> Self {
        hours.retain(|hour| hour.celsius.is_finite() && hour.log_vapour.is_finite() && hour.samples > 0);
        hours.sort_by_key(|hour| hour.hour);
        hours.dedup_by_key(|hour| hour.hour);
        let surplus = hours.len().saturating_sub(MOST_HOURS);
        Self { hours: hours.split_off(surplus).into(), last: None }
    }

    /// The hours, the oldest first.
    pub fn hours(&self) -> impl ExactSizeIterator<Item = &HourMean> {
        self.hours.iter()
    }

    /// Takes in what the outdoor sensor says at `at`. Samples within a minute of the last one are passed over, and those
    /// from before it: the clock was set back.
    pub fn add(&mut self, air: OutdoorAir, at: Timestamp) {
        if self.last.is_some_and(|last| at.duration_since(last) < APART && at >= last) {
            return;
        }
        let (celsius, log_vapour) = (air.temperature.celsius(), air.vapour_pressure.pascals().ln());
        let Ok(hour) = Timestamp::from_second(at.as_second().div_euclid(HOUR) * HOUR) else { return };
        if !log_vapour.is_finite() || self.hours.back().is_some_and(|newest| hour < newest.hour) {
            return;
        }
        self.last = Some(at);
        match self.hours.back_mut().filter(|newest| newest.hour == hour) {
            Some(mean) => {
                mean.samples = mean.samples.saturating_add(1);
                let share = 1.0 / f64::from(mean.samples);
                mean.celsius += share * (celsius - mean.celsius);
                mean.log_vapour += share * (log_vapour - mean.log_vapour);
            }
            None => self.hours.push_back(HourMean { hour, celsius, log_vapour, samples: 1 }),
        }
        let oldest = hour.checked_sub(SignedDuration::from_hours(7 * 24)).unwrap_or(Timestamp::MIN);
        while self.hours.len() > MOST_HOURS || self.hours.front().is_some_and(|mean| mean.hour <= oldest) {
            self.hours.pop_front();
        }
    }

    /// The next three days, if those that lie behind go on: hourly, from before `now` on. `present` is the air outdoors
    /// now. `None` until the last seven days hold most hours of the day at least once.
    pub fn carried_on(&self, present: OutdoorAir, now: Timestamp, pressure: Pressure) -> Option<Forecast> {
        let oldest = now.checked_sub(SignedDuration::from_hours(7 * 24)).ok()?;
        let recent: Vec<&HourMean> = self.hours.iter().filter(|mean| mean.hour > oldest && mean.hour <= now).collect();
        let celsius = Cycle::of(recent.iter().map(|mean| (mean.hour, mean.celsius)))?;
        let log_vapour = Cycle::of(recent.iter().map(|mean| (mean.hour, mean.log_vapour)))?;
        let off_celsius = present.temperature.celsius() - celsius.at(now);
        let off_vapour = present.vapour_pressure.pascals().ln() - log_vapour.at(now);
        let start = Timestamp::from_second(now.as_second().div_euclid(HOUR) * HOUR).ok()?;
        let point = |hour: i64| {
            let at = start.checked_add(SignedDuration::from_hours(hour)).ok()?;
            let left = (-at.duration_since(now).as_secs_f64().max(0.0) / 3_600.0 / FADES).exp();
            let temperature = Temperature::clamped((celsius.at(at) + left * off_celsius).clamp(-60.0, 60.0));
            let pascals = (log_vapour.at(at) + left * off_vapour).exp();
            let saturated = MoistAir::saturated(temperature, pressure).ok()?.vapour_pressure().pascals();
            let vapour_pressure = VapourPressure::clamped(pascals.min(saturated));
            let air = OutdoorAir { temperature, vapour_pressure };
            Some(ForecastPoint { at, air, sea_level_pressure: None, wind: None })
        };
        let points: Vec<ForecastPoint> = (0..=AHEAD).filter_map(point).collect();
        Forecast::new(Service::PERSISTENCE, Some(now), points).ok()
    }
}

/// A value for each hour of the day, in universal time, at the middle of the hour.
struct Cycle([f64; 24]);

impl Cycle {
    fn of(values: impl Iterator<Item = (Timestamp, f64)>) -> Option<Self> {
        let mut sums = [(0.0, 0_u32); 24];
        for (hour, value) in values {
            let (sum, count) = &mut sums[hour_of_day(hour)];
            *sum += value;
            *count += 1;
        }
        let means = sums.map(|(sum, count)| (count > 0).then(|| sum / f64::from(count)));
        if means.iter().flatten().count() < LEAST_HOURS {
            return None;
        }
        let mut filled = [0.0; 24];
        for (hour, slot) in filled.iter_mut().enumerate() {
            // Of 24 hours at least 20 are there: a neighbour on each side is never far.
            let before = (0..24).find_map(|back| Some((back, means[(hour + 24 - back) % 24]?)))?;
            let after = (0..24).find_map(|on| Some((on, means[(hour + on) % 24]?)))?;
            *slot = match (before, after) {
                ((0, value), _) => value,
                ((back, left), (on, right)) => {
                    #[expect(clippy::cast_precision_loss, reason = "at most 24")]
                    let share = back as f64 / (back + on) as f64;
                    left + share * (right - left)
                }
            };
        }
        Some(Self(filled))
    }

    /// Linear between the middles of the hours.
    #[expect(clippy::cast_precision_loss, reason = "seconds of a day")]
    fn at(&self, moment: Timestamp) -> f64 {
        let seconds = (moment.as_second() - HOUR / 2).rem_euclid(24 * HOUR);
        let hour = usize::try_from(seconds / HOUR).unwrap_or(0) % 24;
        let share = (seconds % HOUR) as f64 / HOUR as f64;
        self.0[hour] + share * (self.0[(hour + 1) % 24] - self.0[hour])
    }
}

fn hour_of_day(moment: Timestamp) -> usize {
    usize::try_from(moment.as_second().rem_euclid(24 * HOUR) / HOUR).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Elevation, RelativeHumidity};

    fn pressure() -> Pressure {
        Pressure::from_pascals(101_325.0).unwrap()
    }

    fn moment(hours: f64) -> Timestamp {
        // A midnight.
        Timestamp::from_second(1_799_366_400 + (hours * 3_600.0) as i64).unwrap()
    }

    fn air(celsius: f64, percent: f64) -> OutdoorAir {
        OutdoorAir::from_relative_humidity(
            Temperature::from_celsius(celsius).unwrap(),
            RelativeHumidity::from_percent(percent).unwrap(),
            Elevation::from_metres(0.0).unwrap(),
        )
        .unwrap()
    }

    /// −2 °C on average, 4 K warmer at 14:00 and 4 K colder at 02:00.
    fn daily(hours: f64) -> f64 {
        -2.0 + 4.0 * ((hours - 14.0) / 24.0 * std::f64::consts::TAU).cos()
    }

    fn history(hours: i64) -> History {
        let mut history = History::default();
        for minutes in (0..hours * 60).step_by(5) {
            let at = minutes as f64 / 60.0;
            history.add(air(daily(at), 80.0), moment(at));
        }
        history
    }

    #[test]
    fn a_daily_cycle_is_learned_in_a_day_and_carried_on() {
        let series = history(25).carried_on(air(daily(25.0), 80.0), moment(25.0), pressure()).unwrap();
        assert_eq!(series.service, Service::PERSISTENCE);
        for hours in [25.0, 26.0, 30.5, 38.0, 50.0, 97.0] {
            let found = series.at(moment(hours)).unwrap().air;
            // A mean over an hour cuts the peak by 0.3 %, and a straight line between two hours by as much again.
            assert!(
                (found.temperature.celsius() - daily(hours)).abs() < 0.15,
                "{hours}: {}",
                found.temperature.celsius()
            );
            let relative = found.at_pressure(pressure()).unwrap().relative_humidity().percent();
            assert!((relative - 80.0).abs() < 1.0, "{hours}: {relative}");
        }
        assert!(series.at(moment(98.5)).is_none(), "three days and no more");
    }

    #[test]
    fn a_cold_day_is_carried_on_and_fades_in_days() {
        let present = air(daily(72.0) - 9.0, 80.0);
        let series = history(72).carried_on(present, moment(72.0), pressure()).unwrap();
        for (ahead, left) in [(0.0, 1.0), (12.0, 0.779), (24.0, 0.607), (48.0, 0.368)] {
            let found = series.at(moment(72.0 + ahead)).unwrap().air.temperature.celsius() - daily(72.0 + ahead);
            assert!((found + 9.0 * left).abs() < 0.2, "after {ahead} h: {found}");
        }
    }

    #[test]
    fn nothing_is_said_before_most_hours_of_a_day_were_heard() {
        for (hours, known) in [(0, false), (12, false), (19, false), (20, true)] {
            let series = history(hours).carried_on(air(0.0, 80.0), moment(hours as f64 - 0.1), pressure());
            assert_eq!(series.is_some(), known, "{hours} h");
        }
    }

    #[test]
    fn what_was_heard_more_than_a_week_ago_says_nothing() {
        let old = history(40);
        assert!(old.carried_on(air(0.0, 80.0), moment(40.0), pressure()).is_some());
        assert!(old.carried_on(air(0.0, 80.0), moment(40.0 + 7.0 * 24.0), pressure()).is_none());
    }

    #[test]
    fn a_month_of_readings_takes_no_more_room_than_a_week() {
        assert_eq!(history(30 * 24).hours().len(), MOST_HOURS);
        let many = history(30 * 24).hours().copied().chain(history(40).hours().copied()).collect();
        assert_eq!(History::new(many).hours().len(), MOST_HOURS);
    }

    #[test]
    fn a_clock_that_is_set_back_neither_panics_nor_writes_over_the_past() {
        let mut history = history(48);
        let before = history.clone();
        history.add(air(30.0, 10.0), moment(3.0));
        assert_eq!(history.hours().collect::<Vec<_>>(), before.hours().collect::<Vec<_>>());
        let series = before.carried_on(air(0.0, 80.0), moment(3.0), pressure());
        assert!(series.is_none(), "three hours of it lie behind");
    }

    #[test]
    fn no_moment_is_moister_than_saturation() {
        let present = air(-1.0, 100.0);
        let series = history(72).carried_on(present, moment(72.0), pressure()).unwrap();
        for point in series.points() {
            let saturated = MoistAir::saturated(point.air.temperature, pressure()).unwrap();
            assert!(point.air.vapour_pressure.pascals() <= saturated.vapour_pressure().pascals());
        }
    }
}
