//! Real winters on the example farms: `cargo test --profile long --test long winters -- --nocapture` prints the table.
//!
//! The weather is that of three stations (`tests/data`), the forecasts are that weather with errors as published. The farms stay
//! where their configurations put them, and are lived through by the room model, which follows the advice of the same engine as
//! live; nothing but the weather, its forecasts and the configurations goes in.

use std::{
    fs::{self, File},
    io::BufWriter,
    path::{Path, PathBuf},
    process::Command,
    thread,
};

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use crate::{
    nights::weather::{Place, Station},
    winter,
};

const FARMS: [&str; 5] = ["one-room", "frosthollow", "heated-room-tent", "larger-us-farm", "us-units"];
/// Where, from the first hour, and for so many days. Two are lived through at once, so that neighbours are of about one length.
const WINTERS: [(Place, &str, i64); 6] = [
    (Place::Chicago, "2015-01-01T00:00:00Z", 59),
    (Place::Newark, "2013-01-02T00:00:00Z", 58),
    (Place::Chicago, "2015-12-01T00:00:00Z", 90),
    (Place::Longmont, "2020-01-01T00:00:00Z", 91),
    (Place::Longmont, "2020-10-15T00:00:00Z", 78),
    (Place::Newark, "2013-11-05T00:00:00Z", 56),
];
/// So many of them, with one farm, where none is asked for: a farm of one room takes a minute and more for a winter.
const USUALLY: usize = 4;
/// No humidity target is higher, whatever the band.
const HIGHEST_TARGET: f64 = 0.95;
/// A spell of hard frost is a new one after so many hours above it.
const APART: i64 = 12;

fn hour(from: Timestamp, hours: i64) -> Timestamp {
    from + SignedDuration::from_hours(hours)
}

/// The weather as a table, forecasts of it, and a log in which somebody says every ten minutes that nothing is known of people
/// in the first room: it moves time on and changes nothing.
fn files(folder: &Path, station: &Station, (first, days): (Timestamp, i64), log_topic: &str) -> [PathBuf; 3] {
    let [observations, forecasts, log] = ["weather.csv", "forecasts.jsonl", "log.csv"].map(|name| folder.join(name));
    let hours = (0..days * 24).filter_map(|hours| {
        let at = hour(first, hours);
        let (celsius, dew_point) = station.at(at)?;
        Some(format!("{at},{celsius:.1},{dew_point:.1}\n"))
    });
    let table: String = hours.collect();
    fs::write(&observations, format!("time,temperature_celsius,dew_point_celsius\n{table}")).unwrap();
    winter::forecasts_of(station, first, days, &mut BufWriter::new(File::create(&forecasts).unwrap())).unwrap();
    let beat = |ten: i64| format!("{},{log_topic},unknown\n", first + SignedDuration::from_mins(10 * ten));
    fs::write(&log, (1..days * 144).map(beat).collect::<String>()).unwrap();
    [observations, forecasts, log]
}

fn lived(farm: &str, station: &Station, first: Timestamp, days: i64) -> Value {
    let folder = tempfile::tempdir().unwrap();
    let text = fs::read_to_string(format!("{}/examples/{farm}.yaml", env!("CARGO_MANIFEST_DIR"))).unwrap();
    // Who forecasts does not matter here; what a farm does without anybody is seen in the observations' own column.
    let text = text.replace("  service: none\n", "  service: met-norway\n  contact: grower@frosthollow.example\n");
    let path = folder.path().join("farm.yaml");
    fs::write(&path, &text).unwrap();
    let config = mistwright::config::parse(&text, farm).unwrap();
    let room = &config.farm.rooms[0].name;
    let topic = format!("{}/5/{}-{room}/inputs/people/set", config.broker.domain, config.farm.site.name);
    let [observations, forecasts, log] = files(folder.path(), station, (first, days), &topic);
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
    /// °C.
    coldest: f64,
    /// Of each spell, see [`lead`]; negative where the warning came late.
    leads: Vec<f64>,
    false_alarms: usize,
    litres: f64,
    dry: f64,
    cold: f64,
    room_hours: f64,
}

impl Winter {
    fn of(farm: &str, (place, first, days): (Place, &str, i64)) -> Self {
        let (station, first) = (Station::read(place), first.parse().unwrap());
        let summary = lived(farm, &station, first, days);
        limits_held(farm, &summary);
        winter(&summary, &station, first, days)
    }

    /// Spells that were warned of before they came, and of these, those at least six hours before.
    fn warned(&self) -> (usize, usize) {
        let least = |hours: f64| self.leads.iter().filter(|lead| **lead > 0.0 && **lead >= hours).count();
        (least(0.0), least(6.0))
    }

    fn print(&self, farm: &str, (place, first, _): (Place, &str, i64)) {
        let Self { nights, freezing, coldest, leads, false_alarms, .. } = self;
        let mut sorted = leads.clone();
        sorted.sort_by(f64::total_cmp);
        let lead = sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN);
        let (per_night, share) = (self.litres / *nights as f64, |hours: f64| 100.0 * hours / self.room_hours);
        println!(
            "{farm:<17} {:<9} {:<8} {nights:>6} {freezing:>5} {coldest:>7.1} {:>6} {:>6} {lead:>5.1} {false_alarms:>5} \
             {per_night:>7.1} {:>5.1} {:>6.1}",
            format!("{place:?}"),
            &first[..7],
            leads.len(),
            self.warned().0,
            share(self.dry),
            share(self.cold),
        );
    }
}

/// A time of hard frost, which may be a single hour.
struct Spell {
    first: Timestamp,
    /// The last hour of the one before, or when all began.
    after: Timestamp,
}

/// When the weather falls to `threshold` after [`APART`] hours above it.
fn spells(station: &Station, first: Timestamp, days: i64, threshold: f64) -> Vec<Spell> {
    let mut found = Vec::new();
    // A winter that begins in frost has no warning to give.
    let (mut above, mut after) = (0, first);
    for at in (24..days * 24).map(|hours| hour(first, hours)) {
        let Some((celsius, _)) = station.at(at) else { continue };
        if celsius <= threshold {
            if above >= APART {
                found.push(Spell { first: at, after });
            }
            (above, after) = (0, at);
        } else {
            above += 1;
        }
    }
    found
}

/// From when to when a warning stood; without an end, it stood to the last.
type Warned = (Timestamp, Option<Timestamp>);

/// Hours from the warning that stands as a spell begins, or is the next to come, to the spell's first hour. Where it has stood
/// since the spell before, that one's end counts as its beginning.
fn lead(warned: &[Warned], spell: &Spell) -> f64 {
    let told = warned.iter().find(|(_, to)| to.is_none_or(|to| to > spell.first));
    told.map_or(f64::NEG_INFINITY, |(from, _)| {
        spell.first.duration_since(*from.max(&spell.after)).as_secs_f64() / 3_600.0
    })
}

fn winter(summary: &Value, station: &Station, first: Timestamp, days: i64) -> Winter {
    let frost = summary["hard_frost"].as_f64().unwrap();
    let coldest = |day: i64| {
        let hours = (0..24).filter_map(|hours| station.at(hour(first, day * 24 - 6 + hours)));
        hours.map(|(celsius, _)| celsius).fold(f64::INFINITY, f64::min)
    };
    let moment = |value: &Value| value.as_str().map(|text| text.parse::<Timestamp>().unwrap());
    let warned: Vec<Warned> = summary["alerts"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|alert| alert["alert"] == "hard-frost")
        .map(|alert| (moment(&alert["from"]).unwrap(), moment(&alert["to"])))
        .collect();
    let spells = spells(station, first, days, frost);
    let leads = spells.iter().map(|spell| lead(&warned, spell));
    let comes = |(from, to): &&Warned| {
        let hours = to.map_or(48, |to| to.duration_since(*from).as_hours()) + 2;
        (0..=hours.max(26)).any(|ahead| station.at(hour(*from, ahead)).is_some_and(|(celsius, _)| celsius <= frost))
    };
    let rooms = summary["what_if"]["rooms"].as_array().unwrap();
    let sum = |path: &str| rooms.iter().map(|room| room.pointer(path).unwrap().as_f64().unwrap()).sum::<f64>();
    Winter {
        nights: days as usize,
        freezing: (1..days).filter(|day| coldest(*day) < 0.0).count(),
        coldest: (1..days).map(coldest).fold(f64::INFINITY, f64::min),
        leads: leads.collect(),
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
fn a_warning_counts_for_the_spell_that_it_stands_at_and_from_the_end_of_the_one_before() {
    let at = |hours| hour(Timestamp::UNIX_EPOCH, hours);
    let spell = |first, after| Spell { first: at(first), after: at(after) };
    let warned = [(at(10), Some(at(40))), (at(60), Some(at(61))), (at(80), None)];
    let cases = [
        ("raised in time, for a spell of minutes that ends it too", 1, spell(39, 0), 29.0),
        ("stood since the spell that ended at 20", 3, spell(39, 20), 19.0),
        ("raised as the frost came", 3, spell(60, 20), 0.0),
        ("raised after it", 3, spell(70, 20), -10.0),
        ("never raised", 2, spell(70, 20), f64::NEG_INFINITY),
    ];
    for (name, known, spell, wanted) in cases {
        let found = lead(&warned[..known], &spell);
        assert!(found.total_cmp(&wanted).is_eq(), "{name}: {found} hours, not {wanted}");
    }
}

#[test]
fn real_winters_on_the_example_farms_are_warned_of_and_no_limit_is_passed() {
    println!(
        "Hard frost is the farm's own threshold; leads are hours from the warning, or from the spell before it, to a spell."
    );
    println!(
        "{:<17} {:<9} {:<8} {:>6} {:>5} {:>7} {:>6} {:>6} {:>5} {:>5} {:>7} {:>5} {:>6}",
        "farm",
        "weather",
        "from",
        "nights",
        "<0 °C",
        "coldest",
        "spells",
        "warned",
        "lead",
        "false",
        "L/night",
        "dry %",
        "cold %"
    );
    let asked = std::env::var("WINTER_FARM").ok();
    let winters = if asked.is_some() { &WINTERS[..] } else { &WINTERS[..USUALLY] };
    let only = asked.as_deref().unwrap_or(FARMS[0]);
    let (mut spells, mut warned, mut early) = (0, 0, 0);
    for farm in FARMS.into_iter().filter(|farm| only == *farm || only == "all") {
        for pair in winters.chunks(2) {
            let lived: Vec<Winter> = thread::scope(|scope| {
                let started: Vec<_> = pair.iter().map(|winter| scope.spawn(|| Winter::of(farm, *winter))).collect();
                started.into_iter().map(|winter| winter.join().unwrap()).collect()
            });
            for (found, winter) in lived.iter().zip(pair) {
                found.print(farm, *winter);
                spells += found.leads.len();
                warned += found.warned().0;
                early += found.warned().1;
            }
        }
    }
    println!("{warned} of {spells} spells were warned of before they came, {early} of them six hours and more before.");
    assert!(spells >= 10, "{spells} spells");
    assert!(warned * 10 >= spells * 9, "{warned} of {spells} spells");
    assert!(early * 10 >= spells * 7, "{early} of {spells} spells");
}
