//! `mistwright outlook`: asked of a running daemon, and reckoned without one.

use std::{
    fs,
    process::{Command, Output},
};

use super::{
    farm::{Farm, World, room},
    observations::{freeze, locationforecast, starting_at},
    service::WeatherService,
};

fn outlook(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_mistwright")).arg("outlook").args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The cells of a room's line; two spaces or more part them.
fn cells(table: &str, title: &str) -> Vec<String> {
    let line = table.lines().find(|line| line.starts_with(title)).unwrap_or_else(|| panic!("no {title} in:\n{table}"));
    line.split("  ").map(str::trim).filter(|cell| !cell.is_empty()).map(str::to_owned).collect()
}

#[test]
#[expect(clippy::disallowed_methods, reason = "the forecast has to be one for the daemon's own present")]
fn the_table_of_a_running_daemon_says_what_its_topics_say() {
    let start = jiff::Timestamp::from_second(jiff::Timestamp::now().as_second()).unwrap();
    let service = WeatherService::serving(locationforecast(&starting_at(start, &freeze())));
    let forecast = format!(
        "  base-url: {}/weatherapi/locationforecast/2.0\n  contact: grower@frosthollow.example",
        service.base_url
    );
    let world = World::start(&Farm { elevation: "205 m", forecast, ..Farm::default() });
    world.outdoors(2.2, 100.0);
    world.inside("oyster-hall", 16.0, 90.0);
    let topic = room("oyster-hall", "outlook/water-to-dawn");
    let water: f64 = world.outside.until("water to dawn", 20, |messages| messages.get(&topic)?.payload.parse().ok());

    let output = outlook(&["--from", &world.daemon.address()]);
    let table = text(&output.stdout);
    assert!(output.status.success(), "{}", text(&output.stderr));
    assert!(table.lines().all(|line| line.chars().count() <= 100), "{table}");
    let hall = cells(&table, "Oyster hall");
    let shown: f64 = hall[2].strip_suffix(" L").unwrap().parse().unwrap();
    assert!((shown - water).abs() <= 0.6, "{shown} L in the table, {water} L on the topic");
    assert_eq!(cells(&table, "Lions mane bay")[1..], ["?"; 6], "nothing is heard of it");
    assert!(table.contains("the room's temperature is not heard"), "{table}");

    let us = text(&outlook(&["--from", &world.daemon.address(), "--units", "us"]).stdout);
    assert!(cells(&us, "Oyster hall")[2].ends_with(" gal"), "{us}");
}

#[test]
fn what_goes_wrong_is_said_in_whole_sentences_with_its_own_exit_codes() {
    let folder = tempfile::tempdir().unwrap();
    let written = |name: &str, text: &str| {
        let path = folder.path().join(name);
        fs::write(&path, text).unwrap();
        path.display().to_string()
    };
    let root = env!("CARGO_MANIFEST_DIR");
    let farm = format!("{root}/examples/one-room.yaml");
    let night = format!("{root}/examples/frosty-night.jsonl");
    let page = written("page.json", "<html>Sign in</html>");
    let evening = "2027-01-15T16:00:00Z";
    for (arguments, code, words) in [
        (vec!["--from", "http://127.0.0.1:9"], 1, "no daemon answers at http://127.0.0.1:9/snapshot.json"),
        (vec!["--config", "/nowhere.yaml"], 2, "/nowhere.yaml cannot be read"),
        (vec!["--config", &farm, "--at", evening], 2, "Nothing is known of the weather"),
        (vec!["--config", &farm, "--forecast", &page, "--at", evening], 2, "is a web page"),
        (vec!["--config", &farm, "--forecast", &night, "--at", "2027-03-01T16:00:00Z"], 2, "Give a newer one"),
        (
            vec!["--config", &farm, "--forecast", &night, "--at", evening, "--room", "cellar=16 °C"],
            2,
            "`cellar` is no room of this farm; its rooms are oyster-room.",
        ),
        (vec!["--config", &farm, "--room", "oyster-room=16"], 2, "`16` is none of temperature"),
    ] {
        let output = outlook(&arguments);
        let said = text(&output.stderr);
        assert!(said.contains(words), "{arguments:?}: {said}");
        assert_eq!(output.status.code(), Some(code), "{arguments:?}: {said}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn a_night_reckoned_without_a_daemon_knows_the_tank_and_every_service_s_answer() {
    let root = env!("CARGO_MANIFEST_DIR");
    let farm = format!("{root}/examples/one-room.yaml");
    let lines = format!("{root}/examples/frosty-night.jsonl");
    let table = |forecast: &str, at: &str, room: &str| {
        let output = outlook(&["--config", &farm, "--forecast", forecast, "--at", at, "--room", room]);
        assert!(output.status.success(), "{}", text(&output.stderr));
        text(&output.stdout)
    };
    let full = table(&lines, "2027-01-15T16:00:00Z", "oyster-room=16 °C, 90 %, 800 ppm");
    let low = table(&lines, "2027-01-15T16:00:00Z", "oyster-room=16 °C, 90 %, 800 ppm, 20 L");
    assert!(full.contains("it is taken as full now"), "{full}");
    assert!(!low.contains("it is taken as full now"), "{low}");
    let empty = |table: &str| cells(table, "Oyster room")[4].clone();
    assert_ne!(empty(&full), empty(&low), "20 L last less long than a full tank");

    let start: jiff::Timestamp = "2027-01-15T16:00:00Z".parse().unwrap();
    let folder = tempfile::tempdir().unwrap();
    let answer = folder.path().join("answer.json");
    fs::write(&answer, locationforecast(&starting_at(start, &freeze()))).unwrap();
    let of_a_service = table(&answer.display().to_string(), "2027-01-15T16:00:00Z", "oyster-room=16 °C, 90 %");
    assert!(cells(&of_a_service, "Oyster room")[2].ends_with(" L"), "{of_a_service}");
}
