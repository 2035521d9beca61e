//! The snapshot as one JSON document, for scripts and for people who look for a fault: `/snapshot.json`.
//!
//! Every number is in the base unit that its key names; times are ISO 8601 in UTC; an unknown value is `null`, never
//! absent and never zero. Sentences are in the farm's own units and time zone.
//!
//! ```text
//! version                 of the daemon
//! site                    name, title, elevation_metres, latitude, longitude, time_zone, units
//! taken_at, clock_trusted, turns
//! broker                  connected, connections
//! outdoors                from ("sensor" | "forecast" | null), air
//! pressure                pascals, from ("sensor" | "forecast" | "standard-atmosphere")
//! forecast                service, attribution, issued_at, fetched_at, ends_at, coldest, points[],
//!                         offset_kelvins, score (see [`super::score`]),
//!                         services[] (service, fetched_at, successes, failures{word: count})
//! alerts[]                name, title, state, shelved_until, raised, sentence
//! rooms[]                 name, title, temperature, relative_humidity, carbon_dioxide, air, supply, moisture,
//!                         carbon_dioxide_headroom_parts_per_million, inputs, outlook (see [`super::outlook`]),
//!                         outlook_score (see [`super::outlook_score`]), no_outlook (why there is none), decision, alerts[]
//! sources[]               place, position, quantity, state, fault, value, unit, last_heard_at, accepted, rejected{word: count}
//! ```

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde_json::{Value, json};

use super::score;
use crate::{
    advice::{Alert, Decision, Voice},
    engine::{
        RoomState, Snapshot, SourceState,
        snapshot::{Moisture, PressureFrom},
    },
    model::{Fault, Forecast, ForecastPoint, Identifier, Measured, Reading, Room, Service, outlook::NoOutlook},
    units::UnitSystem,
};

/// A moist-air state; a macro, because this module may not name the type.
macro_rules! air {
    ($air:expr) => {
        $air.map(|air| {
            json!({
                "temperature_celsius": air.temperature().celsius(),
                "relative_humidity_ratio": air.relative_humidity().ratio(),
                "humidity_ratio_kilograms_per_kilogram": air.humidity_ratio().kilograms_per_kilogram(),
                "vapour_pressure_pascals": air.vapour_pressure().pascals(),
                "vapour_pressure_deficit_pascals": air.vapour_pressure_deficit().pascals(),
                "dew_point_celsius": air.dew_point().ok().map(|dew_point| dew_point.celsius()),
                "frost_point_celsius": air.frost_point().map(|frost_point| frost_point.celsius()),
            })
        })
    };
}

/// The document of a snapshot.
pub fn document(snapshot: &Snapshot) -> Value {
    let voice = snapshot.voice();
    let now = snapshot.now.wall;
    let rooms = snapshot.farm.rooms.iter().zip(&snapshot.rooms);
    json!({
        "version": env!("CARGO_PKG_VERSION"),
        "site": site(snapshot),
        "taken_at": now.to_string(),
        "clock_trusted": snapshot.now.trusted,
        "turns": snapshot.turns,
        "broker": { "connected": snapshot.site.connected, "connections": snapshot.site.connections },
        "outdoors": outdoors(snapshot),
        "pressure": {
            "pascals": snapshot.site.pressure.pascals(),
            "from": match snapshot.site.pressure_from {
                PressureFrom::Sensor => "sensor",
                PressureFrom::Forecast => "forecast",
                PressureFrom::StandardAtmosphere => "standard-atmosphere",
            },
        },
        "forecast": forecast(snapshot),
        "alerts": alerts(&snapshot.site.alerts, &voice, now),
        "rooms": rooms.map(|(room, state)| self::room(room, state, &voice, now)).collect::<Vec<_>>(),
        "sources": snapshot.sources.iter().map(|source| self::source(source, snapshot)).collect::<Vec<_>>(),
    })
}

fn site(snapshot: &Snapshot) -> Value {
    let site = &snapshot.farm.site;
    json!({
        "name": site.name.as_str(),
        "title": site.title,
        "elevation_metres": site.elevation.metres(),
        "latitude": site.latitude,
        "longitude": site.longitude,
        "time_zone": site.time_zone.iana_name(),
        "units": match site.units { UnitSystem::Metric => "metric", UnitSystem::Us => "us" },
    })
}

fn outdoors(snapshot: &Snapshot) -> Value {
    let outdoors = &snapshot.site.outdoors;
    let from = outdoors.air.map(|_| if outdoors.from_sensor { "sensor" } else { "forecast" });
    json!({ "from": from, "air": air!(outdoors.air) })
}

fn forecast(snapshot: &Snapshot) -> Value {
    let site = &snapshot.site;
    let forecast = site.forecast.as_deref();
    json!({
        "service": site.forecast.as_ref().map(|forecast| forecast.service).or(site.forecast_service).map(Service::name),
        "attribution": forecast.map(|forecast| forecast.service.attribution()).filter(|credit| !credit.is_empty()),
        "issued_at": iso(forecast.and_then(|forecast| forecast.issued)),
        "fetched_at": iso(site.forecast_fetched),
        "ends_at": iso(forecast.map(Forecast::ends)),
        "coldest": site.coldest.map(|(at, coldest)| json!({
            "at": at.to_string(),
            "temperature_celsius": coldest.celsius(),
        })),
        "offset_kelvins": site.offset.map(|offset| offset.temperature().kelvins()),
        "score": score::object(&site.scores),
        "services": site.services.iter().map(|state| json!({
            "service": state.service.name(),
            "fetched_at": iso(state.fetched),
            "successes": state.successes,
            "failures": counts(&state.failures),
        })).collect::<Vec<_>>(),
        "points": forecast.map_or(&[][..], Forecast::points).iter().map(point).collect::<Vec<_>>(),
    })
}

fn point(point: &ForecastPoint) -> Value {
    json!({
        "at": point.at.to_string(),
        "temperature_celsius": point.air.temperature.celsius(),
        "vapour_pressure_pascals": point.air.vapour_pressure.pascals(),
        "sea_level_pressure_pascals": point.sea_level_pressure.map(|pressure| pressure.pascals()),
        "wind_metres_per_second": point.wind.map(|wind| wind.metres_per_second()),
    })
}

fn room(room: &Room, state: &RoomState, voice: &Voice, now: Timestamp) -> Value {
    json!({
        "name": room.name.as_str(),
        "title": room.title,
        "temperature": reading("celsius", &state.temperature, |value| value.celsius()),
        "relative_humidity": reading("ratio", &state.relative_humidity, |value| value.ratio()),
        "carbon_dioxide": reading("parts_per_million", &state.carbon_dioxide, |value| value.parts_per_million()),
        "carbon_dioxide_headroom_parts_per_million": state.carbon_dioxide_headroom,
        "air": air!(state.air),
        "supply": air!(state.supply),
        "moisture": state.moisture.as_ref().map(moisture),
        "inputs": inputs(room, state),
        "outlook": state.outlook.as_deref().map(|outlook| super::outlook::object(outlook, voice)),
        "levers": super::levers::object(&state.levers, voice, now)["levers"],
        "outlook_score": super::outlook_score::object(&state.outlook_score),
        "no_outlook": state.no_outlook.map(NoOutlook::sentence),
        "decision": decision(room, &state.decision, voice),
        "alerts": alerts(&state.alerts, voice, now),
    })
}

/// What was set, and until when it holds.
fn inputs(room: &Room, state: &RoomState) -> Value {
    let inputs = &state.inputs;
    json!({
        "stage": room.crop.as_ref().map(|crop| crop.stage.name()),
        "people": inputs.presence.map(|until| json!({
            "presence": until.value.name(),
            "until": until.ends_at.to_string(),
        })),
        "hold": inputs.hold.map(|until| json!({
            "fresh_air_cubic_metres_per_hour": until.value.fresh_air.map(|flow| flow.cubic_metres_per_hour()),
            "humidity_target_ratio": until.value.humidity_target.map(|target| target.ratio()),
            "until": until.ends_at.to_string(),
        })),
        "tank": state.tank.map(|tank| json!({
            "litres": tank.volume.litres(),
            "told_at": tank.told_at.to_string(),
        })),
    })
}

/// State of a reading, with its last value under the key `unit`: a stale value is shown, never a fresh one's key
/// without its state.
fn reading<T: Copy>(unit: &str, reading: &Reading<T>, number: fn(T) -> f64) -> Value {
    json!({ "state": reading.state(), unit: reading.last().map(number) })
}

fn moisture(moisture: &Moisture) -> Value {
    json!({
        "deficit_kilograms_per_kilogram": moisture.deficit.kilograms_per_kilogram(),
        "vapour_kilograms_per_hour": moisture.vapour.kilograms_per_hour(),
        "drawn_kilograms_per_hour": moisture.drawn.map(|flow| flow.kilograms_per_hour()),
    })
}

fn decision(room: &Room, decision: &Decision, voice: &Voice) -> Value {
    let setpoints = decision.setpoints.map(|set| {
        json!({
            "fresh_air_cubic_metres_per_hour": set.fresh_air.cubic_metres_per_hour(),
            "air_changes_per_hour": set.air_changes.per_hour(),
            "fan_command_ratio": set.fan_command.ratio(),
            "humidity_target_ratio": set.humidity_target.ratio(),
            "humidifier_duty_ratio": set.humidifier_duty.ratio(),
        })
    });
    json!({
        "mode": decision.mode.name(),
        "limited_by": decision.limited_by.name(),
        "sentence": decision.sentence(voice),
        "valid_until": decision.valid_until.to_string(),
        "setpoints": setpoints,
        "fallback": {
            "fresh_air_cubic_metres_per_hour": room.fan.fallback.cubic_metres_per_hour(),
            "humidifier_duty_ratio": 0.0,
        },
    })
}

fn alerts(alerts: &[Alert], voice: &Voice, now: Timestamp) -> Vec<Value> {
    let one = |alert: &Alert| {
        json!({
            "name": alert.kind.name(),
            "title": alert.kind.title(),
            "state": alert.published(),
            "shelved_until": alert.shelf.map(|shelf| shelf.ends_at.to_string()),
            "raised": alert.is_raised(),
            "sentence": alert.message().map(|message| message.sentence(voice, now)),
        })
    };
    alerts.iter().map(one).collect()
}

fn source(source: &SourceState, snapshot: &Snapshot) -> Value {
    let (_, _, unit) = Measured::bounds(source.quantity);
    json!({
        "place": snapshot.farm.place_name(source.place),
        "position": source.position.as_ref().map(Identifier::as_str),
        "quantity": source.quantity.name(),
        "state": source.reading.state(),
        "fault": source.reading.fault().map(Fault::name),
        "value": source.reading.last().map(Measured::base),
        "unit": unit,
        "last_heard_at": iso(source.last_heard),
        "accepted": source.accepted,
        "rejected": counts(&source.rejected),
    })
}

fn iso(moment: Option<Timestamp>) -> Option<String> {
    moment.map(|moment| moment.to_string())
}

fn counts(counts: &BTreeMap<&'static str, u64>) -> Value {
    counts
        .iter()
        .map(|(word, count)| ((*word).to_owned(), Value::from(*count)))
        .collect::<serde_json::Map<_, _>>()
        .into()
}
