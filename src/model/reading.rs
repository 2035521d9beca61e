//! What a sensor said, and whether it may still be believed.

use std::time::Duration;

use super::Now;
use crate::units::{CarbonDioxide, OutOfRange, Pressure, RelativeHumidity, Temperature};

/// What a source measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Air temperature.
    Temperature,
    /// Relative humidity of the air.
    RelativeHumidity,
    /// Carbon dioxide in the air.
    CarbonDioxide,
    /// Air pressure at the site (not reduced to sea level).
    Pressure,
}

impl Quantity {
    /// Every quantity, in the order in which they are listed to people.
    pub const ALL: [Self; 4] = [Self::Temperature, Self::RelativeHumidity, Self::CarbonDioxide, Self::Pressure];

    /// As it is written in configuration, topics and labels.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::RelativeHumidity => "relative-humidity",
            Self::CarbonDioxide => "carbon-dioxide",
            Self::Pressure => "pressure",
        }
    }

    /// As it is said in a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::RelativeHumidity => "relative humidity",
            Self::CarbonDioxide => "carbon dioxide",
            Self::Pressure => "air pressure",
        }
    }
}

/// A measured value in its own type.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measured {
    /// Air temperature.
    Temperature(Temperature),
    /// Relative humidity.
    RelativeHumidity(RelativeHumidity),
    /// Carbon dioxide.
    CarbonDioxide(CarbonDioxide),
    /// Air pressure at the site.
    Pressure(Pressure),
}

impl Measured {
    /// From a number in the base unit of `quantity`: °C, ratio, ppm, Pa.
    ///
    /// The bounds are those of what a farm's sensor can truthfully say, tighter than the quantity's own: −60…80 °C,
    /// 0…105 % (a humid sensor may overshoot saturation a little), 0…100,000 ppm, 50…110 kPa.
    ///
    /// # Errors
    /// Outside those bounds, or not a number.
    pub fn from_base(quantity: Quantity, value: f64) -> Result<Self, OutOfRange> {
        let (lowest, highest, unit) = Self::bounds(quantity);
        if !(lowest..=highest).contains(&value) {
            return Err(OutOfRange { quantity: quantity.words(), value, unit, lowest, highest });
        }
        Ok(match quantity {
            Quantity::Temperature => Self::Temperature(Temperature::from_celsius(value)?),
            Quantity::RelativeHumidity => Self::RelativeHumidity(RelativeHumidity::from_ratio(value)?),
            Quantity::CarbonDioxide => Self::CarbonDioxide(CarbonDioxide::from_parts_per_million(value)?),
            Quantity::Pressure => Self::Pressure(Pressure::from_pascals(value)?),
        })
    }

    /// Lowest and highest believable number in the base unit, and that unit.
    pub const fn bounds(quantity: Quantity) -> (f64, f64, &'static str) {
        match quantity {
            Quantity::Temperature => (-60.0, 80.0, "°C"),
            Quantity::RelativeHumidity => (0.0, 1.05, "ratio"),
            Quantity::CarbonDioxide => (0.0, 100_000.0, "ppm"),
            Quantity::Pressure => (50_000.0, 110_000.0, "Pa"),
        }
    }

    /// Which quantity this is.
    pub const fn quantity(self) -> Quantity {
        match self {
            Self::Temperature(_) => Quantity::Temperature,
            Self::RelativeHumidity(_) => Quantity::RelativeHumidity,
            Self::CarbonDioxide(_) => Quantity::CarbonDioxide,
            Self::Pressure(_) => Quantity::Pressure,
        }
    }

    /// The number in the base unit of the quantity: °C, ratio, ppm, Pa.
    pub fn base(self) -> f64 {
        match self {
            Self::Temperature(value) => value.celsius(),
            Self::RelativeHumidity(value) => value.ratio(),
            Self::CarbonDioxide(value) => value.parts_per_million(),
            Self::Pressure(value) => value.pascals(),
        }
    }
}

/// State of one source or of one fused quantity.
///
/// ```text
/// never ──reading──▶ fresh ──older than its maximum age──▶ stale
///                      ▲                                     │
///                      └───────────────reading───────────────┘
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading<T> {
    /// Nothing has arrived since the start. A retained message on connect does not count.
    Never,
    /// Young enough to act on.
    Fresh {
        /// What was said.
        value: T,
        /// When it arrived, as [`Now::elapsed`].
        at: Duration,
    },
    /// Older than the source's maximum age: kept to be shown, never acted on.
    Stale {
        /// What was last said.
        value: T,
        /// When it arrived, as [`Now::elapsed`].
        at: Duration,
    },
}

impl<T: Copy> Reading<T> {
    /// The value, if it may be acted on.
    pub fn fresh(&self) -> Option<T> {
        match self {
            Self::Fresh { value, .. } => Some(*value),
            Self::Never | Self::Stale { .. } => None,
        }
    }

    /// When the last value arrived, fresh or not.
    pub fn at(&self) -> Option<Duration> {
        match self {
            Self::Never => None,
            Self::Fresh { at, .. } | Self::Stale { at, .. } => Some(*at),
        }
    }

    /// The same reading as seen `now`: a fresh one that has outlived `maximum_age` becomes stale.
    #[must_use]
    pub fn aged(self, maximum_age: Duration, now: &Now) -> Self {
        match self {
            Self::Fresh { value, at } if now.since(at) > maximum_age => Self::Stale { value, at },
            other => other,
        }
    }

    /// The same state with another value inside; never heard of where the change gives none.
    pub fn and_then<U>(self, change: impl FnOnce(T) -> Option<U>) -> Reading<U> {
        match self {
            Self::Never => Reading::Never,
            Self::Fresh { value, at } => change(value).map_or(Reading::Never, |value| Reading::Fresh { value, at }),
            Self::Stale { value, at } => change(value).map_or(Reading::Never, |value| Reading::Stale { value, at }),
        }
    }

    /// One word for topics, labels and tables.
    pub const fn state(&self) -> &'static str {
        match self {
            Self::Never => "never",
            Self::Fresh { .. } => "fresh",
            Self::Stale { .. } => "stale",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_number_that_a_sensor_cannot_truthfully_say_becomes_a_measurement() {
        for quantity in Quantity::ALL {
            let (lowest, highest, _) = Measured::bounds(quantity);
            for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, lowest - 0.1, highest + 0.1] {
                assert!(Measured::from_base(quantity, value).is_err(), "{value} as {quantity:?}");
            }
            let value = Measured::from_base(quantity, highest).unwrap();
            assert!((value.base() - highest).abs() < 1e-9);
            assert_eq!(value.quantity(), quantity);
        }
    }

    #[test]
    fn a_reading_goes_stale_exactly_when_it_outlives_its_maximum_age() {
        let at = Duration::from_secs(100);
        let reading = Reading::Fresh { value: 1, at };
        let seen = |seconds| {
            let now = Now { elapsed: Duration::from_secs(seconds), wall: jiff::Timestamp::UNIX_EPOCH, trusted: true };
            reading.aged(Duration::from_secs(60), &now).fresh()
        };
        assert_eq!(seen(160), Some(1));
        assert_eq!(seen(161), None);
    }
}
