//! The configuration file: YAML text to a checked [`Config`], or every problem at once.

use std::{net::SocketAddr, path::PathBuf};

use crate::{
    model::{Farm, Identifier, Service},
    wire::topic::Binding,
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
    /// Where metrics and health are served; `None` serves nothing.
    pub http_listen: Option<SocketAddr>,
}

/// How the broker is reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broker {
    /// Host name or address.
    pub host: String,
    /// TCP port.
    pub port: u16,
    /// User name, if the broker wants one.
    pub user: Option<String>,
    /// File that holds the password, read at each connection and never shown.
    pub password_file: Option<PathBuf>,
    /// MQTT client identifier: one per daemon.
    pub client_id: String,
    /// First level of the published topics.
    pub domain: Identifier,
}

/// How the forecast is fetched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForecastService {
    /// Whose forecast.
    pub service: Service,
    /// Where its interface starts, without a slash at the end.
    pub base_url: String,
    /// An address or a site at which the service's keepers reach the farm.
    pub contact: String,
}
