//! Payloads of sensors to measurements. What is configured is read, and nothing is guessed: no other place, unit or
//! notation is tried.

use super::topic::{BadPayload, Binding, Decoder};
use crate::model::{Measured, Quantity};

/// Reads the measurement in a message of a source.
///
/// A number is decimal digits with an optional sign, point and exponent, alone or between blanks. In JSON it is a
/// JSON number: a string that looks like one is refused, because such a feed can change its notation unnoticed.
///
/// # Errors
/// See [`BadPayload`]; every payload gives a measurement inside [`Measured::bounds`] or an error.
pub fn decode(binding: &Binding, quantity: Quantity, payload: &[u8]) -> Result<Measured, BadPayload> {
    if payload.is_empty() {
        return Err(BadPayload::Empty);
    }
    if payload.len() > BadPayload::LONGEST {
        return Err(BadPayload::TooLong(payload.len()));
    }
    let text = std::str::from_utf8(payload).map_err(|_| BadPayload::NotText)?;
    let number = match &binding.decoder {
        Decoder::Number => plain_number(text)?,
        Decoder::JsonPointer(pointer) => number_at(text, pointer)?,
    };
    Ok(Measured::from_base(quantity, binding.unit.to_base(number))?)
}

fn plain_number(text: &str) -> Result<f64, BadPayload> {
    let text = text.trim_matches([' ', '\t', '\r', '\n']);
    // The standard library also reads `nan`, `inf` and `infinity`; no thermometer says those.
    if !text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'+' | b'-' | b'.' | b'e' | b'E')) {
        return Err(BadPayload::NotANumber);
    }
    text.parse().map_err(|_| BadPayload::NotANumber)
}

fn number_at(text: &str, pointer: &str) -> Result<f64, BadPayload> {
    let document: serde_json::Value = serde_json::from_str(text).map_err(|_| BadPayload::NotJson)?;
    let place = document.pointer(pointer).ok_or_else(|| BadPayload::Missing(pointer.to_owned()))?;
    let wrong = |found| BadPayload::WrongType { pointer: pointer.to_owned(), found };
    match place {
        serde_json::Value::Number(number) => number.as_f64().ok_or_else(|| wrong("a number that is too large")),
        serde_json::Value::Null => Err(wrong("null")),
        serde_json::Value::Bool(_) => Err(wrong("true or false")),
        serde_json::Value::String(_) => Err(wrong("a string")),
        serde_json::Value::Array(_) => Err(wrong("an array")),
        serde_json::Value::Object(_) => Err(wrong("an object")),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::wire::topic::{Topic, WireUnit};

    fn binding(decoder: Decoder, unit: WireUnit) -> Binding {
        Binding { topic: Topic::new("sensors/oyster-hall/climate").unwrap(), decoder, unit }
    }

    fn number(payload: &[u8]) -> Result<f64, &'static str> {
        decode(&binding(Decoder::Number, WireUnit::Celsius), Quantity::Temperature, payload)
            .map(Measured::base)
            .map_err(|error| error.word())
    }

    fn json(pointer: &str, payload: &str) -> Result<f64, &'static str> {
        let binding = binding(Decoder::JsonPointer(pointer.to_owned()), WireUnit::Celsius);
        decode(&binding, Quantity::Temperature, payload.as_bytes()).map(Measured::base).map_err(|error| error.word())
    }

    #[test]
    fn a_plain_number_is_read_and_every_other_payload_is_refused_by_its_own_word() {
        assert_eq!(number(b"-7.25"), Ok(-7.25));
        assert_eq!(number(b" 1.65e1\r\n"), Ok(16.5));
        let long = vec![b'1'; 12_000];
        let cases: [(&[u8], &str); 16] = [
            (b"", "empty"),
            (b" ", "not-a-number"),
            (b"warm", "not-a-number"),
            (b"nan", "not-a-number"),
            (b"NaN", "not-a-number"),
            (b"inf", "not-a-number"),
            (b"-infinity", "not-a-number"),
            (b"1e400", "out-of-range"),
            (b"-1e400", "out-of-range"),
            (b"81", "out-of-range"),
            (b"16,5", "not-a-number"),
            (b"16.5 C", "not-a-number"),
            (b"0x10", "not-a-number"),
            (b"\xff\xfe16.5", "not-text"),
            (b"{\"t\":16.5}", "not-a-number"),
            (&long, "too-long"),
        ];
        for (payload, word) in cases {
            assert_eq!(number(payload), Err(word), "{:?}", String::from_utf8_lossy(&payload[..payload.len().min(40)]));
        }
    }

    #[test]
    fn a_pointer_finds_its_number_and_nothing_else_stands_in_for_it() {
        let payload = r#"{"climate":[{"t":3.5},{"t":-4.5}],"a/b":{"m~n":6},"t":"16.5","x":null,"y":true}"#;
        assert_eq!(json("/climate/1/t", payload), Ok(-4.5));
        // RFC 6901 section 4: `~1` stands for `/` and `~0` for `~`, and `~01` for `~1`.
        assert_eq!(json("/a~1b/m~0n", payload), Ok(6.0));
        assert_eq!(json("/~01", r#"{"~1":7}"#), Ok(7.0));
        assert_eq!(json("", "8.5"), Ok(8.5));
        for (pointer, word) in [
            ("/t", "wrong-type"),
            ("/x", "wrong-type"),
            ("/y", "wrong-type"),
            ("/climate", "wrong-type"),
            ("/a~1b", "wrong-type"),
            ("/climate/01/t", "missing"),
            ("/climate/2/t", "missing"),
            ("/climate/-", "missing"),
            ("/nowhere", "missing"),
            ("t", "missing"),
        ] {
            assert_eq!(json(pointer, payload), Err(word), "{pointer}");
        }
        for broken in ["{\"t\":", "{\"t\":nan}", "{\"t\":1e400}", "t=5", "{\"t\":5}}"] {
            assert_eq!(json("/t", broken), Err("not-json"), "{broken}");
        }
        assert_eq!(json("/t", "{\"t\":1e300}"), Err("out-of-range"));
    }

    #[test]
    fn the_number_is_taken_in_the_unit_that_is_configured() {
        let read = |unit, quantity, payload: &str| {
            decode(&binding(Decoder::Number, unit), quantity, payload.as_bytes()).unwrap().base()
        };
        for (unit, quantity, payload, base) in [
            (WireUnit::Fahrenheit, Quantity::Temperature, "14", -10.0),
            (WireUnit::Kelvin, Quantity::Temperature, "273.15", 0.0),
            (WireUnit::Percent, Quantity::RelativeHumidity, "92", 0.92),
            (WireUnit::Ratio, Quantity::RelativeHumidity, "0.92", 0.92),
            (WireUnit::Hectopascal, Quantity::Pressure, "846", 84_600.0),
            (WireUnit::Kilopascal, Quantity::Pressure, "84.6", 84_600.0),
            // The conventional inch of mercury, 3,386.389 Pa: NIST SP 811, table of conversion factors.
            (WireUnit::InchOfMercury, Quantity::Pressure, "25", 84_659.725),
            (WireUnit::PartsPerMillion, Quantity::CarbonDioxide, "875", 875.0),
        ] {
            assert!((read(unit, quantity, payload) - base).abs() < 1e-9, "{unit:?} {payload}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_become_a_measurement_outside_the_bounds(
            payload in proptest::collection::vec(any::<u8>(), 0..40),
            quantity in proptest::sample::select(Quantity::ALL.as_slice()),
            pointer in proptest::sample::select(vec![None, Some(""), Some("/0"), Some("/t")]),
        ) {
            let decoder = pointer.map_or(Decoder::Number, |pointer| Decoder::JsonPointer(pointer.to_owned()));
            if let Ok(measured) = decode(&binding(decoder, WireUnit::Celsius), quantity, &payload) {
                let (lowest, highest, _) = Measured::bounds(quantity);
                prop_assert!((lowest..=highest).contains(&measured.base()));
                prop_assert_eq!(measured.quantity(), quantity);
            }
        }

        #[test]
        fn a_number_comes_back_as_it_was_written(celsius in -60.0..=80.0_f64, padded in any::<bool>()) {
            let text = if padded { format!(" {celsius} ") } else { format!("{celsius:e}") };
            prop_assert_eq!(number(text.as_bytes()), Ok(celsius));
            let text = format!("{{\"t\":{celsius:e}}}");
            prop_assert!((json("/t", &text).unwrap() - celsius).abs() < 1e-12);
        }
    }
}
