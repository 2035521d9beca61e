//! MET Norway, Locationforecast 2.0, product `complete` (and `compact`, which has no dew point).
//!
//! What the service is known for: steps go from hourly to six-hourly at a varying point; any detail may be missing;
//! pressure is at sea level only; `altitude` corrects the temperature only; more than four decimals of a coordinate are
//! refused with status 403. The licence asks for credit: [`Service::attribution`].

use std::time::Duration;

use serde::Deserialize;

use super::{BadBody, Parsed, Protocol, Spot, detail::Detail, four_decimals, json, moments, moments::Moment};
use crate::model::Service;

/// Who it is.
pub const SERVICE: Service = Service::new("met-norway", "MET Norway", "Data from MET Norway");

/// How it is spoken to.
pub const PROTOCOL: Protocol = Protocol {
    service: SERVICE,
    base_url: "https://api.met.no",
    contact: true,
    usual_keep: Duration::from_secs(1_800),
    free_use: None,
    paid: None,
    path,
    then: None,
    parse,
};

/// Units as the service names them, for every value that is read.
const UNITS: [(&str, &str); 5] = [
    ("air_temperature", "celsius"),
    ("dew_point_temperature", "celsius"),
    ("relative_humidity", "%"),
    ("air_pressure_at_sea_level", "hPa"),
    ("wind_speed", "m/s"),
];

fn path(spot: &Spot) -> String {
    format!(
        "/weatherapi/locationforecast/2.0/complete?lat={}&lon={}&altitude={}",
        four_decimals(spot.latitude),
        four_decimals(spot.longitude),
        spot.elevation.metres().round() + 0.0
    )
}

#[derive(Deserialize)]
struct Body {
    properties: Properties,
}

#[derive(Deserialize)]
struct Properties {
    #[serde(default)]
    meta: Option<Meta>,
    timeseries: Vec<Step>,
}

#[derive(Deserialize)]
struct Meta {
    #[serde(default)]
    updated_at: Option<String>,
    #[serde(default)]
    units: Option<std::collections::BTreeMap<String, String>>,
}

#[derive(Deserialize)]
struct Step {
    #[serde(default)]
    time: Option<String>,
    #[serde(default)]
    data: Option<Data>,
}

#[derive(Deserialize)]
struct Data {
    #[serde(default)]
    instant: Option<Instant>,
}

#[derive(Deserialize)]
struct Instant {
    #[serde(default)]
    details: Option<Details>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct Details {
    air_temperature: Detail,
    dew_point_temperature: Detail,
    relative_humidity: Detail,
    air_pressure_at_sea_level: Detail,
    wind_speed: Detail,
}

fn parse(body: &[u8], spot: &Spot) -> Result<Parsed, BadBody> {
    let properties = json::<Body>(body)?.properties;
    if let Some(units) = properties.meta.as_ref().and_then(|meta| meta.units.as_ref()) {
        for (detail, expected) in UNITS {
            if units.get(detail).is_some_and(|unit| unit != expected) {
                return Err(BadBody::Unit { detail, expected });
            }
        }
    }
    if properties.timeseries.len() > BadBody::MOST_MOMENTS {
        return Err(BadBody::TooMany(properties.timeseries.len()));
    }
    let issued = properties.meta.and_then(|meta| meta.updated_at).and_then(|text| text.parse().ok());
    moments::gather(SERVICE, issued, properties.timeseries.iter().map(moment), spot)
}

fn moment(step: &Step) -> Moment {
    let details = step.data.as_ref().and_then(|data| data.instant.as_ref()).and_then(|now| now.details.as_ref());
    let Some(details) = details else { return Moment::default() };
    Moment {
        at: step.time.as_deref().and_then(|text| text.parse().ok()),
        celsius: details.air_temperature.0,
        dew_point: details.dew_point_temperature.0,
        relative_humidity: details.relative_humidity.0,
        sea_level_pressure: details.air_pressure_at_sea_level.0,
        wind: details.wind_speed.0,
    }
}
