//! A notation that only the tests know: it shows what a new one takes.

use super::{BadPayload, Decoder, Found, Payload};

pub(super) const HEXADECIMAL: Decoder = Decoder {
    name: "hexadecimal",
    words: "the payload is a whole number in hexadecimal digits",
    place: None,
    knows_unit: false,
    read,
};

fn read(payload: &Payload<'_>) -> Result<Found, BadPayload> {
    let number = u16::from_str_radix(payload.text, 16).map_err(|_| BadPayload::NotANumber)?;
    Ok(Found::bare(f64::from(number)))
}
