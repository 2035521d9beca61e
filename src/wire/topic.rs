//! How a source's messages reach us: topic, decoder and unit. The configuration makes these, the bridge uses them.

use std::fmt;

use super::decode::Decoder;
use crate::{
    model::Quantity,
    units::{CarbonDioxide, Fraction, OutOfRange, Pressure, RelativeHumidity, Temperature, parse},
};

/// An MQTT topic without wildcards.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Topic(String);

/// Why a text is no topic to subscribe to.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadTopic {
    /// Nothing was written.
    #[error("the topic is empty")]
    Empty,
    /// MQTT allows 65,535 bytes; nobody needs more than [`Topic::LONGEST`].
    #[error("the topic is longer than {longest} bytes", longest = Topic::LONGEST)]
    TooLong,
    /// `+` and `#` stand for many topics, and a source is one.
    #[error("the topic `{0}` contains `+` or `#`: name one topic for each source")]
    Wildcard(String),
    /// A NUL or another control character.
    #[error("the topic contains a control character")]
    Control,
    /// `$SYS`, `$share` and the like belong to the broker.
    #[error("the topic `{0}` starts with `$`, which belongs to the broker")]
    Reserved(String),
}

impl Topic {
    /// The longest topic, in bytes.
    pub const LONGEST: usize = 512;

    /// Checks a topic.
    ///
    /// # Errors
    /// See [`BadTopic`].
    pub fn new(text: &str) -> Result<Self, BadTopic> {
        if text.is_empty() {
            Err(BadTopic::Empty)
        } else if text.len() > Self::LONGEST {
            Err(BadTopic::TooLong)
        } else if text.contains(['+', '#']) {
            Err(BadTopic::Wildcard(text.to_owned()))
        } else if text.chars().any(char::is_control) {
            Err(BadTopic::Control)
        } else if text.starts_with('$') {
            Err(BadTopic::Reserved(text.to_owned()))
        } else {
            Ok(Self(text.to_owned()))
        }
    }

    /// The topic as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Topic {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// The unit that a source's numbers are in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WireUnit {
    /// °C.
    Celsius,
    /// °F.
    Fahrenheit,
    /// K.
    Kelvin,
    /// Percent.
    Percent,
    /// A ratio, 1 is all.
    Ratio,
    /// Parts per million.
    PartsPerMillion,
    /// Pa.
    Pascal,
    /// hPa, mbar.
    Hectopascal,
    /// kPa.
    Kilopascal,
    /// Inches of mercury (conventional, 3,386.389 Pa).
    InchOfMercury,
}

impl WireUnit {
    /// The units that sensors of `quantity` send, as they are shown.
    pub const fn of(quantity: Quantity) -> &'static [(&'static str, Self)] {
        match quantity {
            Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => {
                &[("°C", Self::Celsius), ("°F", Self::Fahrenheit), ("K", Self::Kelvin)]
            }
            Quantity::RelativeHumidity | Quantity::FanState | Quantity::HumidifierState => {
                &[("%", Self::Percent), ("ratio", Self::Ratio)]
            }
            Quantity::CarbonDioxide => &[("ppm", Self::PartsPerMillion)],
            Quantity::Pressure => &[
                ("hPa", Self::Hectopascal),
                ("kPa", Self::Kilopascal),
                ("Pa", Self::Pascal),
                ("inHg", Self::InchOfMercury),
            ],
        }
    }

    /// The unit of this spelling, if sensors of `quantity` send it: SenML's code (RFC 8428, section 12.1; RFC 8798), or
    /// any way in which people write it.
    pub fn named(quantity: Quantity, text: &str) -> Option<Self> {
        let code = SENML_CODES.iter().find(|(code, _)| *code == text).map(|(_, shown)| *shown);
        let shown = match quantity {
            _ if code.is_some() => code?,
            Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => {
                parse::unit::<Temperature>(text)?.shown
            }
            Quantity::RelativeHumidity => parse::unit::<RelativeHumidity>(text)?.shown,
            Quantity::FanState | Quantity::HumidifierState => parse::unit::<Fraction>(text)?.shown,
            Quantity::CarbonDioxide => parse::unit::<CarbonDioxide>(text)?.shown,
            Quantity::Pressure => parse::unit::<Pressure>(text)?.shown,
        };
        Self::of(quantity).iter().find(|(name, _)| *name == shown).map(|(_, unit)| *unit)
    }

    /// The number in the base unit of its quantity: °C, ratio, ppm, Pa.
    pub fn to_base(self, number: f64) -> f64 {
        match self {
            Self::Celsius | Self::Ratio | Self::PartsPerMillion | Self::Pascal => number,
            Self::Fahrenheit => (number - 32.0) / 1.8,
            Self::Kelvin => number - 273.15,
            Self::Percent => number / 100.0,
            Self::Hectopascal => number * 100.0,
            Self::Kilopascal => number * 1_000.0,
            Self::InchOfMercury => number * 3_386.389,
        }
    }
}

/// SenML's codes that are not also the usual spelling, and the unit that they stand for.
const SENML_CODES: &[(&str, &str)] = &[("Cel", "°C"), ("%RH", "%"), ("/", "ratio")];

/// How one source of the farm is heard. Its place in the configuration's list is the source's identity.
#[derive(Debug, Clone, PartialEq)]
pub struct Binding {
    /// Where it is published.
    pub topic: Topic,
    /// How the number is found.
    pub decoder: &'static Decoder,
    /// Where in the payload it stands: a pointer or a record's name; empty for decoders without a place.
    pub place: String,
    /// What unit the number is in, where the payload does not say so.
    pub unit: Option<WireUnit>,
    /// Whether the source sends numbers in quotes.
    pub quoted: bool,
    /// Numbers that stand for no value, as they are sent.
    pub missing: Vec<f64>,
}

impl Binding {
    /// A payload that is the number.
    pub fn number(topic: Topic, unit: WireUnit) -> Self {
        Self {
            topic,
            decoder: Decoder::NUMBER,
            place: String::new(),
            unit: Some(unit),
            quoted: false,
            missing: Vec::new(),
        }
    }

    /// A number at a pointer into a JSON payload.
    pub fn json(topic: Topic, pointer: &str, unit: WireUnit) -> Self {
        Self { decoder: Decoder::JSON, place: pointer.to_owned(), ..Self::number(topic, unit) }
    }
}

/// Why a payload gave no measurement. The text of the payload is not kept: it may be anything.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadPayload {
    /// Zero bytes, which is also how a retained message is cleared.
    #[error("the payload is empty")]
    Empty,
    /// Larger than any sensor's message.
    #[error("the payload has {0} bytes; at most {longest} are read", longest = BadPayload::LONGEST)]
    TooLong(usize),
    /// Bytes that are no text.
    #[error("the payload is not UTF-8 text")]
    NotText,
    /// Text that is no number.
    #[error("the payload is not a number")]
    NotANumber,
    /// Text that is no JSON, where JSON is configured.
    #[error("the payload is not JSON that can be read")]
    NotJson,
    /// A payload without the configured place.
    #[error("the payload has nothing at `{0}`")]
    Missing(String),
    /// A number that stands for no value.
    #[error("the sensor says that it has no value")]
    NoValue,
    /// JSON that is no SenML pack, where one is configured.
    #[error("the payload is no SenML that can be read: {0}")]
    NotSenml(&'static str),
    /// A word that no switch says.
    #[error("the payload is neither on nor off")]
    NoSwitch,
    /// The unit that the payload names is none of the quantity.
    #[error("the payload names a unit of another quantity, or an unknown one")]
    OtherUnit,
    /// Neither the payload nor the configuration names a unit.
    #[error("the payload names no unit, and none is configured")]
    NoUnit,
    /// A time beyond the calendar, or one that is still to come.
    #[error("the payload names a time that cannot be")]
    Time,
    /// Something else than a number stands at the configured place.
    #[error("what stands at `{place}` is {found}, not a number")]
    WrongType {
        /// The configured place.
        place: String,
        /// What stands there, in words.
        found: &'static str,
    },
    /// A number that the sensor cannot truthfully say; NaN and infinities among them.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

impl BadPayload {
    /// Payloads above this are refused unread, in bytes.
    pub const LONGEST: usize = 8_192;

    /// One word for labels; the same mistakes share a word.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::TooLong(_) => "too-long",
            Self::NotText => "not-text",
            Self::NotANumber => "not-a-number",
            Self::NotJson => "not-json",
            Self::Missing(_) => "missing",
            Self::NoValue => "no-value",
            Self::NotSenml(_) => "not-senml",
            Self::NoSwitch => "no-switch",
            Self::OtherUnit => "other-unit",
            Self::NoUnit => "no-unit",
            Self::Time => "time",
            Self::WrongType { .. } => "wrong-type",
            Self::OutOfRange(_) => "out-of-range",
        }
    }
}
