//! The real binary against real peers: readings go in over MQTT, a forecast over HTTP, and what comes out is compared
//! with numbers that were computed elsewhere.

pub mod broker;
mod calibrate;
pub mod client;
pub mod daemon;
pub mod farm;
mod faults;
mod freeze;
mod inputs;
pub mod observations;
mod outlook;
mod restart;
pub mod service;
mod values;

use std::time::{Duration, Instant};

/// Asks again and again until there is an answer, and fails when there is none within `seconds`.
#[expect(clippy::disallowed_methods, reason = "a deadline for processes outside the program")]
pub fn until<T>(what: &str, seconds: u64, mut ask: impl FnMut() -> Option<T>) -> T {
    let began = Instant::now();
    loop {
        if let Some(answer) = ask() {
            return answer;
        }
        assert!(began.elapsed() < Duration::from_secs(seconds), "not within {seconds} s: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

mod harness {
    use super::{
        broker::Mosquitto,
        client::{Outside, retained},
    };

    #[test]
    fn a_killed_broker_forgets_what_it_kept_and_the_outside_client_comes_back() {
        let mut broker = Mosquitto::start();
        let outside = Outside::connect("outside", broker.port);
        outside.publish_retained("a/b", "1");
        outside.until_is("a/b", "1", 10);
        assert_eq!(retained(broker.port).get("a/b").map(|message| message.payload.as_str()), Some("1"));
        outside.through(|| {
            broker.kill();
            broker.restart();
        });
        assert!(retained(broker.port).is_empty());
        outside.publish("a/b", "2");
        outside.until_is("a/b", "2", 20);
    }
}
