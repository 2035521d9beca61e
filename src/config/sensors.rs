//! Sensors: from their sections to sources and the way in which each is heard.

use std::time::Duration;

use super::{kind, problem::Mistake, rooms::Draft, section::Section, walk::Found};
use crate::{
    model::{BelowFreezing, Calibration, Identifier, Intake, Place, Quantity, Source},
    wire::{
        decode::Decoder,
        topic::{Binding, Topic},
    },
};

/// A source and how it is heard, with where it was written.
pub struct Heard {
    /// The source, as the engine knows it.
    pub source: Source,
    /// How it is heard.
    pub binding: Binding,
    path: Vec<String>,
}

/// Every source of the file: outdoors, in spaces, in rooms.
pub fn sources(outdoors: &Section, spaces: &Section, drafts: &[(Draft, Intake)], found: &mut Vec<Found>) -> Vec<Heard> {
    let mut heard = Vec::new();
    place(Place::Outdoors, &outdoors.section("sensors"), &mut heard, found);
    for (index, (_, space)) in spaces.named().enumerate() {
        place(Place::Space(index), &space.section("sensors"), &mut heard, found);
    }
    for (index, (draft, _)) in drafts.iter().enumerate() {
        place(Place::Room(index), &draft.section.section("sensors"), &mut heard, found);
        for (surface, (name, section)) in draft.section.section("shell").section("surfaces").named().enumerate() {
            let at = (Place::Surface { room: index, surface }, Quantity::SurfaceTemperature);
            if let Some(heard) = listen(at, &section.section("probe"), &mut heard, found) {
                heard.source.position = Identifier::new(name).ok();
            }
        }
    }
    heard
}

/// Whether a place has sensors for what its air is.
pub fn say_what_the_air_is(sensors: &Section) -> bool {
    let both = |section: &Section| {
        section.has(Quantity::Temperature.name())
            && (section.has(Quantity::RelativeHumidity.name()) || section.has(Quantity::DewPoint.name()))
    };
    both(sensors) || sensors.section("positions").named().any(|(_, section)| both(&section))
}

fn place(place: Place, sensors: &Section, heard: &mut Vec<Heard>, found: &mut Vec<Found>) {
    position(place, None, sensors, heard, found);
    for (name, section) in sensors.section("positions").named() {
        // A name that is none has been reported by the walk.
        let Ok(name) = Identifier::new(name) else { continue };
        position(place, Some(&name), &section, heard, found);
    }
}

fn position(
    place: Place,
    position: Option<&Identifier>,
    sensors: &Section,
    heard: &mut Vec<Heard>,
    found: &mut Vec<Found>,
) {
    for humid in [Quantity::RelativeHumidity, Quantity::DewPoint] {
        if sensors.has(humid.name()) && !sensors.has(Quantity::Temperature.name()) {
            let hint = "add the temperature sensor that stands beside it";
            found.push(Found::key(sensors.path(humid.name()), Mistake::HumidityAlone).hint(hint));
        }
    }
    for quantity in Quantity::ALL {
        if let Some(heard) = listen((place, quantity), &sensors.section(quantity.name()), heard, found) {
            heard.source.position = position.cloned();
        }
    }
}

fn listen<'h>(
    at: (Place, Quantity),
    section: &Section,
    heard: &'h mut Vec<Heard>,
    found: &mut Vec<Found>,
) -> Option<&'h mut Heard> {
    let (place, quantity) = at;
    if !section.exists() {
        return None;
    }
    let source = source(section, place, quantity, found);
    let binding = binding(section, quantity, found)?;
    let path = section.path("topic");
    let same = |other: &&Heard| {
        let (one, two) = (&other.binding, &binding);
        (&one.topic, one.decoder, &one.place) == (&two.topic, two.decoder, &two.place)
    };
    if let Some(other) = heard.iter().find(same) {
        let mistake = Mistake::SameSource(other.path[..other.path.len() - 1].join("."));
        let hint = "each source needs a topic of its own, or a place of its own in a shared payload";
        found.push(Found::value(path.clone(), mistake).hint(hint));
    }
    heard.push(Heard { source: source?, binding, path });
    heard.last_mut()
}

fn source(section: &Section, place: Place, quantity: Quantity, found: &mut Vec<Found>) -> Option<Source> {
    let age = section.quantity::<Duration>("maximum-age");
    if age.is_some_and(|age| age < Duration::from_secs(1)) {
        let mistake = Mistake::NotPositive(section.text("maximum-age").unwrap_or_default());
        let hint = "at least a second; three of the sensor's own intervals are usual";
        found.push(Found::value(section.path("maximum-age"), mistake).hint(hint));
    }
    let humid = matches!(quantity, Quantity::RelativeHumidity | Quantity::DewPoint);
    for (key, fits) in [("below-freezing", humid), ("self-calibrating", quantity == Quantity::CarbonDioxide)] {
        if section.has(key) && !fits {
            let mistake = Mistake::OfNoUse { key, why: "it means nothing for this quantity" };
            found.push(Found::key(section.path(key), mistake).hint("take it out"));
        }
    }
    let usual = Source::new(place, quantity, age?);
    let bound =
        |key, usual| section.text(key).and_then(|text| kind::sensor_value(quantity, &text).ok()).unwrap_or(usual);
    let range = (bound("lowest", usual.range.0), bound("highest", usual.range.1));
    if range.0 >= range.1 {
        let at = if section.has("lowest") { "lowest" } else { "highest" };
        let text = |key: &str, value: f64| section.text(key).unwrap_or_else(|| value.to_string());
        let mistake = Mistake::Order {
            lower: "the lowest",
            lower_value: text("lowest", range.0),
            upper: "the highest",
            upper_value: text("highest", range.1),
        };
        found.push(Found::value(section.path(at), mistake).hint("give the smaller as `lowest`"));
    }
    let ice = section.text("below-freezing").as_deref() == Some("ice");
    Some(Source {
        calibration: calibration(&section.section("calibration"), quantity, found),
        range,
        below_freezing: if ice { BelowFreezing::Ice } else { BelowFreezing::Water },
        self_calibrating: section.parsed("self-calibrating").unwrap_or(false),
        ..usual
    })
}

fn calibration(section: &Section, quantity: Quantity, found: &mut Vec<Found>) -> Calibration {
    let value = |section: &Section, key| section.text(key).and_then(|text| kind::sensor_value(quantity, &text).ok());
    let point = |name| {
        let point = section.section(name);
        Some((value(&point, "reads")?, value(&point, "truth")?))
    };
    let single = section.has("offset") || section.has("gain");
    let mut found_here = |key: &str, mistake, hint: &'static str| {
        found.push(Found::key(section.path(key), mistake).hint(hint));
    };
    for (here, other) in [("low", "high"), ("high", "low")] {
        if section.has(here) && !section.has(other) {
            found_here(here, Mistake::HalfOfPair { here, other }, "two points make a line; of one, write the `offset`");
        }
        if section.has(here) && single {
            let why = "two points already say the offset and the gain";
            found_here(here, Mistake::OfNoUse { key: here, why }, "keep either the points, or `offset` and `gain`");
        }
    }
    let mut known = Calibration {
        gain: section.parsed("gain").unwrap_or(1.0),
        offset: section.text("offset").and_then(|text| kind::sensor_difference(quantity, &text).ok()).unwrap_or(0.0),
        ..Calibration::NONE
    };
    if let (Some(low), Some(high)) = (point("low"), point("high")) {
        match Calibration::through(low, high) {
            Ok(line) => known = line,
            Err(bad) => found_here("high", Mistake::Points(bad), "read both points again, in the jar and in the file"),
        }
    }
    Calibration {
        made: section.parsed("date"),
        good_for: section.quantity("good-for").unwrap_or(Calibration::GOOD_FOR),
        ..known
    }
}

fn binding(section: &Section, quantity: Quantity, found: &mut Vec<Found>) -> Option<Binding> {
    let topic = Topic::new(&section.text("topic")?);
    let decoder = match section.text("decoder") {
        Some(name) => Decoder::named(&name)?,
        None if section.has("pointer") => Decoder::JSON,
        None => Decoder::NUMBER,
    };
    let mut place = String::new();
    for key in ["pointer", "record"] {
        match (decoder.place == Some(key), section.has(key)) {
            (true, true) => place = section.text(key)?,
            (true, false) => {
                let mistake = Mistake::Needs { decoder: decoder.name, key };
                found.push(Found::key(section.here(), mistake).hint("it says where in the payload the number stands"));
                return None;
            }
            (false, true) => {
                let mistake = Mistake::OfNoUse { key, why: "the decoder does not look for it" };
                found.push(Found::key(section.path(key), mistake).hint("take it out, or choose another `decoder`"));
            }
            (false, false) => {}
        }
    }
    if !section.has("unit") && !decoder.knows_unit {
        let allowed = kind::Kind::SensorUnit.allowed(quantity.name());
        let (first, _) = kind::sensor_units(quantity).first()?;
        let hint = format!("for example `unit: \"{first}\"`");
        found.push(Found::key(section.here(), Mistake::Missing("unit")).allowed(allowed).hint(hint));
        return None;
    }
    let unit = section.text("unit");
    let unit = if let Some(unit) = unit { Some(kind::sensor_unit(quantity, &unit)?) } else { None };
    Some(Binding {
        topic: topic.ok()?,
        decoder,
        place,
        unit,
        quoted: section.parsed("quoted").unwrap_or(false),
        missing: section.numbers("missing"),
    })
}

/// A source inside the tree that is published here would feed the daemon with its own words.
pub fn own_topics(heard: &[Heard], roots: &[String], found: &mut Vec<Found>) {
    for heard in heard {
        let device = heard.binding.topic.as_str().splitn(4, '/').take(3).collect::<Vec<_>>().join("/");
        if roots.contains(&device) {
            let mistake = Mistake::OwnTopic(heard.binding.topic.to_string());
            let hint = "name the topic that the sensor itself publishes to";
            found.push(Found::value(heard.path.clone(), mistake).hint(hint));
        }
    }
}
