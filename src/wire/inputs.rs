//! What can be set over MQTT: the settable properties of the tree, the topics on which they are set, and the payloads.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use serde_json::{Map, Value as Json};

use super::description::{Kind, Life, Property, RoomRow, SiteRow, Value, device_topic};
use crate::{
    advice::{Alert, AlertKind, target::HIGHEST_TARGET},
    engine::command::{Command, Input},
    model::{Farm, Hold, Identifier, Presence, Room, Stage},
    units::{
        AirFlow, OutOfRange, RelativeHumidity, UnitSystem, WaterVolume,
        people::{CUBIC_METRES_PER_CUBIC_FOOT, LITRES_PER_GALLON},
    },
};

/// No payload that sets something is longer, in bytes.
const LONGEST: usize = 1_000;

/// What a hold looks like, as JSON Schema.
const HOLD_FORM: &str = r#"{"type":"object","properties":{"fresh-air":{"type":"number"},"humidity-target":{"type":"number","maximum":95},"for":{"type":"string","description":"ISO 8601 duration up to PT24H"},"until":{"type":"string","description":"published, not set"}}}"#;
/// What a shelf looks like, as JSON Schema.
const SHELVE_FORM: &str = r#"{"type":"object","description":"set alert and for (ISO 8601 duration up to PT24H); published is each shelved alert with its end"}"#;

const fn row(input: Input, node: &'static str, name: &'static str, kind: Kind) -> Property {
    Property { node, id: input.name(), name, kind, life: Life::Turn, set: Some(input) }
}

const PEOPLE_WORDS: Kind = Kind::Word(|| vec![Presence::Present.name(), Presence::Absent.name(), "unknown"]);
const STAGE_WORDS: Kind = Kind::Word(|| Stage::ALL.map(Stage::name).into());
const WATER: Kind = Kind::Number(|units| units.water_volume(WaterVolume::clamped(0.0)));
const SHELVE: Property = row(Input::Shelve, "alerts", "Shelved alerts", Kind::Form(SHELVE_FORM));

/// Settable properties of each room's device, and what belongs to them.
pub const ROOM: &[RoomRow] = &[
    (row(Input::Stage, "inputs", "Stage of the crop", STAGE_WORDS), |view| {
        Some(Value::Word(view.room.crop.as_ref()?.stage.name()))
    }),
    (row(Input::People, "inputs", "People in the room", PEOPLE_WORDS), |view| {
        Some(Value::Word(view.state.inputs.presence.map_or("unknown", |until| until.value.name())))
    }),
    (
        Property {
            id: "people-until",
            set: None,
            ..row(Input::People, "inputs", "People: believed until", Kind::Moment)
        },
        |view| Some(Value::Moment(view.state.inputs.presence?.ends_at)),
    ),
    (row(Input::Hold, "inputs", "Settings held by hand", Kind::Form(HOLD_FORM)), |view| {
        let mut object = Map::new();
        if let Some(until) = view.state.inputs.hold {
            let Hold { fresh_air, humidity_target } = until.value;
            let mut put = |key: &str, value: Option<f64>| {
                if let Some(value) = value {
                    // A tenth, as on the topics of the advice.
                    object.insert(key.to_owned(), Json::from((value * 10.0).round() / 10.0));
                }
            };
            put("fresh-air", fresh_air.map(|flow| view.units.air_flow(flow).value));
            put("humidity-target", humidity_target.map(RelativeHumidity::percent));
            object.insert("until".to_owned(), Json::from(second(until.ends_at)));
        }
        Some(Value::Object(Json::Object(object).to_string()))
    }),
    (row(Input::TankVolume, "inputs", "Water in the tank", WATER), |view| {
        Some(Value::Number(view.units.water_volume(view.state.tank?.volume)))
    }),
    (SHELVE, |view| Some(shelved(&view.state.alerts))),
];

/// Settable properties of the root device.
pub const SITE: &[SiteRow] = &[(SHELVE, |snapshot| Some(shelved(&snapshot.site.alerts)))];

fn shelved(alerts: &[Alert]) -> Value {
    let ends = alerts.iter().filter_map(|alert| Some((alert.kind.name(), alert.shelf?.ends_at)));
    let object = ends.map(|(name, at)| (name.to_owned(), Json::from(second(at)))).collect::<Map<_, _>>();
    Value::Object(Json::Object(object).to_string())
}

fn second(moment: Timestamp) -> String {
    moment.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}

/// Whether a room has this property: no stage without a crop, no content without a tank.
pub fn applies(property: &Property, room: &Room) -> bool {
    match property.set {
        Some(Input::Stage) => room.crop.is_some(),
        Some(Input::TankVolume) => room.humidifier.is_some_and(|humidifier| humidifier.tank().is_some()),
        Some(Input::People | Input::Hold | Input::Shelve) | None => true,
    }
}

/// Where a property is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settable {
    /// The topic to listen to.
    pub topic: String,
    /// The room, by its place in [`Farm::rooms`]; `None` for the site.
    pub room: Option<usize>,
    /// What is set there.
    pub input: Input,
}

/// Every topic on which something can be set.
pub fn settable(farm: &Farm, domain: &Identifier) -> Vec<Settable> {
    let at = |device: &str, property: &Property, room| {
        let topic = format!("{device}/{}/{}/set", property.node, property.id);
        property.set.map(|input| Settable { topic, room, input })
    };
    let mut found = Vec::new();
    for (index, room) in farm.rooms.iter().enumerate() {
        let device = device_topic(farm, domain, Some(room));
        let properties = ROOM.iter().map(|row| &row.0).filter(|property| applies(property, room));
        found.extend(properties.filter_map(|property| at(&device, property, Some(index))));
    }
    let device = device_topic(farm, domain, None);
    found.extend(SITE.iter().filter_map(|row| at(&device, &row.0, None)));
    found
}

/// Why a payload sets nothing. The text of the payload is not kept: it may be anything.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadCommand {
    /// More than any setting needs.
    #[error("the payload has {0} bytes, and no setting needs more than {LONGEST}")]
    TooLong(usize),
    /// Bytes that are no text.
    #[error("the payload is not UTF-8 text")]
    NotText,
    /// None of the words.
    #[error("the payload has to be one of {0}")]
    Word(&'static str),
    /// No number.
    #[error("the payload has to be a number in {0}")]
    Number(&'static str),
    /// No object.
    #[error("the payload has to be a JSON object such as {0}")]
    Object(&'static str),
    /// A key that means nothing here.
    #[error("the object may have only the keys {0}")]
    Key(&'static str),
    /// Something else than a number at a key.
    #[error("`{0}` has to be a number")]
    NotANumber(&'static str),
    /// No alert of this name.
    #[error("`alert` has to be the name of an alert of this place, as it stands in its topic")]
    Alert,
    /// Nothing to hold.
    #[error("there is nothing to hold: give `fresh-air`, `humidity-target` or both; an empty object ends a hold")]
    Nothing,
    /// No length.
    #[error("`for` has to be an ISO 8601 duration up to {hours} hours, such as PT2H", hours = .0.as_secs() / 3_600)]
    Length(Duration),
    /// A number that makes no sense.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A target above the cap.
    #[error("the humidity target is {highest} % at most: nearer to saturation no sensor can be trusted", highest = HIGHEST_TARGET * 100.0)]
    TooWet,
}

impl BadCommand {
    /// One word for labels; the same mistakes share a word.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::TooLong(_) => "too-long",
            Self::NotText => "not-text",
            Self::Word(_) => "word",
            Self::Number(_) | Self::NotANumber(_) => "not-a-number",
            Self::Object(_) => "not-an-object",
            Self::Key(_) => "unknown-key",
            Self::Alert => "unknown-alert",
            Self::Nothing => "nothing",
            Self::Length(_) => "length",
            Self::OutOfRange(_) => "out-of-range",
            Self::TooWet => "too-wet",
        }
    }
}

/// Reads a payload that sets `input`, in the units in which the property is published.
///
/// # Errors
/// See [`BadCommand`].
pub fn read(input: Input, payload: &[u8], units: UnitSystem) -> Result<Command, BadCommand> {
    if payload.len() > LONGEST {
        return Err(BadCommand::TooLong(payload.len()));
    }
    let text = std::str::from_utf8(payload).map_err(|_| BadCommand::NotText)?.trim();
    match input {
        Input::Stage => Stage::ALL
            .into_iter()
            .find(|stage| stage.name() == text)
            .map(Command::Stage)
            .ok_or(BadCommand::Word("spawn-run, pinning, fruiting, resting, empty")),
        Input::People => match text {
            // A motion sensor's rule has true and false at hand.
            "present" | "true" => Ok(Command::People(Some(Presence::Present))),
            "absent" | "false" => Ok(Command::People(Some(Presence::Absent))),
            "unknown" => Ok(Command::People(None)),
            _ => Err(BadCommand::Word("present, absent, unknown, or true, false")),
        },
        Input::TankVolume => {
            let (unit, litres) = match units {
                UnitSystem::Metric => ("L", 1.0),
                UnitSystem::Us => ("gal", LITRES_PER_GALLON),
            };
            let number: f64 = text.parse().map_err(|_| BadCommand::Number(unit))?;
            Ok(Command::TankVolume(WaterVolume::from_litres(number * litres)?))
        }
        Input::Hold => hold(text, units),
        Input::Shelve => shelve(text),
    }
}

fn object(
    text: &str,
    keys: &[&str],
    shown: &'static str,
    example: &'static str,
) -> Result<Map<String, Json>, BadCommand> {
    let Ok(Json::Object(object)) = serde_json::from_str(text) else { return Err(BadCommand::Object(example)) };
    if object.keys().all(|key| keys.contains(&key.as_str())) { Ok(object) } else { Err(BadCommand::Key(shown)) }
}

fn hold(text: &str, units: UnitSystem) -> Result<Command, BadCommand> {
    let example = r#"{"fresh-air":240,"humidity-target":88,"for":"PT2H"}"#;
    let keys = ["fresh-air", "humidity-target", "for"];
    let object = object(text, &keys, "fresh-air, humidity-target and for", example)?;
    if object.is_empty() {
        return Ok(Command::EndHold);
    }
    let number = |key: &'static str| match object.get(key) {
        None => Ok(None),
        Some(value) => value.as_f64().map(Some).ok_or(BadCommand::NotANumber(key)),
    };
    let cubic_metres_per_hour = match units {
        UnitSystem::Metric => 1.0,
        UnitSystem::Us => 60.0 * CUBIC_METRES_PER_CUBIC_FOOT,
    };
    let fresh_air = number("fresh-air")?
        .map(|flow| AirFlow::from_cubic_metres_per_hour(flow * cubic_metres_per_hour))
        .transpose()?;
    let humidity_target = number("humidity-target")?.map(RelativeHumidity::from_percent).transpose()?;
    if humidity_target.is_some_and(|target| target.ratio() > HIGHEST_TARGET + 1e-9) {
        return Err(BadCommand::TooWet);
    }
    if fresh_air.is_none() && humidity_target.is_none() {
        return Err(BadCommand::Nothing);
    }
    let length = length(object.get("for"), Command::LONGEST_HOLD).filter(|length| !length.is_zero());
    let length = length.ok_or(BadCommand::Length(Command::LONGEST_HOLD))?;
    Ok(Command::Hold(Hold { fresh_air, humidity_target }, length))
}

fn shelve(text: &str) -> Result<Command, BadCommand> {
    let object = object(text, &["alert", "for"], "alert and for", r#"{"alert":"hard-frost","for":"PT8H"}"#)?;
    let kind = object
        .get("alert")
        .and_then(Json::as_str)
        .and_then(|name| AlertKind::OF_SITE.into_iter().chain(AlertKind::OF_ROOM).find(|kind| kind.name() == name));
    let kind = kind.ok_or(BadCommand::Alert)?;
    let longest = Command::LONGEST_SHELF;
    Ok(Command::Shelve(kind, length(object.get("for"), longest).ok_or(BadCommand::Length(longest))?))
}

/// An ISO 8601 duration from zero to `longest`.
fn length(value: Option<&Json>, longest: Duration) -> Option<Duration> {
    let text = value?.as_str().filter(|text| text.starts_with('P'))?;
    let length = Duration::try_from(text.parse::<SignedDuration>().ok()?).ok()?;
    (length <= longest).then_some(length)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn word(input: Input, payload: &str) -> &'static str {
        read(input, payload.as_bytes(), UnitSystem::Metric).expect_err(payload).word()
    }

    fn good(input: Input, payload: &str) -> Command {
        read(input, payload.as_bytes(), UnitSystem::Metric).unwrap_or_else(|error| panic!("{payload}: {error}"))
    }

    #[test]
    fn every_setting_is_read_in_its_own_notation() {
        assert_eq!(good(Input::Stage, "spawn-run"), Command::Stage(Stage::SpawnRun));
        assert_eq!(good(Input::People, "true"), Command::People(Some(Presence::Present)));
        assert_eq!(good(Input::People, "absent\n"), Command::People(Some(Presence::Absent)));
        assert_eq!(good(Input::People, "unknown"), Command::People(None));
        assert_eq!(good(Input::TankVolume, "61.5"), Command::TankVolume(WaterVolume::from_litres(61.5).unwrap()));
        assert_eq!(good(Input::Hold, "{}"), Command::EndHold);
        let hours = |hours: u64| Duration::from_secs(hours * 3_600);
        assert_eq!(
            good(Input::Hold, r#"{"humidity-target":88,"for":"PT1H30M"}"#),
            Command::Hold(
                Hold { fresh_air: None, humidity_target: Some(RelativeHumidity::from_percent(88.0).unwrap()) },
                Duration::from_secs(5_400)
            )
        );
        assert_eq!(
            good(Input::Shelve, r#"{"alert":"hard-frost","for":"PT24H"}"#),
            Command::Shelve(AlertKind::HardFrost, hours(24))
        );
        assert_eq!(
            good(Input::Shelve, r#"{"alert":"hard-frost","for":"PT0S"}"#),
            Command::Shelve(AlertKind::HardFrost, Duration::ZERO)
        );
    }

    #[test]
    fn us_numbers_are_taken_by_the_definitions_of_foot_and_gallon() {
        let us = |input, payload: &str| read(input, payload.as_bytes(), UnitSystem::Us).unwrap();
        let Command::TankVolume(volume) = us(Input::TankVolume, "60") else { panic!("no volume") };
        assert!((volume.litres() - 227.124_707).abs() < 1e-5, "{volume:?}");
        let Command::Hold(hold, _) = us(Input::Hold, r#"{"fresh-air":400,"for":"PT1H"}"#) else { panic!("no hold") };
        assert!((hold.fresh_air.unwrap().cubic_metres_per_hour() - 679.604_318).abs() < 1e-5, "{hold:?}");
    }

    #[test]
    fn what_cannot_be_meant_is_refused_by_its_own_word() {
        let long = "1".repeat(1_001);
        for (input, payload, expected) in [
            (Input::Stage, "", "word"),
            (Input::Stage, "Fruiting", "word"),
            (Input::People, "1", "word"),
            (Input::TankVolume, "half", "not-a-number"),
            (Input::TankVolume, "NaN", "out-of-range"),
            (Input::TankVolume, "inf", "out-of-range"),
            (Input::TankVolume, "-1", "out-of-range"),
            (Input::TankVolume, &long, "too-long"),
            (Input::Hold, "240", "not-an-object"),
            (Input::Hold, "[]", "not-an-object"),
            (Input::Hold, r#"{"fresh_air":240,"for":"PT1H"}"#, "unknown-key"),
            (Input::Hold, r#"{"fresh-air":"240","for":"PT1H"}"#, "not-a-number"),
            (Input::Hold, r#"{"fresh-air":-1,"for":"PT1H"}"#, "out-of-range"),
            (Input::Hold, r#"{"fresh-air":1e300,"for":"PT1H"}"#, "out-of-range"),
            (Input::Hold, r#"{"humidity-target":95.1,"for":"PT1H"}"#, "too-wet"),
            (Input::Hold, r#"{"for":"PT1H"}"#, "nothing"),
            (Input::Hold, r#"{"fresh-air":240}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":7200}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":"2 h"}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":"PT0S"}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":"-PT1H"}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":"PT24H1S"}"#, "length"),
            (Input::Hold, r#"{"fresh-air":240,"for":"P1Y"}"#, "length"),
            (Input::Shelve, r#"{"alert":"fire","for":"PT1H"}"#, "unknown-alert"),
            (Input::Shelve, r#"{"for":"PT1H"}"#, "unknown-alert"),
            (Input::Shelve, r#"{"alert":"hard-frost"}"#, "length"),
            (Input::Shelve, r#"{"alert":"hard-frost","for":"PT25H"}"#, "length"),
        ] {
            assert_eq!(word(input, payload), expected, "{}: {}", input.name(), &payload[..payload.len().min(60)]);
        }
        assert_eq!(read(Input::People, b"\xff", UnitSystem::Metric).unwrap_err().word(), "not-text");
    }

    proptest! {
        #[test]
        fn no_bytes_hold_or_shelve_for_longer_than_a_day_or_above_the_cap(
            payload in proptest::collection::vec(any::<u8>(), 0..60),
            number in any::<f64>(),
            length in "P(T[0-9]{1,9}[HMS]|[0-9]{1,3}[DWY])",
            input in proptest::sample::select(Input::ALL.as_slice()),
        ) {
            let form = format!(r#"{{"humidity-target":{number:e},"fresh-air":{number:e},"for":"{length}"}}"#);
            let shelf = format!(r#"{{"alert":"hard-frost","for":"{length}"}}"#);
            for payload in [payload.as_slice(), form.as_bytes(), shelf.as_bytes()] {
                match read(input, payload, UnitSystem::Metric) {
                    Ok(Command::Hold(hold, length)) => {
                        prop_assert!(length <= Command::LONGEST_HOLD && !length.is_zero());
                        prop_assert!(hold.humidity_target.is_none_or(|target| target.ratio() <= HIGHEST_TARGET + 1e-9));
                    }
                    Ok(Command::Shelve(_, length)) => prop_assert!(length <= Command::LONGEST_SHELF),
                    Ok(_) | Err(_) => {}
                }
            }
        }
    }
}
