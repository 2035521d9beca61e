//! Moist air. Budget: 400 ns for the full state from temperature, relative humidity and pressure.

use std::hint::black_box;

use mistwright::physics::{BelowFreezing, Curve, MoistAir, inlet_fog};
use mistwright::units::{Pressure, RelativeHumidity, Temperature};

use crate::processor::Criterion;

/// Cold and warm, dry and humid, so that no branch is predicted all the time.
fn inputs() -> Vec<(Temperature, RelativeHumidity, Pressure)> {
    let mut inputs = Vec::new();
    for step in 0..64_u32 {
        let celsius = f64::from((step * 29) % 64) - 25.0;
        let percent = 20.0 + f64::from((step * 37) % 80);
        inputs.push((
            Temperature::from_celsius(celsius).unwrap(),
            RelativeHumidity::from_percent(percent).unwrap(),
            Pressure::from_pascals(84_000.0 + 250.0 * f64::from(step)).unwrap(),
        ));
    }
    inputs
}

fn air((temperature, humidity, pressure): (Temperature, RelativeHumidity, Pressure)) -> MoistAir {
    MoistAir::from_relative_humidity(temperature, humidity, BelowFreezing::Water, pressure).unwrap()
}

/// Runs `work` over the items in turn, so that a figure is the mean over all of them.
fn each<T: Copy, R>(c: &mut Criterion, name: &str, items: &[T], work: impl Fn(T) -> R) {
    let mut turn = items.iter().cycle();
    c.bench_function(name, |bench| bench.iter(|| turn.next().map(|item| black_box(work(black_box(*item))))));
}

pub fn benches(c: &mut Criterion) {
    let inputs = inputs();
    let states: Vec<MoistAir> = inputs.iter().copied().map(air).collect();
    each(c, "moist air: full state from T, RH, p", &inputs, |input| {
        let air = air(input);
        (
            air.humidity_ratio(),
            air.vapour_pressure(),
            air.dew_point(),
            air.frost_point(),
            air.wet_bulb(),
            air.enthalpy(),
            air.specific_volume(),
            air.vapour_pressure_deficit(),
        )
    });
    each(c, "moist air: from T, RH, p", &inputs, air);
    each(c, "moist air: dew point", &states, MoistAir::dew_point);
    each(c, "moist air: frost point", &states, MoistAir::frost_point);
    each(c, "moist air: wet bulb", &states, MoistAir::wet_bulb);
    each(c, "moist air: from T, wet bulb, p", &states, |air| {
        MoistAir::from_wet_bulb(air.temperature(), air.wet_bulb(), air.pressure())
    });
    each(c, "moist air: saturation temperature of water", &states, |air| {
        Curve::Water.temperature(air.vapour_pressure())
    });
    let supply = air(inputs[0]);
    let room = MoistAir::from_relative_humidity(
        Temperature::from_celsius(16.0).unwrap(),
        RelativeHumidity::from_percent(92.0).unwrap(),
        BelowFreezing::Water,
        supply.pressure(),
    );
    let room = room.unwrap();
    c.bench_function("moist air: inlet fog", |bench| bench.iter(|| inlet_fog(black_box(supply), black_box(room))));
}
