//! Enthalpies of liquid water, ice and vapour, on the scale where liquid water at 0 °C is zero.
//!
//! The linear forms are those of ASHRAE Handbook Fundamentals, chapter 1: 2501 + 1.86 t for vapour, 4.186 t for
//! liquid, −333.4 + 2.1 t for ice, all in kJ/kg with t in °C.

use crate::units::{LatentHeat, OutOfRange, Temperature};

/// Heat capacity of dry air, kJ/(kg·K).
pub(crate) const DRY_AIR_HEAT_CAPACITY: f64 = 1.006;
/// Heat capacity of water vapour, kJ/(kg·K).
pub(crate) const VAPOUR_HEAT_CAPACITY: f64 = 1.86;
/// Enthalpy of water vapour at 0 °C, kJ/kg.
pub(crate) const VAPOUR_AT_ZERO: f64 = 2501.0;
/// Heat capacity of liquid water, kJ/(kg·K).
pub(crate) const LIQUID_HEAT_CAPACITY: f64 = 4.186;
/// Enthalpy of ice at 0 °C, kJ/kg.
pub(super) const ICE_AT_ZERO: f64 = -333.4;
/// Heat capacity of ice, kJ/(kg·K).
pub(super) const ICE_HEAT_CAPACITY: f64 = 2.1;

#[inline]
pub(crate) fn vapour_enthalpy(celsius: f64) -> f64 {
    VAPOUR_AT_ZERO + VAPOUR_HEAT_CAPACITY * celsius
}

#[inline]
pub(crate) fn liquid_enthalpy(celsius: f64) -> f64 {
    LIQUID_HEAT_CAPACITY * celsius
}

#[inline]
pub(crate) fn ice_enthalpy(celsius: f64) -> f64 {
    ICE_AT_ZERO + ICE_HEAT_CAPACITY * celsius
}

fn within(temperature: Temperature, lowest: f64, highest: f64) -> Result<f64, OutOfRange> {
    let value = temperature.celsius();
    if (lowest..=highest).contains(&value) {
        return Ok(value);
    }
    Err(OutOfRange { quantity: "temperature of a change of phase", value, unit: "°C", lowest, highest })
}

/// Heat taken up when liquid water evaporates at `temperature`.
///
/// A straight line through ASHRAE Fundamentals (2021 SI), chapter 1, table 3 at 0 and 30 °C; the values between
/// differ by less than 0.05 kJ/kg.
///
/// # Errors
/// Outside −40…60 °C.
pub fn latent_heat_of_evaporation(temperature: Temperature) -> Result<LatentHeat, OutOfRange> {
    let celsius = within(temperature, -40.0, 60.0)?;
    Ok(LatentHeat::clamped(2_500.93 - 2.369_67 * celsius))
}

/// Heat given off when vapour becomes frost at `temperature`: vapour less ice, by the linear forms above.
///
/// # Errors
/// Outside −100…0 °C.
pub fn latent_heat_of_sublimation(temperature: Temperature) -> Result<LatentHeat, OutOfRange> {
    let celsius = within(temperature, -100.0, 0.0)?;
    Ok(LatentHeat::clamped(vapour_enthalpy(celsius) - ice_enthalpy(celsius)))
}
