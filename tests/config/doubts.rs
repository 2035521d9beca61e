//! What is legal and doubtful: each doubt appears where it is due, alone, and not in the same farm without its cause.

use mistwright::{
    advice::{Doubt, doubts},
    config,
};

use super::{program, read};

/// A farm without doubts, with one part of its file replaced.
fn changed(from: &str, to: &str) -> String {
    let text = read("tests/config/sure.yaml");
    assert!(text.contains(from), "`{from}` is not in the file");
    text.replacen(from, to, 1)
}

fn told(text: &str) -> Vec<String> {
    let config = config::parse(text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"));
    let doubts = doubts(&config.farm, config.forecast.is_some());
    let place = |doubt: &Doubt| doubt.place.map_or("site", |place| config.farm.title(place)).to_owned();
    let line = |doubt: &Doubt| {
        format!("{} {}: {}", doubt.weight().word(), place(doubt), doubt.sentence(config.farm.site.units))
    };
    doubts.iter().map(line).collect()
}

#[test]
fn a_farm_of_which_everything_is_said_and_nothing_is_short_has_no_doubt() {
    assert_eq!(told(&read("tests/config/sure.yaml")), Vec::<String>::new());
}

/// What is replaced, by what, and the only doubt that comes of it.
type Case = (&'static str, &'static str, &'static str);

fn one_each(cases: &[Case]) {
    for (from, to, doubt) in cases {
        assert_eq!(told(&changed(from, to)), [*doubt], "{from} → {to}");
    }
}

#[test]
fn what_a_grower_has_not_said_is_noted() {
    one_each(&[
        (
            "  design-cold: −25 °C\n",
            "",
            "note site: Winter is judged at -27.0 °C outside, a guess from latitude and height: write `design-cold` if \
             you know better.",
        ),
        (
            "      relative-humidity: {topic: barn/h, unit: \"%\"}\n",
            "",
            "note Barn: No sensors for both temperature and relative humidity: its air is taken to be as assumed.",
        ),
        (
            "      carbon-dioxide-limit: 1 000 ppm\n",
            "",
            "note Hall: The catalogue for oyster, fruiting gives what is not written: carbon dioxide limit.",
        ),
        (
            "{middle: 0.2 g/kg/h, upper: 0.3 g/kg/h}",
            "{middle: 0.2 g/kg/h}",
            "note Hall: The catalogue for oyster, fruiting gives what is not written: carbon dioxide output.",
        ),
        (
            "      relative-humidity: {lowest: 60 %, preferred: 70 %, highest: 80 %}\n",
            "",
            "note Lung: The catalogue for a room without a crop gives what is not written: humidity band.",
        ),
        (
            "      evaporated-fraction: 85 %\n",
            "",
            "note Hall: Evaporated fraction not written: 85 % is assumed, usual for ultrasonic.",
        ),
        (
            "      mist: {stands-at: 95 %, outdoors: 10 °C}\n",
            "",
            "note Hall: Nothing is known of when mist stands in the room, so it limits no advice: write what you have seen \
             as `mist`.",
        ),
        (
            "    shell: {heat-loss: 60 W/K}\n",
            "",
            "note Lung: Heat loss not written: the room is taken to stay as warm as it is.",
        ),
        (
            "      surfaces:\n        ceiling: {wall: {area: 60 m², u-value: 0.2 W/m²K}}\n",
            "",
            "note Hall: No surface is watched: wet walls will not be seen coming.",
        ),
        (
            "carbon-dioxide-limit: 1 000 ppm",
            "carbon-dioxide-limit: 9 000 ppm",
            "note Hall: The crop's carbon dioxide limit is 9000 ppm, but advice never plans above 5000 ppm, the limit for \
             people at work.",
        ),
    ]);
}

#[test]
fn a_room_that_draws_from_a_space_is_judged_by_its_assumed_air_or_said_not_to_be() {
    let tent = changed("    intake: lung\n", "    intake: barn\n");
    assert_eq!(told(&tent), Vec::<String>::new());
    let small = told(&tent.replace("output: 14 L/h", "output: 3 L/h"));
    assert!(small.len() == 1 && small[0].starts_with("warning Hall: The humidifier gives at most 2.55"), "{small:?}");
    let unknown = tent.replace("    assumed: {temperature: 18 °C, relative-humidity: 35 %}\n", "");
    let sentence = "note Hall: Its winter is not judged: write what the air of the space that it draws from is `assumed` to \
                    be.";
    assert_eq!(told(&unknown.replace("output: 14 L/h", "output: 3 L/h")), [sentence]);
}

#[test]
fn what_no_sensor_tells_is_warned_of() {
    one_each(&[
        (
            "      temperature: {topic: hall/t, unit: \"°C\"}\n      relative-humidity: {topic: hall/h, unit: \"%\"}\n",
            "      temperature: {topic: hall/t, unit: \"°C\"}\n",
            "warning Hall: No relative humidity sensor: what its air holds will not be known.",
        ),
        (
            "      carbon-dioxide: {topic: hall/c, unit: ppm}\n",
            "",
            "warning Hall: No carbon dioxide sensor: fresh air will be advised at the usual rate or more.",
        ),
        (
            "forecast: {contact: grower@frosthollow.example}",
            "forecast: {service: none}",
            "warning site: There is neither a forecast nor a pair of sensors for temperature and relative humidity \
             outdoors: no advice can be given for rooms that breathe from there.",
        ),
    ]);
    let sensors = "    sensors:\n      temperature: {topic: lung/t, unit: \"°C\"}\n      relative-humidity: {topic: lung/h, \
                   unit: \"%\"}\n";
    let blind = told(&changed(sensors, ""));
    assert_eq!(blind.len(), 2, "{blind:?}");
    assert_eq!(blind[0], "warning Lung: No temperature sensor: what its air holds will not be known.");
    // An anteroom without a crop needs no carbon dioxide sensor.
    assert!(blind[1].contains("No relative humidity sensor"), "{blind:?}");
}

#[test]
fn fresh_air_that_is_too_little_in_any_season_is_warned_of() {
    // 2,000 kg at 0.3 g/kg/h give off 600 g/h; 570 ppm above outdoor air carry 0.866 g for each kg of dry air, and a kg
    // of dry air takes up 0.876 m³ in the hall at 420 m: 607 m³/h. At 0.2 g/kg/h two thirds of that.
    one_each(&[
        (
            "{capacity: 1 000 m³/h, floor: 1 /h, usual: 5 /h}",
            "{capacity: 600 m³/h, floor: 1 /h, usual: 3 /h}",
            "warning Hall: The fan moves at most 600 m³/h, but a crop that gives off 0.3 g/kg/h needs 607 m³/h to stay at \
             1000 ppm.",
        ),
        (
            "usual: 5 /h",
            "usual: 2 /h",
            "warning Hall: The usual fresh air is 360 m³/h, but a crop that gives off 0.2 g/kg/h needs 404 m³/h to stay at \
             1000 ppm.",
        ),
        (
            "usual: 5 /h",
            "usual: 5 /h, fallback: 2 /h",
            "warning Hall: Rules fall back to 360 m³/h when advice runs out, but a crop that gives off 0.2 g/kg/h needs \
             404 m³/h to stay at 1000 ppm.",
        ),
        (
            "usual: 5 /h",
            "usual: 5 /h, timer: {period: 30 min}",
            "warning Hall: The fan's timer has a period of 30 min: above 20 min the room's air swings.",
        ),
        (
            "{capacity: 1 500 m³/h, floor: 100 m³/h, usual: 900 m³/h}",
            "{capacity: 850 m³/h, floor: 100 m³/h, usual: 850 m³/h}",
            "warning Lung: The rooms behind usually draw 900 m³/h together, but its fan brings at most 850 m³/h.",
        ),
        (
            "    intake: lung\n",
            "    intake: lung\n    burner: true\n",
            "warning Hall: A burner gives its fumes to the room: nothing here measures carbon monoxide; fit an alarm for \
             it.",
        ),
    ]);
    assert_eq!(told(&changed("usual: 5 /h", "usual: 5 /h, timer: {period: 20 min}")), Vec::<String>::new());
}

#[test]
fn what_fails_on_a_design_night_is_warned_of() {
    let mist = "      mist: {stands-at: 95 %, outdoors: 10 °C}\n";
    let humidifier =
        "    humidifier:\n      method: ultrasonic\n      output: 14 L/h\n      evaporated-fraction: 85 %\n      \
                      water: 300 L\n"
            .to_owned()
            + mist;
    let dry = told(&changed(&humidifier, ""));
    let [dry] = dry.as_slice() else { panic!("{dry:?}") };
    let needed =
        "holding 85 % with the 623 m³/h of fresh air that the room needs takes 3.35 kg/h when it is -25.0 °C outside";
    assert_eq!(*dry, format!("warning Hall: There is no humidifier, and {needed}."));
    let small = told(&changed("output: 14 L/h", "output: 3 L/h"));
    let small_sentence = format!(
        "warning Hall: The humidifier gives at most 2.55 kg/h of vapour, but {needed}: temper or moisten the intake, or add \
         output."
    );
    assert_eq!(small, [small_sentence]);
    one_each(&[
        (
            "water: 300 L",
            "water: 40 L",
            "warning Hall: A full tank holds 40.0 L, but a night of 12 h at -25.0 °C outside draws 47.3 L.",
        ),
        (
            "u-value: 0.2 W/m²K",
            "u-value: 1.2 W/m²K",
            "warning Hall: Ceiling gets wet above 66 % when it is -25.0 °C on its other side, but the humidity band begins \
             at 85 %: to stay dry it needs a temperature factor of 0.94 or more (a U-value of 0.47 W/m²K or less).",
        ),
        (
            "wall: {area: 60 m², u-value: 0.2 W/m²K}",
            "temperature-factor: 0.9",
            "warning Hall: Ceiling gets wet above 77 % when it is -25.0 °C on its other side, but the humidity band begins \
             at 85 %: to stay dry it needs a temperature factor of 0.94 or more.",
        ),
        // 70 W/K over 37 K are 2,590 W; warming the fresh air by 2 K takes 420 W, evaporation at 12 °C 1,090 W; the crop
        // gives 1,180 W.
        (
            "heater: {power: 12 kW}",
            "heater: {power: 2 kW}",
            "warning Hall: Holding 12.0 °C takes 2.94 kW when it is -25.0 °C outside, but the heater in the room gives at \
             most 2.00 kW.",
        ),
        (
            "    heater: {power: 12 kW}\n",
            "",
            "warning Hall: Holding 12.0 °C takes 2.94 kW when it is -25.0 °C outside, but the room has no heater.",
        ),
    ]);
}

#[test]
fn a_milder_site_a_watched_probe_and_an_unknown_tank_raise_no_doubt() {
    let dry = changed("output: 9 L/h", "output: 2 L/h");
    assert!(told(&dry)[0].starts_with("warning Lung: The humidifier gives at most 2.00 kg/h"), "{:?}", told(&dry));
    assert_eq!(told(&dry.replace("design-cold: −25 °C", "design-cold: 2 °C")), Vec::<String>::new());
    for (from, to) in [
        ("wall: {area: 60 m², u-value: 0.2 W/m²K}", "probe: {topic: hall/ceiling, unit: °C}"),
        ("water: 300 L", "water: unknown"),
        ("water: 300 L", "water: mains"),
        ("stage: fruiting", "stage: fruiting # still"),
    ] {
        assert_eq!(told(&changed(from, to)), Vec::<String>::new(), "{to}");
    }
}

#[test]
fn doubts_are_told_in_the_growers_units_with_the_warnings_of_each_room_first() {
    let us = changed("  design-cold: −25 °C\n", "  design-cold: −25 °C\n  units: us\n");
    let text =
        us.replace("heater: {power: 12 kW}", "heater: {power: 2 kW}").replace("      evaporated-fraction: 85 %\n", "");
    let [warning, note] = &told(&text)[..] else { panic!("{:?}", told(&text)) };
    assert_eq!(
        warning,
        "warning Hall: Holding 53.6 °F takes 10041 Btu/h when it is -13.0 °F outside, but the heater in the room gives at \
         most 6824 Btu/h."
    );
    assert!(note.starts_with("note Hall: Evaporated fraction"), "{note}");
}

#[test]
fn check_prints_doubts_under_their_places_and_only_a_strict_one_fails_by_warnings() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("farm.yaml");
    let path = file.to_str().unwrap();
    std::fs::write(&file, changed("water: 300 L", "water: 40 L")).unwrap();
    let (code, text) = program(&["check", path]);
    assert_eq!(code, Some(0));
    assert!(
        text.contains("\n  Hall: oyster, fruiting, air from Lung\n    warning: A full tank holds 40.0 L"),
        "{text}"
    );
    assert!(text.ends_with("\n1 warning, 0 notes\n"), "{text}");
    assert_eq!(program(&["check", "--strict", path]).0, Some(3));
    // Notes are no failure.
    std::fs::write(&file, changed("      evaporated-fraction: 85 %\n", "")).unwrap();
    let (code, text) = program(&["check", "--strict", path]);
    assert_eq!((code, text.ends_with("\n0 warnings, 1 note\n")), (Some(0), true), "{text}");
}
