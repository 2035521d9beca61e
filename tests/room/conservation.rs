//! Promises over everything that can be configured: nothing is lost, the step's length does not matter, sixty air changes
//! an hour are stable, and no room breaks the model.

use std::time::Duration;

use mistwright::{
    model::{
        FanMoves, HumidifierMethod, Identifier, Room, RoomModel, Species, Stage, Surface, SurfaceKind, WaterSupply,
        equipment::{FanControl, MistSeen, Pan, Recovery, Tempering, Thermostat},
        farm::Crop,
        room::{Drive, EnergyBook, EnteringAir, MaterialBook, Report, Standing},
    },
    physics::MoistAir,
    units::{
        AirChanges, Area, Fraction, HeatCapacity, HeatFlow, HeatLoss, HeatTransferCoefficient, Mass,
        TemperatureDifference, Transmittance, WaterVolume,
    },
};
use proptest::prelude::*;

use super::{air, bare, celsius, drive, emission, flow, humidifier, percent, ppm, pressure};

fn fraction(value: f64) -> Fraction {
    Fraction::from_ratio(value).unwrap()
}

fn thermostat(power: f64, setting: f64, latent: f64) -> Thermostat {
    Thermostat {
        power: HeatFlow::from_watts(power).unwrap(),
        setting: Some(celsius(setting)),
        latent: fraction(latent),
    }
}

fn crop(substrate: f64) -> Crop {
    Crop {
        species: Species::Oyster,
        stage: Stage::Fruiting,
        substrate: Mass::from_kilograms(substrate).unwrap(),
        respiration: Species::Oyster.entry(Stage::Fruiting).respiration(),
    }
}

fn wall(area: f64, transmittance: f64, convective: f64) -> Surface {
    Surface {
        name: Identifier::new("wall").unwrap(),
        title: "Wall".to_owned(),
        kind: SurfaceKind::Wall {
            area: Area::from_square_metres(area).unwrap(),
            transmittance: Transmittance::from_watts_per_square_metre_kelvin(transmittance).unwrap(),
            convective: HeatTransferCoefficient::from_watts_per_square_metre_kelvin(convective).unwrap(),
        },
    }
}

prop_compose! {
    fn air_ways()(
        moves in prop::sample::select(vec![FanMoves::Supply, FanMoves::Exhaust, FanMoves::Both]),
        infiltration in 0.0..2.0_f64,
        recovery in prop::option::of((0.0..0.9_f64, 0.0..0.8_f64)),
        tempering in prop::option::of((0.0..18.0_f64, prop::option::of(100.0..5_000.0_f64))),
        heat in 0.0..300.0_f64,
        timer in any::<bool>(),
    ) -> (FanMoves, f64, Option<(f64, f64)>, Option<(f64, Option<f64>)>, f64, bool) {
        (moves, infiltration, recovery, tempering, heat, timer)
    }
}

prop_compose! {
    fn equipment()(
        method in prop::option::of((prop::sample::select(HumidifierMethod::ALL.to_vec()), 0.2..20.0_f64, 0.3..1.0_f64)),
        heater in prop::option::of((0.0..20_000.0_f64, 5.0..24.0_f64)),
        cooler in prop::option::of((0.0..9_000.0_f64, 10.0..24.0_f64, 0.0..0.5_f64)),
        pan in prop::option::of((0.0..10.0_f64, 0.0..15.0_f64)),
        mist in any::<bool>(),
    ) -> (Option<(HumidifierMethod, f64, f64)>, Option<(f64, f64)>, Option<(f64, f64, f64)>, Option<(f64, f64)>, bool) {
        (method, heater, cooler, pan, mist)
    }
}

prop_compose! {
    fn room()(
        volume in 5.0..400.0_f64,
        (moves, infiltration, recovery, tempering, heat, timer) in air_ways(),
        (method, heater, cooler, pan, mist) in equipment(),
        substrate in prop::option::of(1.0..60.0_f64),
        loss in 2.0..500.0_f64,
        fabric in 0.0..5_000.0_f64,
        walls in prop::collection::vec((0.5..80.0_f64, 0.1..7.0_f64, 2.0..8.0_f64), 0..3),
    ) -> Room {
        let mut room = bare(volume);
        room.fan.moves = moves;
        room.fan.heat = HeatFlow::from_watts(heat).unwrap();
        room.fan.recovery =
            recovery.map(|(heat, moisture)| Recovery { heat: fraction(heat), moisture: fraction(moisture) });
        if timer {
            room.fan.control = FanControl::Timer { period: Duration::from_secs(900) };
        }
        room.infiltration = AirChanges::from_per_hour(infiltration).unwrap();
        room.tempering = tempering.map(|(to, power)| Tempering {
            to: celsius(to),
            power: power.map(|watts| HeatFlow::from_watts(watts).unwrap()),
        });
        room.humidifier = method.map(|(method, output, evaporated)| {
            let mut thrower = humidifier(method, output);
            thrower.evaporated = fraction(evaporated);
            thrower.water = WaterSupply::Tank(WaterVolume::from_litres(3.0).unwrap());
            thrower.mist = mist.then(|| MistSeen { at: percent(91.0), outdoors: celsius(4.0) });
            thrower
        });
        room.heater = heater.map(|(power, setting)| thermostat(power, setting, 0.0));
        room.cooler = cooler.map(|(power, setting, latent)| thermostat(power, setting, latent));
        room.pan = pan.map(|(area, warmer)| Pan {
            area: Area::from_square_metres(area).unwrap(),
            warmer: TemperatureDifference::from_kelvins(warmer).unwrap(),
        });
        room.crop = substrate.map(|per_volume| crop(per_volume * volume));
        room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(loss).unwrap());
        room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(fabric).unwrap();
        room.shell.surfaces = walls.into_iter().map(|(area, u, h)| wall(area, u, h)).collect();
        room
    }
}

prop_compose! {
    fn weather()(
        outdoors in -30.0..35.0_f64,
        humidity in 20.0..100.0_f64,
        around in -30.0..35.0_f64,
        around_humidity in 20.0..100.0_f64,
        pascals in prop::sample::select(vec![101_325.0, 84_556.0]),
    ) -> (EnteringAir, EnteringAir, f64) {
        let entering = |celsius, percent, carbon_dioxide| EnteringAir {
            air: air(celsius, percent, pascals),
            carbon_dioxide: ppm(carbon_dioxide),
        };
        (entering(outdoors, humidity, 430.0), entering(around, around_humidity, 600.0), pascals)
    }
}

prop_compose! {
    fn night()(
        (supply, around, pascals) in weather(),
        changes in 0.0..20.0_f64,
        target in 50.0..95.0_f64,
        allowed in prop::bool::weighted(0.8),
        grams in 0.0..200.0_f64,
        drawn in prop_oneof![Just(0.0), 0.0..800.0_f64],
    ) -> (Drive, f64) {
        let mut drive = drive(supply.air);
        drive.supply = supply;
        drive.around = around;
        drive.humidity_target = percent(target);
        drive.humidifier_allowed = allowed;
        drive.emission = emission(grams, 16.0);
        drive.drawn_by_others = mistwright::units::DryAirFlow::from_kilograms_per_hour(drawn).unwrap();
        drive.pressure = pressure(pascals);
        (drive, changes)
    }
}

fn start(temperature: f64, humidity: f64, drive: &Drive) -> Standing {
    let tank = WaterVolume::from_litres(3.0).unwrap();
    Standing::new(&air(temperature, humidity, drive.pressure.pascals()), ppm(900.0), Some(tank))
}

/// What a material's book does not account for, and how much moved.
fn missing(book: &MaterialBook) -> (f64, f64) {
    let [before, after, entered, left, given, taken] =
        [book.before, book.after, book.entered, book.left, book.given, book.taken].map(Mass::kilograms);
    (after - before - (entered - left + given - taken), entered + left + given + taken + before)
}

fn missing_heat(book: &EnergyBook) -> (f64, f64) {
    let [before, after, entered, left, given, lost] =
        [book.before, book.after, book.entered, book.left, book.given, book.lost].map(|heat| heat.kilojoules());
    let moved = entered.abs() + left.abs() + given.abs() + lost.abs() + (after - before).abs();
    (after - before - (entered - left + given - lost), moved)
}

fn sensible(standing: &Standing, report: &Report) {
    let celsius = standing.temperature.celsius();
    assert!((-60.0..=80.0).contains(&celsius), "{standing:?}");
    for (what, value) in [
        ("humidity ratio", standing.humidity_ratio.kilograms_per_kilogram()),
        ("CO2", standing.carbon_dioxide.parts_per_million()),
        ("drained", standing.drained.litres()),
        ("frost", standing.frost.kilograms()),
        ("vapour", report.vapour.kilograms_per_hour()),
        ("shortfall", report.shortfall.kilograms_per_hour()),
        ("heat missing", report.heat_missing.watts()),
        ("transpiration", report.transpiration.kilograms_per_hour()),
        ("pan", report.pan[1].kilograms_per_hour()),
    ] {
        assert!(value.is_finite() && value >= 0.0, "{what} is {value}: {standing:?} {report:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    /// Every kilogram that the room holds more or less at the end came in, went out, was given or taken, to rounding.
    #[test]
    fn water_and_carbon_dioxide_are_conserved(
        room in room(),
        (mut drive, changes) in night(),
        inside in 2.0..28.0_f64,
        humidity in 20.0..100.0_f64,
        seconds in prop::sample::select(vec![10_u64, 60, 300]),
    ) {
        drive.fresh_air = flow(changes * room.volume.cubic_metres());
        let model = RoomModel::new(&room, drive.pressure);
        let mut standing = start(inside, humidity, &drive);
        let mut tank = 3.0;
        for step in 0..40 {
            let (next, report, books) = model.step_with_books(&standing, &drive, Duration::from_secs(seconds));
            sensible(&next, &report);
            for (what, book) in [("water", &books.water), ("CO2", &books.carbon_dioxide)] {
                let (missing, moved) = missing(book);
                prop_assert!(missing.abs() <= 1e-9 * moved, "step {step}: {missing} kg of {what}: {book:?}");
            }
            // Beyond 80 °C the temperature is cut off, and heat with it.
            if next.temperature.celsius() >= 80.0 {
                break;
            }
            // The tank gives what was thrown, and what was thrown is vapour or runs off.
            tank -= report.water.litres();
            prop_assert!((next.tank.unwrap().litres() - tank).abs() < 1e-9, "{next:?}");
            let saturated = MoistAir::saturated(next.temperature, drive.pressure).unwrap().humidity_ratio();
            let held = next.humidity_ratio.kilograms_per_kilogram() / saturated.kilograms_per_kilogram();
            prop_assert!(held <= 1.0 + 3e-6, "{held} of saturation");
            standing = next;
        }
    }

    /// Heat within 0.3 % of what moved: the model lets vapour enter and leave with the temperature at the stretch's start and
    /// the mean, and the product of two changes within one stretch is left out.
    #[test]
    fn heat_is_conserved(
        room in room(),
        (mut drive, changes) in night(),
        inside in 2.0..28.0_f64,
        humidity in 20.0..100.0_f64,
        seconds in prop::sample::select(vec![10_u64, 60, 300]),
    ) {
        drive.fresh_air = flow(changes * room.volume.cubic_metres());
        let model = RoomModel::new(&room, drive.pressure);
        let mut standing = start(inside, humidity, &drive);
        for step in 0..40 {
            let (next, _, books) = model.step_with_books(&standing, &drive, Duration::from_secs(seconds));
            // Beyond 80 °C the temperature is cut off, and heat with it.
            if next.temperature.celsius() >= 80.0 {
                break;
            }
            let (missing, moved) = missing_heat(&books.energy);
            prop_assert!(missing.abs() <= 3e-3 * moved + 1e-6, "step {step}: {missing} of {moved} kJ: {:?}", books.energy);
            standing = next;
        }
    }

    /// Whatever is configured within the types' ranges, however silly: finite numbers in their ranges.
    #[test]
    fn no_room_and_no_weather_breaks_the_model(
        mut room in room(),
        (mut drive, _) in night(),
        volume in 0.1..100.0_f64,
        inside in -55.0..75.0_f64,
        humidity in 0.0..100.0_f64,
        fresh in prop_oneof![Just(0.0), 0.0..1e7_f64],
        hostile in prop::collection::vec(any::<bool>(), 8),
        seconds in prop::sample::select(vec![1_u64, 300, 86_400]),
    ) {
        room.volume = mistwright::units::Volume::from_cubic_metres(volume).unwrap();
        if hostile[0] {
            room.crop = Some(crop(1e6));
            drive.emission = emission(1e7, -40.0);
        }
        if hostile[1] {
            room.shell.surfaces = vec![wall(1e5, 100.0, 200.0), wall(1e5, 0.0, 0.0)];
        }
        if hostile[2] {
            room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(if hostile[3] { 0.0 } else { 1e6 }).unwrap());
            room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(0.0).unwrap();
        }
        if hostile[4] {
            room.heater = Some(thermostat(1e7, 80.0, 0.0));
            room.cooler = Some(thermostat(1e7, -40.0, 1.0));
        }
        if hostile[5] {
            room.pan = Some(Pan {
                area: Area::from_square_metres(1e6).unwrap(),
                warmer: TemperatureDifference::from_kelvins(60.0).unwrap(),
            });
        }
        if hostile[6] {
            let mut thrower = humidifier(HumidifierMethod::Ultrasonic, 1e5);
            thrower.evaporated = fraction(if hostile[7] { 0.0 } else { 1.0 });
            room.humidifier = Some(thrower);
        }
        if hostile[7] {
            drive.supply.air = air(-59.0, 0.0, drive.pressure.pascals());
            room.shell.loss = None;
        }
        drive.fresh_air = flow(fresh);
        let model = RoomModel::new(&room, drive.pressure);
        let mut standing = start(inside, humidity, &drive);
        for _ in 0..20 {
            let (next, report) = model.step(&standing, &drive, Duration::from_secs(seconds));
            sensible(&next, &report);
            standing = next;
        }
    }
}

/// A cold night: outdoors falls from +2 to −14 °C over twelve hours, heater and humidifier reach their limits, film walls
/// start to drip and the tank runs out on the way.
fn cold_night(seconds: u64, changes: f64) -> (f64, [f64; 6]) {
    let mut room = bare(120.0);
    let mut thrower = humidifier(HumidifierMethod::Ultrasonic, 7.0);
    thrower.evaporated = fraction(0.85);
    room.humidifier = Some(thrower);
    // Enough down to about −4 °C.
    room.heater = Some(thermostat((90.0 + 40.0 * changes) * 22.0, 16.0, 0.0));
    room.crop = Some(crop(1_500.0));
    room.infiltration = AirChanges::from_per_hour(0.3).unwrap();
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(90.0).unwrap());
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(1_500.0).unwrap();
    room.shell.surfaces = vec![wall(12.0, 3.0, 4.0), wall(60.0, 0.6, 3.0)];
    let model = RoomModel::new(&room, pressure(101_325.0));
    let mut standing =
        Standing::new(&air(16.0, 88.0, 101_325.0), ppm(800.0), Some(WaterVolume::from_litres(48.0).unwrap()));
    let (mut water, mut condensed, mut heat) = (0.0, 0.0, 0.0);
    let (mut humidity, mut temperature) = (0.0, 0.0);
    // Weather changes every five minutes, whatever the step.
    for block in 0..144_u32 {
        let outdoors = 2.0 - 16.0 * f64::from(block) / 144.0;
        let mut drive = drive(air(outdoors, 82.0, 101_325.0));
        drive.fresh_air = flow(changes * 120.0);
        drive.humidity_target = percent(90.0);
        drive.emission = emission(150.0, 16.0);
        for _ in 0..300 / seconds {
            let (next, report) = model.step(&standing, &drive, Duration::from_secs(seconds));
            sensible(&next, &report);
            water += report.water.litres();
            condensed += report.condensed.kilograms();
            let hours = seconds as f64 / 3_600.0;
            heat += report.heater.unwrap().watts() * hours;
            humidity +=
                0.5 * (standing.humidity_ratio.grams_per_kilogram() + next.humidity_ratio.grams_per_kilogram()) * hours;
            temperature += 0.5 * (standing.temperature.celsius() + next.temperature.celsius()) * hours;
            standing = next;
        }
    }
    let ppm = standing.carbon_dioxide.parts_per_million();
    (standing.temperature.celsius(), [water, water + condensed, heat, humidity, temperature, ppm])
}

#[test]
fn steps_of_ten_seconds_and_of_five_minutes_agree() {
    for changes in [1.0, 4.0, 12.0] {
        let (coarse_end, coarse) = cold_night(300, changes);
        let (fine_end, fine) = cold_night(10, changes);
        for (what, (coarse, fine)) in ["water", "water and condensate", "heat", "humidity", "temperature", "CO2"]
            .iter()
            .zip(coarse.into_iter().zip(fine))
        {
            assert!(
                (coarse - fine).abs() <= 5e-3 * fine.abs(),
                "{what} at {changes}/h: {coarse}, in fine steps {fine}"
            );
        }
        assert!((coarse_end - fine_end).abs() < 0.05, "{coarse_end} and {fine_end} °C");
    }
}

/// At 60 air changes an hour a five-minute step is five times the room's time constant. With a steady drive the room must
/// settle, not swing: the second and the last steps are the same.
#[test]
fn sixty_air_changes_an_hour_are_stable() {
    for fabric in [0.0, 2_000.0] {
        let mut room = bare(40.0);
        room.humidifier = Some(humidifier(HumidifierMethod::Ultrasonic, 40.0));
        room.crop = Some(crop(800.0));
        room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(60.0).unwrap());
        room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(fabric).unwrap();
        room.shell.surfaces = vec![wall(40.0, 4.0, 8.0)];
        let model = RoomModel::new(&room, pressure(101_325.0));
        let mut drive = drive(air(5.0, 70.0, 101_325.0));
        drive.fresh_air = flow(60.0 * 40.0);
        drive.humidity_target = percent(88.0);
        drive.emission = emission(80.0, 16.0);
        let mut standing = Standing::new(&air(16.0, 60.0, 101_325.0), ppm(3_000.0), None);
        let mut before = standing;
        for _ in 0..100 {
            before = standing;
            standing = model.step(&standing, &drive, Duration::from_secs(300)).0;
        }
        assert!(
            (standing.temperature.celsius() - before.temperature.celsius()).abs() < 1e-3,
            "{before:?} {standing:?}"
        );
        let moved = standing.humidity_ratio.grams_per_kilogram() - before.humidity_ratio.grams_per_kilogram();
        assert!(moved.abs() < 1e-3, "{before:?} {standing:?}");
        let humidity = standing.air(pressure(101_325.0)).unwrap().0.relative_humidity().percent();
        assert!((humidity - 88.0).abs() < 0.1, "{humidity} %");
    }
}
