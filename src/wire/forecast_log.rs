//! Recorded forecasts: what weather services have answered, one answer a line.
//!
//! ```text
//! {"tst": "2027-01-15T17:02:11Z", "service": "met-norway", "body": {…}}
//! ```
//!
//! `tst` is when the answer came, `service` the name in the configuration, `body` the answer, as JSON or as a text.

use jiff::Timestamp;
use serde::Deserialize;

use super::{
    event_log::{BadLine, time},
    weather::{BadBody, Protocol, Spot},
};
use crate::model::{Forecast, Service};

/// An answer, and when it came.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// When.
    pub at: Timestamp,
    /// From whom.
    pub service: Service,
    /// What it said.
    pub forecast: Forecast,
}

/// Why a line holds no forecast.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadAnswer {
    /// It is no line that could be read, or its time cannot be.
    #[error(transparent)]
    Line(#[from] BadLine),
    /// It is no such object.
    #[error("no JSON object with `tst`, `service` and `body` ({0})")]
    Json(String),
    /// A service that the configuration does not name.
    #[error("the configuration asks no service called `{0}`")]
    Service(String),
    /// The body is no forecast.
    #[error("{0}")]
    Body(BadBody),
}

impl BadAnswer {
    /// One word for counts.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Line(bad) => bad.word(),
            Self::Json(_) => "json",
            Self::Service(_) => "service",
            Self::Body(_) => "forecast",
        }
    }
}

#[derive(Deserialize)]
struct Line {
    tst: String,
    service: String,
    body: serde_json::Value,
}

/// Reads one line. `services` are those that the configuration names.
///
/// # Errors
/// See [`BadAnswer`].
pub fn read(line: &str, spot: &Spot, services: &[&'static Protocol]) -> Result<Answer, BadAnswer> {
    if line.trim().is_empty() {
        return Err(BadLine::Empty.into());
    }
    let read: Line = serde_json::from_str(line).map_err(|error| BadAnswer::Json(error.to_string()))?;
    let at = time(&read.tst)?;
    let protocol = services
        .iter()
        .find(|protocol| protocol.service.name() == read.service)
        .ok_or_else(|| BadAnswer::Service(read.service.chars().take(40).collect()))?;
    let body = match read.body {
        serde_json::Value::String(text) => text,
        other => other.to_string(),
    };
    let parsed = (protocol.parse)(body.as_bytes(), spot).map_err(BadAnswer::Body)?;
    Ok(Answer { at, service: protocol.service, forecast: parsed.forecast })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        units::Elevation,
        wire::weather::{met_norway, open_meteo},
    };

    fn read(line: &str) -> Result<Answer, BadAnswer> {
        let spot = Spot { latitude: 61.0, longitude: 21.0, elevation: Elevation::from_metres(95.0).unwrap() };
        super::read(line, &spot, &[&met_norway::PROTOCOL])
    }

    #[test]
    fn an_answer_is_read_as_json_and_as_text() {
        let body = r#"{"properties":{"timeseries":[{"time":"2027-01-15T18:00:00Z","data":{"instant":{"details":{"air_temperature":-8.0,"relative_humidity":80.0}}}}]}}"#;
        let text = serde_json::Value::from(body).to_string();
        for body in [body, text.as_str()] {
            let line = format!(r#"{{"tst":"2027-01-15T17:02:11Z","service":"met-norway","body":{body}}}"#);
            let answer = read(&line).unwrap();
            assert_eq!(answer.service, met_norway::SERVICE);
            assert_eq!(answer.forecast.points().len(), 1);
            assert_eq!(answer.at, "2027-01-15T17:02:11Z".parse().unwrap());
        }
    }

    #[test]
    fn every_other_line_is_refused_by_its_own_word() {
        let name = open_meteo::SERVICE.name();
        for (line, word) in [
            ("".to_owned(), "empty"),
            ("{}".to_owned(), "json"),
            (r#"{"tst":"soon","service":"met-norway","body":""}"#.to_owned(), "time"),
            (format!(r#"{{"tst":"2027-01-15T17:00:00Z","service":"{name}","body":""}}"#), "service"),
            (r#"{"tst":"2027-01-15T17:00:00Z","service":"met-norway","body":"<html>"}"#.to_owned(), "forecast"),
        ] {
            assert_eq!(read(&line).unwrap_err().word(), word, "{line:?}");
        }
    }
}
