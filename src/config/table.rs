//! The key table: everything that a configuration file may say. Checks, JSON Schema and the reference page are made
//! from it, so a new key is a new row here and a line in [`build`](super::build) that reads it.

use super::kind::{self, Kind};
use crate::units::{CarbonDioxide, Elevation, Fraction, Mass, RelativeHumidity, Temperature, Volume, WaterFlow};

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

const SITE: &[Key] = &[
    section("site", Need::Required, "Where the farm stands and how its people read."),
    row(
        "site.name",
        Kind::Name,
        Need::Required,
        "Short name of the farm: part of every published topic, so choose it once.",
        "frosthollow",
    ),
    row(
        "site.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The farm's name for people.",
        "Frosthollow farm",
    ),
    row(
        "site.latitude",
        Kind::Degrees(90.0),
        Need::Required,
        "Decimal degrees, north positive. Four decimals are more than a forecast needs.",
        "61.35",
    ),
    row("site.longitude", Kind::Degrees(180.0), Need::Required, "Decimal degrees, east positive.", "25.28"),
    row(
        "site.elevation",
        kind::quantity::<Elevation>(),
        Need::Required,
        "Height above sea level. It sets the air pressure where no sensor does, and the forecast's temperature.",
        "420 m",
    ),
    row(
        "site.time-zone",
        Kind::TimeZone,
        Need::Required,
        "Name in the IANA time zone database, for the times in sentences.",
        "Europe/Helsinki",
    ),
    row(
        "site.units",
        Kind::Word(kind::unit_systems),
        Need::Default("metric"),
        "Units of everything that people read and of the published topics. Metrics always use base units.",
        "metric",
    ),
    row(
        "site.hard-frost",
        kind::quantity::<Temperature>(),
        Need::Default("-4 °C"),
        "Outdoor temperature at which water lines outdoors or in the intake may freeze. The default is common \
         practice, no source.",
        "-4 °C",
    ),
];

const SERVICES: &[Key] = &[
    section("broker", Need::Required, "The MQTT broker that the sensors publish to. It must speak MQTT 5."),
    row(
        "broker.host",
        Kind::Host,
        Need::Computed("nothing; required unless there is a `socket`"),
        "Host name or address. With `tls`, the broker's certificate has to be made out to it.",
        "localhost",
    ),
    row("broker.port", Kind::Port, Need::Computed("1883, or 8883 with `tls`"), "TCP port.", "1883"),
    row(
        "broker.socket",
        Kind::File,
        Need::Optional,
        "Unix socket of a broker on this machine, instead of `host`, `port` and `tls`.",
        "/run/mosquitto/mosquitto.sock",
    ),
    row("broker.user", Kind::Text, Need::Optional, "User name, if the broker wants one.", "mistwright"),
    row(
        "broker.password-file",
        Kind::File,
        Need::Optional,
        "File that holds the password and nothing else. It is read at each connection and never shown.",
        "/etc/mistwright/broker-password",
    ),
    row(
        "broker.password-credential",
        Kind::Name,
        Need::Optional,
        "Instead of `password-file`: name of the credential under which systemd hands the password to the service \
         (`LoadCredential=` in its unit).",
        "broker-password",
    ),
    row(
        "broker.client-id",
        Kind::Text,
        Need::Computed("`mistwright-` and the site's name"),
        "MQTT client identifier. Two clients with the same one throw each other out.",
        "mistwright-frosthollow",
    ),
    row(
        "broker.domain",
        Kind::Name,
        Need::Default("homie"),
        "First level of the published topics. Controllers that know the Homie convention look for `homie`.",
        "homie",
    ),
    section(
        "broker.tls",
        Need::Computed("no encryption"),
        "TLS to the broker; `tls: {}` trusts the system's root certificates. All files are in PEM form and are read \
         anew at each connection, so that a renewed certificate counts without a restart.",
    ),
    row(
        "broker.tls.ca-file",
        Kind::File,
        Need::Computed("the system's root certificates"),
        "Certificates of the authorities that may vouch for the broker: with this, only these.",
        "/etc/mistwright/broker-ca.pem",
    ),
    row(
        "broker.tls.client-certificate-file",
        Kind::File,
        Need::Optional,
        "Certificate of this client, for a broker that asks for one; intermediates follow in the same file.",
        "/etc/mistwright/client.pem",
    ),
    row(
        "broker.tls.client-key-file",
        Kind::File,
        Need::Optional,
        "Private key of that certificate, without a passphrase. It is never shown.",
        "/etc/mistwright/client-key.pem",
    ),
    row(
        "broker.tls.client-key-credential",
        Kind::Name,
        Need::Optional,
        "Instead of `client-key-file`: name of the credential under which systemd hands the key to the service.",
        "broker-key",
    ),
    section("forecast", Need::Required, "Who forecasts the outdoor air."),
    row(
        "forecast.service",
        Kind::Word(kind::services),
        Need::Default("met-norway"),
        "`none` for a farm without internet: the outdoor sensor then has to say everything.",
        "met-norway",
    ),
    row(
        "forecast.base-url",
        Kind::Url,
        Need::Default("https://api.met.no"),
        "Where the service's interface starts; change it for a proxy of your own.",
        "https://api.met.no",
    ),
    row(
        "forecast.contact",
        Kind::Contact,
        Need::Computed("nothing; required unless the service is `none`"),
        "An e-mail or web address of yours, sent with each request. The service asks for it, so that it can reach you \
         before it blocks you.",
        "grower@frosthollow.example",
    ),
    section("http", Need::Optional, "Metrics and health for a monitoring system."),
    row(
        "http.listen",
        Kind::Listen,
        Need::Default("127.0.0.1:9417"),
        "Address and port to serve on, or `off`. There is no password: let it listen on an outside address only in a \
         network that you trust.",
        "127.0.0.1:9417",
    ),
    section("state", Need::Optional, "What outlives a restart: forecast, alerts, dangers and what was advised last."),
    row(
        "state.directory",
        Kind::File,
        Need::Computed("the service manager's state directory; without one, nothing is kept"),
        "Folder that holds `state.json`. It must exist, and the daemon must be allowed to write in it.",
        "/var/lib/mistwright",
    ),
];

const SENSORS: &[Key] = &[
    section("outdoors", Need::Optional, "What you measure outdoors yourself."),
    section(
        "outdoors.sensors",
        Need::Optional,
        "Sensors outdoors, in the shade. They override the forecast's present.",
    ),
    section(
        "outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide",
        Need::Optional,
        "How this quantity arrives. Pressure is the station's own, not reduced to sea level.",
    ),
    topic("outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide.topic"),
    pointer("outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide.pointer"),
    unit("outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide.unit"),
    age("outdoors.sensors.temperature|relative-humidity|pressure|carbon-dioxide.maximum-age"),
    section("rooms.*.sensors", Need::Optional, "Sensors in the room, at the height of the crop and out of the mist."),
    section(
        "rooms.*.sensors.temperature|relative-humidity|carbon-dioxide",
        Need::Optional,
        "How this quantity arrives.",
    ),
    topic("rooms.*.sensors.temperature|relative-humidity|carbon-dioxide.topic"),
    pointer("rooms.*.sensors.temperature|relative-humidity|carbon-dioxide.pointer"),
    unit("rooms.*.sensors.temperature|relative-humidity|carbon-dioxide.unit"),
    age("rooms.*.sensors.temperature|relative-humidity|carbon-dioxide.maximum-age"),
];

const fn topic(path: &'static str) -> Key {
    let doc = "MQTT topic that the sensor publishes to. Put it in quotes: behind a space, `#` starts a comment.";
    row(path, Kind::Topic, Need::Required, doc, "\"sensors/oyster-hall/air\"")
}

const fn pointer(path: &'static str) -> Key {
    let doc = "Where the number stands in a JSON payload, as a JSON Pointer (RFC 6901). Without it the payload is the \
               number.";
    row(path, Kind::Pointer, Need::Optional, doc, "/temperature")
}

const fn unit(path: &'static str) -> Key {
    let doc = "Unit of the numbers that the sensor sends.";
    row(path, Kind::SensorUnit, Need::Required, doc, "\"°C\"")
}

const fn age(path: &'static str) -> Key {
    let doc = "Readings older than this are not acted on. At least three of the sensor's own intervals.";
    row(path, kind::quantity::<std::time::Duration>(), Need::Default("10 min"), doc, "10 min")
}

const ROOMS: &[Key] = &[
    Key {
        path: "rooms",
        kind: Kind::Names,
        need: Need::Required,
        doc: "The rooms, each under a short name of its own: lower-case letters, digits and hyphens.",
        example: "",
    },
    section("rooms.*", Need::Optional, "One room with its own air."),
    row(
        "rooms.*.title",
        Kind::Text,
        Need::Computed("the name, with a capital"),
        "The room's name for people.",
        "Oyster hall",
    ),
    row("rooms.*.volume", kind::quantity::<Volume>(), Need::Required, "Air volume of the room.", "180 m³"),
    row(
        "rooms.*.intake",
        Kind::Intake,
        Need::Default("outdoors"),
        "Where fresh air comes from: `outdoors`, or the name of the room that it is drawn through.",
        "outdoors",
    ),
    row(
        "rooms.*.infiltration",
        Kind::AirChanges,
        Need::Default("0.2 /h"),
        "Air that enters unasked, from outdoors. A tight panel room has 0.1–0.3 /h, double film 0.5–1 /h (from memory, \
         unchecked).",
        "0.2 /h",
    ),
    row(
        "rooms.*.burner",
        Kind::Flag,
        Need::Default("false"),
        "True where a burner without a flue, or one that takes its air from the room, may burn: fresh air is never cut \
         then.",
        "false",
    ),
    section("rooms.*.crop", Need::Optional, "What grows in the room. An anteroom has no crop."),
    row("rooms.*.crop.species", Kind::Word(kind::species), Need::Required, "What is grown.", "oyster"),
    row(
        "rooms.*.crop.stage",
        Kind::Word(kind::stages),
        Need::Required,
        "Where the crop is in its life. It chooses the bands.",
        "fruiting",
    ),
    row("rooms.*.crop.substrate", kind::quantity::<Mass>(), Need::Required, "Moist substrate in the room.", "2 400 kg"),
    section(
        "rooms.*.crop.respiration",
        Need::Optional,
        "Carbon dioxide that the crop gives off, per kilogram of substrate and hour.",
    ),
    row(
        "rooms.*.crop.respiration.middle",
        kind::quantity::<kind::GasRate>(),
        Need::Computed("the catalogue's, by species and stage"),
        "A good guess, used for water.",
        "0.2 g/kg/h",
    ),
    row(
        "rooms.*.crop.respiration.upper",
        kind::quantity::<kind::GasRate>(),
        Need::Computed("the catalogue's, by species and stage"),
        "The upper end, used for fresh air where no sensor says better.",
        "0.3 g/kg/h",
    ),
    section(
        "rooms.*.bands",
        Need::Optional,
        "What the room's air should be, where you know better than the catalogue for the crop and its stage.",
    ),
    section("rooms.*.bands.temperature", Need::Optional, "Air temperature."),
    row(
        "rooms.*.bands.temperature.lowest|preferred|highest",
        kind::quantity::<Temperature>(),
        Need::Computed("the catalogue's, by species and stage"),
        "Below the lowest and above the highest the crop suffers; the preferred is aimed for.",
        "16 °C",
    ),
    section("rooms.*.bands.relative-humidity", Need::Optional, "Relative humidity, at most 95 %."),
    row(
        "rooms.*.bands.relative-humidity.lowest|preferred|highest",
        kind::quantity::<RelativeHumidity>(),
        Need::Computed("the catalogue's, by species and stage"),
        "Below the lowest and above the highest the crop suffers; the preferred is aimed for.",
        "88 %",
    ),
    row(
        "rooms.*.bands.carbon-dioxide-limit",
        kind::quantity::<CarbonDioxide>(),
        Need::Computed("the catalogue's, by species and stage"),
        "The crop's own limit. It is not a limit for people.",
        "1 000 ppm",
    ),
];

const EQUIPMENT: &[Key] = &[
    section(
        "rooms.*.fan",
        Need::Computed("no fan of its own; a room with a crop must have one"),
        "The fan that brings fresh air. Each flow may be written as a flow or as air changes per hour.",
    ),
    row("rooms.*.fan.capacity", Kind::Air, Need::Required, "Flow at full command.", "1 500 m³/h"),
    row(
        "rooms.*.fan.moves",
        Kind::Word(kind::fan_moves),
        Need::Default("supply"),
        "`supply` where the fan pushes fresh air in, `exhaust` where it pulls room air out (warm air is thinner), `both` where two fans do both.",
        "exhaust",
    ),
    row(
        "rooms.*.fan.floor",
        Kind::Air,
        Need::Required,
        "Advice never goes below this. Not zero where a crop breathes.",
        "1 /h",
    ),
    row(
        "rooms.*.fan.usual",
        Kind::Air,
        Need::Required,
        "What you run when nothing is known. Without a carbon dioxide reading advice is at least this.",
        "5 /h",
    ),
    row(
        "rooms.*.fan.fallback",
        Kind::Air,
        Need::Computed("the usual rate"),
        "Stands on a topic that never expires, for rules whose advice has run out.",
        "5 /h",
    ),
    section("rooms.*.humidifier", Need::Optional, "The room's humidifier, if it has one."),
    row(
        "rooms.*.humidifier.method",
        Kind::Word(kind::methods),
        Need::Required,
        "How it makes mist or vapour. All but steam draw the heat of evaporation from the room.",
        "ultrasonic",
    ),
    row(
        "rooms.*.humidifier.output",
        kind::quantity::<WaterFlow>(),
        Need::Required,
        "Water thrown at full duty.",
        "12 L/h",
    ),
    row(
        "rooms.*.humidifier.evaporated-fraction",
        kind::quantity::<Fraction>(),
        Need::Computed("by method: ultrasonic 85 %, nozzle 80 %, disc 75 %, wetted-media 100 %, steam 95 %"),
        "Share of the water thrown that ends as vapour in the air; the rest wets the room and drains.",
        "85 %",
    ),
    row("rooms.*.humidifier.water", Kind::Water, Need::Required, "Usable water of a full tank, or `mains`.", "300 L"),
];

/// Every key, a section before what it holds.
pub static KEYS: std::sync::LazyLock<Vec<&'static Key>> =
    std::sync::LazyLock::new(|| [SITE, SERVICES, ROOMS, EQUIPMENT, SENSORS].into_iter().flatten().collect());

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
        for key in KEYS.iter().filter(|key| !matches!(key.kind, Kind::Section | Kind::Names)) {
            for section in key.parent().rsplit('.').next().unwrap().split('|') {
                // One example serves the units of every quantity; the page and the schema list them all.
                if !matches!(key.kind, Kind::SensorUnit) || section == "temperature" {
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
