//! Metrics of how forecasts have turned out.

use super::{MetricRow, Sample, gauge};
use crate::{
    engine::Snapshot,
    model::score::{LEADS, LeadScore},
};

const LABELS: &[&str] = &["service", "lead_hours"];

/// Rows of the score, for each service that was in use and each lead time with a sample.
pub(super) const ROWS: &[MetricRow] = &[
    gauge(
        "mistwright_forecast_score_samples",
        LABELS,
        "Forecasts of this lead time that the outdoor sensor has judged, over restarts too.",
        |s| leads(s, |lead| f64::from(lead.samples)),
    ),
    gauge(
        "mistwright_forecast_bias_celsius",
        LABELS,
        "Mean error of the temperature over about the last month: positive where it turned out colder than forecast.",
        |s| leads(s, |lead| lead.bias),
    ),
    gauge(
        "mistwright_forecast_absolute_error_celsius",
        LABELS,
        "Mean absolute error of the temperature over about the last month.",
        |s| leads(s, |lead| lead.absolute),
    ),
    gauge(
        "mistwright_forecast_humidity_bias_ratio",
        LABELS,
        "Mean error of the humidity ratio over about the last month, kg/kg: positive where it turned out drier.",
        |s| leads(s, |lead| lead.moisture_bias),
    ),
    gauge(
        "mistwright_forecast_humidity_absolute_error_ratio",
        LABELS,
        "Mean absolute error of the humidity ratio over about the last month, kg/kg.",
        |s| leads(s, |lead| lead.moisture_absolute),
    ),
];

fn leads(snapshot: &Snapshot, value: fn(&LeadScore) -> f64) -> Vec<Sample> {
    let services = snapshot.site.scores.iter();
    let each = services.flat_map(|score| LEADS.iter().zip(&score.leads).map(move |lead| (score.service, lead)));
    each.filter(|(_, (_, lead))| lead.samples > 0)
        .map(|(service, (hours, lead))| Sample {
            labels: vec![service.name().to_owned(), hours.to_string()],
            value: value(lead),
        })
        .collect()
}
