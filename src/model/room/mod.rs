//! A room that behaves: how its temperature, water and carbon dioxide move on from one moment to the next.
//!
//! [`RoomModel`] holds what configuration fixes, [`Standing`] what changes, [`Drive`] what the step is given from outside
//! and by advice. `RoomModel::step(&standing, &drive, Duration) -> (Standing, Report)` gives the next [`Standing`] and a [`Report`] of what happened on the way.
//!
//! The air is one well-mixed volume. With ṁ flows of dry air in kg/h and the index i for the airs that enter:
//!
//! ```text
//! water  m dW/dt = Σ ṁᵢ (Wᵢ − W) + φuH + E_crop + E_pan − coil − Σ β A max(0, W − W_sat(T_surface))
//! CO2    m dX/dt = Σ ṁᵢ (Xᵢ − X) + G
//! heat   (m c_p + C) dT/dt = Σ ṁᵢ c_p,i (Tᵢ − T) + UA (T_around − T) + Q − L (cold vapour) + (heat back from wet walls)
//! ```
//!
//! Each equation is linear in its own state once the others are fixed, and is solved exactly over a stretch in which
//! nothing switches; what couples them is solved for at the stretch's end. So neither sixty air changes an hour nor
//! five-minute steps overshoot.

mod drive;
mod flows;
mod report;

pub use drive::{Drive, Emission, EnteringAir, Standing};
pub use report::{Books, Dew, EnergyBook, MaterialBook, Report, Swing};

use super::Room;
use crate::units::Pressure;

/// A room as it is configured, made ready for stepping.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomModel {
    ways: flows::Ways,
}

impl RoomModel {
    /// Takes from `room` what does not change. `pressure` is the usual one of the site; with it, the grower's sentence
    /// about standing mist is turned into the room's power to take up mist.
    pub fn new(room: &Room, _pressure: Pressure) -> Self {
        let ways = flows::Ways::new(&room.fan, room.tempering, room.infiltration.per_hour(), room.volume);
        Self { ways }
    }
}
