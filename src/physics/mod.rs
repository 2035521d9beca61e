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
