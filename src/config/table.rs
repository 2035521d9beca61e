//! The key table: everything that a configuration file may say. Checks, JSON Schema and the reference page are made
//! from it, so a new key is a new row here and a line in [`build`](super::build) that reads it.

use super::kind::Kind;

mod equipment;
mod forecast;
mod rooms;
mod sensors;
mod services;
mod shell;
mod site;

/// Whether a key must be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Without it there is no configuration.
    Required,
    /// It may be missing, and then nothing takes its place.
    Optional,
    /// This is meant where it is missing, exactly as if it had been written.
    Default(&'static str),
    /// What is meant where it is missing depends on other keys; here it is in words.
    Computed(&'static str),
}

/// One key.
#[derive(Debug)]
pub struct Key {
    /// From the top, with points between. `*` stands for a name that the grower chooses, `a|b` for either.
    pub path: &'static str,
    /// What may stand there.
    pub kind: Kind,
    /// Whether it must.
    pub need: Need,
    /// What it is for, in a sentence or two.
    pub doc: &'static str,
    /// A sensible value; empty for a section.
    pub example: &'static str,
}

impl Key {
    /// The key's own name: the last part of its path.
    pub fn name(&self) -> &'static str {
        self.path.rsplit('.').next().unwrap_or(self.path)
    }

    /// The pattern of the section that holds it; empty at the top.
    pub fn parent(&self) -> &'static str {
        self.path.rsplit_once('.').map_or("", |(parent, _)| parent)
    }

    /// Whether `written` is this key's name.
    pub fn takes(&self, written: &str) -> bool {
        self.name() == "*" || self.name().split('|').any(|name| name == written)
    }
}

/// The keys of the section with this pattern, in the table's order.
pub fn children(section: &str) -> impl Iterator<Item = &'static Key> {
    KEYS.iter().copied().filter(move |key| key.parent() == section)
}

/// The row with exactly this pattern.
pub fn key(pattern: &str) -> Option<&'static Key> {
    KEYS.iter().copied().find(|key| key.path == pattern)
}

const fn section(path: &'static str, need: Need, doc: &'static str) -> Key {
    Key { path, kind: Kind::Section, need, doc, example: "" }
}

const fn row(path: &'static str, kind: Kind, need: Need, doc: &'static str, example: &'static str) -> Key {
    Key { path, kind, need, doc, example }
}

/// Every key, a section before what it holds.
pub static KEYS: std::sync::LazyLock<Vec<&'static Key>> = std::sync::LazyLock::new(|| {
    let parts = [
        site::KEYS,
        services::KEYS,
        forecast::KEYS,
        services::SERVING,
        rooms::SPACES,
        rooms::KEYS,
        equipment::FAN,
        equipment::KEYS,
        shell::KEYS,
    ];
    parts.into_iter().chain(sensors::KEYS.iter().copied()).flatten().collect()
});

/// Sections in which exactly one of several keys stands.
pub const WAYS: &[(&str, &[&str])] = &[
    ("broker", &["host", "socket"]),
    ("rooms.*.shell.surfaces.*", &super::shell::SURFACE_WAYS),
    ("rooms.*.fan", &["capacity", "curve"]),
];

/// Words that people write for a key of ours, and that key. Hints only.
pub const ALIASES: &[(&str, &str)] = &[
    ("altitude", "elevation"),
    ("lat", "latitude"),
    ("lon", "longitude"),
    ("lng", "longitude"),
    ("timezone", "time-zone"),
    ("tz", "time-zone"),
    ("username", "user"),
    ("password", "password-file"),
    ("address", "host"),
    ("server", "host"),
    ("id", "name"),
    ("co2", "carbon-dioxide"),
    ("rh", "relative-humidity"),
    ("humidity", "relative-humidity"),
    ("temp", "temperature"),
    ("weather", "forecast"),
    ("mqtt", "broker"),
    ("url", "base-url"),
    ("email", "contact"),
    ("tank", "water"),
    ("type", "method"),
    ("json-pointer", "pointer"),
    ("path", "pointer"),
    ("max-age", "maximum-age"),
    ("minimum", "lowest"),
    ("maximum", "highest"),
    ("min", "lowest"),
    ("max", "highest"),
    ("target", "preferred"),
    ("co2-limit", "carbon-dioxide-limit"),
    ("size", "volume"),
    ("weight", "substrate"),
    ("outdoor", "outdoors"),
    ("outside", "outdoors"),
    ("metrics", "http"),
    ("ssl", "tls"),
    ("ca", "ca-file"),
    ("cert", "client-certificate-file"),
    ("certificate", "client-certificate-file"),
    ("client-cert", "client-certificate-file"),
    ("key-file", "client-key-file"),
    ("unix-socket", "socket"),
    ("surroundings", "spaces"),
    ("format", "decoder"),
    ("locations", "positions"),
    ("sentinels", "missing"),
    ("null-values", "missing"),
    ("space", "spaces"),
    ("room", "rooms"),
    ("envelope", "shell"),
    ("heating", "heater"),
    ("cooling", "cooler"),
    ("preheater", "tempering"),
    ("setpoint", "setting"),
    ("thermostat", "setting"),
    ("period-time", "period"),
    ("cycle", "period"),
    ("speed", "air-speed"),
    ("exchanger", "recovery"),
    ("heat-recovery", "recovery"),
    ("points", "curve"),
    ("min-on", "minimum-on"),
    ("min-off", "minimum-off"),
    ("watts", "power"),
    ("walls", "shell"),
    ("ua", "heat-loss"),
    ("u", "u-value"),
    ("transmittance", "u-value"),
    ("thermal-mass", "fabric"),
    ("heat-capacity", "fabric"),
    ("frsi", "temperature-factor"),
    ("surface-temperature", "probe"),
    ("sensor", "probe"),
];

#[cfg(test)]
mod tests {
    use serde_yaml::Value;

    use super::*;

    fn value(text: &str) -> Value {
        serde_yaml::from_str(text).unwrap()
    }

    #[test]
    fn every_example_and_every_default_of_the_table_passes_the_tables_own_check() {
        for key in KEYS.iter().filter(|key| !key.kind.holds_keys()) {
            // Units hang on the nearest section that is named for a quantity.
            let quantity =
                |part: &&str| part.split('|').all(|name| crate::config::kind::quantity_named(name).is_some());
            let parts = || key.parent().rsplit('.');
            for section in parts().find(quantity).or(parts().next()).unwrap().split('|') {
                // One example serves the units of every quantity; the page and the schema list them all.
                let hangs = matches!(key.kind, Kind::SensorUnit | Kind::SensorValue | Kind::SensorDifference);
                if !hangs || section == "temperature" {
                    key.kind
                        .check(&value(key.example), section)
                        .unwrap_or_else(|error| panic!("{}: {error}", key.path));
                }
                if let Need::Default(text) = key.need {
                    key.kind.check(&value(text), section).unwrap_or_else(|error| panic!("{}: {error}", key.path));
                }
            }
        }
    }

    #[test]
    fn every_key_stands_behind_its_section_and_no_key_stands_twice() {
        for (index, key) in KEYS.iter().enumerate() {
            let before = &KEYS[..index];
            assert!(key.parent().is_empty() || before.iter().any(|other| other.path == key.parent()), "{}", key.path);
            for name in key.name().split('|') {
                let twin = before.iter().find(|other| other.parent() == key.parent() && other.takes(name));
                assert!(twin.is_none(), "{} stands twice", key.path);
            }
        }
    }

    #[test]
    fn every_hint_leads_to_a_key_of_the_table_and_from_a_word_that_is_none() {
        for (word, key) in ALIASES {
            assert!(KEYS.iter().any(|row| row.name() != "*" && row.takes(key)), "{key} is no key");
            assert!(!KEYS.iter().any(|row| row.name() != "*" && row.takes(word)), "{word} is a key");
        }
    }
}
