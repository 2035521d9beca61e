//! Every notation of payloads under random bytes, and under samples that are nearly right.
//!
//! `DECODER_CASES` sets how many inputs are tried for each; `tests/fuzz.sh` sets a million.

use mistwright::{
    model::{Measured, Quantity},
    wire::{
        decode::{DECODERS, Decoder, decode},
        topic::{Binding, Topic, WireUnit},
    },
};
use proptest::prelude::*;

fn cases() -> u32 {
    std::env::var("DECODER_CASES").ok().and_then(|count| count.parse().ok()).unwrap_or(500)
}

fn config() -> ProptestConfig {
    ProptestConfig { cases: cases(), failure_persistence: None, ..ProptestConfig::default() }
}

/// Payloads as sensors send them, for each notation.
const SAMPLES: &[(&str, &str)] = &[
    ("number", "16.5"),
    ("number", " -1.25e1\n"),
    ("number", "\"91.5\""),
    ("json", r#"{"air":{"t":16.5,"h":"91.5"},"list":[1,[2.5]],"n":null}"#),
    ("json", r#"{"t":-7.25,"rh":84,"p":958.2}"#),
    (
        "senml",
        r#"[{"bn":"urn:dev:hall:","bt":1.8e9,"bu":"Cel","n":"t","v":16.25},{"n":"rh","u":"%RH","v":91.5,"t":-20}]"#,
    ),
    (
        "senml",
        r#"[{"bver":10,"bn":"a","bu":"K","bv":273.15,"v":16,"t":-60},{"v":15.5,"t":-2.5,"ut":30},{"n":"b","vb":true}]"#,
    ),
    ("on-off", "ON"),
    ("on-off", "false"),
];

const PLACES: &[&str] = &["", "/t", "/air/t", "/air/h", "/list/1/0", "urn:dev:hall:t", "urn:dev:hall:rh", "a", "ab"];

fn binding(decoder: &'static Decoder, place: &str, quoted: bool) -> Binding {
    Binding {
        decoder,
        place: place.to_owned(),
        quoted,
        missing: vec![-127.0, 65_535.0],
        ..Binding::number(Topic::new("a").unwrap(), WireUnit::Celsius)
    }
}

/// A measurement inside its bounds, or an error with a word; whatever the payload.
fn holds(decoder: &'static Decoder, place: &str, quantity: Quantity, payload: &[u8]) -> Result<(), TestCaseError> {
    for quoted in [false, true] {
        match decode(&binding(decoder, place, quoted), quantity, payload) {
            Ok(decoded) => {
                let (lowest, highest, _) = Measured::bounds(quantity);
                prop_assert!((lowest..=highest).contains(&decoded.measured.base()));
                prop_assert_eq!(decoded.measured.quantity(), quantity);
            }
            Err(bad) => prop_assert!(!bad.word().is_empty() && !bad.to_string().is_empty()),
        }
    }
    Ok(())
}

/// One small change of a sample.
#[derive(Debug, Clone)]
enum Change {
    Flip(prop::sample::Index, u8),
    Cut(prop::sample::Index),
    Double(prop::sample::Index, prop::sample::Index),
    Put(prop::sample::Index, &'static str),
}

fn change() -> impl Strategy<Value = Change> {
    // What trips parsers: signs and exponents, brackets and quotes, other words of JSON, numbers at the ends of types.
    let tokens = prop::sample::select(vec![
        "-",
        "+",
        "e",
        "e308",
        "e-400",
        ".",
        "\"",
        "[",
        "]",
        "{",
        "}",
        ",",
        ":",
        "null",
        "true",
        "NaN",
        "inf",
        "1e999",
        "9007199254740993",
        "-0",
        "268435456",
        "\\u0000",
        "\u{feff}",
        "_",
        "bt",
        "bver",
        "t",
    ]);
    prop_oneof![
        (any::<prop::sample::Index>(), any::<u8>()).prop_map(|(at, bits)| Change::Flip(at, bits)),
        any::<prop::sample::Index>().prop_map(Change::Cut),
        (any::<prop::sample::Index>(), any::<prop::sample::Index>()).prop_map(|(a, b)| Change::Double(a, b)),
        (any::<prop::sample::Index>(), tokens).prop_map(|(at, token)| Change::Put(at, token)),
    ]
}

fn changed(payload: &mut Vec<u8>, change: &Change) {
    if payload.is_empty() {
        return;
    }
    match change {
        Change::Flip(at, bits) => {
            let at = at.index(payload.len());
            payload[at] ^= bits;
        }
        Change::Cut(at) => payload.truncate(at.index(payload.len())),
        Change::Double(a, b) => {
            let (a, b) = (a.index(payload.len()), b.index(payload.len()));
            let part = payload[a.min(b)..a.max(b)].to_vec();
            payload.extend(part);
        }
        Change::Put(at, token) => {
            let at = at.index(payload.len());
            payload.splice(at..at, token.bytes());
        }
    }
}

proptest! {
    #![proptest_config(config())]

    #[test]
    fn no_random_bytes_make_a_decoder_panic_or_leave_the_bounds(
        payload in proptest::collection::vec(any::<u8>(), 0..120),
        place in prop::sample::select(PLACES),
        quantity in prop::sample::select(Quantity::ALL.as_slice()),
    ) {
        for decoder in DECODERS {
            holds(decoder, place, quantity, &payload)?;
        }
    }

    #[test]
    fn no_sample_changed_a_little_makes_a_decoder_panic_or_leave_the_bounds(
        sample in prop::sample::select(SAMPLES),
        changes in proptest::collection::vec(change(), 0..6),
        place in prop::sample::select(PLACES),
        quantity in prop::sample::select(Quantity::ALL.as_slice()),
    ) {
        let mut payload = sample.1.as_bytes().to_vec();
        changes.iter().for_each(|change| changed(&mut payload, change));
        // Each notation also meets the samples of the others.
        for decoder in DECODERS {
            holds(decoder, place, quantity, &payload)?;
        }
    }
}

#[test]
fn every_notation_has_a_sample_and_each_sample_is_read_at_one_place_at_least() {
    for decoder in DECODERS {
        assert!(SAMPLES.iter().any(|(name, _)| *name == decoder.name), "no sample of `{}`", decoder.name);
    }
    for (name, sample) in SAMPLES {
        let decoder = Decoder::named(name).unwrap();
        let read = PLACES.iter().any(|place| {
            Quantity::ALL.iter().any(|of| decode(&binding(decoder, place, true), *of, sample.as_bytes()).is_ok())
        });
        assert!(read, "nothing is read from `{sample}`");
    }
}

#[test]
fn a_nest_of_brackets_as_deep_as_a_payload_allows_is_refused_and_not_followed() {
    let deep = "[".repeat(8_000);
    for decoder in DECODERS {
        assert!(decode(&binding(decoder, "/0", false), Quantity::Temperature, deep.as_bytes()).is_err());
    }
}
