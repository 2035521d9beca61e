//! MET Norway, Locationforecast 2.0, product `complete` (and `compact`, which has no dew point).
//!
//! What the service is known for: steps go from hourly to six-hourly at a varying point; any detail may be missing;
//! pressure is at sea level only; `altitude` corrects the temperature only; more than four decimals of a coordinate are
//! refused with status 403. The licence asks for credit: [`Service::attribution`].

use jiff::Timestamp;
use serde::Deserialize;

use super::{BadBody, LeftOut, Parsed, Protocol, Spot, detail::Detail};
use crate::{
    model::{Forecast, ForecastPoint, OutdoorAir, Service},
    units::{Pressure, RelativeHumidity, Speed, Temperature},
};

/// The row of this service.
pub const PROTOCOL: Protocol = Protocol { path, parse };

/// Outdoor air temperatures that are believed, in °C: the liquid curve of saturation starts at −60.
const TEMPERATURES: std::ops::RangeInclusive<f64> = -60.0..=60.0;
/// Dew points that are believed, in °C.
const DEW_POINTS: std::ops::RangeInclusive<f64> = -60.0..=40.0;
/// Relative humidities that are believed, in percent. Forecast models round and overshoot saturation a little.
const RELATIVE_HUMIDITIES: std::ops::RangeInclusive<f64> = 0.5..=105.0;
/// Sea-level pressures that are believed, in hPa: the records are 870 and 1084.
const SEA_LEVEL_PRESSURES: std::ops::RangeInclusive<f64> = 850.0..=1_100.0;
/// Wind speeds that are believed, in m/s.
const WINDS: std::ops::RangeInclusive<f64> = 0.0..=120.0;
/// A dew point may lie this far above the temperature, in K: both are rounded.
const DEW_POINT_ABOVE: f64 = 0.2;
/// The relative humidity sent may differ this much from the one that the dew point gives, in percent.
const HUMIDITY_APART: f64 = 5.0;

/// Units as the service names them, for every value that is read.
const UNITS: [(&str, &str); 5] = [
    ("air_temperature", "celsius"),
    ("dew_point_temperature", "celsius"),
    ("relative_humidity", "%"),
    ("air_pressure_at_sea_level", "hPa"),
    ("wind_speed", "m/s"),
];

fn path(spot: &Spot) -> String {
    // Adding zero turns a rounded −0 into 0.
    let rounded = |degrees: f64| (degrees * 10_000.0).round() / 10_000.0 + 0.0;
    format!(
        "/weatherapi/locationforecast/2.0/complete?lat={}&lon={}&altitude={}",
        rounded(spot.latitude),
        rounded(spot.longitude),
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
    let properties = read(body)?.properties;
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
    let mut left_out = LeftOut::default();
    let mut points: Vec<ForecastPoint> =
        properties.timeseries.iter().filter_map(|step| point(step, spot, &mut left_out)).collect();
    // The sort is stable: of two values for one moment the first one sent stays.
    points.sort_by_key(|point| point.at);
    let sent = points.len();
    points.dedup_by_key(|point| point.at);
    left_out.repeated = sent - points.len();
    let issued = properties.meta.and_then(|meta| meta.updated_at).and_then(|text| text.parse().ok());
    let forecast = Forecast::new(Service::MetNorway, issued, points).map_err(|_| BadBody::NothingUsable(left_out))?;
    Ok(Parsed { forecast, left_out })
}

fn read(body: &[u8]) -> Result<Body, BadBody> {
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

fn point(step: &Step, spot: &Spot, left_out: &mut LeftOut) -> Option<ForecastPoint> {
    let at = step.time.as_deref().and_then(|text| text.parse::<Timestamp>().ok());
    let details = step.data.as_ref().and_then(|data| data.instant.as_ref()).and_then(|now| now.details.as_ref());
    let (Some(at), Some(details)) = (at, details) else {
        left_out.incomplete += 1;
        return None;
    };
    let sea_level_pressure = believed(details.air_pressure_at_sea_level, SEA_LEVEL_PRESSURES, left_out)
        .and_then(|hectopascals| Pressure::from_pascals(hectopascals * 100.0).ok());
    let wind =
        believed(details.wind_speed, WINDS, left_out).and_then(|speed| Speed::from_metres_per_second(speed).ok());
    match air(details, spot) {
        Ok(air) => Some(ForecastPoint { at, air, sea_level_pressure, wind }),
        Err(unusable) => {
            *match unusable {
                Unusable::Incomplete => &mut left_out.incomplete,
                Unusable::OutOfRange => &mut left_out.out_of_range,
                Unusable::Contradicting => &mut left_out.contradicting,
            } += 1;
            None
        }
    }
}

fn believed(detail: Detail, range: std::ops::RangeInclusive<f64>, left_out: &mut LeftOut) -> Option<f64> {
    let value = detail.0?;
    if range.contains(&value) {
        Some(value)
    } else {
        left_out.details += 1;
        None
    }
}

enum Unusable {
    Incomplete,
    OutOfRange,
    Contradicting,
}

/// Temperature and moisture of a moment: from the dew point (over water, as meteorological practice has it at every
/// temperature) where it is sent, else from the relative humidity.
fn air(details: &Details, spot: &Spot) -> Result<OutdoorAir, Unusable> {
    let within = |detail: Detail, range: std::ops::RangeInclusive<f64>| match detail.0 {
        Some(value) if !range.contains(&value) => Err(Unusable::OutOfRange),
        other => Ok(other),
    };
    let celsius = within(details.air_temperature, TEMPERATURES)?.ok_or(Unusable::Incomplete)?;
    let temperature = Temperature::from_celsius(celsius).map_err(|_| Unusable::OutOfRange)?;
    let humidity = within(details.relative_humidity, RELATIVE_HUMIDITIES)?
        .map(|percent| RelativeHumidity::from_percent(percent.min(100.0)))
        .transpose()
        .map_err(|_| Unusable::OutOfRange)?;
    let from_humidity = humidity
        .map(|humidity| OutdoorAir::from_relative_humidity(temperature, humidity, spot.elevation))
        .transpose()
        .map_err(|_| Unusable::OutOfRange)?;
    let Some(dew_celsius) = within(details.dew_point_temperature, DEW_POINTS)? else {
        return from_humidity.ok_or(Unusable::Incomplete);
    };
    if dew_celsius > celsius + DEW_POINT_ABOVE {
        return Err(Unusable::Contradicting);
    }
    let dew_point = Temperature::from_celsius(dew_celsius.min(celsius)).map_err(|_| Unusable::OutOfRange)?;
    let air = OutdoorAir::from_dew_point(temperature, dew_point, spot.elevation).map_err(|_| Unusable::OutOfRange)?;
    if let (Some(sent), Some(other)) = (humidity, from_humidity) {
        let implied = sent.percent() * air.vapour_pressure.pascals() / other.vapour_pressure.pascals();
        if (implied - sent.percent()).abs() > HUMIDITY_APART {
            return Err(Unusable::Contradicting);
        }
    }
    Ok(air)
}
