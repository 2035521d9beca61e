//! Spaces that are only measured, and the names by which rooms and spaces are told apart.

use super::{problem::Mistake, rooms::title, section::Section, sensors, walk::Found};
use crate::model::{Identifier, Space};

/// The spaces in the file's order. `None` where something was missing or did not fit, which has been reported.
pub fn spaces(section: &Section, found: &mut Vec<Found>) -> Option<Vec<Space>> {
    let spaces: Vec<_> = section.named().map(|(name, section)| space(name, &section, found)).collect();
    spaces.into_iter().collect()
}

fn space(name: &str, section: &Section, found: &mut Vec<Found>) -> Option<Space> {
    let assumed = section.section("assumed");
    let measured = sensors::say_what_the_air_is(&section.section("sensors"));
    if section.exists() && !measured && !section.has("assumed") {
        let hint = "add sensors for temperature and relative humidity, or `assumed: {temperature: 18 °C, \
                    relative-humidity: 40 %}`";
        found.push(Found::key(section.here(), Mistake::UnknownAir).hint(hint));
    }
    let known = match (assumed.quantity("temperature"), assumed.below_saturation("relative-humidity", found)) {
        (Some(temperature), Some(humidity)) => Some((temperature, humidity)),
        _ => None,
    };
    // A section that exists must have been understood whole.
    let assumed = if section.has("assumed") { Some(known?) } else { None };
    let title = section.text("title").unwrap_or_else(|| title(name));
    Some(Space { name: Identifier::new(name).ok()?, title, assumed })
}

/// Names of rooms and spaces that would be taken for something else.
pub fn names(rooms: &Section, spaces: &Section, site: Option<&str>, found: &mut Vec<Found>) {
    let taken = |name: &str| match name {
        "outdoors" => Some("it is the word for the air outdoors"),
        _ if Some(name) == site => Some("it is the site's name"),
        _ => None,
    };
    for (name, section) in rooms.named() {
        if let Some(why) = taken(name) {
            let mistake = Mistake::NameTaken { what: "room", name: name.to_owned(), why };
            found.push(Found::key(section.here(), mistake).hint("choose another name for the room"));
        }
    }
    for (name, section) in spaces.named() {
        let room = rooms.has(name).then_some("it is a room's name");
        if let Some(why) = taken(name).or(room) {
            let mistake = Mistake::NameTaken { what: "space", name: name.to_owned(), why };
            found.push(Found::key(section.here(), mistake).hint("choose another name for the space"));
        }
    }
}
