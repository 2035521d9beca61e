//! One engine turn on a farm of twenty rooms.

use std::hint::black_box;

use mistwright::{
    engine::Event,
    model::{Identifier, Measured, Place, Quantity},
};

use crate::harness::{Bench, farm, room};
use crate::processor::Criterion;

/// A farm of twenty rooms behind outdoor air, all of whose sensors have spoken.
pub fn twenty_rooms() -> Bench {
    let rooms = (0..20).map(|index| {
        let mut room = room();
        room.name = Identifier::new(&format!("room-{index}")).unwrap();
        room
    });
    let mut bench = Bench::new(farm(rooms.collect()));
    bench.forecast(&[-8.0; 60], 80.0);
    bench.air(Place::Outdoors, -6.0, 80.0);
    for index in 0..20 {
        bench.air(Place::Room(index), 16.0, 90.0);
        bench.say(Place::Room(index), Quantity::CarbonDioxide, 700.0);
    }
    bench
}

pub fn benches(criterion: &mut Criterion) {
    let mut bench = twenty_rooms();
    let source = 3;
    let values = [16.0, 16.1].map(|value| Measured::from_base(Quantity::Temperature, value).unwrap());
    let mut turn = 0;
    criterion.bench_function("engine: a reading's turn, 20 rooms", |b| {
        b.iter(|| {
            turn += 1;
            let measured = values[turn % 2];
            black_box(bench.engine.handle(Event::Reading { source, measured, taken: None }, &bench.now))
        });
    });
    criterion.bench_function("engine: 60 readings taken in together, 20 rooms", |b| {
        b.iter(|| {
            let events = (0..60).map(|_| Event::Reading { source, measured: values[0], taken: None });
            black_box(bench.engine.handle_all(events, &bench.now))
        });
    });
    criterion.bench_function("engine: the hours ahead anew, 20 rooms", |b| {
        b.iter(|| black_box(bench.engine.handle(Event::ClockStepped, &bench.now)));
    });
    criterion.bench_function("engine: a snapshot, 20 rooms", |b| {
        b.iter(|| black_box(bench.engine.snapshot(&bench.now)));
    });
}
