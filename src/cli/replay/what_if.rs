//! What would have been with another configuration: two farms under the room model, side by side.

use std::collections::BTreeSet;

use serde_json::{Value, json};

use super::{
    report::rounded,
    tally::{Episode, Tally},
    twin::{Sums, Twin},
};
use crate::{
    advice::AlertKind,
    cli::text::{item, table},
    model::Room,
    units::{CarbonDioxide, TemperatureDifference, UnitSystem, WaterVolume},
};

/// The two farms, and what was recorded.
pub(super) struct WhatIf<'a> {
    pub as_configured: &'a Twin,
    pub changed: &'a Twin,
    /// Of the recorded readings.
    pub recorded: &'a Tally,
    /// The changed configuration's file.
    pub file: &'a str,
}

/// How the comparison is made, for those who read it.
pub(super) const HOW: &str = "Recorded readings cannot answer for a room that is changed. So both configurations are lived \
                              through by the room model, with the recorded weather, forecasts and settings; the modelled \
                              rooms follow the advice, and tanks are filled whenever they run out.";

/// A side of a band, and the hours on it.
type Outside = (&'static str, fn(&Sums) -> f64);

/// One room on both sides.
struct Pair<'a> {
    room: &'a Room,
    /// Its place in each farm.
    at: [usize; 2],
    sums: [Sums; 2],
}

impl WhatIf<'_> {
    /// Rooms that both configurations have, by their name.
    fn pairs(&self) -> Vec<Pair<'_>> {
        let sides = [self.as_configured, self.changed];
        let rooms = self.as_configured.farm.rooms.iter().enumerate();
        rooms
            .filter_map(|(index, room)| {
                let other = self.changed.farm.rooms.iter().position(|other| other.name == room.name)?;
                let at = [index, other];
                let sums = [0, 1].map(|side| sides[side].sums().nth(at[side]).copied().unwrap_or_default());
                Some(Pair { room, at, sums })
            })
            .collect()
    }

    fn raised(&self, at: [Option<usize>; 2], kind: AlertKind) -> [(usize, f64); 2] {
        let sides = [self.as_configured, self.changed];
        [0, 1].map(|side| {
            let tally = &sides[side].tally;
            let of_it: Vec<&Episode> = tally.episodes.iter().filter(|e| (e.room, e.kind) == (at[side], kind)).collect();
            (of_it.len(), of_it.iter().map(|episode| hours(episode, tally)).sum::<f64>() + 0.0)
        })
    }

    fn kinds(&self, at: [usize; 2]) -> BTreeSet<AlertKind> {
        let of = |twin: &Twin, room| -> BTreeSet<AlertKind> {
            twin.tally.episodes.iter().filter(|e| e.room == Some(room)).map(|episode| episode.kind).collect()
        };
        &of(self.as_configured, at[0]) | &of(self.changed, at[1])
    }
}

fn hours(episode: &Episode, tally: &Tally) -> f64 {
    let ended = episode.to.or(tally.ended.map(|now| now.wall)).unwrap_or(episode.from);
    ended.duration_since(episode.from).as_secs_f64().max(0.0) / 3_600.0
}

/// For people.
pub(super) fn text(what_if: &WhatIf<'_>, units: UnitSystem) -> String {
    let mut lines = vec![item("", HOW)];
    for pair in what_if.pairs() {
        lines.push(String::new());
        lines.extend(room_text(what_if, &pair, units));
    }
    for missing in missing(what_if) {
        lines.push(item("", &missing));
    }
    format!("\nWhat if: {}\n{}\n", what_if.file, lines.join("\n"))
}

/// Rooms that only one side has.
fn missing(what_if: &WhatIf<'_>) -> Vec<String> {
    let (one, other) = (&what_if.as_configured.farm.rooms, &what_if.changed.farm.rooms);
    let only = |these: &[Room], those: &[Room], side: &str| -> Vec<String> {
        let only = these.iter().filter(|room| those.iter().all(|other| other.name != room.name));
        only.map(|room| format!("{} stands only in the {side} configuration, and is not compared.", room.title))
            .collect()
    };
    [only(one, other, "recorded"), only(other, one, "changed")].concat()
}

fn room_text(what_if: &WhatIf<'_>, pair: &Pair<'_>, units: UnitSystem) -> Vec<String> {
    let row = |name: String, decimals: usize, values: [f64; 2]| {
        let [before, after] = values;
        let difference = format!("{:+.decimals$}", after - before + 0.0);
        // A difference that rounds to nothing has no sign.
        let nothing = difference.trim_start_matches(['+', '-', '0', '.']).is_empty();
        let difference = if nothing { format!("{:.decimals$}", 0.0) } else { difference };
        vec![name, format!("{before:.decimals$}"), format!("{after:.decimals$}"), difference]
    };
    let both = |value: fn(&Sums) -> f64| pair.sums.each_ref().map(value);
    let water = units.water_volume(WaterVolume::clamped(0.0)).unit;
    let volume = |litres: f64| units.water_volume(WaterVolume::clamped(litres)).value;
    let mut rows = vec![
        vec![pair.room.title.clone(), "as it is".to_owned(), "changed".to_owned(), "difference".to_owned()],
        row(format!("  Water, {water}"), 1, both(|sums| sums.water).map(volume)),
        row("  Heat, kWh".to_owned(), 1, both(|sums| sums.heat)),
    ];
    let outside: [Outside; 5] = [
        ("too cold", |sums| sums.hours.cold),
        ("too warm", |sums| sums.hours.warm),
        ("too dry", |sums| sums.hours.dry),
        ("too moist", |sums| sums.hours.moist),
        ("of CO2 above the limit", |sums| sums.hours.gas),
    ];
    rows.extend(outside.into_iter().map(|(name, value)| row(format!("  Hours {name}"), 1, both(value))));
    for kind in what_if.kinds(pair.at) {
        let raised = what_if.raised(pair.at.map(Some), kind);
        rows.push(row(format!("  {}, hours", kind.title()), 1, raised.map(|(_, hours)| hours)));
    }
    let mut lines = table(&rows);
    lines.extend(bias(what_if, pair, units).map(|sentence| item("  ", &sentence)));
    lines
}

/// How far the model of the recorded configuration is from what was recorded.
fn bias(what_if: &WhatIf<'_>, pair: &Pair<'_>, units: UnitSystem) -> Option<String> {
    let [temperature, humidity, gas] = apart(&pair.sums[0]);
    let said = |value: Option<f64>, less: &str, more: &str, shown: &dyn Fn(f64) -> String| {
        value.map(|value| format!("{} {}", shown(value.abs()), if value < 0.0 { less } else { more }))
    };
    let kelvins = |value| units.temperature_difference(TemperatureDifference::clamped(value)).to_string();
    let points = |value: f64| format!("{:.1} points of humidity", value * 100.0);
    let ppm = |value| units.carbon_dioxide(CarbonDioxide::clamped(value)).to_string();
    let parts = [
        said(temperature, "colder", "warmer", &kelvins),
        said(humidity, "drier", "moister", &points),
        said(gas, "of carbon dioxide lower", "of carbon dioxide higher", &ppm),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        return None;
    }
    let advised: f64 = what_if.recorded.rooms.get(pair.at[0]).map_or(0.0, |room| room.water.values().sum());
    let water = units.water_volume(WaterVolume::clamped(advised));
    Some(format!(
        "Against its recorded readings, the modelled room is on average {}; by those readings, the advised duty would \
         have drawn {water}.",
        parts.join(", ")
    ))
}

/// Mean differences from what was recorded: K, share, ppm.
fn apart(sums: &Sums) -> [Option<f64>; 3] {
    [0, 1, 2].map(|kind| (sums.recorded[kind] > 0.0).then(|| sums.apart[kind] / sums.recorded[kind]))
}

/// For machines.
pub(super) fn json(what_if: &WhatIf<'_>) -> Value {
    let rooms: Vec<Value> = what_if.pairs().iter().map(|pair| room_json(what_if, pair)).collect();
    json!({ "configuration": what_if.file, "how": HOW, "rooms": rooms, "not_compared": missing(what_if) })
}

fn room_json(what_if: &WhatIf<'_>, pair: &Pair<'_>) -> Value {
    let side = |side: usize| {
        let Sums { water, heat, hours, advised, highest_gas, .. } = pair.sums[side];
        let alerts = what_if.kinds(pair.at).into_iter().map(|kind| {
            let (count, hours) = what_if.raised(pair.at.map(Some), kind)[side];
            (kind.name().to_owned(), json!({ "raised": count, "hours": rounded(hours) }))
        });
        json!({
            "water_litres": rounded(water), "heat_kilowatt_hours": rounded(heat),
            "hours": {
                "all": rounded(hours.all), "too_cold": rounded(hours.cold), "too_warm": rounded(hours.warm),
                "too_dry": rounded(hours.dry), "too_moist": rounded(hours.moist),
                "carbon_dioxide_above_limit": rounded(hours.gas),
            },
            "least_fresh_air_cubic_metres_per_hour": advised.map(|(flow, _)| rounded(flow)),
            "highest_humidity_target_ratio": advised.map(|(_, target)| rounded(target)),
            "highest_carbon_dioxide_ppm": rounded(highest_gas),
            "alerts": alerts.collect::<serde_json::Map<_, _>>(),
        })
    };
    let [temperature, humidity, gas] = apart(&pair.sums[0]).map(|value| value.map(rounded));
    json!({
        "room": pair.room.name.as_str(), "as_configured": side(0), "changed": side(1),
        "model_minus_recorded": {
            "temperature_kelvins": temperature, "relative_humidity_ratio": humidity, "carbon_dioxide_ppm": gas,
        },
    })
}
