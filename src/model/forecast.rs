//! The outdoor forecast, whoever made it.

use jiff::{SignedDuration, Timestamp};

use crate::{
    physics::{BelowFreezing, MoistAir, MoistAirError, atmosphere},
    units::{Elevation, Pressure, RelativeHumidity, Speed, Temperature, VapourPressure},
};

/// Who made a forecast. Which services there are is known where their bodies are read; everybody else only needs to
/// name them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Service {
    name: &'static str,
    title: &'static str,
    attribution: &'static str,
}

impl Service {
    /// No service: the farm's own readings carried on, see [`persistence`](super::persistence).
    pub const PERSISTENCE: Self = Self::new("persistence", "The farm's own last days", "");

    /// A service by its name in configuration, topics and labels, its name in a sentence, and the credit that its
    /// licence asks for (empty if it asks for none).
    pub const fn new(name: &'static str, title: &'static str, attribution: &'static str) -> Self {
        Self { name, title, attribution }
    }

    /// As it is written in configuration, topics and labels.
    pub const fn name(self) -> &'static str {
        self.name
    }

    /// As it is said in a sentence.
    pub const fn title(self) -> &'static str {
        self.title
    }

    /// The credit that has to stand wherever its data are shown.
    pub const fn attribution(self) -> &'static str {
        self.attribution
    }
}

/// Outdoor air, as measured or as forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OutdoorAir {
    /// Dry-bulb temperature.
    pub temperature: Temperature,
    /// Partial pressure of the water vapour: what mixes and interpolates, unlike relative humidity.
    pub vapour_pressure: VapourPressure,
}

impl OutdoorAir {
    /// From temperature and dew point, both over liquid water at every temperature, as meteorological practice has it.
    /// The pressure at `elevation` is that of the standard atmosphere: it moves the result by less than 0.02 %.
    ///
    /// # Errors
    /// Outside −60…80 °C, or a dew point above the temperature.
    pub fn from_dew_point(
        temperature: Temperature,
        dew_point: Temperature,
        elevation: Elevation,
    ) -> Result<Self, MoistAirError> {
        let pressure = atmosphere::standard_pressure(elevation);
        let air = MoistAir::from_dew_point(temperature, dew_point, BelowFreezing::Water, pressure)?;
        Ok(Self { temperature, vapour_pressure: air.vapour_pressure() })
    }

    /// From temperature and relative humidity over liquid water; see [`Self::from_dew_point`].
    ///
    /// # Errors
    /// Outside −60…80 °C, or more than saturated.
    pub fn from_relative_humidity(
        temperature: Temperature,
        relative_humidity: RelativeHumidity,
        elevation: Elevation,
    ) -> Result<Self, MoistAirError> {
        let pressure = atmosphere::standard_pressure(elevation);
        let air = MoistAir::from_relative_humidity(temperature, relative_humidity, BelowFreezing::Water, pressure)?;
        Ok(Self { temperature, vapour_pressure: air.vapour_pressure() })
    }

    /// The state of this air at the site's pressure. Saturated where the vapour pressure is above saturation, which
    /// happens in fog: between two saturated moments the straight line runs above the curve of saturation.
    ///
    /// # Errors
    /// Outside −60…80 °C, or near boiling.
    pub fn at_pressure(self, pressure: Pressure) -> Result<MoistAir, MoistAirError> {
        match MoistAir::from_vapour_pressure(self.temperature, self.vapour_pressure, pressure) {
            Err(MoistAirError::Supersaturated { .. }) => MoistAir::saturated(self.temperature, pressure),
            other => other,
        }
    }
}

/// The forecast for one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ForecastPoint {
    /// The moment that the values hold for.
    pub at: Timestamp,
    /// Temperature and moisture.
    pub air: OutdoorAir,
    /// Pressure reduced to sea level, where the service gives it.
    pub sea_level_pressure: Option<Pressure>,
    /// Wind speed at 10 m, where the service gives it.
    pub wind: Option<Speed>,
}

/// A forecast: moments in rising order, at least one, steps of any length.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// Who made it.
    pub service: Service,
    /// When the service says it was made, if it does.
    pub issued: Option<Timestamp>,
    points: Vec<ForecastPoint>,
}

/// Why points do not make a forecast.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum BadForecast {
    /// No usable moment.
    #[error("the forecast has no usable moment")]
    Empty,
    /// Two moments in the wrong order, or the same moment twice.
    #[error("the forecast's moments are not in rising order near {0}")]
    Disordered(Timestamp),
}

impl Forecast {
    /// Steps longer than this are a gap: nothing is interpolated across it. MET Norway's longest step is six hours.
    pub const LONGEST_STEP: SignedDuration = SignedDuration::from_hours(6);

    /// Checks the order of the points.
    ///
    /// # Errors
    /// See [`BadForecast`].
    pub fn new(service: Service, issued: Option<Timestamp>, points: Vec<ForecastPoint>) -> Result<Self, BadForecast> {
        if points.is_empty() {
            return Err(BadForecast::Empty);
        }
        match points.windows(2).find(|pair| pair[0].at >= pair[1].at) {
            Some(pair) => Err(BadForecast::Disordered(pair[1].at)),
            None => Ok(Self { service, issued, points }),
        }
    }

    /// The same forecast with each moment's values changed, and the moments themselves kept.
    pub(super) fn with_points(&self, change: impl Fn(ForecastPoint) -> ForecastPoint) -> Self {
        let points = self.points.iter().map(|point| ForecastPoint { at: point.at, ..change(*point) }).collect();
        Self { points, ..self.clone() }
    }

    /// The moments, in rising order.
    pub fn points(&self) -> &[ForecastPoint] {
        &self.points
    }

    /// The last moment that the forecast speaks of.
    pub fn ends(&self) -> Timestamp {
        self.points[self.points.len() - 1].at
    }

    /// The forecast for any moment inside it, linear between its points in temperature and in vapour pressure.
    /// `None` before its start, after its end, and inside a gap longer than [`Self::LONGEST_STEP`].
    pub fn at(&self, moment: Timestamp) -> Option<ForecastPoint> {
        let after = self.points.partition_point(|point| point.at < moment);
        let right = self.points.get(after)?;
        if right.at == moment {
            return Some(*right);
        }
        let left = self.points.get(after.checked_sub(1)?)?;
        let step = right.at.duration_since(left.at);
        if step > Self::LONGEST_STEP {
            return None;
        }
        let share = moment.duration_since(left.at).as_secs_f64() / step.as_secs_f64();
        let between = |a: f64, b: f64| a + share * (b - a);
        Some(ForecastPoint {
            at: moment,
            air: OutdoorAir {
                temperature: Temperature::clamped(between(
                    left.air.temperature.celsius(),
                    right.air.temperature.celsius(),
                )),
                vapour_pressure: VapourPressure::clamped(between(
                    left.air.vapour_pressure.pascals(),
                    right.air.vapour_pressure.pascals(),
                )),
            },
            sea_level_pressure: left
                .sea_level_pressure
                .zip(right.sea_level_pressure)
                .map(|(a, b)| Pressure::clamped(between(a.pascals(), b.pascals()))),
            wind: left
                .wind
                .zip(right.wind)
                .map(|(a, b)| Speed::clamped(between(a.metres_per_second(), b.metres_per_second()))),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(hour: i64, celsius: f64) -> ForecastPoint {
        ForecastPoint {
            at: Timestamp::from_second(hour * 3_600).unwrap(),
            air: OutdoorAir {
                temperature: Temperature::from_celsius(celsius).unwrap(),
                vapour_pressure: VapourPressure::from_pascals(300.0).unwrap(),
            },
            sea_level_pressure: None,
            wind: None,
        }
    }

    #[test]
    fn values_between_two_moments_lie_on_the_straight_line() {
        let forecast = Forecast::new(Service::PERSISTENCE, None, vec![point(0, 0.0), point(6, -6.0)]).unwrap();
        let at = |minutes: i64| forecast.at(Timestamp::from_second(minutes * 60).unwrap());
        assert!((at(120).unwrap().air.temperature.celsius() + 2.0).abs() < 1e-9);
        assert!((at(0).unwrap().air.temperature.celsius() - 0.0).abs() < 1e-9);
        assert!((at(360).unwrap().air.temperature.celsius() + 6.0).abs() < 1e-9);
    }

    #[test]
    fn outdoor_air_is_known_in_the_middle_of_a_foggy_step() {
        let sea_level = Elevation::from_metres(0.0).unwrap();
        let fog = |hour: i64, celsius: f64| {
            let temperature = Temperature::from_celsius(celsius).unwrap();
            let air = OutdoorAir::from_dew_point(temperature, temperature, sea_level).unwrap();
            ForecastPoint { air, ..point(hour, celsius) }
        };
        let forecast = Forecast::new(Service::PERSISTENCE, None, vec![fog(0, 6.0), fog(6, 0.0)]).unwrap();
        let middle = forecast.at(Timestamp::from_second(3 * 3_600).unwrap()).unwrap().air;
        let pressure = atmosphere::standard_pressure(sea_level);
        assert!(
            MoistAir::from_vapour_pressure(middle.temperature, middle.vapour_pressure, pressure).is_err(),
            "the straight line was expected above saturation"
        );
        let air = middle.at_pressure(pressure).unwrap();
        assert!((air.relative_humidity().ratio() - 1.0).abs() < 1e-6);
    }

    #[test]
    fn nothing_is_guessed_outside_the_forecast_or_inside_a_gap() {
        let forecast =
            Forecast::new(Service::PERSISTENCE, None, vec![point(0, 0.0), point(1, 0.0), point(8, 0.0)]).unwrap();
        let at = |hours: i64| forecast.at(Timestamp::from_second(hours * 3_600).unwrap());
        assert!(at(-1).is_none());
        assert!(at(9).is_none());
        assert!(at(4).is_none(), "a seven-hour gap was bridged");
        assert!(at(8).is_some());
    }

    #[test]
    fn moments_out_of_order_are_refused() {
        assert_eq!(
            Forecast::new(Service::PERSISTENCE, None, vec![point(1, 0.0), point(1, 0.0)]),
            Err(BadForecast::Disordered(Timestamp::from_second(3_600).unwrap()))
        );
        assert_eq!(Forecast::new(Service::PERSISTENCE, None, vec![]), Err(BadForecast::Empty));
    }
}
