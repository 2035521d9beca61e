//! What would help, as one JSON object: on the topic `outlook/levers`, and in `/snapshot.json`.
//!
//! ```text
//! levers[]        best first, each with
//!   change        less-air | lower-target | ready-anteroom | warm-intake | add-output | add-heat | fill-tank
//!   sentence      for people
//!   before        when it has to be done by, or null
//!   without, with what the next 24 hours come to: water_litres, short_hours, worst_shortfall_kilograms_per_hour,
//!                 cold_hours, foggy_hours, lowest_relative_humidity_ratio, highest_carbon_dioxide_parts_per_million
//! ```

use jiff::Timestamp;
use serde_json::{Value, json};

use crate::advice::{
    Voice,
    lever::{Lever, Worth},
};

/// The object.
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
