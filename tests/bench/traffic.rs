//! What a message costs: processor time of the whole daemon for each reading, beside that of a bare loop of the same client that
//! subscribes to the same topics of the same broker and publishes each payload again. `cargo bench --bench traffic`; needs
//! Mosquitto. It prints the two and their ratio, whose budget is 2.
#![expect(clippy::unwrap_used, reason = "a benchmark that cannot go on has failed")]

use std::{
    fs,
    process::{Child, Command, Stdio},
    thread::sleep,
    time::Duration,
};

use rumqttc::v5::{
    Client, Connection, Event, MqttOptions,
    mqttbytes::{QoS, v5::Packet},
};

#[path = "../e2e/broker.rs"]
#[expect(dead_code, reason = "the tests use the rest")]
mod broker;

use broker::{Mosquitto, PASSWORD, USER};

const ROOMS: u32 = 20;
/// Messages to each room, with a temperature, a humidity and a carbon dioxide in each.
const ROUNDS: u32 = 600;
/// Between two rounds: 400 messages a second.
const PAUSE: Duration = Duration::from_millis(50);

fn main() {
    let port = std::env::args().skip_while(|argument| argument != "--loop").nth(1);
    if let Some(port) = port {
        again(port.parse().unwrap());
        return;
    }
    let broker = Mosquitto::start();
    let this = std::env::current_exe().unwrap();
    let bare = cost(&broker, Command::new(this).args(["--loop", &broker.port.to_string()]));
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mistwright.yaml");
    fs::write(&file, farm(&broker)).unwrap();
    let daemon = cost(&broker, Command::new(env!("CARGO_BIN_EXE_mistwright")).args(["run", "--config"]).arg(&file));
    println!("a bare loop: {bare:.0} µs a message; the daemon: {daemon:.0} µs; ratio {:.2} (budget 2)", daemon / bare);
}

/// Waits until something is there.
fn until<T>(what: &str, seconds: u64, mut look: impl FnMut() -> Option<T>) -> T {
    for _ in 0..50 * seconds {
        if let Some(found) = look() {
            return found;
        }
        sleep(Duration::from_millis(20));
    }
    panic!("{what}: not within {seconds} s")
}

fn connected(name: &str, port: u16) -> (Client, Connection) {
    let mut options = MqttOptions::new(name, "127.0.0.1", port);
    options.set_credentials(USER, PASSWORD);
    Client::new(options, 100)
}

/// The bare loop: every payload is published again, retained, as the daemon publishes.
fn again(port: u16) {
    let (client, mut connection) = connected("loop", port);
    client.subscribe("farm/#", QoS::AtLeastOnce).unwrap();
    for event in connection.iter() {
        if let Event::Incoming(Packet::Publish(message)) = event.unwrap() {
            let topic = format!("again/{}", String::from_utf8_lossy(&message.topic));
            client.try_publish(topic, QoS::AtLeastOnce, true, message.payload).unwrap();
        }
    }
}

/// Processor time of a program for each message, in µs, while the farm speaks.
fn cost(broker: &Mosquitto, command: &mut Command) -> f64 {
    let mut process = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    sleep(Duration::from_secs(3));
    let before = processor(&process);
    speak(broker);
    sleep(Duration::from_secs(2));
    let used = processor(&process) - before;
    assert_eq!(process.try_wait().unwrap(), None, "it has ended");
    process.kill().unwrap();
    process.wait().unwrap();
    1e6 * used / f64::from(ROOMS * ROUNDS)
}

/// Seconds of processor time so far; the system counts it in hundredths.
fn processor(process: &Child) -> f64 {
    let line = fs::read_to_string(format!("/proc/{}/stat", process.id())).unwrap();
    let fields: Vec<&str> = line.rsplit(')').next().unwrap().split_whitespace().collect();
    fields[11..13].iter().map(|ticks| ticks.parse::<f64>().unwrap()).sum::<f64>() / 100.0
}

fn speak(broker: &Mosquitto) {
    let (client, mut connection) = connected("sensors", broker.port);
    std::thread::spawn(move || connection.iter().take_while(Result::is_ok).count());
    for round in 0..ROUNDS {
        let wave = f64::from(round % 40) / 10.0;
        for room in 0..ROOMS {
            let text = format!(r#"{{"t":{:.1},"rh":{:.1},"co2":{:.0}}}"#, 15.0 + wave / 4.0, 88.0 + wave, 700.0 + wave);
            client.publish(format!("farm/room-{room}"), QoS::AtMostOnce, false, text).unwrap();
        }
        sleep(PAUSE);
    }
    client.disconnect().unwrap();
}

fn farm(broker: &Mosquitto) -> String {
    let mut text = format!(
        "site: {{name: frosthollow, latitude: 61.35, longitude: 25.28, elevation: 420 m, time-zone: UTC}}\n\
         broker: {{host: 127.0.0.1, port: {}, user: {USER}, password-file: {}}}\n\
         forecast: {{service: none}}\n\
         http: {{listen: off}}\n\
         rooms:\n",
        broker.port,
        broker.password_file().display()
    );
    for room in 0..ROOMS {
        text += &format!(
            "  room-{room}:\n    volume: 90 m³\n    crop: {{species: oyster, stage: fruiting, substrate: 1000 kg}}\n    \
             fan: {{capacity: 800 m³/h, floor: 1 /h, usual: 5 /h}}\n    \
             humidifier: {{method: ultrasonic, output: 9 L/h, water: 150 L}}\n    sensors:\n      \
             temperature: {{topic: farm/room-{room}, pointer: /t, unit: \"°C\"}}\n      \
             relative-humidity: {{topic: farm/room-{room}, pointer: /rh, unit: \"%\"}}\n      \
             carbon-dioxide: {{topic: farm/room-{room}, pointer: /co2, unit: ppm}}\n"
        );
    }
    text
}
