//! Real observations of a freeze, with hours missing, as a farm's outdoor sensor would say them.

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    engine::{Effect, Event},
    model::{Measured, Place, Quantity, Source},
};

use super::harness::{Bench, farm, hourly, room};
use crate::e2e::observations::freeze;

/// Hours that are left out of the record: one, three in a row, and half a day.
const GAPS: [std::ops::Range<usize>; 3] = [5..6, 20..23, 40..52];

/// Plays the record; gives the notices, and for each hour whether the air outdoors was known, and from the sensor.
fn play(forecast: bool) -> (Vec<String>, Vec<(usize, bool, bool)>) {
    let mut farm = farm(vec![room()]);
    // Pressure changes slowly, and the record lacks it in some hours.
    let source = |quantity| {
        let hours = if quantity == Quantity::Pressure { 6.0 } else { 1.5 };
        Source::new(Place::Outdoors, quantity, Duration::from_secs_f64(hours * 3_600.0))
    };
    farm.sources = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::DewPoint, Quantity::Pressure]
        .map(source)
        .to_vec();
    let service = forecast.then_some(mistwright::wire::weather::met_norway::SERVICE);
    let mut bench = Bench::with_service(farm, service);
    let record = freeze();
    let mut known = Vec::new();
    for (hour, observation) in record.iter().enumerate() {
        bench.now.elapsed += Duration::from_secs(60);
        bench.now.wall += SignedDuration::from_secs(60);
        if forecast && hour % 6 == 0 {
            // What really came, two kelvins off: about as good as a forecast is two days ahead.
            let ahead: Vec<f64> = record[hour..].iter().map(|hour| hour.temperature + 2.0).chain([-5.0; 48]).collect();
            let forecast = hourly(bench.now.wall, &ahead, 85.0);
            let keep_for = Duration::from_secs(3_600);
            bench.event(Event::Forecast { service: forecast.service, forecast: Some(forecast), keep_for });
        }
        if !GAPS.iter().any(|gap| gap.contains(&hour)) {
            let said = [
                Some(observation.temperature),
                Some(observation.relative_humidity() / 100.0),
                Some(observation.dew_point),
                observation.sea_level_pressure.map(|hectopascals| hectopascals * 100.0),
            ];
            let events = said.into_iter().enumerate().filter_map(|(source, value)| {
                let measured = Measured::from_base(bench.farm.sources[source].quantity, value?).unwrap();
                Some(Event::Reading { source, measured, taken: None })
            });
            let events: Vec<_> = events.collect();
            let effects = bench.engine.handle_all(events, &bench.now);
            bench.notices.extend(effects.iter().filter_map(|effect| match effect {
                Effect::Notify(notice) => Some(notice.sentence.clone()),
                Effect::FetchForecast(_) => None,
            }));
        }
        // To the end of the hour, at the engine's own deadlines.
        bench.pass(Duration::from_secs(3_540));
        let outdoors = bench.snapshot().site.outdoors;
        known.push((hour, outdoors.air.is_some(), outdoors.from_sensor));
    }
    (bench.notices, known)
}

/// Whether the sensor's last word is at most an hour and a half old at the end of this hour.
fn heard(hour: usize) -> bool {
    let missing = |hour: usize| GAPS.iter().any(|gap| gap.contains(&hour));
    !missing(hour)
}

#[test]
fn a_record_with_gaps_is_never_filled_in_with_a_guess_and_makes_no_storm_of_alerts() {
    let (notices, known) = play(false);
    for (hour, air, from_sensor) in known {
        assert_eq!(air, from_sensor, "hour {hour}: nobody forecasts");
        assert_eq!(air, heard(hour), "hour {hour}: known {air}");
    }
    // Three gaps go stale and come back. Frost is told once, and again after each gap in which it was unknown.
    let count = |what: &str| notices.iter().filter(|notice| notice.contains(what)).count();
    assert_eq!(count("Sensor silent. "), 3, "{notices:#?}");
    assert_eq!(count("Sensor not believed"), 0, "{notices:#?}");
    assert!(count("Hard frost ahead. ") <= 3, "{notices:#?}");
    assert!(notices.len() <= 20, "{notices:#?}");
}

#[test]
fn a_gap_is_bridged_by_the_forecast_and_said_to_be() {
    let (notices, known) = play(true);
    for (hour, air, from_sensor) in known {
        assert!(air, "hour {hour}: neither sensor nor forecast");
        assert_eq!(from_sensor, heard(hour), "hour {hour}");
    }
    assert_eq!(notices.iter().filter(|notice| notice.contains("Sensor not believed")).count(), 0, "{notices:#?}");
    assert!(notices.len() <= 24, "{notices:#?}");
}
