//! What encloses a room's air, as it is configured: how it loses heat, and which surfaces may get wet.

use super::Identifier;
use crate::units::{Area, Fraction, HeatCapacity, HeatLoss, HeatTransferCoefficient, Transmittance};

/// The room's enclosure.
#[derive(Debug, Clone, PartialEq)]
pub struct Shell {
    /// Heat that passes for each kelvin between inside and around: Σ U·A. `None` where nobody has said: the room's
    /// temperature is then taken as held where it is, and the outlook says so.
    pub loss: Option<HeatLoss>,
    /// Heat that walls, benches and substrate take up with the air, for each kelvin; beside the air's own.
    pub fabric: HeatCapacity,
    /// What lies on the other side of the shell.
    pub around: Around,
    /// Surfaces to watch, the coldest ones.
    pub surfaces: Vec<Surface>,
}

impl Shell {
    /// A shell that nobody has described: no heat is reckoned, and no surface watched.
    pub fn unknown() -> Self {
        Self { loss: None, fabric: HeatCapacity::clamped(0.0), around: Around::Outdoors, surfaces: Vec::new() }
    }
}

/// What lies on the other side.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Around {
    /// Outdoor air.
    Outdoors,
    /// Another room of the farm, by its place in the list.
    Room(usize),
    /// A space that is only measured, by its place in the list.
    Space(usize),
}

/// A surface that may get wet.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// Part of topics and labels.
    pub name: Identifier,
    /// For people.
    pub title: String,
    /// How its temperature is known.
    pub kind: SurfaceKind,
}

/// How a surface's temperature is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SurfaceKind {
    /// By what it is built of; it takes part in the room's balances of water and heat.
    Wall {
        /// Its area.
        area: Area,
        /// Transmittance with both air films (the inner one 0.13 m²K/W by ISO 6946).
        transmittance: Transmittance,
        /// Convective part of the inner film only: still air about 3 W/m²K, a ventilated wall 5 to 8.
        convective: HeatTransferCoefficient,
    },
    /// By its temperature factor fRsi (ISO 13788): watched, but no flux is reckoned from it.
    Factor(Fraction),
    /// By a probe on it (a source of `surface-temperature`); ahead of now it is carried on by the factor that the
    /// probe shows.
    Probe,
}

/// A space that is not a room of the farm, but that rooms draw their air from or stand in: it is measured, and where
/// it is not, it is assumed.
#[derive(Debug, Clone, PartialEq)]
pub struct Space {
    /// Part of topics and labels.
    pub name: Identifier,
    /// For people.
    pub title: String,
    /// What it is taken to be while no sensor says.
    pub assumed: Option<(crate::units::Temperature, crate::units::RelativeHumidity)>,
}
