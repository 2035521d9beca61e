//! What a sensor said, and whether it may still be believed.

use std::time::Duration;

use super::{Fault, Now};
use crate::units::{CarbonDioxide, Fraction, OutOfRange, Pressure, RelativeHumidity, Temperature};

/// What a source measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Quantity {
    /// Air temperature.
    Temperature,
    /// Relative humidity of the air.
    RelativeHumidity,
    /// Dew point of the air; a frost point where the source's setting says so.
    DewPoint,
    /// Carbon dioxide in the air.
    CarbonDioxide,
    /// Air pressure at the site (not reduced to sea level).
    Pressure,
    /// Temperature of a surface, by a probe on it.
    SurfaceTemperature,
    /// What the fan reports of itself: 0 stands still, 1 is full speed.
    FanState,
    /// What the humidifier reports of itself: 0 is off, 1 is full output.
    HumidifierState,
}

impl Quantity {
    /// Every quantity, in the order in which they are listed to people.
    pub const ALL: [Self; 8] = [
        Self::Temperature,
        Self::RelativeHumidity,
        Self::DewPoint,
        Self::CarbonDioxide,
        Self::Pressure,
        Self::SurfaceTemperature,
        Self::FanState,
        Self::HumidifierState,
    ];

    /// As it is written in configuration, topics and labels.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::RelativeHumidity => "relative-humidity",
            Self::DewPoint => "dew-point",
            Self::CarbonDioxide => "carbon-dioxide",
            Self::Pressure => "pressure",
            Self::SurfaceTemperature => "surface-temperature",
            Self::FanState => "fan-state",
            Self::HumidifierState => "humidifier-state",
        }
    }

    /// As it is said in a sentence.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Temperature => "temperature",
            Self::RelativeHumidity => "relative humidity",
            Self::DewPoint => "dew point",
            Self::CarbonDioxide => "carbon dioxide",
            Self::Pressure => "air pressure",
            Self::SurfaceTemperature => "surface temperature",
            Self::FanState => "fan",
            Self::HumidifierState => "humidifier",
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
    /// Dew point, or frost point.
    DewPoint(Temperature),
    /// Air pressure at the site.
    Pressure(Pressure),
    /// Temperature of a surface.
    SurfaceTemperature(Temperature),
    /// What the fan reports.
    FanState(Fraction),
    /// What the humidifier reports.
    HumidifierState(Fraction),
}

impl Measured {
    /// From a number in the base unit of `quantity`: °C, ratio, ppm, Pa.
    ///
    /// The bounds are those of what a farm's sensor can truthfully say, tighter than the quantity's own: −60…80 °C,
    /// 0…105 % (a humid sensor may overshoot saturation a little), 0…100,000 ppm, 50…110 kPa; for dew points −90…80 °C,
    /// for what a machine reports of itself 0…1.
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
            Quantity::DewPoint => Self::DewPoint(Temperature::from_celsius(value)?),
            Quantity::Pressure => Self::Pressure(Pressure::from_pascals(value)?),
            Quantity::SurfaceTemperature => Self::SurfaceTemperature(Temperature::from_celsius(value)?),
            Quantity::FanState => Self::FanState(Fraction::from_ratio(value)?),
            Quantity::HumidifierState => Self::HumidifierState(Fraction::from_ratio(value)?),
        })
    }

    /// From a number in the base unit that may be cut to the bounds; not a number becomes the lower bound.
    pub fn clamped(quantity: Quantity, value: f64) -> Self {
        let (lowest, highest, _) = Self::bounds(quantity);
        let value = if value.is_nan() { lowest } else { value.clamp(lowest, highest) };
        match quantity {
            Quantity::Temperature => Self::Temperature(Temperature::clamped(value)),
            Quantity::RelativeHumidity => Self::RelativeHumidity(RelativeHumidity::clamped(value)),
            Quantity::CarbonDioxide => Self::CarbonDioxide(CarbonDioxide::clamped(value)),
            Quantity::DewPoint => Self::DewPoint(Temperature::clamped(value)),
            Quantity::Pressure => Self::Pressure(Pressure::clamped(value)),
            Quantity::SurfaceTemperature => Self::SurfaceTemperature(Temperature::clamped(value)),
            Quantity::FanState => Self::FanState(Fraction::clamped(value)),
            Quantity::HumidifierState => Self::HumidifierState(Fraction::clamped(value)),
        }
    }

    /// Lowest and highest believable number in the base unit, and that unit.
    pub const fn bounds(quantity: Quantity) -> (f64, f64, &'static str) {
        match quantity {
            Quantity::Temperature | Quantity::SurfaceTemperature => (-60.0, 80.0, "°C"),
            // A frost point of very dry air lies far below the air itself.
            Quantity::DewPoint => (-90.0, 80.0, "°C"),
            Quantity::RelativeHumidity => (0.0, 1.05, "ratio"),
            Quantity::CarbonDioxide => (0.0, 100_000.0, "ppm"),
            Quantity::Pressure => (50_000.0, 110_000.0, "Pa"),
            Quantity::FanState | Quantity::HumidifierState => (0.0, 1.0, "ratio"),
        }
    }

    /// Which quantity this is.
    pub const fn quantity(self) -> Quantity {
        match self {
            Self::Temperature(_) => Quantity::Temperature,
            Self::RelativeHumidity(_) => Quantity::RelativeHumidity,
            Self::CarbonDioxide(_) => Quantity::CarbonDioxide,
            Self::DewPoint(_) => Quantity::DewPoint,
            Self::Pressure(_) => Quantity::Pressure,
            Self::SurfaceTemperature(_) => Quantity::SurfaceTemperature,
            Self::FanState(_) => Quantity::FanState,
            Self::HumidifierState(_) => Quantity::HumidifierState,
        }
    }

    /// The number in the base unit of the quantity: °C, ratio, ppm, Pa.
    pub fn base(self) -> f64 {
        match self {
            Self::Temperature(value) | Self::DewPoint(value) | Self::SurfaceTemperature(value) => value.celsius(),
            Self::RelativeHumidity(value) => value.ratio(),
            Self::CarbonDioxide(value) => value.parts_per_million(),
            Self::Pressure(value) => value.pascals(),
            Self::FanState(value) | Self::HumidifierState(value) => value.ratio(),
        }
    }
}

/// State of one source or of one fused quantity.
///
/// ```text
/// never ──reading──▶ fresh ──half its maximum age──▶ ageing ──its maximum age──▶ stale
///                      ▲                                │                          │
///                      └────────────────────────────reading───────────────────────┘
///
/// fresh, ageing ──a fault is found──▶ suspect ──its maximum age──▶ stale
/// any ──for a minute every message is refused──▶ rejected ──a believable reading──▶ fresh
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reading<T> {
    /// Nothing has arrived since the start. A retained message on connect does not count.
    Never,
    /// Young enough to act on.
    Fresh {
        /// What was said.
        value: T,
        /// When it was measured, as [`Now::elapsed`].
        at: Duration,
    },
    /// Older than half of its maximum age: a message has probably been missed. Still acted on, as the worst that the
    /// value could be by now.
    Ageing {
        /// What was said.
        value: T,
        /// When it was measured, as [`Now::elapsed`].
        at: Duration,
    },
    /// Older than the source's maximum age: kept to be shown, never acted on.
    Stale {
        /// What was last said.
        value: T,
        /// When it was measured, as [`Now::elapsed`].
        at: Duration,
    },
    /// It speaks, and every message is refused.
    Rejected {
        /// When the last message came, as [`Now::elapsed`].
        at: Duration,
    },
    /// It says something, and is not believed.
    Suspect {
        /// What it says.
        value: T,
        /// When it was measured, as [`Now::elapsed`].
        at: Duration,
        /// Why it is not believed.
        fault: Fault,
    },
}

impl<T: Copy> Reading<T> {
    /// The value, if it may be acted on: fresh or ageing.
    pub fn fresh(&self) -> Option<T> {
        match self {
            Self::Fresh { value, .. } | Self::Ageing { value, .. } => Some(*value),
            Self::Never | Self::Stale { .. } | Self::Rejected { .. } | Self::Suspect { .. } => None,
        }
    }

    /// Whether there is a value that may be acted on.
    pub fn is_fresh(&self) -> bool {
        self.fresh().is_some()
    }

    /// What is said at present, believed or not. Only dangers may be judged by it, where silence would be worse.
    pub fn heard(&self) -> Option<T> {
        match self {
            Self::Fresh { value, .. } | Self::Ageing { value, .. } | Self::Suspect { value, .. } => Some(*value),
            Self::Never | Self::Stale { .. } | Self::Rejected { .. } => None,
        }
    }

    /// What was said last, to be shown beside its state.
    pub fn last(&self) -> Option<T> {
        match self {
            Self::Fresh { value, .. }
            | Self::Ageing { value, .. }
            | Self::Stale { value, .. }
            | Self::Suspect { value, .. } => Some(*value),
            Self::Never | Self::Rejected { .. } => None,
        }
    }

    /// When the last value was measured, or the last message refused.
    pub fn at(&self) -> Option<Duration> {
        match self {
            Self::Never => None,
            Self::Fresh { at, .. }
            | Self::Ageing { at, .. }
            | Self::Stale { at, .. }
            | Self::Rejected { at }
            | Self::Suspect { at, .. } => Some(*at),
        }
    }

    /// Why it is not believed, while it is suspect.
    pub fn fault(&self) -> Option<Fault> {
        if let Self::Suspect { fault, .. } = self { Some(*fault) } else { None }
    }

    /// The same reading as seen `now`, by its age.
    #[must_use]
    pub fn aged(self, maximum_age: Duration, now: &Now) -> Self {
        let old = |at| now.since(at) > maximum_age;
        match self {
            Self::Fresh { value, at } | Self::Ageing { value, at } | Self::Suspect { value, at, .. } if old(at) => {
                Self::Stale { value, at }
            }
            Self::Fresh { value, at } if now.since(at) > maximum_age / 2 => Self::Ageing { value, at },
            other => other,
        }
    }

    /// The same reading, not believed any more; what is not heard is not suspected.
    #[must_use]
    pub fn suspected(self, fault: Fault) -> Self {
        match self {
            Self::Fresh { value, at } | Self::Ageing { value, at } | Self::Suspect { value, at, .. } => {
                Self::Suspect { value, at, fault }
            }
            other => other,
        }
    }

    /// When its state changes by nothing but time, as [`Now::elapsed`].
    pub fn next_change(&self, maximum_age: Duration) -> Option<Duration> {
        let step = Duration::from_millis(1);
        match self {
            Self::Fresh { at, .. } => Some(*at + maximum_age / 2 + step),
            Self::Ageing { at, .. } | Self::Suspect { at, .. } => Some(*at + maximum_age + step),
            Self::Never | Self::Stale { .. } | Self::Rejected { .. } => None,
        }
    }

    /// The same state with another value inside; never heard of where the change gives none.
    pub fn and_then<U>(self, change: impl FnOnce(T) -> Option<U>) -> Reading<U> {
        let Some(value) = self.last() else {
            return if let Self::Rejected { at } = self { Reading::Rejected { at } } else { Reading::Never };
        };
        match (self, change(value)) {
            (Self::Fresh { at, .. }, Some(value)) => Reading::Fresh { value, at },
            (Self::Ageing { at, .. }, Some(value)) => Reading::Ageing { value, at },
            (Self::Stale { at, .. }, Some(value)) => Reading::Stale { value, at },
            (Self::Suspect { at, fault, .. }, Some(value)) => Reading::Suspect { value, at, fault },
            _ => Reading::Never,
        }
    }

    /// One word for topics, labels and tables, one of [`READING_STATES`].
    pub const fn state(&self) -> &'static str {
        match self {
            Self::Never => "never",
            Self::Fresh { .. } => "fresh",
            Self::Ageing { .. } => "ageing",
            Self::Stale { .. } => "stale",
            Self::Rejected { .. } => "rejected",
            Self::Suspect { .. } => "suspect",
        }
    }
}

/// Every word of [`Reading::state`].
pub const READING_STATES: [&str; 6] = ["never", "fresh", "ageing", "stale", "rejected", "suspect"];

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

    fn after(reading: Reading<i32>, seconds: u64) -> Reading<i32> {
        let now = Now { elapsed: Duration::from_secs(seconds), wall: jiff::Timestamp::UNIX_EPOCH, trusted: true };
        reading.aged(Duration::from_secs(60), &now)
    }

    #[test]
    fn a_reading_goes_stale_exactly_when_it_outlives_its_maximum_age() {
        let reading = Reading::Fresh { value: 1, at: Duration::from_secs(100) };
        assert_eq!((after(reading, 130).state(), after(reading, 131).state()), ("fresh", "ageing"));
        assert_eq!(after(reading, 160).fresh(), Some(1));
        assert_eq!(after(reading, 161).fresh(), None);
        assert_eq!(after(after(reading, 131), 161).state(), "stale");
    }

    #[test]
    fn a_suspect_reading_is_heard_and_never_acted_on_and_goes_stale_like_any_other() {
        let reading = Reading::Fresh { value: 1, at: Duration::from_secs(100) }.suspected(Fault::Stuck);
        assert_eq!((reading.fresh(), reading.heard(), reading.fault()), (None, Some(1), Some(Fault::Stuck)));
        assert_eq!(after(reading, 161).state(), "stale");
        assert_eq!(Reading::<i32>::Never.suspected(Fault::Stuck), Reading::Never);
    }
}
