//! How a room's outlooks have turned out, as one JSON object: on the topic `outlook/score`, and in `/snapshot.json`.
//!
//! Errors are what was said minus what came: a positive bias where it turned out colder, drier, or less was drawn. Keys name
//! their unit; what is not known yet is `null`.
//!
//! ```text
//! leads[]     lead_hours, temperature_samples, temperature_bias_kelvins, temperature_absolute_error_kelvins,
//!             relative_humidity_samples, relative_humidity_bias_ratio, relative_humidity_absolute_error_ratio
//! water[]     lead_hours, samples, bias_litres, absolute_error_litres, drawn_litres (mean of what came)
//! water_from  humidifier-state: reckoned from what the humidifier reports and its rated output, no meter
//! ```

use serde_json::{Value, json};

use crate::model::{
    Quantity,
    room_score::{AirScore, Errors, LEADS, RoomScore, WATER_LEADS, WaterScore},
};

/// The score of a room; `None` before the first sample.
pub fn object(score: &RoomScore) -> Option<Value> {
    let leads = LEADS.iter().zip(&score.air).map(|(hours, air)| of_air(*hours, air));
    let water = WATER_LEADS.iter().zip(&score.water).map(|(hours, water)| of_water(*hours, water));
    score.is_begun().then(|| {
        json!({
            "leads": leads.collect::<Vec<_>>(),
            "water": water.collect::<Vec<_>>(),
            "water_from": Quantity::HumidifierState.name(),
        })
    })
}

fn of_air(hours: i64, air: &AirScore) -> Value {
    let (temperature, humidity) = (air.temperature, air.relative_humidity);
    json!({
        "lead_hours": hours,
        "temperature_samples": temperature.samples,
        "temperature_bias_kelvins": known(&temperature, temperature.bias, 100.0),
        "temperature_absolute_error_kelvins": known(&temperature, temperature.absolute, 100.0),
        "relative_humidity_samples": humidity.samples,
        "relative_humidity_bias_ratio": known(&humidity, humidity.bias, 10_000.0),
        "relative_humidity_absolute_error_ratio": known(&humidity, humidity.absolute, 10_000.0),
    })
}

fn of_water(hours: i64, water: &WaterScore) -> Value {
    let errors = water.errors;
    json!({
        "lead_hours": hours,
        "samples": errors.samples,
        "bias_litres": known(&errors, errors.bias, 100.0),
        "absolute_error_litres": known(&errors, errors.absolute, 100.0),
        "drawn_litres": known(&errors, water.drawn, 100.0),
    })
}

fn known(errors: &Errors, value: f64, scale: f64) -> Option<f64> {
    (errors.samples > 0).then(|| (value * scale).round() / scale)
}
