//! What dries caps: the air's vapour-pressure deficit times its speed at the crop.

use crate::{
    physics::MoistAir,
    units::{RelativeHumidity, Speed},
};

/// Drying power in mbar·m/min that the trade accepts (Edwards, quoted by Bowman, ISMS 1989): less leaves caps wet, more takes
/// weight from them.
pub const ACCEPTED: std::ops::RangeInclusive<f64> = 4.0..=10.0;

/// Pa times m/s in mbar·m/min.
const MILLIBAR_METRES_PER_MINUTE: f64 = 60.0 / 100.0;

/// Drying power of this air where it passes the crop with this speed, in mbar·m/min.
pub fn power(air: &MoistAir, speed: Speed) -> f64 {
    air.vapour_pressure_deficit().pascals() * speed.metres_per_second() * MILLIBAR_METRES_PER_MINUTE
}

/// The highest relative humidity at which air of this temperature still has the least that is accepted; `None` where even
/// dry air has less.
pub fn highest_humidity(air: &MoistAir, speed: Speed) -> Option<RelativeHumidity> {
    let dry = air.vapour_pressure_deficit().pascals() / (1.0 - air.relative_humidity().ratio()).max(1e-6);
    let all = dry * speed.metres_per_second() * MILLIBAR_METRES_PER_MINUTE;
    let share = ACCEPTED.start() / all;
    (share < 1.0).then(|| RelativeHumidity::clamped(1.0 - share))
}

/// How a drying power is judged, as published.
pub fn judged(power: f64) -> Judgement {
    if power < *ACCEPTED.start() {
        Judgement::Low
    } else if power > *ACCEPTED.end() {
        Judgement::High
    } else {
        Judgement::Accepted
    }
}

/// See [`judged`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judgement {
    /// Caps stay wet.
    Low,
    /// As the trade accepts.
    Accepted,
    /// Caps lose weight; in gentle air at the band's humidity this is common.
    High,
}

impl Judgement {
    /// Every judgement.
    pub const ALL: [Self; 3] = [Self::Low, Self::Accepted, Self::High];

    /// As published.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Accepted => "accepted",
            Self::High => "high",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        physics::BelowFreezing,
        units::{Pressure, Temperature},
    };

    fn air(percent: f64) -> MoistAir {
        let temperature = Temperature::from_celsius(16.0).unwrap();
        let humidity = RelativeHumidity::from_percent(percent).unwrap();
        MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, Pressure::from_pascals(101_325.0).unwrap())
            .unwrap()
    }

    /// By hand: 18.18 mbar at saturation (16 °C, WMO No. 8), 10 % of it at 90 %, times 6 m/min: 10.9.
    #[test]
    fn drying_power_is_deficit_times_speed() {
        let speed = Speed::from_metres_per_second(0.1).unwrap();
        let found = power(&air(90.0), speed);
        assert!((found - 10.9).abs() < 0.1, "{found}");
        assert_eq!(judged(found), Judgement::High);
        assert_eq!(judged(power(&air(93.0), speed)), Judgement::Accepted);
        assert_eq!(judged(power(&air(97.0), speed)), Judgement::Low);
    }

    /// The least that was published against blotch is just kept at 96 %, 16 °C and 0.1 m/s (see the crop catalogue).
    #[test]
    fn the_highest_humidity_has_just_the_least_that_is_accepted() {
        let speed = Speed::from_metres_per_second(0.1).unwrap();
        let highest = highest_humidity(&air(90.0), speed).unwrap();
        assert!((highest.percent() - 96.3).abs() < 0.2, "{highest:?}");
        assert!((power(&air(highest.percent()), speed) - 4.0).abs() < 0.05);
        assert!(highest_humidity(&air(90.0), Speed::from_metres_per_second(0.001).unwrap()).is_none());
    }
}
