//! One five-minute step of the room model. An outlook of three runs is 1,728 of them; its budget is 1 ms for a room.

use std::{hint::black_box, time::Duration};

use mistwright::{
    model::{
        FanMoves, Humidifier, HumidifierMethod, Identifier, Room, RoomModel, Species, Stage, Surface, SurfaceKind,
        WaterSupply,
        equipment::{Fan, MistSeen, Thermostat},
        farm::Crop,
        room::{Drive, Emission, EnteringAir, Standing},
    },
    physics::{BelowFreezing, MoistAir},
    units::{
        AirChanges, AirFlow, Area, CarbonDioxide, DryAirFlow, Fraction, HeatCapacity, HeatFlow, HeatLoss,
        HeatTransferCoefficient, Mass, Pressure, RelativeHumidity, Temperature, Transmittance, Volume, WaterFlow,
    },
};

use crate::processor::Criterion;

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value).unwrap()
}

fn air(temperature: f64, percent: f64) -> MoistAir {
    let (humidity, pressure) =
        (RelativeHumidity::from_percent(percent).unwrap(), Pressure::from_pascals(101_325.0).unwrap());
    MoistAir::from_relative_humidity(celsius(temperature), humidity, BelowFreezing::Water, pressure).unwrap()
}

/// Fan and humidifier alone, its temperature held.
fn bare() -> Room {
    let volume = Volume::from_cubic_metres(120.0).unwrap();
    let bands = Species::Oyster.entry(Stage::Fruiting).bands();
    let mut room = Room::bare(Identifier::new("bay").unwrap(), volume, bands);
    let flows = [60.0, 480.0, 1_400.0].map(|flow| AirFlow::from_cubic_metres_per_hour(flow).unwrap());
    room.fan = Fan::plain(FanMoves::Exhaust, flows);
    room.infiltration = AirChanges::from_per_hour(0.3).unwrap();
    let output = WaterFlow::from_kilograms_per_hour(14.0).unwrap();
    room.humidifier = Some(Humidifier::plain(HumidifierMethod::Ultrasonic, output, WaterSupply::Unknown));
    room
}

/// Crop, heater, mist and two walls, one of which drips.
fn full(heater: f64) -> Room {
    let mut room = bare();
    room.crop = Some(Crop {
        species: Species::Oyster,
        stage: Stage::Fruiting,
        substrate: Mass::from_kilograms(1_500.0).unwrap(),
        respiration: Species::Oyster.entry(Stage::Fruiting).respiration(),
    });
    if let Some(humidifier) = &mut room.humidifier {
        humidifier.mist = Some(MistSeen { at: RelativeHumidity::from_percent(92.0).unwrap(), outdoors: celsius(10.0) });
    }
    room.heater = Some(Thermostat {
        power: HeatFlow::from_watts(heater).unwrap(),
        setting: Some(celsius(16.0)),
        latent: Fraction::from_ratio(0.0).unwrap(),
    });
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(90.0).unwrap());
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(1_500.0).unwrap();
    let wall = |name: &str, area: f64, transmittance: f64| Surface {
        name: Identifier::new(name).unwrap(),
        title: name.to_owned(),
        kind: SurfaceKind::Wall {
            area: Area::from_square_metres(area).unwrap(),
            transmittance: Transmittance::from_watts_per_square_metre_kelvin(transmittance).unwrap(),
            convective: HeatTransferCoefficient::from_watts_per_square_metre_kelvin(3.0).unwrap(),
        },
    };
    room.shell.surfaces = vec![wall("door", 6.0, 2.5), wall("north", 60.0, 0.3)];
    room
}

pub fn benches(criterion: &mut Criterion) {
    let pressure = Pressure::from_pascals(101_325.0).unwrap();
    for (name, room) in [
        ("room: a step, fan and humidifier", bare()),
        ("room: a step, everything, heater in hand", full(20_000.0)),
        ("room: a step, everything, heater at its limit", full(6_000.0)),
    ] {
        let model = RoomModel::new(&room, pressure);
        // A night that gets colder by 8 K, so that no step is like the one before.
        let drives: Vec<Drive> = (0..96_u32)
            .map(|step| {
                let outdoors = EnteringAir {
                    air: air(-2.0 - f64::from(step) / 12.0, 80.0),
                    carbon_dioxide: CarbonDioxide::from_parts_per_million(430.0).unwrap(),
                };
                Drive {
                    supply: outdoors,
                    around: outdoors,
                    fresh_air: AirFlow::from_cubic_metres_per_hour(480.0).unwrap(),
                    drawn_by_others: DryAirFlow::from_kilograms_per_hour(0.0).unwrap(),
                    humidity_target: RelativeHumidity::from_percent(88.0).unwrap(),
                    humidifier_allowed: true,
                    emission: Emission::of_catalogue(&room),
                    pressure,
                }
            })
            .collect();
        let mut standing = Standing::new(&air(16.0, 88.0), CarbonDioxide::from_parts_per_million(800.0).unwrap(), None);
        let mut turn = drives.iter().cycle();
        criterion.bench_function(name, |b| {
            b.iter(|| {
                if let Some(drive) = turn.next() {
                    standing = black_box(model.step(black_box(&standing), drive, Duration::from_secs(300))).0;
                }
            });
        });
    }
}
