//! The snapshot as one JSON document.

use mistwright::{engine::Event, wire::document::document};
use serde_json::Value;

use super::farm;

#[test]
fn the_document_holds_everything_that_was_taken_in() {
    let document = document(&farm::fed());
    let at = |pointer: &str| document.pointer(pointer).unwrap_or_else(|| panic!("nothing at {pointer}")).clone();
    assert_eq!(at("/turns"), 10);
    assert_eq!(at("/taken_at"), "2027-01-08T18:00:10Z");
    assert_eq!(at("/site/name"), "frosthollow");
    assert_eq!(at("/broker/connected"), true);
    assert_eq!(at("/rooms/0/temperature/celsius"), 16.0);
    assert_eq!(at("/rooms/0/temperature/state"), "fresh");
    assert_eq!(at("/rooms/1/relative_humidity/state"), "never");
    assert_eq!(at("/rooms/1/relative_humidity/ratio"), Value::Null);
    assert_eq!(at("/sources/0/accepted"), 1);
    assert_eq!(at("/sources/0/rejected/empty"), 1);
    assert_eq!(at("/forecast/services/0/failures/slow"), 1);
    assert_eq!(at("/forecast/services/0/successes"), 1);
    assert_eq!(at("/forecast/attribution"), "Data from MET Norway");
    assert_eq!(at("/forecast/points").as_array().unwrap().len(), 49);
    assert_eq!(at("/forecast/coldest/temperature_celsius"), -12.0);
    assert_eq!(at("/rooms/0/inputs/tank/litres"), 30.0);
    assert_eq!(at("/rooms/0/inputs/hold"), Value::Null);
    assert_eq!(at("/rooms/0/decision/fallback/fresh_air_cubic_metres_per_hour"), 960.0);
    let humidity = at("/rooms/0/air/humidity_ratio_kilograms_per_kilogram").as_f64().unwrap();
    assert!((0.009..0.012).contains(&humidity), "{humidity}");
}

#[test]
fn decisions_and_raised_alerts_carry_a_sentence() {
    let document = document(&farm::fed());
    for room in document["rooms"].as_array().unwrap() {
        let sentence = room["decision"]["sentence"].as_str().unwrap();
        assert!(sentence.ends_with('.') && sentence.len() > 20, "{sentence}");
    }
    let frost = document["alerts"].as_array().unwrap().iter().find(|alert| alert["name"] == "hard-frost").unwrap();
    assert_eq!(frost["raised"], true, "{frost}");
    assert!(frost["sentence"].as_str().unwrap().contains("°C"), "{frost}");
    let quiet: Vec<_> = document["rooms"][0]["alerts"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|alert| alert["raised"] == false && !alert["sentence"].is_null())
        .collect();
    assert!(quiet.is_empty(), "{quiet:?}");
}

#[test]
fn a_stale_value_is_shown_as_stale_and_derived_values_are_null() {
    let mut engine = farm::engine();
    farm::feed(&mut engine);
    engine.handle(Event::Tick, &farm::at(1_000));
    let document = document(&engine.snapshot(&farm::at(1_000)));
    assert_eq!(document["rooms"][0]["temperature"]["state"], "stale");
    assert_eq!(document["rooms"][0]["temperature"]["celsius"], 16.0);
    assert_eq!(document["rooms"][0]["air"], Value::Null);
    assert_eq!(document["sources"][0]["last_heard_at"], "2027-01-08T18:00:10Z");
}

#[test]
fn every_number_says_its_unit_in_its_key_or_is_a_count() {
    fn walk(path: &str, value: &Value, odd: &mut Vec<String>) {
        match value {
            Value::Object(map) => map.iter().for_each(|(key, value)| walk(&format!("{path}/{key}"), value, odd)),
            Value::Array(items) => items.iter().for_each(|value| walk(path, value, odd)),
            Value::Number(_) => odd.push(path.to_owned()),
            _ => {}
        }
    }
    const UNITS: [&str; 7] = ["celsius", "pascals", "ratio", "per_hour", "litres", "metres", "per_second"];
    const MORE: [&str; 5] = ["parts_per_million", "per_kilogram", "watts", "kelvins", "hours"];
    // Degrees, counts, and the value of a source, whose unit stands beside it.
    const BARE: [&str; 7] = ["latitude", "longitude", "turns", "connections", "successes", "accepted", "value"];
    let mut numbers = Vec::new();
    walk("", &document(&farm::fed()), &mut numbers);
    assert!(numbers.len() > 100, "{}", numbers.len());
    for path in numbers {
        let key = path.rsplit('/').next().unwrap();
        let samples = key.ends_with("samples") || key == "samples_needed";
        let counted = samples || path.contains("/rejected/") || path.contains("/failures/");
        let unit = UNITS.iter().chain(&MORE).any(|unit| key.ends_with(unit));
        assert!(unit || counted || BARE.contains(&key), "{path} has no unit");
    }
}
