//! Rooms that breathe through another room.

use std::time::Duration;

use mistwright::model::{
    FanMoves, HumidifierMethod, RoomModel,
    room::{EnteringAir, Standing},
};

use super::{PRESSURES, air, assert_near, bare, drive, flow, humidifier, percent, ppm, pressure};

/// An anteroom at 12 °C and 75 % before two rooms at 16 °C and 90 %, one of which has an exhaust fan and the other a supply
/// fan that blows the anteroom's denser air. In the steady state the anteroom takes in what the two draw, its humidifier
/// gives ΣM·(W_a − W_o), theirs M·(W − W_a) each, and all three together what one room would need straight from outdoors.
#[test]
fn an_anteroom_takes_in_what_its_rooms_draw_and_shares_their_load() {
    for pascals in PRESSURES {
        let outdoors = air(-12.0, 80.0, pascals);
        let lung_air = air(12.0, 75.0, pascals);
        let room_air = air(16.0, 90.0, pascals);
        let model = |volume: f64, moves: FanMoves| {
            let mut room = bare(volume);
            room.fan.moves = moves;
            room.humidifier = Some(humidifier(HumidifierMethod::Ultrasonic, 30.0));
            RoomModel::new(&room, pressure(pascals))
        };
        let (lung, hall, loft) =
            (model(95.0, FanMoves::Exhaust), model(180.0, FanMoves::Exhaust), model(140.0, FanMoves::Supply));
        let mut rooms = drive(lung_air);
        rooms.humidity_target = percent(90.0);
        let through = |volume: f64| {
            let mut drive = rooms;
            drive.fresh_air = flow(volume);
            drive
        };
        let (hall_drive, loft_drive) = (through(900.0), through(420.0));
        let standing = Standing::new(&room_air, ppm(430.0), None);
        let drawn = hall.intake(&standing, &hall_drive).kilograms_per_hour()
            + loft.intake(&standing, &loft_drive).kilograms_per_hour();
        let density = |air: mistwright::physics::MoistAir| 1.0 / air.specific_volume().cubic_metres_per_kilogram();
        assert_near(drawn, 900.0 * density(room_air) + 420.0 * density(lung_air), 1e-9, "dry air drawn, kg/h");

        let mut before = drive(outdoors);
        before.humidity_target = percent(75.0);
        before.drawn_by_others = mistwright::units::DryAirFlow::from_kilograms_per_hour(drawn).unwrap();
        let hour = Duration::from_secs(3_600);
        let (_, anteroom) = lung.step(&Standing::new(&lung_air, ppm(430.0), None), &before, hour);
        assert_near(anteroom.supplied.kilograms_per_hour(), drawn, 1e-9, "air through the anteroom");
        let ratio = |air: mistwright::physics::MoistAir| air.humidity_ratio().kilograms_per_kilogram();
        let given = anteroom.vapour.kilograms_per_hour();
        assert_near(given, drawn * (ratio(lung_air) - ratio(outdoors)), 1e-6, "vapour in the anteroom");
        let behind: f64 = [(&hall, &hall_drive), (&loft, &loft_drive)]
            .map(|(model, drive)| model.step(&standing, drive, hour).1.vapour.kilograms_per_hour())
            .iter()
            .sum();
        assert_near(given + behind, drawn * (ratio(room_air) - ratio(outdoors)), 1e-6, "vapour of all three");
    }
}

/// Past an exhaust fan of the anteroom's own, what its rooms draw comes on top; a supply fan pushes in what they draw, and
/// they pull in more only where they want more; a balanced pair adds.
#[test]
fn an_anterooms_own_fan_joins_what_is_drawn_through_it() {
    let inside = air(12.0, 75.0, 101_325.0);
    let supplied = |moves, own: f64, drawn: f64| {
        let mut room = bare(95.0);
        room.fan.moves = moves;
        let model = RoomModel::new(&room, pressure(101_325.0));
        let mut drive = drive(inside);
        let per_kilogram = inside.specific_volume().cubic_metres_per_kilogram();
        drive.fresh_air = flow(own * per_kilogram);
        drive.drawn_by_others = mistwright::units::DryAirFlow::from_kilograms_per_hour(drawn).unwrap();
        let standing = Standing::new(&inside, ppm(430.0), None);
        model.step(&standing, &drive, Duration::from_secs(60)).1.supplied.kilograms_per_hour()
    };
    assert_near(supplied(FanMoves::Exhaust, 200.0, 500.0), 700.0, 1e-9, "exhaust");
    assert_near(supplied(FanMoves::Both, 200.0, 500.0), 700.0, 1e-9, "balanced");
    assert_near(supplied(FanMoves::Supply, 200.0, 500.0), 500.0, 1e-9, "too small a supply fan");
    assert_near(supplied(FanMoves::Supply, 800.0, 500.0), 800.0, 1e-9, "more than is drawn");
}

/// A tent in a heated room leaks and loses heat to the room that it stands in, not to the weather.
#[test]
fn a_room_within_a_room_leaks_and_loses_to_its_surroundings() {
    let mut tent = bare(6.0);
    tent.infiltration = mistwright::units::AirChanges::from_per_hour(2.0).unwrap();
    tent.shell.loss = Some(mistwright::units::HeatLoss::from_watts_per_kelvin(20.0).unwrap());
    let model = RoomModel::new(&tent, pressure(101_325.0));
    let mut drive = drive(air(-20.0, 80.0, 101_325.0));
    drive.around = EnteringAir { air: air(20.0, 40.0, 101_325.0), carbon_dioxide: ppm(700.0) };
    let start = Standing::new(&air(18.0, 80.0, 101_325.0), ppm(2_000.0), None);
    let end = super::run(&model, start, &drive, (288, 300), |_, _| {});
    assert_near(end.temperature.celsius(), 20.0, 1e-3, "temperature");
    assert_near(end.carbon_dioxide.parts_per_million(), 700.0, 1e-3, "carbon dioxide");
}
