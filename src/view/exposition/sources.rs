//! Metrics of the sources of readings.

use std::collections::BTreeMap;

use super::{MetricRow, Sample, count, counter, gauge, seconds, truth};
use crate::engine::{Snapshot, SourceState};

const LABELS: &[&str] = &["room", "quantity"];

/// Rows of the sources. Several sources of one quantity in one room are told together.
pub(super) const ROWS: &[MetricRow] = &[
    counter("mistwright_source_readings_total", LABELS, "Readings taken in since the start.", |s| {
        together(s, |source| Some(count(source.accepted)), |a, b| a + b)
    }),
    counter(
        "mistwright_source_rejected_total",
        LABELS,
        "Messages refused since the start because they hold no believable measurement.",
        |s| together(s, |source| Some(count(source.rejected.values().sum())), |a, b| a + b),
    ),
    gauge(
        "mistwright_source_fresh",
        LABELS,
        "1 while a reading is young enough to act on, 0 while the source is silent or was never heard.",
        |s| together(s, |source| Some(truth(source.reading.fresh().is_some())), f64::max),
    ),
    gauge(
        "mistwright_source_suspect",
        LABELS,
        "1 while a source speaks and is not believed, 0 otherwise; of several of one quantity, 1 while any is not.",
        |s| together(s, |source| Some(truth(matches!(source.reading.state(), "suspect" | "rejected"))), f64::max),
    ),
    gauge(
        "mistwright_source_last_reading_timestamp_seconds",
        LABELS,
        "Calendar time of the last reading; it stays when the value has gone stale.",
        |s| together(s, |source| source.last_heard.map(seconds), f64::max),
    ),
];

fn together(snapshot: &Snapshot, value: fn(&SourceState) -> Option<f64>, join: fn(f64, f64) -> f64) -> Vec<Sample> {
    let mut samples: BTreeMap<(&str, &str), f64> = BTreeMap::new();
    for source in &snapshot.sources {
        if let Some(value) = value(source) {
            samples
                .entry((snapshot.farm.place_name(source.place), source.quantity.name()))
                .and_modify(|so_far| *so_far = join(*so_far, value))
                .or_insert(value);
        }
    }
    samples
        .into_iter()
        .map(|((room, quantity), value)| Sample { labels: vec![room.to_owned(), quantity.to_owned()], value })
        .collect()
}
