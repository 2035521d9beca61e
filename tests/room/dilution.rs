//! Carbon dioxide and moisture carried off by fresh air.

use std::time::Duration;

use mistwright::model::{RoomModel, equipment::FanControl, room::Standing};

use super::{PRESSURES, air, assert_near, bare, drive, emission, flow, ppm, run};

/// Minutes after which all but a share of what was in the air is gone, found by stepping a minute at a time and by the
/// exponential within the last one.
fn minutes_to(changes: f64, left: f64, pascals: f64) -> f64 {
    let model = RoomModel::new(&bare(60.0), super::pressure(pascals));
    // Supply like the room's own air, so that the fan's volume and the room's are in the same state.
    let inside = air(20.0, 50.0, pascals);
    let mut drive = drive(inside);
    drive.fresh_air = flow(changes * 60.0);
    let above = |standing: &Standing| standing.carbon_dioxide.parts_per_million() - 430.0;
    let mut standing = Standing::new(&inside, ppm(5_430.0), None);
    for minute in 0.. {
        let (next, _) = model.step(&standing, &drive, Duration::from_secs(60));
        if above(&next) <= left * 5_000.0 {
            let share = (left * 5_000.0 / above(&standing)).ln() / (above(&next) / above(&standing)).ln();
            return f64::from(minute) + share;
        }
        standing = next;
    }
    unreachable!("minutes have no end")
}

/// CDC guidelines for preventing the transmission of tuberculosis, MMWR 1994;43(RR-13), table S3-1, which the model must
/// meet to the rounding of its minutes: t = 60·ln(1/left)/A for a well-mixed room.
#[test]
fn a_contaminant_is_gone_after_the_minutes_of_the_published_table() {
    let table = [
        (1.0, [138.0, 276.0, 414.0]),
        (4.0, [35.0, 69.0, 104.0]),
        (6.0, [23.0, 46.0, 69.0]),
        (12.0, [12.0, 23.0, 35.0]),
    ];
    for pascals in PRESSURES {
        for (changes, minutes) in table {
            for (left, minutes) in [0.1, 0.01, 0.001].into_iter().zip(minutes) {
                let found = minutes_to(changes, left, pascals);
                assert!((found - minutes).abs() <= 0.6, "{changes}/h to {left} at {pascals} Pa: {found} min");
            }
        }
    }
}

/// The form of ASTM E741 for a decay test: A = [ln C(t₁) − ln C(t₂)]/(t₂ − t₁), C above outdoors. Exact for a well-mixed
/// room, so only rounding is allowed.
#[test]
fn a_decay_test_finds_the_air_changes_that_the_fan_makes() {
    for pascals in PRESSURES {
        for changes in [0.5, 4.0, 60.0] {
            let model = RoomModel::new(&bare(60.0), super::pressure(pascals));
            let inside = air(18.0, 60.0, pascals);
            let mut drive = drive(inside);
            drive.fresh_air = flow(changes * 60.0);
            let mut found = Vec::new();
            run(&model, Standing::new(&inside, ppm(9_000.0), None), &drive, (7, 60), |standing, _| {
                found.push(standing.carbon_dioxide.parts_per_million() - 430.0);
            });
            // Readings after 2 and after 7 minutes.
            let rate = (found[1].ln() - found[6].ln()) / (5.0 / 60.0);
            assert_near(rate, changes, 1e-6, "air changes");
        }
    }
}

/// Computed by hand: V 60 m³, Q 60 m³/h, 0.030 m³/h of CO2, start and outdoors at 420 ppm: 420 + 500·(1 − e⁻¹) = 736.06 ppm
/// after an hour and 920 in the end. 0.030 m³ is weighed as ideal gas at the room's state; the molar mass of dry air in
/// the model and in the gas constant differ by 2e-4, hence 0.3 ppm.
#[test]
fn a_step_of_emission_rises_to_its_steady_value() {
    for pascals in PRESSURES {
        let model = RoomModel::new(&bare(60.0), super::pressure(pascals));
        let inside = air(16.0, 0.0, pascals);
        let grams = 0.030 * pascals / (8.314_46 * 289.15) * 44.01;
        let mut drive = drive(inside);
        drive.supply.carbon_dioxide = ppm(420.0);
        drive.around.carbon_dioxide = ppm(420.0);
        drive.fresh_air = flow(60.0);
        drive.humidifier_allowed = false;
        drive.emission = emission(grams, 16.0);
        let after_an_hour = run(&model, Standing::new(&inside, ppm(420.0), None), &drive, (12, 300), |_, _| {});
        assert!((after_an_hour.carbon_dioxide.parts_per_million() - 736.06).abs() < 0.3, "{after_an_hour:?}");
        let settled = run(&model, after_an_hour, &drive, (240, 300), |_, _| {});
        assert!((settled.carbon_dioxide.parts_per_million() - 920.0).abs() < 0.3, "{settled:?}");
    }
}

/// Without sources moisture follows the same law: W − W_supply falls by e^(−A·t). An exhaust fan moves the room's own air, so
/// that A is exact whatever the room's density is on the way.
#[test]
fn moisture_decays_towards_the_supply_like_any_other_gas() {
    for pascals in PRESSURES {
        let model = RoomModel::new(&bare(60.0), super::pressure(pascals));
        let (inside, outdoors) = (air(16.0, 92.0, pascals), air(-10.0, 80.0, pascals));
        let mut drive = drive(outdoors);
        drive.fresh_air = flow(180.0);
        let end = run(&model, Standing::new(&inside, ppm(430.0), None), &drive, (5, 300), |_, _| {});
        let ratio = |air: mistwright::physics::MoistAir| air.humidity_ratio().kilograms_per_kilogram();
        let left = (end.humidity_ratio.kilograms_per_kilogram() - ratio(outdoors)) / (ratio(inside) - ratio(outdoors));
        assert_near(left, (-3.0_f64 * 25.0 / 60.0).exp(), 1e-9, "share left after 25 minutes at 3/h");
    }
}

/// Q = √(Q_fan² + Q_leak²) for a fan that is alone in its room, Q_fan + Q_leak for a pair: 3 and 4 make 5, or 7.
#[test]
fn a_leak_adds_in_squares_to_a_lone_fan_and_plainly_to_a_pair() {
    use mistwright::model::FanMoves;
    for (moves, total) in [(FanMoves::Exhaust, 5.0), (FanMoves::Supply, 5.0), (FanMoves::Both, 7.0)] {
        let mut room = bare(60.0);
        room.fan.moves = moves;
        room.infiltration = mistwright::units::AirChanges::from_per_hour(4.0).unwrap();
        let model = RoomModel::new(&room, super::pressure(101_325.0));
        let inside = air(16.0, 50.0, 101_325.0);
        let mut drive = drive(inside);
        drive.fresh_air = flow(180.0);
        let (_, report) = model.step(&Standing::new(&inside, ppm(430.0), None), &drive, Duration::from_secs(60));
        let volume = inside.specific_volume().cubic_metres_per_kilogram() / 60.0;
        let found = (report.supplied.kilograms_per_hour() + report.leaked.kilograms_per_hour()) * volume;
        assert_near(found, total, 1e-9, "air changes");
    }
}

/// At −10 °C air is denser by 299.15…/263.15 than at 20 °C: a supply fan brings 11 % more of it than an exhaust fan of the same
/// volume pulls in (dry air at one pressure: exactly the ratio of absolute temperatures).
#[test]
fn a_supply_fan_moves_cold_dense_air() {
    use mistwright::model::FanMoves;
    let supplied = |moves| {
        let mut room = bare(60.0);
        room.fan.moves = moves;
        let model = RoomModel::new(&room, super::pressure(101_325.0));
        let mut drive = drive(air(-10.0, 0.0, 101_325.0));
        drive.fresh_air = flow(240.0);
        let standing = Standing::new(&air(20.0, 0.0, 101_325.0), ppm(430.0), None);
        model.step(&standing, &drive, Duration::from_secs(60)).1.supplied.kilograms_per_hour()
    };
    assert_near(supplied(FanMoves::Supply) / supplied(FanMoves::Exhaust), 293.15 / 263.15, 1e-9, "ratio of flows");
}

/// A timer that runs 20 of every 60 minutes at 12/h: in the periodic state the off-time adds G·t/m and the on-time decays
/// it, so the swing is (G/m)·t_off·(1 − e^(−A·t_on))/(1 − e^(−A·t_on)) less what the emission adds while it runs; worked out by
/// stepping the same cycle in seconds until it repeats.
#[test]
fn a_timers_swing_is_that_of_its_own_cycle() {
    let mut room = bare(60.0);
    room.fan.capacity = flow(720.0);
    let inside = air(16.0, 50.0, 101_325.0);
    let mut drive = drive(inside);
    drive.emission = emission(40.0, 16.0);
    let steady = RoomModel::new(&room, super::pressure(101_325.0));
    let mut standing = Standing::new(&inside, ppm(430.0), None);
    let (mut lowest, mut highest) = (f64::INFINITY, 0.0_f64);
    for second in 0..20 * 3_600 {
        drive.fresh_air = flow(if second % 3_600 < 1_200 { 720.0 } else { 0.0 });
        standing = steady.step(&standing, &drive, Duration::from_secs(1)).0;
        if second >= 19 * 3_600 {
            lowest = lowest.min(standing.carbon_dioxide.parts_per_million());
            highest = highest.max(standing.carbon_dioxide.parts_per_million());
        }
    }
    room.fan.control = FanControl::Timer { period: Duration::from_secs(3_600) };
    let model = RoomModel::new(&room, super::pressure(101_325.0));
    drive.fresh_air = flow(240.0);
    let (_, report) = model.step(&standing, &drive, Duration::from_secs(300));
    assert_near(report.swing.unwrap().carbon_dioxide.parts_per_million(), highest - lowest, 1e-3, "swing");
}
