//! Recorded messages: what a broker's own client writes down, and what `replay` writes.
//!
//! Two forms are read, line by line, told apart by their first character: JSON lines as `mosquitto_sub -F %j` prints them
//! (`tst`, `topic`, `qos`, `retain`, `payloadlen`, `payload`), and CSV with the columns time, topic, payload. JSON lines
//! are written, so that what comes out can be read again or published.

use jiff::{Timestamp, fmt::temporal::DateTimeParser};
use serde::{Deserialize, Serialize};

/// A message, and when it arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recorded {
    /// When the client received it.
    pub at: Timestamp,
    /// Its topic.
    pub topic: String,
    /// Its payload.
    pub payload: String,
    /// Whether the broker had kept it: it says nothing about the moment at which it was received.
    pub retained: bool,
}

/// Why a line is no recorded message.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadLine {
    /// Nothing stands there.
    #[error("the line is empty")]
    Empty,
    /// Bytes that are no text.
    #[error("the line is no UTF-8 text")]
    NotText,
    /// Longer than anything that is recorded.
    #[error("the line has more than {0} bytes")]
    TooLong(usize),
    /// It starts like JSON and is none, or lacks a member.
    #[error("no JSON object with `tst`, `topic` and `payload`, as `mosquitto_sub -F %j` prints it ({0})")]
    Json(String),
    /// Not three columns.
    #[error("a CSV line has three columns: time, topic, payload; this has {0}")]
    Columns(usize),
    /// The time cannot be read.
    #[error("`{0}` is no time such as 2027-01-15T18:00:00Z or 2027-01-15T18:00:00.000000+0200")]
    Time(String),
}

impl BadLine {
    /// One word for counts.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Empty => "empty",
            Self::NotText => "not-text",
            Self::TooLong(_) => "too-long",
            Self::Json(_) => "json",
            Self::Columns(_) => "columns",
            Self::Time(_) => "time",
        }
    }
}

/// A message as the client prints it. `mosquitto_sub` puts JSON payloads inside as text with `%j`, and as JSON with `%J`.
#[derive(Deserialize)]
struct Printed<'a> {
    tst: std::borrow::Cow<'a, str>,
    topic: String,
    #[serde(default)]
    retain: u8,
    payload: serde_json::Value,
}

#[derive(Serialize)]
struct Written<'a> {
    tst: String,
    topic: &'a str,
    qos: u8,
    retain: u8,
    payloadlen: usize,
    payload: &'a str,
}

/// Reads one line.
///
/// # Errors
/// See [`BadLine`].
pub fn read(line: &str) -> Result<Recorded, BadLine> {
    let line = line.trim_end_matches(['\r', '\n']);
    if line.trim().is_empty() {
        Err(BadLine::Empty)
    } else if line.starts_with('{') {
        read_json(line)
    } else {
        read_csv(line)
    }
}

fn read_json(line: &str) -> Result<Recorded, BadLine> {
    let printed: Printed<'_> = serde_json::from_str(line).map_err(|error| BadLine::Json(error.to_string()))?;
    let payload = match printed.payload {
        serde_json::Value::String(text) => text,
        serde_json::Value::Null => String::new(),
        other => other.to_string(),
    };
    Ok(Recorded { at: time(&printed.tst)?, topic: printed.topic, payload, retained: printed.retain != 0 })
}

fn read_csv(line: &str) -> Result<Recorded, BadLine> {
    let fields = csv_fields(line);
    let [at, topic, payload] = <[String; 3]>::try_from(fields).map_err(|fields| BadLine::Columns(fields.len()))?;
    Ok(Recorded { at: time(&at)?, topic, payload, retained: false })
}

/// Fields of one CSV line (RFC 4180): a quoted field may hold commas, and doubled quotes. A JSON payload may also stand
/// unquoted in the last column: what follows the second comma then belongs to it.
fn csv_fields(line: &str) -> Vec<String> {
    let mut fields = Vec::new();
    let mut rest = line;
    loop {
        if let Some(quoted) = rest.strip_prefix('"') {
            let (field, behind) = unquoted(quoted);
            fields.push(field);
            match behind.strip_prefix(',') {
                Some(next) => rest = next,
                None => return fields,
            }
        } else if fields.len() == 2 && rest.starts_with('{') {
            fields.push(rest.to_owned());
            return fields;
        } else {
            match rest.split_once(',') {
                Some((field, next)) => {
                    fields.push(field.to_owned());
                    rest = next;
                }
                None => {
                    fields.push(rest.to_owned());
                    return fields;
                }
            }
        }
    }
}

/// The field behind an opening quote, and what follows its closing one.
fn unquoted(text: &str) -> (String, &str) {
    let mut field = String::new();
    let mut rest = text;
    while let Some(at) = rest.find('"') {
        field.push_str(&rest[..at]);
        rest = &rest[at + 1..];
        match rest.strip_prefix('"') {
            Some(more) => {
                field.push('"');
                rest = more;
            }
            None => return (field, rest),
        }
    }
    field.push_str(rest);
    (field, "")
}

/// ISO 8601 with an offset, with or without a colon in it, or seconds since 1970. Mosquitto 2.0 writes a `Z` before the
/// offset, whatever the offset is.
pub(super) fn time(text: &str) -> Result<Timestamp, BadLine> {
    static PARSER: DateTimeParser = DateTimeParser::new();
    let text = text.trim();
    let without = text.split_once("Z+").map(|(time, offset)| format!("{time}+{offset}"));
    let without = without.or_else(|| text.split_once("Z-").map(|(time, offset)| format!("{time}-{offset}")));
    let text = without.as_deref().unwrap_or(text);
    if let Ok(at) = PARSER.parse_timestamp(text) {
        return Ok(at);
    }
    let bad = || BadLine::Time(text.chars().take(40).collect());
    let seconds: f64 = text.parse().map_err(|_| bad())?;
    // Beyond these no sensor was ever recorded, and the arithmetic below stays exact to the microsecond.
    if !(0.0..1e10).contains(&seconds) {
        return Err(bad());
    }
    Timestamp::from_microsecond((seconds * 1e6).round() as i64).map_err(|_| bad())
}

/// One line without its end, as the broker's client prints a message.
pub fn write(message: &Recorded) -> String {
    let written = Written {
        tst: format!("{:.6}", message.at),
        topic: &message.topic,
        qos: 1,
        retain: u8::from(message.retained),
        payloadlen: message.payload.len(),
        payload: &message.payload,
    };
    // Strings and numbers always serialise.
    serde_json::to_string(&written).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn a_line_of_the_brokers_client_is_read_whatever_its_payload() {
        let line = r#"{"tst":"2027-01-15T20:00:00.250000+0200","topic":"sensors/hall","qos":0,"retain":1,"payloadlen":4,"payload":"16.5"}"#;
        let read = read(line).unwrap();
        assert_eq!(read.at, at("2027-01-15T18:00:00.25Z"));
        assert_eq!((read.topic.as_str(), read.payload.as_str(), read.retained), ("sensors/hall", "16.5", true));
        for tst in ["2027-01-15T18:00:00.250000Z+0000", "2027-01-15T12:00:00.250000Z-0600", "1800036000.25"] {
            let line = format!(r#"{{"tst":"{tst}","topic":"a","payload":""}}"#);
            assert_eq!(super::read(&line).unwrap().at, read.at, "{tst}");
        }
        for (payload, text) in
            [(r#""{\"t\":1}""#, r#"{"t":1}"#), (r#"{"t":1}"#, r#"{"t":1}"#), ("16.5", "16.5"), ("null", "")]
        {
            let line = format!(r#"{{"tst":"2027-01-15T18:00:00Z","topic":"a","payload":{payload}}}"#);
            assert_eq!(super::read(&line).unwrap().payload, text);
        }
    }

    #[test]
    fn a_csv_line_is_read_with_quotes_and_with_a_bare_json_payload() {
        for (line, payload) in [
            ("2027-01-15T18:00:00Z,a/b,16.5", "16.5"),
            ("1800036000,a/b,16.5\r\n", "16.5"),
            (r#"2027-01-15T18:00:00Z,"a/b","{""t"":1,""h"":2}""#, r#"{"t":1,"h":2}"#),
            (r#"2027-01-15T18:00:00Z,a/b,{"t":1,"h":2}"#, r#"{"t":1,"h":2}"#),
        ] {
            let read = read(line).unwrap();
            assert_eq!(
                (read.at, read.topic.as_str(), read.payload.as_str()),
                (at("2027-01-15T18:00:00Z"), "a/b", payload)
            );
        }
    }

    #[test]
    fn every_other_line_is_refused_by_its_own_word() {
        for (line, word) in [
            ("", "empty"),
            ("  \n", "empty"),
            ("{}", "json"),
            ("{\"tst\":", "json"),
            ("yesterday,a,1", "time"),
            ("-5,a,1", "time"),
            ("1e300,a,1", "time"),
            ("nan,a,1", "time"),
            ("2027-01-15T18:00:00Z,a", "columns"),
            ("2027-01-15T18:00:00Z,a,1,2", "columns"),
        ] {
            assert_eq!(read(line).unwrap_err().word(), word, "{line:?}");
        }
    }

    proptest::proptest! {
        #[test]
        fn what_is_written_is_read_again(seconds in 0_i64..4_000_000_000, topic in ".{1,40}", payload in ".{0,80}", retained: bool) {
            let message = Recorded { at: Timestamp::from_second(seconds).unwrap(), topic, payload, retained };
            proptest::prop_assert_eq!(read(&write(&message)).unwrap(), message);
        }

        #[test]
        fn no_line_makes_it_panic(line in ".{0,200}") {
            let _ = read(&line);
        }
    }
}
