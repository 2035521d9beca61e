//! What would help, as one JSON object: on the topic `outlook/levers`, and in `/snapshot.json`.
//!
//! ```text
//! levers[]        best first, each with
//!   change        less-air | lower-target | ready-anteroom | warm-intake | add-output | add-heat | fill-tank
//!   sentence      for people
//!   before        when it has to be done by, or null
//!   hold          on the topic only, and only where a hold makes the change: what to send to `inputs/hold/set`, with
//!                 a `for` added, in the published units
//!   without, with what the next 24 hours come to: water_litres, short_hours, worst_shortfall_kilograms_per_hour,
//!                 cold_hours, foggy_hours, lowest_relative_humidity_ratio, highest_carbon_dioxide_parts_per_million
//! ```

use jiff::Timestamp;
use serde_json::{Value, json};

use crate::{
    advice::{
        Voice,
        lever::{Change, Lever, Worth},
    },
    units::UnitSystem,
};

/// The object on the topic.
pub fn on_topic(levers: &[Lever], voice: &Voice, now: Timestamp) -> Value {
    let mut object = object(levers, voice, now);
    for (index, lever) in levers.iter().enumerate() {
        if let Some(hold) = hold(&lever.change, voice.units) {
            object["levers"][index]["hold"] = hold;
        }
    }
    object
}

/// The object in base units alone.
pub fn object(levers: &[Lever], voice: &Voice, now: Timestamp) -> Value {
    let levers: Vec<_> = levers
        .iter()
        .map(|lever| {
            json!({
                "change": lever.change.name(),
                "sentence": lever.sentence(voice, now),
                "before": lever.by.map(|by| by.to_string()),
                "without": worth(&lever.without),
                "with": worth(&lever.with),
            })
        })
        .collect();
    json!({ "levers": levers })
}

/// The hold that makes a change, rounded to the side on which it promises no more than was reckoned.
fn hold(change: &Change, units: UnitSystem) -> Option<Value> {
    let tenth_up = |value: f64| (value * 10.0).ceil() / 10.0;
    match change {
        Change::LessAir { to } => Some(json!({ "fresh-air": tenth_up(units.air_flow(*to).value) })),
        Change::LowerTarget { to } => Some(json!({ "humidity-target": tenth_up(to.percent()) })),
        Change::ReadyAnteroom { .. }
        | Change::WarmIntake { .. }
        | Change::AddOutput { .. }
        | Change::AddHeat { .. }
        | Change::Fill { .. } => None,
    }
}

fn worth(worth: &Worth) -> Value {
    let rounded = |value: f64, scale: f64| (value * scale).round() / scale;
    json!({
        "water_litres": rounded(worth.water.litres(), 10.0),
        "short_hours": worth.hours_short,
        "worst_shortfall_kilograms_per_hour": rounded(worth.worst_shortfall.kilograms_per_hour(), 100.0),
        "cold_hours": worth.hours_cold,
        "foggy_hours": worth.hours_foggy,
        "lowest_relative_humidity_ratio": rounded(worth.lowest_relative_humidity.ratio(), 1_000.0),
        "highest_carbon_dioxide_parts_per_million": worth.highest_carbon_dioxide.parts_per_million().round(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{AirFlow, HeatFlow, RelativeHumidity};

    #[test]
    fn what_a_hold_can_make_is_given_in_the_units_of_its_topic_and_nothing_else_is() {
        let less_air = Change::LessAir { to: AirFlow::clamped(522.04) };
        assert_eq!(hold(&less_air, UnitSystem::Metric), Some(json!({ "fresh-air": 522.1 })));
        // 522.04 m³/h are 307.26 cfm.
        assert_eq!(hold(&less_air, UnitSystem::Us), Some(json!({ "fresh-air": 307.3 })));
        let target = Change::LowerTarget { to: RelativeHumidity::clamped(0.62) };
        assert_eq!(hold(&target, UnitSystem::Us), Some(json!({ "humidity-target": 62.0 })));
        assert_eq!(hold(&Change::AddHeat { by: HeatFlow::clamped(900.0) }, UnitSystem::Metric), None);
    }
}
