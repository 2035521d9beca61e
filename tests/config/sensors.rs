//! Sensors: positions, notations, calibrations, and the mistakes in them.

use mistwright::{
    config::{self, Config, Mistake},
    model::{BelowFreezing, Calibration, Place, Quantity},
    wire::{decode::Decoder, topic::WireUnit},
};

use super::{problems, with};

/// The smallest example with other sensors in its room, one to a line.
fn room(sensors: &[&str]) -> String {
    let text = with("    sensors:\n", "    sensors-were-here:\n");
    let kept = text.split("    sensors-were-here:\n").next().unwrap();
    format!("{kept}    sensors:\n{}", sensors.iter().map(|line| format!("      {line}\n")).collect::<String>())
}

fn parsed(sensors: &[&str]) -> Config {
    config::parse(&room(sensors), "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"))
}

#[test]
fn sensors_of_one_quantity_stand_at_named_positions_beside_those_of_the_whole_room() {
    let config = parsed(&[
        "carbon-dioxide: {topic: room/co2, unit: ppm}",
        "positions:",
        "  top-shelf:",
        "    temperature: {topic: room/top, pointer: /t, unit: Cel}",
        "    relative-humidity: {topic: room/top, pointer: /h, unit: \"%RH\"}",
        "  floor:",
        "    temperature: {topic: room/floor, pointer: /t, unit: \"°C\"}",
    ]);
    let sources: Vec<_> = config.farm.sources.iter().map(|source| source.sensor().to_string()).collect();
    let expected = ["carbon-dioxide", "temperature@top-shelf", "relative-humidity@top-shelf", "temperature@floor"];
    assert_eq!(sources, expected);
    assert!(config.farm.sources.iter().all(|source| source.place == Place::Room(0)));
    assert_eq!(config.bindings[1].unit, Some(WireUnit::Celsius));
    assert_eq!(config.bindings[2].unit, Some(WireUnit::Percent));
}

#[test]
fn each_source_has_its_own_notation_limits_and_calibration() {
    let config = parsed(&[
        "temperature: {topic: room/t, unit: \"°F\", quoted: true, missing: [-127, 185.0], lowest: 30 °F, highest: 100 °F}",
        "relative-humidity:",
        "  topic: room/pack",
        "  decoder: senml",
        "  record: \"urn:room:h\"",
        "  below-freezing: ice",
        "  calibration: {date: 2026-10-01, low: {reads: 73 %, truth: 75.5 %}, high: {reads: 95 %, truth: 97.6 %}}",
        "carbon-dioxide:",
        "  topic: room/co2",
        "  unit: ppm",
        "  self-calibrating: true",
        "  calibration: {date: 2026-09-01, offset: -40 ppm, gain: 1.02, good-for: 90 d}",
        "fan-state: {topic: room/fan, decoder: on-off}",
    ]);
    let find = |quantity| {
        let at = config.farm.sources.iter().position(|source| source.quantity == quantity).unwrap();
        (&config.farm.sources[at], &config.bindings[at])
    };
    let (source, binding) = find(Quantity::Temperature);
    assert_eq!(
        (binding.decoder, binding.quoted, binding.missing.as_slice()),
        (Decoder::NUMBER, true, &[-127.0, 185.0][..])
    );
    assert!((source.range.0 + 10.0 / 9.0).abs() < 1e-9 && (source.range.1 - 340.0 / 9.0).abs() < 1e-9);
    assert_eq!(source.calibration, Calibration::NONE);
    let (source, binding) = find(Quantity::RelativeHumidity);
    assert_eq!((binding.decoder.name, binding.place.as_str(), binding.unit), ("senml", "urn:room:h", None));
    assert_eq!(source.below_freezing, BelowFreezing::Ice);
    let line = Calibration::through((0.73, 0.755), (0.95, 0.976)).unwrap();
    assert!(
        (source.calibration.gain - line.gain).abs() < 1e-12 && (source.calibration.offset - line.offset).abs() < 1e-12
    );
    assert_eq!(source.calibration.made, Some(jiff::civil::date(2026, 10, 1)));
    let (source, _) = find(Quantity::CarbonDioxide);
    assert!(source.self_calibrating);
    assert!((source.calibration.offset + 40.0).abs() < 1e-9 && (source.calibration.gain - 1.02).abs() < 1e-12);
    assert_eq!(source.calibration.good_for.as_secs(), 90 * 86_400);
    assert_eq!(find(Quantity::FanState).1.decoder.name, "on-off");
}

#[test]
fn what_a_source_lacks_or_says_twice_is_reported_where_it_stands() {
    let alone = |line: &str| {
        let found = problems(&room(&[line]));
        assert_eq!(found.list.len(), 1, "{line}: {found}");
        let problem = found.list.into_iter().next().unwrap();
        (problem.key.trim_start_matches("rooms.oyster-room.sensors.").to_owned(), problem.mistake)
    };
    let cases: &[(&str, &str, &str)] = &[
        ("temperature: {topic: a, decoder: senml}", "temperature", "the decoder `senml` needs `record`"),
        ("temperature: {topic: a, decoder: json, unit: K}", "temperature", "the decoder `json` needs `pointer`"),
        ("temperature: {topic: a}", "temperature", "`unit` is missing"),
        ("temperature: {topic: a, unit: K, record: b}", "temperature.record", "`record` is of no use here"),
        ("temperature: {topic: a, unit: K, below-freezing: ice}", "temperature.below-freezing", "of no use"),
        ("temperature: {topic: a, unit: K, decoder: xml}", "temperature.decoder", "`xml` is none of the words"),
        ("temperature: {topic: a, unit: K, missing: 85}", "temperature.missing", "a list of numbers"),
        ("temperature: {topic: a, unit: K, lowest: 5 %}", "temperature.lowest", "`%` is no unit of temperature"),
        ("temperature: {topic: a, unit: K, lowest: 30 °C, highest: 20 °C}", "temperature.lowest", "is more than"),
        (
            "temperature: {topic: a, unit: K, calibration: {offset: 1 K}}",
            "temperature.calibration",
            "`date` is missing",
        ),
        (
            "temperature: {topic: a, unit: K, calibration: {date: 2026-10-01, offset: 1 °C, gain: 5}}",
            "temperature.calibration.gain",
            "not a factor",
        ),
        (
            "temperature: {topic: a, unit: K, calibration: {date: 1 October, offset: 1 K}}",
            "temperature.calibration.date",
            "not a day",
        ),
        (
            "temperature: {topic: a, unit: K, calibration: {date: 2026-10-01, low: {reads: 1 °C, truth: 0 °C}}}",
            "temperature.calibration.low",
            "of no use without `high`",
        ),
        ("relative-humidity: {topic: a, unit: \"%\"}", "relative-humidity", "without the temperature"),
        ("positions: {Top Shelf: {temperature: {topic: a, unit: K}}}", "positions.Top Shelf", "Top Shelf"),
    ];
    for (line, key, words) in cases {
        let (at, mistake) = alone(line);
        assert_eq!(at, *key, "{line}");
        assert!(mistake.to_string().contains(words), "{line}: {mistake}");
    }
}

#[test]
fn a_humidity_at_a_position_needs_the_temperature_at_the_same_position() {
    let found = problems(&room(&[
        "temperature: {topic: room/t, unit: K}",
        "positions: {floor: {relative-humidity: {topic: room/h, unit: \"%\"}}}",
    ]));
    assert_eq!(found.list.len(), 1, "{found}");
    assert_eq!(found.list[0].mistake, Mistake::HumidityAlone);
}
