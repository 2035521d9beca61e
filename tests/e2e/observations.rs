//! Real observations of a freeze (see `tests/data/README.md`), and a weather service that serves them.

use jiff::{SignedDuration, Timestamp, civil::date, tz::TimeZone};

/// One hour at the station.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// When, as recorded.
    pub at: Timestamp,
    /// °C.
    pub temperature: f64,
    /// °C, over liquid water.
    pub dew_point: f64,
    /// hPa, reduced to sea level; missing in some hours.
    pub sea_level_pressure: Option<f64>,
    /// m/s.
    pub wind: f64,
}

impl Observation {
    /// Percent over liquid water, by the Magnus form of the WMO's guide (No. 8, annex 4.B): what a sensor would say.
    pub fn relative_humidity(&self) -> f64 {
        let vapour = |celsius: f64| (17.62 * celsius / (243.12 + celsius)).exp();
        100.0 * vapour(self.dew_point) / vapour(self.temperature)
    }
}

/// The committed excerpt.
pub fn freeze() -> Vec<Observation> {
    parse(include_str!("../data/isd-lite-725300-2016-01.txt"))
}

/// ISD-Lite: white space between columns, values times ten, −9999 where missing. Hours without a temperature or a dew
/// point are left out.
fn parse(text: &str) -> Vec<Observation> {
    let known = |tenths: i32| (tenths != -9_999).then(|| f64::from(tenths) / 10.0);
    text.lines()
        .filter_map(|line| {
            let columns: Vec<i32> = line.split_whitespace().map(|column| column.parse().unwrap()).collect();
            let [year, month, day, hour] = [0, 1, 2, 3].map(|at| i16::try_from(columns[at]).unwrap());
            let at = date(year, month as i8, day as i8).at(hour as i8, 0, 0, 0);
            Some(Observation {
                at: TimeZone::UTC.to_timestamp(at).unwrap(),
                temperature: known(columns[4])?,
                dew_point: known(columns[5])?,
                sea_level_pressure: known(columns[6]),
                wind: known(columns[8]).unwrap_or(0.0),
            })
        })
        .collect()
}

/// The observations moved in time, so that the first one is at `start`.
pub fn starting_at(start: Timestamp, observations: &[Observation]) -> Vec<Observation> {
    let first = observations[0].at;
    observations
        .iter()
        .map(|observation| Observation { at: start + observation.at.duration_since(first), ..*observation })
        .collect()
}

/// The observations as MET Norway's Locationforecast 2.0 `complete` would forecast them: hourly for two days, then every
/// six hours, and a last entry without a `next_…` block.
pub fn locationforecast(observations: &[Observation]) -> String {
    let first = observations[0].at;
    let two_days = SignedDuration::from_hours(48);
    let entries: Vec<serde_json::Value> = observations
        .iter()
        .filter(|observation| {
            let lead = observation.at.duration_since(first);
            lead <= two_days || lead.as_hours() % 6 == 0
        })
        .map(|observation| {
            let mut details = serde_json::json!({
                "air_temperature": observation.temperature,
                "dew_point_temperature": observation.dew_point,
                "relative_humidity": (observation.relative_humidity() * 10.0).round() / 10.0,
                "wind_speed": observation.wind,
            });
            if let Some(pressure) = observation.sea_level_pressure {
                details["air_pressure_at_sea_level"] = pressure.into();
            }
            serde_json::json!({ "time": observation.at.to_string(), "data": { "instant": { "details": details } } })
        })
        .collect();
    serde_json::json!({
        "type": "Feature",
        "geometry": { "type": "Point", "coordinates": [25.0, 65.0, 200] },
        "properties": {
            "meta": {
                "updated_at": first.to_string(),
                "units": {
                    "air_pressure_at_sea_level": "hPa",
                    "air_temperature": "celsius",
                    "dew_point_temperature": "celsius",
                    "relative_humidity": "%",
                    "wind_speed": "m/s",
                },
            },
            "timeseries": entries,
        },
    })
    .to_string()
}

#[test]
fn the_excerpt_holds_the_freeze_that_its_readme_describes() {
    let freeze = freeze();
    assert_eq!(freeze.len(), 73);
    let first_at_most = |celsius: f64| freeze.iter().position(|hour| hour.temperature <= celsius);
    assert!((freeze[0].temperature - 2.2).abs() < 1e-9);
    assert_eq!(first_at_most(0.0), Some(9));
    assert_eq!(first_at_most(-5.0), Some(18));
    let coldest = freeze.iter().map(|hour| hour.temperature).fold(f64::INFINITY, f64::min);
    assert!((coldest + 18.3).abs() < 1e-9);
    assert!(freeze.windows(2).all(|pair| pair[1].at.duration_since(pair[0].at) == SignedDuration::from_hours(1)));
    assert_eq!(freeze.iter().filter(|hour| hour.sea_level_pressure.is_none()).count(), 3);
}

#[test]
fn a_missing_temperature_leaves_the_hour_out_instead_of_freezing_the_farm() {
    let text =
        "2016 01 09 12 -9999    22 10097   270    21     8     3 -9999\n2016 01 09 13    22    17 -9999 250 31 0 0 0";
    let hours = parse(text);
    assert_eq!(hours.len(), 1);
    assert_eq!((hours[0].temperature, hours[0].sea_level_pressure), (2.2, None));
}
