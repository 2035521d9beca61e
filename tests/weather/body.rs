//! MET Norway's bodies: what is read, what is left out, and what is refused in words.

use jiff::Timestamp;
use mistwright::{
    model::Forecast,
    units::Elevation,
    wire::weather::{BadBody, LeftOut, Parsed, Spot, met_norway},
};
use proptest::prelude::*;
use serde_json::{Value, json};

pub fn spot() -> Spot {
    Spot { latitude: 61.234_567, longitude: -10.000_04, elevation: Elevation::from_metres(310.4).unwrap() }
}

fn parse(body: &[u8]) -> Result<Parsed, BadBody> {
    (met_norway::PROTOCOL.parse)(body, &spot())
}

fn step(time: &str, details: Value) -> Value {
    json!({ "time": time, "data": { "instant": { "details": details } } })
}

fn body(steps: &[Value]) -> Vec<u8> {
    json!({
        "type": "Feature",
        "properties": {
            "meta": { "updated_at": "2027-01-08T17:38:34Z", "units": { "air_temperature": "celsius" } },
            "timeseries": steps,
        },
    })
    .to_string()
    .into_bytes()
}

/// A body as the service sends it: hourly, then six-hourly, with everything that is read.
pub fn sample() -> Vec<u8> {
    let hours = (0..6).chain((6..24).step_by(6));
    let steps: Vec<Value> = hours
        .map(|hour| {
            let celsius = 2.0 - f64::from(hour);
            let details = json!({
                "air_pressure_at_sea_level": 1021.4,
                "air_temperature": celsius,
                "cloud_area_fraction": 12.5,
                "dew_point_temperature": celsius - 3.0,
                "relative_humidity": if celsius > -2.0 { 80.6 } else { 79.4 },
                "wind_speed": 1.6,
            });
            step(&format!("2027-01-{:02}T{:02}:00:00Z", 8 + (18 + hour) / 24, (18 + hour) % 24), details)
        })
        .collect();
    body(&steps)
}

fn only(details: Value) -> Result<Parsed, BadBody> {
    parse(&body(&[step("2027-01-08T18:00:00Z", details)]))
}

fn vapour(parsed: &Parsed) -> f64 {
    parsed.forecast.points()[0].air.vapour_pressure.pascals()
}

fn ends(forecast: &Forecast) -> String {
    forecast.ends().to_string()
}

#[test]
fn the_request_has_at_most_four_decimals_and_whole_metres() {
    let path = met_norway::PROTOCOL.path;
    assert_eq!(path(&spot()), "/weatherapi/locationforecast/2.0/complete?lat=61.2346&lon=-10&altitude=310");
    let origin = Spot { latitude: -0.000_01, longitude: 0.1 + 0.2, elevation: Elevation::from_metres(-0.4).unwrap() };
    assert_eq!(path(&origin), "/weatherapi/locationforecast/2.0/complete?lat=0&lon=0.3&altitude=0");
}

#[test]
fn steps_of_one_and_of_six_hours_are_read() {
    let parsed = parse(&sample()).unwrap();
    assert!(parsed.left_out.is_nothing(), "{}", parsed.left_out);
    assert_eq!(parsed.forecast.points().len(), 9);
    assert_eq!(ends(&parsed.forecast), "2027-01-09T12:00:00Z");
    assert_eq!(parsed.forecast.issued, Some("2027-01-08T17:38:34Z".parse::<Timestamp>().unwrap()));
    let middle = parsed.forecast.at("2027-01-09T03:00:00Z".parse().unwrap()).unwrap();
    assert!((middle.air.temperature.celsius() + 7.0).abs() < 1e-9, "between two six-hourly moments");
    let first = parsed.forecast.points()[0];
    assert_eq!(first.sea_level_pressure.map(|pressure| pressure.pascals()), Some(102_140.0));
    assert_eq!(first.wind.map(|wind| wind.metres_per_second()), Some(1.6));
}

#[test]
fn the_vapour_pressure_is_that_of_the_dew_point_over_water_below_freezing() {
    let parsed = only(json!({ "air_temperature": -10.0, "dew_point_temperature": -13.0, "relative_humidity": 79.0 }));
    // WMO-No. 8, annex 4.B: e_w(−13 °C) = 6.112·exp(17.62·t/(243.12 + t)) = 2.258 hPa, times f = 1.0045 in air near
    // 1000 hPa; over ice it would be 1.99 hPa.
    assert!((vapour(&parsed.unwrap()) - 226.8).abs() < 1.0);
}

#[test]
fn a_compact_body_gives_the_same_air_by_its_relative_humidity() {
    let by_humidity = only(json!({ "air_temperature": 2.3, "relative_humidity": 63.3 })).unwrap();
    // The same formula: e_w(2.3 °C) = 7.21 hPa, of which 63.3 % are 4.56 hPa, times f.
    assert!((vapour(&by_humidity) - 458.2).abs() < 2.0, "{}", vapour(&by_humidity));
    // The dew point of 63.3 % at 2.3 °C is −4.0 °C.
    let by_dew_point = only(json!({ "air_temperature": 2.3, "dew_point_temperature": -4.0 })).unwrap();
    assert!((vapour(&by_dew_point) - vapour(&by_humidity)).abs() < 3.0);
    let both = json!({ "air_temperature": 2.3, "dew_point_temperature": -4.0, "relative_humidity": 60.0 });
    assert!((vapour(&only(both).unwrap()) - vapour(&by_dew_point)).abs() < 1e-9, "the dew point is preferred");
}

#[test]
fn a_moment_that_contradicts_itself_is_left_out_and_counted() {
    let cases = [
        ("a dew point above the temperature", json!({ "air_temperature": 1.0, "dew_point_temperature": 1.3 })),
        (
            "a humidity 6 points off",
            json!({ "air_temperature": 2.3, "dew_point_temperature": -4.0, "relative_humidity": 69.5 }),
        ),
        (
            "a dew point that is a frost point",
            json!({ "air_temperature": -20.0, "dew_point_temperature": -20.2, "relative_humidity": 80.0 }),
        ),
    ];
    let good = json!({ "air_temperature": 1.0, "dew_point_temperature": 1.2, "relative_humidity": 100.0 });
    for (what, details) in cases {
        let steps = [step("2027-01-08T18:00:00Z", details), step("2027-01-08T19:00:00Z", good.clone())];
        let parsed = parse(&body(&steps)).unwrap();
        assert_eq!(parsed.left_out, LeftOut { contradicting: 1, ..LeftOut::default() }, "{what}");
        assert_eq!(parsed.forecast.points().len(), 1, "{what}");
        assert_eq!(ends(&parsed.forecast), "2027-01-08T19:00:00Z", "{what}");
    }
}

#[test]
fn any_detail_may_be_missing_or_of_another_type() {
    let good = json!({ "air_temperature": 1.0, "relative_humidity": 90.0 });
    let odd = [Value::Null, json!("1.0"), json!(true), json!([1.0]), json!({ "value": 1.0 })];
    for value in odd {
        for key in ["air_temperature", "dew_point_temperature", "relative_humidity", "wind_speed"] {
            let mut details = good.clone();
            details[key] = value.clone();
            let steps = [step("2027-01-08T18:00:00Z", details), step("2027-01-08T19:00:00Z", good.clone())];
            let parsed = parse(&body(&steps)).unwrap_or_else(|error| panic!("{key} {value}: {error}"));
            let needed = matches!(key, "air_temperature" | "relative_humidity");
            assert_eq!(parsed.left_out.incomplete, usize::from(needed), "{key} {value}");
            assert_eq!(parsed.forecast.points().len(), 2 - usize::from(needed), "{key} {value}");
        }
    }
    let bare = [json!({}), json!({ "time": "2027-01-08T18:00:00Z" }), json!({ "time": "soon", "data": {} })];
    let steps: Vec<Value> = bare.into_iter().chain([step("2027-01-08T19:00:00Z", good)]).collect();
    assert_eq!(parse(&body(&steps)).unwrap().left_out, LeftOut { incomplete: 3, ..LeftOut::default() });
}

#[test]
fn values_that_the_weather_does_not_have_are_left_out() {
    let good = json!({ "air_temperature": 1.0, "relative_humidity": 90.0, "wind_speed": 3.0 });
    for (key, value, details) in [
        ("air_temperature", -73.3, false),
        ("air_temperature", 61.0, false),
        ("dew_point_temperature", -60.1, false),
        ("relative_humidity", 105.1, false),
        ("relative_humidity", 0.0, false),
        ("air_pressure_at_sea_level", 0.0, true),
        ("air_pressure_at_sea_level", 101_325.0, true),
        ("wind_speed", -1.0, true),
    ] {
        let mut odd = good.clone();
        odd[key] = json!(value);
        let steps = [step("2027-01-08T18:00:00Z", odd), step("2027-01-08T19:00:00Z", good.clone())];
        let parsed = parse(&body(&steps)).unwrap();
        assert_eq!(parsed.left_out.out_of_range, usize::from(!details), "{key} {value}");
        assert_eq!(parsed.left_out.details, usize::from(details), "{key} {value}");
        assert_eq!(parsed.forecast.points().len(), 1 + usize::from(details), "{key} {value}");
    }
}

#[test]
fn moments_are_put_in_order_and_repeated_ones_keep_the_first() {
    let at = |time, celsius| step(time, json!({ "air_temperature": celsius, "relative_humidity": 90.0 }));
    let steps = [
        at("2027-01-08T20:00:00Z", 3.0),
        at("2027-01-08T18:00:00Z", 1.0),
        at("2027-01-08T18:00:00Z", 9.0),
        at("2027-01-08T20:00:00+01:00", 2.0),
    ];
    let parsed = parse(&body(&steps)).unwrap();
    let celsius: Vec<f64> = parsed.forecast.points().iter().map(|point| point.air.temperature.celsius()).collect();
    assert_eq!(celsius, [1.0, 2.0, 3.0]);
    assert_eq!(parsed.left_out, LeftOut { repeated: 1, ..LeftOut::default() });
}

#[test]
fn what_is_no_forecast_is_refused_in_words() {
    let many: Vec<Value> = (0..1_001).map(|_| json!({})).collect();
    let mut fahrenheit: Value = serde_json::from_slice(&sample()).unwrap();
    fahrenheit["properties"]["meta"]["units"]["air_temperature"] = json!("fahrenheit");
    let whole = sample();
    let cases: [(&[u8], &str, &str); 9] = [
        (b"", "empty", "the answer is empty"),
        (b" \r\n", "empty", "the answer is empty"),
        (b"<!DOCTYPE html><html>", "web-page", "the answer is a web page, not a forecast"),
        (&whole[..700], "truncated", "the answer breaks off after 700 bytes"),
        (
            b"{\"error\": \"no\"}",
            "not-a-forecast",
            "the answer is not a forecast: line 1, column 15 is not what the service is known to send",
        ),
        (
            b"\x1f\x8b\x08",
            "not-a-forecast",
            "the answer is not a forecast: line 1, column 1 is not what the service is known to send",
        ),
        (&body(&many), "not-a-forecast", "the answer has 1001 moments; at most 1000 are read"),
        (
            &fahrenheit.to_string().into_bytes(),
            "unit",
            "the service sends `air_temperature` in an unknown unit; celsius was expected",
        ),
        (&body(&many[..2]), "nothing-usable", "the answer has no usable moment (left out: 2 incomplete)"),
    ];
    for (body, word, sentence) in cases {
        let refused = parse(body).unwrap_err();
        assert_eq!((refused.word(), refused.to_string().as_str()), (word, sentence));
    }
}

proptest! {
    // A failure prints its input; nothing is written beside the sources.
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_bytes_make_the_reader_panic_or_give_impossible_weather(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
        whole in any::<bool>(),
    ) {
        let mut body = sample();
        for (place, byte) in changes {
            let place = place.index(body.len());
            body[place] = byte;
        }
        if !whole {
            body.truncate(cut.index(body.len()));
        }
        if let Ok(parsed) = parse(&body) {
            let points = parsed.forecast.points();
            prop_assert!(points.windows(2).all(|pair| pair[0].at < pair[1].at));
            for point in points {
                prop_assert!((-60.0..=60.0).contains(&point.air.temperature.celsius()));
                let air = point.air.at_pressure(mistwright::units::Pressure::from_pascals(97_700.0).unwrap());
                prop_assert!(air.is_ok_and(|air| air.relative_humidity().ratio() > 0.0));
            }
        }
    }
}
