//! The configuration: the examples load and mean what they say, and mistakes are reported where they stand, all at once.

use std::{fs, path::PathBuf, time::Duration};

use mistwright::{
    config::{self, Config, Mistake, Problems},
    model::{Intake, Place, Quantity},
    units::UnitSystem,
    wire::topic::{Decoder, WireUnit},
};

fn read(path: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn example(name: &str) -> Config {
    config::parse(&read(&format!("examples/{name}")), name).unwrap_or_else(|problems| panic!("{problems}"))
}

fn problems(text: &str) -> Problems {
    config::parse(text, "farm.yaml").expect_err("the file was accepted")
}

/// The smallest example with one line replaced.
fn with(line: &str, replacement: &str) -> String {
    let text = read("examples/one-room.yaml");
    assert!(text.contains(line), "`{line}` is not in the example");
    text.replacen(line, replacement, 1)
}

#[test]
fn every_file_among_the_examples_is_a_configuration_that_loads() {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("examples");
    let mut count = 0;
    for entry in fs::read_dir(folder).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.ends_with(".yaml") {
            example(&name);
            count += 1;
        }
    }
    assert!(count >= 3, "only {count} examples were found");
}

#[test]
fn the_farm_behind_an_anteroom_is_read_as_written() {
    let config = example("frosthollow.yaml");
    let farm = &config.farm;
    let names: Vec<_> = farm.rooms.iter().map(|room| room.name.as_str()).collect();
    assert_eq!(names, ["lung", "oyster-hall", "shiitake-loft", "lions-mane-bay"]);
    assert!(farm.rooms[1..].iter().all(|room| room.intake == Intake::Room(0)));
    let hall = &farm.rooms[1];
    // Five air changes an hour of 180 m³.
    assert!((hall.fan.usual.cubic_metres_per_hour() - 900.0).abs() < 1e-9);
    assert!((hall.crop.as_ref().unwrap().substrate.kilograms() - 2_400.0).abs() < 1e-9);
    assert!((farm.site.hard_frost.celsius() + 4.0).abs() < 1e-9);
    assert_eq!(farm.sources.len(), config.bindings.len());
    assert_eq!(farm.sources.len(), 3 + 2 + 3 * 3);
    let pressure = farm.sources.iter().position(|source| source.quantity == Quantity::Pressure).unwrap();
    assert_eq!(farm.sources[pressure].place, Place::Outdoors);
    assert_eq!(farm.sources[pressure].maximum_age, Duration::from_secs(3_600));
    assert_eq!(config.bindings[pressure].decoder, Decoder::JsonPointer("/p".into()));
    assert_eq!(config.bindings[pressure].unit, WireUnit::Hectopascal);
}

#[test]
fn what_is_left_out_has_the_documented_default() {
    let config = example("one-room.yaml");
    assert_eq!(config.broker.port, 1883);
    assert_eq!(config.broker.client_id, "mistwright-small-barn");
    assert_eq!(config.broker.domain.as_str(), "homie");
    assert_eq!(config.http_listen, Some("127.0.0.1:9417".parse().unwrap()));
    assert_eq!(config.forecast.unwrap().base_url, "https://api.met.no/weatherapi/locationforecast/2.0");
    let room = &config.farm.rooms[0];
    assert_eq!((room.title.as_str(), room.intake, room.burner), ("Oyster room", Intake::Outdoors, false));
    assert_eq!(room.fan.fallback, room.fan.usual);
    assert!((room.humidifier.unwrap().evaporated.ratio() - 0.85).abs() < 1e-9);
    assert!(config.farm.sources.iter().all(|source| source.maximum_age == Duration::from_secs(600)));
}

#[test]
fn us_units_are_read_by_their_definitions() {
    let config = example("us-units.yaml");
    assert_eq!(config.farm.site.units, UnitSystem::Us);
    assert_eq!((config.forecast.is_none(), config.http_listen), (true, None));
    let room = &config.farm.rooms[0];
    // 2,900 ft³, 400 cfm, 60 US gal by the exact foot and gallon.
    assert!((room.volume.cubic_metres() - 82.118_855).abs() < 1e-5);
    assert!((room.fan.capacity.cubic_metres_per_hour() - 679.604_318).abs() < 1e-5);
    assert!((room.humidifier.unwrap().tank.unwrap().litres() - 227.124_707).abs() < 1e-5);
}

#[test]
fn a_room_is_placed_behind_the_room_that_it_draws_from_whatever_the_order_of_the_file() {
    let text = with("rooms:\n", "rooms:\n  a-side: {volume: 20 m³, intake: z-lung}\n");
    let text = format!("{text}  z-lung: {{volume: 30 m³}}\n");
    let config = config::parse(&text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"));
    let names: Vec<_> = config.farm.rooms.iter().map(|room| room.name.as_str()).collect();
    assert_eq!(names, ["oyster-room", "z-lung", "a-side"]);
    assert_eq!(config.farm.rooms[2].intake, Intake::Room(1));
}

#[test]
fn every_mistake_of_a_bad_file_is_reported_at_its_place() {
    let problems = config::parse(&read("tests/config/mistakes.yaml"), "mistakes.yaml").unwrap_err();
    insta::assert_snapshot!("mistakes", problems.to_string());
    assert!(problems.list.len() >= 30, "only {} problems were found", problems.list.len());
    assert!(problems.list.iter().all(|problem| problem.location.is_some()));
    assert!(!problems.to_string().contains("secret"), "a password was shown");
}
