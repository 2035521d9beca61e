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
            decoder(concat!($at, ".decoder")),
            pointer(concat!($at, ".pointer")),
            record(concat!($at, ".record")),
            unit(concat!($at, ".unit")),
            quoted(concat!($at, ".quoted")),
            missing(concat!($at, ".missing")),
            age(concat!($at, ".maximum-age")),
            range(concat!($at, ".lowest|highest")),
            below_freezing(concat!($at, ".below-freezing")),
            own_zero(concat!($at, ".self-calibrating")),
            calibration(concat!($at, ".calibration")),
            date(concat!($at, ".calibration.date")),
            offset(concat!($at, ".calibration.offset")),
            gain(concat!($at, ".calibration.gain")),
            good_for(concat!($at, ".calibration.good-for")),
            point(concat!($at, ".calibration.low|high")),
            reads(concat!($at, ".calibration.low|high.reads")),
            truth(concat!($at, ".calibration.low|high.truth")),
        ]
    };
}

/// The rows of named positions: the section that holds them, and one of them.
macro_rules! positions {
    ($at:literal) => {
        [
            Key { path: $at, kind: Kind::Names, need: Need::Optional, doc: POSITIONS, example: "" },
            section(concat!($at, ".*"), Need::Optional, POSITION),
        ]
    };
}

const POSITIONS: &str = "Several sensors of one quantity: each position under a name of your own, such as `top-shelf`. They are fused; how \
     far they are apart is published.";
const POSITION: &str = "One position. What stands here is of one air: a humidity needs the temperature beside it.";

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
        "outdoors.sensors.temperature|relative-humidity|dew-point|pressure|carbon-dioxide",
        "How this quantity arrives. Pressure is the station's own, not reduced to sea level."
    ),
    &positions!("outdoors.sensors.positions"),
    &source!(
        "outdoors.sensors.positions.*.temperature|relative-humidity|dew-point|pressure|carbon-dioxide",
        "How this quantity arrives from this position."
    ),
    &[section(
        "spaces.*.sensors",
        Need::Optional,
        "Sensors in the space, where its air enters the rooms that draw from it.",
    )],
    &source!("spaces.*.sensors.temperature|relative-humidity|dew-point|carbon-dioxide", "How this quantity arrives."),
    &positions!("spaces.*.sensors.positions"),
    &source!(
        "spaces.*.sensors.positions.*.temperature|relative-humidity|dew-point|carbon-dioxide",
        "How this quantity arrives from this position."
    ),
    &[section(
        "rooms.*.sensors",
        Need::Optional,
        "Sensors in the room, at the height of the crop and out of the mist.",
    )],
    &source!(
        "rooms.*.sensors.temperature|relative-humidity|dew-point|carbon-dioxide|fan-state|humidifier-state",
        "How this quantity arrives. `fan-state` and `humidifier-state` are what the machines report of themselves: a \
         switch, or a share of full speed or output."
    ),
    &positions!("rooms.*.sensors.positions"),
    &source!(
        "rooms.*.sensors.positions.*.temperature|relative-humidity|dew-point|carbon-dioxide",
        "How this quantity arrives from this position."
    ),
    &source!(
        "rooms.*.shell.surfaces.*.probe",
        "How the surface's temperature arrives: from a probe that is pressed on it and covered against the room's air."
    ),
];

const fn topic(path: &'static str) -> Key {
    let doc = "MQTT topic that the sensor publishes to. Put it in quotes: behind a space, `#` starts a comment.";
    row(path, Kind::Topic, Need::Required, doc, "\"sensors/oyster-hall/air\"")
}

const fn decoder(path: &'static str) -> Key {
    let doc = "How the payload is written. `number`: it is the number. `json`: it is JSON, and `pointer` leads to the \
               number. `senml`: it is a SenML pack (RFC 8428), and `record` names the record. `on-off`: it is a \
               switch's word. Nothing else is tried.";
    row(
        path,
        Kind::Word(kind::decoders),
        Need::Computed("`json` where there is a `pointer`, else `number`"),
        doc,
        "json",
    )
}

const fn pointer(path: &'static str) -> Key {
    let doc = "Where the number stands in a JSON payload, as a JSON Pointer (RFC 6901).";
    row(path, Kind::Pointer, Need::Optional, doc, "/temperature")
}

const fn record(path: &'static str) -> Key {
    let doc =
        "Whole name of the SenML record, base name and name together. Its time and its unit are the record's own.";
    row(path, Kind::Text, Need::Optional, doc, "\"urn:dev:mac:0024befffe804ff1:temperature\"")
}

const fn unit(path: &'static str) -> Key {
    let doc = "Unit of the numbers that the sensor sends; SenML's codes (`Cel`, `%RH`) are understood too.";
    let need = Need::Computed("the payload's own, with the decoders `senml` and `on-off`; required with the others");
    row(path, Kind::SensorUnit, need, doc, "\"°C\"")
}

const fn quoted(path: &'static str) -> Key {
    let doc = "True where the sensor sends its numbers in quotes.";
    row(path, Kind::Flag, Need::Default("false"), doc, "true")
}

const fn missing(path: &'static str) -> Key {
    let doc = "Numbers that stand for no value, as the sensor sends them: many thermometers say -127 or 85 at a fault.";
    row(path, Kind::Numbers, Need::Optional, doc, "[-127, 65535]")
}

const fn age(path: &'static str) -> Key {
    let doc = "Readings older than this are not acted on; from half of it on, the worst that the value could be by now is \
               reckoned with. At least three of the sensor's own intervals.";
    row(path, kind::quantity::<Duration>(), Need::Default("10 min"), doc, "10 min")
}

const fn range(path: &'static str) -> Key {
    let doc = "What the sensor can truthfully say at its place; other numbers are refused. Carbon dioxide at `highest` or above \
               is over range: it counts as the next limit for people (5,000, 15,000 or 30,000 ppm).";
    row(path, Kind::SensorValue, Need::Computed("what any sensor of its kind can say"), doc, "-30 °C")
}

const fn below_freezing(path: &'static str) -> Key {
    let doc = "What a relative humidity or dew point refers to below 0 °C: `water` with nearly every sensor and weather \
               service, `ice` in some archives and instruments.";
    row(path, Kind::Word(kind::below_freezing), Need::Default("water"), doc, "water")
}

const fn own_zero(path: &'static str) -> Key {
    let doc = "True for a carbon dioxide sensor that takes the freshest air of the last days for outdoor air. In a room \
               that never airs out it drifts, which is then looked for.";
    row(path, Kind::Flag, Need::Default("false"), doc, "true")
}

const fn calibration(path: &'static str) -> Key {
    section(
        path,
        Need::Optional,
        "What a check of the sensor has shown: an `offset`, a `gain` or both, or two points. `mistwright calibrate` \
         finds it and prints it.",
    )
}

const fn date(path: &'static str) -> Key {
    let doc = "Day of the check.";
    row(path, Kind::Date, Need::Required, doc, "2026-10-01")
}

const fn offset(path: &'static str) -> Key {
    let doc = "Added to the reading, after the gain. For relative humidity in points (`%`), for temperature in `K`.";
    row(path, Kind::SensorDifference, Need::Optional, doc, "-0.4 K")
}

const fn gain(path: &'static str) -> Key {
    let doc = "Factor of the reading.";
    row(path, Kind::Factor, Need::Optional, doc, "1.02")
}

const fn good_for(path: &'static str) -> Key {
    let doc = "For how long the check may be relied on; older, it is said so.";
    row(path, kind::quantity::<Duration>(), Need::Default("180 d"), doc, "180 d")
}

const fn point(path: &'static str) -> Key {
    section(path, Need::Optional, "One of two checks, such as over a saturated salt.")
}

const fn reads(path: &'static str) -> Key {
    row(path, Kind::SensorValue, Need::Required, "What the sensor read.", "20 °C")
}

const fn truth(path: &'static str) -> Key {
    row(path, Kind::SensorValue, Need::Required, "What it should have read.", "20.4 °C")
}
