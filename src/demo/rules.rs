//! The rules that a grower would write in their automation: follow `advice/decision` until its `valid-until`, and the
//! fallbacks after it. They know nothing but what stands on MQTT.

use jiff::Timestamp;
use serde_json::Value;

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
}

/// A decision as the rule reads it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Decision {
    fan: f64,
    humidity: Option<f64>,
    valid_until: Timestamp,
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
        let heard = Heard { decision: None, fallback_air: None };
        let air_unit = match units {
            UnitSystem::Metric => 1.0,
            UnitSystem::Us => 60.0 * CUBIC_METRES_PER_CUBIC_FOOT,
        };
        Self { prefix: format!("homie/5/{site}-"), air_unit, heard: vec![heard; NAMES.len()] }
    }

    /// What the rules listen to.
    pub(super) fn filters(&self) -> Vec<String> {
        NAMES.iter().map(|name| format!("{}{name}/advice/+", self.prefix)).collect()
    }

    /// Takes in a message; other topics are ignored.
    pub(super) fn hear(&mut self, topic: &str, payload: &str) {
        let Some(rest) = topic.strip_prefix(&self.prefix) else { return };
        let Some((room, property)) = rest.split_once("/advice/") else { return };
        let Some(number) = NAMES.iter().position(|name| *name == room) else { return };
        let heard = &mut self.heard[number];
        match property {
            "decision" => heard.decision = decision(payload),
            "fallback-fresh-air" => heard.fallback_air = payload.parse().ok(),
            _ => {}
        }
    }

    /// What to set now.
    pub(super) fn orders(&self, now: Timestamp) -> [Orders; NAMES.len()] {
        std::array::from_fn(|number| {
            let heard = &self.heard[number];
            match heard.decision {
                Some(decision) if now < decision.valid_until => {
                    Orders { fan: decision.fan, humidity: decision.humidity }
                }
                _ => {
                    let share = heard.fallback_air.map(|air| air * self.air_unit / FAN_PLATES[number]);
                    Orders { fan: share.unwrap_or(UNHEARD), humidity: None }
                }
            }
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
}
