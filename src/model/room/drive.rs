//! What a step starts from, and what it is given.

use super::sources;
use crate::{
    model::Room,
    physics::MoistAir,
    units::{
        AirFlow, CarbonDioxide, CarbonDioxideFlow, DryAirFlow, HumidityRatio, Mass, Pressure, RelativeHumidity,
        Temperature, VapourPressure, WaterVolume,
    },
};

/// What changes in a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Of the air, and of the walls and things that keep it company.
    pub temperature: Temperature,
    /// Of the air.
    pub humidity_ratio: HumidityRatio,
    /// Of the air.
    pub carbon_dioxide: CarbonDioxide,
    /// Water left in the humidifier's tank; `None` on the mains, or where nobody knows: it does not run out then.
    pub tank: Option<WaterVolume>,
    /// Water that has wetted the room and drained since the count was last set to nothing: thrown and not evaporated,
    /// condensed on walls, settled out of fog, thawed.
    pub drained: WaterVolume,
    /// Frost that has grown on surfaces below 0 °C. It drains once they are warmer.
    pub frost: Mass,
}

impl Standing {
    /// A room with this air, this tank, and dry surfaces.
    pub fn new(air: &MoistAir, carbon_dioxide: CarbonDioxide, tank: Option<WaterVolume>) -> Self {
        Self {
            temperature: air.temperature(),
            humidity_ratio: air.humidity_ratio(),
            carbon_dioxide,
            tank,
            drained: WaterVolume::clamped(0.0),
            frost: Mass::clamped(0.0),
        }
    }

    /// The air as a state at `pressure`, with its vapour-pressure deficit; saturated where rounding or a change of
    /// pressure has it a hair above.
    pub fn air(&self, pressure: Pressure) -> Option<(MoistAir, VapourPressure)> {
        MoistAir::cut_to_saturation(self.temperature, self.humidity_ratio, pressure)
    }
}

/// An air that enters or surrounds a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EnteringAir {
    /// Its state.
    pub air: MoistAir,
    /// Its carbon dioxide.
    pub carbon_dioxide: CarbonDioxide,
}

/// What a crop gives off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Emission {
    /// How much.
    pub rate: CarbonDioxideFlow,
    /// At what temperature of the room: it breathes faster when it is warmer.
    pub at: Temperature,
}

impl Emission {
    /// What the catalogue expects of the room's crop, middle value, at the preferred temperature; nothing without a crop.
    pub fn of_catalogue(room: &Room) -> Self {
        let grams = room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.respiration.middle);
        Self { rate: CarbonDioxideFlow::clamped(grams), at: room.bands.temperature.preferred }
    }

    /// How much it is in a room at `temperature`.
    pub fn in_room_at(&self, temperature: Temperature) -> CarbonDioxideFlow {
        CarbonDioxideFlow::clamped(sources::breathing(self, temperature.celsius()))
    }
}

/// What a room is given during one step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drive {
    /// Where the intake opens: outdoors, the anteroom or a measured space; before any exchanger and heater.
    pub supply: EnteringAir,
    /// On the other side of the shell. It takes the shell's heat, and it is what leaks in.
    pub around: EnteringAir,
    /// Fresh air that the room's own fan moves, at the state of the air that it moves.
    pub fresh_air: AirFlow,
    /// What rooms that draw from this one take together: see [`super::RoomModel::intake`].
    pub drawn_by_others: DryAirFlow,
    /// What the humidistat is set to.
    pub humidity_target: RelativeHumidity,
    /// Whether the humidifier may run.
    pub humidifier_allowed: bool,
    /// What the crop gives off.
    pub emission: Emission,
    /// Of the air, here and at the intake.
    pub pressure: Pressure,
}
