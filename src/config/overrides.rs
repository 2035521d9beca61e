//! The figures of a room's section that stand in the place of the catalogue's, whatever the stage of its crop.

use super::{kind::GasRate, section::Section};
use crate::{model::told::Overrides, units::parse::Written};

/// What the room's section overrides. What does not fit is absent: it has been reported.
pub fn overrides(room: &Section) -> Overrides {
    let bands = room.section("bands");
    let respiration = room.section("crop").section("respiration");
    let rate = |name| respiration.quantity::<GasRate>(name).map(|rate| rate.0);
    Overrides {
        temperature: band(&bands.section("temperature")),
        relative_humidity: band(&bands.section("relative-humidity")),
        carbon_dioxide_limit: bands.quantity("carbon-dioxide-limit"),
        respiration_middle: rate("middle"),
        respiration_upper: rate("upper"),
    }
}

fn band<Q: Written>(section: &Section) -> [Option<Q>; 3] {
    ["lowest", "preferred", "highest"].map(|name| section.quantity(name))
}
