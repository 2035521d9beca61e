//! The room model against what can be worked out by hand, against published figures, and against its own promises:
//! nothing is lost, the length of the step does not matter, and nothing that can be configured breaks it.

use std::time::Duration;

use mistwright::{
    model::{
        Bands, Humidifier, HumidifierMethod, Identifier, Room, RoomModel, Species, Stage, WaterSupply,
        equipment::{Fan, FanMoves},
        room::{Drive, Emission, EnteringAir, Report, Standing},
    },
    physics::{BelowFreezing, MoistAir},
    units::{CarbonDioxideFlow, DryAirFlow, Pressure, Volume, WaterFlow},
};

pub use crate::engine::harness::{celsius, flow, percent, ppm};

mod anteroom;
mod conservation;
mod dilution;
mod heat;
mod surfaces;
mod water;

/// Sea level, and 1,500 m (standard atmosphere).
pub const PRESSURES: [f64; 2] = [101_325.0, 84_556.0];

pub fn pressure(pascals: f64) -> Pressure {
    Pressure::from_pascals(pascals).unwrap()
}

pub fn air(temperature: f64, humidity: f64, pascals: f64) -> MoistAir {
    MoistAir::from_relative_humidity(celsius(temperature), percent(humidity), BelowFreezing::Water, pressure(pascals))
        .unwrap()
}

pub fn bands() -> Bands {
    Species::Oyster.entry(Stage::Fruiting).bands()
}

/// A bare room with an exhaust fan.
pub fn bare(cubic_metres: f64) -> Room {
    let volume = Volume::from_cubic_metres(cubic_metres).unwrap();
    let mut room = Room::bare(Identifier::new("bay").unwrap(), volume, bands());
    let flows = [0.0, 4.0 * cubic_metres, 100.0 * cubic_metres].map(flow);
    room.fan = Fan::plain(FanMoves::Exhaust, flows);
    room
}

/// A humidifier of `output` kg/h on the mains, all of whose water evaporates.
pub fn humidifier(method: HumidifierMethod, output: f64) -> Humidifier {
    let mut humidifier =
        Humidifier::plain(method, WaterFlow::from_kilograms_per_hour(output).unwrap(), WaterSupply::Mains);
    humidifier.evaporated = mistwright::units::Fraction::from_ratio(1.0).unwrap();
    humidifier
}

/// Air of 430 ppm outdoors and on the other side of the shell, the fan off, the humidistat at 50 %, no crop.
pub fn drive(outdoors: MoistAir) -> Drive {
    let entering = EnteringAir { air: outdoors, carbon_dioxide: ppm(430.0) };
    Drive {
        supply: entering,
        around: entering,
        fresh_air: flow(0.0),
        drawn_by_others: DryAirFlow::from_kilograms_per_hour(0.0).unwrap(),
        humidity_target: percent(50.0),
        humidifier_allowed: true,
        emission: emission(0.0, 16.0),
        pressure: outdoors.pressure(),
    }
}

pub fn emission(grams_per_hour: f64, at: f64) -> Emission {
    Emission { rate: CarbonDioxideFlow::from_grams_per_hour(grams_per_hour).unwrap(), at: celsius(at) }
}

/// A room on its way, with the reports added up by `each`.
pub fn run(
    model: &RoomModel,
    mut standing: Standing,
    drive: &Drive,
    (steps, seconds): (usize, u64),
    mut each: impl FnMut(&Standing, &Report),
) -> Standing {
    for _ in 0..steps {
        let (next, report) = model.step(&standing, drive, Duration::from_secs(seconds));
        standing = next;
        each(&standing, &report);
    }
    standing
}

/// Within `tolerance` of `expected`, as a share of it.
pub fn assert_near(found: f64, expected: f64, tolerance: f64, what: &str) {
    assert!((found - expected).abs() <= tolerance * expected.abs(), "{what}: {found}, expected {expected}");
}
