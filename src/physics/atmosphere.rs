//! Air pressure where the farm stands, when no station sensor measures it.

use crate::units::{Elevation, OutOfRange, Pressure, Temperature};

/// Standard acceleration of gravity (defined), m/s².
const GRAVITY: f64 = 9.806_65;
/// Gas constant of dry air, J/(kg·K).
const DRY_AIR_GAS_CONSTANT: f64 = 287.042;
/// Fall of temperature with height in the standard atmosphere, K/m.
const LAPSE_RATE: f64 = 0.006_5;

/// Pressure of the standard atmosphere: ASHRAE Handbook Fundamentals, chapter 1, equation 3, which holds to 11 km.
///
/// Weather moves the true pressure by up to 4 % around it.
pub fn standard_pressure(elevation: Elevation) -> Pressure {
    // −500…9000 m give 107.5…30.7 kPa, inside the legal range.
    Pressure::clamped(101_325.0 * (1.0 - 2.255_77e-5 * elevation.metres()).powf(5.255_9))
}

/// Pressure at `elevation` from the pressure that a forecast or a weather station has reduced to sea level:
/// p = p₀·exp(−g·z/(R·T̄)) with T̄ the mean temperature of the air between sea level and the site
/// (see [`layer_mean`]). An error of 10 K in T̄ makes 0.06 % at 150 m and 0.7 % at 1 500 m.
///
/// # Errors
/// When the result leaves 10…120 kPa.
pub fn station_pressure(sea_level: Pressure, elevation: Elevation, mean: Temperature) -> Result<Pressure, OutOfRange> {
    let exponent = -GRAVITY * elevation.metres() / (DRY_AIR_GAS_CONSTANT * mean.kelvins());
    Pressure::from_pascals(sea_level.pascals() * exponent.exp())
}

/// Mean temperature of the layer between sea level and a site at which `at_site` is measured: half of the standard
/// lapse of 6.5 K per kilometre warmer. Cut to the legal range of a temperature.
pub fn layer_mean(at_site: Temperature, elevation: Elevation) -> Temperature {
    Temperature::clamped(at_site.celsius() + 0.5 * LAPSE_RATE * elevation.metres())
}
