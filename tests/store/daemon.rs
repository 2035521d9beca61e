//! The daemon itself killed at any moment: while it starts, while it runs, and while it stops and writes its last state.
//! What was kept is whole each time, and the next start goes on from it.

use std::{collections::BTreeMap, path::Path, time::Duration};

use mistwright::{
    io::store::{self, Found},
    model::Stage,
    wire::state_file::State,
};

use crate::e2e::{
    broker::{Mosquitto, free_port},
    client::Outside,
    daemon::Daemon,
    farm::{Farm, room, site},
};

/// Kills, unless the environment asks for another number of them: `tests/kills.sh` does.
const KILLS: u64 = 50;

fn start(broker: &Mosquitto, state: &Path) -> Daemon {
    let http_port = free_port();
    let configuration = Farm::default().configuration(broker, http_port);
    Daemon::run(&format!("{configuration}\nstate:\n  directory: {}\n", state.display()), http_port)
}

fn until_ready(outside: &Outside) {
    outside.until(&site("$state"), 30, |messages| {
        (messages.get(&site("$state")).is_some_and(|message| message.payload == "ready")).then_some(())
    });
}

/// What a kill has left: whole, with the stage that was set before the first one.
fn left(state: &Path, kill: u64) -> State {
    let Found::State(found) = store::read(state) else { panic!("kill {kill} left no readable state") };
    let hall = found.memory.rooms.iter().find(|room| room.name.as_str() == "oyster-hall");
    let stage = hall.unwrap_or_else(|| panic!("kill {kill} has lost the room")).inputs.stage;
    assert_eq!(stage.map(|stage| stage.told), Some(Stage::Pinning), "kill {kill} has lost what was set");
    assert!(found.topics.len() > 50, "kill {kill} has lost the list of topics");
    *found
}

/// A number below `most`, spread without a pattern that could keep step with the daemon.
fn spread(index: u64, most: u64) -> u64 {
    (index.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 20) % most
}

#[test]
fn fifty_kills_of_the_daemon_at_any_moment_lose_nothing_that_was_kept() {
    let kills = std::env::var("MISTWRIGHT_KILLS").map_or(KILLS, |number| number.parse().expect("a number of kills"));
    let state = tempfile::tempdir().unwrap();
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let mut daemon = start(&broker, state.path());
    until_ready(&outside);
    outside.publish(&room("oyster-hall", "inputs/stage/set"), "pinning");
    outside.until_is(&room("oyster-hall", "inputs/stage"), "pinning", 20);
    daemon.signal("TERM");
    assert!(daemon.ended(15).success(), "{}", daemon.log());

    let mut newest = left(state.path(), 0).memory.newest;
    let mut told = BTreeMap::<&str, u64>::new();
    let mut count = |what| *told.entry(what).or_default() += 1;
    for kill in 1..=kills {
        let mut daemon = start(&broker, state.path());
        match kill % 3 {
            0 => std::thread::sleep(Duration::from_micros(spread(kill, 250_000))),
            1 => std::thread::sleep(Duration::from_micros(spread(kill, 1_200_000))),
            _ => {
                outside.forget();
                until_ready(&outside);
                let litres = 20 + kill % 60;
                outside.publish(&room("oyster-hall", "inputs/tank-volume/set"), litres.to_string());
                daemon.signal("TERM");
                std::thread::sleep(Duration::from_micros(spread(kill, 60_000)));
            }
        }
        count(["while starting", "while running", "while stopping"][(kill % 3) as usize]);
        daemon.signal("KILL");
        daemon.ended(10);
        if state.path().join("state.json.new").exists() {
            count("in the middle of a write");
        }
        let found = left(state.path(), kill);
        assert!(found.memory.newest >= newest, "kill {kill} went back in time");
        newest = found.memory.newest;
    }
    let set_aside = state.path().join("state.json.set-aside");
    assert!(!set_aside.exists(), "a state was damaged and set aside");
    outside.forget();
    let daemon = start(&broker, state.path());
    until_ready(&outside);
    outside.until_is(&room("oyster-hall", "inputs/stage"), "pinning", 20);
    assert!(daemon.log().contains("the stage pinning in Oyster hall"), "{}", daemon.log());
    println!("{kills} kills of the daemon: {told:?}");
}
