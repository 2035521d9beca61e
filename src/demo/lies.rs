//! Two sensors that begin to lie in the third act, and the rule that believes them.

use std::time::Duration;

use super::farm::{Orders, Readings};

/// The room whose carbon dioxide sensor lies: the one whose crop bears least of it.
pub(super) const BAY: usize = 3;

/// The room of whose two humidity sensors one lies.
pub(super) const HALL: usize = 1;

/// When the carbon dioxide sensor begins to lie, after dusk.
pub(super) const FIRST: Duration = Duration::from_secs(17 * 3_600);

/// When the humidity sensor begins to lie, after dusk.
pub(super) const SECOND: Duration = Duration::from_secs(18 * 3_600);

/// Where the failing carbon dioxide sensor comes to rest, ppm: below any outdoor air.
const SUNK: f64 = 300.0;

/// How long it sinks, minutes.
const SINKING: f64 = 20.0;

/// What is left of its answer to the air when it has sunk, a share.
const LEFT: f64 = 0.02;

/// What the humidity sensor with the broken contact says, a ratio.
pub(super) const BROKEN: f64 = 0.4;

/// What the failing carbon dioxide sensor says at `passed` where an honest one says `reading`, ppm: its cell fogs up,
/// and within minutes it hardly answers to the air any more.
pub(super) fn carbon_dioxide(reading: f64, passed: Duration) -> f64 {
    let Some(since) = passed.checked_sub(FIRST) else { return reading };
    let share = (1.0 - since.as_secs_f64() / 60.0 / SINKING).max(LEFT);
    SUNK + (reading - SUNK) * share
}

/// What the sensor at the top shelf says at `passed` where an honest one says `reading`, a ratio: its contact has corroded.
pub(super) fn humidity(reading: f64, passed: Duration) -> f64 {
    if passed >= SECOND { BROKEN } else { reading }
}

/// A common rule of thumb, which believes its carbon dioxide sensor: full usual air above one level, the least air below
/// another.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Believer {
    open: bool,
}

impl Believer {
    /// Above this it opens the fan, below the second it closes it, ppm: four fifths of the crop's limit, and a little less.
    const LEVELS: (f64, f64) = (640.0, 600.0);
    /// Shares of the fan's capacity: the room's usual five air changes an hour, and one.
    const FANS: (f64, f64) = (450.0 / 800.0, 90.0 / 800.0);

    /// The orders that it makes of others: those, but for the bay's fan.
    pub(super) fn orders(&mut self, orders: &[Orders; 4], readings: &[Readings], passed: Duration) -> [Orders; 4] {
        let read = carbon_dioxide(readings[BAY].carbon_dioxide, passed);
        self.open = if self.open { read > Self::LEVELS.1 } else { read > Self::LEVELS.0 };
        let mut made = *orders;
        made[BAY].fan = if self.open { Self::FANS.0 } else { Self::FANS.1 };
        made
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_sensors_are_honest_until_their_hour_and_lie_after_it() {
        let before = FIRST - Duration::from_secs(60);
        assert!((carbon_dioxide(640.0, before) - 640.0).abs() < f64::EPSILON);
        assert!((carbon_dioxide(640.0, FIRST + Duration::from_secs(600)) - 470.0).abs() < 1e-9);
        let sunk = carbon_dioxide(1_500.0, FIRST + Duration::from_secs(3_600));
        assert!((300.0..330.0).contains(&sunk), "{sunk} ppm");
        assert!((humidity(0.86, before) - 0.86).abs() < f64::EPSILON);
        assert!((humidity(0.86, SECOND) - BROKEN).abs() < f64::EPSILON);
    }

    #[test]
    fn a_rule_that_believes_its_sensor_closes_the_fan_on_the_crop() {
        let orders = [Orders { fan: 0.4, humidity: Some(0.9) }; 4];
        let readings = [Readings { temperature: 15.0, relative_humidity: 0.9, carbon_dioxide: 700.0 }; 4];
        let mut rule = Believer::default();
        let honest = rule.orders(&orders, &readings, Duration::ZERO);
        let lied_to = rule.orders(&orders, &readings, FIRST + Duration::from_secs(3_600));
        assert!(honest[BAY].fan > 0.5 && lied_to[BAY].fan < 0.2);
        assert_eq!(lied_to[HALL], orders[HALL]);
    }
}
