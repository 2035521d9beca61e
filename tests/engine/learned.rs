//! What the farm's own outdoor sensor teaches: how forecasts turn out, and the days that can be carried on.

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    advice::AlertKind,
    engine::{Effect, Engine, Event, Memory},
    model::{Case, Place, Service, outlook::Caveat, score::LEADS},
    wire::weather::met_norway,
};

use super::harness::{Bench, farm, hourly, room};

/// Degrees outdoors at an hour of scenario time: a mild day and a frosty night.
fn truth(hour: f64) -> f64 {
    -1.0 + 5.0 * ((hour - 14.0) / 24.0 * std::f64::consts::TAU).cos()
}

/// Lets hours pass with a sensor that says the truth every half hour, and a service, if there is one, whose forecasts
/// are `warm` K too warm at every lead time.
fn pass(bench: &mut Bench, hours: i64, warm: Option<f64>) {
    let start: jiff::Timestamp = "2027-01-15T00:00:00Z".parse().unwrap();
    let hour_of = |moment: jiff::Timestamp| moment.duration_since(start).as_secs_f64() / 3_600.0;
    for _ in 0..hours * 2 {
        bench.now.elapsed += Duration::from_secs(1_800);
        bench.now.wall += SignedDuration::from_mins(30);
        let wants = bench.event(Event::Tick).contains(&Effect::FetchForecast(met_norway::SERVICE));
        bench.air(Place::Outdoors, truth(hour_of(bench.now.wall)), 80.0);
        if let (true, Some(warm)) = (wants, warm) {
            let from = bench.now.wall - SignedDuration::from_mins(30);
            let degrees: Vec<f64> =
                (0..60).map(|hour| truth(hour_of(from + SignedDuration::from_hours(hour))) + warm).collect();
            let forecast = hourly(from, &degrees, 80.0);
            let keep_for = Duration::from_secs(3_600);
            bench.event(Event::Forecast { service: forecast.service, forecast: Some(forecast), keep_for });
        }
    }
}

fn restarted(bench: &Bench, memory: Memory, service: Option<Service>) -> Engine {
    let mut engine = Engine::new(bench.farm.clone(), service, &bench.now);
    engine.restore(memory, &bench.now);
    engine
}

#[test]
fn a_forecast_that_is_always_too_warm_is_found_out_at_the_lead_times_that_the_offset_does_not_reach() {
    let mut bench = Bench::new(farm(vec![room()]));
    pass(&mut bench, 60, Some(3.0));
    let site = bench.snapshot().site;
    let leads = site.scores[0].leads;
    let lead = |hours: i64| leads[LEADS.iter().position(|lead| *lead == hours).unwrap()];
    // The sensor's offset takes half of the error away six hours ahead, and none of it after twelve.
    for (hours, bias) in [(6, 1.5), (12, 3.0), (24, 3.0), (48, 3.0)] {
        let lead = lead(hours);
        assert!((lead.bias - bias).abs() < 0.25, "{hours} h: {}", lead.bias);
        assert!((lead.absolute - bias).abs() < 0.25, "{hours} h: {}", lead.absolute);
        assert!(lead.moisture_bias > 0.0, "too moist by as much");
    }
    let samples: Vec<u32> = leads.iter().map(|lead| lead.samples).collect();
    assert!(
        samples.iter().zip(LEADS).all(|(samples, lead)| (58 - lead..=60 - lead).contains(&i64::from(*samples))),
        "{samples:?}"
    );
}

#[test]
fn the_score_outlives_a_restart_and_ends_with_the_place() {
    let mut bench = Bench::new(farm(vec![room()]));
    pass(&mut bench, 30, Some(3.0));
    let memory = bench.engine.memory(&bench.now);
    let before = bench.snapshot().site.scores;
    let engine = restarted(&bench, memory.clone(), Some(met_norway::SERVICE));
    assert_eq!(engine.snapshot(&bench.now).site.scores, before);
    bench.engine = engine;
    pass(&mut bench, 6, Some(3.0));
    let lead = |bench: &Bench| bench.snapshot().site.scores[0].leads[0].samples;
    assert!(lead(&bench) >= before[0].leads[0].samples + 5, "what waited goes on being waited for");

    let mut elsewhere = memory;
    elsewhere.learned.as_mut().unwrap().latitude += 1.0;
    let engine = restarted(&bench, elsewhere, Some(met_norway::SERVICE));
    assert!(engine.snapshot(&bench.now).site.scores.is_empty());
}

#[test]
fn two_weeks_of_good_forecasts_narrow_the_spread() {
    let mut bench = Bench::new(farm(vec![room()]));
    let colder = |bench: &Bench| {
        let site = bench.snapshot().site;
        let corrected = site.corrected().unwrap();
        let moment = bench.now.wall + SignedDuration::from_hours(24);
        let at = |case| corrected.at(moment, case).unwrap().air.temperature.celsius();
        at(Case::Expected) - at(Case::ColderAndDrier)
    };
    pass(&mut bench, 24, Some(0.0));
    let before = colder(&bench);
    pass(&mut bench, 15 * 24, Some(0.0));
    let after = colder(&bench);
    assert!(after < 0.6 && before > 1.9, "{before} K before, {after} K after");
}

#[test]
fn a_farm_without_a_service_carries_its_own_last_days_on_and_says_so() {
    let mut bench = Bench::with_service(farm(vec![room()]), None);
    bench.now.wall = "2027-01-15T00:00:00Z".parse().unwrap();
    pass(&mut bench, 12, None);
    assert!(bench.snapshot().site.forecast.is_none(), "half a day is no daily cycle");
    pass(&mut bench, 26, None);
    let site = bench.snapshot().site;
    let forecast = site.forecast.clone().unwrap();
    assert_eq!(forecast.service, Service::PERSISTENCE);
    // It is 14:00; the coldest hour comes at 02:00.
    let tonight = bench.now.wall + SignedDuration::from_hours(12);
    let at = |case| site.corrected().unwrap().at(tonight, case).unwrap().air.temperature.celsius();
    assert!((at(Case::Expected) + 6.0).abs() < 0.3, "{}", at(Case::Expected));
    assert!(at(Case::Expected) - at(Case::ColderAndDrier) > 4.5, "no forecast is far less certain than one");
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "unknown", "last night's frost, and no word of the next");
    assert_eq!(site.coldest, None);
    bench.air(Place::Room(0), 16.0, 90.0);
    let outlook = bench.snapshot().rooms[0].outlook.clone().unwrap();
    assert!(outlook.caveats.contains(&Caveat::NoForecast), "{:?}", outlook.caveats);

    let memory = bench.engine.memory(&bench.now);
    assert!(memory.forecast.is_none(), "it is made anew");
    bench.engine = restarted(&bench, memory, None);
    pass(&mut bench, 1, None);
    assert!(bench.snapshot().site.forecast.is_some(), "the last days outlive a restart");
}

#[test]
fn the_last_days_stand_in_when_a_forecast_has_run_out_and_the_alarm_for_it_stays() {
    let mut bench = Bench::new(farm(vec![room()]));
    pass(&mut bench, 26, Some(0.0));
    assert_eq!(bench.snapshot().site.forecast.unwrap().service, met_norway::SERVICE);
    pass(&mut bench, 62, None);
    assert_eq!(bench.snapshot().site.forecast.unwrap().service, Service::PERSISTENCE);
    assert_eq!(bench.site_alert(AlertKind::ForecastOld), "warning");
    pass(&mut bench, 1, Some(0.0));
    assert_eq!(bench.snapshot().site.forecast.unwrap().service, met_norway::SERVICE);
}
