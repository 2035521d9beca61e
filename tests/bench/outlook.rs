//! The hours ahead of one room, and of many.

use std::hint::black_box;

use jiff::Timestamp;
use mistwright::{
    advice::{lever, plan},
    engine::Event,
    model::{
        Farm, Identifier, Measured, OutdoorAir, Place, Quantity, Room, Surface, SurfaceKind,
        equipment::{MistSeen, Thermostat},
        projection::{Course, Feed, HOURS, Scene, Start, View, Weather, project, project_expected},
    },
    physics::{BelowFreezing, Curve, MoistAir},
    units::{
        Area, DryAirFlow, Fraction, HeatCapacity, HeatFlow, HeatLoss, HeatTransferCoefficient, Pressure, Transmittance,
        VapourPressure,
    },
};

use crate::harness::{Bench, celsius, farm, flow, percent, ppm, room};
use crate::processor::Criterion;

/// A room of which everything is known: shell, heater, a wall that gets wet, a sentence about mist, a tank.
fn known_room() -> Room {
    let mut room = room();
    room.shell.loss = HeatLoss::from_watts_per_kelvin(45.0).ok();
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(1_800.0).unwrap();
    room.shell.surfaces = vec![Surface {
        name: Identifier::new("north-wall").unwrap(),
        title: "North wall".to_owned(),
        kind: SurfaceKind::Wall {
            area: Area::from_square_metres(18.0).unwrap(),
            transmittance: Transmittance::from_watts_per_square_metre_kelvin(0.6).unwrap(),
            convective: HeatTransferCoefficient::from_watts_per_square_metre_kelvin(3.0).unwrap(),
        },
    }];
    room.heater = Some(Thermostat {
        power: HeatFlow::from_watts(6_000.0).unwrap(),
        setting: None,
        latent: Fraction::from_ratio(0.0).unwrap(),
    });
    room.humidifier.as_mut().unwrap().mist = Some(MistSeen { at: percent(92.0), outdoors: celsius(10.0) });
    room
}

/// Two days around −8 °C.
pub fn weather() -> Weather {
    let start: Timestamp = "2027-01-15T18:00:00Z".parse().unwrap();
    let pressure = Pressure::from_pascals(98_000.0).unwrap();
    Weather::new(start, pressure, |moment, case| {
        let hours = moment.duration_since(start).as_secs_f64() / 3_600.0;
        let shift = match case {
            mistwright::model::Case::Expected => 0.0,
            mistwright::model::Case::ColderAndDrier => -2.0,
            mistwright::model::Case::Milder => 2.0,
        };
        let temperature = celsius(-8.0 + shift - 4.0 * (hours / 24.0 * std::f64::consts::TAU).sin());
        let saturation = Curve::Water.pressure_in_air(temperature, pressure).unwrap().pascals();
        Some(OutdoorAir { temperature, vapour_pressure: VapourPressure::from_pascals(0.8 * saturation).unwrap() })
    })
}

/// Gives what one room's outlook rests on.
pub fn with_scene(work: impl FnOnce(&Scene<'_>, &Farm)) {
    let (room, weather) = (known_room(), weather());
    let farm = farm(vec![room.clone()]);
    let pressure = weather.pressure();
    let drawn = |_: Timestamp, _| DryAirFlow::from_kilograms_per_hour(0.0).unwrap();
    let scene = Scene {
        site: &farm.site,
        room: &room,
        weather: &weather,
        start: Start {
            air: MoistAir::from_sensor(celsius(16.0), percent(90.0), BelowFreezing::Water, pressure).unwrap(),
            carbon_dioxide: Some(ppm(750.0)),
            fresh_air: flow(240.0),
            emission: None,
            tank: None,
            probe: None,
        },
        intake: Feed::Outdoors,
        around: Feed::Outdoors,
        drawn: &drawn,
        refilled: true,
        needed_behind: None,
        policy: &plan::course,
    };
    work(&scene, &farm);
}

pub fn benches(criterion: &mut Criterion) {
    with_scene(|scene, farm| {
        let steady = |_: &View<'_>| Course { fresh_air: flow(300.0), humidity_target: percent(90.0) };
        let constant = Scene { policy: &steady, ..*scene };
        let projected = project(scene);
        let mut bench = |name: &str, work: &mut dyn FnMut()| {
            criterion.bench_function(&format!("outlook: {name}"), |b| b.iter(&mut *work));
        };
        bench("three runs of one room, as advised", &mut || drop(black_box(project(scene))));
        bench("three runs of one room, one course for all hours", &mut || drop(black_box(project(&constant))));
        bench("the expected run alone, as advised", &mut || drop(black_box(project_expected(scene, HOURS))));
        bench("the levers of one room", &mut || {
            drop(black_box(lever::levers(scene, &projected.outlook.expected, farm)));
        });
        bench("the weather ahead, in three cases", &mut || drop(black_box(weather())));
    });
    farms(criterion);
}

/// Farms of 1 to 1,000 rooms: all their outlooks, and a reading's turn.
fn farms(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("outlook");
    group.sample_size(10);
    for count in [1, 20, 100, 1_000] {
        let mut bench = rooms(count);
        group.bench_function(format!("all anew, turn by turn, {count} rooms"), |b| {
            b.iter(|| {
                bench.engine.handle(Event::ClockStepped, &bench.now);
                for _ in 1..count.div_ceil(1 + count / 100) {
                    black_box(bench.engine.handle(Event::Tick, &bench.now));
                }
            });
        });
        let values = [16.0, 16.1].map(|value| Measured::from_base(Quantity::Temperature, value).unwrap());
        let mut turn = 0;
        group.bench_function(format!("a reading's turn without any, {count} rooms"), |b| {
            b.iter(|| {
                turn += 1;
                let event = Event::Reading { source: 3, measured: values[turn % 2], taken: None };
                black_box(bench.engine.handle(event, &bench.now))
            });
        });
    }
    group.finish();
}

/// A farm of rooms that have all spoken, each with its outlook.
pub fn rooms(count: usize) -> Bench {
    let rooms =
        (0..count).map(|index| Room { name: Identifier::new(&format!("room-{index}")).unwrap(), ..known_room() });
    let mut bench = Bench::new(farm(rooms.collect()));
    let mut events = Vec::new();
    for (source, place) in bench.farm.sources.iter().map(|source| (source.quantity, source.place)).enumerate() {
        let (quantity, place) = place;
        let value = match (quantity, place) {
            (Quantity::Temperature, Place::Outdoors) => -6.0,
            (Quantity::Temperature, _) => 16.0,
            (Quantity::RelativeHumidity, _) => 0.9,
            (Quantity::CarbonDioxide, _) => 750.0,
            _ => 98_000.0,
        };
        let measured = Measured::from_base(quantity, value).unwrap();
        events.push(Event::Reading { source, measured, taken: None });
    }
    bench.engine.handle_all(events, &bench.now);
    bench.forecast(&[-8.0; 60], 80.0);
    for _ in 0..2 * count {
        bench.event(Event::Tick);
    }
    bench
}
