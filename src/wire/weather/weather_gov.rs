//! US National Weather Service, gridpoint data of `api.weather.gov`.
//!
//! What the service is known for: a point is first looked up, and the address of its grid cell stays good for days;
//! equal hours are merged into intervals of any length; layers end at different times and start in the past; single
//! values are null; `pressure` is empty or without a unit, and is not read; values of −100 °F stand for nothing; copies
//! that are days old arrive with status 200, so that [`Forecast::issued`] has to be judged. Elevation is the grid cell's:
//! a farm far above or below it needs an outdoor sensor. The data are in the public domain.
//!
//! [`Forecast::issued`]: crate::model::Forecast::issued

use std::time::Duration;

use jiff::{SignedDuration, Span, SpanRelativeTo, Timestamp};
use serde::Deserialize;

use super::{BadBody, Parsed, Protocol, Spot, detail::Detail, four_decimals, json, moments, moments::Moment};
use crate::model::Service;

/// Who it is.
pub const SERVICE: Service =
    Service::new("weather-gov", "The US National Weather Service", "Data from the US National Weather Service");

/// How it is spoken to.
pub const PROTOCOL: Protocol = Protocol {
    service: SERVICE,
    base_url: "https://api.weather.gov",
    contact: true,
    usual_keep: Duration::from_secs(3_600),
    free_use: None,
    paid: None,
    path,
    then: Some(grid),
    parse,
};

const HOUR: SignedDuration = SignedDuration::from_hours(1);
/// A value that is said to hold for longer is not believed: the whole forecast is seven days and some hours.
const LONGEST_INTERVAL: SignedDuration = SignedDuration::from_hours(14 * 24);
const CELSIUS: &str = "degC";
const PERCENT: &str = "percent";
const KILOMETRES_PER_HOUR: &str = "km_h-1";

fn path(spot: &Spot) -> String {
    format!("/points/{},{}", four_decimals(spot.latitude), four_decimals(spot.longitude))
}

#[derive(Deserialize)]
struct PointBody {
    properties: PointProperties,
}

#[derive(Deserialize)]
struct PointProperties {
    #[serde(rename = "forecastGridData", default)]
    grid: Option<String>,
}

/// The path of the grid cell, whatever host it names: what a body says must not send the farm's requests elsewhere.
fn grid(body: &[u8]) -> Result<String, BadBody> {
    let address = json::<PointBody>(body)?.properties.grid.ok_or(BadBody::NoAddress)?;
    let (_, behind) = address.split_once("/gridpoints/").ok_or(BadBody::NoAddress)?;
    let whole = |part: &str| !part.is_empty() && part.len() <= 6 && part.bytes().all(|byte| byte.is_ascii_digit());
    let office =
        |part: &str| part.len() <= 6 && !part.is_empty() && part.bytes().all(|byte| byte.is_ascii_alphanumeric());
    match behind.split_once('/').and_then(|(name, cell)| Some((name, cell.split_once(',')?))) {
        Some((name, (x, y))) if office(name) && whole(x) && whole(y) => Ok(format!("/gridpoints/{name}/{x},{y}")),
        _ => Err(BadBody::NoAddress),
    }
}

#[derive(Deserialize)]
struct Body {
    properties: Properties,
}

#[derive(Deserialize)]
struct Properties {
    #[serde(rename = "updateTime", default)]
    updated: Option<String>,
    temperature: Layer,
    #[serde(default)]
    dewpoint: Layer,
    #[serde(rename = "relativeHumidity", default)]
    relative_humidity: Layer,
    #[serde(rename = "windSpeed", default)]
    wind_speed: Layer,
}

#[derive(Deserialize, Default)]
struct Layer {
    #[serde(default)]
    uom: Option<String>,
    #[serde(default)]
    values: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Entry {
    #[serde(default)]
    valid_time: Option<String>,
    #[serde(default)]
    value: Detail,
}

/// A value and the time that it holds for.
#[derive(Debug, Clone, Copy)]
struct Interval {
    start: Timestamp,
    /// The first moment that it no longer holds for.
    end: Timestamp,
    value: Option<f64>,
}

fn parse(body: &[u8], spot: &Spot) -> Result<Parsed, BadBody> {
    let properties = json::<Body>(body)?.properties;
    let (temperature, unread) = intervals(&properties.temperature, "temperature", CELSIUS)?;
    let (dew_point, _) = intervals(&properties.dewpoint, "dewpoint", CELSIUS)?;
    let (relative_humidity, _) = intervals(&properties.relative_humidity, "relativeHumidity", PERCENT)?;
    let (wind, _) = intervals(&properties.wind_speed, "windSpeed", KILOMETRES_PER_HOUR)?;
    let hours = hours(&temperature)?;
    let moments = hours.into_iter().map(|hour| Moment {
        at: Some(hour),
        celsius: at(&temperature, hour),
        dew_point: at(&dew_point, hour),
        relative_humidity: at(&relative_humidity, hour),
        sea_level_pressure: None,
        wind: at(&wind, hour).map(|speed| speed / 3.6),
    });
    let unread = std::iter::repeat_n(Moment::default(), unread);
    let issued = properties.updated.and_then(|text| text.parse().ok());
    moments::gather(SERVICE, issued, moments.chain(unread), spot)
}

/// A layer's values in rising order of time, and how many of them have no readable time.
fn intervals(layer: &Layer, detail: &'static str, expected: &'static str) -> Result<(Vec<Interval>, usize), BadBody> {
    if layer.values.len() > BadBody::MOST_MOMENTS {
        return Err(BadBody::TooMany(layer.values.len()));
    }
    // `wmoUnit:degC`, earlier `unit:degC`. A layer without values often has no unit.
    let unit = layer.uom.as_deref().map(|unit| unit.rsplit(':').next().unwrap_or(unit));
    if !layer.values.is_empty() && unit != Some(expected) {
        return Err(BadBody::Unit { detail, expected });
    }
    let mut intervals: Vec<Interval> = layer.values.iter().filter_map(interval).collect();
    let unread = layer.values.len() - intervals.len();
    intervals.sort_by_key(|interval| interval.start);
    Ok((intervals, unread))
}

/// `2025-12-31T18:00:00+00:00/P1DT2H`.
fn interval(entry: &Entry) -> Option<Interval> {
    let (start, length) = entry.valid_time.as_deref()?.split_once('/')?;
    let start: Timestamp = start.parse().ok()?;
    let length: Span = length.parse().ok()?;
    let length = length.to_duration(SpanRelativeTo::days_are_24_hours()).ok()?;
    let end = start.checked_add(length).ok().filter(|_| length.is_positive() && length <= LONGEST_INTERVAL)?;
    Some(Interval { start, end, value: entry.value.0 })
}

/// Every full hour that the layer covers with a value or a null, from the start of its first interval on.
fn hours(layer: &[Interval]) -> Result<Vec<Timestamp>, BadBody> {
    let mut hours = Vec::new();
    for interval in layer {
        let mut hour = hours.last().map_or(interval.start, |last: &Timestamp| {
            let next = last.checked_add(HOUR).unwrap_or(Timestamp::MAX);
            if next < interval.start { interval.start } else { next }
        });
        while hour < interval.end {
            if hours.len() >= BadBody::MOST_MOMENTS {
                return Err(BadBody::TooMany(hours.len() + 1));
            }
            hours.push(hour);
            match hour.checked_add(HOUR) {
                Ok(next) => hour = next,
                Err(_) => break,
            }
        }
    }
    Ok(hours)
}

/// The layer's value for a moment; where intervals overlap, that of the one that started last.
fn at(layer: &[Interval], moment: Timestamp) -> Option<f64> {
    let after = layer.partition_point(|interval| interval.start <= moment);
    layer[..after].iter().rev().find(|interval| moment < interval.end)?.value
}
