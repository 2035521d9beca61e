//! Open-Meteo: parallel arrays, nulls, and a host that not everybody may use.

use std::io::Write;

use mistwright::{
    config::{ForecastService, Secret},
    wire::weather::{BadBody, LeftOut, Parsed, open_meteo},
};
use serde_json::{Value, json};
use wiremock::{
    Mock, MockServer, ResponseTemplate,
    matchers::{any, path, query_param},
};

use super::{
    body::spot,
    client::{Client, answering, configured},
};

/// 2027-01-08T18:00:00Z.
const START: i64 = 1_799_431_200;

fn parse(body: &Value) -> Result<Parsed, BadBody> {
    (open_meteo::PROTOCOL.parse)(body.to_string().as_bytes(), &spot())
}

/// Four hours, the third without values, as the service sends the end of a model's reach.
pub fn sample() -> Value {
    json!({
        "latitude": 61.25, "longitude": -10.0, "generationtime_ms": 0.2, "utc_offset_seconds": 0,
        "timezone": "GMT", "timezone_abbreviation": "GMT", "elevation": 310.0,
        "hourly_units": {
            "time": "unixtime", "temperature_2m": "°C", "relative_humidity_2m": "%", "dew_point_2m": "°C",
            "pressure_msl": "hPa", "wind_speed_10m": "m/s",
        },
        "hourly": {
            "time": [START, START + 3_600, START + 7_200, START + 10_800],
            "temperature_2m": [-4.0, -4.5, null, -5.5],
            "relative_humidity_2m": [79, 80, null, 81],
            "dew_point_2m": [-7.0, -7.4, null, -8.2],
            "pressure_msl": [1013.6, 1013.5, null, null],
            "wind_speed_10m": [2.19, 2.01, null, 1.5],
        },
    })
}

#[test]
fn hours_are_read_across_the_arrays_and_nulls_leave_their_own_hour_out() {
    let Parsed { forecast, left_out } = parse(&sample()).unwrap();
    assert_eq!(left_out, LeftOut { incomplete: 1, ..LeftOut::default() });
    let celsius: Vec<f64> = forecast.points().iter().map(|point| point.air.temperature.celsius()).collect();
    assert_eq!(celsius, [-4.0, -4.5, -5.5]);
    assert_eq!(forecast.points()[0].at.to_string(), "2027-01-08T18:00:00Z");
    assert_eq!(forecast.points()[0].sea_level_pressure.map(|pressure| pressure.pascals().round()), Some(101_360.0));
    assert_eq!(forecast.points()[2].sea_level_pressure, None);
    assert_eq!(forecast.points()[1].wind.map(|wind| wind.metres_per_second()), Some(2.01));
    assert_eq!(forecast.issued, None, "the service does not say");
    // WMO-No. 8, annex 4.B: e_w(−7 °C) = 6.112·exp(17.62·t/(243.12 + t)) = 3.615 hPa, times f = 1.0045.
    assert!((forecast.points()[0].air.vapour_pressure.pascals() - 363.1).abs() < 1.0);
}

#[test]
fn arrays_of_unequal_length_are_refused_and_missing_ones_are_not() {
    for (key, found) in [("temperature_2m", 3), ("dew_point_2m", 5), ("wind_speed_10m", 0)] {
        let mut body = sample();
        let array = body["hourly"][key].as_array_mut().unwrap();
        array.resize(found, json!(1.0));
        assert_eq!(parse(&body).unwrap_err(), BadBody::Uneven { detail: key, expected: 4, found }, "{key}");
    }
    let mut body = sample();
    body["hourly"].as_object_mut().unwrap().remove("dew_point_2m");
    body["hourly"]["wind_speed_10m"] = json!(null);
    assert_eq!(parse(&body).unwrap().forecast.points().len(), 3, "the relative humidity is enough");
    body["hourly"].as_object_mut().unwrap().remove("temperature_2m");
    assert!(matches!(parse(&body), Err(BadBody::NotAForecast { .. })));
}

#[test]
fn other_units_and_local_time_are_refused() {
    for (key, unit) in
        [("wind_speed_10m", "km/h"), ("temperature_2m", "°F"), ("time", "iso8601"), ("pressure_msl", "Pa")]
    {
        let mut body = sample();
        body["hourly_units"][key] = json!(unit);
        assert!(matches!(parse(&body), Err(BadBody::Unit { detail, .. }) if detail == key), "{key}");
    }
    let mut body = sample();
    body["utc_offset_seconds"] = json!(7_200);
    assert!(matches!(parse(&body), Err(BadBody::Unit { detail: "utc_offset_seconds", .. })));
}

#[test]
fn times_beyond_the_calendar_cost_their_own_hour_only() {
    let mut body = sample();
    body["hourly"]["time"][0] = json!(1e300);
    body["hourly"]["time"][1] = json!("2027-01-08T19:00");
    let parsed = parse(&body).unwrap();
    assert_eq!(parsed.forecast.points().len(), 1);
    assert_eq!(parsed.left_out.incomplete, 3);
}

#[tokio::test]
async fn unix_time_gmt_and_metres_per_second_are_asked_for_without_a_contact() {
    let server = MockServer::start().await;
    let agent = format!("mistwright/{}", env!("CARGO_PKG_VERSION"));
    Mock::given(path("/v1/forecast"))
        .and(query_param("latitude", "61.2346"))
        .and(query_param("longitude", "-10"))
        .and(query_param("elevation", "310"))
        .and(query_param("timeformat", "unixtime"))
        .and(query_param("timezone", "GMT"))
        .and(query_param("wind_speed_unit", "ms"))
        .and(wiremock::matchers::header("User-Agent", agent.as_str()))
        .respond_with(ResponseTemplate::new(200).set_body_json(sample()))
        .expect(1)
        .mount(&server)
        .await;
    let service = ForecastService { contact: None, ..configured(&open_meteo::PROTOCOL, server.uri()) };
    let mut client = Client::at(super::client::NOW, service);
    let (keep_for, moments) = client.success().await;
    assert_eq!(moments, Some(3));
    assert!((3_630..4_080).contains(&keep_for.as_secs()), "about hourly where the service does not say: {keep_for:?}");
}

#[tokio::test]
async fn the_key_of_those_who_pay_is_read_at_each_request_and_never_shown() {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    let service = |server: &MockServer, path: &std::path::Path| ForecastService {
        api_key: Some(Secret::File(path.to_owned())),
        ..configured(&open_meteo::PROTOCOL, server.uri())
    };
    let server = MockServer::start().await;
    Mock::given(query_param("apikey", "first+/&=ä"))
        .respond_with(ResponseTemplate::new(200).set_body_json(sample()))
        .expect(1)
        .mount(&server)
        .await;
    let refusal = json!({ "error": true, "reason": "The supplied API key is invalid." });
    Mock::given(query_param("apikey", "second"))
        .respond_with(ResponseTemplate::new(401).set_body_json(refusal))
        .expect(1)
        .mount(&server)
        .await;
    let mut client = Client::at(super::client::NOW, service(&server, file.path()));
    file.write_all("first+/&=ä\n".as_bytes()).unwrap();
    assert!(client.forecast().await.is_some());
    std::fs::write(file.path(), "second").unwrap();
    let failure = client.failure().await;
    assert_eq!(failure.word, "api-key");
    assert_eq!(
        failure.sentence,
        "Open-Meteo does not accept the API key (401). In its own words: The supplied API key is invalid."
    );
    for (text, word) in [("", "api-key"), ("two\nlines", "api-key")] {
        std::fs::write(file.path(), text).unwrap();
        assert_eq!(client.failure().await.word, word, "{text:?}");
    }
    std::fs::remove_file(file.path()).unwrap();
    let failure = client.failure().await;
    assert!(failure.sentence.contains("forecast.api-key-file"), "{}", failure.sentence);

    // A request that goes nowhere names no address, and so no key.
    drop(server);
    std::fs::write(file.path(), "second").unwrap();
    let nowhere = ForecastService {
        base_url: "http://127.0.0.1:1".to_owned(),
        api_key: Some(Secret::File(file.path().to_owned())),
        ..configured(&open_meteo::PROTOCOL, String::new())
    };
    let failure = Client::at(super::client::NOW, nowhere).failure().await;
    assert!(!failure.sentence.contains("second") && !failure.sentence.contains("apikey"), "{}", failure.sentence);
}

#[tokio::test]
async fn refusals_are_told_in_the_services_words() {
    for (status, reason, word) in [
        (400, "Latitude must be in range of -90 to 90°. Given: 99.0.", "status"),
        (429, "Minutely API request limit exceeded. Please try again in one minute.", "too-often"),
    ] {
        let body = json!({ "error": true, "reason": reason });
        let server = answering(ResponseTemplate::new(status).set_body_json(body)).await;
        let failure = Client::of(&open_meteo::PROTOCOL, server.uri()).failure().await;
        assert_eq!(failure.word, word);
        assert!(failure.sentence.ends_with(&format!("In its own words: {reason}")), "{}", failure.sentence);
    }
}

#[tokio::test]
async fn an_error_that_comes_with_status_200_is_no_forecast() {
    let server = MockServer::start().await;
    Mock::given(any())
        .respond_with(ResponseTemplate::new(200).set_body_json(json!({ "error": true, "reason": "No data." })))
        .mount(&server)
        .await;
    assert_eq!(Client::of(&open_meteo::PROTOCOL, server.uri()).failure().await.word, "not-a-forecast");
}
