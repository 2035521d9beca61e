//! The payload is JSON; a JSON Pointer (RFC 6901) leads to the number.

use serde_json::Value;

use super::{BadPayload, Decoder, Found, Payload, number};

pub(super) const JSON: Decoder = Decoder {
    name: "json",
    words: "the payload is JSON, and `pointer` leads to the number",
    place: Some("pointer"),
    knows_unit: false,
    read,
};

fn read(payload: &Payload<'_>) -> Result<Found, BadPayload> {
    let document: Value = serde_json::from_str(payload.text).map_err(|_| BadPayload::NotJson)?;
    let value = document.pointer(payload.place).ok_or_else(|| BadPayload::Missing(payload.place.to_owned()))?;
    number_in(value, payload).map(Found::bare)
}

/// A JSON number, or one in quotes where the source sends such.
pub(super) fn number_in(value: &Value, payload: &Payload<'_>) -> Result<f64, BadPayload> {
    let wrong = |found| BadPayload::WrongType { place: payload.place.to_owned(), found };
    match value {
        Value::Number(number) => number.as_f64().ok_or_else(|| wrong("a number that is too large")),
        Value::String(text) if payload.quoted => number::plain(text),
        Value::Null => Err(wrong("null")),
        Value::Bool(_) => Err(wrong("true or false")),
        Value::String(_) => Err(wrong("a string")),
        Value::Array(_) => Err(wrong("an array")),
        Value::Object(_) => Err(wrong("an object")),
    }
}
