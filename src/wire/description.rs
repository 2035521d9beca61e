//! The tables of published properties: one row is one topic of every room or of the site, with its place in
//! `$description` and where its value comes from.

mod outlook;

use jiff::Timestamp;
use serde_json::{Map, Value as Json, json};

use super::{inputs, lifecycle::Device, score, tree::Ahead};
use crate::{
    advice::{AlertKind, Decision, LimitedBy, Mode, Voice, alert::PUBLISHED_STATES, drying},
    engine::{Input, RoomState, Snapshot},
    model::{Farm, Identifier, Room, Service},
    units::{
        AirChanges, AirFlow, CarbonDioxide, Fraction, HumidityRatio, HumidityRatioDifference, Pressure,
        RelativeHumidity, Temperature, TemperatureDifference, UnitSystem, VapourPressure, WaterFlow, WaterVolume,
        people::Shown,
    },
};

/// How long a value may be taken for the present.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Life {
    /// As long as the room's readings.
    Reading,
    /// As long as the decision.
    Decision,
    /// A while after the turn that said it: it falls silent with the daemon.
    Turn,
    /// For ever: it comes from the configuration.
    Configured,
}

/// What a property's payload looks like.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// A number; the function shows any value, for its unit and decimals.
    Number(fn(UnitSystem) -> Shown),
    /// A share in percent.
    Share,
    /// One word of a list.
    Word(fn() -> Vec<&'static str>),
    /// Text for people.
    Text,
    /// A moment, ISO 8601 in UTC.
    Moment,
    /// A JSON object.
    Object,
    /// A JSON object with its schema.
    Form(&'static str),
}

/// A property as `$description` knows it.
#[derive(Debug, Clone, Copy)]
pub struct Property {
    /// Its node.
    pub node: &'static str,
    /// Its identifier in the node.
    pub id: &'static str,
    /// For people.
    pub name: &'static str,
    /// Its payload.
    pub kind: Kind,
    /// Its life.
    pub life: Life,
    /// What is set on its `/set` topic, if it can be set.
    pub set: Option<Input>,
}

/// A value before it is written.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Rounded to the nearest at its decimals.
    Number(Shown),
    /// Rounded up at its decimals: what must not fall below a limit.
    AtLeast(Shown),
    /// A word of the property's list.
    Word(&'static str),
    /// Text for people.
    Text(String),
    /// A moment, cut to the second.
    Moment(Timestamp),
    /// A JSON object, written.
    Object(String),
    /// A whole decision.
    Decision,
}

/// A room as its rows see it.
#[derive(Debug, Clone, Copy)]
pub struct RoomView<'a> {
    /// Units of the site.
    pub units: UnitSystem,
    /// The room as configured.
    pub room: &'a Room,
    /// What is known of it.
    pub state: &'a RoomState,
    /// What is advised.
    pub decision: &'a Decision,
    /// Why, in a sentence.
    pub reason: &'a str,
    /// How people are spoken to.
    pub voice: &'a Voice,
    /// Its hours ahead, where anything can be said of them.
    pub ahead: Option<&'a Ahead>,
    /// The present.
    pub now: Timestamp,
}

/// A row of the site's table.
pub type SiteRow = (Property, fn(&Snapshot) -> Option<Value>);
/// A row of the rooms' table.
pub type RoomRow = (Property, fn(&RoomView<'_>) -> Option<Value>);

const fn row(node: &'static str, id: &'static str, name: &'static str, kind: Kind, life: Life) -> Property {
    Property { node, id, name, kind, life, set: None }
}

const TEMPERATURE: Kind = Kind::Number(|units| units.temperature(Temperature::clamped(0.0)));
const TEMPERATURE_DIFFERENCE: Kind =
    Kind::Number(|units| units.temperature_difference(TemperatureDifference::clamped(0.0)));
const RELATIVE_HUMIDITY: Kind = Kind::Number(|units| units.relative_humidity(RelativeHumidity::clamped(0.0)));
const HUMIDITY_RATIO: Kind = Kind::Number(|units| units.humidity_ratio(HumidityRatio::clamped(0.0)));
const PRESSURE: Kind = Kind::Number(|units| pressure(units, Pressure::clamped(0.0)));
const VAPOUR_PRESSURE: Kind = Kind::Number(|units| units.vapour_pressure(VapourPressure::clamped(0.0)));
/// A share that may be above all.
const POINTS: Kind = Kind::Number(|_| points(0.0));
const DRYING_POWER: Kind = Kind::Number(|_| drying_power(0.0));
const DRYING: Kind = Kind::Word(|| drying::Judgement::ALL.map(drying::Judgement::name).into());
const CARBON_DIOXIDE: Kind = Kind::Number(|units| units.carbon_dioxide(CarbonDioxide::clamped(0.0)));
const VAPOUR_FLOW: Kind = Kind::Number(|units| units.vapour_flow(WaterFlow::clamped(0.0)));
const LIQUID_FLOW: Kind = Kind::Number(|units| units.liquid_flow(WaterFlow::clamped(0.0)));
const WATER_VOLUME: Kind = Kind::Number(|units| units.water_volume(WaterVolume::clamped(0.0)));
const AIR_FLOW: Kind = Kind::Number(|units| air_flow(units, AirFlow::clamped(0.0)));
const AIR_CHANGES: Kind = Kind::Number(|_| air_changes(AirChanges::clamped(0.0)));

/// Properties of the root device.
pub const SITE: &[SiteRow] = &[
    (row("outdoors", "temperature", "Temperature", TEMPERATURE, Life::Turn), |snapshot| {
        let air = snapshot.site.outdoors.air?;
        Some(Value::Number(units(snapshot).temperature(air.temperature())))
    }),
    (row("outdoors", "relative-humidity", "Relative humidity", RELATIVE_HUMIDITY, Life::Turn), |snapshot| {
        let air = snapshot.site.outdoors.air?;
        Some(Value::Number(units(snapshot).relative_humidity(air.relative_humidity())))
    }),
    (row("outdoors", "humidity-ratio", "Humidity ratio", HUMIDITY_RATIO, Life::Turn), |snapshot| {
        let air = snapshot.site.outdoors.air?;
        Some(Value::Number(units(snapshot).humidity_ratio(air.humidity_ratio())))
    }),
    (row("outdoors", "dew-point", "Dew point", TEMPERATURE, Life::Turn), |snapshot| {
        let air = snapshot.site.outdoors.air?;
        Some(Value::Number(units(snapshot).temperature(air.dew_point().ok()?)))
    }),
    (row("outdoors", "pressure", "Air pressure", PRESSURE, Life::Turn), |snapshot| {
        Some(Value::Number(pressure(units(snapshot), snapshot.site.pressure)))
    }),
    (row("outdoors", "from", "Known from", Kind::Word(|| vec!["sensor", "forecast"]), Life::Turn), |snapshot| {
        let outdoors = &snapshot.site.outdoors;
        outdoors.air?;
        Some(Value::Word(if outdoors.from_sensor { "sensor" } else { "forecast" }))
    }),
    (row("forecast", "service", "Weather service", Kind::Text, Life::Turn), |snapshot| {
        Some(Value::Text(snapshot.site.forecast.as_ref()?.service.name().to_owned()))
    }),
    // The service's licence asks for it wherever its data are shown.
    (row("forecast", "credit", "Credit", Kind::Text, Life::Turn), |snapshot| {
        let credit = snapshot.site.forecast.as_ref()?.service.attribution();
        (!credit.is_empty()).then(|| Value::Text(credit.to_owned()))
    }),
    (row("forecast", "fetched", "Fetched", Kind::Moment, Life::Turn), |snapshot| {
        // The last days carried on are not fetched.
        snapshot.site.forecast.as_ref().filter(|forecast| forecast.service != Service::PERSISTENCE)?;
        Some(Value::Moment(snapshot.site.forecast_fetched?))
    }),
    (row("forecast", "offset", "How much warmer it is here than forecast", TEMPERATURE_DIFFERENCE, Life::Turn), |s| {
        Some(Value::Number(units(s).temperature_difference(s.site.offset?.temperature())))
    }),
    (row("forecast", "score", "How forecasts have turned out here", Kind::Object, Life::Turn), |snapshot| {
        Some(Value::Object(score::object(&snapshot.site.scores)?.to_string()))
    }),
    (row("forecast", "coldest", "Coldest in the next 24 hours", TEMPERATURE, Life::Turn), |snapshot| {
        Some(Value::Number(units(snapshot).temperature(snapshot.site.coldest?.1)))
    }),
    (row("forecast", "coldest-at", "When it is coldest", Kind::Moment, Life::Turn), |snapshot| {
        Some(Value::Moment(snapshot.site.coldest?.0))
    }),
];

/// Properties of each room's device, but for the hours ahead and what can be set.
const ROOM: &[RoomRow] = &[
    (row("air", "temperature", "Temperature", TEMPERATURE, Life::Reading), |view| {
        Some(Value::Number(view.units.temperature(view.state.temperature.fresh()?)))
    }),
    (row("air", "relative-humidity", "Relative humidity", RELATIVE_HUMIDITY, Life::Reading), |view| {
        Some(Value::Number(view.units.relative_humidity(view.state.relative_humidity.fresh()?)))
    }),
    (row("air", "humidity-ratio", "Humidity ratio", HUMIDITY_RATIO, Life::Reading), |view| {
        Some(Value::Number(view.units.humidity_ratio(view.state.air?.humidity_ratio())))
    }),
    (row("air", "dew-point", "Dew point", TEMPERATURE, Life::Reading), |view| {
        Some(Value::Number(view.units.temperature(view.state.air?.dew_point().ok()?)))
    }),
    (row("air", "vapour-pressure-deficit", "Vapour-pressure deficit", VAPOUR_PRESSURE, Life::Reading), |view| {
        Some(Value::Number(view.units.vapour_pressure(view.state.air?.vapour_pressure_deficit())))
    }),
    (row("air", "drying-power", "Deficit times air speed at the crop", DRYING_POWER, Life::Reading), |view| {
        Some(Value::Number(drying_power(drying_of(view)?)))
    }),
    (row("air", "drying", "Drying of caps", DRYING, Life::Reading), |view| {
        Some(Value::Word(drying::judged(drying_of(view)?).name()))
    }),
    (row("air", "carbon-dioxide", "Carbon dioxide", CARBON_DIOXIDE, Life::Reading), |view| {
        Some(Value::Number(view.units.carbon_dioxide(view.state.carbon_dioxide.fresh()?)))
    }),
    (
        row("air", "carbon-dioxide-headroom", "Carbon dioxide below the crop's limit", CARBON_DIOXIDE, Life::Reading),
        |view| {
            let value = view.state.carbon_dioxide_headroom?;
            Some(Value::Number(Shown { value, ..view.units.carbon_dioxide(CarbonDioxide::clamped(0.0)) }))
        },
    ),
    (row("air", "temperature-spread", "Warmest minus coldest sensor", TEMPERATURE_DIFFERENCE, Life::Reading), |view| {
        let kelvins = view.state.spread.temperature.as_ref()?.difference;
        Some(Value::Number(view.units.temperature_difference(TemperatureDifference::clamped(kelvins))))
    }),
    (row("air", "relative-humidity-spread", "Wettest minus driest sensor", POINTS, Life::Reading), |view| {
        Some(Value::Number(points(view.state.spread.relative_humidity.as_ref()?.difference)))
    }),
    (
        row("air", "carbon-dioxide-spread", "Highest minus lowest sensor, of their middle", POINTS, Life::Reading),
        |view| Some(Value::Number(points(view.state.spread.carbon_dioxide.as_ref()?.difference))),
    ),
    (row("moisture", "deficit", "Moisture that the supply air lacks", HUMIDITY_RATIO, Life::Reading), |view| {
        Some(Value::Number(humidity_ratio_difference(view.units, view.state.moisture?.deficit)))
    }),
    (row("moisture", "vapour-needed", "Vapour needed", VAPOUR_FLOW, Life::Reading), |view| {
        Some(Value::Number(view.units.vapour_flow(view.state.moisture?.vapour)))
    }),
    (row("moisture", "water-drawn", "Water drawn", LIQUID_FLOW, Life::Reading), |view| {
        Some(Value::Number(view.units.liquid_flow(view.state.moisture?.drawn?)))
    }),
    (row("advice", "fresh-air", "Fresh air", AIR_FLOW, Life::Decision), |view| {
        Some(Value::AtLeast(air_flow(view.units, view.decision.setpoints?.fresh_air)))
    }),
    (row("advice", "air-changes", "Air changes", AIR_CHANGES, Life::Decision), |view| {
        Some(Value::AtLeast(air_changes(view.decision.setpoints?.air_changes)))
    }),
    (row("advice", "fan-command", "Fan command", Kind::Share, Life::Decision), |view| {
        Some(Value::AtLeast(share(view.decision.setpoints?.fan_command)))
    }),
    (row("advice", "humidity-target", "Humidity target", Kind::Share, Life::Decision), |view| {
        Some(Value::Number(view.units.relative_humidity(view.decision.setpoints?.humidity_target)))
    }),
    (row("advice", "humidifier-duty", "Humidifier duty", Kind::Share, Life::Decision), |view| {
        Some(Value::Number(share(view.decision.setpoints?.humidifier_duty)))
    }),
    (
        row(
            "advice",
            "limited-by",
            "Limited by",
            Kind::Word(|| LimitedBy::ALL.map(LimitedBy::name).into()),
            Life::Decision,
        ),
        |view| Some(Value::Word(view.decision.limited_by.name())),
    ),
    (row("advice", "mode", "Mode", Kind::Word(|| Mode::ALL.map(Mode::name).into()), Life::Decision), |view| {
        Some(Value::Word(view.decision.mode.name()))
    }),
    (row("advice", "reason", "Reason", Kind::Text, Life::Decision), |view| Some(Value::Text(view.reason.to_owned()))),
    (row("advice", "valid-until", "Valid until", Kind::Moment, Life::Decision), |view| {
        Some(Value::Moment(view.decision.valid_until))
    }),
    (row("advice", "decision", "All of one decision", Kind::Object, Life::Decision), |_| Some(Value::Decision)),
    (row("advice", "fallback-fresh-air", "Fresh air without advice", AIR_FLOW, Life::Configured), |view| {
        Some(Value::AtLeast(air_flow(view.units, view.room.fan.fallback)))
    }),
    (row("advice", "fallback-humidifier", "Humidifier duty without advice", Kind::Share, Life::Configured), |_| {
        Some(Value::Number(share(Fraction::clamped(0.0))))
    }),
];

fn units(snapshot: &Snapshot) -> UnitSystem {
    snapshot.farm.site.units
}

/// Pa, which the convention knows, or inches of mercury.
fn pressure(units: UnitSystem, value: Pressure) -> Shown {
    match units {
        UnitSystem::Metric => Shown { value: value.pascals(), unit: "Pa", decimals: 0 },
        UnitSystem::Us => units.pressure(value),
    }
}

/// Finer than for people: a rule adds and compares it, and a small room has a small floor.
fn air_flow(units: UnitSystem, value: AirFlow) -> Shown {
    Shown { decimals: 1, ..units.air_flow(value) }
}

fn air_changes(value: AirChanges) -> Shown {
    Shown { value: value.per_hour(), unit: "1/h", decimals: 2 }
}

/// Where the air's speed at a crop was measured.
fn drying_of(view: &RoomView<'_>) -> Option<f64> {
    let speed = view.room.crop.as_ref().and(view.room.air_speed)?;
    Some(drying::power(&view.state.air?, speed))
}

/// In the trade's own unit, in both unit systems.
fn drying_power(value: f64) -> Shown {
    Shown { value, unit: "mbar·m/min", decimals: 1 }
}

fn points(share: f64) -> Shown {
    Shown { value: share * 100.0, unit: "%", decimals: 1 }
}

fn share(value: Fraction) -> Shown {
    Shown { value: value.ratio() * 100.0, unit: "%", decimals: 1 }
}

fn humidity_ratio_difference(units: UnitSystem, value: HumidityRatioDifference) -> Shown {
    let sample = units.humidity_ratio(HumidityRatio::clamped(0.0));
    let value = match units {
        UnitSystem::Metric => value.grams_per_kilogram(),
        UnitSystem::Us => value.kilograms_per_kilogram() * 7_000.0,
    };
    Shown { value, ..sample }
}

/// Where a device's topics begin: the site's own device without a room, else the room's.
pub fn device_topic(farm: &Farm, domain: &Identifier, room: Option<&Room>) -> String {
    match room {
        None => format!("{domain}/5/{}", farm.site.name),
        Some(room) => format!("{domain}/5/{}-{}", farm.site.name, room.name),
    }
}

/// Every row of the rooms.
pub fn room_rows() -> impl Iterator<Item = &'static RoomRow> {
    ROOM.iter().chain(outlook::ROWS).chain(inputs::ROOM)
}

/// Every row of the site.
pub fn site_rows() -> impl Iterator<Item = &'static SiteRow> {
    SITE.iter().chain(inputs::SITE)
}

fn properties_of(room: &Room) -> impl Iterator<Item = &'static Property> {
    room_rows().map(|row| &row.0).filter(|property| inputs::applies(property, room))
}

/// Every topic on which a value or an alert's text can stand.
pub fn topics(farm: &Farm, domain: &Identifier) -> Vec<String> {
    let mut topics = Vec::new();
    let mut device = |room, properties: Vec<&Property>, alerts: &[AlertKind]| {
        let device = device_topic(farm, domain, room);
        topics.extend(properties.iter().map(|property| format!("{device}/{}/{}", property.node, property.id)));
        for kind in alerts {
            topics.push(format!("{device}/alerts/{}", kind.name()));
            topics.push(format!("{device}/$alert/{}", kind.name()));
        }
    };
    for room in &farm.rooms {
        device(Some(room), properties_of(room).collect(), &AlertKind::OF_ROOM);
    }
    device(None, site_rows().map(|row| &row.0).collect(), &AlertKind::OF_SITE);
    topics
}

/// Every device of the farm with its `$description`, children before the root.
pub fn devices(farm: &Farm, domain: &Identifier) -> Vec<Device> {
    let root = farm.site.name.as_str();
    let mut devices: Vec<Device> = farm
        .rooms
        .iter()
        .map(|room| {
            let nodes = nodes(properties_of(room), &AlertKind::OF_ROOM, farm.site.units);
            let body = json!({ "name": room.title, "root": root, "parent": root, "nodes": nodes });
            Device { topic: device_topic(farm, domain, Some(room)), description: versioned(body) }
        })
        .collect();
    let children: Vec<String> = farm.rooms.iter().map(|room| format!("{root}-{}", room.name)).collect();
    let nodes = nodes(site_rows().map(|row| &row.0), &AlertKind::OF_SITE, farm.site.units);
    let body = json!({ "name": farm.site.title, "children": children, "nodes": nodes });
    devices.push(Device { topic: device_topic(farm, domain, None), description: versioned(body) });
    devices
}

fn nodes<'a>(properties: impl Iterator<Item = &'a Property>, alerts: &[AlertKind], units: UnitSystem) -> Json {
    let mut nodes = Map::new();
    let mut add = |node: &'static str, id: &'static str, body: Json| {
        let entry = nodes.entry(node).or_insert_with(|| json!({ "name": node_name(node), "properties": {} }));
        entry["properties"][id] = body;
    };
    for property in properties {
        add(property.node, property.id, described(property, units));
    }
    for kind in alerts {
        let format = PUBLISHED_STATES.join(",");
        let body =
            json!({ "name": kind.title(), "datatype": "enum", "format": format, "settable": false, "retained": true });
        add("alerts", kind.name(), body);
    }
    Json::Object(nodes)
}

fn node_name(node: &str) -> &'static str {
    match node {
        "outdoors" => "Outdoors",
        "forecast" => "Forecast",
        "air" => "Air",
        "moisture" => "Moisture",
        "advice" => "Advice",
        "inputs" => "What can be told",
        "outlook" => "Outlook",
        _ => "Alerts",
    }
}

fn described(property: &Property, units: UnitSystem) -> Json {
    let mut body = json!({ "name": property.name, "settable": property.set.is_some(), "retained": true });
    let mut set = |key: &str, value: &str| body[key] = Json::from(value);
    match property.kind {
        Kind::Number(sample) => {
            let sample = sample(units);
            set("datatype", if sample.decimals == 0 { "integer" } else { "float" });
            set("unit", sample.unit);
        }
        Kind::Share => {
            set("datatype", "float");
            set("unit", "%");
            set("format", "0:100");
        }
        Kind::Word(words) => {
            set("datatype", "enum");
            set("format", &words().join(","));
        }
        Kind::Text => set("datatype", "string"),
        Kind::Moment => set("datatype", "datetime"),
        Kind::Object => set("datatype", "json"),
        Kind::Form(schema) => {
            set("datatype", "json");
            set("format", schema);
        }
    }
    body
}

/// Adds the convention's version and the description's own: a hash of the content, so that it changes with the content
/// and only with it, cut to the 53 bits that every JSON reader keeps exactly.
fn versioned(mut body: Json) -> String {
    body["homie"] = Json::from("5.0");
    // Fowler–Noll–Vo 1a, 64 bits.
    let hash = body
        .to_string()
        .bytes()
        .fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3));
    body["version"] = Json::from(hash & ((1 << 53) - 1));
    body.to_string()
}
