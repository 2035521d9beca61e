//! What goes wrong on a farm: the broker dies, a sensor talks nonsense or falls silent, the daemon is stopped or killed.

use std::{
    collections::{BTreeMap, BTreeSet},
    time::{Duration, Instant},
};

use super::{
    client::{Outside, retained},
    daemon::sample,
    farm::{Farm, World, room, site},
    until,
};

/// The broker may be back for this long before every topic is.
const CEILING: u64 = 60;

fn settled(farm: &Farm) -> World {
    let world = World::start(farm);
    world.outdoors(-10.0, 80.0);
    for name in ["oyster-hall", "lions-mane-bay", "shiitake-loft"] {
        world.inside(name, 16.0, 80.0);
        world.carbon_dioxide(name, 750.0);
        world.outside.until_is(&room(name, "advice/mode"), "active", 20);
    }
    world
}

/// What stands at the broker, without what moves by itself from minute to minute.
fn standing(port: u16) -> BTreeMap<String, String> {
    let moves = ["/valid-until", "/decision", "/forecast/fetched"];
    retained(port)
        .into_iter()
        .filter(|(topic, _)| topic.starts_with("homie/") && !moves.iter().any(|end| topic.ends_with(end)))
        .map(|(topic, message)| (topic, message.payload))
        .collect()
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the figure that this test prints is a time")]
fn every_topic_is_back_within_a_minute_of_the_brokers_return() {
    let mut world = settled(&Farm::default());
    let before = standing(world.broker.port);
    assert!(before.len() > 80, "only {} topics stand at the broker", before.len());
    world.broker.kill();
    world.outside.forget();
    let connected = |world: &World| sample(&world.daemon.metrics(), "mistwright_broker_connected");
    until("the daemon notices", 20, || (connected(&world) == Some(0.0)).then_some(()));
    assert_eq!(world.daemon.get("/readyz").map(|(code, _)| code), Some(503));
    assert_eq!(world.daemon.get("/healthz").map(|(code, _)| code), Some(200));
    // Away for long enough that the pauses between attempts have grown.
    std::thread::sleep(Duration::from_secs(5));
    world.broker.restart();
    let began = Instant::now();
    until("every topic is back", CEILING, || (standing(world.broker.port) == before).then_some(()));
    let back = began.elapsed();
    println!("all {} topics were back {:.1} s after the broker", before.len(), back.as_secs_f64());
    // Current, not only there: a reading after the outage changes the values.
    world.outside.until("the outside client is back", 20, |messages| messages.get(&site("$state")).map(|_| ()));
    world.inside("oyster-hall", 17.0, 70.0);
    world.until_near(&room("oyster-hall", "air/temperature"), 17.0, 0.05);
    assert_eq!(sample(&world.daemon.metrics(), "mistwright_broker_connections_total"), Some(2.0));
}

/// What a plain number cannot be.
fn wrong_numbers() -> Vec<Vec<u8>> {
    let texts = ["warm", "nan", "inf", "1e400", "-5", "", "{}"].map(|text| text.as_bytes().to_vec());
    [texts.to_vec(), vec![vec![b'7'; 12_000], vec![0xff, 0xfe, 0x37]]].concat()
}

/// What holds no temperature at `/air/t`.
fn wrong_objects() -> Vec<Vec<u8>> {
    [
        r#"{"air":{"t":"16.5","rh":80}}"#,
        r#"{"air":{"t":null,"rh":80}}"#,
        r#"{"air":{"t":[16.5],"rh":80}}"#,
        r#"{"air":[]}"#,
        r#"{"air":{"t":16.5"#,
        r#"{"air":{"t":1e9,"rh":80}}"#,
        "16.5",
    ]
    .map(|text| text.as_bytes().to_vec())
    .to_vec()
}

#[test]
fn a_wrong_payload_changes_no_value_is_counted_and_is_logged_once() {
    let world = settled(&Farm::default());
    let before = values(&world);
    for (topic, quantity, cases) in [
        ("farm/oyster-hall/co2", "carbon-dioxide", wrong_numbers()),
        ("farm/oyster-hall/air", "temperature", wrong_objects()),
    ] {
        for payload in cases.iter().cycle().take(3 * cases.len()) {
            world.outside.publish(topic, payload.clone());
        }
        let series = format!(r#"mistwright_source_rejected_total{{room="oyster-hall",quantity="{quantity}"}}"#);
        let count = Some((3 * cases.len()) as f64);
        until(&format!("{series} = {count:?}"), 20, || {
            (sample(&world.daemon.metrics(), &series) == count).then_some(())
        });
    }
    assert_eq!(values(&world), before, "a wrong payload has changed a value");
    let log = world.daemon.log();
    let told: Vec<&str> =
        log.lines().filter_map(|line| line.split_once("A message of the ")).map(|(_, sentence)| sentence).collect();
    let once: BTreeSet<&str> = told.iter().copied().collect();
    assert_eq!(told.len(), once.len(), "a refusal stands more than once in the log:\n{log}");
    for (quantity, word) in [
        ("carbon dioxide", "is not a number"),
        ("carbon dioxide", "12000 bytes"),
        ("carbon dioxide", "is empty"),
        ("carbon dioxide", "is not UTF-8"),
        ("temperature", "is not JSON"),
        ("temperature", "not a number"),
    ] {
        let lines = told.iter().filter(|line| line.starts_with(quantity) && line.contains(word)).count();
        assert!(lines >= 1, "`{word}` of {quantity} does not stand in the log:\n{log}");
    }
    // It still listens.
    world.carbon_dioxide("oyster-hall", 812.0);
    world.until_near(&room("oyster-hall", "air/carbon-dioxide"), 812.0, 0.5);
}

/// The oyster hall's values, without the times that move by themselves.
fn values(world: &World) -> BTreeMap<String, String> {
    retained(world.broker.port)
        .into_iter()
        .filter(|(topic, _)| topic.starts_with(&room("oyster-hall", "air")) || topic.contains("oyster-hall/moisture"))
        .map(|(topic, message)| (topic, message.payload))
        .collect()
}

#[test]
fn a_retained_reading_on_connect_is_no_fresh_reading() {
    let world = settled(&Farm::default());
    let broker = &world.broker;
    world.outside.publish_retained("farm/oyster-hall/co2", "777");
    world.until_near(&room("oyster-hall", "air/carbon-dioxide"), 777.0, 0.5);
    drop(world.daemon);
    let http_port = super::broker::free_port();
    let again = super::daemon::Daemon::run(&Farm::default().configuration(broker, http_port), http_port);
    // The new daemon has no carbon dioxide: it clears the topic that the old one has left.
    until("the retained reading is not believed", 20, || {
        let messages = retained(broker.port);
        let ready = messages.get(&site("$state")).is_some_and(|message| message.payload == "ready");
        (ready && !messages.contains_key(&room("oyster-hall", "air/carbon-dioxide"))).then_some(())
    });
    drop(again);
}

#[test]
fn a_silent_sensor_raises_its_alert_and_its_values_are_withdrawn() {
    let world = settled(&Farm { maximum_age: "4 s", ..Farm::default() });
    world.outside.until_is(&room("oyster-hall", "alerts/sensor-stale"), "warning", 30);
    world.outside.until_is(&room("oyster-hall", "alerts/carbon-dioxide-people"), "suppressed", 30);
    until("stale values are withdrawn", 20, || {
        let messages = retained(world.broker.port);
        let gone = |topic: &str| !messages.contains_key(&room("oyster-hall", topic));
        (gone("air/temperature") && gone("air/dew-point") && gone("moisture/deficit")).then_some(())
    });
    world.outside.until_is(&room("oyster-hall", "advice/mode"), "withheld", 30);
    let metrics = world.daemon.metrics();
    assert!(!metrics.contains(r#"mistwright_room_temperature_celsius{room="oyster-hall"}"#), "{metrics}");
    let last = r#"mistwright_source_last_reading_timestamp_seconds{room="oyster-hall",quantity="temperature"}"#;
    assert!(sample(&metrics, last).is_some(), "{metrics}");
}

#[test]
fn a_clean_stop_withholds_the_advice_and_says_disconnected() {
    let mut world = settled(&Farm::default());
    world.daemon.signal("TERM");
    let status = world.daemon.ended(15);
    assert!(status.success(), "{status}: {}", world.daemon.log());
    let messages = retained(world.broker.port);
    assert_eq!(messages[&site("$state")].payload, "disconnected");
    for name in ["oyster-hall", "lions-mane-bay", "shiitake-loft"] {
        assert_eq!(messages[&room(name, "advice/mode")].payload, "withheld");
        assert!(!messages.contains_key(&room(name, "advice/fresh-air")), "advice is left behind in {name}");
        assert!(messages.contains_key(&room(name, "advice/fallback-fresh-air")), "no fallback in {name}");
    }
}

#[test]
fn a_killed_daemon_is_reported_lost_by_the_broker() {
    let mut world = settled(&Farm::default());
    world.daemon.signal("KILL");
    world.daemon.ended(5);
    let late = Outside::connect("late", world.broker.port);
    late.until_is(&site("$state"), "lost", 60);
    let decision = &late.messages()[&room("oyster-hall", "advice/decision")];
    assert!(decision.expiry.is_some_and(|seconds| seconds <= 600), "advice would outlive its daemon: {decision:?}");
}
