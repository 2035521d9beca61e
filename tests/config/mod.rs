//! The configuration: the examples load and mean what they say, and mistakes are reported where they stand, all at
//! once.

use std::{fs, path::PathBuf, process::Command, time::Duration};

use mistwright::{
    config::{self, Config, Link, Mistake, Problem, Problems, Secret, Tls},
    model::{Identifier, Intake, Place, Quantity},
    units::UnitSystem,
    wire::{decode::Decoder, topic::WireUnit},
};
use proptest::prelude::*;

mod doubts;
mod forecast;
mod keys;
mod schema;
mod sensors;

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
    // The oyster hall has two positions.
    assert_eq!(farm.sources.len(), 3 + 2 + 3 * 3 + 2);
    let pressure = farm.sources.iter().position(|source| source.quantity == Quantity::Pressure).unwrap();
    assert_eq!(farm.sources[pressure].place, Place::Outdoors);
    assert_eq!(farm.sources[pressure].maximum_age, Duration::from_secs(3_600));
    assert_eq!(config.bindings[pressure].decoder, Decoder::JSON);
    assert_eq!(config.bindings[pressure].place, "/p");
    assert_eq!(config.bindings[pressure].unit, Some(WireUnit::Hectopascal));
}

#[test]
fn what_is_left_out_has_the_documented_default() {
    let config = example("one-room.yaml");
    assert_eq!(config.broker.link, Link::Tcp { host: "localhost".to_owned(), port: 1883 });
    assert_eq!(config.broker.client_id, "mistwright-small-barn");
    assert_eq!(config.broker.domain.as_str(), "homie");
    assert_eq!(config.http_listen, Some("127.0.0.1:9417".parse().unwrap()));
    assert_eq!(config.forecast.unwrap().base_url, "https://api.met.no");
    let room = &config.farm.rooms[0];
    assert_eq!((room.title.as_str(), room.intake, room.burner), ("Oyster room", Intake::Outdoors, false));
    assert_eq!(room.fan.fallback, room.fan.usual);
    assert!((room.humidifier.unwrap().evaporated.ratio() - 0.85).abs() < 1e-9);
    assert!(config.farm.sources.iter().all(|source| source.maximum_age == Duration::from_secs(600)));
}

#[test]
fn the_way_to_the_broker_is_plain_encrypted_or_a_socket_and_encryption_has_its_own_port() {
    let link = |keys: &str| {
        let text = with("  host: localhost\n", &format!("  {keys}\n"));
        config::parse(&text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}")).broker.link
    };
    let host = || "broker.example".to_owned();
    assert_eq!(link("{host: broker.example, port: 1884}").to_string(), "broker.example:1884");
    assert_eq!(link("{host: broker.example, tls: {}}"), Link::Tls { host: host(), port: 8883, tls: Tls::default() });
    let files = "ca-file: /ca.pem, client-certificate-file: /c.pem, client-key-file: /k.pem";
    let tls = Tls { ca_file: Some("/ca.pem".into()), client: Some(("/c.pem".into(), Secret::File("/k.pem".into()))) };
    let written = link(&format!("{{host: broker.example, port: 8884, tls: {{{files}}}}}"));
    assert_eq!(written, Link::Tls { host: host(), port: 8884, tls });
    assert_eq!(link("socket: /run/broker.sock"), Link::Socket("/run/broker.sock".into()));
}

#[test]
fn a_secret_comes_from_a_file_or_from_the_service_manager_and_never_from_both() {
    let broker = |keys: &str| config::parse(&with("  host: localhost\n", &format!("  host: localhost\n{keys}")), "f");
    let credential = |name: &str| Secret::Credential(Identifier::new(name).unwrap());
    let read = broker("  user: u\n  password-credential: broker-password\n").unwrap().broker;
    assert_eq!(read.password, Some(credential("broker-password")));
    let tls = "  tls: {client-certificate-file: /c.pem, client-key-credential: broker-key}\n";
    let Link::Tls { tls, .. } = broker(tls).unwrap().broker.link else { panic!("no TLS") };
    assert_eq!(tls.client, Some(("/c.pem".into(), credential("broker-key"))));
    for (keys, told) in [
        ("  user: u\n  password-file: /p\n  password-credential: p\n", "`password-credential` stands beside"),
        ("  password-credential: p\n", "a password without a user"),
        ("  user: u\n  password-credential: ../shadow\n", "contains `.`"),
        ("  tls: {client-key-credential: k}\n", "`client-key-credential` is of no use without"),
        (
            "  tls: {client-certificate-file: /c, client-key-file: /k, client-key-credential: k}\n",
            "`client-key-credential` stands beside `client-key-file`",
        ),
    ] {
        let problems = broker(keys).unwrap_err();
        assert!(problems.list.len() == 1 && problems.to_string().contains(told), "{keys}{problems}");
    }
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
    assert!((room.humidifier.unwrap().tank().unwrap().litres() - 227.124_707).abs() < 1e-5);
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
fn a_tent_in_a_heated_room_draws_the_air_of_the_space_that_is_measured_around_it() {
    let config = example("heated-room-tent.yaml");
    let farm = &config.farm;
    let barn = &farm.spaces[0];
    assert_eq!((barn.name.as_str(), barn.title.as_str()), ("packing-barn", "Packing barn"));
    let (temperature, humidity) = barn.assumed.unwrap();
    assert!((temperature.celsius() - 18.0).abs() < 1e-9 && (humidity.percent() - 35.0).abs() < 1e-9);
    assert_eq!(farm.rooms[0].intake, Intake::Space(0));
    let of_barn = |quantity| farm.sources.iter().any(|s| (s.place, s.quantity) == (Place::Space(0), quantity));
    assert!([Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide].into_iter().all(of_barn));
    assert_eq!(farm.title(Place::Space(0)), "Packing barn");
}

#[test]
fn the_design_cold_is_what_is_written_or_follows_from_latitude_and_height() {
    let coldest = |line: &str| {
        let text = with("  elevation: 95 m\n", &format!("  elevation: 95 m\n{line}"));
        config::parse(&text, "farm.yaml").unwrap_or_else(|problems| panic!("{problems}")).farm.site.coldest().celsius()
    };
    assert!((coldest("  design-cold: −9.5 °C\n") + 9.5).abs() < 1e-9);
    // −4 − 0.7 × (61.35 − 33) − 6.5 × 0.095 is −24.46 °C, said in whole degrees.
    assert!((coldest("") + 24.0).abs() < 1e-9, "{}", coldest(""));
    let mut site = example("one-room.yaml").farm.site;
    site.latitude = -45.0;
    assert!((site.coldest().celsius() + 13.0).abs() < 1e-9, "{}", site.coldest().celsius());
}

#[test]
fn every_mistake_of_a_bad_file_is_reported_at_its_place() {
    let problems = config::parse(&read("tests/config/mistakes.yaml"), "mistakes.yaml").unwrap_err();
    insta::assert_snapshot!("mistakes", problems.to_string());
    assert!(problems.list.len() >= 30, "only {} problems were found", problems.list.len());
    assert!(problems.list.iter().all(|problem| problem.location.is_some()));
    assert!(!problems.to_string().contains("secret"), "a password was shown");
}

#[test]
fn a_thousand_mistakes_are_all_told_each_at_its_line() {
    // With a suspicious comment in the file, every text is looked up too.
    let room = |at: usize| {
        format!(
            "  r{at}:\n    volume: 62\n    colour: red\n    crop: {{species: oyster, stage: fruiting, substrate: 9 kg}}\n    \
             fan: {{capacity: 600 m³/h, floor: 1 /h, usual: 5 /h}}\n    sensors:\n      \
             temperature: {{topic: barn/r{at}/t, unit: \"%\"}}\n      carbon-dioxide: {{topic: barn/r{at}/c, unit: ppm}}\n"
        )
    };
    let head = "site: {name: barn, title: \"Barn #1\", latitude: 61, longitude: 25, elevation: 95 m, time-zone: UTC}\n\
                broker: {host: localhost}\nforecast: {contact: g@barn.example}\nrooms:\n";
    let text: String = std::iter::once(head.to_owned()).chain((0..400).map(room)).collect();
    let problems = problems(&text);
    assert_eq!(problems.list.len(), 1_200);
    for (index, problem) in problems.list.iter().enumerate() {
        let place = problem.location.map(|place| (place.line, place.column));
        let (room, first) = (index / 3, 5 + 8 * (index / 3));
        let unit = 44 + room.to_string().len();
        let wanted = [(first + 1, 13), (first + 2, 5), (first + 6, unit)][index % 3];
        assert_eq!(place, Some(wanted), "{problem}");
    }
}

#[test]
fn rooms_that_cannot_be_placed_are_still_checked() {
    let text =
        with("    volume: 62 m³\n", "    volume: 62 m³\n    intake: nowhere\n").replace("floor: 1 /h", "floor: 0 /h");
    let problems = problems(&text);
    let mistakes: Vec<_> = problems.list.iter().map(|problem| &problem.mistake).collect();
    assert_eq!(mistakes, [&Mistake::UnknownRoom("nowhere".into()), &Mistake::ZeroFloor]);
}

#[test]
fn one_mistake_gives_one_message_at_its_line_and_column() {
    for (line, replacement, key, place) in [
        ("  host: localhost\n", "  port: 1883\n", "broker", (10, 1)),
        ("    volume: 62 m³\n", "    volume: {}\n", "rooms.oyster-room.volume", (18, 13)),
        ("usual: 5 /h", "usual: 0.5 /h", "rooms.oyster-room.fan.floor", (25, 14)),
        ("usual: 5 /h", "usual: 15 /h", "rooms.oyster-room.fan.usual", (26, 14)),
        ("usual: 5 /h", "usual: 5 /h\n      fallback: 0.2 /h", "rooms.oyster-room.fan.floor", (25, 14)),
        ("unit: ppm", "unit: ppm, maximum-age: 10", "rooms.oyster-room.sensors.carbon-dioxide.maximum-age", (34, 79)),
        (
            "barn/oyster-room/humidity",
            "barn/oyster-room/temperature",
            "rooms.oyster-room.sensors.relative-humidity.topic",
            (33, 34),
        ),
        (
            "\"barn/oyster-room/humidity\"",
            "homie/5/small-barn-oyster-room/air",
            "rooms.oyster-room.sensors.relative-humidity.topic",
            (33, 34),
        ),
        ("  oyster-room:\n", "  small-barn:\n", "rooms.small-barn", (17, 3)),
        ("  oyster-room:\n", "  12:\n", "rooms.12", (17, 3)),
        ("rooms:\n", "spaces: {barn: {title: Barn}}\nrooms:\n", "spaces.barn", (16, 10)),
        ("rooms:\n", "spaces: {barn: {assumed: {temperature: 18 °C}}}\nrooms:\n", "spaces.barn.assumed", (16, 17)),
        (
            "rooms:\n",
            "spaces:\n  barn:\n    sensors: {relative-humidity: {topic: barn, unit: \"%\"}}\n    \
             assumed: {temperature: 18 °C, relative-humidity: 35 %}\nrooms:\n",
            "spaces.barn.sensors.relative-humidity",
            (18, 15),
        ),
        (
            "rooms:\n",
            "spaces: {oyster-room: {assumed: {temperature: 18 °C, relative-humidity: 35 %}}}\nrooms:\n",
            "spaces.oyster-room",
            (16, 10),
        ),
        ("    volume: 62 m³\n", "    volume: 62 m³\n    intake: barn\n", "rooms.oyster-room.intake", (19, 13)),
        ("output: 6 L/h", "output: −6 L/h", "rooms.oyster-room.humidifier.output", (29, 15)),
        ("stage: fruiting", "stage: !word fruiting", "rooms.oyster-room.crop.stage", (21, 14)),
        ("stage: fruiting", "stage: ", "rooms.oyster-room.crop.stage", (21, 13)),
        ("host: localhost", "host: localhost\n  port: 0", "broker.port", (12, 9)),
        ("contact: grower@small-barn.example", "service: met-norway", "forecast", (13, 1)),
        ("host: localhost", "host: localhost\n  socket: /run/broker.sock", "broker.host", (11, 3)),
        ("host: localhost", "socket: /run/broker.sock\n  port: 1883", "broker.port", (12, 3)),
        ("host: localhost", "socket: /run/broker.sock\n  tls: {}", "broker.tls", (12, 3)),
        ("host: localhost", "host: localhost\n  tls: {client-key-file: k.pem}", "broker.tls.client-key-file", (12, 26)),
        (
            "host: localhost",
            "host: localhost\n  tls: {client-certificate-file: c.pem}",
            "broker.tls.client-certificate-file",
            (12, 34),
        ),
    ] {
        let problems = problems(&with(line, replacement));
        let [problem] = problems.list.as_slice() else { panic!("{replacement}: {problems}") };
        let found = problem.location.map(|place| (place.line, place.column)).unwrap();
        assert_eq!((problem.key.as_str(), found), (key, place), "{problems}");
    }
}

#[test]
fn a_band_that_crosses_the_catalogues_is_refused_in_the_growers_units() {
    let text =
        read("examples/us-units.yaml").replace("lowest: 56 °F, preferred: 59 °F, highest: 64 °F", "lowest: 61 °F");
    let problems = problems(&text);
    let [problem] = problems.list.as_slice() else { panic!("{problems}") };
    // The catalogue prefers 15 °C for fruiting king oyster.
    assert_eq!(problem.mistake.to_string(), "lowest (61 °F) is more than preferred (59.0 °F)");
    assert_eq!(problem.hint.as_deref(), Some("`preferred` is the catalogue's; give it too"));
}

#[test]
fn what_yaml_cannot_read_and_a_key_that_stands_twice_are_reported_alone() {
    let unclosed = with("  host: localhost\n", "  host: \"localhost\n").replace("volume: 62 m³", "volume: 62");
    let unread = problems(&unclosed);
    assert!(matches!(unread.list.as_slice(), [Problem { mistake: Mistake::Syntax(_), .. }]), "{unread}");
    let twice =
        with("  host: localhost\n", "  host: localhost\n  host: other\n").replace("volume: 62 m³", "volume: 62");
    let twice = problems(&twice);
    let [problem] = twice.list.as_slice() else { panic!("{twice}") };
    assert_eq!(problem.mistake, Mistake::DuplicateKey("host".into()));
    assert_eq!(problem.location.map(|place| (place.line, place.column)), Some((12, 3)));
    assert_eq!(problems("# nothing\n").list[0].mistake, Mistake::Nothing);
    let bomb = "a: &a [x, x]\nb: &b [*a, *a, *a, *a, *a, *a, *a, *a, *a, *a]\n";
    let bomb = (0..6).fold(bomb.to_owned(), |text, at| {
        let (from, to) = (char::from(b'b' + at), char::from(b'c' + at));
        format!("{text}{to}: &{to} [{}]\n", vec![format!("*{from}"); 10].join(", "))
    });
    assert!(!problems(&bomb).list.is_empty());
}

#[test]
fn anchors_and_merges_are_understood() {
    let text = with("    fan:\n", "    fan: &fan\n");
    let twin = "  twin:\n    volume: 62 m³\n    crop: {species: oyster, stage: pinning, substrate: 80 kg}\n    \
                fan:\n      <<: *fan\n      usual: 6 /h\n";
    let config = config::parse(&format!("{text}{twin}"), "farm.yaml").unwrap_or_else(|problems| panic!("{problems}"));
    assert!((config.farm.rooms[1].fan.usual.cubic_metres_per_hour() - 372.0).abs() < 1e-9);
    assert_eq!(config.farm.rooms[1].fan.capacity, config.farm.rooms[0].fan.capacity);
}

#[test]
fn the_reference_page_is_in_step_with_the_table() {
    assert!(
        read("examples/REFERENCE.md") == config::schema::reference(),
        "run `mistwright schema --reference > examples/REFERENCE.md`"
    );
}

/// The program's exit code and standard output.
fn program(arguments: &[&str]) -> (Option<i32>, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap();
    (output.status.code(), String::from_utf8(output.stdout).unwrap())
}

#[test]
fn check_says_by_its_exit_code_whether_the_file_is_good_bad_or_unreadable() {
    let (code, text) = program(&["check", "examples/frosthollow.yaml"]);
    assert_eq!(code, Some(0));
    assert!(text.contains("Oyster hall: oyster, fruiting, air from Anteroom"), "{text}");
    assert!(!text.contains("No carbon dioxide sensor"), "{text}");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("farm.yaml");
    let blind = with("      carbon-dioxide: {topic: \"barn/oyster-room/co2\", unit: ppm}\n", "");
    fs::write(&file, blind).unwrap();
    let (code, text) = program(&["check", file.to_str().unwrap()]);
    assert_eq!((code, text.contains("No carbon dioxide sensor")), (Some(0), true), "{text}");
    let (code, text) = program(&["check", "tests/config/mistakes.yaml"]);
    assert_eq!(code, Some(1));
    assert!(text.contains("tests/config/mistakes.yaml:7:14: site.elevation"), "{text}");
    assert_eq!(program(&["check", "no-such-file.yaml"]).0, Some(2));
}

#[test]
fn schema_prints_the_schema_or_the_page() {
    let (code, text) = program(&["schema"]);
    assert_eq!(code, Some(0));
    assert_eq!(serde_json::from_str::<serde_json::Value>(&text).unwrap(), config::schema::json());
    assert_eq!(program(&["schema", "--reference"]), (Some(0), config::schema::reference()));
}

/// A file with some of its lines left out, doubled, moved in, or with another value behind the key.
fn damaged() -> impl Strategy<Value = String> {
    let values = prop::sample::select(vec![
        "",
        "~",
        "[]",
        "{}",
        "-1",
        ".nan",
        ".inf",
        "1e400",
        "off",
        "yes",
        "outdoors",
        "oyster-hall",
        "lung",
        "*a",
        "&a x",
        "!t x",
        "\"\"",
        "\"\\0\"",
        "0 /h",
        "1e9 m³",
        "-5 °C",
        "99 %",
        "a/b",
        "#",
        "|\n",
        "\u{feff}",
        "0x10",
        "é",
        "[a: {b}]",
    ]);
    let change = (0..4_u8, any::<prop::sample::Index>(), values);
    prop::collection::vec(change, 1..6).prop_map(|changes| {
        let mut lines: Vec<String> = read("examples/frosthollow.yaml").lines().map(str::to_owned).collect();
        for (kind, at, value) in changes {
            let at = at.index(lines.len());
            match kind {
                0 => drop(lines.remove(at)),
                1 => lines.insert(at, lines[at].clone()),
                2 => lines[at].insert_str(0, "  "),
                _ => {
                    let key = lines[at].split(':').next().unwrap_or_default().to_owned();
                    lines[at] = format!("{key}: {value}");
                }
            }
        }
        lines.join("\n")
    })
}

proptest! {
    #[test]
    fn no_damage_makes_the_reader_panic_or_refuse_without_a_reason(text in damaged()) {
        if let Err(problems) = config::parse(&text, "farm.yaml") {
            prop_assert!(!problems.list.is_empty(), "{text}");
            prop_assert!(problems.list.iter().all(|problem| !problem.mistake.to_string().is_empty()));
        }
    }

    #[test]
    fn no_text_makes_the_reader_panic_or_becomes_a_farm(text in "[ a-z:{}\\[\\]&*!|>'\"%@`,#?\n\t-]{0,80}|.{0,60}") {
        let problems = config::parse(&text, "farm.yaml").unwrap_err();
        prop_assert!(!problems.list.is_empty(), "{text}");
    }
}
