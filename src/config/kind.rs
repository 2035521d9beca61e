//! What may stand behind a key: each kind checks a value, says in words what is allowed, and describes itself to JSON
//! Schema.

use std::net::SocketAddr;

use jiff::{civil::Date, tz::TimeZone};
use serde_yaml::Value;

use super::problem::Mistake;
use crate::{
    model::{FanMoves, HumidifierMethod, Identifier, Quantity, Species, Stage},
    units::{
        AirChanges, AirFlow, CarbonDioxide, Fraction, OutOfRange, Pressure, RelativeHumidity, Temperature,
        TemperatureDifference, UnitSystem, VapourPressure, Volume, WaterVolume,
        parse::{self, QuantityError, Unit, Written},
    },
    wire::{
        decode::DECODERS,
        topic::{Topic, WireUnit},
        weather,
    },
};

/// What may stand behind a key.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// More keys, which the table names.
    Section,
    /// Sections under names that the grower chooses.
    Names,
    /// A list of sections, all with the same keys.
    List,
    /// Any short text on one line.
    Text,
    /// A name that becomes part of topics.
    Name,
    /// One of a few words.
    Word(fn() -> Vec<&'static str>),
    /// `true` or `false`.
    Flag,
    /// Decimal degrees, up to this far from zero.
    Degrees(f64),
    /// A number from 0 to 1.
    Share,
    /// A TCP port.
    Port,
    /// A host name or address.
    Host,
    /// A file.
    File,
    /// A web address to build requests on.
    Url,
    /// An e-mail or web address of the farm.
    Contact,
    /// A time zone's name.
    TimeZone,
    /// An address with a port, or `off`.
    Listen,
    /// An MQTT topic.
    Topic,
    /// A JSON Pointer.
    Pointer,
    /// A unit of the quantity that a section above is named for.
    SensorUnit,
    /// A value of that quantity, with its unit.
    SensorValue,
    /// A difference of two such values, with its unit.
    SensorDifference,
    /// A list of bare numbers.
    Numbers,
    /// A bare factor from 0.5 to 2.
    Factor,
    /// A day of the calendar.
    Date,
    /// `outdoors`, or a room's or a space's name.
    Intake,
    /// Air changes per hour.
    AirChanges,
    /// An air flow, or air changes per hour of the room.
    Air,
    /// The volume of a tank, `mains` or `unknown`.
    Water,
    /// A quantity with a unit.
    Quantity(Measure),
}

/// A quantity's part in the table.
#[derive(Debug, Clone, Copy)]
pub struct Measure {
    words: &'static str,
    units: &'static [Unit],
    check: fn(&str) -> Result<(), QuantityError>,
}

/// The kind of a quantity.
pub const fn quantity<Q: Written>() -> Kind {
    Kind::Quantity(measure::<Q>())
}

const fn measure<Q: Written>() -> Measure {
    fn check<Q: Written>(text: &str) -> Result<(), QuantityError> {
        parse::quantity::<Q>(text).map(drop)
    }
    Measure { words: Q::WORDS, units: Q::UNITS, check: check::<Q> }
}

/// Carbon dioxide given off, in grams per kilogram of substrate and hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasRate(pub f64);

impl Written for GasRate {
    const WORDS: &'static str = "carbon dioxide output";
    const EXAMPLE: &'static str = "0.2 g/kg/h";
    const UNITS: &'static [Unit] = &[
        Unit { shown: "g/kg/h", others: &["g/(kg·h)", "g/kg/hour", "g/kg/hr"], scale: 1.0, zero: 0.0 },
        Unit { shown: "mg/kg/h", others: &["mg/(kg·h)", "mg/kg/hour", "mg/kg/hr"], scale: 0.001, zero: 0.0 },
    ];

    fn from_base(number: f64) -> Result<Self, OutOfRange> {
        // Ten times the liveliest figure that was found for any substrate.
        let (lowest, highest) = (0.0, 5.0);
        if (lowest..=highest).contains(&number) {
            Ok(Self(number))
        } else {
            Err(OutOfRange { quantity: Self::WORDS, value: number, unit: "g/kg/h", lowest, highest })
        }
    }
}

/// Fresh air as it was written: as a flow, or as air changes of a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Air {
    /// A flow.
    Flow(AirFlow),
    /// Air changes per hour.
    Changes(AirChanges),
}

impl Air {
    /// The flow in a room of this volume.
    pub fn flow(self, volume: Volume) -> AirFlow {
        match self {
            Self::Flow(flow) => flow,
            Self::Changes(changes) => changes.times(volume),
        }
    }

    /// Whether it is no air at all, in a room of any volume.
    pub fn is_zero(self) -> bool {
        match self {
            Self::Flow(flow) => flow.cubic_metres_per_hour() <= 0.0,
            Self::Changes(changes) => changes.per_hour() <= 0.0,
        }
    }

    /// Reads either spelling.
    ///
    /// # Errors
    /// Neither a flow nor air changes. Where the unit is the flaw, the error is that of the likelier reading.
    pub fn read(text: &str) -> Result<Self, QuantityError> {
        match parse::quantity::<AirFlow>(text) {
            Ok(flow) => Ok(Self::Flow(flow)),
            Err(as_flow @ QuantityError::UnknownUnit { .. }) => match parse::quantity::<AirChanges>(text) {
                Ok(changes) => Ok(Self::Changes(changes)),
                Err(QuantityError::UnknownUnit { .. }) => Err(as_flow),
                Err(as_changes) => Err(as_changes),
            },
            Err(as_flow) => Err(as_flow),
        }
    }
}

/// Names of the unit systems.
pub fn unit_systems() -> Vec<&'static str> {
    vec!["metric", "us"]
}

/// The unit system of this name.
pub fn unit_system(name: &str) -> Option<UnitSystem> {
    match name {
        "metric" => Some(UnitSystem::Metric),
        "us" => Some(UnitSystem::Us),
        _ => None,
    }
}

/// Names of the forecast services, and of having none.
pub fn services() -> Vec<&'static str> {
    fallback_services().into_iter().chain(["none"]).collect()
}

/// Names of the forecast services.
pub fn fallback_services() -> Vec<&'static str> {
    weather::PROTOCOLS.iter().map(|protocol| protocol.service.name()).collect()
}

/// Words by which a farm says what it uses a service's free host for.
pub fn uses() -> Vec<&'static str> {
    weather::PROTOCOLS.iter().filter_map(|protocol| Some(protocol.free_use?.word)).collect()
}

/// Names of the species.
pub fn species() -> Vec<&'static str> {
    Species::ALL.map(Species::name).to_vec()
}

/// Names of the stages.
pub fn stages() -> Vec<&'static str> {
    Stage::ALL.map(Stage::name).to_vec()
}

/// Names of the ways to humidify.
pub fn methods() -> Vec<&'static str> {
    HumidifierMethod::ALL.map(HumidifierMethod::name).to_vec()
}

/// Which air a fan may move.
pub fn fan_moves() -> Vec<&'static str> {
    vec!["supply", "exhaust", "both"]
}

/// The fan's air of this name.
pub fn fan_moving(name: &str) -> Option<FanMoves> {
    match name {
        "supply" => Some(FanMoves::Supply),
        "exhaust" => Some(FanMoves::Exhaust),
        "both" => Some(FanMoves::Both),
        _ => None,
    }
}

/// The unit of this spelling, if sensors of `quantity` send it.
pub fn sensor_unit(quantity: Quantity, text: &str) -> Option<WireUnit> {
    WireUnit::named(quantity, text)
}

/// The units that sensors of `quantity` send.
pub const fn sensor_units(quantity: Quantity) -> &'static [(&'static str, WireUnit)] {
    WireUnit::of(quantity)
}

/// Names of the notations of payloads.
pub fn decoders() -> Vec<&'static str> {
    DECODERS.iter().map(|decoder| decoder.name).collect()
}

/// What humidity may refer to below 0 °C.
pub fn below_freezing() -> Vec<&'static str> {
    vec!["water", "ice"]
}

/// A value of a quantity that sensors measure, in its base unit.
///
/// # Errors
/// As it is written, no such value.
pub fn sensor_value(quantity: Quantity, text: &str) -> Result<f64, QuantityError> {
    Ok(match quantity {
        Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => {
            parse::quantity::<Temperature>(text)?.celsius()
        }
        Quantity::RelativeHumidity => parse::quantity::<RelativeHumidity>(text)?.ratio(),
        Quantity::CarbonDioxide => parse::quantity::<CarbonDioxide>(text)?.parts_per_million(),
        Quantity::Pressure => parse::quantity::<Pressure>(text)?.pascals(),
        Quantity::FanState | Quantity::HumidifierState => parse::quantity::<Fraction>(text)?.ratio(),
    })
}

/// A difference of two values of a quantity, in its base unit.
///
/// # Errors
/// As it is written, no such difference.
pub fn sensor_difference(quantity: Quantity, text: &str) -> Result<f64, QuantityError> {
    Ok(match quantity {
        Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => {
            parse::quantity::<TemperatureDifference>(text)?.kelvins()
        }
        Quantity::RelativeHumidity | Quantity::FanState | Quantity::HumidifierState => {
            parse::quantity::<Points>(text)?.0
        }
        Quantity::CarbonDioxide => parse::quantity::<GasDifference>(text)?.0,
        Quantity::Pressure => parse::quantity::<VapourPressure>(text)?.pascals(),
    })
}

/// A difference of two shares; a hundredth is a point.
struct Points(f64);

/// A difference of two shares of carbon dioxide in air, in ppm.
struct GasDifference(f64);

macro_rules! difference {
    ($Name:ident, $words:literal, $example:literal, $limit:literal, $shown:literal, $scale:literal, $others:expr) => {
        impl Written for $Name {
            const WORDS: &'static str = $words;
            const EXAMPLE: &'static str = $example;
            const UNITS: &'static [Unit] = &[Unit { shown: $shown, others: $others, scale: $scale, zero: 0.0 }];

            fn from_base(number: f64) -> Result<Self, OutOfRange> {
                let (lowest, highest) = (-$limit, $limit);
                if (lowest..=highest).contains(&number) {
                    Ok(Self(number))
                } else {
                    Err(OutOfRange { quantity: Self::WORDS, value: number, unit: "base units", lowest, highest })
                }
            }
        }
    };
}

difference!(Points, "difference in points", "-1.5 %", 0.5, "%", 0.01, &["points", "point", "% RH"]);
difference!(GasDifference, "difference in carbon dioxide", "-40 ppm", 5_000.0, "ppm", 1.0, &[]);

/// The quantity of a source's section with this name: a surface's probe has no name of its own.
pub fn quantity_named(name: &str) -> Option<Quantity> {
    if name == "probe" {
        return Some(Quantity::SurfaceTemperature);
    }
    Quantity::ALL.into_iter().find(|quantity| quantity.name() == name)
}

/// A scalar as text, as the grower wrote it or near enough.
pub fn scalar(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        Value::Bool(flag) => Some(flag.to_string()),
        Value::Null | Value::Sequence(_) | Value::Mapping(_) | Value::Tagged(_) => None,
    }
}

/// What a value is, in words.
pub fn found(value: &Value) -> &'static str {
    match value {
        Value::Null => "nothing",
        Value::Bool(_) => "true or false",
        Value::Number(_) => "a bare number",
        Value::String(_) => "text",
        Value::Sequence(_) => "a list",
        Value::Mapping(_) => "a section with keys",
        Value::Tagged(_) => "a value with a YAML tag",
    }
}

impl Kind {
    /// Whether more keys stand behind it.
    pub const fn holds_keys(&self) -> bool {
        matches!(self, Self::Section | Self::Names | Self::List)
    }

    /// Checks a value that stands behind a key of this kind, except a section. `section` is the name of the section
    /// around it, which decides the units of a sensor.
    ///
    /// # Errors
    /// The first thing that is wrong with it.
    pub fn check(&self, value: &Value, section: &str) -> Result<(), Mistake> {
        let wrong = |wanted| Mistake::WrongType { found: found(value), wanted };
        if value.is_null() {
            return Err(Mistake::Empty { comment: false });
        }
        match (self, value) {
            (Self::Flag, Value::Bool(_)) => return Ok(()),
            (Self::Flag, _) => return Err(wrong("`true` or `false`")),
            (Self::Section | Self::Names | Self::List, _) => return Ok(()),
            (Self::Numbers, Value::Sequence(list)) if list.iter().all(|number| number.as_f64().is_some()) => {
                return Ok(());
            }
            (Self::Numbers, _) => return Err(wrong("a list of numbers in brackets")),
            _ => {}
        }
        let text = scalar(value).ok_or_else(|| wrong("a single value"))?;
        if matches!(self, Self::Text | Self::Name | Self::Topic | Self::Host | Self::File) && !value.is_string() {
            return Err(wrong("text in quotes"));
        }
        self.check_text(&text, section)
    }

    fn check_text(&self, text: &str, section: &str) -> Result<(), Mistake> {
        let owned = || text.to_owned();
        match self {
            Self::Section | Self::Names | Self::List | Self::Flag | Self::Numbers => Ok(()),
            Self::Text | Self::File => {
                let fine = !text.trim().is_empty() && text.chars().count() <= 200 && !text.contains(char::is_control);
                if fine { Ok(()) } else { Err(Mistake::Text) }
            }
            Self::Name => Ok(Identifier::new(text).map(drop)?),
            Self::Word(words) if words().contains(&text) => Ok(()),
            Self::Word(_) => Err(Mistake::UnknownWord(owned())),
            Self::Degrees(limit) => match text.parse::<f64>() {
                // NaN is in no range.
                Ok(degrees) if (-limit..=*limit).contains(&degrees) => Ok(()),
                _ => Err(Mistake::Degrees { text: owned(), limit: *limit }),
            },
            Self::Share => match text.parse::<f64>() {
                Ok(0.0..=1.0) => Ok(()),
                _ => Err(Mistake::Share(owned())),
            },
            Self::Port => match text.parse::<u16>() {
                Ok(1..) => Ok(()),
                _ => Err(Mistake::Port(owned())),
            },
            Self::Host if is_host(text) => Ok(()),
            Self::Host => Err(Mistake::Host(owned())),
            Self::Url if is_url(text) && !text.contains(['?', '#']) => Ok(()),
            Self::Url => Err(Mistake::Url(owned())),
            Self::Contact if is_url(text) || is_mail(text) => Ok(()),
            Self::Contact => Err(Mistake::Contact(owned())),
            Self::TimeZone => TimeZone::get(text).map(drop).map_err(|_| Mistake::TimeZone(owned())),
            Self::Listen if text == "off" || text.parse::<SocketAddr>().is_ok() => Ok(()),
            Self::Listen => Err(Mistake::Listen(owned())),
            Self::Topic => Ok(Topic::new(text).map(drop)?),
            Self::Pointer if is_pointer(text) => Ok(()),
            Self::Pointer => Err(Mistake::Pointer(owned())),
            Self::SensorUnit => match quantity_named(section).and_then(|quantity| sensor_unit(quantity, text)) {
                Some(_) => Ok(()),
                None => Err(Mistake::UnknownWord(owned())),
            },
            Self::SensorValue | Self::SensorDifference => {
                let read = if matches!(self, Self::SensorValue) { sensor_value } else { sensor_difference };
                quantity_named(section).map_or(Ok(()), |quantity| Ok(read(quantity, text).map(drop)?))
            }
            Self::Factor => match text.parse::<f64>() {
                Ok(factor) if (0.5..=2.0).contains(&factor) => Ok(()),
                _ => Err(Mistake::Factor(owned())),
            },
            Self::Date => text.parse::<Date>().map(drop).map_err(|_| Mistake::Date(owned())),
            Self::Intake => Ok(Identifier::new(text).map(drop)?),
            Self::AirChanges => Ok(parse::quantity::<AirChanges>(text).map(drop)?),
            Self::Air => Ok(Air::read(text).map(drop)?),
            Self::Water if matches!(text, "mains" | "unknown") => Ok(()),
            Self::Water => Ok(parse::quantity::<WaterVolume>(text).map(drop)?),
            Self::Quantity(measure) => Ok((measure.check)(text)?),
        }
    }

    /// What is allowed, in words. Empty for a section.
    pub fn allowed(&self, section: &str) -> String {
        let units = |units: &[Unit]| units.iter().map(|unit| unit.shown).collect::<Vec<_>>().join(", ");
        match self {
            Self::Section => String::new(),
            Self::Names => "a section for each, under its name".into(),
            Self::List => "a list of sections with keys".into(),
            Self::Text => "text on one line, at most 200 characters".into(),
            Self::Name => {
                format!("a to z, 0 to 9 and single hyphens inside, at most {} characters", Identifier::LONGEST)
            }
            Self::Word(words) => words().join(", "),
            Self::Flag => "true or false".into(),
            Self::Degrees(limit) => format!("a number from -{limit} to {limit}"),
            Self::Share => "a number from 0 to 1".into(),
            Self::Port => "a whole number from 1 to 65535".into(),
            Self::Host => "a host name or an address, without scheme and port".into(),
            Self::File => "the name of a file".into(),
            Self::Url => "a web address that starts with http:// or https://".into(),
            Self::Contact => "an e-mail address or a web address".into(),
            Self::TimeZone => "a name in the IANA time zone database".into(),
            Self::Listen => "an address and a port, or off".into(),
            Self::Topic => format!("one MQTT topic without + and #, at most {} bytes", Topic::LONGEST),
            Self::Pointer => "a JSON Pointer (RFC 6901): empty, or parts that each start with /".into(),
            Self::SensorUnit => quantity_named(section).map_or_else(
                || "a unit of the section's quantity".into(),
                |quantity| sensor_units(quantity).iter().map(|(name, _)| *name).collect::<Vec<_>>().join(", "),
            ),
            Self::SensorValue => "a value of the section's quantity, with its unit".into(),
            Self::SensorDifference => "a difference of the section's quantity, with its unit".into(),
            Self::Numbers => "a list of numbers in brackets".into(),
            Self::Factor => "a number from 0.5 to 2".into(),
            Self::Date => "a day, as in 2026-10-01".into(),
            Self::Intake => "outdoors, or the name of another room or of a space".into(),
            Self::AirChanges => "air changes per hour, in /h".into(),
            Self::Air => format!("an air flow in {}, or air changes per hour in /h", units(AirFlow::UNITS)),
            Self::Water => format!("a volume in {}, or mains, or unknown", units(WaterVolume::UNITS)),
            Self::Quantity(measure) => format!("{} in {}", measure.words, units(measure.units)),
        }
    }
}

fn is_host(text: &str) -> bool {
    let legal = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_');
    text.parse::<std::net::IpAddr>().is_ok()
        || (!text.is_empty() && text.len() <= 253 && text.chars().all(legal) && !text.starts_with(['-', '.']))
}

fn is_url(text: &str) -> bool {
    let Some(behind) = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://")) else {
        return false;
    };
    let host = behind.split('/').next().unwrap_or_default();
    !host.is_empty() && behind.chars().all(|c| c.is_ascii_graphic()) && !host.contains('@')
}

fn is_mail(text: &str) -> bool {
    // The address goes into an HTTP header as it is.
    text.len() <= 254
        && text.chars().all(|c| c.is_ascii_graphic())
        && text.split_once('@').is_some_and(|(name, host)| !name.is_empty() && host.contains('.') && is_host(host))
}

fn is_pointer(text: &str) -> bool {
    // RFC 6901: empty, or reference tokens each behind a slash, with `~` only as `~0` or `~1`.
    let escapes = text.match_indices('~').all(|(at, _)| matches!(text.as_bytes().get(at + 1), Some(b'0' | b'1')));
    (text.is_empty() || text.starts_with('/')) && escapes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_is_read_as_a_flow_or_as_air_changes_and_never_as_a_daily_rate() {
        let room = Volume::from_cubic_metres(30.0).unwrap();
        assert!((Air::read("4 /h").unwrap().flow(room).cubic_metres_per_hour() - 120.0).abs() < 1e-9);
        assert!((Air::read("120 m³/h").unwrap().flow(room).cubic_metres_per_hour() - 120.0).abs() < 1e-9);
        assert!(matches!(Air::read("96 per day"), Err(QuantityError::Unclear { .. })));
        assert!(matches!(Air::read("120"), Err(QuantityError::NoUnit { .. })));
        assert!(matches!(Air::read("120 pints"), Err(QuantityError::UnknownUnit { .. })));
    }

    #[test]
    fn a_pointer_follows_the_standard() {
        for good in ["", "/", "/a/0", "/a~1b/~0"] {
            assert!(is_pointer(good), "{good}");
        }
        for bad in ["a", "$.a", "/a~", "/a~2"] {
            assert!(!is_pointer(bad), "{bad}");
        }
    }

    #[test]
    fn no_sensor_unit_is_taken_for_another_quantitys() {
        assert_eq!(sensor_unit(Quantity::Temperature, "degF"), Some(WireUnit::Fahrenheit));
        assert_eq!(sensor_unit(Quantity::RelativeHumidity, "% RH"), Some(WireUnit::Percent));
        assert_eq!(sensor_unit(Quantity::CarbonDioxide, "%"), None);
        assert_eq!(sensor_unit(Quantity::Temperature, "%"), None);
        assert_eq!(sensor_unit(Quantity::Temperature, "Cel"), Some(WireUnit::Celsius));
        assert_eq!(sensor_unit(Quantity::RelativeHumidity, "%RH"), Some(WireUnit::Percent));
        assert_eq!(sensor_unit(Quantity::FanState, "/"), Some(WireUnit::Ratio));
        assert_eq!(sensor_unit(Quantity::CarbonDioxide, "%RH"), None);
    }

    #[test]
    fn addresses_that_cannot_be_called_are_refused() {
        for bad in ["https://", "ftp://a.example", "https://a b", "http://user:pw@a.example/"] {
            assert!(!is_url(bad), "{bad}");
        }
        assert!(is_url("http://127.0.0.1:8080/x") && is_mail("grower@farm.example") && !is_mail("grower@farm"));
        assert!(is_host("broker.local") && is_host("::1") && !is_host("mqtt://broker") && !is_host("broker:1883"));
    }
}
