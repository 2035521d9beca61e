//! Peers that are no good: brokers that lack what is needed, what is no broker at all, and floods. Each leaves the daemon
//! connected or clearly reporting, and its memory bounded.

use std::{
    io::{self, Read, Write},
    net::{Shutdown, TcpListener, TcpStream},
    time::Duration,
};

use super::links::run;
use crate::e2e::{
    broker::Mosquitto,
    client::{Outside, retained},
    daemon::{Daemon, sample},
    farm::{room, site},
    until,
};

/// What a scripted peer does after it has said its words.
#[derive(Debug, Clone, Copy)]
enum Then {
    Closes,
    Stays,
}

/// A peer that answers whatever comes first with fixed bytes. It ends with the test process.
fn peer(words: Vec<u8>, then: Then) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        let mut held = Vec::new();
        for mut stream in listener.incoming().flatten() {
            // The first packet: a CONNECT.
            let _ = stream.read(&mut [0; 1_024]);
            // The client may hang up in the middle of a flood.
            let _ = stream.write_all(&words);
            match then {
                Then::Closes => end(stream),
                Then::Stays => held.push(stream),
            }
        }
    });
    port
}

/// Ends a connection so that all that was said is heard: hung up on while the client speaks, it would be reset.
fn end(mut stream: TcpStream) {
    let _ = stream.shutdown(Shutdown::Write);
    let _ = stream.set_read_timeout(Some(Duration::from_secs(1)));
    std::thread::spawn(move || io::copy(&mut stream, &mut io::sink()));
}

/// Above the MiB that the daemon allows, in bytes.
const GIANT: usize = 1_200_000;

/// A message larger than the daemon has allowed, on a topic that it listens to.
fn giant() -> Vec<u8> {
    let topic = b"farm/oyster-hall/co2";
    let remaining = 2 + topic.len() + 1 + GIANT;
    // Remaining length in three bytes of seven bits (MQTT 5, section 1.5.5).
    let length = [0, 7, 14].map(|shift| (remaining >> shift & 0x7f) as u8);
    let head = [&[0x30, length[0] | 0x80, length[1] | 0x80, length[2]][..], &[0, topic.len() as u8]].concat();
    [head, topic.to_vec(), vec![0], vec![b'8'; GIANT]].concat()
}

/// Acceptance of the connection, with nothing forbidden.
const ACCEPTED: [u8; 5] = [0x20, 0x03, 0x00, 0x00, 0x00];

/// How much memory the daemon has in use, in MiB.
fn memory(daemon: &Daemon) -> f64 {
    sample(&daemon.metrics(), "process_resident_memory_bytes").expect("the process's memory is served") / 1_048_576.0
}

#[test]
fn a_broker_that_lacks_what_is_needed_is_named_with_what_it_lacks_and_nothing_is_tried_in_a_hurry() {
    let broker = Mosquitto::start();
    // Packets by MQTT 5, sections 3.2 and 3.14; the short CONNACK by MQTT 3.1.1, section 3.2.2.3.
    let cases: [(&str, Vec<u8>, Then, &str); 11] = [
        ("CONNACK 0x9A", vec![0x20, 0x03, 0x00, 0x9a, 0x00], Then::Closes, "cannot keep retained messages"),
        ("retain unavailable", vec![0x20, 0x05, 0x00, 0x00, 0x02, 0x25, 0x00], Then::Stays, "cannot keep retained"),
        ("DISCONNECT 0x9A", [&ACCEPTED[..], &[0xe0, 0x02, 0x9a, 0x00]].concat(), Then::Closes, "cannot keep retained"),
        ("at most once", vec![0x20, 0x05, 0x00, 0x00, 0x02, 0x24, 0x00], Then::Stays, "allows no acknowledged"),
        ("CONNACK 0x84", vec![0x20, 0x03, 0x00, 0x84, 0x00], Then::Closes, "speaks no MQTT 5"),
        ("MQTT 3.1.1", vec![0x20, 0x02, 0x00, 0x01], Then::Closes, "without an answer in MQTT 5"),
        ("closes at once", vec![], Then::Closes, "without an answer in MQTT 5"),
        ("says nothing", vec![], Then::Stays, "no answer in MQTT 5"),
        ("a web server", b"HTTP/1.1 400 Bad Request\r\n\r\n".to_vec(), Then::Closes, "without an answer in MQTT 5"),
        ("something else", vec![0x00; 8], Then::Stays, "is no MQTT 5 broker"),
        ("1.2 MB", [ACCEPTED.to_vec(), giant()].concat(), Then::Stays, "the broker sent a message of 1200023 bytes"),
    ];
    let running: Vec<_> = cases
        .into_iter()
        .map(|(name, words, then, told)| {
            let port = peer(words, then);
            (name, told, run(&broker, &format!("  host: 127.0.0.1\n  port: {port}\n")))
        })
        .collect();
    for (name, told, daemon) in &running {
        until(&format!("{name}: {told}"), 30, || daemon.log().contains(told).then_some(()));
    }
    std::thread::sleep(Duration::from_secs(3));
    for (name, told, daemon) in running {
        let log = daemon.log();
        let lines: Vec<&str> = log.lines().filter(|line| line.contains("No connection to the broker")).collect();
        assert_eq!(lines.len(), 1, "{name}: the trouble is not told once: {log}");
        assert!(lines[0].contains(told), "{name}: {log}");
        assert!(memory(&daemon) < 40.0, "{name}: {} MiB", memory(&daemon));
    }
}

#[test]
fn five_thousand_retained_foreign_topics_do_not_touch_the_daemon() {
    // Mosquitto keeps a thousand messages for a slow client; the test's own client is to hear all.
    let broker = Mosquitto::with_listeners("max_queued_messages 0\n");
    let outside = Outside::connect("outside", broker.port);
    for number in 0..5_000 {
        outside.publish_retained(&format!("farm/foreign/{number}/state"), format!("{number}"));
    }
    until("the broker keeps them", 60, || (retained(broker.port).len() >= 5_000).then_some(()));
    let daemon = run(&broker, &format!("  host: 127.0.0.1\n  port: {}\n", broker.port));
    outside.until_is(&site("$state"), "ready", 30);
    assert_eq!(sample(&daemon.metrics(), "mistwright_events_total").map(|turns| turns < 50.0), Some(true));
    let used = memory(&daemon);
    println!("beside 5,000 retained foreign topics the daemon uses {used:.1} MiB");
    assert!(used < 40.0, "{used} MiB");
    assert!(!daemon.log().contains("WARN"), "{}", daemon.log());
}

#[test]
fn a_retained_message_of_300_kb_on_a_configured_topic_neither_ends_nor_fills_the_connection() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let topic = "farm/oyster-hall/co2";
    outside.publish_retained(topic, vec![b'8'; 300_000]);
    until("the broker keeps it", 20, || retained(broker.port).contains_key(topic).then_some(()));
    let daemon = run(&broker, &format!("  host: 127.0.0.1\n  port: {}\n", broker.port));
    outside.until_is(&site("$state"), "ready", 30);
    // And while it listens: each is refused as a reading, and counted. What is larger still, the broker keeps back.
    for _ in 0..20 {
        outside.publish_retained(topic, vec![b'9'; 300_000]);
    }
    for _ in 0..40 {
        outside.publish(topic, vec![b'9'; 1_100_000]);
    }
    let rejected = r#"mistwright_source_rejected_total{room="oyster-hall",quantity="carbon-dioxide"}"#;
    until("each is refused", 20, || (sample(&daemon.metrics(), rejected) == Some(20.0)).then_some(()));
    assert_eq!(daemon.log().matches("300000 bytes").count(), 1, "{}", daemon.log());
    outside.publish(topic, "812");
    outside.until_is(&room("oyster-hall", "air/carbon-dioxide"), "812", 20);
    let metrics = daemon.metrics();
    assert_eq!(sample(&metrics, "mistwright_broker_connections_total"), Some(1.0), "{}", daemon.log());
    let used = memory(&daemon);
    println!("after 20 messages of 300 kB the daemon uses {used:.1} MiB");
    assert!(used < 40.0, "{used} MiB");
}
