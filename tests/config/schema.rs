//! The JSON Schema, judged by a validator that is not ours.

use boon::{Compiler, SchemaIndex, Schemas};
use mistwright::config;
use proptest::prelude::*;
use serde_json::Value;

use super::{damaged, read, with};

/// The schema, checked against the meta-schema of its own edition.
struct Schema {
    schemas: Schemas,
    index: SchemaIndex,
}

impl Schema {
    fn new() -> Self {
        let (mut schemas, mut compiler) = (Schemas::new(), Compiler::new());
        compiler.add_resource("mistwright.json", config::schema::json()).unwrap();
        let index = compiler.compile("mistwright.json", &mut schemas).unwrap_or_else(|error| panic!("{error:#}"));
        Self { schemas, index }
    }

    /// What the schema has against a file, if anything.
    fn against(&self, text: &str) -> Option<String> {
        let mut values: serde_yaml::Value = serde_yaml::from_str(text).unwrap();
        values.apply_merge().unwrap();
        let values: Value = serde_json::to_value(values).unwrap();
        self.schemas.validate(&values, self.index).err().map(|error| format!("{error:#}"))
    }
}

#[test]
fn the_schema_accepts_every_example() {
    let schema = Schema::new();
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let names = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap());
    let mut files: Vec<_> =
        names.filter(|name| name.ends_with(".yaml")).map(|name| format!("examples/{name}")).collect();
    files.push("tests/config/sure.yaml".to_owned());
    assert!(files.len() >= 5, "{files:?}");
    for file in files {
        assert_eq!(schema.against(&read(&file)), None, "{file}");
    }
}

#[test]
fn the_schema_refuses_wrong_keys_missing_keys_bare_numbers_and_two_ways_at_once() {
    let schema = Schema::new();
    let volume = "    volume: 62 m³\n";
    let more = |keys: &str| format!("{volume}    {keys}\n");
    let wall = "wall: {area: 9 m², u-value: 1 W/m²K}";
    let space = "spaces: {barn: {assumed: {temperature: 18 °C}}}\nrooms:\n";
    for (line, replacement) in [
        ("elevation: 95 m", "elevation: 95".to_owned()),
        ("elevation: 95 m", "height: 95 m".to_owned()),
        ("elevation: 95 m", "elevation: 95 m\n  height: 95 m".to_owned()),
        ("  host: localhost\n", "  port: 1883\n".to_owned()),
        ("  host: localhost\n", "  host: localhost\n  socket: /run/broker.sock\n".to_owned()),
        ("species: oyster", "species: oister".to_owned()),
        ("rooms:\n", space.to_owned()),
        ("      capacity: 600 m³/h\n", String::new()),
        ("      capacity: 600 m³/h\n", "      curve: {20 %: 60 m³/h}\n".to_owned()),
        ("      capacity: 600 m³/h\n", "      curve: [{command: 20 %}]\n".to_owned()),
        (volume, more("shell: {heat-loss: 60}")),
        (volume, more("shell: {surfaces: {door: {}}}")),
        (volume, more("shell: {surfaces: {door: {temperature-factor: 94}}}")),
        (volume, more(&format!("shell: {{surfaces: {{door: {{temperature-factor: 0.9, {wall}}}}}}}"))),
        (volume, more("heater: {setting: 16 °C}")),
        (volume, more("pan: {area: 1 m², depth: 2 cm}")),
        (volume, more("air-speed: 0.1")),
    ] {
        let text = with(line, &replacement);
        assert!(schema.against(&text).is_some(), "{replacement}");
        assert!(config::parse(&text, "farm.yaml").is_err(), "the check accepts {replacement}");
    }
    let good = format!("shell: {{heat-loss: 60 W/K, surfaces: {{door: {{{wall}}}}}}}");
    assert_eq!(schema.against(&with(volume, &more(&good))), None);
}

proptest! {
    #[test]
    fn what_the_check_accepts_the_schema_accepts(text in damaged()) {
        if config::parse(&text, "farm.yaml").is_ok() {
            prop_assert_eq!(Schema::new().against(&text), None, "{}", text);
        }
    }
}
