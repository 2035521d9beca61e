//! A winter to replay: a farm of ten rooms, three sensors in each that speak once a minute, real weather outdoors, and an
//! hourly forecast that errs as forecasts do.

use std::io::{self, Write};

use jiff::{SignedDuration, Timestamp};

use crate::{
    nights::{
        chance::Chance,
        weather::{Place, Station},
    },
    recorder,
};

/// 1 December 2015, the first midnight of the longer winter in `tests/data`.
pub const FIRST: &str = "2015-12-01T00:00:00Z";
/// Sensors of a room; two more speak outdoors.
pub const SENSORS: usize = 3;

/// The farm: every fifth room is an anteroom that the four behind it breathe through; the others of its kind breathe
/// straight from outdoors.
pub fn configuration(rooms: usize) -> String {
    let mut text = String::from(
        r#"
site:
  name: frosthollow
  latitude: 61.35
  longitude: 25.28
  elevation: 200 m
  time-zone: Europe/Helsinki
broker:
  host: 127.0.0.1
forecast:
  service: met-norway
  contact: grower@frosthollow.example
outdoors:
  sensors:
    temperature: {topic: "farm/yard/temperature", unit: "°C"}
    relative-humidity: {topic: "farm/yard/humidity", unit: "%"}
rooms:
"#,
    );
    for room in 0..rooms {
        let anteroom = room % 5 == 0 && room + 4 < rooms && room > 0;
        let behind = room > 5 && room % 5 != 0 && rooms > 5;
        let intake = if behind { "room-5" } else { "outdoors" };
        let (crop, fan) = if anteroom {
            ("", "capacity: 2400 m³/h, moves: supply, floor: 100 m³/h, usual: 900 m³/h")
        } else {
            (
                "    crop: {species: oyster, stage: fruiting, substrate: 900 kg}\n",
                "capacity: 600 m³/h, floor: 1 /h, usual: 5 /h",
            )
        };
        let bands = if anteroom {
            "    bands:\n      temperature: {lowest: 6 °C, preferred: 16 °C, highest: 20 °C}\n      relative-humidity: {lowest: 60 %, preferred: 80 %, highest: 92 %}\n"
        } else {
            ""
        };
        text.push_str(&format!(
            r#"  room-{room}:
    volume: 70 m³
    intake: {intake}
    infiltration: 0.3 /h
    shell:
      heat-loss: 45 W/K
      fabric: 3 MJ/K
      surfaces:
        north-wall: {{wall: {{area: 18 m², u-value: 0.6 W/m²K}}}}
    heater: {{power: 12 kW, setting: 16 °C}}
{crop}{bands}    fan: {{{fan}}}
    humidifier: {{method: ultrasonic, output: 8 L/h, evaporated-fraction: 85 %, water: 200 L}}
    sensors:
      temperature: {{topic: "farm/room-{room}/temperature", unit: "°C"}}
      relative-humidity: {{topic: "farm/room-{room}/humidity", unit: "%"}}
      carbon-dioxide: {{topic: "farm/room-{room}/co2", unit: ppm}}
"#
        ));
    }
    text
}

/// What the sensors of so many days say, each at its own second of the minute.
pub fn log(days: i64, rooms: usize, out: &mut impl Write) -> io::Result<u64> {
    let station = Station::read(Place::Chicago);
    let first: Timestamp = FIRST.parse().unwrap();
    let mut chance = Chance::new(5);
    let mut drift = vec![[0.0_f64; SENSORS]; rooms];
    let mut lines = 0;
    let mut say = |at, topic: &str, payload: &str| writeln!(out, "{}", recorder::line(at, topic, payload, false));
    for minute in 0..days * 1_440 {
        let began = first + SignedDuration::from_mins(minute);
        let Some((celsius, dew_point)) = station.at(began) else { continue };
        let humidity = (100.0
            * (17.62 * dew_point / (243.12 + dew_point) - 17.62 * celsius / (243.12 + celsius)).exp())
        .clamp(5.0, 100.0);
        say(began, "farm/yard/temperature", &format!("{:.2}", celsius + 0.05 * chance.normal()))?;
        say(began, "farm/yard/humidity", &format!("{:.1}", (humidity + 0.3 * chance.normal()).min(100.0)))?;
        let hour = (minute % 1_440) as f64 / 60.0;
        for (room, drift) in drift.iter_mut().enumerate() {
            for (sensor, drift) in drift.iter_mut().enumerate() {
                *drift += 0.03 * (chance.normal() - *drift);
                let offset = (60_000 * (room * SENSORS + sensor) / (rooms * SENSORS + 1)) as i64 + 700;
                let at = began + SignedDuration::from_millis(offset);
                let daily = (hour / 24.0 * std::f64::consts::TAU).sin();
                let (name, value) = match sensor {
                    0 => ("temperature", format!("{:.2}", 16.0 + 0.4 * daily + 2.0 * *drift)),
                    1 => ("humidity", format!("{:.1}", (89.0 - 1.5 * daily + 14.0 * *drift).clamp(40.0, 96.0))),
                    _ => ("co2", format!("{:.0}", 760.0 + 60.0 * daily + 500.0 * *drift)),
                };
                say(at, &format!("farm/room-{room}/{name}"), &value)?;
                lines += 1;
            }
        }
        lines += 2;
    }
    Ok(lines)
}

/// An answer of a weather service for each hour of so many days.
pub fn forecasts(days: i64, out: &mut impl Write) -> io::Result<()> {
    forecasts_of(&Station::read(Place::Chicago), FIRST.parse().unwrap(), days, out)
}

/// The same of any station, from any hour on.
pub fn forecasts_of(station: &Station, first: Timestamp, days: i64, out: &mut impl Write) -> io::Result<()> {
    // Other errors in each place.
    let seed = 600 + 1_000_000 * station.place as u64;
    for hour in 0..days * 24 {
        let at = first + SignedDuration::from_hours(hour);
        // A run of the service's model holds for six hours, and errs by itself: runs of real ones err alike.
        let run = first + SignedDuration::from_hours(hour - hour % 6);
        if station.at(run - SignedDuration::from_hours(1)).is_none() || station.at(run).is_none() {
            continue;
        }
        let mut chance = Chance::new(seed + (hour - hour % 6) as u64);
        let steps: Vec<String> = station
            .erring(run, &mut chance)
            .points()
            .iter()
            .map(|point| {
                let celsius = point.air.temperature.celsius();
                // Magnus, backwards: what was made from a dew point is given as one.
                let gamma = (point.air.vapour_pressure.pascals() / 611.2 / 1.004).ln();
                let dew_point = (243.12 * gamma / (17.62 - gamma)).min(celsius);
                format!(
                    r#"{{"time":"{}","data":{{"instant":{{"details":{{"air_temperature":{celsius:.1},"dew_point_temperature":{dew_point:.1}}}}}}}}}"#,
                    point.at
                )
            })
            .collect();
        writeln!(
            out,
            r#"{{"tst":"{}","service":"met-norway","body":{{"properties":{{"meta":{{"updated_at":"{run}"}},"timeseries":[{}]}}}}}}"#,
            at + SignedDuration::from_secs(130),
            steps.join(",")
        )?;
    }
    Ok(())
}
