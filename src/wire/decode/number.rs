//! The payload is the number.

use super::{BadPayload, Decoder, Found, Payload};

pub(super) const NUMBER: Decoder =
    Decoder { name: "number", words: "the payload is the number, as text", place: None, knows_unit: false, read };

fn read(payload: &Payload<'_>) -> Result<Found, BadPayload> {
    let text = payload.text.trim_matches(BLANKS);
    let inside = text.strip_prefix('"').and_then(|text| text.strip_suffix('"'));
    plain(inside.filter(|_| payload.quoted).unwrap_or(text)).map(Found::bare)
}

const BLANKS: [char; 4] = [' ', '\t', '\r', '\n'];

/// Decimal digits with an optional sign, point and exponent, between blanks.
pub(super) fn plain(text: &str) -> Result<f64, BadPayload> {
    let text = text.trim_matches(BLANKS);
    // The standard library also reads `nan`, `inf` and `infinity`; no thermometer says those.
    if !text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E')) {
        return Err(BadPayload::NotANumber);
    }
    text.parse().map_err(|_| BadPayload::NotANumber)
}
