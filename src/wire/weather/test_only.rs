//! A service that does not exist, for tests alone: it shows that a new service is this file and its row in
//! [`PROTOCOLS`](super::PROTOCOLS). All else knows it from there.

use std::time::Duration;

use serde::Deserialize;

use super::{BadBody, Parsed, Protocol, Spot, detail::Detail, four_decimals, json, moments, moments::Moment};
use crate::model::Service;

/// Who it is.
pub const SERVICE: Service = Service::new("test-only", "The weather of a test", "Made up for a test");

/// How it is spoken to.
pub const PROTOCOL: Protocol = Protocol {
    service: SERVICE,
    base_url: "https://weather.example",
    contact: false,
    usual_keep: Duration::from_secs(3_600),
    free_use: None,
    paid: None,
    path: |spot: &Spot| format!("/air?at={},{}", four_decimals(spot.latitude), four_decimals(spot.longitude)),
    then: None,
    parse,
};

#[derive(Deserialize)]
struct Hour {
    at: String,
    celsius: Detail,
    percent: Detail,
}

fn parse(body: &[u8], spot: &Spot) -> Result<Parsed, BadBody> {
    let hours: Vec<Hour> = json(body)?;
    let moments = hours.iter().map(|hour| Moment {
        at: hour.at.parse().ok(),
        celsius: hour.celsius.0,
        relative_humidity: hour.percent.0,
        ..Moment::default()
    });
    moments::gather(SERVICE, None, moments, spot)
}
