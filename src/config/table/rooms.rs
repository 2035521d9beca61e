//! Keys of rooms and their crops, and of the spaces that rooms stand in.

use super::{Key, Need, row, section};
use crate::{
    config::kind::{self, Kind},
    units::{CarbonDioxide, Mass, RelativeHumidity, Temperature, Volume},
};

/// Spaces, in the order of the reference page.
pub(super) const SPACES: &[Key] = &[
    Key {
        path: "spaces",
        kind: Kind::Names,
        need: Need::Optional,
        doc: "Spaces that are only measured: nothing is advised for them, but rooms draw their air from them or stand in \
              them, such as the heated building around a tent. Each stands under a short name of its own.",
        example: "",
    },
    section(
        "spaces.*",
        Need::Optional,
        "One space. It needs sensors for temperature and relative humidity, or an `assumed` state.",
    ),
    row(
        "spaces.*.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The space's name for people.",
        "Heated barn",
    ),
    section("spaces.*.assumed", Need::Optional, "What its air is taken to be while no sensor says."),
    row("spaces.*.assumed.temperature", kind::quantity::<Temperature>(), Need::Required, "Air temperature.", "18 °C"),
    row(
        "spaces.*.assumed.relative-humidity",
        kind::quantity::<RelativeHumidity>(),
        Need::Required,
        "Relative humidity. Heated buildings are dry in winter.",
        "40 %",
    ),
];

/// Rooms, in the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    Key {
        path: "rooms",
        kind: Kind::Names,
        need: Need::Required,
        doc: "The rooms, each under a short name of its own: lower-case letters, digits and hyphens.",
        example: "",
    },
    section("rooms.*", Need::Optional, "One room with its own air."),
    row(
        "rooms.*.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The room's name for people.",
        "Oyster hall",
    ),
    row("rooms.*.volume", kind::quantity::<Volume>(), Need::Required, "Air volume of the room.", "180 m³"),
    row(
        "rooms.*.intake",
        Kind::Intake,
        Need::Default("outdoors"),
        "Where fresh air comes from: `outdoors`, or the name of the room that it is drawn through, or of a space.",
        "outdoors",
    ),
    row(
        "rooms.*.infiltration",
        Kind::AirChanges,
        Need::Default("0.2 /h"),
        "Air that enters unasked, from outdoors. A tight panel room has 0.1–0.3 /h, double film 0.5–1 /h (from memory, \
         unchecked).",
        "0.2 /h",
    ),
    row(
        "rooms.*.burner",
        Kind::Flag,
        Need::Default("false"),
        "True where a burner without a flue, or one that takes its air from the room, may burn: fresh air is never cut \
         then.",
        "false",
    ),
    section("rooms.*.crop", Need::Optional, "What grows in the room. An anteroom has no crop."),
    row("rooms.*.crop.species", Kind::Word(kind::species), Need::Required, "What is grown.", "oyster"),
    row(
        "rooms.*.crop.stage",
        Kind::Word(kind::stages),
        Need::Required,
        "Where the crop is in its life. It chooses the bands.",
        "fruiting",
    ),
    row("rooms.*.crop.substrate", kind::quantity::<Mass>(), Need::Required, "Moist substrate in the room.", "2 400 kg"),
    section(
        "rooms.*.crop.respiration",
        Need::Optional,
        "Carbon dioxide that the crop gives off, per kilogram of substrate and hour.",
    ),
    row(
        "rooms.*.crop.respiration.middle",
        kind::quantity::<kind::GasRate>(),
        Need::Computed("the catalogue's, by species and stage"),
        "A good guess, used for water.",
        "0.2 g/kg/h",
    ),
    row(
        "rooms.*.crop.respiration.upper",
        kind::quantity::<kind::GasRate>(),
        Need::Computed("the catalogue's, by species and stage"),
        "The upper end, used for fresh air where no sensor says better.",
        "0.3 g/kg/h",
    ),
    section(
        "rooms.*.bands",
        Need::Optional,
        "What the room's air should be, where you know better than the catalogue for the crop and its stage.",
    ),
    section("rooms.*.bands.temperature", Need::Optional, "Air temperature."),
    row(
        "rooms.*.bands.temperature.lowest|preferred|highest",
        kind::quantity::<Temperature>(),
        Need::Computed("the catalogue's, by species and stage"),
        "Below the lowest and above the highest the crop suffers; the preferred is aimed for.",
        "16 °C",
    ),
    section("rooms.*.bands.relative-humidity", Need::Optional, "Relative humidity, at most 95 %."),
    row(
        "rooms.*.bands.relative-humidity.lowest|preferred|highest",
        kind::quantity::<RelativeHumidity>(),
        Need::Computed("the catalogue's, by species and stage"),
        "Below the lowest and above the highest the crop suffers; the preferred is aimed for.",
        "88 %",
    ),
    row(
        "rooms.*.bands.carbon-dioxide-limit",
        kind::quantity::<CarbonDioxide>(),
        Need::Computed("the catalogue's, by species and stage"),
        "The crop's own limit. It is not a limit for people.",
        "1 000 ppm",
    ),
];
