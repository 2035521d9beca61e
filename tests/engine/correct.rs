//! The farm's own outdoor sensor corrects the forecast.

use std::time::Duration;

use mistwright::{
    advice::AlertKind,
    engine::Event,
    model::{Case, Place},
};

use super::harness::{Bench, farm, hourly, room};

fn bench() -> Bench {
    Bench::new(farm(vec![room()]))
}

fn expected(bench: &Bench, hours: i64) -> f64 {
    let moment = bench.now.wall + jiff::SignedDuration::from_hours(hours);
    let site = bench.snapshot().site;
    site.corrected().unwrap().at(moment, Case::Expected).unwrap().air.temperature.celsius()
}

#[test]
fn a_farm_in_a_hollow_is_warned_of_a_frost_that_the_forecast_does_not_see() {
    for (sensor, alert) in [(2.0, "normal"), (-3.5, "warning")] {
        let mut bench = bench();
        bench.air(Place::Outdoors, sensor, 90.0);
        bench.forecast(&[2.0, 1.0, 0.0, -1.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0], 90.0);
        for _ in 0..40 {
            bench.pass(Duration::from_secs(60));
            bench.air(Place::Outdoors, sensor, 90.0);
        }
        assert_eq!(bench.site_alert(AlertKind::HardFrost), alert, "with {sensor} °C outdoors");
        let coldest = bench.snapshot().site.coldest.unwrap().1.celsius();
        assert_eq!(coldest < -4.0, sensor < 0.0, "{coldest} °C");
    }
}

#[test]
fn a_forecast_that_agrees_with_the_sensor_needs_no_correction_whatever_the_last_one_needed() {
    let mut bench = bench();
    bench.air(Place::Outdoors, -5.0, 80.0);
    bench.forecast(&[0.0; 48], 80.0);
    assert!((expected(&bench, 0) + 5.0).abs() < 1e-6);
    assert!((expected(&bench, 6) + 2.5).abs() < 1e-6);
    let agreeing = hourly(bench.now.wall, &[-5.0; 48], 80.0);
    bench.event(Event::Forecast {
        service: agreeing.service,
        forecast: Some(agreeing),
        keep_for: Duration::from_secs(3_600),
    });
    assert!((expected(&bench, 6) + 5.0).abs() < 1e-6, "{}", expected(&bench, 6));
}

#[test]
fn a_sensor_that_falls_silent_corrects_ever_less() {
    let mut bench = bench();
    bench.air(Place::Outdoors, -5.0, 80.0);
    bench.forecast(&[0.0; 48], 80.0);
    bench.pass(Duration::from_secs(6 * 3_600));
    assert!(!bench.snapshot().site.outdoors.from_sensor);
    let (now, later) = (expected(&bench, 0), expected(&bench, 6));
    assert!((-2.6..-2.3).contains(&now), "{now}: half of it was expected");
    assert!((-0.1..=0.0).contains(&later), "{later}");
}

#[test]
fn a_farm_without_a_sensor_takes_the_forecast_as_it_is() {
    let mut bench = bench();
    bench.forecast(&[-2.0; 48], 80.0);
    assert!(bench.snapshot().site.offset.is_none());
    assert!((expected(&bench, 3) + 2.0).abs() < 1e-9);
}
