//! Metrics of the rooms: what is known, what follows from it, what is advised.

use super::{MetricRow, Sample, gauge, seconds};
use crate::{
    advice::{Mode, setpoint::Setpoints},
    engine::{RoomState, Snapshot, snapshot::Moisture},
};

const LABELS: &[&str] = &["room"];

const fn room(name: &'static str, help: &'static str, samples: fn(&Snapshot) -> Vec<Sample>) -> MetricRow {
    gauge(name, LABELS, help, samples)
}

/// Rows of the rooms.
///
/// Mass flows are in grams per hour: the metric checker takes grams, not kilograms, for the base unit of mass.
pub(super) const ROWS: &[MetricRow] = &[
    room("mistwright_room_temperature_celsius", "Air temperature.", |s| {
        each(s, |room| Some(room.temperature.fresh()?.celsius()))
    }),
    room("mistwright_room_relative_humidity_ratio", "Relative humidity over water, 1 is saturation.", |s| {
        each(s, |room| Some(room.relative_humidity.fresh()?.ratio()))
    }),
    room("mistwright_room_carbon_dioxide_parts_per_million", "Carbon dioxide in the air, by volume.", |s| {
        each(s, |room| Some(room.carbon_dioxide.fresh()?.parts_per_million()))
    }),
    room(
        "mistwright_room_carbon_dioxide_headroom_parts_per_million",
        "How far carbon dioxide is below the crop's limit; negative above it. It is no limit for people.",
        |s| each(s, |room| room.carbon_dioxide_headroom),
    ),
    room("mistwright_room_temperature_spread_celsius", "Warmest minus coldest believed sensor of the room.", |s| {
        each(s, |room| Some(room.spread.temperature.as_ref()?.difference))
    }),
    room(
        "mistwright_room_relative_humidity_spread_ratio",
        "Wettest minus driest believed sensor of the room; 0.05 is five points.",
        |s| each(s, |room| Some(room.spread.relative_humidity.as_ref()?.difference)),
    ),
    room(
        "mistwright_room_carbon_dioxide_spread_ratio",
        "Highest minus lowest believed carbon dioxide sensor of the room, as a share of their middle.",
        |s| each(s, |room| Some(room.spread.carbon_dioxide.as_ref()?.difference)),
    ),
    room("mistwright_room_humidity_ratio", "Water vapour, kg per kg of dry air.", |s| {
        each(s, |room| Some(room.air?.humidity_ratio().kilograms_per_kilogram()))
    }),
    room("mistwright_room_dew_point_celsius", "Dew point of the room's air, over water.", |s| {
        each(s, |room| Some(room.air?.dew_point().ok()?.celsius()))
    }),
    room("mistwright_room_vapour_pressure_deficit_pascals", "Saturation pressure minus vapour pressure.", |s| {
        each(s, |room| Some(room.air?.vapour_pressure_deficit().pascals()))
    }),
    room("mistwright_room_supply_temperature_celsius", "Temperature of the fresh air supplied.", |s| {
        each(s, |room| Some(room.supply?.temperature().celsius()))
    }),
    room("mistwright_room_supply_humidity_ratio", "Water vapour of the fresh air, kg per kg of dry air.", |s| {
        each(s, |room| Some(room.supply?.humidity_ratio().kilograms_per_kilogram()))
    }),
    room(
        "mistwright_room_moisture_deficit_ratio",
        "Humidity ratio at the advised target minus that of the fresh air, kg per kg of dry air.",
        |s| moisture(s, |moisture| Some(moisture.deficit.kilograms_per_kilogram())),
    ),
    room(
        "mistwright_room_vapour_needed_grams_per_hour",
        "Vapour needed now to hold the advised target with the advised fresh air.",
        |s| moisture(s, |moisture| Some(moisture.vapour.kilograms_per_hour() * 1_000.0)),
    ),
    room(
        "mistwright_room_water_drawn_grams_per_hour",
        "Water that the humidifier draws for it, with the share that does not evaporate.",
        |s| moisture(s, |moisture| Some(moisture.drawn?.kilograms_per_hour() * 1_000.0)),
    ),
    room("mistwright_room_water_half_day_litres", "Water that will be drawn in the next 12 hours.", |s| {
        each(s, |room| Some(room.outlook.as_deref()?.expected.findings.water_12_hours?.litres()))
    }),
    room("mistwright_room_water_day_litres", "Water that will be drawn in the next 24 hours.", |s| {
        each(s, |room| Some(room.outlook.as_deref()?.expected.findings.water_24_hours?.litres()))
    }),
    room("mistwright_room_tank_litres", "Water left in the tank: what was told, less what was drawn since.", |s| {
        each(s, |room| Some(room.tank?.volume.litres()))
    }),
    room("mistwright_room_advice_mode", "2 active, 1 degraded, 0 withheld: then there are no advised values.", |s| {
        each(s, |room| {
            Some(match room.decision.mode {
                Mode::Active => 2.0,
                Mode::Degraded => 1.0,
                Mode::Withheld => 0.0,
            })
        })
    }),
    room("mistwright_room_advice_valid_until_timestamp_seconds", "When the advice ends.", |s| {
        advised(s, |room, _| seconds(room.decision.valid_until))
    }),
    room("mistwright_room_advised_fresh_air_cubic_metres_per_hour", "Advised fresh air.", |s| {
        advised(s, |_, set| set.fresh_air.cubic_metres_per_hour())
    }),
    room("mistwright_room_advised_air_changes_per_hour", "Advised air changes per hour.", |s| {
        advised(s, |_, set| set.air_changes.per_hour())
    }),
    room("mistwright_room_advised_fan_ratio", "Advised share of the fan's capacity.", |s| {
        advised(s, |_, set| set.fan_command.ratio())
    }),
    room("mistwright_room_advised_humidity_target_ratio", "Advised relative humidity, 1 is saturation.", |s| {
        advised(s, |_, set| set.humidity_target.ratio())
    }),
    room("mistwright_room_advised_humidifier_duty_ratio", "Advised share of the humidifier's output.", |s| {
        advised(s, |_, set| set.humidifier_duty.ratio())
    }),
];

fn each(snapshot: &Snapshot, value: fn(&RoomState) -> Option<f64>) -> Vec<Sample> {
    snapshot
        .farm
        .rooms
        .iter()
        .zip(&snapshot.rooms)
        .filter_map(|(room, state)| Some(Sample { labels: vec![room.name.to_string()], value: value(state)? }))
        .collect()
}

fn moisture(snapshot: &Snapshot, value: fn(&Moisture) -> Option<f64>) -> Vec<Sample> {
    snapshot
        .farm
        .rooms
        .iter()
        .zip(&snapshot.rooms)
        .filter_map(|(room, state)| {
            let value = value(state.moisture.as_ref()?)?;
            Some(Sample { labels: vec![room.name.to_string()], value })
        })
        .collect()
}

fn advised(snapshot: &Snapshot, value: fn(&RoomState, &Setpoints) -> f64) -> Vec<Sample> {
    snapshot
        .farm
        .rooms
        .iter()
        .zip(&snapshot.rooms)
        .filter_map(|(room, state)| {
            let value = value(state, state.decision.setpoints.as_ref()?);
            Some(Sample { labels: vec![room.name.to_string()], value })
        })
        .collect()
}
