//! Weather services: what to ask them, and how their answers become a [`Forecast`].
//!
//! A new service is one file here and its row in [`PROTOCOLS`]: configuration, fetching, topics, metrics and the state
//! file know it from there. Nothing here touches a socket: the shell asks for [`Protocol::path`] below the configured
//! address, and gives the body to [`Protocol::parse`].

use std::{fmt, time::Duration};

use serde::de::DeserializeOwned;

use crate::{
    model::{Forecast, Service, Site},
    units::Elevation,
};

mod detail;
pub mod lines;
mod moments;
mod reason;

pub mod met_norway;
pub mod open_meteo;
#[cfg(test)]
pub mod test_only;
pub mod weather_gov;

pub use reason::reason;

/// Every service, the usual one first.
pub const PROTOCOLS: &[&Protocol] = &[
    &met_norway::PROTOCOL,
    &weather_gov::PROTOCOL,
    &open_meteo::PROTOCOL,
    #[cfg(test)]
    &test_only::PROTOCOL,
];

/// The service of this name.
pub fn named(name: &str) -> Option<&'static Protocol> {
    PROTOCOLS.iter().copied().find(|protocol| protocol.service.name() == name)
}

/// The spot that a forecast is for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Degrees north, −90 to 90.
    pub latitude: f64,
    /// Degrees east, −180 to 180.
    pub longitude: f64,
    /// Height above sea level.
    pub elevation: Elevation,
}

impl Spot {
    /// Where the farm stands.
    pub const fn of(site: &Site) -> Self {
        Self { latitude: site.latitude, longitude: site.longitude, elevation: site.elevation }
    }
}

/// Reads a path and query out of a body.
pub type LookUp = fn(&[u8]) -> Result<String, BadBody>;

/// How a service is spoken to.
#[derive(Debug, Clone, Copy)]
pub struct Protocol {
    /// Who it is.
    pub service: Service,
    /// Where its interface starts, without a slash at the end.
    pub base_url: &'static str,
    /// Whether it asks for a contact in the User-Agent.
    pub contact: bool,
    /// How long an answer is kept where the service does not say.
    pub usual_keep: Duration,
    /// What [`Self::base_url`] may be used for only, where that is not everything; the user has to agree.
    pub free_use: Option<FreeUse>,
    /// How it is asked by those who pay.
    pub paid: Option<Paid>,
    /// Path and query of the request, starting with a slash, without anything that has to be escaped.
    pub path: fn(&Spot) -> String,
    /// Where the service answers [`Self::path`] with the address of the forecast: that address's path and query, from
    /// the body. It stays good until the service answers 404 there.
    pub then: Option<LookUp>,
    /// The forecast in a body. It may be given any bytes.
    pub parse: fn(&[u8], &Spot) -> Result<Parsed, BadBody>,
}

impl PartialEq for Protocol {
    /// There is one protocol for each service.
    fn eq(&self, other: &Self) -> bool {
        self.service == other.service
    }
}

impl Eq for Protocol {}

/// A limit on who may use a host for nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FreeUse {
    /// The word by which a configuration agrees.
    pub word: &'static str,
    /// What it means, as a sentence.
    pub sentence: &'static str,
}

/// A host for those who pay.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Paid {
    /// Where its interface starts, without a slash at the end.
    pub base_url: &'static str,
    /// Name of the query's parameter that carries the key.
    pub parameter: &'static str,
}

/// Four decimals of a degree are eleven metres, and more than a forecast needs; some services refuse more.
fn four_decimals(degrees: f64) -> f64 {
    // Adding zero turns a rounded −0 into 0.
    (degrees * 10_000.0).round() / 10_000.0 + 0.0
}

/// A body as the JSON that the service is known to send.
fn json<T: DeserializeOwned>(body: &[u8]) -> Result<T, BadBody> {
    match body.iter().find(|byte| !byte.is_ascii_whitespace()) {
        None => return Err(BadBody::Empty),
        Some(b'<') => return Err(BadBody::WebPage),
        Some(_) => {}
    }
    serde_json::from_slice(body).map_err(|error| match error.classify() {
        serde_json::error::Category::Eof => BadBody::Truncated(body.len()),
        _ => BadBody::NotAForecast { line: error.line(), column: error.column() },
    })
}

/// A forecast, and what had to be left out of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Parsed {
    /// At least one moment.
    pub forecast: Forecast,
    /// What was not used.
    pub left_out: LeftOut,
}

/// Counts of what a service sent and could not be used.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Moments without a readable time, a temperature or any moisture.
    pub incomplete: usize,
    /// Moments with a temperature or a moisture that the weather does not have.
    pub out_of_range: usize,
    /// Moments whose temperature, dew point and relative humidity contradict each other.
    pub contradicting: usize,
    /// Moments that were already there.
    pub repeated: usize,
    /// Single details (pressure, wind) with a value that the weather does not have; their moment is used without them.
    pub details: usize,
}

impl LeftOut {
    /// Whether everything was used.
    pub fn is_nothing(&self) -> bool {
        *self == Self::default()
    }
}

impl fmt::Display for LeftOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let counts = [
            (self.incomplete, "incomplete"),
            (self.out_of_range, "out of range"),
            (self.contradicting, "contradicting themselves"),
            (self.repeated, "repeated"),
        ];
        let mut parts: Vec<String> =
            counts.iter().filter(|(count, _)| *count > 0).map(|(count, why)| format!("{count} {why}")).collect();
        if self.details > 0 {
            parts.push(format!("{} with an impossible pressure or wind", self.details));
        }
        if parts.is_empty() { f.write_str("none") } else { f.write_str(&parts.join(", ")) }
    }
}

/// Why a body holds no forecast.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadBody {
    /// Zero bytes.
    #[error("the answer is empty")]
    Empty,
    /// A page for people, as captive portals and proxies send with status 200.
    #[error("the answer is a web page, not a forecast")]
    WebPage,
    /// JSON that breaks off.
    #[error("the answer breaks off after {0} bytes")]
    Truncated(usize),
    /// Anything else that is not the service's JSON.
    #[error("the answer is not a forecast: line {line}, column {column} is not what the service is known to send")]
    NotAForecast {
        /// Line of the first surprise.
        line: usize,
        /// Column of the first surprise.
        column: usize,
    },
    /// The service changed a unit.
    #[error("the service sends `{detail}` in an unknown unit; {expected} was expected")]
    Unit {
        /// The service's name of the value.
        detail: &'static str,
        /// The unit that this program knows.
        expected: &'static str,
    },
    /// Values that should stand beside each other and do not.
    #[error("the answer has {found} values of `{detail}` for {expected} moments")]
    Uneven {
        /// The service's name of the values.
        detail: &'static str,
        /// Moments.
        expected: usize,
        /// Values.
        found: usize,
    },
    /// No address where one should stand.
    #[error("the answer does not say where the forecast for this place is to be found")]
    NoAddress,
    /// More moments than any forecast has.
    #[error("the answer has {0} moments; at most {most} are read", most = BadBody::MOST_MOMENTS)]
    TooMany(usize),
    /// Not one usable moment.
    #[error("the answer has no usable moment (left out: {0})")]
    NothingUsable(LeftOut),
}

impl BadBody {
    /// A forecast has about 90 moments; ten days in steps of a quarter of an hour would be 960.
    pub const MOST_MOMENTS: usize = 1_000;

    /// One word for labels.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::WebPage => "web-page",
            Self::Truncated(_) => "truncated",
            Self::NotAForecast { .. } | Self::TooMany(_) | Self::Uneven { .. } | Self::NoAddress => "not-a-forecast",
            Self::Unit { .. } => "unit",
            Self::NothingUsable(_) => "nothing-usable",
        }
    }
}
