//! Metrics of how the rooms' outlooks have turned out.

use super::{MetricRow, Sample, gauge};
use crate::{
    engine::Snapshot,
    model::room_score::{AirScore, Errors, LEADS, WATER_LEADS, WaterScore},
};

const LABELS: &[&str] = &["room", "lead_hours"];

/// Rows of the rooms' scores, for each lead time with a sample.
pub(super) const ROWS: &[MetricRow] = &[
    gauge(
        "mistwright_outlook_temperature_samples",
        LABELS,
        "Outlooks of this lead time whose temperature the room's sensors have judged, over restarts too.",
        |s| air(s, |air| (air.temperature, f64::from(air.temperature.samples))),
    ),
    gauge(
        "mistwright_outlook_temperature_bias_celsius",
        LABELS,
        "Mean error of the room's temperature over about the last month: positive where it turned out colder than said.",
        |s| air(s, |air| (air.temperature, air.temperature.bias)),
    ),
    gauge(
        "mistwright_outlook_temperature_absolute_error_celsius",
        LABELS,
        "Mean absolute error of the room's temperature over about the last month.",
        |s| air(s, |air| (air.temperature, air.temperature.absolute)),
    ),
    gauge(
        "mistwright_outlook_relative_humidity_samples",
        LABELS,
        "Outlooks of this lead time whose humidity the room's sensors have judged, over restarts too.",
        |s| air(s, |air| (air.relative_humidity, f64::from(air.relative_humidity.samples))),
    ),
    gauge(
        "mistwright_outlook_relative_humidity_bias_ratio",
        LABELS,
        "Mean error of the room's relative humidity over about the last month: positive where it turned out drier than said.",
        |s| air(s, |air| (air.relative_humidity, air.relative_humidity.bias)),
    ),
    gauge(
        "mistwright_outlook_relative_humidity_absolute_error_ratio",
        LABELS,
        "Mean absolute error of the room's relative humidity over about the last month.",
        |s| air(s, |air| (air.relative_humidity, air.relative_humidity.absolute)),
    ),
    gauge(
        "mistwright_outlook_water_samples",
        LABELS,
        "Outlooks whose water of the next 12 or 24 hours was judged by what the humidifier reported, over restarts too.",
        |s| water(s, |water| f64::from(water.errors.samples)),
    ),
    gauge(
        "mistwright_outlook_water_bias_litres",
        LABELS,
        "Mean error of that water over about the last month: positive where less was drawn than said. Reckoned from the reported duty, no meter.",
        |s| water(s, |water| water.errors.bias),
    ),
    gauge(
        "mistwright_outlook_water_absolute_error_litres",
        LABELS,
        "Mean absolute error of that water over about the last month.",
        |s| water(s, |water| water.errors.absolute),
    ),
    gauge(
        "mistwright_outlook_water_drawn_litres",
        LABELS,
        "Mean of the water that was drawn in these hours, by what the humidifier reported.",
        |s| water(s, |water| water.drawn),
    ),
];

fn air(snapshot: &Snapshot, value: fn(&AirScore) -> (Errors, f64)) -> Vec<Sample> {
    samples(snapshot, &LEADS, |room, lead| value(&snapshot.rooms[room].outlook_score.air[lead]))
}

fn water(snapshot: &Snapshot, value: fn(&WaterScore) -> f64) -> Vec<Sample> {
    samples(snapshot, &WATER_LEADS, |room, lead| {
        let water = &snapshot.rooms[room].outlook_score.water[lead];
        (water.errors, value(water))
    })
}

fn samples(snapshot: &Snapshot, leads: &[i64], value: impl Fn(usize, usize) -> (Errors, f64)) -> Vec<Sample> {
    let rooms = snapshot.farm.rooms.iter().enumerate();
    let each = rooms.flat_map(|(index, room)| leads.iter().enumerate().map(move |lead| (index, room, lead)));
    each.filter_map(|(index, room, (lead, hours))| {
        let (errors, value) = value(index, lead);
        let labels = vec![room.name.to_string(), hours.to_string()];
        (errors.samples > 0).then_some(Sample { labels, value })
    })
    .collect()
}
