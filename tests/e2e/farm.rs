//! The farm under test: a configuration, its topics, and a world of broker, client and daemon around it.

use std::{cell::RefCell, collections::BTreeMap};

use super::{
    broker::{Mosquitto, USER, free_port},
    client::Outside,
    daemon::Daemon,
};

/// Where a site's topics begin.
pub const SITE: &str = "homie/5/frosthollow";

/// One topic of a room.
pub fn room(name: &str, rest: &str) -> String {
    format!("{SITE}-{name}/{rest}")
}

/// One topic of the site.
pub fn site(rest: &str) -> String {
    format!("{SITE}/{rest}")
}

/// What differs between the tests' farms.
pub struct Farm {
    /// As configured.
    pub elevation: &'static str,
    /// The whole `forecast` section, indented.
    pub forecast: String,
    /// Output of the lion's mane bay's humidifier.
    pub weak_output: &'static str,
    /// How old a reading may be.
    pub maximum_age: &'static str,
}

impl Default for Farm {
    fn default() -> Self {
        Self { elevation: "0 m", forecast: "  service: none".to_owned(), weak_output: "12 L/h", maximum_age: "10 min" }
    }
}

/// Broker, outside client and daemon, all running.
pub struct World {
    pub broker: Mosquitto,
    pub outside: Outside,
    pub daemon: Daemon,
    /// What each topic said last: a sensor that jumps further than air can change is not believed.
    last: RefCell<BTreeMap<String, (f64, f64)>>,
}

impl World {
    /// Starts everything, and waits until the daemon is ready.
    pub fn start(farm: &Farm) -> Self {
        let broker = Mosquitto::start();
        let outside = Outside::connect("outside", broker.port);
        let http_port = free_port();
        let daemon = Daemon::run(&farm.configuration(&broker, http_port), http_port);
        let world = Self { broker, outside, daemon, last: RefCell::default() };
        world.outside.until_is(&site("$state"), "ready", 20);
        world
    }

    /// Publishes what the outdoor sensor says, in °C and percent.
    pub fn outdoors(&self, celsius: f64, percent: f64) {
        self.air("farm/yard", (celsius, percent));
    }

    /// Publishes what a room's sensor says, in °C and percent.
    pub fn inside(&self, room: &str, celsius: f64, percent: f64) {
        self.air(&format!("farm/{room}/air"), (celsius, percent));
    }

    /// Goes there in steps that air can make.
    fn air(&self, topic: &str, to: (f64, f64)) {
        let from = self.last.borrow_mut().insert(topic.to_owned(), to).unwrap_or(to);
        let steps = ((to.0 - from.0).abs() / 5.0).max((to.1 - from.1).abs() / 20.0).ceil().max(1.0);
        for step in 1..=steps as u32 {
            let part = f64::from(step) / steps;
            let (celsius, percent) = (from.0 + part * (to.0 - from.0), from.1 + part * (to.1 - from.1));
            self.outside.publish(topic, format!(r#"{{"air":{{"t":{celsius:.3},"rh":{percent:.2}}}}}"#));
        }
    }

    /// Publishes a room's carbon dioxide in ppm, as a plain number.
    pub fn carbon_dioxide(&self, room: &str, ppm: f64) {
        self.outside.publish(&format!("farm/{room}/co2"), ppm.to_string());
    }

    /// Waits until the number on a topic is within `tolerance` of `expected`.
    pub fn until_near(&self, topic: &str, expected: f64, tolerance: f64) {
        self.outside.until(&format!("{topic} = {expected} ± {tolerance}"), 20, |messages| {
            let value: f64 = messages.get(topic)?.payload.parse().ok()?;
            ((value - expected).abs() <= tolerance).then_some(())
        });
    }
}

impl Farm {
    pub fn configuration(&self, broker: &Mosquitto, http_port: u16) -> String {
        let Self { elevation, forecast, maximum_age, weak_output } = self;
        let air = |topic: &str| {
            format!(
                r#"
      temperature: {{ topic: "{topic}", pointer: /air/t, unit: "°C", maximum-age: {maximum_age} }}
      relative-humidity: {{ topic: "{topic}", pointer: /air/rh, unit: "%", maximum-age: {maximum_age} }}"#
            )
        };
        let room = |name: &str, size: &str, crop: &str, fan: &str, band: &str, output: &str| {
            format!(
                r#"
  {name}:
    volume: {size}
    infiltration: 0 /h
    crop: {{ species: {crop}, stage: fruiting, substrate: 120 kg }}
    fan: {{ moves: exhaust, {fan} }}
    tempering: {{ to: 20 °C }}
    bands:
      relative-humidity: {{ {band} }}
      carbon-dioxide-limit: 1000 ppm
    humidifier: {{ method: ultrasonic, output: {output}, evaporated-fraction: 85 %, water: {water} }}
    sensors:{air}
      carbon-dioxide: {{ topic: farm/{name}/co2, unit: ppm, maximum-age: {maximum_age} }}"#,
                air = air(&format!("farm/{name}/air")),
                water = if name == "oyster-hall" { "90 L" } else { "mains" },
            )
        };
        let large = "capacity: 8 /h, floor: 1 /h, usual: 4 /h";
        let small = "capacity: 12 /h, floor: 1 /h, usual: 6 /h";
        format!(
            r#"
site:
  name: frosthollow
  latitude: 61.35
  longitude: 25.28
  elevation: {elevation}
  time-zone: UTC
  hard-frost: -4 °C
broker:
  host: 127.0.0.1
  port: {port}
  user: {USER}
  password-file: {password}
forecast:
{forecast}
http:
  listen: 127.0.0.1:{http_port}
outdoors:
  sensors:{yard}
    
rooms:{oyster}{lions_mane}{shiitake}
"#,
            port = broker.port,
            password = broker.password_file().display(),
            yard = air("farm/yard").replace("\n      ", "\n    "),
            oyster =
                room("oyster-hall", "60 m³", "oyster", large, "lowest: 85 %, preferred: 92 %, highest: 94 %", "12 L/h"),
            lions_mane = room(
                "lions-mane-bay",
                "60 m³",
                "lions-mane",
                large,
                "lowest: 85 %, preferred: 90 %, highest: 94 %",
                weak_output
            ),
            shiitake = room(
                "shiitake-loft",
                "30 m³",
                "shiitake",
                small,
                "lowest: 65 %, preferred: 85 %, highest: 90 %",
                "2.4 L/h"
            ),
        )
    }
}
