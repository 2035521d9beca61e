//! An invented night: the true outdoor air, and a forecast of it that errs a little, served over HTTP.

use std::{net::SocketAddr, sync::Arc};

use axum::{
    Router,
    extract::State,
    http::{HeaderMap, StatusCode, header},
    response::{IntoResponse, Response},
    routing::get,
};
use jiff::{SignedDuration, Timestamp};
use serde_json::{Value, json};

use super::air::{Air, saturation_pressure};
use crate::io::clock::Clock;

/// Carbon dioxide outdoors, ppm: a little above today's global mean, as near a farm.
const OUTDOOR_CARBON_DIOXIDE: f64 = 432.0;

/// The night as it will be: hours since its start, °C, RH over water in percent, sea-level pressure in hPa.
/// A clear night behind a front: mild and damp at dusk, coldest before dawn, and a colder one after it.
const TRUTH: &[(f64, f64, f64, f64)] = &[
    (-6.0, 4.5, 90.0, 1_004.0),
    (0.0, 3.0, 88.0, 1_009.0),
    (1.5, 1.2, 86.0, 1_011.0),
    (3.0, -1.6, 85.0, 1_013.0),
    (5.0, -6.4, 83.0, 1_016.0),
    (7.0, -10.8, 82.0, 1_019.0),
    (9.0, -14.4, 81.0, 1_021.0),
    (11.0, -17.0, 80.0, 1_023.0),
    (12.5, -18.0, 80.0, 1_024.0),
    (14.0, -16.9, 80.0, 1_025.0),
    (17.0, -10.5, 74.0, 1_026.0),
    (20.0, -7.0, 70.0, 1_026.0),
    (24.0, -11.0, 78.0, 1_027.0),
    (30.0, -16.0, 80.0, 1_028.0),
    (36.5, -19.0, 79.0, 1_027.0),
    (44.0, -6.5, 72.0, 1_024.0),
    (54.0, -9.5, 80.0, 1_019.0),
    (72.0, -4.0, 84.0, 1_010.0),
    (96.0, 0.5, 88.0, 1_004.0),
];

/// How much warmer the forecast is than the coming frost: published verification finds frost nights about 0.9 K colder
/// than forecast. It grows over the first day.
const OPTIMISM: f64 = 0.9;

/// Hours by which the forecast has the cold come late.
const LATENESS: f64 = 0.25;

/// How long the service asks to keep an answer.
const KEEP: SignedDuration = SignedDuration::from_mins(40);

/// A new forecast is made this often.
const MADE_EVERY: i64 = 3 * 3_600;

/// The night and the place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Night {
    /// Calendar time of dusk, the demo's start.
    pub(super) start: Timestamp,
    /// Height above sea level, m.
    pub(super) elevation: f64,
    /// Degrees north and east, as the service repeats them.
    pub(super) place: (f64, f64),
}

/// The outdoor air and the pressure at the site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Outdoors {
    /// The air.
    pub(super) air: Air,
    /// Pa, at the site's elevation.
    pub(super) pressure: f64,
}

impl Night {
    /// Hours since dusk.
    pub(super) fn hours(&self, moment: Timestamp) -> f64 {
        moment.duration_since(self.start).as_secs_f64() / 3_600.0
    }

    /// What the air outdoors truly is.
    pub(super) fn truth(&self, moment: Timestamp) -> Outdoors {
        let hours = self.hours(moment);
        let [celsius, humidity, sea_level] = interpolate(hours);
        // Gusts and clouds: some tenths of a kelvin that no forecast has.
        let ripple = 0.25 * (hours * 2.7).sin() + 0.15 * (hours * 7.1 + 1.0).sin();
        let celsius = celsius + ripple;
        let pressure = sea_level * 100.0 * (-9.806_65 * self.elevation / (287.05 * (celsius + 273.15))).exp();
        Outdoors { air: Air::new(celsius, humidity / 100.0, OUTDOOR_CARBON_DIOXIDE, pressure), pressure }
    }

    /// First moment at which it truly is at or below `celsius`, to the minute, in the two days after dusk.
    pub(super) fn first_at_or_below(&self, celsius: f64) -> Option<Timestamp> {
        (0..2 * 24 * 60)
            .filter_map(|minute| self.start.checked_add(SignedDuration::from_mins(minute)).ok())
            .find(|moment| self.truth(*moment).air.temperature <= celsius)
    }

    /// What the forecast made at `made` says of `moment`: °C, RH in percent, sea-level pressure in hPa.
    fn forecast(&self, made: Timestamp, moment: Timestamp) -> [f64; 3] {
        let [celsius, humidity, sea_level] = interpolate(self.hours(moment) - LATENESS);
        let lead = (moment.duration_since(made).as_secs_f64() / 86_400.0).clamp(0.0, 1.0);
        let warmer = celsius + OPTIMISM * lead.sqrt();
        // The water in the air is forecast rightly; a warmer forecast therefore has the lower relative humidity.
        let humidity = humidity * saturation_pressure(celsius) / saturation_pressure(warmer);
        [warmer, humidity, sea_level]
    }

    /// The answer in the shape of MET Norway's Locationforecast 2.0 `complete`.
    fn answer(&self, now: Timestamp) -> Value {
        let made = self.made(now);
        let first = now.as_second().div_euclid(3_600) * 3_600;
        // Hourly for two and a half days, then six-hourly.
        let steps = (0..60).chain((60..90).step_by(6));
        let series: Vec<Value> = steps
            .filter_map(|hour| Timestamp::from_second(first + hour * 3_600).ok())
            .map(|moment| self.step(made, moment))
            .collect();
        json!({
            "type": "Feature",
            "geometry": { "type": "Point", "coordinates": [self.place.1, self.place.0, self.elevation] },
            "properties": {
                "meta": {
                    "updated_at": made.to_string(),
                    "units": {
                        "air_pressure_at_sea_level": "hPa",
                        "air_temperature": "celsius",
                        "dew_point_temperature": "celsius",
                        "relative_humidity": "%",
                        "wind_speed": "m/s",
                    },
                },
                "timeseries": series,
            },
        })
    }

    fn step(&self, made: Timestamp, moment: Timestamp) -> Value {
        let [celsius, humidity, sea_level] = self.forecast(made, moment);
        let dew_point = Air::new(celsius, humidity / 100.0, 0.0, sea_level * 100.0).dew_point(sea_level * 100.0);
        let tenth = |value: f64| (value * 10.0).round() / 10.0;
        json!({
            "time": moment.to_string(),
            "data": { "instant": { "details": {
                "air_pressure_at_sea_level": tenth(sea_level),
                "air_temperature": tenth(celsius),
                "dew_point_temperature": tenth(dew_point),
                "relative_humidity": tenth(humidity),
                "wind_speed": 1.8,
            } } },
        })
    }

    /// When the newest forecast was made.
    fn made(&self, now: Timestamp) -> Timestamp {
        Timestamp::from_second(now.as_second().div_euclid(MADE_EVERY) * MADE_EVERY).unwrap_or(self.start)
    }
}

fn interpolate(hours: f64) -> [f64; 3] {
    let after = TRUTH.partition_point(|row| row.0 < hours).clamp(1, TRUTH.len() - 1);
    let (left, right) = (TRUTH[after - 1], TRUTH[after]);
    let share = ((hours - left.0) / (right.0 - left.0)).clamp(0.0, 1.0);
    let between = |a: f64, b: f64| a + share * (b - a);
    [between(left.1, right.1), between(left.2, right.2), between(left.3, right.3)]
}

/// The service, listening.
#[derive(Debug)]
pub(super) struct Service {
    listener: tokio::net::TcpListener,
    address: SocketAddr,
    night: Night,
    clock: Clock,
}

impl Service {
    /// Listens on a free port of the loopback interface.
    pub(super) async fn bind(night: Night, clock: Clock) -> std::io::Result<Self> {
        let listener = tokio::net::TcpListener::bind(SocketAddr::from(([127, 0, 0, 1], 0))).await?;
        let address = listener.local_addr()?;
        Ok(Self { listener, address, night, clock })
    }

    /// Where it listens.
    pub(super) const fn address(&self) -> SocketAddr {
        self.address
    }

    /// Answers until dropped.
    pub(super) async fn serve(self) -> std::io::Result<()> {
        let router = Router::new()
            .route("/weatherapi/locationforecast/2.0/{product}", get(locationforecast))
            .with_state(Arc::new((self.night, self.clock)));
        axum::serve(self.listener, router).await
    }
}

async fn locationforecast(State(state): State<Arc<(Night, Clock)>>, headers: HeaderMap) -> Response {
    let (night, clock) = &*state;
    let now = clock.now().wall;
    // The real service refuses callers that do not say who they are.
    if !headers.contains_key(header::USER_AGENT) {
        return StatusCode::FORBIDDEN.into_response();
    }
    let made = http_date(night.made(now));
    let expires = now.checked_add(KEEP).unwrap_or(now);
    let about = [
        (header::CONTENT_TYPE, "application/json".to_owned()),
        (header::DATE, http_date(now)),
        (header::EXPIRES, http_date(expires)),
        (header::LAST_MODIFIED, made.clone()),
    ];
    if headers.get(header::IF_MODIFIED_SINCE).is_some_and(|since| since.as_bytes() == made.as_bytes()) {
        return (StatusCode::NOT_MODIFIED, about).into_response();
    }
    (about, night.answer(now).to_string()).into_response()
}

/// As HTTP writes a time (RFC 9110, section 5.6.7).
fn http_date(moment: Timestamp) -> String {
    moment.strftime("%a, %d %b %Y %H:%M:%S GMT").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn night() -> Night {
        Night { start: "2027-01-15T16:00:00Z".parse().unwrap(), elevation: 210.0, place: (63.4, 13.1) }
    }

    fn after(hours: i64) -> Timestamp {
        night().start.checked_add(SignedDuration::from_hours(hours)).unwrap()
    }

    #[test]
    fn the_night_falls_from_three_degrees_to_eighteen_below_before_dawn() {
        let dusk = night().truth(after(0)).air;
        assert!((dusk.temperature - 3.0).abs() < 0.5, "{}", dusk.temperature);
        let coldest = (0..14 * 12)
            .map(|step| after(0).checked_add(SignedDuration::from_mins(step * 5)).unwrap())
            .map(|moment| (night().truth(moment).air.temperature, moment))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap();
        assert!((-18.6..-17.6).contains(&coldest.0), "{}", coldest.0);
        assert!((11.0..14.0).contains(&night().hours(coldest.1)), "{}", night().hours(coldest.1));
        // Cold air holds little: the humidity ratio falls to less than a third although RH hardly moves.
        assert!(night().truth(coldest.1).air.humidity_ratio < 0.33 * dusk.humidity_ratio);
    }

    #[test]
    fn the_forecast_errs_a_little_and_on_the_warm_side_of_the_frost() {
        let made = after(0);
        let errors: Vec<f64> = (1..14)
            .map(|hour| night().forecast(made, after(hour))[0] - night().truth(after(hour)).air.temperature)
            .collect();
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        assert!((0.3..1.5).contains(&mean), "mean error {mean}");
        assert!(errors.iter().all(|error| error.abs() < 2.5), "{errors:?}");
    }

    #[tokio::test]
    async fn a_second_request_is_answered_with_not_modified_until_a_new_forecast_is_made() {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let (clock, handle) = Clock::scenario(night().start, 60.0);
        let service = Service::bind(night(), clock).await.unwrap();
        let url = format!(
            "http://{}/weatherapi/locationforecast/2.0/complete?lat=63.4&lon=13.1&altitude=210",
            service.address()
        );
        let serving = tokio::spawn(service.serve());
        let client = reqwest::Client::builder().user_agent("test").build().unwrap();
        let first = client.get(&url).send().await.unwrap();
        assert_eq!(first.status(), 200);
        let made = first.headers()["last-modified"].clone();
        assert_eq!(made, "Fri, 15 Jan 2027 15:00:00 GMT");
        assert_eq!(first.headers()["expires"], "Fri, 15 Jan 2027 16:40:00 GMT");
        let body: Value = serde_json::from_str(&first.text().await.unwrap()).unwrap();
        assert_eq!(body["properties"]["timeseries"][0]["time"], "2027-01-15T16:00:00Z");
        let again = || client.get(&url).header("if-modified-since", made.clone()).send();
        assert_eq!(again().await.unwrap().status(), 304);
        handle.advance(std::time::Duration::from_secs(3 * 3_600));
        assert_eq!(again().await.unwrap().status(), 200);
        let anonymous = reqwest::Client::builder().build().unwrap().get(&url).send().await.unwrap();
        assert_eq!(anonymous.status(), 403);
        serving.abort();
    }
}
