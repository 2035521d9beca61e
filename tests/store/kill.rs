//! Killed at any moment, the writer leaves a whole state: the last but one or the last.
//!
//! This shows that no torn file is ever in the state's place. That it is also on the disk after a power cut rests on
//! the two fsyncs, which no test in a running system can show.

use std::{
    path::Path,
    process::{Child, Command, Stdio},
    time::Duration,
};

use mistwright::{
    io::store::{self, Found},
    units::AirFlow,
    wire::state_file::State,
};

use super::full;
use crate::e2e::until;

const KILLS: u64 = 50;

/// The state of a turn: two parts of it say which, so that a mixture of two would be seen.
fn numbered(turn: u32) -> State {
    let mut state = full();
    state.memory.rooms[0].fresh_air = Some(AirFlow::from_cubic_metres_per_hour(f64::from(turn)).unwrap());
    // Long enough that a write takes several of the system's pages.
    state.topics = (0..2_000).map(|index| format!("homie/5/frosthollow/turn-{turn}/temperature-{index}")).collect();
    state
}

fn turn(state: &State) -> Option<u32> {
    let flow = state.memory.rooms.first()?.fresh_air?.cubic_metres_per_hour();
    let prefix = format!("homie/5/frosthollow/turn-{flow}/");
    let whole = state.topics.len() == 2_000 && state.topics.iter().all(|topic| topic.starts_with(&prefix));
    whole.then_some(flow as u32)
}

/// Stands in the folder that the writer may write to; without it the writer does nothing.
const PREPARED: &str = "prepared-for-the-writer";

/// The writer: this very program, told to run one test that never ends, in the folder that it is to write to.
fn writer(folder: &Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "store::kill::writes_states_until_it_is_killed", "--ignored"])
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
#[ignore = "the writer's process, which the next test starts and kills; elsewhere it does nothing"]
fn writes_states_until_it_is_killed() {
    if !Path::new(PREPARED).exists() {
        return;
    }
    let mut next = match store::read(Path::new(".")) {
        Found::State(state) => turn(&state).unwrap() + 1,
        _ => 0,
    };
    loop {
        store::write(Path::new("."), &numbered(next)).unwrap();
        next += 1;
    }
}

#[test]
fn fifty_kills_at_any_moment_leave_a_whole_state_each_time() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join(PREPARED), []).unwrap();
    let (mut last, mut in_the_middle) = (0, 0);
    for kill in 0..KILLS {
        let mut writer = writer(folder.path());
        until("the writer writes", 10, || {
            matches!(store::read(folder.path()), Found::State(state) if turn(&state) > Some(last)).then_some(())
        });
        // Spread over more than one write, without a pattern that could keep step with it.
        std::thread::sleep(Duration::from_micros(kill * 7_919 % 20_011));
        writer.kill().unwrap();
        writer.wait().unwrap();
        in_the_middle += u32::from(folder.path().join("state.json.new").exists());
        let Found::State(state) = store::read(folder.path()) else { panic!("kill {kill} left no readable state") };
        let turn = turn(&state).unwrap_or_else(|| panic!("kill {kill} left a mixture of two states"));
        assert!(turn > last, "kill {kill} went back from {last} to {turn}");
        last = turn;
    }
    println!("{KILLS} kills over {last} writes, {in_the_middle} of them in the middle of a write");
    assert!(in_the_middle > 0, "no kill fell into a write, so nothing was shown");
}
