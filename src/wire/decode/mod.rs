//! Payloads of sensors to measurements. What is configured is read, and nothing is guessed: no other place, unit or
//! notation is tried.
//!
//! A notation is one file of this folder and one row of [`DECODERS`].

use super::topic::{BadPayload, Binding, WireUnit};
use crate::{
    engine::Taken,
    model::{Measured, Quantity},
};

#[cfg(test)]
mod hexadecimal;
mod json;
mod number;
mod on_off;
mod senml;

/// A notation of payloads.
#[derive(Debug)]
pub struct Decoder {
    /// As it is written in configuration.
    pub name: &'static str,
    /// What it is, for the reference page.
    pub words: &'static str,
    /// The key of the configuration that says where in the payload the number stands.
    pub place: Option<&'static str>,
    /// Whether the payload itself says what unit its number has.
    pub knows_unit: bool,
    /// Reads the number in a payload.
    pub(super) read: fn(&Payload<'_>) -> Result<Found, BadPayload>,
}

impl PartialEq for Decoder {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// Every notation that a configuration may choose.
pub const DECODERS: &[&Decoder] = &[
    &number::NUMBER,
    &json::JSON,
    &senml::SENML,
    &on_off::ON_OFF,
    #[cfg(test)]
    &hexadecimal::HEXADECIMAL,
];

impl Decoder {
    /// The payload is the number.
    pub const NUMBER: &'static Self = &number::NUMBER;
    /// The payload is JSON, and a pointer leads to the number.
    pub const JSON: &'static Self = &json::JSON;

    /// The notation of this name.
    pub fn named(name: &str) -> Option<&'static Self> {
        DECODERS.iter().copied().find(|decoder| decoder.name == name)
    }
}

/// A payload and what its source is configured to be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Payload<'a> {
    pub text: &'a str,
    /// Where the number stands, for decoders with a place.
    pub place: &'a str,
    /// What is wanted.
    pub quantity: Quantity,
    /// Whether numbers may stand in quotes.
    pub quoted: bool,
}

/// What a decoder finds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub number: f64,
    /// The unit, where the payload names it; else it is the configured one.
    pub unit: Option<WireUnit>,
    /// When it was measured, where the payload says so.
    pub taken: Option<Taken>,
}

impl Found {
    const fn bare(number: f64) -> Self {
        Self { number, unit: None, taken: None }
    }
}

/// A measurement, and when it was made where the message says so.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// What was measured.
    pub measured: Measured,
    /// When.
    pub taken: Option<Taken>,
}

/// Reads the measurement in a message of a source.
///
/// A number is decimal digits with an optional sign, point and exponent, alone or between blanks. In JSON it is a
/// JSON number: a string that looks like one is refused unless the source is known to send such, because a feed that
/// changes its notation unnoticed has changed something else too.
///
/// # Errors
/// See [`BadPayload`]; every payload gives a measurement inside [`Measured::bounds`] or an error.
pub fn decode(binding: &Binding, quantity: Quantity, payload: &[u8]) -> Result<Decoded, BadPayload> {
    if payload.is_empty() {
        return Err(BadPayload::Empty);
    }
    if payload.len() > BadPayload::LONGEST {
        return Err(BadPayload::TooLong(payload.len()));
    }
    let text = std::str::from_utf8(payload).map_err(|_| BadPayload::NotText)?;
    let payload = Payload { text, place: &binding.place, quantity, quoted: binding.quoted };
    let found = (binding.decoder.read)(&payload)?;
    // A stand-in for no value is one exact number.
    if binding.missing.contains(&found.number) {
        return Err(BadPayload::NoValue);
    }
    let unit = found.unit.or(binding.unit).ok_or(BadPayload::NoUnit)?;
    let measured = Measured::from_base(quantity, unit.to_base(found.number))?;
    Ok(Decoded { measured, taken: found.taken })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::wire::topic::Topic;

    fn topic() -> Topic {
        Topic::new("sensors/oyster-hall/climate").unwrap()
    }

    fn base(binding: &Binding, quantity: Quantity, payload: &[u8]) -> Result<f64, &'static str> {
        decode(binding, quantity, payload).map(|decoded| decoded.measured.base()).map_err(|error| error.word())
    }

    fn number(payload: &[u8]) -> Result<f64, &'static str> {
        base(&Binding::number(topic(), WireUnit::Celsius), Quantity::Temperature, payload)
    }

    fn json(pointer: &str, payload: &str) -> Result<f64, &'static str> {
        base(&Binding::json(topic(), pointer, WireUnit::Celsius), Quantity::Temperature, payload.as_bytes())
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
            base(&Binding::number(topic(), unit), quantity, payload.as_bytes()).unwrap()
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

    #[test]
    fn a_stand_in_for_no_value_is_no_value_whatever_it_would_be_in_its_unit() {
        let mut binding = Binding::number(topic(), WireUnit::Celsius);
        binding.missing = vec![-127.0, 65_535.0, 0.0];
        for payload in ["-127", "-127.0", "65535", "0", "-0"] {
            assert_eq!(base(&binding, Quantity::Temperature, payload.as_bytes()), Err("no-value"), "{payload}");
        }
        assert_eq!(base(&binding, Quantity::Temperature, b"0.1"), Ok(0.1));
    }

    #[test]
    fn numbers_in_quotes_are_read_only_from_a_source_that_is_known_to_send_them() {
        let quoted = |decoder: Binding| Binding { quoted: true, ..decoder };
        let plain = quoted(Binding::number(topic(), WireUnit::Celsius));
        let json = quoted(Binding::json(topic(), "/t", WireUnit::Celsius));
        assert_eq!(base(&plain, Quantity::Temperature, b" \"16.5\" "), Ok(16.5));
        assert_eq!(base(&json, Quantity::Temperature, br#"{"t":" 16.5"}"#), Ok(16.5));
        assert_eq!(base(&json, Quantity::Temperature, br#"{"t":16.5}"#), Ok(16.5));
        for payload in [r#"{"t":"nan"}"#, r#"{"t":""}"#, r#"{"t":"16,5"}"#, r#"{"t":"'16.5'"}"#] {
            assert_eq!(base(&json, Quantity::Temperature, payload.as_bytes()), Err("not-a-number"), "{payload}");
        }
        assert_eq!(number(b"\"16.5\""), Err("not-a-number"));
    }

    #[test]
    fn a_new_notation_is_chosen_by_its_row_alone() {
        // The row and the file `hexadecimal.rs` are all that this notation takes.
        let decoder = Decoder::named("hexadecimal").unwrap();
        let binding = Binding { decoder, ..Binding::number(topic(), WireUnit::Celsius) };
        assert_eq!(base(&binding, Quantity::Temperature, b"10"), Ok(16.0));
        assert_eq!(base(&binding, Quantity::Temperature, b"0x10"), Err("not-a-number"));
    }

    proptest! {
        #[test]
        fn a_number_comes_back_as_it_was_written(celsius in -60.0..=80.0_f64, padded in any::<bool>()) {
            let text = if padded { format!(" {celsius} ") } else { format!("{celsius:e}") };
            prop_assert_eq!(number(text.as_bytes()), Ok(celsius));
            let text = format!("{{\"t\":{celsius:e}}}");
            prop_assert!((json("/t", &text).unwrap() - celsius).abs() < 1e-12);
        }
    }
}
