//! What the intake does to fresh air before it enters the room.

use super::Room;
use crate::{
    physics::MoistAir,
    units::{DryAirFlow, HumidityRatio, Temperature},
};

/// Fresh air as it enters: first the exchanger gives back its share of the difference to the room's air, then the
/// heater of the intake warms what is colder than its setting, as far as its power reaches for `flow`.
///
/// What the exchanger would give beyond saturation stays in it as condensate. Where a state lies outside the range of
/// the equations the air enters as it came.
pub fn as_it_enters(room: &Room, supply: MoistAir, inside: MoistAir, flow: DryAirFlow) -> MoistAir {
    tempered(room, recovered(room, supply, inside).unwrap_or(supply), flow)
}

fn recovered(room: &Room, supply: MoistAir, inside: MoistAir) -> Option<MoistAir> {
    let recovery = room.fan.recovery?;
    let toward = |from: f64, to: f64, share: f64| from + share * (to - from);
    let celsius = toward(supply.temperature().celsius(), inside.temperature().celsius(), recovery.heat.ratio());
    let temperature = Temperature::from_celsius(celsius).ok()?;
    let water = toward(
        supply.humidity_ratio().kilograms_per_kilogram(),
        inside.humidity_ratio().kilograms_per_kilogram(),
        recovery.moisture.ratio(),
    );
    let saturated = MoistAir::saturated(temperature, supply.pressure()).ok()?;
    if water >= saturated.humidity_ratio().kilograms_per_kilogram() {
        return Some(saturated);
    }
    let humidity_ratio = HumidityRatio::from_kilograms_per_kilogram(water).ok()?;
    MoistAir::from_humidity_ratio(temperature, humidity_ratio, supply.pressure()).ok()
}

fn tempered(room: &Room, supply: MoistAir, flow: DryAirFlow) -> MoistAir {
    let Some(tempering) = room.tempering else { return supply };
    let cold = supply.temperature().celsius();
    let asked = tempering.to.celsius();
    // Moist air's heat capacity per kg of dry air, in kJ/(kg·K), and Wh to kJ.
    let capacity = 1.006 + 1.86 * supply.humidity_ratio().kilograms_per_kilogram();
    let reach = match tempering.power {
        Some(power) if flow.kilograms_per_hour() > 0.0 => {
            cold + power.watts() * 3.6 / (flow.kilograms_per_hour() * capacity)
        }
        Some(_) | None => f64::INFINITY,
    };
    let reached = asked.min(reach);
    if reached <= cold {
        return supply;
    }
    supply.at_temperature(Temperature::clamped(reached)).unwrap_or(supply)
}
