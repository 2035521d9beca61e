//! The bridge against a real broker, and the tree against an independent reader of the convention.

mod bridge;
mod check;
mod clock;
mod conformance;
mod links;
mod peers;
mod secrets;

use mistwright::{
    engine::{Command, Event},
    model::{Identifier, Place, Presence, Quantity},
    units::{UnitSystem, WaterVolume},
};

use crate::engine::harness::{Bench, farm, room};

/// Two rooms in hard frost, of which everything is known.
pub fn snowed_in(units: UnitSystem) -> Bench {
    let mut second = room();
    second.name = Identifier::new("lung").unwrap();
    second.title = "Lung".to_owned();
    let mut farm = farm(vec![room(), second]);
    farm.site.units = units;
    let mut bench = Bench::new(farm);
    bench.now.elapsed = bridge::START;
    bench.forecast(&[-9.0; 60], 80.0);
    bench.air(Place::Outdoors, -6.0, 80.0);
    bench.say(Place::Outdoors, Quantity::Pressure, 99_000.0);
    for room in 0..2 {
        bench.air(Place::Room(room), 16.0, 88.5);
        bench.say(Place::Room(room), Quantity::CarbonDioxide, 750.0);
        for command in
            [Command::People(Some(Presence::Present)), Command::TankVolume(WaterVolume::from_litres(45.0).unwrap())]
        {
            bench.event(Event::Command { room: Some(room), command });
        }
    }
    bench
}
