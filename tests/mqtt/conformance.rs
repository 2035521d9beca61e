//! The tree as a controller of the Homie convention reads it, which knows nothing of this program: from `$state` to
//! `$description` to every property. The `homie5` crate parses; its known gaps are checked by hand.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use homie5::{
    Homie5Message, HomieDataType, HomieDeviceStatus, HomieValue,
    device_description::{HomieDeviceDescription, HomiePropertyDescription},
    parse_mqtt_message,
};
use jiff::SignedDuration;
use mistwright::{
    advice::{
        AlertKind, LimitedBy, Mode,
        lever::{Change, Lever, Worth},
    },
    engine::{RoomState, Snapshot},
    model::{Identifier, Place, Quantity, outlook::Stretch},
    units::{CarbonDioxide, HeatFlow, RelativeHumidity, TemperatureDifference, UnitSystem, WaterFlow, WaterVolume},
    wire::{description, tree},
};

use super::snowed_in;
use crate::engine::harness::{Bench, farm, room};

/// Units that every controller knows, and the free ones that this program adds.
const KNOWN_UNITS: [&str; 10] = ["°C", "°F", "K", "%", "Pa", "ppm", "L", "gal", "W", "#"];
const FREE_UNITS: [&str; 11] =
    ["mbar·m/min", "g/kg", "gr/lb", "kg/h", "lb/h", "L/h", "gal/h", "m³/h", "cfm", "1/h", "inHg"];

/// What this farm, of which everything is known, has no value for.
const NOT_HERE: [&str; 4] = ["/score", "-spread", "air/drying", "air/drying-power"];

/// What a controller finds: the root's identifier, and how many devices, properties and values.
#[derive(Debug, PartialEq, Eq)]
pub struct Found {
    pub root: String,
    pub devices: usize,
    pub properties: usize,
    pub values: usize,
    /// Topics of properties without a value.
    pub absent: Vec<String>,
}

/// Walks the retained messages; panics at whatever the convention does not allow.
pub fn walk(messages: &BTreeMap<String, String>) -> Found {
    let mut descriptions = BTreeMap::new();
    let mut states = BTreeMap::new();
    for (topic, payload) in messages {
        match parse_mqtt_message(topic, payload.as_bytes()) {
            Ok(Homie5Message::DeviceState { device, state }) => {
                states.insert(device.device_id().to_string(), state);
            }
            Ok(Homie5Message::DeviceDescription { device, description, issues }) => {
                assert!(issues.is_empty(), "{topic}: {issues:?}");
                HomieDeviceDescription::from_json_strict(payload).unwrap();
                let version = serde_json::from_str::<serde_json::Value>(payload).unwrap()["version"].as_u64().unwrap();
                assert!(version < 1 << 53, "{topic}: the version {version} needs more than 53 bits");
                descriptions.insert(device.device_id().to_string(), description);
            }
            Ok(_) => {}
            Err(error) => panic!("{topic} = {payload}: {error}"),
        }
    }
    assert!(states.values().all(|state| *state == HomieDeviceStatus::Ready), "{states:?}");
    assert_eq!(states.keys().collect::<Vec<_>>(), descriptions.keys().collect::<Vec<_>>());
    let roots: Vec<&String> =
        descriptions.iter().filter(|(_, device)| device.root.is_none()).map(|(id, _)| id).collect();
    let [root] = roots[..] else { panic!("one root device, not {roots:?}") };
    let children: BTreeSet<String> = descriptions[root].children.iter().map(ToString::to_string).collect();
    let others: BTreeSet<String> = descriptions.keys().filter(|id| *id != root).cloned().collect();
    assert_eq!(children, others, "the root's children are the other devices");

    let mut known = BTreeSet::new();
    let mut found =
        Found { root: root.clone(), devices: descriptions.len(), properties: 0, values: 0, absent: Vec::new() };
    for (id, device) in &descriptions {
        assert!(device.homie.starts_with("5."), "{id}: {}", device.homie);
        if id != root {
            assert_eq!(device.root.as_ref().map(ToString::to_string).as_ref(), Some(root));
            assert_eq!(device.parent.as_ref().map(ToString::to_string).as_ref(), Some(root));
        }
        for (node, _, property, description) in device.iter() {
            let topic = format!("homie/5/{id}/{node}/{property}");
            check_description(&topic, description);
            found.properties += 1;
            if let Some(payload) = messages.get(&topic) {
                check_value(&topic, payload, description);
                found.values += 1;
            } else {
                found.absent.push(topic.clone());
            }
            known.insert(topic);
        }
    }
    for topic in messages.keys() {
        let attribute = topic.split('/').nth(3).is_some_and(|level| level.starts_with('$'));
        assert!(attribute || known.contains(topic), "{topic} is not described");
    }
    found
}

fn check_description(topic: &str, description: &HomiePropertyDescription) {
    description.validate_strict().unwrap_or_else(|error| panic!("{topic}: {error}"));
    assert!(description.retained, "{topic}");
    let settable = ["inputs/stage", "inputs/people", "inputs/hold", "inputs/tank-volume", "alerts/shelve"];
    assert_eq!(description.settable, settable.iter().any(|end| topic.ends_with(end)), "{topic}");
    assert!(description.name.as_ref().is_some_and(|name| !name.is_empty()), "{topic} has no name");
    let number = matches!(description.datatype, HomieDataType::Float | HomieDataType::Integer);
    assert_eq!(number, description.unit.is_some(), "{topic}: a number has a unit, and nothing else has");
    if let Some(unit) = &description.unit {
        assert!(KNOWN_UNITS.contains(&unit.as_str()) || FREE_UNITS.contains(&unit.as_str()), "{topic}: {unit}");
    }
}

fn check_value(topic: &str, payload: &str, description: &HomiePropertyDescription) {
    let value = HomieValue::parse(payload, description).unwrap_or_else(|error| panic!("{topic} = {payload}: {error}"));
    assert!(value.validate(description), "{topic} = {payload}");
    if description.unit.is_some() {
        // `homie5` would also take `+1`, `1_0` or a float's whole noise, `0.30000000000000004`.
        let digits = payload.strip_prefix('-').unwrap_or(payload);
        let decimals = digits.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        assert!(digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.'), "{topic} = {payload}");
        assert!(decimals <= 2, "{topic} = {payload} is finer than anything that is measured");
        assert!(!payload.starts_with("-0") || payload.bytes().any(|byte| matches!(byte, b'1'..=b'9')), "{topic} = -0");
    }
}

/// Puts into a room's outlook all that can stand out in one.
fn everything_happens(room: &mut RoomState) {
    let outlook = Arc::make_mut(room.outlook.as_mut().expect("the room has an outlook"));
    let (from, to) = (outlook.made, outlook.made + SignedDuration::from_hours(3));
    let found = &mut outlook.expected.findings;
    let worst = worst_shortfall();
    found.shortfall = Some(Stretch { from, to: Some(to), worst_at: to, worst });
    let worst = HeatFlow::from_watts(1_234.5).unwrap();
    found.heat_short = Some(Stretch { from, to: None, worst_at: to, worst });
    found.dew_margin = Some((to, TemperatureDifference::from_kelvins(-0.04).unwrap()));
    (found.tank_empty, found.inlet_fog, found.standing_mist) = (Some(to), Some(from), Some(to));
    let worth = Worth {
        water: WaterVolume::from_litres(12.34).unwrap(),
        hours_short: 3,
        worst_shortfall: worst_shortfall(),
        hours_cold: 0,
        hours_foggy: 0,
        lowest_relative_humidity: RelativeHumidity::from_percent(81.0).unwrap(),
        highest_carbon_dioxide: CarbonDioxide::from_parts_per_million(812.0).unwrap(),
    };
    let change = Change::AddOutput { by: worst_shortfall() };
    room.levers = vec![Lever { change, without: worth, with: Worth { hours_short: 0, ..worth }, by: Some(from) }];
}

fn worst_shortfall() -> WaterFlow {
    WaterFlow::from_kilograms_per_hour(0.004_9).unwrap()
}

/// What stands at the broker when a snapshot is fully published.
pub fn published(snapshot: &Snapshot) -> BTreeMap<String, String> {
    let domain = Identifier::new("homie").unwrap();
    let mut messages: BTreeMap<String, String> =
        tree::render(snapshot, &domain).into_iter().map(|(topic, entry)| (topic, entry.payload)).collect();
    for device in description::devices(&snapshot.farm, &domain) {
        messages.insert(format!("{}/$state", device.topic), "ready".to_owned());
        messages.insert(format!("{}/$description", device.topic), device.description);
    }
    messages
}

#[test]
fn a_controller_can_walk_the_tree_in_both_unit_systems_with_and_without_readings() {
    for units in [UnitSystem::Metric, UnitSystem::Us] {
        let mut snapshot = snowed_in(units).snapshot();
        snapshot.rooms.iter_mut().for_each(everything_happens);
        let found = walk(&published(&snapshot));
        assert_eq!((found.root.as_str(), found.devices), ("frosthollow", 3));
        let properties = description::site_rows().count()
            + AlertKind::OF_SITE.len()
            + 2 * (description::room_rows().count() + AlertKind::OF_ROOM.len());
        assert_eq!(found.properties, properties);
        // A score takes days; a measured air speed, a hold, several sensors of one kind and a stage that was set are not in this farm.
        assert!(found.absent.iter().all(|topic| NOT_HERE.iter().any(|end| topic.ends_with(end))), "{:?}", found.absent);

        let mut farm = farm(vec![room()]);
        farm.site.units = units;
        let silent = walk(&published(&Bench::new(farm).snapshot()));
        assert!(silent.values < silent.properties, "values came from nowhere");
    }
}

#[test]
fn a_description_changes_its_version_with_its_content_and_only_then() {
    let domain = Identifier::new("homie").unwrap();
    let version = |farm: &mistwright::model::Farm| {
        let device = description::devices(farm, &domain).remove(0);
        serde_json::from_str::<serde_json::Value>(&device.description).unwrap()["version"].as_u64().unwrap()
    };
    let mut farm = farm(vec![room()]);
    let before = version(&farm);
    farm.site.latitude = 10.0;
    assert_eq!(version(&farm), before);
    farm.rooms[0].title = "Cold cellar".to_owned();
    assert_ne!(version(&farm), before);
}

#[test]
fn a_decision_in_one_piece_says_the_same_as_its_fields() {
    let bench = snowed_in(UnitSystem::Metric);
    let messages = published(&bench.snapshot());
    let advice = "homie/5/frosthollow-cellar/advice";
    let decision: serde_json::Value = serde_json::from_str(&messages[&format!("{advice}/decision")]).unwrap();
    let fields = decision.as_object().unwrap();
    let names = [
        "air-changes",
        "fan-command",
        "fresh-air",
        "humidifier-duty",
        "humidity-target",
        "limited-by",
        "mode",
        "reason",
        "valid-until",
    ];
    assert_eq!(fields.keys().collect::<BTreeSet<_>>(), names.map(str::to_owned).iter().collect::<BTreeSet<_>>());
    for (field, value) in fields {
        let alone = &messages[&format!("{advice}/{field}")];
        match value.as_f64() {
            Some(number) => assert!((number - alone.parse::<f64>().unwrap()).abs() < 1e-9, "{field}"),
            None => assert_eq!(value.as_str(), Some(alone.as_str()), "{field}"),
        }
    }
    assert_eq!(fields["mode"], Mode::Active.name());
}

#[test]
fn advice_that_is_withheld_leaves_the_mode_the_reason_and_the_fallbacks() {
    let bench = Bench::new(farm(vec![room()]));
    let messages = published(&bench.snapshot());
    let advice: BTreeMap<&str, &str> = messages
        .iter()
        .filter_map(|(topic, payload)| {
            Some((topic.strip_prefix("homie/5/frosthollow-cellar/advice/")?, payload.as_str()))
        })
        .collect();
    assert_eq!(advice["mode"], Mode::Withheld.name());
    assert_eq!(advice["limited-by"], LimitedBy::Nothing.name());
    assert_eq!((advice["fallback-fresh-air"], advice["fallback-humidifier"]), ("240.0", "0.0"));
    for setpoint in ["fresh-air", "air-changes", "fan-command", "humidity-target", "humidifier-duty"] {
        assert!(!advice.contains_key(setpoint), "{setpoint} stands although advice is withheld");
        let decision: serde_json::Value = serde_json::from_str(advice["decision"]).unwrap();
        assert!(decision[setpoint].is_null(), "{setpoint}");
    }
}

#[test]
fn what_must_not_fall_below_a_limit_is_never_rounded_down() {
    let mut narrow = room();
    narrow.fan.fallback = crate::engine::harness::flow(61.23);
    let bench = Bench::new(farm(vec![narrow]));
    let messages = published(&bench.snapshot());
    assert_eq!(messages["homie/5/frosthollow-cellar/advice/fallback-fresh-air"], "61.3");
}

#[test]
fn values_expire_with_their_readings_advice_with_its_validity_and_what_is_configured_never() {
    let mut bench = snowed_in(UnitSystem::Metric);
    let snapshot = bench.snapshot();
    let tree = tree::render(&snapshot, &Identifier::new("homie").unwrap());
    let lives = |topic: &str| tree[&format!("homie/5/frosthollow-cellar/{topic}")].lives_until;
    let now = snapshot.now.elapsed;
    assert_eq!(lives("air/temperature"), Some(snapshot.rooms[0].lives_until));
    let advice = lives("advice/mode").unwrap();
    assert!(advice > now && advice - now <= std::time::Duration::from_secs(600), "{advice:?}");
    for topic in ["advice/fallback-fresh-air", "advice/fallback-humidifier"] {
        assert_eq!(lives(topic), None, "{topic}");
    }
    assert_eq!(tree["homie/5/frosthollow/$alert/hard-frost"].lives_until, None);
    // Once the room's readings are old, no value of its air is left to be published.
    bench.air(Place::Outdoors, -6.0, 80.0);
    bench.pass(std::time::Duration::from_secs(290));
    bench.say(Place::Outdoors, Quantity::Temperature, -6.0);
    bench.pass(std::time::Duration::from_secs(30));
    let tree = tree::render(&bench.snapshot(), &Identifier::new("homie").unwrap());
    let left: Vec<&String> = tree.keys().filter(|topic| topic.starts_with("homie/5/frosthollow-cellar/air/")).collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn a_decision_is_the_same_while_only_its_validity_moves() {
    let mut bench = snowed_in(UnitSystem::Metric);
    let domain = Identifier::new("homie").unwrap();
    let before = tree::render(&bench.snapshot(), &domain);
    // The engine renews a decision that stays the same, well before it ends.
    bench.pass(std::time::Duration::from_secs(280));
    let after = tree::render(&bench.snapshot(), &domain);
    for field in ["decision", "valid-until"] {
        let topic = format!("homie/5/frosthollow-cellar/advice/{field}");
        assert_ne!(before[&topic].payload, after[&topic].payload, "the validity of {field} did not move");
        assert!(before[&topic].says_the_same_as(&after[&topic]), "{field} would be sent in every turn");
    }
    bench.say(Place::Room(0), Quantity::CarbonDioxide, 1_500.0);
    let changed = tree::render(&bench.snapshot(), &domain);
    for field in ["decision", "valid-until"] {
        let topic = format!("homie/5/frosthollow-cellar/advice/{field}");
        assert!(!changed[&topic].says_the_same_as(&after[&topic]), "a new {field} would be kept back");
    }
}

#[test]
fn the_hours_ahead_that_are_kept_are_those_of_the_present_outlook() {
    let mut bench = snowed_in(UnitSystem::Metric);
    let domain = Identifier::new("homie").unwrap();
    let mut renderer = tree::Renderer::default();
    let mut seen = BTreeSet::new();
    for minutes in 0..12 {
        bench.air(Place::Outdoors, -6.0, 80.0);
        bench.air(Place::Room(0), 16.0, 88.0 - f64::from(minutes));
        bench.pass(std::time::Duration::from_secs(60));
        let snapshot = bench.snapshot();
        let tree = renderer.render(&snapshot, &domain);
        assert_eq!(tree, tree::render(&snapshot, &domain), "after {minutes} min");
        seen.insert(tree["homie/5/frosthollow-cellar/outlook/hourly"].payload.clone());
    }
    assert!((2..6).contains(&seen.len()), "{} outlooks in 12 min", seen.len());
    for _ in 0..8 {
        bench.pass(std::time::Duration::from_secs(60));
    }
    let snapshot = bench.snapshot();
    assert!(snapshot.rooms[0].outlook.is_none(), "its sensors are silent");
    let tree = renderer.render(&snapshot, &domain);
    assert!(!tree.contains_key("homie/5/frosthollow-cellar/outlook/hourly"));
    assert!(!tree.contains_key("homie/5/frosthollow-cellar/outlook/levers"));
}
