//! The key table for machines (a JSON Schema, which editors check and complete by) and for people (a reference page).

use std::fmt::Write;

use serde_json::{Map, Value, json};

use super::{
    kind::{self, Kind},
    table::{self, KEYS, Key, Need},
    walk::shown,
};
use crate::model::{
    Identifier, Species, Stage,
    crop::{Figure, Origin},
};

/// The schema of a configuration file, in JSON Schema's 2020-12 edition. What it refuses, the check refuses too; the
/// check also reads units, and sees keys together.
pub fn json() -> Value {
    let mut schema = object("", "");
    if let Some(top) = schema.as_object_mut() {
        top.insert("$schema".into(), json!("https://json-schema.org/draft/2020-12/schema"));
        top.insert("title".into(), json!("Mistwright configuration"));
    }
    schema
}

fn object(pattern: &str, name: &str) -> Value {
    let mut properties = Map::new();
    let mut required = Vec::new();
    for key in table::children(pattern) {
        if key.name() == "*" {
            let names = json!({"pattern": "^[a-z0-9]+(-[a-z0-9]+)*$", "maxLength": Identifier::LONGEST});
            let named = described(key, object(key.path, ""));
            let least = usize::from(table::key(pattern).is_some_and(|key| key.need == Need::Required));
            return json!({
                "type": "object", "minProperties": least, "propertyNames": names, "additionalProperties": named
            });
        }
        for name in key.name().split('|') {
            properties.insert(name.into(), described(key, value(key, name)));
        }
        if key.need == Need::Required {
            required.push(key.name());
        }
    }
    // A sensor's units hang on the section that it stands in.
    if let (Some(Value::Object(unit)), Some(quantity)) = (properties.get_mut("unit"), kind::quantity_named(name)) {
        let units: Vec<_> = kind::sensor_units(quantity).iter().map(|(unit, _)| *unit).collect();
        unit.insert("examples".into(), json!(units));
    }
    let mut object = json!({"type": "object", "properties": properties, "additionalProperties": false});
    if let (Some(object), false) = (object.as_object_mut(), required.is_empty()) {
        object.insert("required".into(), json!(required));
    }
    let ways = table::WAYS.iter().find(|(section, _)| *section == pattern).map_or(&[][..], |(_, ways)| ways);
    if let (Some(object), false) = (object.as_object_mut(), ways.is_empty()) {
        let ways: Vec<_> = ways.iter().map(|way| json!({"required": [way]})).collect();
        object.insert("oneOf".into(), json!(ways));
    }
    object
}

fn value(key: &Key, name: &str) -> Value {
    match key.kind {
        Kind::Section | Kind::Names => object(key.path, name),
        Kind::List => json!({"type": "array", "items": object(key.path, name)}),
        Kind::Word(words) => json!({"type": "string", "enum": words()}),
        Kind::Flag => json!({"type": "boolean"}),
        Kind::Degrees(limit) => json!({"type": "number", "minimum": -limit, "maximum": limit}),
        Kind::Share => json!({"type": "number", "minimum": 0, "maximum": 1}),
        Kind::Numbers => json!({"type": "array", "items": {"type": "number"}}),
        Kind::Factor => json!({"type": "number", "minimum": 0.5, "maximum": 2.0}),
        Kind::Port => json!({"type": "integer", "minimum": 1, "maximum": u16::MAX}),
        _ => json!({"type": "string", "minLength": usize::from(!matches!(key.kind, Kind::Pointer))}),
    }
}

fn described(key: &Key, mut schema: Value) -> Value {
    // What an editor should offer has the type that the file would have.
    let typed = |text: &str| serde_yaml::from_str::<Value>(text).unwrap_or_else(|_| json!(text));
    if let Some(fields) = schema.as_object_mut() {
        let description = match key.need {
            Need::Computed(words) => format!("{} Without it: {words}.", key.doc),
            _ => key.doc.to_owned(),
        };
        fields.insert("description".into(), json!(description));
        if let Need::Default(text) = key.need {
            fields.insert("default".into(), typed(text));
        }
        if !key.example.is_empty() {
            fields.entry("examples").or_insert_with(|| json!([typed(key.example)]));
        }
    }
    schema
}

/// The reference page, in Markdown.
pub fn reference() -> String {
    let mut page = String::from(
        "# Configuration reference\n\n\
         Made by `mistwright schema --reference` from the table that also checks the file; do not edit it by hand.\n\n\
         A quantity is a number with its unit, such as `180 m³`, `1 480 ft³`, `64 °F`, `250 cfm` or `6 /h`. A number \
         without a unit is an error, and so is a decimal comma. Air changes are always per hour. `<room>`, `<space>`, \
         `<surface>` and `<position>` stand for names of your own. `mistwright check FILE` reports everything that is wrong with a file, each at its line.\n",
    );
    for section in KEYS.iter().filter(|key| key.kind.holds_keys()) {
        let presence = match section.need {
            Need::Required => "Required.".to_owned(),
            Need::Computed(words) => format!("Without it: {words}."),
            Need::Optional | Need::Default(_) => "May be left out.".to_owned(),
        };
        let presence = if section.name() == "*" { String::new() } else { format!(" {presence}") };
        let _ = write!(page, "\n## `{}`\n\n{}{presence}\n", shown(section.path), section.doc);
        let mut first = true;
        for key in table::children(section.path).filter(|key| !key.kind.holds_keys()) {
            if first {
                page.push_str(
                    "\n| key | meaning | what may stand there | without it | example |\n|---|---|---|---|---|\n",
                );
                first = false;
            }
            let without = match key.need {
                Need::Required => "**required**".to_owned(),
                Need::Optional => "nothing".to_owned(),
                Need::Default(text) => format!("`{text}`"),
                Need::Computed(words) => words.to_owned(),
            };
            let allowed = allowed(key, section);
            let (name, doc) = (key.name().replace('|', "`, `"), key.doc);
            let _ = writeln!(page, "| `{name}` | {doc} | {allowed} | {without} | `{}` |", key.example);
        }
    }
    catalogue(&mut page);
    page
}

/// What is allowed; for a sensor's unit, by the quantities that the section stands for.
fn allowed(key: &Key, section: &Key) -> String {
    if !matches!(key.kind, Kind::SensorUnit) {
        return key.kind.allowed("");
    }
    let by_quantity = section.name().split('|').map(|name| format!("{name}: {}", key.kind.allowed(name)));
    by_quantity.collect::<Vec<_>>().join("; ")
}

const fn mark(origin: Origin) -> &'static str {
    match origin {
        Origin::Read => "r",
        Origin::WeakSource => "w",
        Origin::Calculated => "c",
        Origin::Memory => "m",
        Origin::Judgement => "j",
    }
}

fn catalogue(page: &mut String) {
    page.push_str(
        "\n## The crop catalogue\n\nWhat is assumed where `bands` and `respiration` say nothing: lowest, preferred and \
         highest, and for carbon dioxide given off the middle and the upper figure. The letter behind a figure says \
         where it comes from: ",
    );
    let origins = [Origin::Read, Origin::WeakSource, Origin::Calculated, Origin::Memory, Origin::Judgement];
    let legend = origins.map(|origin| format!("**{}** {}", mark(origin), origin.words())).join("; ");
    let _ = write!(
        page,
        "{legend}. Sources that ask for 95–100 % are cut at 95 %. Strains differ more than sources do: write your own \
         bands.\n\n\
         | species | stage | temperature, °C | relative humidity, % | limit, ppm | output, g/kg/h |\n\
         |---|---|---|---|---|---|\n"
    );
    let cell = |figures: &[Figure]| {
        let texts = figures.iter().map(|figure| format!("{} {}", figure.value, mark(figure.origin)));
        texts.collect::<Vec<_>>().join(" · ")
    };
    for species in Species::ALL {
        for stage in Stage::ALL.into_iter().filter(|stage| *stage != Stage::Empty) {
            let entry = species.entry(stage);
            let _ = writeln!(
                page,
                "| `{}` | `{}` | {} | {} | {} | {} |",
                species.name(),
                stage.name(),
                cell(&entry.temperature),
                cell(&entry.relative_humidity),
                cell(&[entry.carbon_dioxide_limit]),
                cell(&entry.respiration),
            );
        }
    }
    let empty = crate::model::crop::WITHOUT_CROP;
    let _ = writeln!(
        page,
        "| no crop | `empty` | {} | {} | {} | 0 |",
        cell(&empty.temperature),
        cell(&empty.relative_humidity),
        cell(&[empty.carbon_dioxide_limit])
    );
}
