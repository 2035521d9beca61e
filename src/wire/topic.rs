//! How a source's messages reach us: topic, decoder and unit. The configuration makes these, the bridge uses them.

use std::fmt;

use crate::units::OutOfRange;

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

/// How the number is found in the payload.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Decoder {
    /// The payload is the number, as text.
    Number,
    /// The payload is JSON; the number stands at this pointer (RFC 6901).
    JsonPointer(String),
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

/// How one source of the farm is heard. Its place in the configuration's list is the source's identity.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Binding {
    /// Where it is published.
    pub topic: Topic,
    /// How the number is found.
    pub decoder: Decoder,
    /// What unit the number is in.
    pub unit: WireUnit,
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
    /// JSON without the configured place.
    #[error("the payload has nothing at `{0}`")]
    Missing(String),
    /// Something else than a number stands at the configured place.
    #[error("what stands at `{pointer}` is {found}, not a number")]
    WrongType {
        /// The configured place.
        pointer: String,
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
            Self::WrongType { .. } => "wrong-type",
            Self::OutOfRange(_) => "out-of-range",
        }
    }
}
