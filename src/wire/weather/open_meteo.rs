//! Open-Meteo, forecast of version 1.
//!
//! What the service is known for: times without an offset, and local ones that ignore summer time, so that unix time and
//! GMT are asked for; wind in km/h unless asked otherwise; missing values are null; nothing says when the forecast was
//! made. Its free host is for non-commercial use only; those who pay have another host and a key.

use std::{collections::BTreeMap, time::Duration};

use jiff::Timestamp;
use serde::Deserialize;

use super::{
    BadBody, FreeUse, Paid, Parsed, Protocol, Spot, detail::Detail, four_decimals, json, moments, moments::Moment,
};
use crate::model::Service;

/// Who it is.
pub const SERVICE: Service = Service::new("open-meteo", "Open-Meteo", "Weather data by Open-Meteo.com");

/// How it is spoken to.
pub const PROTOCOL: Protocol = Protocol {
    service: SERVICE,
    base_url: "https://api.open-meteo.com",
    contact: false,
    usual_keep: Duration::from_secs(3_600),
    free_use: Some(FreeUse {
        word: "non-commercial",
        sentence: "Open-Meteo's free host is for non-commercial use only.",
    }),
    paid: Some(Paid { base_url: "https://customer-api.open-meteo.com", parameter: "apikey" }),
    path,
    then: None,
    parse,
};

/// Units as they are asked for.
const UNITS: [(&str, &str); 6] = [
    ("time", "unixtime"),
    ("temperature_2m", "°C"),
    ("relative_humidity_2m", "%"),
    ("dew_point_2m", "°C"),
    ("pressure_msl", "hPa"),
    ("wind_speed_10m", "m/s"),
];

fn path(spot: &Spot) -> String {
    format!(
        "/v1/forecast?latitude={}&longitude={}&elevation={}\
         &hourly=temperature_2m,relative_humidity_2m,dew_point_2m,pressure_msl,wind_speed_10m\
         &wind_speed_unit=ms&timeformat=unixtime&timezone=GMT&forecast_hours=72",
        four_decimals(spot.latitude),
        four_decimals(spot.longitude),
        spot.elevation.metres().round() + 0.0
    )
}

#[derive(Deserialize)]
struct Body {
    #[serde(default)]
    utc_offset_seconds: i64,
    #[serde(default)]
    hourly_units: BTreeMap<String, String>,
    hourly: Hourly,
}

#[derive(Deserialize)]
struct Hourly {
    time: Vec<Detail>,
    temperature_2m: Vec<Detail>,
    #[serde(default)]
    relative_humidity_2m: Option<Vec<Detail>>,
    #[serde(default)]
    dew_point_2m: Option<Vec<Detail>>,
    #[serde(default)]
    pressure_msl: Option<Vec<Detail>>,
    #[serde(default)]
    wind_speed_10m: Option<Vec<Detail>>,
}

fn parse(body: &[u8], spot: &Spot) -> Result<Parsed, BadBody> {
    let Body { utc_offset_seconds, hourly_units, hourly } = json(body)?;
    if utc_offset_seconds != 0 {
        return Err(BadBody::Unit { detail: "utc_offset_seconds", expected: "0" });
    }
    for (detail, expected) in UNITS {
        if hourly_units.get(detail).is_some_and(|unit| unit != expected) {
            return Err(BadBody::Unit { detail, expected });
        }
    }
    let expected = hourly.time.len();
    if expected > BadBody::MOST_MOMENTS {
        return Err(BadBody::TooMany(expected));
    }
    for (detail, values) in [
        ("temperature_2m", Some(&hourly.temperature_2m)),
        ("relative_humidity_2m", hourly.relative_humidity_2m.as_ref()),
        ("dew_point_2m", hourly.dew_point_2m.as_ref()),
        ("pressure_msl", hourly.pressure_msl.as_ref()),
        ("wind_speed_10m", hourly.wind_speed_10m.as_ref()),
    ] {
        if let Some(found) = values.map(Vec::len).filter(|found| *found != expected) {
            return Err(BadBody::Uneven { detail, expected, found });
        }
    }
    let value = |values: &Option<Vec<Detail>>, index: usize| values.as_ref().and_then(|values| values.get(index)?.0);
    let moments = hourly.time.iter().zip(&hourly.temperature_2m).enumerate().map(|(index, (time, celsius))| Moment {
        at: time.0.and_then(moment),
        celsius: celsius.0,
        dew_point: value(&hourly.dew_point_2m, index),
        relative_humidity: value(&hourly.relative_humidity_2m, index),
        sea_level_pressure: value(&hourly.pressure_msl, index),
        wind: value(&hourly.wind_speed_10m, index),
    });
    moments::gather(SERVICE, None, moments, spot)
}

/// Whole seconds since 1970 that a calendar has.
fn moment(seconds: f64) -> Option<Timestamp> {
    #[expect(clippy::cast_possible_truncation, reason = "a number beyond the type is cut to its end and refused there")]
    Timestamp::from_second(seconds as i64).ok()
}
