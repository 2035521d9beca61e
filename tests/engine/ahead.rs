//! Water for the hours ahead.

use mistwright::model::{Place, Quantity};

use super::harness::{Bench, farm, flow, room};

/// A room of 60 m³ at 4 air changes an hour without a crop, and a humidifier that is never at its limit.
fn steady() -> Bench {
    let mut room = room();
    room.crop = None;
    room.fan.floor = flow(240.0);
    room.humidifier.as_mut().unwrap().output = mistwright::units::WaterFlow::from_kilograms_per_hour(20.0).unwrap();
    let mut bench = Bench::new(farm(vec![room]));
    bench.say(Place::Outdoors, Quantity::Pressure, 101_325.0);
    bench.air(Place::Outdoors, -10.0, 80.0);
    bench.air(Place::Room(0), 16.0, 92.0);
    bench
}

#[test]
fn a_steady_night_draws_the_present_rate_for_each_hour() {
    let mut bench = steady();
    bench.forecast(&[-10.0; 40], 80.0);
    let moisture = bench.snapshot().rooms[0].moisture.unwrap();
    let hourly = moisture.drawn.unwrap().kilograms_per_hour();
    let twelve = moisture.next_12_hours.unwrap().litres();
    let day = moisture.next_24_hours.unwrap().litres();
    assert!((twelve / (12.0 * hourly) - 1.0).abs() < 1e-6, "{twelve} L for {hourly} kg/h");
    assert!((day / (24.0 * hourly) - 1.0).abs() < 1e-6, "{day} L for {hourly} kg/h");
}

#[test]
fn water_is_not_projected_beyond_the_forecast() {
    let mut bench = steady();
    assert_eq!(bench.snapshot().rooms[0].moisture.unwrap().next_12_hours, None);
    bench.forecast(&[-10.0; 15], 80.0);
    let moisture = bench.snapshot().rooms[0].moisture.unwrap();
    assert!(moisture.next_12_hours.is_some());
    assert_eq!(moisture.next_24_hours, None, "the forecast ends after 14 hours");
}

#[test]
fn a_colder_night_draws_more_water() {
    let mut before = 0.0;
    for outdoors in [8.0, 0.0, -8.0, -16.0] {
        let mut bench = steady();
        bench.forecast(&[outdoors; 40], 80.0);
        let water = bench.snapshot().rooms[0].moisture.unwrap().next_12_hours.unwrap().litres();
        assert!(water > before, "{water} L at {outdoors} °C");
        before = water;
    }
}
