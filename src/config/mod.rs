//! The configuration file: YAML text to a checked [`Config`], or every problem at once.
//!
//! ```text
//! text ──serde_yaml──▶ values ──walk, against the key table──▶ problems
//!                        └──────build: typed values, keys seen together──▶ problems, or a Config
//! ```
//!
//! The key table also gives the JSON Schema and the reference page ([`schema`]). Positions are looked up in the text
//! only when there is a problem to report.

use std::{fmt, net::SocketAddr, path::PathBuf};

use serde_yaml::Value;

pub use self::{
    locate::Location,
    problem::{Mistake, Problem, Problems},
};

mod build;
mod equipment;
mod fan;
mod forecast;
mod kind;
mod locate;
mod overrides;
mod problem;
mod rooms;
pub mod schema;
mod section;
mod sensors;
mod shell;
mod spaces;
mod table;
mod walk;

use crate::{
    model::{Farm, Identifier},
    wire::{
        topic::Binding,
        weather::{FreeUse, Protocol},
    },
};

/// A checked configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Config {
    /// The farm, as the engine knows it.
    pub farm: Farm,
    /// How each source of [`Farm::sources`] is heard, in the same order.
    pub bindings: Vec<Binding>,
    /// Where the broker is.
    pub broker: Broker,
    /// Who forecasts; `None` for a farm that has only its own outdoor sensor.
    pub forecast: Option<ForecastService>,
    /// Who forecasts while the first is down.
    pub fallback_forecast: Option<ForecastService>,
    /// Where metrics and health are served; `None` serves nothing.
    pub http_listen: Option<SocketAddr>,
    /// Where the state is kept over a restart; `None` keeps nothing.
    pub state_directory: Option<PathBuf>,
}

/// How the broker is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// The way to it.
    pub link: Link,
    /// User name, if the broker wants one.
    pub user: Option<String>,
    /// The password, if there is one.
    pub password: Option<Secret>,
    /// MQTT client identifier: one per daemon.
    pub client_id: String,
    /// First level of the published topics.
    pub domain: Identifier,
}

/// The way to the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Link {
    /// Over the network, for everybody on the way to read.
    Tcp {
        /// Host name or address.
        host: String,
        /// TCP port.
        port: u16,
    },
    /// Over the network, by TLS.
    Tls {
        /// Host name or address; the broker's certificate has to be made out to it.
        host: String,
        /// TCP port.
        port: u16,
        /// Whom to trust, and who we are.
        tls: Tls,
    },
    /// Through a Unix socket of this machine.
    Socket(PathBuf),
}

/// The files of a TLS connection, all in PEM form and read at each connection.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tls {
    /// Certificates of the authorities that may vouch for the broker; `None` trusts those of the system.
    pub ca_file: Option<PathBuf>,
    /// Our own certificate with its intermediates, and its private key, for a broker that asks for them.
    pub client: Option<(PathBuf, Secret)>,
}

/// Where a secret is kept. The secret itself is read at each connection, and is in no configuration, log or page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Secret {
    /// A file of its own.
    File(PathBuf),
    /// A credential that the service manager hands to this service alone, by its name there.
    Credential(Identifier),
}

impl fmt::Display for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(path) => write!(f, "{}", path.display()),
            Self::Credential(name) => write!(f, "the credential `{name}`"),
        }
    }
}

impl fmt::Display for Link {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Tcp { host, port } | Self::Tls { host, port, .. } => write!(f, "{host}:{port}"),
            Self::Socket(path) => write!(f, "{}", path.display()),
        }
    }
}

/// How a forecast is fetched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForecastService {
    /// Whose forecast.
    pub protocol: &'static Protocol,
    /// Where its interface starts, without a slash at the end.
    pub base_url: String,
    /// An address or a site at which the service's keepers reach the farm; always there where they ask for it.
    pub contact: Option<String>,
    /// The key of those who pay.
    pub api_key: Option<Secret>,
}

impl ForecastService {
    /// What this farm may use the service's host for only, if that is not everything: it has agreed to it.
    pub fn free_use(&self) -> Option<FreeUse> {
        self.protocol.free_use.filter(|_| self.api_key.is_none() && self.base_url == self.protocol.base_url)
    }
}

/// Reads a configuration. `file` is its name for messages.
///
/// # Errors
/// Everything that is wrong with it, in the order of its lines. What YAML itself cannot read, and a key that stands
/// twice in one section, are reported alone: behind them nothing can be trusted.
pub fn parse(text: &str, file: &str) -> Result<Config, Problems> {
    let root = values(text).map_err(|problem| Problems { file: file.to_owned(), list: vec![*problem] })?;
    let places = locate::Places::new(text);
    let mut found = walk::walk(text, &places, &root);
    let config = build::config(&root, &mut found);
    let mut list: Vec<Problem> = found.into_iter().map(|found| found.located(&places, &root)).collect();
    list.sort_by_key(|problem| problem.location);
    match config {
        Some(config) if list.is_empty() => Ok(config),
        _ => Err(Problems { file: file.to_owned(), list }),
    }
}

fn values(text: &str) -> Result<Value, Box<Problem>> {
    let alone = |location, mistake, hint: &str| {
        let hint = Some(hint.to_owned());
        Box::new(Problem { location, key: String::new(), value: None, mistake, allowed: String::new(), hint })
    };
    if let Some((key, location)) = locate::duplicate(text) {
        return Err(alone(location, Mistake::DuplicateKey(key), "keep one of the two"));
    }
    let syntax = |error: serde_yaml::Error| {
        let hint = "look at the indentation, at quotes around values with special characters, and at ` #`, which \
                    starts a comment";
        alone(locate::at(&error), Mistake::Syntax(error.to_string()), hint)
    };
    let mut root: Value = serde_yaml::from_str(text).map_err(syntax)?;
    root.apply_merge().map_err(syntax)?;
    Ok(root)
}
