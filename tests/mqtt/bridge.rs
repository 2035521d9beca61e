//! The MQTT task alone, in a thread of its own, against Mosquitto.

use std::{
    collections::BTreeMap,
    process::{Child, Command, Stdio},
    sync::Arc,
    thread::JoinHandle,
    time::{Duration, Instant},
};

use mistwright::{
    config::{Broker, Config, Link, Secret},
    engine::{Event, Snapshot},
    io::{
        clock::{Clock, ScenarioHandle},
        mqtt,
    },
    model::{Farm, Identifier, Measured, Place, Quantity},
    units::UnitSystem,
    wire::topic::{Binding, Topic, WireUnit},
};
use tokio::sync::{mpsc, oneshot, watch};

use super::{
    conformance::{published, walk},
    snowed_in,
};
use crate::{
    e2e::{
        broker::{Mosquitto, PASSWORD, USER, program},
        client::{Outside, retained},
        until,
    },
    engine::harness::Bench,
};

/// Elapsed time at which a scenario's clock starts.
pub const START: Duration = Duration::from_secs(86_400);

const CLIENT: &str = "mistwright-frosthollow";

/// How long the broker may be back before every topic is.
const CEILING: u64 = 60;

/// The task and the ends of its channels.
pub(super) struct Running {
    scenario: ScenarioHandle,
    snapshots: watch::Sender<Arc<Snapshot>>,
    events: mpsc::Receiver<Event>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Running {
    fn start(broker: &Mosquitto, bench: &Bench) -> Self {
        Self::with(config(broker, &bench.farm), bench, 1_000)
    }

    pub(super) fn with(config: Config, bench: &Bench, room_for_events: usize) -> Self {
        let (clock, scenario) = Clock::scenario(bench.now.wall, 1.0);
        let (snapshots, receiver) = watch::channel(Arc::new(bench.snapshot()));
        let (sender, events) = mpsc::channel(room_for_events);
        let (stop, stopped) = oneshot::channel();
        let thread = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            let stopped = async {
                let _ = stopped.await;
            };
            runtime.block_on(mqtt::run(
                mqtt::MqttSetup::new(&config, &std::collections::BTreeSet::new()),
                receiver,
                sender,
                clock,
                stopped,
            ));
        });
        Self { scenario, snapshots, events, stop: Some(stop), thread: Some(thread) }
    }

    /// Lets `seconds` pass for the engine and for the task, and publishes the new snapshot.
    fn pass(&self, bench: &mut Bench, seconds: u64) {
        bench.pass(Duration::from_secs(seconds));
        self.scenario.advance(Duration::from_secs(seconds));
        self.show(bench);
    }

    fn show(&self, bench: &Bench) {
        self.snapshots.send_replace(Arc::new(bench.snapshot()));
    }

    fn event(&mut self, what: &str) -> Event {
        until(what, 20, || self.events.try_recv().ok())
    }

    /// Stops it and waits for its end.
    pub(super) fn stop(mut self) {
        drop(self.stop.take());
        let thread = self.thread.take().unwrap();
        until("the task ends", 20, || thread.is_finished().then_some(()));
        thread.join().unwrap();
    }
}

pub(super) fn config(broker: &Mosquitto, farm: &Arc<Farm>) -> Config {
    let binding = |source: &mistwright::model::Source| {
        let unit = match source.quantity {
            Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => WireUnit::Celsius,
            Quantity::RelativeHumidity | Quantity::FanState | Quantity::HumidifierState => WireUnit::Percent,
            Quantity::CarbonDioxide => WireUnit::PartsPerMillion,
            Quantity::Pressure => WireUnit::Hectopascal,
        };
        let topic = format!("farm/{}/{}", farm.place_name(source.place), source.quantity.name());
        Binding::number(Topic::new(&topic).unwrap(), unit)
    };
    Config {
        farm: (**farm).clone(),
        bindings: farm.sources.iter().map(binding).collect(),
        broker: Broker {
            link: Link::Tcp { host: "127.0.0.1".to_owned(), port: broker.port },
            user: Some(USER.to_owned()),
            password: Some(Secret::File(broker.password_file())),
            client_id: CLIENT.to_owned(),
            domain: Identifier::new("homie").unwrap(),
        },
        forecast: None,
        fallback_forecast: None,
        http_listen: None,
        state_directory: None,
    }
}

/// What stands at the broker, without its own topics.
fn standing(broker: &Mosquitto) -> BTreeMap<String, String> {
    retained(broker.port)
        .into_iter()
        .filter(|(topic, _)| topic.starts_with("homie/"))
        .map(|(topic, message)| (topic, message.payload))
        .collect()
}

pub(super) fn until_standing(broker: &Mosquitto, expected: &BTreeMap<String, String>) {
    let mut seen = BTreeMap::new();
    for _ in 0..100 {
        seen = standing(broker);
        if seen == *expected {
            return;
        }
        std::thread::sleep(Duration::from_millis(100));
    }
    let differences: Vec<String> = expected
        .keys()
        .chain(seen.keys())
        .filter(|topic| expected.get(*topic) != seen.get(*topic))
        .map(|topic| format!("{topic}: expected {:?}, stands {:?}", expected.get(topic), seen.get(topic)))
        .collect();
    panic!("the broker does not hold the tree:\n{}", differences.join("\n"));
}

/// A client under the daemon's name; dropped, it is killed.
struct Intruder(Child);

impl Intruder {
    fn enter(broker: &Mosquitto) -> Self {
        let process = Command::new(program("mosquitto_sub"))
            .args(["-V", "5", "-h", "127.0.0.1", "-p", &broker.port.to_string(), "-i", CLIENT, "-t", "nothing"])
            .args(["-u", USER, "-P", PASSWORD])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        Self(process)
    }
}

impl Drop for Intruder {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn position(bench: &Bench, place: Place, quantity: Quantity) -> usize {
    bench.farm.sources.iter().position(|source| source.place == place && source.quantity == quantity).unwrap()
}

#[test]
fn what_stands_at_the_broker_is_the_tree_and_a_controller_can_walk_it() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    // Left by an earlier run: an alert that is over, and a value that is no longer known.
    outside.publish_retained("homie/5/frosthollow-lung/$alert/sensor-stale", "The sensor is silent.");
    let mut bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    until_standing(&broker, &published(&bench.snapshot()));
    let found = walk(&standing(&broker));
    let rendered = walk(&published(&bench.snapshot()));
    assert_eq!((found.values, found.properties), (rendered.values, rendered.properties));
    assert!(found.values > 120, "{} values are not the whole tree", found.values);
    let messages = retained(broker.port);
    for (topic, message) in &messages {
        let for_ever = topic.contains('$') || topic.contains("/fallback-");
        assert_eq!(message.expiry.is_none(), for_ever, "{topic}: {:?}", message.expiry);
    }
    assert!(messages["homie/5/frosthollow-cellar/advice/mode"].expiry.unwrap() <= 600);
    assert!(messages["homie/5/frosthollow-cellar/air/temperature"].expiry.unwrap() <= 300);

    bench.say(Place::Room(0), Quantity::Temperature, 17.5);
    running.show(&bench);
    until_standing(&broker, &published(&bench.snapshot()));
    assert_eq!(standing(&broker)["homie/5/frosthollow-cellar/air/temperature"], "17.5");
    running.stop();
}

#[test]
fn devices_are_ready_only_after_everything_that_they_describe_has_arrived() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    let expected = published(&bench.snapshot());
    outside.until_is("homie/5/frosthollow/$state", "ready", 20);
    // The outside client hears messages in the broker's order: when the root is ready, nothing may be missing.
    let heard: BTreeMap<String, String> = outside
        .messages()
        .into_iter()
        .filter(|(topic, message)| topic.starts_with("homie/") && !message.payload.is_empty())
        .map(|(topic, message)| (topic, message.payload))
        .collect();
    assert_eq!(heard, expected);
    running.stop();
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the figure that this test prints is a time")]
fn after_the_broker_was_killed_the_whole_tree_is_back_and_readings_are_heard_again() {
    let mut broker = Mosquitto::start();
    let bench = snowed_in(UnitSystem::Metric);
    let mut running = Running::start(&broker, &bench);
    let expected = published(&bench.snapshot());
    until_standing(&broker, &expected);
    assert_eq!(running.event("the link comes up"), Event::Connected);
    broker.kill();
    assert_eq!(running.event("the link goes down"), Event::Disconnected);
    broker.restart();
    let began = Instant::now();
    until("the tree is back", CEILING, || (standing(&broker) == expected).then_some(()));
    println!("{} topics were back {:.1} s after the broker", expected.len(), began.elapsed().as_secs_f64());
    assert_eq!(running.event("the link comes up again"), Event::Connected);
    // It has to live until the broker has its word.
    let sensor = Outside::connect("sensor", broker.port);
    sensor.publish("farm/cellar/temperature", "15.5");
    let source = position(&bench, Place::Room(0), Quantity::Temperature);
    let measured = Measured::from_base(Quantity::Temperature, 15.5).unwrap();
    assert_eq!(running.event("a reading"), Event::Reading { source, measured, taken: None });
    running.stop();
}

#[test]
fn readings_are_heard_bad_payloads_are_named_and_retained_messages_are_no_readings() {
    let broker = Mosquitto::start();
    let sensor = Outside::connect("sensor", broker.port);
    sensor.publish_retained("farm/cellar/temperature", "12.5");
    let bench = snowed_in(UnitSystem::Metric);
    let mut running = Running::start(&broker, &bench);
    assert_eq!(running.event("the link comes up"), Event::Connected);
    sensor.until_is("homie/5/frosthollow/$state", "ready", 20);
    let source = position(&bench, Place::Room(0), Quantity::CarbonDioxide);
    let outdoors = position(&bench, Place::Outdoors, Quantity::Pressure);
    sensor.publish("farm/cellar/carbon-dioxide", "812");
    sensor.publish("farm/outdoors/pressure", "987.5");
    // Over the client's own default limit for a packet, which would end the connection.
    sensor.publish("farm/cellar/carbon-dioxide", vec![b'8'; 100_000]);
    sensor.publish("farm/cellar/carbon-dioxide", "");
    sensor.publish("farm/cellar/carbon-dioxide", "813");
    let measured = |quantity, value| Measured::from_base(quantity, value).unwrap();
    let co2 = |value| Event::Reading { source, measured: measured(Quantity::CarbonDioxide, value), taken: None };
    assert_eq!(running.event("a reading"), co2(812.0));
    let pressure = Event::Reading { source: outdoors, measured: measured(Quantity::Pressure, 98_750.0), taken: None };
    assert_eq!(running.event("a reading"), pressure);
    for word in ["too-long", "empty"] {
        let Event::Rejected { source: by, rejection } = running.event("a rejection") else { panic!("{word}") };
        assert_eq!((by, rejection.word), (source, word));
    }
    assert_eq!(running.event("a reading"), co2(813.0));
    running.stop();
}

#[test]
fn a_full_engine_never_holds_up_the_connection_and_still_learns_of_the_link() {
    let broker = Mosquitto::start();
    let sensor = Outside::connect("sensor", broker.port);
    let bench = snowed_in(UnitSystem::Metric);
    let mut running = Running::with(config(&broker, &bench.farm), &bench, 1);
    sensor.until_is("homie/5/frosthollow/$state", "ready", 20);
    for value in 0..200 {
        sensor.publish("farm/cellar/carbon-dioxide", (600 + value).to_string());
    }
    // Nobody takes an event out, and the values still go out.
    let mut bench = bench;
    bench.say(Place::Room(0), Quantity::Temperature, 18.5);
    running.show(&bench);
    sensor.until_is("homie/5/frosthollow-cellar/air/temperature", "18.5", 20);
    assert_eq!(running.event("the link comes up"), Event::Connected);
    running.stop();
}

#[test]
fn a_clean_stop_withholds_the_advice_and_leaves_the_devices_disconnected_not_lost() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    outside.until_is("homie/5/frosthollow/$state", "ready", 20);
    running.stop();
    let left = standing(&broker);
    for device in ["frosthollow", "frosthollow-cellar", "frosthollow-lung"] {
        assert_eq!(left[&format!("homie/5/{device}/$state")], "disconnected", "{device}");
    }
    for room in ["cellar", "lung"] {
        let advice = format!("homie/5/frosthollow-{room}/advice");
        assert_eq!(left[&format!("{advice}/mode")], "withheld");
        assert_eq!(left[&format!("{advice}/fallback-fresh-air")], "240.0");
        assert!(!left.contains_key(&format!("{advice}/fresh-air")), "a setpoint outlived the daemon");
        let decision: serde_json::Value = serde_json::from_str(&left[&format!("{advice}/decision")]).unwrap();
        assert_eq!(decision["mode"], "withheld");
        assert!(decision["humidifier-duty"].is_null());
    }
}

#[test]
fn a_value_nobody_renews_is_cleared_when_its_reading_is_too_old() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let mut bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    let topic = "homie/5/frosthollow-cellar/air/temperature";
    outside.until_is("homie/5/frosthollow/$state", "ready", 20);
    // The engine says nothing more: the outbox clears by its own clock.
    running.scenario.advance(Duration::from_secs(301));
    outside.until_is(topic, "", 20);
    // And after four minutes everything that still holds is said again, for those who listen.
    bench.air(Place::Room(0), 16.0, 88.5);
    bench.now.elapsed += Duration::from_secs(301);
    bench.now.wall += jiff::SignedDuration::from_secs(301);
    bench.air(Place::Room(0), 16.0, 88.5);
    running.show(&bench);
    outside.until_is(topic, "16.0", 20);
    let before = outside.messages()[topic].count;
    bench.air(Place::Room(0), 16.0, 88.5);
    running.pass(&mut bench, 239);
    bench.air(Place::Room(0), 16.0, 88.5);
    running.pass(&mut bench, 2);
    outside.until("an unchanged value is said again", 20, |messages| {
        (messages[topic].count > before && messages[topic].payload == "16.0").then_some(())
    });
    running.stop();
}

#[test]
fn a_wrong_password_is_tried_again_when_the_file_is_put_right() {
    let broker = Mosquitto::start();
    let bench = snowed_in(UnitSystem::Metric);
    let config = config(&broker, &bench.farm);
    let file = broker.password_file();
    std::fs::write(&file, "not-the-password\n").unwrap();
    let mut running = Running::with(config, &bench, 1_000);
    std::thread::sleep(Duration::from_secs(1));
    assert!(running.events.try_recv().is_err(), "connected with a wrong password");
    // Writes the right one.
    broker.password_file();
    assert_eq!(running.event("the link comes up"), Event::Connected);
    running.stop();
}

#[test]
fn a_topic_that_the_access_list_refuses_does_not_keep_the_rest_from_being_published() {
    let access = format!("user {USER}\ntopic readwrite #\ntopic deny homie/5/frosthollow-cellar/air/temperature\n");
    let broker = Mosquitto::with_access_list(&access);
    let bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    let mut expected = published(&bench.snapshot());
    expected.remove("homie/5/frosthollow-cellar/air/temperature").unwrap();
    until_standing(&broker, &expected);
    running.stop();
}

#[test]
fn two_clients_with_one_identifier_do_not_put_each_other_out_without_end() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let bench = snowed_in(UnitSystem::Metric);
    let running = Running::start(&broker, &bench);
    let root = "homie/5/frosthollow/$state";
    outside.until_is(root, "ready", 20);
    // It comes back a second after it was put out. The daemon waits half a second at first: without patience the two
    // would change places eight times while we watch.
    let intruder = Intruder::enter(&broker);
    std::thread::sleep(Duration::from_secs(12));
    let states = outside.messages()[root].count;
    // `init` and `ready` for each connection.
    assert!(states <= 8, "{states} states in twelve seconds");
    drop(intruder);
    running.stop();
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the figure that this test prints is a time")]
fn a_broker_that_hangs_is_noticed_and_met_again_when_it_goes_on() {
    let broker = Mosquitto::start();
    let bench = snowed_in(UnitSystem::Metric);
    let mut running = Running::start(&broker, &bench);
    until_standing(&broker, &published(&bench.snapshot()));
    assert_eq!(running.event("the link comes up"), Event::Connected);
    broker.signal("STOP");
    let began = Instant::now();
    // The connection stays open, and the kernel takes whatever is sent: only the missing answer tells.
    let noticed = until("the silence is noticed", CEILING, || running.events.try_recv().ok());
    println!("a hung broker was noticed after {:.0} s", began.elapsed().as_secs_f64());
    assert_eq!(noticed, Event::Disconnected);
    broker.signal("CONT");
    assert_eq!(running.event("the link comes up again"), Event::Connected);
    until_standing(&broker, &published(&bench.snapshot()));
    running.stop();
}
