//! How forecasts have turned out, as one JSON object: on the topic `forecast/score`, and in `/snapshot.json`.
//!
//! Errors are what was said minus what came. Keys name their unit; what is not known yet is `null`.
//!
//! ```text
//! samples_needed      of a lead time, before its errors stand for the published ones in the outlook's spread
//! services[]          service, and leads[]: lead_hours, samples, used,
//!                     temperature_bias_kelvins, temperature_absolute_error_kelvins,
//!                     humidity_ratio_bias_grams_per_kilogram, humidity_ratio_absolute_error_grams_per_kilogram
//! ```

use serde_json::{Value, json};

use crate::model::score::{ENOUGH, LEADS, LeadScore, ServiceScore};

/// The scores of every service that was in use; `None` before the first sample.
pub fn object(scores: &[ServiceScore]) -> Option<Value> {
    let services: Vec<Value> = scores
        .iter()
        .map(|score| {
            let leads = LEADS.iter().zip(&score.leads).map(|(hours, lead)| of_lead(*hours, lead));
            json!({ "service": score.service.name(), "leads": leads.collect::<Vec<_>>() })
        })
        .collect();
    (!services.is_empty()).then(|| json!({ "samples_needed": ENOUGH, "services": services }))
}

fn of_lead(hours: i64, lead: &LeadScore) -> Value {
    let known = |value: f64, scale: f64| (lead.samples > 0).then(|| (value * scale).round() / scale);
    json!({
        "lead_hours": hours,
        "samples": lead.samples,
        "used": lead.samples >= ENOUGH,
        "temperature_bias_kelvins": known(lead.bias, 100.0),
        "temperature_absolute_error_kelvins": known(lead.absolute, 100.0),
        "humidity_ratio_bias_grams_per_kilogram": known(lead.moisture_bias * 1_000.0, 1_000.0),
        "humidity_ratio_absolute_error_grams_per_kilogram": known(lead.moisture_absolute * 1_000.0, 1_000.0),
    })
}
