//! Moist air from any two things that people and instruments know about it.

use super::moist_air::{self, MoistAir, MoistAirError};
use super::saturation::{BelowFreezing, Curve, SaturationError};
use super::solve::increasing_root;
use crate::units::{HumidityRatio, Pressure, RelativeHumidity, Temperature, VapourPressure};

/// One thing known about the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Dry-bulb temperature.
    Temperature(Temperature),
    /// Relative humidity, over the surface that [`BelowFreezing`] names.
    RelativeHumidity(RelativeHumidity),
    /// Dew point; a frost point below 0 °C with [`BelowFreezing::Ice`].
    DewPoint(Temperature),
    /// Thermodynamic wet bulb; of an ice-covered bulb below 0 °C.
    WetBulb(Temperature),
    /// Water vapour per dry air.
    HumidityRatio(HumidityRatio),
}

impl Known {
    /// What it is called in messages.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Temperature(_) => "temperature",
            Self::RelativeHumidity(_) => "relative humidity",
            Self::DewPoint(_) => "dew point",
            Self::WetBulb(_) => "wet bulb",
            Self::HumidityRatio(_) => "humidity ratio",
        }
    }
}

impl MoistAir {
    /// From any two different quantities, in either order, except dew point with humidity ratio.
    ///
    /// # Errors
    /// See [`MoistAirError`].
    pub fn from_two(
        first: Known,
        second: Known,
        below_freezing: BelowFreezing,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        use Known::{DewPoint, HumidityRatio, RelativeHumidity, Temperature, WetBulb};
        match (first, second) {
            (Temperature(t), RelativeHumidity(rh)) | (RelativeHumidity(rh), Temperature(t)) => {
                Self::from_relative_humidity(t, rh, below_freezing, pressure)
            }
            (Temperature(t), DewPoint(dew_point)) | (DewPoint(dew_point), Temperature(t)) => {
                Self::from_dew_point(t, dew_point, below_freezing, pressure)
            }
            (Temperature(t), WetBulb(wet_bulb)) | (WetBulb(wet_bulb), Temperature(t)) => {
                Self::from_wet_bulb(t, wet_bulb, pressure)
            }
            (Temperature(t), HumidityRatio(w)) | (HumidityRatio(w), Temperature(t)) => {
                Self::from_humidity_ratio(t, w, pressure)
            }
            (RelativeHumidity(rh), DewPoint(dew_point)) | (DewPoint(dew_point), RelativeHumidity(rh)) => {
                let vapour = below_freezing.curve(dew_point).pressure_in_air(dew_point, pressure)?;
                at_relative_humidity(vapour, rh, below_freezing, pressure)
            }
            (RelativeHumidity(rh), HumidityRatio(w)) | (HumidityRatio(w), RelativeHumidity(rh)) => {
                let vapour = moist_air::vapour_pressure(w.kilograms_per_kilogram(), pressure.pascals());
                at_relative_humidity(VapourPressure::from_pascals(vapour)?, rh, below_freezing, pressure)
            }
            (RelativeHumidity(rh), WetBulb(wet_bulb)) | (WetBulb(wet_bulb), RelativeHumidity(rh)) => {
                at_wet_bulb(wet_bulb, rh, below_freezing, pressure)
            }
            (DewPoint(dew_point), WetBulb(wet_bulb)) | (WetBulb(wet_bulb), DewPoint(dew_point)) => {
                let vapour = below_freezing.curve(dew_point).pressure_in_air(dew_point, pressure)?;
                if vapour.pascals() >= pressure.pascals() {
                    let (celsius, pascals) = (dew_point.celsius(), pressure.pascals());
                    return Err(MoistAirError::NearBoiling { celsius, pascals });
                }
                let w = moist_air::humidity_ratio(vapour.pascals(), pressure.pascals());
                Self::from_humidity_ratio_and_wet_bulb(crate::units::HumidityRatio::clamped(w), wet_bulb, pressure)
            }
            (HumidityRatio(w), WetBulb(wet_bulb)) | (WetBulb(wet_bulb), HumidityRatio(w)) => {
                Self::from_humidity_ratio_and_wet_bulb(w, wet_bulb, pressure)
            }
            (DewPoint(_), HumidityRatio(_)) | (HumidityRatio(_), DewPoint(_)) => Err(MoistAirError::SameQuantity),
            (Temperature(_), Temperature(_))
            | (RelativeHumidity(_), RelativeHumidity(_))
            | (DewPoint(_), DewPoint(_))
            | (WetBulb(_), WetBulb(_))
            | (HumidityRatio(_), HumidityRatio(_)) => Err(MoistAirError::Repeated { quantity: first.words() }),
        }
    }

    fn from_humidity_ratio_and_wet_bulb(
        humidity_ratio: HumidityRatio,
        wet_bulb: Temperature,
        pressure: Pressure,
    ) -> Result<Self, MoistAirError> {
        let temperature = moist_air::temperature_at_bulb(humidity_ratio.kilograms_per_kilogram(), wet_bulb, pressure)?;
        Self::from_humidity_ratio(temperature, humidity_ratio, pressure).map_err(|error| match error {
            MoistAirError::Supersaturated { .. } => {
                MoistAirError::WetBulbBelowDewPoint { wet_bulb: wet_bulb.celsius() }
            }
            other => other,
        })
    }
}

/// Refuses what names no temperature: more than saturated, or wholly dry.
fn usable(relative_humidity: RelativeHumidity, celsius: f64) -> Result<f64, MoistAirError> {
    let ratio = relative_humidity.ratio();
    if ratio <= 0.0 {
        return Err(MoistAirError::DryWithoutTemperature);
    }
    if ratio > 1.0 {
        return Err(MoistAirError::Supersaturated { celsius, percent: relative_humidity.percent() });
    }
    Ok(ratio)
}

fn at_relative_humidity(
    vapour: VapourPressure,
    relative_humidity: RelativeHumidity,
    below_freezing: BelowFreezing,
    pressure: Pressure,
) -> Result<MoistAir, MoistAirError> {
    let dew_point = || Curve::Water.invert(vapour.pascals(), pressure.pascals()).unwrap_or(-60.0);
    let ratio = usable(relative_humidity, dew_point())?;
    let saturation = VapourPressure::from_pascals(vapour.pascals() / ratio)?;
    let over_water = Curve::Water.temperature_in_air(saturation, pressure);
    let temperature = match (below_freezing, over_water) {
        (BelowFreezing::Water, found) => found?,
        (BelowFreezing::Ice, Ok(found)) if found.celsius() >= 0.0 => found,
        (BelowFreezing::Ice, Err(error @ SaturationError::TooMoist { .. })) => return Err(error.into()),
        // The two curves do not meet exactly at 0 °C: what lies in the gap is at 0 °C.
        (BelowFreezing::Ice, _) => match Curve::Ice.temperature_in_air(saturation, pressure) {
            Err(SaturationError::TooMoist { .. }) => Temperature::clamped(0.0),
            found => found?,
        },
    };
    MoistAir::from_vapour_pressure(temperature, vapour, pressure)
}

fn at_wet_bulb(
    wet_bulb: Temperature,
    relative_humidity: RelativeHumidity,
    below_freezing: BelowFreezing,
    pressure: Pressure,
) -> Result<MoistAir, MoistAirError> {
    let ratio = usable(relative_humidity, wet_bulb.celsius())?;
    let pascals = pressure.pascals();
    // Along one wet bulb, warmer air is drier, and less of what it can hold: the vapour that the humidity asks for less
    // the vapour that the bulb allows rises with temperature.
    let excess = |celsius: f64| {
        let curve = below_freezing.curve(Temperature::clamped(celsius));
        let asked = ratio * curve.at(celsius, pascals).pressure;
        let w = moist_air::humidity_ratio_at_bulb(celsius, wet_bulb.celsius(), pressure)?;
        Ok::<f64, MoistAirError>(asked - moist_air::vapour_pressure(w, pascals))
    };
    excess(wet_bulb.celsius().clamp(-60.0, 80.0))?;
    // An ice-covered bulb may be warmer than air that is supersaturated over ice, by far less than this.
    let coldest = if wet_bulb.celsius() < 0.0 { wet_bulb.celsius() - 2.0 } else { wet_bulb.celsius() };
    let bracket = (coldest.max(-60.0), 80.0);
    let celsius = increasing_root(bracket, wet_bulb.celsius(), 1e-9, |celsius| {
        let at = |celsius| excess(celsius).unwrap_or(f64::INFINITY);
        (at(celsius), (at(celsius + 1e-3) - at(celsius - 1e-3)) / 2e-3)
    });
    if celsius > 80.0 - 1e-6 {
        return Err(MoistAirError::WetBulbTooHigh { wet_bulb: wet_bulb.celsius(), celsius });
    }
    let reference = below_freezing.curve(Temperature::clamped(celsius)).at(celsius, pascals).pressure;
    let vapour = VapourPressure::from_pascals(ratio * reference)?;
    MoistAir::from_vapour_pressure(Temperature::from_celsius(celsius)?, vapour, pressure)
}
