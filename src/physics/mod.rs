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

pub use mixing::{InletFog, Mixture, MixtureError, inlet_fog, mix};
pub use moist_air::{MoistAir, MoistAirError};
pub use pair::Known;
pub use saturation::{BelowFreezing, Curve, SaturationError};

/// Bare numbers for the inner loops of models, which have checked their inputs: °C, Pa, kg/kg, kJ/kg.
pub(crate) mod bare {
    pub(crate) use super::moist_air::{enthalpy, humidity_ratio, saturated_humidity_ratio, vapour_pressure};
    pub(crate) use super::water::{
        DRY_AIR_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY, ice_enthalpy, liquid_enthalpy, vapour_enthalpy,
    };

    /// Saturation vapour pressure in air of `pascals` with its slope, Pa and Pa/K.
    pub(crate) fn saturation(curve: super::Curve, celsius: f64, pascals: f64) -> (f64, f64) {
        let point = curve.at(celsius, pascals);
        (point.pressure, point.slope)
    }

    /// Temperature at and below which a surface gets wet or frosted in air of this vapour pressure, °C: the frost point
    /// below freezing, else the dew point. `None` for air too dry to have either.
    pub(crate) fn saturates_at(vapour: f64, pascals: f64) -> Option<f64> {
        let curve = if vapour <= super::Curve::Ice.at_zero(pascals) { super::Curve::Ice } else { super::Curve::Water };
        curve.invert(vapour, pascals).ok()
    }

    /// Volume of moist air that holds a kilogram of dry air, m³.
    pub(crate) fn specific_volume(celsius: f64, humidity_ratio: f64, pascals: f64) -> f64 {
        super::moist_air::DRY_AIR_GAS_CONSTANT * (celsius + 273.15) / pascals
            * (1.0 + humidity_ratio / super::moist_air::MASS_RATIO)
    }
}
