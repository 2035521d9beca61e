//! Given these readings, these values, this advice and these alerts.
//!
//! Humidity ratio, dew point, vapour-pressure deficit and specific volume of the rooms: CoolProp 8.0.0,
//! `HAPropsSI("W" | "D" | "V", "T", t + 273.15, "P", 101325, "R", rh)` (ASHRAE RP-1485 real gas); the deficit of vapour
//! pressure is the difference of W/(W + 0.621945) × p at saturation and at the room's RH. Outdoors below 0 °C, over liquid water:
//! Hyland–Wexler's liquid curve with an enhancement factor of 1.0042 gives 1.4163 and 0.5813 g/kg at −10 °C 80 % and −20 °C
//! 75 %. Vapour: volume × air changes / specific volume of the room's air × deficit. Published digits set the tolerances.

use std::{
    io::Write,
    process::{Command, Stdio},
};

use super::{
    broker::program,
    farm::{Farm, World, room},
};

enum Expected {
    Near(f64, f64),
    Is(&'static str),
}
use Expected::{Is, Near};

struct Row {
    why: &'static str,
    outdoors: (f64, f64),
    room: &'static str,
    inside: (f64, f64),
    carbon_dioxide: Option<f64>,
    expected: &'static [(&'static str, Expected)],
}

/// In this order: each row starts from where the one before it has left the farm.
const ROWS: &[Row] = &[
    Row {
        why: "no carbon dioxide is known: the usual 4 air changes of 60 m³, at −10 °C outside",
        outdoors: (-10.0, 80.0),
        room: "oyster-hall",
        inside: (16.0, 80.0),
        carbon_dioxide: None,
        expected: &[
            ("air/temperature", Near(16.0, 0.05)),
            ("air/relative-humidity", Near(80.0, 0.05)),
            ("air/humidity-ratio", Near(9.0989, 0.012)),
            ("air/dew-point", Near(12.556, 0.06)),
            ("air/vapour-pressure-deficit", Near(365.2, 1.5)),
            ("moisture/deficit", Near(9.0705, 0.015)),
            ("moisture/vapour-needed", Near(2.6205, 0.015)),
            // Over the evaporated fraction of 0.85, and 0.9982 kg in a litre at 20 °C.
            ("moisture/water-drawn", Near(3.086, 0.025)),
            ("advice/fresh-air", Near(240.0, 0.15)),
            ("advice/air-changes", Near(4.0, 0.02)),
            ("advice/fan-command", Near(50.0, 0.15)),
            ("advice/humidity-target", Near(92.0, 0.05)),
            ("advice/humidifier-duty", Near(25.7, 0.3)),
            ("advice/mode", Is("degraded")),
            ("advice/limited-by", Is("unknown-carbon-dioxide")),
            ("advice/fallback-fresh-air", Near(240.0, 0.15)),
            ("advice/fallback-humidifier", Near(0.0, 1e-9)),
            ("alerts/carbon-dioxide-people", Is("suppressed")),
        ],
    },
    Row {
        why: "mild air needs less water, and the same balance holds",
        outdoors: (5.0, 70.0),
        room: "lions-mane-bay",
        inside: (18.0, 82.0),
        carbon_dioxide: None,
        expected: &[
            ("air/humidity-ratio", Near(10.6130, 0.012)),
            ("air/dew-point", Near(14.884, 0.06)),
            ("air/vapour-pressure-deficit", Near(373.2, 1.5)),
            ("moisture/deficit", Near(7.8805, 0.015)),
            ("moisture/vapour-needed", Near(2.2556, 0.015)),
            ("advice/humidity-target", Near(90.0, 0.05)),
        ],
    },
    Row {
        why: "a humidifier that cannot hold 85 % lowers the target to what it reaches, within the band",
        outdoors: (-20.0, 75.0),
        room: "shiitake-loft",
        inside: (20.0, 60.0),
        carbon_dioxide: None,
        expected: &[
            ("air/humidity-ratio", Near(8.7730, 0.012)),
            ("air/dew-point", Near(12.009, 0.06)),
            ("air/vapour-pressure-deficit", Near(939.6, 2.0)),
            // 2.4 L/h × 0.9982 × 0.85 into 213.8 kg/h of dry air: 0.5813 + 9.524 g/kg, which is 69.0 % at 20 °C.
            ("advice/humidity-target", Near(69.0, 0.5)),
            ("advice/humidifier-duty", Near(100.0, 1.0)),
            ("advice/limited-by", Is("humidifier-output")),
            ("advice/fresh-air", Near(180.0, 0.15)),
        ],
    },
    Row {
        why: "carbon dioxide above the crop's limit is never answered by less air",
        outdoors: (-10.0, 80.0),
        room: "oyster-hall",
        inside: (16.0, 80.0),
        carbon_dioxide: Some(1_200.0),
        expected: &[
            ("air/carbon-dioxide", Near(1_200.0, 0.5)),
            ("air/carbon-dioxide-headroom", Near(-200.0, 0.5)),
            ("advice/fresh-air", Near(240.0, 0.15)),
            ("advice/limited-by", Is("carbon-dioxide")),
            ("advice/mode", Is("active")),
            ("alerts/carbon-dioxide-crop", Is("pending")),
            ("alerts/carbon-dioxide-people", Is("normal")),
        ],
    },
    Row {
        why: "5,000 ppm is people's limit over a working day",
        outdoors: (-10.0, 80.0),
        room: "oyster-hall",
        inside: (16.0, 80.0),
        carbon_dioxide: Some(5_500.0),
        expected: &[("alerts/carbon-dioxide-people", Is("warning"))],
    },
    Row {
        why: "at 15,000 ppm all air there is, at once, and no water",
        outdoors: (-10.0, 80.0),
        room: "oyster-hall",
        inside: (16.0, 80.0),
        carbon_dioxide: Some(16_000.0),
        expected: &[
            ("alerts/carbon-dioxide-people", Is("critical")),
            ("advice/fresh-air", Near(480.0, 0.15)),
            ("advice/fan-command", Near(100.0, 0.05)),
            ("advice/humidifier-duty", Near(0.0, 1e-9)),
            ("advice/limited-by", Is("people-safety")),
        ],
    },
    Row {
        why: "air that a sensor cannot tell from saturated gets no more water",
        outdoors: (5.0, 70.0),
        room: "lions-mane-bay",
        inside: (18.0, 98.5),
        carbon_dioxide: Some(700.0),
        expected: &[
            ("advice/humidifier-duty", Near(0.0, 1e-9)),
            ("advice/limited-by", Is("saturation")),
            ("moisture/water-drawn", Near(0.0, 1e-9)),
        ],
    },
];

#[test]
fn readings_published_from_outside_become_the_values_computed_elsewhere() {
    let world = World::start(&Farm::default());
    for row in ROWS {
        println!("{}", row.why);
        world.outdoors(row.outdoors.0, row.outdoors.1);
        world.inside(row.room, row.inside.0, row.inside.1);
        if let Some(ppm) = row.carbon_dioxide {
            world.carbon_dioxide(row.room, ppm);
        }
        for (property, expected) in row.expected {
            let topic = room(row.room, property);
            match expected {
                Near(value, tolerance) => world.until_near(&topic, *value, *tolerance),
                Is(word) => world.outside.until_is(&topic, word, 20),
            }
        }
    }
    decision_agrees_with_its_topics(&world);
    metrics_satisfy_promtool(&world.daemon.metrics());
}

/// The monitoring system's own checker finds nothing to say.
fn metrics_satisfy_promtool(metrics: &str) {
    let mut promtool = Command::new(program("promtool"))
        .args(["check", "metrics"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    promtool.stdin.take().unwrap().write_all(metrics.as_bytes()).unwrap();
    let output = promtool.wait_with_output().unwrap();
    let said = [output.stdout, output.stderr].concat();
    assert!(output.status.success() && said.is_empty(), "{}", String::from_utf8_lossy(&said));
}

/// The decision's object says what the single topics say, with nothing left out.
fn decision_agrees_with_its_topics(world: &World) {
    let messages = super::client::retained(world.broker.port);
    let text = &messages[&room("lions-mane-bay", "advice/decision")].payload;
    let decision: serde_json::Value = serde_json::from_str(text).unwrap();
    for property in [
        "fresh-air",
        "air-changes",
        "fan-command",
        "humidity-target",
        "humidifier-duty",
        "limited-by",
        "mode",
        "reason",
    ] {
        let alone = &messages[&room("lions-mane-bay", &format!("advice/{property}"))].payload;
        let within = match &decision[property] {
            serde_json::Value::String(text) => text.clone(),
            other => other.to_string(),
        };
        let same = match (alone.parse::<f64>(), within.parse::<f64>()) {
            (Ok(alone), Ok(within)) => (alone - within).abs() < 1e-9,
            _ => *alone == within,
        };
        assert!(same, "{property}: `{alone}` alone, `{within}` in the decision");
    }
    let expiry = messages[&room("lions-mane-bay", "advice/decision")].expiry;
    assert!(expiry.is_some_and(|seconds| seconds <= 600), "advice lives {expiry:?} s at the broker");
    assert_eq!(messages[&room("lions-mane-bay", "advice/fallback-fresh-air")].expiry, None);
}
