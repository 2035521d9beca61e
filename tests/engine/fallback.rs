//! A second service stands in while the first is down, and nobody is left in doubt whose forecast it is.

use std::time::Duration;

use mistwright::{
    engine::{Effect, Event, FetchFailure},
    model::{Forecast, Service},
    wire::weather::{met_norway, weather_gov},
};

use super::harness::{Bench, farm, hourly, room};

const FIRST: Service = weather_gov::SERVICE;
const SECOND: Service = met_norway::SERVICE;

/// Answers every fetch that the engine asks for while time passes.
struct Night {
    bench: Bench,
    first_up: bool,
    second_up: bool,
    asked: Vec<Service>,
}

impl Night {
    fn new() -> Self {
        let mut bench = Bench::with_service(farm(vec![room()]), Some(FIRST));
        bench.engine = mistwright::engine::Engine::new(bench.farm.clone(), Some(FIRST), &bench.now)
            .with_fallback(Some(SECOND), &bench.now);
        Self { bench, first_up: true, second_up: true, asked: Vec::new() }
    }

    fn forecast(&self, service: Service) -> Forecast {
        let degrees = if service == FIRST { -1.0 } else { -2.0 };
        let forecast = hourly(self.bench.now.wall, &[degrees; 60], 80.0);
        Forecast::new(service, None, forecast.points().to_vec()).unwrap()
    }

    fn pass(&mut self, minutes: u64) {
        for _ in 0..minutes {
            self.bench.now.elapsed += Duration::from_secs(60);
            self.bench.now.wall += jiff::SignedDuration::from_mins(1);
            let mut effects = self.bench.event(Event::Tick);
            while let Some(effect) = effects.pop() {
                let Effect::FetchForecast(service) = effect else { continue };
                self.asked.push(service);
                let up = if service == FIRST { self.first_up } else { self.second_up };
                let event = if up {
                    let forecast = Some(self.forecast(service));
                    Event::Forecast { service, forecast, keep_for: Duration::from_secs(3_600) }
                } else {
                    let sentence = format!("{} is out of order (503).", service.title());
                    Event::ForecastFailed(FetchFailure { service, word: "out-of-order", sentence, retry_after: None })
                };
                effects.extend(self.bench.event(event));
            }
        }
    }

    /// What the log was told of forecasts.
    fn told(&self) -> Vec<&str> {
        let notices = self.bench.notices.iter().map(String::as_str);
        notices
            .filter(|notice| !notice.contains("Sensor silent") && !notice.contains("No connection to the broker"))
            .collect()
    }

    fn used(&self) -> Option<&'static str> {
        self.bench.snapshot().site.forecast.map(|forecast| forecast.service.name())
    }
}

#[test]
fn the_second_service_is_not_asked_while_the_first_answers() {
    let mut night = Night::new();
    night.pass(24 * 60);
    assert!(night.asked.len() >= 20 && night.asked.iter().all(|service| *service == FIRST), "{:?}", night.asked);
    assert!(night.told().is_empty(), "{:?}", night.told());
}

#[test]
fn the_second_stands_in_after_two_hours_and_the_first_takes_over_when_it_answers_again() {
    let mut night = Night::new();
    night.pass(10);
    night.first_up = false;
    night.pass(60 + 50);
    assert_eq!(night.used(), Some("weather-gov"), "a forecast of less than two hours is as good as another one");
    assert!(!night.asked.contains(&SECOND));
    night.pass(60);
    assert_eq!(night.used(), Some("met-norway"));
    let site = night.bench.snapshot().site;
    assert_eq!(site.forecast_service, Some(FIRST));
    assert_eq!(site.coldest.map(|(_, coldest)| coldest.celsius()), Some(-2.0), "the hours ahead are the second's");
    night.first_up = true;
    night.pass(35);
    assert_eq!(night.used(), Some("weather-gov"));
    let asked = night.asked.len();
    night.pass(180);
    assert!(!night.asked[asked..].contains(&SECOND), "the second is left alone again");
    assert_eq!(
        night.told(),
        [
            "The forecast did not arrive: The US National Weather Service is out of order (503).",
            "The US National Weather Service is down: what is used for the hours ahead is now from: MET Norway.",
            "The US National Weather Service answers again: its forecast is in use.",
        ]
    );
}

#[test]
fn the_second_is_asked_at_once_where_the_first_has_never_answered() {
    let mut night = Night::new();
    night.first_up = false;
    night.pass(3);
    assert_eq!(night.used(), Some("met-norway"));
}

#[test]
fn the_newest_forecast_stays_in_use_where_both_are_down() {
    let mut night = Night::new();
    night.pass(10);
    night.first_up = false;
    night.second_up = false;
    night.pass(5 * 60);
    assert_eq!(night.used(), Some("weather-gov"), "old, and all there is");
    assert_eq!(night.bench.site_alert(mistwright::advice::AlertKind::ForecastOld), "normal");
    night.pass(5 * 60);
    assert_eq!(night.bench.site_alert(mistwright::advice::AlertKind::ForecastOld), "warning");
    let failures: Vec<u64> =
        night.bench.snapshot().site.services.iter().map(|state| state.failures.values().sum()).collect();
    assert!(failures.iter().all(|failures| (10..40).contains(failures)), "{failures:?}: asked with patience");
}
