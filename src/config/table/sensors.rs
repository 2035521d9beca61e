//! Keys of sensors, wherever they stand.

use std::time::Duration;

use super::{Key, Need, row, section};
use crate::config::kind::{self, Kind};

/// The rows of one source: the section itself, and what it holds.
macro_rules! source {
    ($at:literal, $doc:literal) => {
        [
            section($at, Need::Optional, $doc),
            topic(concat!($at, ".topic")),
            pointer(concat!($at, ".pointer")),
            unit(concat!($at, ".unit")),
            age(concat!($at, ".maximum-age")),
        ]
    };
}

/// Every source, behind its place, in the order of the reference page.
pub(super) const KEYS: &[&[Key]] = &[
    &[
        section("outdoors", Need::Optional, "What you measure outdoors yourself."),
        section(
            "outdoors.sensors",
            Need::Optional,
            "Sensors outdoors, in the shade. They override the forecast's present.",
        ),
    ],
    &source!(
        "outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide",
        "How this quantity arrives. Pressure is the station's own, not reduced to sea level."
    ),
    &[section(
        "spaces.*.sensors",
        Need::Optional,
        "Sensors in the space, where its air enters the rooms that draw from it.",
    )],
    &source!("spaces.*.sensors.temperature|relative-humidity|carbon-dioxide", "How this quantity arrives."),
    &[section(
        "rooms.*.sensors",
        Need::Optional,
        "Sensors in the room, at the height of the crop and out of the mist.",
    )],
    &source!("rooms.*.sensors.temperature|relative-humidity|carbon-dioxide", "How this quantity arrives."),
    &source!(
        "rooms.*.shell.surfaces.*.probe",
        "How the surface's temperature arrives: from a probe that is pressed on it and covered against the room's air."
    ),
];

const fn topic(path: &'static str) -> Key {
    let doc = "MQTT topic that the sensor publishes to. Put it in quotes: behind a space, `#` starts a comment.";
    row(path, Kind::Topic, Need::Required, doc, "\"sensors/oyster-hall/air\"")
}

const fn pointer(path: &'static str) -> Key {
    let doc = "Where the number stands in a JSON payload, as a JSON Pointer (RFC 6901). Without it the payload is the \
               number.";
    row(path, Kind::Pointer, Need::Optional, doc, "/temperature")
}

const fn unit(path: &'static str) -> Key {
    let doc = "Unit of the numbers that the sensor sends.";
    row(path, Kind::SensorUnit, Need::Required, doc, "\"°C\"")
}

const fn age(path: &'static str) -> Key {
    let doc = "Readings older than this are not acted on. At least three of the sensor's own intervals.";
    row(path, kind::quantity::<Duration>(), Need::Default("10 min"), doc, "10 min")
}
