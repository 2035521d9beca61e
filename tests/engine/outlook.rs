//! The rooms' hours ahead: what they say, what they rest on, and when they are made.

use mistwright::{
    model::{Place, Quantity, Room, outlook::Outlook},
    units::WaterFlow,
};

use super::harness::{Bench, farm, flow, room};

/// A room of 60 m³ at 4 air changes an hour without a crop, and a humidifier that is never at its limit.
fn steady_room() -> Room {
    let mut room = room();
    room.crop = None;
    room.fan.floor = flow(240.0);
    room.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(20.0).unwrap();
    room
}

fn in_frost(room: Room) -> Bench {
    let mut bench = Bench::new(farm(vec![room]));
    bench.say(Place::Outdoors, Quantity::Pressure, 101_325.0);
    bench.air(Place::Outdoors, -10.0, 80.0);
    bench.air(Place::Room(0), 16.0, 92.0);
    bench.say(Place::Room(0), Quantity::CarbonDioxide, 700.0);
    bench
}

fn outlook(bench: &Bench, room: usize) -> std::sync::Arc<Outlook> {
    let state = bench.snapshot().rooms[room].clone();
    state.outlook.unwrap_or_else(|| panic!("no outlook: {:?}", state.no_outlook))
}

#[test]
fn a_steady_night_draws_the_present_rate_for_each_hour() {
    let mut bench = in_frost(steady_room());
    bench.forecast(&[-10.0; 60], 80.0);
    let hourly = bench.snapshot().rooms[0].moisture.unwrap().drawn.unwrap().kilograms_per_hour();
    let outlook = outlook(&bench, 0);
    let found = &outlook.expected.findings;
    // The room starts at its target and its temperature is held, so that nothing moves: the steady balance of the advice
    // is another way to the same number.
    for (water, hours) in [(found.water_12_hours, 12.0), (found.water_24_hours, 24.0)] {
        let litres = water.unwrap().litres();
        assert!((litres / (hours * hourly) - 1.0).abs() < 0.005, "{litres} L for {hourly} kg/h");
    }
}
