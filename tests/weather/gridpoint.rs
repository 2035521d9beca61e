//! The US National Weather Service: the grid cell is looked up, and its layers of merged hours become moments.

use mistwright::{
    model::Forecast,
    wire::weather::{BadBody, LeftOut, Parsed, weather_gov},
};
use serde_json::{Value, json};
use wiremock::{
    Mock, MockServer, ResponseTemplate,
    matchers::{header, method, path},
};

use super::{
    body::spot,
    client::{Client, answering},
};

const POINT: &str = "/points/61.2346,-10";
const GRID: &str = "/gridpoints/FHW/12,34";

fn parse(body: &Value) -> Result<Parsed, BadBody> {
    (weather_gov::PROTOCOL.parse)(body.to_string().as_bytes(), &spot())
}

fn layer(unit: &str, values: &[(&str, Value)]) -> Value {
    let values: Vec<Value> = values.iter().map(|(time, value)| json!({ "validTime": time, "value": value })).collect();
    json!({ "uom": format!("wmoUnit:{unit}"), "values": values })
}

/// Merged hours, a null, a layer that ends earlier, one that is empty, and one without a unit.
pub fn cell() -> Value {
    json!({
        "properties": {
            "updateTime": "2027-01-08T17:12:00+00:00",
            "validTimes": "2027-01-08T12:00:00+00:00/P7DT13H",
            "elevation": { "unitCode": "wmoUnit:m", "value": 301.8 },
            "temperature": layer("degC", &[
                ("2027-01-08T12:00:00+00:00/PT3H", json!(-1.1111)),
                ("2027-01-08T15:00:00+00:00/PT1H", json!(null)),
                ("2027-01-08T16:00:00+00:00/PT14H", json!(-3.3333)),
                ("2027-01-09T06:00:00+00:00/P1DT2H", json!(-8.8889)),
            ]),
            "dewpoint": layer("degC", &[
                ("2027-01-08T12:00:00+00:00/PT18H", json!(-5)),
                ("2027-01-09T08:00:00+00:00/P1D", json!(-11.1111)),
            ]),
            "relativeHumidity": layer("percent", &[]),
            "windSpeed": layer("km_h-1", &[("2027-01-08T12:00:00+00:00/PT6H", json!(9.26))]),
            "pressure": { "values": [] },
        },
    })
}

fn celsius(forecast: &Forecast, moment: &str) -> Option<f64> {
    let moment = moment.parse().unwrap();
    let points = forecast.points();
    points.iter().find(|point| point.at == moment).map(|point| point.air.temperature.celsius())
}

#[test]
fn merged_hours_are_taken_apart_and_layers_of_different_length_are_joined_hour_by_hour() {
    let Parsed { forecast, left_out } = parse(&cell()).unwrap();
    for (moment, expected) in [
        ("2027-01-08T12:00:00Z", Some(-1.1111)),
        ("2027-01-08T14:00:00Z", Some(-1.1111)),
        ("2027-01-08T15:00:00Z", None), // null
        ("2027-01-08T16:00:00Z", Some(-3.3333)),
        ("2027-01-09T05:00:00Z", Some(-3.3333)),
        ("2027-01-09T06:00:00Z", None), // no dew point from 06:00 to 08:00, and no humidity either
        ("2027-01-09T07:00:00Z", None),
        ("2027-01-09T08:00:00Z", Some(-8.8889)),
        ("2027-01-10T07:00:00Z", Some(-8.8889)),
        ("2027-01-10T08:00:00Z", None), // behind the end
    ] {
        assert_eq!(celsius(&forecast, moment), expected, "{moment}");
    }
    assert_eq!(forecast.points().len(), 3 + 14 + 24);
    assert_eq!(left_out, LeftOut { incomplete: 3, ..LeftOut::default() });
    assert_eq!(forecast.issued, Some("2027-01-08T17:12:00Z".parse().unwrap()));
    // 9.26 km/h are five knots, 2.572 m/s.
    let wind = |hour: usize| forecast.points()[hour].wind.map(|wind| wind.metres_per_second());
    assert!((wind(0).unwrap() - 2.572).abs() < 0.001);
    assert_eq!(wind(10), None, "the wind's layer has ended");
    assert!(forecast.points().iter().all(|point| point.sea_level_pressure.is_none()));
}

#[test]
fn a_pressure_layer_is_not_read_whatever_it_holds() {
    let mut body = cell();
    body["properties"]["pressure"] = layer("Pa", &[("2027-01-08T12:00:00+00:00/PT6H", json!(5))]);
    assert_eq!(parse(&body).unwrap(), parse(&cell()).unwrap());
}

#[test]
fn a_relative_humidity_stands_in_where_the_dew_point_has_ended() {
    let mut body = cell();
    body["properties"]["relativeHumidity"] = layer("percent", &[("2027-01-09T06:00:00+00:00/PT2H", json!(80))]);
    let forecast = parse(&body).unwrap().forecast;
    assert_eq!(celsius(&forecast, "2027-01-09T07:00:00Z"), Some(-8.8889));
}

#[test]
fn a_value_that_stands_for_nothing_and_an_unreadable_time_cost_their_own_hours_only() {
    let mut body = cell();
    // −100 °F.
    body["properties"]["temperature"]["values"][0]["value"] = json!(-73.3333);
    for (index, time) in [(1, "tomorrow"), (2, "2027-01-08T16:00:00+00:00/P2M"), (3, "2027-01-09T06:00:00+00:00/P900D")]
    {
        body["properties"]["temperature"]["values"][index]["validTime"] = json!(time);
    }
    let good = json!({ "validTime": "2027-01-08T20:00:00+00:00/PT2H", "value": -4 });
    body["properties"]["temperature"]["values"].as_array_mut().unwrap().push(good);
    let parsed = parse(&body).unwrap();
    assert_eq!(parsed.forecast.points().len(), 2);
    assert_eq!(parsed.left_out, LeftOut { incomplete: 3, out_of_range: 3, ..LeftOut::default() });
}

#[test]
fn another_unit_is_refused_and_a_missing_one_only_where_there_are_values() {
    for (key, unit, expected) in [
        ("temperature", json!("wmoUnit:degF"), "degC"),
        ("dewpoint", json!(null), "degC"),
        ("windSpeed", json!("wmoUnit:m_s-1"), "km_h-1"),
    ] {
        let mut body = cell();
        body["properties"][key]["uom"] = unit;
        assert!(
            matches!(parse(&body), Err(BadBody::Unit { detail, expected: e }) if detail == key && e == expected),
            "{key}"
        );
    }
    let mut body = cell();
    body["properties"]["relativeHumidity"]["uom"] = json!(null);
    assert!(parse(&body).is_ok());
}

#[test]
fn hours_without_end_are_refused() {
    let mut body = cell();
    let values: Vec<Value> = (0..1_001).map(|_| json!({})).collect();
    body["properties"]["dewpoint"]["values"] = json!(values);
    assert_eq!(parse(&body).unwrap_err(), BadBody::TooMany(1_001));
    let mut body = cell();
    let month: Vec<(String, Value)> =
        (1..=9).map(|month| (format!("2027-0{month}-01T00:00:00+00:00/P14D"), json!(1))).collect();
    let month: Vec<(&str, Value)> = month.iter().map(|(time, value)| (time.as_str(), value.clone())).collect();
    body["properties"]["temperature"] = layer("degC", &month);
    assert_eq!(parse(&body).unwrap_err(), BadBody::TooMany(1_001), "nine times fourteen days are 3,024 hours");
}

#[test]
fn the_address_of_the_cell_is_taken_without_its_host_and_only_if_it_is_one() {
    let found = |address: Value| {
        let body = json!({ "properties": { "forecastGridData": address } });
        weather_gov::PROTOCOL.then.unwrap()(body.to_string().as_bytes())
    };
    assert_eq!(found(json!("https://elsewhere.example/gridpoints/FHW/12,34")).as_deref(), Ok(GRID));
    for address in [
        json!(null),
        json!(7),
        json!("https://api.weather.gov/points/1,2"),
        json!("https://api.weather.gov/gridpoints/FHW/12,34/forecast"),
        json!("https://api.weather.gov/gridpoints/../12,34"),
        json!("https://api.weather.gov/gridpoints/FHW/12,-34"),
        json!("https://api.weather.gov/gridpoints/FHW/12"),
        json!("https://api.weather.gov/gridpoints/FHW/12,34?x=1"),
        json!("https://api.weather.gov/gridpoints/FHW/1234567,1"),
    ] {
        assert!(found(address.clone()).is_err(), "{address}");
    }
}

fn point() -> ResponseTemplate {
    ResponseTemplate::new(200)
        .set_body_json(json!({ "properties": { "forecastGridData": format!("https://api.weather.gov{GRID}") } }))
}

fn client(server: &MockServer) -> Client {
    Client::of(&weather_gov::PROTOCOL, server.uri())
}

#[tokio::test]
async fn the_cell_is_looked_up_once_and_its_forecast_asked_for_from_then_on() {
    let server = MockServer::start().await;
    let agent = format!("mistwright/{} https://frosthollow.example/contact", env!("CARGO_PKG_VERSION"));
    Mock::given(method("GET"))
        .and(path(POINT))
        .and(header("User-Agent", agent.as_str()))
        .respond_with(point())
        .expect(1)
        .mount(&server)
        .await;
    Mock::given(path(GRID))
        .respond_with(ResponseTemplate::new(200).set_body_json(cell()).insert_header("Cache-Control", "max-age=3600"))
        .expect(3)
        .mount(&server)
        .await;
    let mut client = client(&server);
    for _ in 0..3 {
        let (keep_for, moments) = client.success().await;
        assert_eq!(moments, Some(41));
        assert!((3_630..4_020).contains(&keep_for.as_secs()), "{keep_for:?}");
    }
}

#[tokio::test]
async fn a_cell_that_has_moved_is_looked_up_again_and_a_missing_one_is_told() {
    let server = MockServer::start().await;
    let moved = json!({ "properties": { "forecastGridData": "https://api.weather.gov/gridpoints/FHW/12,35" } });
    Mock::given(path(POINT)).respond_with(point()).up_to_n_times(1).mount(&server).await;
    Mock::given(path(POINT)).respond_with(ResponseTemplate::new(200).set_body_json(moved)).mount(&server).await;
    Mock::given(path(GRID))
        .respond_with(ResponseTemplate::new(200).set_body_json(cell()))
        .up_to_n_times(1)
        .mount(&server)
        .await;
    Mock::given(path(GRID)).respond_with(ResponseTemplate::new(404)).expect(1).mount(&server).await;
    Mock::given(path("/gridpoints/FHW/12,35"))
        .respond_with(ResponseTemplate::new(200).set_body_json(cell()))
        .up_to_n_times(1)
        .expect(1)
        .mount(&server)
        .await;
    let mut client = client(&server);
    assert!(client.forecast().await.is_some());
    assert!(client.forecast().await.is_some(), "the new cell's");
    // Now the new one is gone too, and looking it up leads nowhere else.
    assert_eq!(client.failure().await.word, "not-found");
}

#[tokio::test]
async fn a_point_outside_the_country_is_told_in_the_services_words() {
    let problem = json!({ "title": "Data Unavailable For Requested Point", "status": 404,
        "detail": "Unable to provide data for requested point 61.2346,-10" });
    let server = answering(ResponseTemplate::new(404).set_body_json(problem)).await;
    let failure = client(&server).failure().await;
    assert_eq!(failure.word, "outside-area");
    assert_eq!(
        failure.sentence,
        "The US National Weather Service does not cover the farm's coordinates (404). In its own words: Unable to \
         provide data for requested point 61.2346,-10."
    );
}

#[tokio::test]
async fn a_point_that_redirects_to_fewer_decimals_is_followed() {
    let server = MockServer::start().await;
    Mock::given(path(POINT))
        .respond_with(ResponseTemplate::new(301).insert_header("Location", "/points/61.23,-10"))
        .mount(&server)
        .await;
    Mock::given(path("/points/61.23,-10")).respond_with(point()).mount(&server).await;
    Mock::given(path(GRID)).respond_with(ResponseTemplate::new(200).set_body_json(cell())).mount(&server).await;
    assert!(client(&server).forecast().await.is_some());
}

#[tokio::test]
async fn an_expired_grid_is_waited_for_in_the_services_words() {
    let server = MockServer::start().await;
    Mock::given(path(POINT)).respond_with(point()).mount(&server).await;
    let problem = json!({ "title": "Forecast Grid Expired", "type": "https://api.weather.gov/problems/ForecastGridExpired",
        "status": 503, "detail": "The requested forecast grid was issued 2027-01-01T00:00:00+00:00 and has expired." });
    Mock::given(path(GRID)).respond_with(ResponseTemplate::new(503).set_body_json(problem)).mount(&server).await;
    let failure = client(&server).failure().await;
    assert_eq!(failure.word, "out-of-order");
    assert!(failure.sentence.ends_with("has expired."), "{}", failure.sentence);
}

#[tokio::test]
async fn a_copy_that_is_days_old_is_refused_by_its_update_time_and_an_older_one_does_not_replace_a_newer() {
    let server = MockServer::start().await;
    Mock::given(path(POINT)).respond_with(point()).mount(&server).await;
    let updated = |time: &str| {
        let mut body = cell();
        body["properties"]["updateTime"] = json!(time);
        ResponseTemplate::new(200).set_body_json(body)
    };
    for time in ["2027-01-08T17:12:00+00:00", "2027-01-08T11:00:00+00:00", "2027-01-05T11:00:00+00:00"] {
        Mock::given(path(GRID)).respond_with(updated(time)).up_to_n_times(1).mount(&server).await;
    }
    let mut client = client(&server);
    assert!(client.forecast().await.is_some());
    assert!(client.forecast().await.is_none(), "six hours older than the one in hand");
    let failure = client.failure().await;
    assert_eq!(failure.word, "stale");
    assert_eq!(
        failure.sentence,
        "The US National Weather Service sent a stale copy: a forecast that was made at 2027-01-05T11:00:00Z, more than \
         18 hours ago."
    );
}

#[tokio::test]
async fn a_forecast_that_has_ended_is_refused() {
    let server = MockServer::start().await;
    Mock::given(path(POINT)).respond_with(point()).mount(&server).await;
    let mut body = cell();
    body["properties"]["updateTime"] = json!(null);
    Mock::given(path(GRID)).respond_with(ResponseTemplate::new(200).set_body_json(body)).mount(&server).await;
    let service = super::client::configured(&weather_gov::PROTOCOL, server.uri());
    let failure = Client::at("2027-01-10T09:00:00Z", service).failure().await;
    assert_eq!((failure.word, failure.sentence.contains("ended at 2027-01-10T07:00:00Z")), ("stale", true));
}
