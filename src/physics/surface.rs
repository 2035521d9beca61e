//! Cold surfaces: how cold they are, and how near the air is to wetting them.

use super::saturation::{Curve, SaturationError};
use super::{MoistAir, MoistAirError};
use crate::units::{
    Fraction, Pressure, RelativeHumidity, Temperature, TemperatureDifference, ThermalResistance, Transmittance,
};

/// Temperature of an inner surface from its temperature factor fRsi = (surface − outside)/(inside − outside),
/// ISO 13788. Steady state: a heavy wall lags behind the weather by hours.
pub fn temperature_by_factor(inside: Temperature, outside: Temperature, factor: Fraction) -> Temperature {
    Temperature::clamped(outside.celsius() + factor.ratio() * (inside.celsius() - outside.celsius()))
}

/// Temperature factor of a plain wall: 1 − U·R_si, ISO 6946. `transmittance` contains both air films;
/// `inside_film` is the inner one (0.13 m²K/W for walls by ISO 6946, 0.25 behind furniture or shelves).
/// Thermal bridges and corners are colder than this. Zero where the film alone would resist more than the wall.
pub fn factor_of_wall(transmittance: Transmittance, inside_film: ThermalResistance) -> Fraction {
    Fraction::clamped(1.0 - transmittance.watts_per_square_metre_kelvin() * inside_film.square_metre_kelvins_per_watt())
}

/// The lowest temperature factor of a surface that stays dry in `room` air when it is `outside` there.
///
/// Zero when even a surface at the outside temperature stays dry.
///
/// # Errors
/// Too dry for a dew point.
pub fn lowest_dry_factor(room: MoistAir, outside: Temperature) -> Result<Fraction, SaturationError> {
    let wets_at = wetting_temperature(room)?;
    let span = room.temperature().celsius() - outside.celsius();
    if span <= 0.0 || wets_at <= outside {
        return Ok(Fraction::clamped(0.0));
    }
    Ok(Fraction::clamped((wets_at.celsius() - outside.celsius()) / span))
}

/// Temperature at and below which a surface in this air gets wet or frosted: the dew point at or above 0 °C, else
/// the frost point, which is the warmer of the two.
///
/// # Errors
/// Too dry for a dew point.
pub fn wetting_temperature(air: MoistAir) -> Result<Temperature, SaturationError> {
    match air.frost_point() {
        Some(frost_point) => Ok(frost_point),
        None => air.dew_point(),
    }
}

/// How far a surface is from being wetted or frosted by this air: negative when it is.
///
/// # Errors
/// Too dry for a dew point.
pub fn dew_margin(surface: Temperature, air: MoistAir) -> Result<TemperatureDifference, SaturationError> {
    Ok(surface.minus(wetting_temperature(air)?))
}

/// Highest relative humidity (over liquid water) of room air at `room` temperature that leaves the surface dry and
/// free of frost; 1 for a surface that is as warm as the air.
///
/// # Errors
/// A surface outside −100…80 °C, or air outside −60…80 °C or near boiling.
pub fn highest_dry_humidity(
    surface: Temperature,
    room: Temperature,
    pressure: Pressure,
) -> Result<RelativeHumidity, MoistAirError> {
    let curve = if surface.celsius() < 0.0 { Curve::Ice } else { Curve::Water };
    let at_surface = curve.pressure_in_air(surface, pressure)?;
    let saturated = MoistAir::saturated(room, pressure)?.vapour_pressure();
    Ok(RelativeHumidity::clamped((at_surface.pascals() / saturated.pascals()).min(1.0)))
}
