//! Live and replayed: a real daemon on a real Mosquitto, recorded by the broker's own client, and the recording replayed.

use std::{
    fs::File,
    process::{Child, Command, Stdio},
    time::Duration,
};

use jiff::Timestamp;
use serde_json::Value;

use super::{Folder, published};
use crate::e2e::{
    broker::{Mosquitto, PASSWORD, USER, free_port, program},
    client::Outside,
    daemon::Daemon,
    farm::{Farm, room, site},
    observations::{freeze, locationforecast, starting_at},
    service::WeatherService,
    until,
};

const ROOMS: [&str; 2] = ["oyster-hall", "lions-mane-bay"];
/// Between two messages: the daemon takes in each by itself, as a replay does.
const APART: Duration = Duration::from_millis(250);
/// After the messages of a step: the hours ahead are worked out one room a turn.
const SETTLED: Duration = Duration::from_millis(1_500);

/// What is published, step by step: topic, payload, and whether the broker keeps it.
fn steps() -> Vec<Vec<(String, String, bool)>> {
    let say = |topic: &str, payload: &str| (topic.to_owned(), payload.to_owned(), false);
    let air = |place: &str, celsius: f64, percent: f64| {
        let topic = if place == "yard" { "farm/yard".to_owned() } else { format!("farm/{place}/air") };
        (topic, format!(r#"{{"air":{{"t":{celsius},"rh":{percent}}}}}"#), false)
    };
    let gas = |place: &str, ppm: f64| (format!("farm/{place}/co2"), ppm.to_string(), false);
    let set = |property: &str, payload: &str| say(&room("oyster-hall", &format!("{property}/set")), payload);
    vec![
        vec![air("yard", 2.2, 95.0), air(ROOMS[0], 16.0, 88.0), gas(ROOMS[0], 760.0)],
        vec![air(ROOMS[1], 18.0, 86.0), gas(ROOMS[1], 700.0)],
        vec![air(ROOMS[0], 16.4, 84.0), gas(ROOMS[0], 910.0)],
        vec![air("yard", -1.0, 90.0), air(ROOMS[1], 17.5, 90.5)],
        vec![gas(ROOMS[0], 990.0), say("farm/oyster-hall/co2", "damp")],
        vec![set("inputs/hold", r#"{"fresh-air":460,"humidity-target":90,"for":"PT1H"}"#)],
        vec![set("inputs/stage", "asleep"), air(ROOMS[0], 16.2, 86.5), gas(ROOMS[0], 720.0)],
        vec![(room("oyster-hall", "inputs/hold/set"), "{}".to_owned(), true), gas(ROOMS[1], 640.0)],
        vec![set("inputs/hold", "{}"), set("inputs/stage", "pinning")],
        vec![air(ROOMS[0], 16.1, 98.5), gas(ROOMS[0], 800.0)],
        vec![gas(ROOMS[1], 5_600.0), say("barn/lamp", "on")],
        vec![gas(ROOMS[1], 16_000.0)],
        vec![air(ROOMS[1], 17.6, 88.0), gas(ROOMS[1], 900.0)],
    ]
}

fn record(broker: &Mosquitto, to: &std::path::Path) -> Child {
    Command::new(program("mosquitto_sub"))
        .args(["-h", "127.0.0.1", "-p", &broker.port.to_string(), "-u", USER, "-P", PASSWORD, "-q", "1"])
        .args(["-F", "%j", "-t", "#"])
        .stdout(File::create(to).unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// A decision without the moment until which it holds: that moves by the second in which it was issued.
fn decision(payload: &str) -> Value {
    let mut decision: Value = serde_json::from_str(payload).unwrap();
    assert!(decision.as_object_mut().unwrap().remove("valid-until").is_some(), "{payload}");
    decision
}

/// Of each room and step, what was decided last before the next step began.
fn decisions(lines: &[(Timestamp, String, String)], ends: &[Timestamp]) -> Vec<[Option<Value>; 2]> {
    let last = |topic: &str, end: &Timestamp| {
        let before = lines.iter().filter(|(at, other, payload)| at < end && other == topic && !payload.is_empty());
        before.max_by_key(|(at, ..)| *at).map(|(.., payload)| decision(payload))
    };
    ends.iter().map(|end| ROOMS.map(|name| last(&room(name, "advice/decision"), end))).collect()
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the forecast has to be one for the daemon's own present")]
fn a_recorded_day_of_a_live_daemon_is_decided_again_as_it_was() {
    let folder = Folder::new();
    let broker = Mosquitto::start();
    let present = Timestamp::from_second(Timestamp::now().as_second()).unwrap();
    let body = locationforecast(&starting_at(present, &freeze()));
    let service = WeatherService::serving(body.clone());
    let forecast = format!(
        "  base-url: {}/weatherapi/locationforecast/2.0\n  contact: grower@frosthollow.example",
        service.base_url
    );
    let farm = Farm { elevation: "205 m", forecast, ..Farm::default() };
    let http_port = free_port();
    let configuration = farm.configuration(&broker, http_port);
    folder.write("farm.yaml", &configuration);
    let mut recorder = record(&broker, &folder.0.path().join("log.jsonl"));
    let outside = Outside::connect("outside", broker.port);
    until("the recorder records", 10, || {
        outside.publish("recorder/test", "x");
        folder.read("log.jsonl").contains("recorder/test").then_some(())
    });
    let daemon = Daemon::run(&configuration, http_port);
    outside.until_is(&site("$state"), "ready", 20);
    let fetched = outside.until("a forecast is there", 20, |messages| {
        messages.get(&site("forecast/fetched"))?.payload.parse::<Timestamp>().ok()
    });

    let mut ends = Vec::new();
    for step in steps() {
        for (topic, payload, retained) in step {
            let publish = if retained { Outside::publish_retained } else { Outside::publish };
            publish(&outside, &topic, payload);
            std::thread::sleep(APART);
        }
        std::thread::sleep(SETTLED);
        ends.push(Timestamp::now());
    }
    drop(daemon);
    recorder.kill().unwrap();
    recorder.wait().unwrap();

    let answer = serde_json::json!({ "tst": fetched.to_string(), "service": "met-norway", "body": body });
    folder.write("forecasts.jsonl", &answer.to_string());
    let summary = folder.summary(&["log.jsonl", "--forecasts", "forecasts.jsonl", "--write", "out.jsonl"]);
    assert_eq!(summary["lines"]["forecasts"], 1, "{summary}");
    assert_eq!(summary["bad_lines"]["payload"]["count"], 1, "{summary}");
    assert_eq!(summary["lines"]["retained"], 0, "who listens all the time is sent nothing as retained: {summary}");
    let lines = |name: &str| -> Vec<_> { folder.read(name).lines().map(published).collect() };
    let (live, replayed) = (decisions(&lines("log.jsonl"), &ends), decisions(&lines("out.jsonl"), &ends));
    for (step, (live, replayed)) in live.iter().zip(&replayed).enumerate() {
        assert_eq!(live, replayed, "after step {step}");
    }
    // What is compared has to be worth it.
    let different: std::collections::BTreeSet<String> = live.iter().map(|both| format!("{both:?}")).collect();
    assert!(different.len() >= 8, "{different:#?}");
    assert!(live[5..7].iter().all(|both| both[0].as_ref().unwrap()["fresh-air"] == 460.0), "{:?}", live[5][0]);
    assert_eq!(live[11][1].as_ref().unwrap()["limited-by"], "people-safety");
}
