//! Metrics of the daemon and the whole site.

use std::collections::BTreeMap;

use super::{MetricRow, Sample, count, counter, gauge, seconds, truth};
use crate::{
    advice::{Alert, Priority},
    engine::{Input, ServiceState, Snapshot, snapshot::PressureFrom},
    model::Service,
};

/// Rows of the daemon and the site.
pub(super) const ROWS: &[MetricRow] = &[
    gauge("mistwright_build_info", &["version"], "Version of the running daemon; always 1.", |_| {
        vec![Sample { labels: vec![env!("CARGO_PKG_VERSION").to_owned()], value: 1.0 }]
    }),
    counter("mistwright_events_total", &[], "Events taken in since the start.", |s| vec![Sample::bare(count(s.turns))]),
    gauge("mistwright_snapshot_timestamp_seconds", &[], "Calendar time of the values served here.", |s| {
        vec![Sample::bare(seconds(s.now.wall))]
    }),
    gauge("mistwright_clock_trusted", &[], "Whether the calendar clock is plausible: 1 or 0.", |s| {
        vec![Sample::bare(truth(s.now.trusted))]
    }),
    gauge("mistwright_broker_connected", &[], "Whether the broker is connected: 1 or 0.", |s| {
        vec![Sample::bare(truth(s.site.connected))]
    }),
    counter("mistwright_broker_connections_total", &[], "Connections to the broker since the start.", |s| {
        vec![Sample::bare(count(s.site.connections))]
    }),
    counter(
        "mistwright_forecast_fetches_total",
        &["service"],
        "Forecasts fetched or confirmed since the start.",
        |s| of_services(s, |service| Some(count(service.successes))),
    ),
    counter(
        "mistwright_forecast_failures_total",
        &["service"],
        "Fetches of a forecast that failed since the start.",
        |s| of_services(s, |service| Some(count(service.failures.values().sum()))),
    ),
    gauge(
        "mistwright_forecast_fetched_timestamp_seconds",
        &["service"],
        "When the forecast was last fetched or confirmed.",
        |s| of_services(s, |service| service.fetched.map(seconds)),
    ),
    gauge(
        "mistwright_forecast_in_use",
        &["service"],
        "Whether this service's forecast is the one in use: 1 or 0.",
        |s| {
            let used = s.site.forecast.as_ref().map(|forecast| forecast.service);
            of_services(s, |service| Some(truth(used == Some(service.service))))
        },
    ),
    gauge("mistwright_forecast_end_timestamp_seconds", &["service"], "Last moment that the forecast covers.", |s| {
        s.site.forecast.iter().map(|forecast| of_service(forecast.service, seconds(forecast.ends()))).collect()
    }),
    gauge(
        "mistwright_forecast_coldest_celsius",
        &[],
        "Coldest outdoor temperature forecast for the next 24 hours.",
        |s| s.site.coldest.iter().map(|(_, coldest)| Sample::bare(coldest.celsius())).collect(),
    ),
    gauge("mistwright_site_pressure_pascals", &[], "Air pressure at the site, as used.", |s| {
        vec![Sample::bare(s.site.pressure.pascals())]
    }),
    gauge(
        "mistwright_site_pressure_assumed",
        &[],
        "Whether the pressure is only the standard atmosphere at the site's elevation: 1 or 0.",
        |s| vec![Sample::bare(truth(s.site.pressure_from == PressureFrom::StandardAtmosphere))],
    ),
    gauge("mistwright_outdoors_temperature_celsius", &[], "Outdoor temperature now, by sensor or forecast.", |s| {
        s.site.outdoors.air.iter().map(|air| Sample::bare(air.temperature().celsius())).collect()
    }),
    gauge("mistwright_outdoors_humidity_ratio", &[], "Outdoor humidity ratio now, kg vapour per kg dry air.", |s| {
        s.site.outdoors.air.iter().map(|air| Sample::bare(air.humidity_ratio().kilograms_per_kilogram())).collect()
    }),
    gauge(
        "mistwright_outdoors_from_sensor",
        &[],
        "Whether the outdoor values come from the farm's own sensor: 1, or 0 for the forecast.",
        |s| s.site.outdoors.air.iter().map(|_| Sample::bare(truth(s.site.outdoors.from_sensor))).collect(),
    ),
    gauge(
        "mistwright_alert_priority",
        &["alert", "room"],
        "0 not raised or shelved, 1 notice, 2 warning, 3 critical. Alerts of the whole site have no room.",
        |s| alerts(s, priority),
    ),
    gauge(
        "mistwright_alert_known",
        &["alert", "room"],
        "1 where the alert's inputs are present, 0 where it is suppressed or unknown: then 0 priority is not all clear.",
        |s| alerts(s, |alert| truth(!matches!(alert.published(), "suppressed" | "unknown"))),
    ),
    counter("mistwright_inputs_accepted_total", &["input"], "Settings taken over MQTT since the start.", |s| {
        inputs(&s.site.inputs.accepted)
    }),
    counter("mistwright_inputs_refused_total", &["input"], "Settings refused over MQTT since the start.", |s| {
        inputs(&s.site.inputs.refused)
    }),
];

/// A sample for each configured service that has a value.
fn of_services(snapshot: &Snapshot, value: impl Fn(&ServiceState) -> Option<f64>) -> Vec<Sample> {
    let services = snapshot.site.services.iter();
    services.filter_map(|state| Some(of_service(state.service, value(state)?))).collect()
}

fn of_service(service: Service, value: f64) -> Sample {
    Sample { labels: vec![service.name().to_owned()], value }
}

/// A count for everything that can be set, zero for what never was.
fn inputs(counts: &BTreeMap<Input, u64>) -> Vec<Sample> {
    let sample = |input: Input| Sample {
        labels: vec![input.name().to_owned()],
        value: count(counts.get(&input).copied().unwrap_or_default()),
    };
    Input::ALL.map(sample).into()
}

fn alerts(snapshot: &Snapshot, value: fn(&Alert) -> f64) -> Vec<Sample> {
    let of_site = snapshot.site.alerts.iter().map(|alert| (alert, String::new()));
    let of_rooms = snapshot
        .farm
        .rooms
        .iter()
        .zip(&snapshot.rooms)
        .flat_map(|(room, state)| state.alerts.iter().map(|alert| (alert, room.name.to_string())));
    of_site
        .chain(of_rooms)
        .map(|(alert, room)| Sample { labels: vec![alert.kind.name().to_owned(), room], value: value(alert) })
        .collect()
}

fn priority(alert: &Alert) -> f64 {
    use crate::advice::AlertState::{Active, Clearing, Normal, Pending, Suppressed, Unknown};
    if alert.shelf.is_some() {
        return 0.0;
    }
    match &alert.state {
        Normal | Pending { .. } | Suppressed => 0.0,
        Active { priority, .. } | Clearing { priority, .. } | Unknown { priority, .. } => match priority {
            Priority::Notice => 1.0,
            Priority::Warning => 2.0,
            Priority::Critical => 3.0,
        },
    }
}
