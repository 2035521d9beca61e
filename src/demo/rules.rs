//! The rules that a grower would write in their automation: follow `advice/decision` until its `valid-until`, and the
//! fallbacks after it; tell what the gauges say; and before a night that will fall short, pull a lever through `/set`.
//! They know nothing but what stands on MQTT.

use std::collections::BTreeMap;

use jiff::Timestamp;
use serde_json::{Value, json};

use super::farm::{FAN_PLATES, NAMES, Orders};
use crate::units::{UnitSystem, people::CUBIC_METRES_PER_CUBIC_FOOT};

/// Before anything was heard, the fans stand at this share and the humidifiers are off.
const UNHEARD: f64 = 0.3;

/// What one room's rule remembers.
#[derive(Debug, Clone, PartialEq)]
struct Heard {
    decision: Option<Decision>,
    /// In the unit in which air flows are published.
    fallback_air: Option<f64>,
    levers: Value,
    hourly: Value,
    dawn: Option<Timestamp>,
    short: bool,
}

/// A decision as the rule reads it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Decision {
    fan: f64,
    humidity: Option<f64>,
    valid_until: Timestamp,
}

/// A lever that a rule pulls.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Pull {
    /// Where the rule publishes.
    pub(super) topic: String,
    /// What it publishes.
    pub(super) payload: String,
    /// What the daemon has said of the lever.
    pub(super) sentence: String,
    /// Water that it saves in 24 hours, as a share of that without it.
    pub(super) saves: f64,
    /// Carbon dioxide to which it leads at most, ppm.
    pub(super) carbon_dioxide: f64,
    /// The share of the fan that was foreseen without it, for each hour from a moment on.
    pub(super) fan_without: (Timestamp, Vec<f64>),
    /// Until when.
    pub(super) until: Timestamp,
}

/// The rules of all rooms.
#[derive(Debug, Clone)]
pub(super) struct Rules {
    prefix: String,
    /// m³/h in the unit in which air flows are published.
    air_unit: f64,
    heard: Vec<Heard>,
}

impl Rules {
    /// Rules for the rooms of `site`, which publishes in `units`.
    pub(super) fn new(site: &str, units: UnitSystem) -> Self {
        let heard = Heard {
            decision: None,
            fallback_air: None,
            levers: Value::Null,
            hourly: Value::Null,
            dawn: None,
            short: false,
        };
        let air_unit = match units {
            UnitSystem::Metric => 1.0,
            UnitSystem::Us => 60.0 * CUBIC_METRES_PER_CUBIC_FOOT,
        };
        Self { prefix: format!("homie/5/{site}-"), air_unit, heard: vec![heard; NAMES.len()] }
    }

    /// What the rules listen to.
    pub(super) fn filters(&self) -> Vec<String> {
        let of_room = ["advice/+", "outlook/levers", "outlook/hourly", "outlook/dawn", "alerts/humidifier-shortfall"];
        NAMES.iter().flat_map(|name| of_room.map(|topic| format!("{}{name}/{topic}", self.prefix))).collect()
    }

    /// Takes in a message; other topics are ignored.
    pub(super) fn hear(&mut self, topic: &str, payload: &str) {
        let Some((room, property)) = topic.strip_prefix(&self.prefix).and_then(|rest| rest.split_once('/')) else {
            return;
        };
        let Some(number) = NAMES.iter().position(|name| *name == room) else { return };
        let heard = &mut self.heard[number];
        match property {
            "advice/decision" => heard.decision = decision(payload),
            "advice/fallback-fresh-air" => heard.fallback_air = payload.parse().ok(),
            "outlook/levers" => heard.levers = serde_json::from_str(payload).unwrap_or_default(),
            "outlook/hourly" => heard.hourly = serde_json::from_str(payload).unwrap_or_default(),
            "outlook/dawn" => heard.dawn = payload.parse().ok(),
            "alerts/humidifier-shortfall" => heard.short = matches!(payload, "notice" | "warning" | "critical"),
            _ => {}
        }
    }

    /// What to set now.
    pub(super) fn orders(&self, now: Timestamp) -> [Orders; NAMES.len()] {
        let fallback = self.fallback_fans();
        std::array::from_fn(|number| match self.heard[number].decision {
            Some(decision) if now < decision.valid_until => Orders { fan: decision.fan, humidity: decision.humidity },
            _ => Orders { fan: fallback[number], humidity: None },
        })
    }

    /// Shares of the fans' capacity by the fallbacks.
    pub(super) fn fallback_fans(&self) -> [f64; NAMES.len()] {
        std::array::from_fn(|number| {
            let share = self.heard[number].fallback_air.map(|air| air * self.air_unit / FAN_PLATES[number]);
            share.unwrap_or(UNHEARD)
        })
    }

    /// The level that a gauge reads, told to the daemon: topic and payload.
    pub(super) fn gauge(&self, room: usize, published: f64) -> (String, String) {
        (format!("{}{}/inputs/tank-volume/set", self.prefix, NAMES[room]), format!("{published:.1}"))
    }

    /// The evening's rule: where the anteroom will fall short tonight, `room` takes less air until dawn, if its levers
    /// say that it can.
    pub(super) fn evening(&self, room: usize, now: Timestamp) -> Option<Pull> {
        let (anteroom, heard) = (&self.heard[0], &self.heard[room]);
        let lever = heard.levers["levers"].as_array()?.iter().find(|lever| lever["change"] == "less-air")?;
        let (hold, until) = (lever["hold"].as_object()?, heard.dawn.filter(|_| anteroom.short)?);
        let minutes = until.duration_since(now).as_mins();
        let mut payload: BTreeMap<&str, Value> =
            hold.iter().map(|(key, value)| (key.as_str(), value.clone())).collect();
        payload.insert("for", json!(format!("PT{}H{}M", minutes / 60, minutes % 60)));
        let foreseen = heard.hourly["expected"]["fresh_air_cubic_metres_per_hour"].as_array()?;
        let fans: Option<Vec<f64>> = foreseen.iter().map(|air| Some(air.as_f64()? / FAN_PLATES[room])).collect();
        let worth = |case: &str, key: &str| lever[case][key].as_f64();
        Some(Pull {
            topic: format!("{}{}/inputs/hold/set", self.prefix, NAMES[room]),
            payload: json!(payload).to_string(),
            sentence: lever["sentence"].as_str()?.to_owned(),
            saves: 1.0 - worth("with", "water_litres")? / worth("without", "water_litres")?,
            carbon_dioxide: worth("with", "highest_carbon_dioxide_parts_per_million")?,
            fan_without: (heard.hourly["made_at"].as_str()?.parse().ok()?, fans?),
            until,
        })
    }
}

/// `None` where the advice is withheld or is no decision at all: both mean the fallbacks.
fn decision(payload: &str) -> Option<Decision> {
    let json: Value = serde_json::from_str(payload).ok()?;
    if json["mode"] == "withheld" {
        return None;
    }
    let number = |key: &str| json[key].as_f64();
    // Advised duty zero means off whatever the humidistat would do.
    let humidity = number("humidity-target").filter(|_| number("humidifier-duty").is_some_and(|duty| duty > 0.0));
    Some(Decision {
        fan: number("fan-command")? / 100.0,
        humidity: humidity.map(|percent| percent / 100.0),
        valid_until: json["valid-until"].as_str()?.parse().ok()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Timestamp = Timestamp::constant(1_800_000_000, 0);
    const TOPIC: &str = "homie/5/frosthollow-oyster-hall/advice/decision";

    fn decided(mode: &str, duty: f64) -> String {
        serde_json::json!({
            "mode": mode,
            "fan-command": 40.0,
            "humidity-target": 88.0,
            "humidifier-duty": duty,
            "valid-until": "2027-01-15T08:05:00Z",
        })
        .to_string()
    }

    #[test]
    fn advice_is_followed_until_its_end_and_the_fallback_after_it() {
        let mut rules = Rules::new("frosthollow", UnitSystem::Metric);
        rules.hear("homie/5/frosthollow-oyster-hall/advice/fallback-fresh-air", "350");
        rules.hear(TOPIC, &decided("active", 55.0));
        assert_eq!(rules.orders(NOW)[1], Orders { fan: 0.4, humidity: Some(0.88) });
        let later = NOW + jiff::SignedDuration::from_mins(5);
        assert_eq!(rules.orders(later)[1], Orders { fan: 350.0 / FAN_PLATES[1], humidity: None });
        // Another room's decision is not this room's.
        assert_eq!(rules.orders(NOW)[2], Orders { fan: UNHEARD, humidity: None });
    }

    #[test]
    fn withheld_or_garbled_advice_means_the_fallback_and_no_water() {
        let mut rules = Rules::new("frosthollow", UnitSystem::Us);
        rules.hear("homie/5/frosthollow-oyster-hall/advice/fallback-fresh-air", "200");
        for payload in [decided("withheld", 55.0), "?".to_owned(), "{}".to_owned()] {
            rules.hear(TOPIC, &decided("active", 55.0));
            rules.hear(TOPIC, &payload);
            let orders = rules.orders(NOW)[1];
            assert_eq!(orders.humidity, None, "{payload}");
            // 200 cfm are 339.8 m³/h.
            assert!((orders.fan - 339.8 / FAN_PLATES[1]).abs() < 1e-4, "{payload}");
        }
    }

    #[test]
    fn a_duty_of_zero_keeps_the_humidifier_off() {
        let mut rules = Rules::new("frosthollow", UnitSystem::Metric);
        rules.hear(TOPIC, &decided("degraded", 0.0));
        assert_eq!(rules.orders(NOW)[1], Orders { fan: 0.4, humidity: None });
    }

    #[test]
    fn before_a_night_that_falls_short_the_lever_is_pulled_until_dawn_and_otherwise_not() {
        let mut rules = Rules::new("frosthollow", UnitSystem::Metric);
        let levers = json!({ "levers": [
            { "change": "ready-anteroom" },
            {
                "change": "less-air", "sentence": "Hold the fresh air at 522 m³/h.", "hold": { "fresh-air": 522.1 },
                "without": { "water_litres": 100.0, "highest_carbon_dioxide_parts_per_million": 800.0 },
                "with": { "water_litres": 80.0, "highest_carbon_dioxide_parts_per_million": 880.0 },
            },
        ] });
        rules.hear(TOPIC, &decided("active", 55.0));
        rules.hear("homie/5/frosthollow-oyster-hall/outlook/levers", &levers.to_string());
        let hourly = json!({
            "made_at": "2027-01-15T08:00:00Z",
            "expected": { "fresh_air_cubic_metres_per_hour": [600.0, 750.0] },
        });
        rules.hear("homie/5/frosthollow-oyster-hall/outlook/hourly", &hourly.to_string());
        rules.hear("homie/5/frosthollow-oyster-hall/outlook/dawn", "2027-01-15T22:30:00Z");
        rules.hear("homie/5/frosthollow-lung/alerts/humidifier-shortfall", "normal");
        assert_eq!(rules.evening(1, NOW), None);
        rules.hear("homie/5/frosthollow-lung/alerts/humidifier-shortfall", "warning");
        let pull = rules.evening(1, NOW).unwrap();
        assert_eq!(pull.topic, "homie/5/frosthollow-oyster-hall/inputs/hold/set");
        assert_eq!(pull.payload, r#"{"for":"PT14H30M","fresh-air":522.1}"#);
        assert!((pull.saves - 0.2).abs() < 1e-9);
        assert_eq!(pull.fan_without, (NOW, vec![0.4, 0.5]));
        // Nothing that the daemon does not say can be pulled.
        rules.hear("homie/5/frosthollow-oyster-hall/outlook/levers", r#"{"levers":[]}"#);
        assert_eq!(rules.evening(1, NOW), None);
    }
}
