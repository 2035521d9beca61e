//! What the real binary still knows after it was stopped and started again, on another configuration too.

use std::{collections::BTreeMap, fs, path::Path};

use jiff::Timestamp;

use super::{
    broker::{Mosquitto, free_port},
    client::{Message, Outside, retained},
    daemon::{Daemon, sample},
    farm::{Farm, room, site},
    observations::{freeze, locationforecast, starting_at},
    service::WeatherService,
    until,
};

#[expect(clippy::disallowed_methods, reason = "the forecast has to be one for the daemon's own present")]
fn present() -> Timestamp {
    Timestamp::from_second(Timestamp::now().as_second()).unwrap()
}

fn start(broker: &Mosquitto, base_url: &str, state: &Path, change: impl FnOnce(String) -> String) -> Daemon {
    let forecast =
        format!("  base-url: {base_url}/weatherapi/locationforecast/2.0\n  contact: grower@frosthollow.example");
    let http_port = free_port();
    let farm = Farm { elevation: "205 m", forecast, ..Farm::default() };
    let configuration = change(farm.configuration(broker, http_port));
    let configuration = format!("{configuration}\nstate:\n  directory: {}\n", state.display());
    Daemon::run(&configuration, http_port)
}

fn same(configuration: String) -> String {
    configuration
}

/// The shiitake loft is the last room of the farm.
fn without_the_loft(configuration: String) -> String {
    let loft = configuration.find("\n  shiitake-loft:").expect("the farm has a loft");
    configuration[..loft].to_owned()
}

fn is(messages: &BTreeMap<String, Message>, topic: &str, payload: &str) -> bool {
    messages.get(topic).is_some_and(|message| message.payload == payload)
}

/// Whether the oyster hall is advised its fan's capacity, 8 air changes of 60 m³ in an hour.
fn all_the_air(messages: &BTreeMap<String, Message>) -> bool {
    let advised = messages.get(&room("oyster-hall", "advice/fresh-air"));
    advised.and_then(|message| message.payload.parse::<f64>().ok()).is_some_and(|flow| (flow - 480.0).abs() < 0.5)
}

fn ready(broker: &Mosquitto) {
    until("the daemon is ready", 20, || is(&retained(broker.port), &site("$state"), "ready").then_some(()));
}

#[test]
fn forecast_danger_and_topics_of_a_removed_room_are_remembered_over_a_restart() {
    let state = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let service = WeatherService::serving(locationforecast(&starting_at(present(), &freeze())));

    let mut first = start(&broker, &service.base_url, state.path(), same);
    outside.until_is(&site("$state"), "ready", 20);
    outside.until_is(&site("alerts/hard-frost"), "warning", 20);
    outside.publish("farm/oyster-hall/co2", "16000");
    outside.until_is(&room("oyster-hall", "alerts/carbon-dioxide-people"), "critical", 20);
    first.signal("TERM");
    assert!(first.ended(15).success(), "{}", first.log());
    assert!(retained(broker.port).keys().any(|topic| topic.starts_with(&room("shiitake-loft", ""))));

    // Nobody forecasts any more, nothing is heard, and a room is gone.
    let nobody = format!("http://127.0.0.1:{}", free_port());
    let mut second = start(&broker, &nobody, state.path(), without_the_loft);
    until("what was kept is believed", 20, || {
        let messages = retained(broker.port);
        let ready = is(&messages, &site("$state"), "ready");
        let danger =
            is(&messages, &room("oyster-hall", "alerts/carbon-dioxide-people"), "unknown") && all_the_air(&messages);
        let forecast =
            is(&messages, &site("alerts/hard-frost"), "warning") && is(&messages, &site("outdoors/from"), "forecast");
        (ready && danger && forecast).then_some(())
    });
    until("the removed room's topics are cleared", 20, || {
        (!retained(broker.port).keys().any(|topic| topic.starts_with(&room("shiitake-loft", "")))).then_some(())
    });
    let metrics = second.metrics();
    assert_eq!(
        sample(&metrics, r#"mistwright_room_carbon_dioxide_parts_per_million{room="oyster-hall"}"#),
        None,
        "a reading was restored:\n{metrics}"
    );
    assert!(second.log().contains("Restored from the last run"), "{}", second.log());

    // Heard again, the danger is over.
    outside.publish("farm/oyster-hall/co2", "900");
    until("the danger is over", 20, || {
        let messages = retained(broker.port);
        (messages.contains_key(&site("$state")) && !all_the_air(&messages)).then_some(())
    });
    second.signal("TERM");
    assert!(second.ended(15).success(), "{}", second.log());
}

#[test]
fn neither_a_damaged_state_nor_a_directory_that_cannot_be_written_stops_the_daemon() {
    let state = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start();
    let nobody = format!("http://127.0.0.1:{}", free_port());
    fs::write(state.path().join("state.json"), "{\"mistwright-state\":1,\"check\":\"0").unwrap();
    let mut daemon = start(&broker, &nobody, state.path(), same);
    ready(&broker);
    assert!(daemon.log().contains("cut off or damaged"), "{}", daemon.log());
    assert!(state.path().join("state.json.set-aside").exists());
    daemon.signal("TERM");
    assert!(daemon.ended(15).success(), "{}", daemon.log());
    assert!(state.path().join("state.json").exists(), "no new state was written");

    // A file where the directory should be refuses the superuser too.
    let file = state.path().join("state.json");
    let mut daemon = start(&broker, &nobody, &file, same);
    ready(&broker);
    daemon.signal("TERM");
    assert!(daemon.ended(15).success(), "{}", daemon.log());
    let log = daemon.log();
    // It was tried at the start and at the end.
    assert_eq!(log.matches("The state cannot be kept").count(), 1, "{log}");
}
