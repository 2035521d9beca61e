//! Adding water to air: fogging, which cools it, and steam, which barely does.

use super::mixing::{self, Mixture};
use super::moist_air::{self, MoistAir, MoistAirError};
use super::water::{DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY, liquid_enthalpy, vapour_enthalpy};
use super::{Curve, solve::increasing_root};
use crate::units::{HumidityRatio, HumidityRatioDifference, OutOfRange, RelativeHumidity, Temperature};

/// What a humidifier adds; the temperature is that of the water or steam itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WaterAdded {
    /// Droplets or a wetted surface: the air gives the heat of evaporation.
    Liquid(Temperature),
    /// Dry saturated steam of 0…130 °C.
    Steam(Temperature),
}

impl WaterAdded {
    /// kJ per kilogram of water.
    fn enthalpy(self) -> Result<f64, MoistAirError> {
        match self {
            Self::Liquid(temperature) => Ok(liquid_enthalpy(temperature.celsius())),
            Self::Steam(temperature) => {
                let (lowest, highest) = (0.0, 130.0);
                let t = temperature.celsius();
                if !(lowest..=highest).contains(&t) {
                    let quantity = "temperature of steam";
                    return Err(OutOfRange { quantity, value: t, unit: "°C", lowest, highest }.into());
                }
                // Fitted to the enthalpy of saturated steam by IAPWS-95 (CoolProp 8.0.0) in steps of 5 K over
                // 0…130 °C; largest residual 0.08 kJ/kg.
                Ok(2_500.983 + t * (1.819_724 + t * (2.153_9e-4 - t * 9.573_75e-6)))
            }
        }
    }
}

/// Air after `added` water per kilogram of dry air was put into it. What it cannot hold stays as liquid fog.
///
/// # Errors
/// Steam outside 0…130 °C, or a result outside −60…80 °C or near boiling.
pub fn with_water(air: MoistAir, added: HumidityRatio, water: WaterAdded) -> Result<Mixture, MoistAirError> {
    let added = added.kilograms_per_kilogram();
    let total = air.humidity_ratio().kilograms_per_kilogram() + added;
    let enthalpy = air.enthalpy().kilojoules_per_kilogram() + added * water.enthalpy()?;
    mixing::settle(enthalpy, total, air.pressure())
}

/// Air brought to a relative humidity (over liquid water) by adding water, and how much that takes per kilogram of
/// dry air. With a target of 1 and liquid water this is adiabatic saturation.
///
/// Air that is already moister needs less than nothing: the difference is negative, and the state is the one from
/// which adding that much would lead here.
///
/// # Errors
/// A target above saturation, steam outside 0…130 °C, or a result outside −60…80 °C or near boiling.
pub fn to_relative_humidity(
    air: MoistAir,
    target: RelativeHumidity,
    water: WaterAdded,
) -> Result<(MoistAir, HumidityRatioDifference), MoistAirError> {
    let (pascals, ratio) = (air.pressure().pascals(), target.ratio());
    let (from, enthalpy) = (air.humidity_ratio().kilograms_per_kilogram(), air.enthalpy().kilojoules_per_kilogram());
    let water = water.enthalpy()?;
    // h(t, W) − (W − W₀)·h_water rises with temperature along W(t, target).
    let celsius = increasing_root((-60.0, 80.0), air.temperature().celsius(), 1e-7, |celsius| {
        let point = Curve::Water.at(celsius, pascals);
        let vapour = ratio * point.pressure;
        if vapour >= pascals {
            return (f64::INFINITY, f64::NAN);
        }
        let w = moist_air::humidity_ratio(vapour, pascals);
        let slope = w * pascals / (vapour * (pascals - vapour)) * ratio * point.slope;
        let slope = if vapour > 0.0 { slope } else { 0.0 };
        (
            moist_air::enthalpy(celsius, w) - (w - from) * water - enthalpy,
            DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * w + slope * (vapour_enthalpy(celsius) - water),
        )
    });
    let end = MoistAir::from_relative_humidity(
        Temperature::from_celsius(celsius)?,
        target,
        super::BelowFreezing::Water,
        air.pressure(),
    )?;
    Ok((end, end.humidity_ratio().minus(air.humidity_ratio())))
}
