//! The file: there and back, and every accident that it can have.

use std::{fs, path::Path};

use mistwright::{
    engine::memory::{KeptEmission, KeptRoom},
    io::store::{self, Found},
    model::Identifier,
    units::AirFlow,
    wire::state_file::{self, BadState, State},
};
use proptest::prelude::*;

use super::{full, moment};

/// As it comes back: numbers are rounded on the way.
fn settled(state: &State) -> State {
    state_file::read(&state_file::write(state).unwrap()).unwrap()
}

fn written(directory: &Path, bytes: &[u8]) -> Found {
    fs::write(directory.join("state.json"), bytes).unwrap();
    store::read(directory)
}

#[test]
fn everything_that_can_be_kept_comes_back() {
    let state = full();
    let back = settled(&state);
    // The forecast's vapour pressures are the only numbers of this state that have more decimals than are kept.
    let (old, new) = (state.memory.forecast.as_ref().unwrap(), back.memory.forecast.as_ref().unwrap());
    for (old, new) in old.forecast.points().iter().zip(new.forecast.points()) {
        let difference = old.air.vapour_pressure.pascals() - new.air.vapour_pressure.pascals();
        assert!(old.at == new.at && old.air.temperature == new.air.temperature && difference.abs() <= 0.000_5);
    }
    assert_eq!(old.forecast.points().len(), new.forecast.points().len());
    let without = |mut state: State| {
        state.memory.forecast = None;
        state
    };
    assert_eq!(without(back.clone()), without(state.clone()));
    assert_eq!((new.fetched, new.latitude, new.longitude), (old.fetched, old.latitude, old.longitude));
    assert_eq!(settled(&back), back, "a second run changes it again");
}

proptest! {
    #![proptest_config(crate::physics::cases())]

    #[test]
    fn any_room_comes_back_to_the_last_digit_kept(
        name in "[a-z][a-z0-9]{0,9}(-[a-z0-9]{1,9}){0,2}",
        flow in prop::option::of(0_u32..1_000_000_000),
        danger: bool,
        emission in prop::option::of((0_u32..1_000_000_000, 0_i64..4_000_000_000, 0_i32..1_000_000_000)),
        newest in prop::option::of(-1_000_000_000_i64..4_000_000_000),
    ) {
        let mut state = full();
        state.memory.newest = newest.map(moment);
        state.memory.forecast = None;
        state.memory.rooms.push(KeptRoom {
            name: Identifier::new(&name).unwrap(),
            fresh_air: flow.map(|flow| AirFlow::from_cubic_metres_per_hour(f64::from(flow) / 100.0).unwrap()),
            danger,
            emission: emission.map(|(grams, second, nanosecond)| KeptEmission {
                grams_per_hour: f64::from(grams) / 1_000.0,
                at: jiff::Timestamp::new(second, nanosecond).unwrap(),
            }),
            alerts: Vec::new(),
            inputs: Default::default(),
            outlooks: None,
        });
        prop_assert_eq!(settled(&state), state);
    }

    #[test]
    fn no_bytes_whatever_are_more_than_refused(bytes in prop::collection::vec(any::<u8>(), 0..400), at in 0_usize..400) {
        let mut state = state_file::write(&full()).unwrap();
        prop_assert!(state_file::read(&bytes).is_err());
        state.splice(at.min(state.len()).., bytes);
        prop_assert!(state_file::read(&state).is_err());
    }
}

#[test]
fn a_file_cut_off_anywhere_or_with_any_byte_changed_is_refused() {
    let bytes = state_file::write(&full()).unwrap();
    assert!(state_file::read(&bytes).is_ok());
    for length in 0..bytes.len() {
        assert!(state_file::read(&bytes[..length]).is_err(), "accepted after {length} bytes");
    }
    for index in 0..bytes.len() {
        let mut bytes = bytes.clone();
        bytes[index] ^= 1;
        assert!(state_file::read(&bytes).is_err(), "accepted with byte {index} changed");
    }
}

#[test]
fn a_file_of_a_newer_program_is_refused_with_its_version_and_set_aside_whole() {
    let folder = tempfile::tempdir().unwrap();
    let text = "{\"mistwright-state\":7,\"something\":\"else\"}\n";
    let Found::SetAside(aside, bad) = written(folder.path(), text.as_bytes()) else { panic!("it was taken") };
    assert!(matches!(bad, BadState::Newer(7)));
    assert!(bad.to_string().contains("version 7"), "{bad}");
    assert_eq!(fs::read_to_string(aside).unwrap(), text);
    assert!(matches!(store::read(folder.path()), Found::Nothing), "it is met again at the next start");
}

#[test]
fn a_damaged_file_is_set_aside_and_the_next_write_starts_anew() {
    let folder = tempfile::tempdir().unwrap();
    let whole = state_file::write(&full()).unwrap();
    for bytes in [&whole[..whole.len() / 2], b"", b"\0\0\0\0\0\0\0\0", b"{}", b"[1,2"] {
        let Found::SetAside(aside, _) = written(folder.path(), bytes) else { panic!("{bytes:?} was taken") };
        assert_eq!(fs::read(aside).unwrap(), bytes);
        store::write(folder.path(), &full()).unwrap();
        assert!(matches!(store::read(folder.path()), Found::State(state) if *state == settled(&full())));
    }
}

#[test]
fn a_huge_file_is_refused_without_being_read_whole() {
    let folder = tempfile::tempdir().unwrap();
    let file = fs::File::create(folder.path().join("state.json")).unwrap();
    file.set_len(1 << 40).unwrap();
    assert!(matches!(store::read(folder.path()), Found::SetAside(_, BadState::TooLarge)));
}

#[test]
fn a_state_that_would_be_too_large_is_not_written_and_the_old_one_stays() {
    let folder = tempfile::tempdir().unwrap();
    store::write(folder.path(), &full()).unwrap();
    let mut state = full();
    state.topics = (0..200_000).map(|index| format!("homie/5/frosthollow/air/temperature-{index}")).collect();
    assert!(store::write(folder.path(), &state).is_err());
    assert!(matches!(store::read(folder.path()), Found::State(_)));
}

#[test]
fn a_topic_that_this_program_cannot_have_published_is_never_cleared_at_the_broker() {
    for topic in ["homie/5/#", "homie/5/a/+", "farm/oyster-hall/air/t", "$SYS/5/a/b", "homie/5/a", "homie/5//b/c"] {
        let mut state = full();
        state.topics.insert(topic.to_owned());
        // A topic that is too short to have a device is not even written.
        let bytes = state_file::write(&state).unwrap();
        match state_file::read(&bytes) {
            Ok(state) => assert!(!state.topics.contains(topic), "`{topic}` would be cleared"),
            Err(bad) => assert!(matches!(bad, BadState::Topic(_)), "{bad}"),
        }
    }
}

#[test]
fn a_directory_that_is_a_file_or_is_not_there_is_an_error_and_nothing_more() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("file");
    fs::write(&file, "not a folder").unwrap();
    for directory in [file.as_path(), &folder.path().join("nowhere")] {
        let error = store::write(directory, &full()).unwrap_err();
        assert!(error.to_string().starts_with("making the new file failed"), "{error}");
        assert!(matches!(store::read(directory), Found::Nothing | Found::Unreadable(_)));
    }
    assert_eq!(fs::read_to_string(file).unwrap(), "not a folder");
}

#[test]
fn a_state_that_cannot_take_its_place_leaves_what_was_there() {
    let folder = tempfile::tempdir().unwrap();
    // A folder in the file's place: neither read nor replaced.
    fs::create_dir_all(folder.path().join("state.json/inside")).unwrap();
    assert!(matches!(store::read(folder.path()), Found::Unreadable(_)));
    let error = store::write(folder.path(), &full()).unwrap_err();
    assert!(error.to_string().starts_with("putting the new file in the old one's place failed"), "{error}");
    assert!(folder.path().join("state.json/inside").is_dir());
}
