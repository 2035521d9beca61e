//! A forecast as JSON lines of this program's own: one moment each, as `forecast.points` of `/snapshot.json` has them
//! (`jq -c '.forecast.points[]'` writes such a file).
//!
//! ```text
//! {"at": "2027-01-15T18:00:00Z", "temperature_celsius": -8.2, "vapour_pressure_pascals": 260}
//! {"at": "2027-01-15T19:00:00Z", "temperature_celsius": -8.9, "relative_humidity_ratio": 0.84}
//! ```
//!
//! Moisture is a vapour pressure or a relative humidity over liquid water. `sea_level_pressure_pascals` and
//! `wind_metres_per_second` may stand beside them; any other member is passed over.

use jiff::Timestamp;
use serde::Deserialize;

use super::Spot;
use crate::{
    model::{Forecast, ForecastPoint, OutdoorAir, Service, forecast::BadForecast},
    units::{OutOfRange, Pressure, RelativeHumidity, Speed, Temperature, VapourPressure},
};

/// Why lines are no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum BadLines {
    /// A line that is no such object.
    #[error("line {line}: {reason}")]
    NotAMoment {
        /// Its number, from 1.
        line: usize,
        /// What is wrong with it.
        reason: String,
    },
    /// A value that the weather does not have.
    #[error("line {line}: {reason}")]
    OutOfRange {
        /// Its number, from 1.
        line: usize,
        /// What is wrong with it.
        reason: OutOfRange,
    },
    /// Neither a vapour pressure nor a relative humidity, or one that this air cannot hold.
    #[error(
        "line {line}: no `vapour_pressure_pascals` or `relative_humidity_ratio` that air of this temperature can have"
    )]
    Moisture {
        /// Its number, from 1.
        line: usize,
    },
    /// Moments in the wrong order, or none.
    #[error(transparent)]
    Forecast(#[from] BadForecast),
}

#[derive(Deserialize)]
struct Line {
    at: String,
    temperature_celsius: f64,
    vapour_pressure_pascals: Option<f64>,
    relative_humidity_ratio: Option<f64>,
    sea_level_pressure_pascals: Option<f64>,
    wind_metres_per_second: Option<f64>,
}

/// Who is said to have made a forecast that nobody is named for.
pub const SERVICE: Service = Service::new("file", "A file", "");

/// Reads the lines; empty ones are passed over.
///
/// # Errors
/// See [`BadLines`].
pub fn parse(text: &str, spot: &Spot) -> Result<Forecast, BadLines> {
    let lines = text.lines().zip(1..).filter(|(line, _)| !line.trim().is_empty());
    let points: Result<Vec<_>, _> = lines.map(|(line, number)| point(line, number, spot)).collect();
    Ok(Forecast::new(SERVICE, None, points?)?)
}

fn point(text: &str, line: usize, spot: &Spot) -> Result<ForecastPoint, BadLines> {
    let read: Line =
        serde_json::from_str(text).map_err(|error| BadLines::NotAMoment { line, reason: error.to_string() })?;
    let at: Timestamp =
        read.at.parse().map_err(|_| BadLines::NotAMoment { line, reason: format!("`{}` is no time", read.at) })?;
    let refused = |reason| BadLines::OutOfRange { line, reason };
    let temperature = Temperature::from_celsius(read.temperature_celsius).map_err(refused)?;
    let air = match (read.vapour_pressure_pascals, read.relative_humidity_ratio) {
        (Some(pascals), _) => {
            let vapour_pressure = VapourPressure::from_pascals(pascals).map_err(refused)?;
            OutdoorAir { temperature, vapour_pressure }
        }
        (None, Some(ratio)) => {
            let humidity = RelativeHumidity::from_ratio(ratio).map_err(refused)?;
            OutdoorAir::from_relative_humidity(temperature, humidity, spot.elevation)
                .map_err(|_| BadLines::Moisture { line })?
        }
        (None, None) => return Err(BadLines::Moisture { line }),
    };
    let sea_level_pressure =
        read.sea_level_pressure_pascals.map(Pressure::from_pascals).transpose().map_err(refused)?;
    let wind = read.wind_metres_per_second.map(Speed::from_metres_per_second).transpose().map_err(refused)?;
    Ok(ForecastPoint { at, air, sea_level_pressure, wind })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Elevation;

    fn read(text: &str) -> Result<Forecast, BadLines> {
        let spot = Spot { latitude: 61.0, longitude: 21.0, elevation: Elevation::from_metres(95.0).unwrap() };
        parse(text, &spot)
    }

    #[test]
    fn both_ways_to_say_moisture_are_read_and_strange_members_are_passed_over() {
        let text = "{\"at\":\"2027-01-15T18:00:00Z\",\"temperature_celsius\":-8.0,\"vapour_pressure_pascals\":270.5}\n\n\
                    {\"at\":\"2027-01-15T19:00:00Z\",\"temperature_celsius\":0.0,\"relative_humidity_ratio\":1.0,\"cloud\":3}";
        let forecast = read(text).unwrap();
        assert_eq!(forecast.points().len(), 2);
        assert!((forecast.points()[0].air.vapour_pressure.pascals() - 270.5).abs() < 1e-9);
        // Saturation pressure of water at 0 °C is 611.2 Pa, times the enhancement factor of 1.004 (ASHRAE).
        assert!((forecast.points()[1].air.vapour_pressure.pascals() - 613.8).abs() < 1.0);
    }

    #[test]
    fn a_bad_line_is_named_by_its_number() {
        let good = "{\"at\":\"2027-01-15T18:00:00Z\",\"temperature_celsius\":-8.0,\"vapour_pressure_pascals\":270}";
        for (bad, words) in [
            ("{\"at\":\"2027-01-15T19:00:00Z\",\"temperature_celsius\":-8.0}", "line 2: no `vapour_pressure_pascals`"),
            ("{\"at\":\"soon\",\"temperature_celsius\":-8.0}", "line 2:"),
            ("no JSON", "line 2:"),
            (
                "{\"at\":\"2027-01-15T19:00:00Z\",\"temperature_celsius\":900,\"vapour_pressure_pascals\":1}",
                "line 2: temperature 900",
            ),
            (good, "not in rising order"),
        ] {
            let error = read(&format!("{good}\n{bad}")).unwrap_err().to_string();
            assert!(error.contains(words), "{error}");
        }
        assert_eq!(read("\n").unwrap_err(), BadLines::Forecast(BadForecast::Empty));
    }
}
