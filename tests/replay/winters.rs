//! Real winters on the example farms: `cargo test --profile long --test long winters -- --nocapture` prints the table.
//!
//! The weather is a station's (`tests/data`): January and February 2015, and December 2015 to February 2016. The forecasts are
//! that weather with errors as published. The farms are lived through by the room model, which follows the advice of the same
//! engine as live; nothing but the weather, its forecasts and the configurations goes in.

use std::{
    fs::{self, File},
    io::BufWriter,
    path::{Path, PathBuf},
    process::Command,
};

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use crate::{nights::weather::Station, winter};

const FARMS: [&str; 5] = ["one-room", "frosthollow", "heated-room-tent", "larger-us-farm", "us-units"];
/// From the first hour, for so many days.
const WINTERS: [(&str, i64); 2] = [("2015-01-01T00:00:00Z", 59), ("2015-12-01T00:00:00Z", 90)];
/// No humidity target is higher, whatever the band.
const HIGHEST_TARGET: f64 = 0.95;
/// A spell of hard frost is a new one after so many hours above it.
const APART: i64 = 12;

fn hour(from: Timestamp, hours: i64) -> Timestamp {
    from + SignedDuration::from_hours(hours)
}

/// The weather as a table, forecasts of it, and a log in which somebody says every ten minutes that nothing is known of people
/// in the first room: it moves time on and changes nothing.
fn files(folder: &Path, first: Timestamp, days: i64, log_topic: &str) -> [PathBuf; 3] {
    let station = Station::read();
    let [observations, forecasts, log] = ["weather.csv", "forecasts.jsonl", "log.csv"].map(|name| folder.join(name));
    let hours = (0..days * 24).filter_map(|hours| {
        let at = hour(first, hours);
        let (celsius, dew_point) = station.at(at)?;
        Some(format!("{at},{celsius:.1},{dew_point:.1}\n"))
    });
    let table: String = hours.collect();
    fs::write(&observations, format!("time,temperature_celsius,dew_point_celsius\n{table}")).unwrap();
    winter::forecasts_from(first, days, &mut BufWriter::new(File::create(&forecasts).unwrap())).unwrap();
    let beat = |ten: i64| format!("{},{log_topic},unknown\n", first + SignedDuration::from_mins(10 * ten));
    fs::write(&log, (1..days * 144).map(beat).collect::<String>()).unwrap();
    [observations, forecasts, log]
}

fn lived(farm: &str, first: Timestamp, days: i64) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(format!("{}/examples/{farm}.yaml", env!("CARGO_MANIFEST_DIR"))).unwrap();
    // Who forecasts does not matter here; what a farm does without anybody is seen in the observations' own column.
    let text = text.replace("  service: none\n", "  service: met-norway\n  contact: grower@frosthollow.example\n");
    let path = folder.path().join("farm.yaml");
    fs::write(&path, &text).unwrap();
    let config = mistwright::config::parse(&text, farm).unwrap();
    let room = &config.farm.rooms[0].name;
    let topic = format!("{}/5/{}-{room}/inputs/people/set", config.broker.domain, config.farm.site.name);
    let [observations, forecasts, log] = files(folder.path(), first, days, &topic);
    let output = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .arg("replay")
        .arg(log)
        .args([Path::new("--config"), &path, Path::new("--what-if"), &path])
        .args([Path::new("--observations"), &observations, Path::new("--forecasts"), &forecasts])
        .arg("--json")
        .output()
        .unwrap();
    assert!(output.status.success(), "{farm}: {}", String::from_utf8_lossy(&output.stderr));
    let mut summary: Value = serde_json::from_slice(&output.stdout).unwrap();
    let floors = config.farm.rooms.iter().map(|room| room.fan.floor.cubic_metres_per_hour().into());
    summary["floors"] = Value::Array(floors.collect());
    summary["hard_frost"] = config.farm.site.hard_frost.celsius().into();
    summary
}

/// What a farm's winter comes to.
struct Winter {
    nights: usize,
    freezing: usize,
    spells: usize,
    /// Hours from the warning to the first hour of each spell; negative where it came late.
    leads: Vec<f64>,
    false_alarms: usize,
    litres: f64,
    dry: f64,
    cold: f64,
    room_hours: f64,
}

/// Moments at which the weather falls to `threshold` after [`APART`] hours above it.
fn spells(station: &Station, first: Timestamp, days: i64, threshold: f64) -> Vec<Timestamp> {
    let mut found = Vec::new();
    // A winter that begins in frost has no warning to give.
    let mut above = 0;
    for hours in 24..days * 24 {
        let Some((celsius, _)) = station.at(hour(first, hours)) else { continue };
        if celsius <= threshold {
            if above >= APART {
                found.push(hour(first, hours));
            }
            above = 0;
        } else {
            above += 1;
        }
    }
    found
}

fn winter(summary: &Value, first: Timestamp, days: i64) -> Winter {
    let station = Station::read();
    let frost = summary["hard_frost"].as_f64().unwrap();
    let coldest = |day: i64| {
        let hours = (0..24).filter_map(|hours| station.at(hour(first, day * 24 - 6 + hours)));
        hours.map(|(celsius, _)| celsius).fold(f64::INFINITY, f64::min)
    };
    let moment = |value: &Value| value.as_str().map(|text| text.parse::<Timestamp>().unwrap());
    let warned: Vec<(Timestamp, Option<Timestamp>)> = summary["alerts"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|alert| alert["alert"] == "hard-frost")
        .map(|alert| (moment(&alert["from"]).unwrap(), moment(&alert["to"])))
        .collect();
    let spells = spells(&station, first, days, frost);
    let leads = spells.iter().map(|spell| {
        // An alert that stands an hour into the spell, or is raised within it, tells of it.
        let told = warned.iter().find(|(_, to)| to.is_none_or(|to| to > hour(*spell, 1)));
        told.map_or(f64::NEG_INFINITY, |(from, _)| spell.duration_since(*from).as_secs_f64() / 3_600.0)
    });
    let comes = |(from, to): &&(Timestamp, Option<Timestamp>)| {
        let hours = to.map_or(48, |to| to.duration_since(*from).as_hours()) + 2;
        (0..=hours.max(26)).any(|ahead| station.at(hour(*from, ahead)).is_some_and(|(celsius, _)| celsius <= frost))
    };
    let rooms = summary["what_if"]["rooms"].as_array().unwrap();
    let sum = |path: &str| rooms.iter().map(|room| room.pointer(path).unwrap().as_f64().unwrap()).sum::<f64>();
    Winter {
        nights: days as usize,
        freezing: (1..days).filter(|day| coldest(*day) < 0.0).count(),
        leads: leads.collect(),
        spells: spells.len(),
        false_alarms: warned.len() - warned.iter().filter(comes).count(),
        litres: sum("/as_configured/water_litres"),
        dry: sum("/as_configured/hours/too_dry"),
        cold: sum("/as_configured/hours/too_cold"),
        room_hours: sum("/as_configured/hours/all"),
    }
}

/// What must hold of the advice through a whole winter; how many room-winters were looked at.
fn limits_held(farm: &str, summary: &Value) {
    for (room, floor) in
        summary["what_if"]["rooms"].as_array().unwrap().iter().zip(summary["floors"].as_array().unwrap())
    {
        let side = &room["as_configured"];
        let least = side["least_fresh_air_cubic_metres_per_hour"].as_f64().unwrap();
        assert!(least >= floor.as_f64().unwrap() - 0.001, "{farm}: {least} m³/h, below the floor of {floor}: {room}");
        let target = side["highest_humidity_target_ratio"].as_f64().unwrap();
        assert!(target <= HIGHEST_TARGET + 1e-9, "{farm}: a target of {target}");
        let gas = side["highest_carbon_dioxide_ppm"].as_f64().unwrap();
        assert!(gas < 5_000.0, "{farm}: {gas} ppm");
    }
}

#[test]
fn real_winters_on_the_example_farms_are_warned_of_and_no_limit_is_passed() {
    println!("Hard frost is the farm's own threshold; leads are hours from the warning to a spell's first hour.");
    println!(
        "{:<17} {:<9} {:>6} {:>5} {:>7} {:>7} {:>6} {:>6} {:>8} {:>6} {:>6}",
        "farm", "from", "nights", "<0 °C", "spells", "warned", "lead", "false", "L/night", "dry %", "cold %"
    );
    let (mut spells, mut warned, mut early) = (0, 0, 0);
    // A room takes a minute and more, so that usually one farm is enough; `WINTER_FARM=all` takes every one.
    let only = std::env::var("WINTER_FARM").unwrap_or_else(|_| FARMS[0].to_owned());
    for farm in FARMS.into_iter().filter(|farm| only == *farm || only == "all") {
        for (first, days) in WINTERS {
            let start: Timestamp = first.parse().unwrap();
            let summary = lived(farm, start, days);
            limits_held(farm, &summary);
            let Winter { nights, freezing, leads, litres, .. } = winter(&summary, start, days);
            let found = winter(&summary, start, days);
            let mut sorted = leads.clone();
            sorted.sort_by(f64::total_cmp);
            let median = sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN);
            let ahead = leads.iter().filter(|lead| **lead > 0.0).count();
            println!(
                "{farm:<17} {:<9} {nights:>6} {freezing:>5} {:>7} {ahead:>7} {median:>6.1} {:>6} {:>8.1} {:>6.1} {:>6.1}",
                &first[..7],
                found.spells,
                found.false_alarms,
                litres / nights as f64,
                100.0 * found.dry / found.room_hours,
                100.0 * found.cold / found.room_hours,
            );
            spells += found.spells;
            warned += ahead;
            early += leads.iter().filter(|lead| **lead >= 6.0).count();
        }
    }
    println!("{warned} of {spells} spells were warned of before they came, {early} of them six hours and more before.");
    assert!(spells >= 10, "{spells} spells");
    assert!(warned * 10 >= spells * 9, "{warned} of {spells} spells");
    assert!(early * 10 >= spells * 7, "{early} of {spells} spells");
}
