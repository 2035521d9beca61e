//! Metrics of a snapshot in the Prometheus text format.
//!
//! A metric is one row of [`METRICS`]: the row makes the samples and the documentation, so neither can be forgotten.
//! Families are made afresh from each snapshot: a value that is no longer known has no sample, while its last-update
//! timestamp and its state stay. Every label value comes from the configuration or from a closed list in this program.

use std::fmt::Write as _;

use prometheus::{
    TextEncoder,
    proto::{Counter, Gauge, LabelPair, Metric, MetricFamily, MetricType},
};

use crate::engine::Snapshot;

mod outlook_score;
mod rooms;
mod score;
mod site;
mod sources;

/// How a metric behaves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Goes up and down.
    Gauge,
    /// Only rises while the daemon runs, from zero.
    Counter,
}

impl Kind {
    /// As Prometheus calls it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Gauge => "gauge",
            Self::Counter => "counter",
        }
    }
}

/// One metric: its name, its documentation and where its samples come from.
#[derive(Debug, Clone, Copy)]
pub struct MetricRow {
    /// With the prefix and the base unit.
    pub name: &'static str,
    /// How it behaves.
    pub kind: Kind,
    /// Labels that a sample may carry, in the order in which its values are given.
    pub labels: &'static [&'static str],
    /// What it says, for people.
    pub help: &'static str,
    samples: fn(&Snapshot) -> Vec<Sample>,
}

/// One number of a metric.
#[derive(Debug, Clone, PartialEq)]
struct Sample {
    /// Values of [`MetricRow::labels`]; an empty value means that the sample has no such label.
    labels: Vec<String>,
    value: f64,
}

impl Sample {
    const fn bare(value: f64) -> Self {
        Self { labels: Vec::new(), value }
    }
}

const fn gauge(
    name: &'static str,
    labels: &'static [&'static str],
    help: &'static str,
    samples: fn(&Snapshot) -> Vec<Sample>,
) -> MetricRow {
    MetricRow { name, kind: Kind::Gauge, labels, help, samples }
}

const fn counter(
    name: &'static str,
    labels: &'static [&'static str],
    help: &'static str,
    samples: fn(&Snapshot) -> Vec<Sample>,
) -> MetricRow {
    MetricRow { name, kind: Kind::Counter, labels, help, samples }
}

/// Every metric of the daemon, in the order in which they are served. The process's own metrics are added where they
/// are served, because they read the machine.
pub const METRICS: [&[MetricRow]; 5] = [site::ROWS, score::ROWS, sources::ROWS, rooms::ROWS, outlook_score::ROWS];

fn rows() -> impl Iterator<Item = &'static MetricRow> {
    METRICS.into_iter().flatten()
}

/// The families that have at least one sample.
pub fn metrics(snapshot: &Snapshot) -> Vec<MetricFamily> {
    rows().filter_map(|row| family(row, snapshot)).collect()
}

/// Families as text, in the format that [`prometheus::TEXT_FORMAT`] names.
///
/// # Errors
/// When a family has no sample or no name; those of [`metrics`] have both.
pub fn text(families: &[MetricFamily]) -> Result<String, prometheus::Error> {
    TextEncoder::new().encode_to_string(families)
}

/// The list of metrics for people, as a Markdown table.
pub fn markdown() -> String {
    let mut table = String::from("| metric | type | labels | meaning |\n|---|---|---|---|\n");
    for row in rows() {
        let labels: Vec<String> = row.labels.iter().map(|label| format!("`{label}`")).collect();
        let labels = if labels.is_empty() { "–".to_owned() } else { labels.join(", ") };
        // Writing to a string cannot fail.
        let _ = writeln!(table, "| `{}` | {} | {labels} | {} |", row.name, row.kind.name(), row.help);
    }
    table
}

fn family(row: &MetricRow, snapshot: &Snapshot) -> Option<MetricFamily> {
    let metrics: Vec<Metric> =
        (row.samples)(snapshot).into_iter().filter(|sample| sample.value.is_finite()).map(|s| metric(row, s)).collect();
    if metrics.is_empty() {
        return None;
    }
    let mut family = MetricFamily::default();
    family.set_name(row.name.to_owned());
    family.set_help(row.help.to_owned());
    family.set_field_type(match row.kind {
        Kind::Gauge => MetricType::GAUGE,
        Kind::Counter => MetricType::COUNTER,
    });
    family.set_metric(metrics);
    Some(family)
}

fn metric(row: &MetricRow, sample: Sample) -> Metric {
    let labels = row.labels.iter().zip(sample.labels).filter(|(_, value)| !value.is_empty());
    let mut metric = Metric::from_label(
        labels
            .map(|(name, value)| {
                let mut pair = LabelPair::default();
                pair.set_name((*name).to_owned());
                pair.set_value(value);
                pair
            })
            .collect(),
    );
    match row.kind {
        Kind::Gauge => {
            let mut gauge = Gauge::default();
            gauge.set_value(sample.value);
            metric.set_gauge(gauge);
        }
        Kind::Counter => {
            let mut counter = Counter::default();
            counter.set_value(sample.value);
            metric.set_counter(counter);
        }
    }
    metric
}

fn truth(value: bool) -> f64 {
    if value { 1.0 } else { 0.0 }
}

#[expect(clippy::cast_precision_loss, reason = "a metric is a double; a counter past 2^53 loses its last digit")]
const fn count(value: u64) -> f64 {
    value as f64
}

#[expect(clippy::cast_precision_loss, reason = "seconds of any calendar time fit 53 bits")]
fn seconds(moment: jiff::Timestamp) -> f64 {
    moment.as_second() as f64
}
