//! Keys of a room's equipment.

use super::{Key, Need, row, section};
use crate::{
    config::kind::{self, Kind},
    units::{Fraction, WaterFlow},
};

/// In the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    section(
        "rooms.*.fan",
        Need::Computed("no fan of its own; a room with a crop must have one"),
        "The fan that brings fresh air. Each flow may be written as a flow or as air changes per hour.",
    ),
    row("rooms.*.fan.capacity", Kind::Air, Need::Required, "Flow at full command.", "1 500 m³/h"),
    row(
        "rooms.*.fan.moves",
        Kind::Word(kind::fan_moves),
        Need::Default("supply"),
        "`supply` where the fan pushes fresh air in, `exhaust` where it pulls room air out (warm air is thinner), `both` where two fans do both.",
        "exhaust",
    ),
    row(
        "rooms.*.fan.floor",
        Kind::Air,
        Need::Required,
        "Advice never goes below this. Not zero where a crop breathes.",
        "1 /h",
    ),
    row(
        "rooms.*.fan.usual",
        Kind::Air,
        Need::Required,
        "What you run when nothing is known. Without a carbon dioxide reading advice is at least this.",
        "5 /h",
    ),
    row(
        "rooms.*.fan.fallback",
        Kind::Air,
        Need::Computed("the usual rate"),
        "Stands on a topic that never expires, for rules whose advice has run out.",
        "5 /h",
    ),
    section("rooms.*.humidifier", Need::Optional, "The room's humidifier, if it has one."),
    row(
        "rooms.*.humidifier.method",
        Kind::Word(kind::methods),
        Need::Required,
        "How it makes mist or vapour. All but steam draw the heat of evaporation from the room.",
        "ultrasonic",
    ),
    row(
        "rooms.*.humidifier.output",
        kind::quantity::<WaterFlow>(),
        Need::Required,
        "Water thrown at full duty.",
        "12 L/h",
    ),
    row(
        "rooms.*.humidifier.evaporated-fraction",
        kind::quantity::<Fraction>(),
        Need::Computed("by method: ultrasonic 85 %, nozzle 80 %, disc 75 %, wetted-media 100 %, steam 95 %"),
        "Share of the water thrown that ends as vapour in the air; the rest wets the room and drains.",
        "85 %",
    ),
    row("rooms.*.humidifier.water", Kind::Water, Need::Required, "Usable water of a full tank, or `mains`.", "300 L"),
];
