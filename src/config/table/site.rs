//! Keys of the site.

use super::{Key, Need, row, section};
use crate::{
    config::kind::{self, Kind},
    units::{Elevation, Temperature},
};

/// In the order of the reference page.
pub(super) const KEYS: &[Key] = &[
    section("site", Need::Required, "Where the farm stands and how its people read."),
    row(
        "site.name",
        Kind::Name,
        Need::Required,
        "Short name of the farm: part of every published topic, so choose it once.",
        "frosthollow",
    ),
    row(
        "site.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The farm's name for people.",
        "Frosthollow farm",
    ),
    row(
        "site.latitude",
        Kind::Degrees(90.0),
        Need::Required,
        "Decimal degrees, north positive. Four decimals are more than a forecast needs.",
        "61.35",
    ),
    row("site.longitude", Kind::Degrees(180.0), Need::Required, "Decimal degrees, east positive.", "25.28"),
    row(
        "site.elevation",
        kind::quantity::<Elevation>(),
        Need::Required,
        "Height above sea level. It sets the air pressure where no sensor does, and the forecast's temperature.",
        "420 m",
    ),
    row(
        "site.time-zone",
        Kind::TimeZone,
        Need::Required,
        "Name in the IANA time zone database, for the times in sentences.",
        "Europe/Helsinki",
    ),
    row(
        "site.units",
        Kind::Word(kind::unit_systems),
        Need::Default("metric"),
        "Units of everything that people read and of the published topics. Metrics always use base units.",
        "metric",
    ),
    row(
        "site.hard-frost",
        kind::quantity::<Temperature>(),
        Need::Default("-4 °C"),
        "Outdoor temperature at which water lines outdoors or in the intake may freeze. The default is common \
         practice, no source.",
        "-4 °C",
    ),
    row(
        "site.design-cold",
        kind::quantity::<Temperature>(),
        Need::Computed(
            "by latitude and height: −4 °C at 33°, 0.7 K colder for each degree towards a pole, 6.5 K for each kilometre \
             up; coasts are up to 12 K milder, inland up to 12 K colder (from memory, unchecked)",
        ),
        "The coldest outdoor air that the farm should be built for, as heating engineers use it: `check` judges \
         humidifiers, heaters and walls by it.",
        "−24 °C",
    ),
];
