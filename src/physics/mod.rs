//! What air does with water: plain functions on quantities, each with its source.
//!
//! Start at [`MoistAir`], the state that everything else works on. [`saturation`] holds the two curves (liquid and
//! ice) and their inverses; [`mixing`] joins airstreams and finds fog at an inlet; [`humidify`] adds water;
//! [`surface`] judges cold walls; [`flow`] turns volume flows into dry-air flows; [`atmosphere`] knows pressure.
//!
//! Every function refuses what lies outside the range of its source with an error; none returns NaN.

pub mod atmosphere;
pub mod flow;
pub mod humidify;
pub mod mixing;
pub mod moist_air;
pub mod saturation;
pub mod surface;
pub mod water;

mod pair;
mod solve;
mod table;

pub use mixing::{InletFog, Mixture, MixtureError, inlet_fog, mix};
pub use moist_air::{MoistAir, MoistAirError};
pub use pair::Known;
pub use saturation::{BelowFreezing, Curve, SaturationError};

/// Bare numbers for the inner loops of models, which have checked their inputs: °C, Pa, kg/kg, kJ/kg.
pub(crate) mod bare {
    use super::Curve;
    pub(crate) use super::moist_air::{MASS_RATIO, enthalpy, humidity_ratio, vapour_pressure};
    pub(crate) use super::water::{
        DRY_AIR_HEAT_CAPACITY, LIQUID_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY, ice_enthalpy,
        liquid_enthalpy, vapour_enthalpy,
    };

    /// Saturation vapour pressure in air of `pascals` with its slope, Pa and Pa/K; by table, within a millionth.
    #[inline]
    pub(crate) fn saturation(curve: Curve, celsius: f64, pascals: f64) -> (f64, f64) {
        let (pure, pure_slope) = super::table::saturation(curve, celsius);
        let (factor, factor_slope, _) = curve.enhancement(celsius, pascals);
        (factor * pure, factor * pure_slope + factor_slope * pure)
    }

    /// Humidity ratio of saturated air with its slope, kg/kg and 1/K. Short of boiling: vapour is at most nine tenths.
    #[inline]
    pub(crate) fn saturated_humidity_ratio(curve: Curve, celsius: f64, pascals: f64) -> (f64, f64) {
        let (vapour, slope) = saturation(curve, celsius, pascals);
        let vapour = vapour.min(0.9 * pascals);
        let by_dry = 1.0 / (pascals - vapour);
        let ratio = MASS_RATIO * by_dry;
        (ratio * vapour, ratio * slope * pascals * by_dry)
    }

    /// Temperature at and below which a surface gets wet or frosted in air of this vapour pressure, °C: the frost point
    /// below freezing, else the dew point. `near` is a first guess. `None` for air too dry to have either.
    pub(crate) fn saturates_at(vapour: f64, pascals: f64, near: f64) -> Option<f64> {
        let curve = if vapour <= Curve::Ice.at_zero(pascals) { Curve::Ice } else { Curve::Water };
        let (lowest, highest) = if curve == Curve::Ice { (-100.0, 0.0) } else { (0.0, 100.0) };
        if curve == Curve::Ice && vapour <= saturation(curve, lowest, pascals).0 {
            return None;
        }
        let mut celsius = near.clamp(lowest, highest);
        // Newton's method on the logarithm; its error after a step of s kelvins is about s²/300. ln(a/b) is
        // 2·(z + z³/3 + …) with z = (a − b)/(a + b), which is within a fiftieth of a kelvin for steps up to 10 K.
        for _ in 0..12 {
            let (pressure, slope) = saturation(curve, celsius, pascals);
            let z = (vapour - pressure) / (vapour + pressure);
            let step = 2.0 * z * (1.0 + z * z / 3.0) * pressure / slope;
            celsius = (celsius + step).clamp(lowest, highest);
            if step.abs() < 0.5 {
                break;
            }
        }
        Some(celsius)
    }

    /// Volume of moist air that holds a kilogram of dry air, m³.
    #[inline]
    pub(crate) fn specific_volume(celsius: f64, humidity_ratio: f64, pascals: f64) -> f64 {
        super::moist_air::DRY_AIR_GAS_CONSTANT * (celsius + 273.15) / pascals * (1.0 + humidity_ratio / MASS_RATIO)
    }
}
