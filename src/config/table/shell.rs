//! Keys of what encloses a room's air.

use super::{Key, Need, row, section};
use crate::{
    config::kind::{self, Kind},
    units::{Area, HeatCapacity, HeatLoss, HeatTransferCoefficient, Transmittance},
};

/// In the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    section(
        "rooms.*.shell",
        Need::Computed("no heat is reckoned: the room is taken to stay as warm as it is"),
        "What encloses the room's air: how it loses heat, and which surfaces may get wet.",
    ),
    row(
        "rooms.*.shell.heat-loss",
        kind::quantity::<HeatLoss>(),
        Need::Computed("`u-value` times `area`, or unknown"),
        "Heat that passes for each kelvin between inside and around, without fresh air and leaks.",
        "60 W/K",
    ),
    row(
        "rooms.*.shell.u-value",
        kind::quantity::<Transmittance>(),
        Need::Optional,
        "Instead of `heat-loss`, with `area`: mean transmittance of the whole shell, doors included.",
        "0.3 W/m²K",
    ),
    row(
        "rooms.*.shell.area",
        kind::quantity::<Area>(),
        Need::Optional,
        "Area of the whole shell: walls, ceiling and floor.",
        "200 m²",
    ),
    row(
        "rooms.*.shell.fabric",
        kind::quantity::<HeatCapacity>(),
        Need::Default("0 kJ/K"),
        "Heat that benches, substrate and the inner layer of the walls take up with the air, for each kelvin. A tonne of \
         moist substrate holds about 3 000 kJ/K (from memory, unchecked).",
        "6 000 kJ/K",
    ),
    row(
        "rooms.*.shell.around",
        Kind::Intake,
        Need::Computed("the space that fresh air is drawn from, if it is a space; else `outdoors`"),
        "What lies on the other side: `outdoors`, or the name of another room or of a space.",
        "outdoors",
    ),
    Key {
        path: "rooms.*.shell.surfaces",
        kind: Kind::Names,
        need: Need::Optional,
        doc: "Surfaces to watch for water, the coldest ones, each under a short name of its own.",
        example: "",
    },
    section(
        "rooms.*.shell.surfaces.*",
        Need::Optional,
        "One surface, known in one of three ways: by a `probe` on it, by what it is built of (`wall`), or by its \
         `temperature-factor`.",
    ),
    row(
        "rooms.*.shell.surfaces.*.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The surface's name for people.",
        "North wall",
    ),
    row(
        "rooms.*.shell.surfaces.*.temperature-factor",
        Kind::Share,
        Need::Optional,
        "Temperature factor fRsi of ISO 13788: 0 as cold as around, 1 as warm as the room. It warns of water; what \
         condenses is not reckoned from it.",
        "0.94",
    ),
    section(
        "rooms.*.shell.surfaces.*.wall",
        Need::Optional,
        "A wall, ceiling or window by what it is built of. What condenses on it is taken from the room's water.",
    ),
    row("rooms.*.shell.surfaces.*.wall.area", kind::quantity::<Area>(), Need::Required, "Its area.", "24 m²"),
    row(
        "rooms.*.shell.surfaces.*.wall.u-value",
        kind::quantity::<Transmittance>(),
        Need::Required,
        "Its transmittance with both air films. Single film or glass has about 6, double film 4, twin-wall \
         polycarbonate 3.4, an 80 mm insulated panel 0.27 W/m²K.",
        "0.27 W/m²K",
    ),
    row(
        "rooms.*.shell.surfaces.*.wall.convective",
        kind::quantity::<HeatTransferCoefficient>(),
        Need::Default("3 W/m²K"),
        "Convective part of the inner air film: about 3 in still air, 5–8 where a fan blows along it (from memory, \
         unchecked).",
        "3 W/m²K",
    ),
];
