//! Air flows. A fan moves volume at the state of its own air; balances need the dry air in it.

use super::MoistAir;
use crate::units::{AirFlow, DryAirFlow, WaterFlow};

/// Dry air in a volume flow of `air`: at −10 °C 11 % more than in the same volume of room air.
pub fn dry_air_flow(flow: AirFlow, air: MoistAir) -> DryAirFlow {
    DryAirFlow::clamped(flow.cubic_metres_per_hour() / air.specific_volume().cubic_metres_per_kilogram())
}

/// Volume that a flow of dry air takes up as `air`.
pub fn volume_flow(flow: DryAirFlow, air: MoistAir) -> AirFlow {
    AirFlow::clamped(flow.kilograms_per_hour() * air.specific_volume().cubic_metres_per_kilogram())
}

/// Vapour that turns a flow of `supply` into `room` air: the ventilation term of the humidification load in ASHRAE
/// Handbook HVAC Systems and Equipment, chapter on humidifiers. Negative where the supply is the moister one.
pub fn vapour_demand(flow: DryAirFlow, supply: MoistAir, room: MoistAir) -> WaterFlow {
    let lacking = room.humidity_ratio().minus(supply.humidity_ratio());
    WaterFlow::clamped(flow.kilograms_per_hour() * lacking.kilograms_per_kilogram())
}
