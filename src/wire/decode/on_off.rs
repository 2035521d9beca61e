//! A switch that says in a word whether it is on.

use super::{BadPayload, Decoder, Found, Payload, WireUnit};

pub(super) const ON_OFF: Decoder = Decoder {
    name: "on-off",
    words: "the payload is a word of a switch: `on`, `true` or `1`, or else `off`, `false` or `0`",
    place: None,
    knows_unit: true,
    read,
};

fn read(payload: &Payload<'_>) -> Result<Found, BadPayload> {
    let number = match payload.text.trim().to_ascii_lowercase().as_str() {
        "on" | "true" | "1" => 1.0,
        "off" | "false" | "0" => 0.0,
        _ => return Err(BadPayload::NoSwitch),
    };
    Ok(Found { unit: Some(WireUnit::Ratio), ..Found::bare(number) })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Quantity;

    #[test]
    fn a_switch_is_on_or_off_and_every_other_word_is_refused() {
        let read = |text| read(&Payload { text, place: "", quantity: Quantity::FanState, quoted: false });
        for (text, number) in [("ON", 1.0), (" off\n", 0.0), ("True", 1.0), ("0", 0.0)] {
            assert_eq!(read(text).unwrap().number.to_bits(), f64::to_bits(number), "{text}");
        }
        for text in ["", "open", "2", "on off", "0.5"] {
            assert_eq!(read(text), Err(BadPayload::NoSwitch), "{text}");
        }
    }
}
