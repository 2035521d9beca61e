//! No bytes whatever make a reader of a weather service panic or give weather that cannot be.
//!
//! The inputs follow from their number alone, so that a failure names the input that it can be repeated with. A short run
//! is part of every test run; `INPUTS=1000000 cargo test --test all weather::random` is the long one.

use std::panic::{AssertUnwindSafe, catch_unwind};

use mistwright::{
    units::Pressure,
    wire::weather::{PROTOCOLS, Parsed, Protocol, reason},
};
use serde_json::{Value, json};

use super::{body, body::spot, gridpoint, open_meteo};

/// Chance that follows from a seed: the generator of Steele and others (SplitMix64), by its published definition.
struct Chance(u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, bound: usize) -> usize {
        usize::try_from(self.next() % bound.max(1) as u64).unwrap()
    }
}

/// Bodies that each reader is known to accept.
fn samples() -> [Vec<u8>; 4] {
    let point = json!({ "properties": { "forecastGridData": "https://api.weather.gov/gridpoints/FHW/12,34" } });
    [
        body::sample(),
        gridpoint::cell().to_string().into_bytes(),
        open_meteo::sample().to_string().into_bytes(),
        point.to_string().into_bytes(),
    ]
}

fn odd(chance: &mut Chance) -> Value {
    let strange = [
        json!(null),
        json!(true),
        json!(-1),
        json!(0),
        json!(u64::MAX),
        json!(i64::MIN),
        json!(1e308),
        json!(-1e-308),
        json!(-73.3333),
        json!(""),
        json!("NaN"),
        json!([]),
        json!({}),
        json!([[[[1.5]]]]),
        json!("2027-01-08T18:00:00+00:00/P1DT2H"),
        json!("9999-12-30T23:59:59+00:00/PT9H"),
        json!("-009999-01-01T00:00:00Z/PT1S"),
        json!("2027-01-08T18:30:00-23:59/-PT3H"),
        json!("2027-01-08T18:00:00Z/P1Y2M3W4DT5H6M7.5S"),
        json!("wmoUnit:degF"),
        json!("0".repeat(2_000)),
    ];
    match chance.below(strange.len() + 3) {
        0 => json!(f64::from_bits(chance.next())),
        1 => json!(chance.next()),
        2 => json!(i64::try_from(chance.next() >> 1).unwrap() / 1_000_000_000),
        other => strange[other - 3].clone(),
    }
}

/// One value somewhere in the tree is exchanged, repeated or taken away.
fn change(value: &mut Value, chance: &mut Chance) {
    let deeper = chance.below(8) > 0;
    match value {
        Value::Array(items) if deeper && !items.is_empty() => {
            let at = chance.below(items.len());
            match chance.below(12) {
                0 => drop(items.remove(at)),
                1 => items.push(items[at].clone()),
                2 => items.reverse(),
                _ => change(&mut items[at], chance),
            }
        }
        Value::Object(members) if deeper && !members.is_empty() => {
            let at = chance.below(members.len());
            let key = members.keys().nth(at).unwrap().clone();
            if chance.below(12) == 0 {
                members.remove(&key);
            } else if let Some(member) = members.get_mut(&key) {
                change(member, chance);
            }
        }
        other => *other = odd(chance),
    }
}

fn input(number: u64, samples: &[Vec<u8>; 4]) -> Vec<u8> {
    let mut chance = Chance(number);
    let sample = &samples[chance.below(samples.len())];
    match chance.below(6) {
        0 => (0..chance.below(600)).map(|_| chance.next().to_le_bytes()[0]).collect(),
        1 => {
            let mut bytes = sample.clone();
            for _ in 0..=chance.below(6) {
                let at = chance.below(bytes.len());
                bytes[at] = chance.next().to_le_bytes()[0];
            }
            if chance.below(3) == 0 {
                bytes.truncate(chance.below(bytes.len()));
            }
            bytes
        }
        _ => {
            let mut value: Value = serde_json::from_slice(sample).unwrap();
            for _ in 0..=chance.below(3) {
                change(&mut value, &mut chance);
            }
            value.to_string().into_bytes()
        }
    }
}

/// Whether all of it can be, if it was taken for a forecast.
fn is_weather(parsed: &Parsed) -> bool {
    let points = parsed.forecast.points();
    let pressure = Pressure::from_pascals(97_700.0).unwrap();
    points.windows(2).all(|pair| pair[0].at < pair[1].at)
        && points.iter().all(|point| {
            (-60.0..=60.0).contains(&point.air.temperature.celsius())
                && point.air.at_pressure(pressure).is_ok_and(|air| air.relative_humidity().ratio() > 0.0)
        })
}

/// Whether the reader took it for a forecast.
fn read(protocol: &Protocol, bytes: &[u8]) -> bool {
    let parsed = (protocol.parse)(bytes, &spot());
    if let Ok(parsed) = &parsed {
        assert!(is_weather(parsed), "weather that cannot be: {parsed:?}");
    }
    if let Some(Ok(path)) = protocol.then.map(|then| then(bytes)) {
        assert!(path.starts_with('/') && path.len() < 40 && !path.contains(".."), "{path}");
    }
    if let Some(words) = reason(bytes) {
        assert!(words.chars().count() <= 200 && !words.contains(char::is_control), "{words:?}");
    }
    parsed.is_ok()
}

#[test]
fn no_bytes_make_a_reader_panic_or_give_weather_that_cannot_be() {
    let count = std::env::var("INPUTS").ok().and_then(|count| count.parse().ok()).unwrap_or(3_000_u64);
    let (samples, mut accepted) = (samples(), [0_u64; 3]);
    for number in 0..count {
        let bytes = input(number, &samples);
        for (protocol, accepted) in PROTOCOLS.iter().zip(&mut accepted) {
            let read = catch_unwind(AssertUnwindSafe(|| read(protocol, &bytes)));
            let Ok(read) = read else {
                let who = protocol.service.name();
                panic!("input {number} breaks the reader of {who}: {}", String::from_utf8_lossy(&bytes));
            };
            *accepted += u64::from(read);
        }
    }
    println!("{count} inputs to each of {} readers; taken for forecasts: {accepted:?}", PROTOCOLS.len());
    assert!(
        accepted.iter().all(|accepted| accepted * 100 > count),
        "the changes are too coarse: {accepted:?} of {count}"
    );
}
