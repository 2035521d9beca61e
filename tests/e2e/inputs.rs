//! What can be set over MQTT, from a client outside to the real binary and back.

use std::collections::BTreeMap;

use super::{
    broker::{Mosquitto, free_port},
    client::{Message, Outside, retained},
    daemon::{Daemon, sample},
    farm::{Farm, room, site},
    until,
};

const HALL: &str = "oyster-hall";

fn run(broker: &Mosquitto, state: &std::path::Path) -> Daemon {
    let http_port = free_port();
    let configuration = Farm::default().configuration(broker, http_port);
    Daemon::run(&format!("{configuration}\nstate:\n  directory: {}\n", state.display()), http_port)
}

fn payload<'a>(messages: &'a BTreeMap<String, Message>, topic: &str) -> Option<&'a str> {
    messages.get(topic).map(|message| message.payload.as_str())
}

fn set(outside: &Outside, property: &str, value: &str) {
    outside.publish(&room(HALL, &format!("{property}/set")), value);
}

#[test]
fn what_is_set_is_echoed_with_its_end_and_kept_over_a_kill_and_a_stop() {
    let state = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    // Set while nobody listens, and kept by the broker: it was meant for another time.
    outside.publish_retained(&room(HALL, "inputs/stage/set"), "resting");
    let mut daemon = run(&broker, state.path());
    outside.until_is(&site("$state"), "ready", 20);
    assert_eq!(payload(&outside.messages(), &room(HALL, "inputs/stage")), Some("fruiting"));
    outside.until_is(&room(HALL, "inputs/people"), "unknown", 10);
    outside.until_is(&room(HALL, "inputs/hold"), "{}", 10);

    set(&outside, "inputs/stage", "pinning");
    outside.until_is(&room(HALL, "inputs/stage"), "pinning", 10);
    set(&outside, "inputs/people", "false");
    outside.until_is(&room(HALL, "inputs/people"), "absent", 10);
    set(&outside, "inputs/tank-volume", "75");
    set(&outside, "inputs/hold", r#"{"fresh-air":300,"humidity-target":90,"for":"PT2H"}"#);
    let until_of = |topic: &str| {
        outside.until(topic, 10, |messages| {
            let value: serde_json::Value = serde_json::from_str(payload(messages, topic)?).ok()?;
            value.as_object()?.values().find_map(|value| value.as_str()?.parse::<jiff::Timestamp>().ok())
        })
    };
    let hold_ends = until_of(&room(HALL, "inputs/hold"));
    outside.until("the end of the absence", 10, |messages| {
        payload(messages, &room(HALL, "inputs/people-until"))?.parse::<jiff::Timestamp>().ok()
    });
    set(&outside, "alerts/shelve", r#"{"alert":"sensor-stale","for":"PT3H"}"#);
    outside.until_is(&room(HALL, "alerts/sensor-stale"), "shelved", 10);
    let shelf_ends = until_of(&room(HALL, "alerts/shelve"));
    let apart = shelf_ends.duration_since(hold_ends).as_secs();
    assert!((3_590..3_620).contains(&apart), "the shelf ends {apart} s after the hold");

    // The last words of a stop keep it; a kill loses nothing that a stop has kept.
    daemon.signal("TERM");
    assert!(daemon.ended(15).success(), "{}", daemon.log());
    let mut daemon = run(&broker, state.path());
    until("what was set is there again", 20, || {
        let messages = retained(broker.port);
        let is = |topic: &str, value: &str| payload(&messages, &room(HALL, topic)) == Some(value);
        (payload(&messages, &site("$state")) == Some("ready")
            && is("inputs/stage", "pinning")
            && is("inputs/people", "absent")
            && is("alerts/sensor-stale", "shelved"))
        .then_some(())
    });
    let hold = retained(broker.port)[&room(HALL, "inputs/hold")].payload.clone();
    assert!(hold.contains(r#""fresh-air":300.0"#) && hold.contains(r#""humidity-target":90.0"#), "{hold}");
    daemon.signal("KILL");
    daemon.ended(5);
    let daemon = run(&broker, state.path());
    until("a kill has lost nothing", 20, || {
        let messages = retained(broker.port);
        (payload(&messages, &site("$state")) == Some("ready")
            && payload(&messages, &room(HALL, "inputs/stage")) == Some("pinning"))
        .then_some(())
    });
    until("the restart says what it restored", 20, || {
        daemon.log().contains("the stage pinning in Oyster hall").then_some(())
    });
}

#[test]
fn what_cannot_be_meant_changes_nothing_is_answered_counted_and_logged_once() {
    let state = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let daemon = run(&broker, state.path());
    outside.until_is(&site("$state"), "ready", 20);
    let inputs = |port| -> BTreeMap<String, String> {
        let messages = retained(port).into_iter();
        messages
            .filter(|(topic, _)| topic.contains("/inputs/"))
            .map(|(topic, message)| (topic, message.payload))
            .collect()
    };
    let before = inputs(broker.port);
    let cases = [
        ("inputs/stage", "sleeping", "the payload has to be one of spawn-run"),
        ("inputs/hold", r#"{"fresh-air":300,"for":"PT25H"}"#, "up to 24 hours"),
        ("inputs/hold", r#"{"fresh-air":1,"for":"PT1H"}"#, "below the room's floor of 60 m³/h"),
        ("inputs/tank-volume", "91", "the tank holds 90.0 L"),
        ("alerts/shelve", r#"{"alert":"hard-frost","for":"PT1H"}"#, "no such alert here"),
    ];
    let log_topic = room(HALL, "$log/warn");
    for (property, value, answer) in cases {
        set(&outside, property, value);
        outside.until(answer, 10, |messages| payload(messages, &log_topic)?.contains(answer).then_some(()));
    }
    for _ in 0..20 {
        set(&outside, "inputs/stage", "sleeping");
    }
    let series = r#"mistwright_inputs_refused_total{input="stage"}"#;
    until("all are counted", 20, || (sample(&daemon.metrics(), series) == Some(21.0)).then_some(()));
    assert_eq!(inputs(broker.port), before, "a refused setting has changed something");
    assert_eq!(daemon.log().matches("A setting of `stage` was refused").count(), 1, "{}", daemon.log());
    assert!(!retained(broker.port).contains_key(&log_topic), "a log line is kept by the broker");
}
