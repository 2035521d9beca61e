//! Temperature: heat through the shell, heater, cooler, intake heater and exchanger.

use std::time::Duration;

use mistwright::{
    model::{
        FanMoves, Room, RoomModel,
        equipment::{Recovery, Tempering, Thermostat},
        room::Standing,
    },
    physics::MoistAir,
    units::{Fraction, HeatCapacity, HeatFlow, HeatLoss},
};

use super::{PRESSURES, air, assert_near, bare, celsius, drive, flow, ppm, run};

fn watts(value: f64) -> HeatFlow {
    HeatFlow::from_watts(value).unwrap()
}

fn share(value: f64) -> Fraction {
    Fraction::from_ratio(value).unwrap()
}

/// A dry room of 60 m³ that loses `loss` W/K.
fn room(loss: f64, fabric: f64) -> Room {
    let mut room = bare(60.0);
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(loss).unwrap());
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(fabric).unwrap();
    room
}

fn heater(power: f64, setting: f64) -> Thermostat {
    Thermostat { power: watts(power), setting: Some(celsius(setting)), latent: share(0.0) }
}

/// T − T_o falls by e^(−t/τ), τ = (m·c_p + C)/UA: 60 m³ of dry air and 900 kJ/K through 50 W/K.
#[test]
fn a_closed_room_cools_with_its_own_time_constant() {
    for pascals in PRESSURES {
        let model = RoomModel::new(&room(50.0, 900.0), super::pressure(pascals));
        let (inside, outdoors) = (air(16.0, 0.0, pascals), air(-10.0, 0.0, pascals));
        let end = run(&model, Standing::new(&inside, ppm(430.0), None), &drive(outdoors), (72, 300), |_, _| {});
        // The air gets denser as it cools: 2 % of a part of a tenth.
        let mass = 60.0 * pascals / (287.042 * 285.0);
        let hours = (mass * 1.006 + 900.0) / (50.0 * 3.6);
        assert_near(end.temperature.celsius() + 10.0, 26.0 * (-6.0 / hours).exp(), 2e-3, "excess after 6 h");
    }
}

/// Q = (UA + ṁ·c_p)·(T − T_o) at steady state, dry air.
#[test]
fn a_heater_gives_what_shell_and_fresh_air_take_and_no_more_than_it_can() {
    for pascals in PRESSURES {
        let (inside, outdoors) = (air(16.0, 0.0, pascals), air(-10.0, 0.0, pascals));
        let mut drive = drive(outdoors);
        drive.fresh_air = flow(240.0);
        let needed = (50.0 + 240.0 * pascals / (287.042 * 289.15) * 1.006 / 3.6) * 26.0;

        let mut enough = room(50.0, 0.0);
        enough.heater = Some(heater(5_000.0, 16.0));
        let model = RoomModel::new(&enough, super::pressure(pascals));
        let (end, report) = model.step(&Standing::new(&inside, ppm(430.0), None), &drive, Duration::from_secs(3_600));
        assert_near(end.temperature.celsius(), 16.0, 1e-9, "temperature");
        assert_near(report.heater.unwrap().watts(), needed, 1e-6, "heat");
        assert_near(report.heat_missing.watts() + 1.0, 1.0, 1e-9, "nothing is missing");

        let mut small = room(50.0, 0.0);
        small.heater = Some(heater(1_500.0, 16.0));
        let model = RoomModel::new(&small, super::pressure(pascals));
        let mut last = None;
        let end = run(&model, Standing::new(&inside, ppm(430.0), None), &drive, (48, 300), |_, report| {
            last = Some(*report);
        });
        let report = last.unwrap();
        assert_near(report.heater.unwrap().watts(), 1_500.0, 1e-9, "heat of a heater at its limit");
        // The exhaust fan moves the colder room's denser air.
        let by_kelvin = 50.0 + report.supplied.kilograms_per_hour() * 1.006 / 3.6;
        assert_near(end.temperature.celsius() + 10.0, 1_500.0 / by_kelvin, 1e-6, "temperature reached");
        assert_near(report.heat_missing.watts(), by_kelvin * 26.0 - 1_500.0, 1e-6, "heat missing");
    }
}

/// Each kilogram of cold vapour takes about 2,459 kJ at 18 °C, 683 W for each kg/h; the heater pays it.
#[test]
fn the_heater_pays_for_the_vapour_of_a_cold_humidifier_but_not_for_steam() {
    use mistwright::model::HumidifierMethod;
    let heat = |method: Option<HumidifierMethod>| {
        let mut room = room(50.0, 0.0);
        room.heater = Some(heater(9_000.0, 18.0));
        room.humidifier = method.map(|method| super::humidifier(method, 5.0));
        let model = RoomModel::new(&room, super::pressure(101_325.0));
        let inside = air(18.0, 90.0, 101_325.0);
        let mut drive = drive(air(-5.0, 80.0, 101_325.0));
        drive.fresh_air = flow(240.0);
        drive.humidity_target = super::percent(90.0);
        let (_, report) = model.step(&Standing::new(&inside, ppm(430.0), None), &drive, Duration::from_secs(300));
        (report.heater.unwrap().watts(), report.vapour.kilograms_per_hour())
    };
    let (dry, _) = heat(None);
    let (fogged, vapour) = heat(Some(HumidifierMethod::Ultrasonic));
    let (steamed, _) = heat(Some(HumidifierMethod::Steam));
    // Without vapour given, the room dries within the step and its air loses a little less heat capacity: 0.1 %.
    assert_near((fogged - dry) / vapour, 683.0, 4e-3, "W for each kg/h");
    assert!((steamed - dry) / vapour < 0.0, "steam brings heat along");
}

#[test]
fn an_intake_heater_brings_fresh_air_to_its_setting_as_far_as_its_power_goes() {
    for (power, supply) in [(None, 8.0), (Some(700.0), -10.0 + 700.0 * 3.6 / 1.006 / 293.6)] {
        let mut room = room(50.0, 0.0);
        room.tempering = Some(Tempering { to: celsius(8.0), power: power.map(watts) });
        let model = RoomModel::new(&room, super::pressure(101_325.0));
        let inside = air(16.0, 0.0, 101_325.0);
        let mut drive = drive(air(-10.0, 0.0, 101_325.0));
        drive.fresh_air = flow(240.0);
        let (_, report) = model.step(&Standing::new(&inside, ppm(430.0), None), &drive, Duration::from_secs(1));
        // 240 m³/h of dry air at 16 °C and 101,325 Pa is 293.0 kg/h.
        assert!((report.supply_temperature.celsius() - supply).abs() < 0.03, "{report:?}");
        let heat = report.supplied.kilograms_per_hour() * 1.006 / 3.6 * (report.supply_temperature.celsius() + 10.0);
        assert_near(report.tempering.watts(), heat, 1e-6, "intake heater");
    }
}

/// An exchanger that gives back 70 % of the temperature difference and 60 % of the moisture's leaves the room 30 % of the
/// heat and 40 % of the vapour to give.
#[test]
fn an_exchanger_saves_its_share_of_heat_and_vapour() {
    use mistwright::model::HumidifierMethod;
    let needs = |recovery: Option<Recovery>| {
        let mut room = room(0.0, 0.0);
        room.fan.moves = FanMoves::Both;
        room.fan.recovery = recovery;
        room.heater = Some(heater(50_000.0, 16.0));
        room.humidifier = Some(super::humidifier(HumidifierMethod::Steam, 9.0));
        let model = RoomModel::new(&room, super::pressure(101_325.0));
        let mut drive = drive(air(-10.0, 80.0, 101_325.0));
        drive.fresh_air = flow(240.0);
        drive.humidity_target = super::percent(90.0);
        let standing = Standing::new(&air(16.0, 90.0, 101_325.0), ppm(430.0), None);
        let (_, report) = model.step(&standing, &drive, Duration::from_secs(300));
        (report.heater.unwrap().watts() + report.vapour.kilograms_per_hour() * 1.86 * 84.0 / 3.6, report.vapour)
    };
    let (heat, vapour) = needs(None);
    let (less_heat, less_vapour) = needs(Some(Recovery { heat: share(0.7), moisture: share(0.6) }));
    // The vapour that passes counts with its own heat capacity, a thousandth.
    assert_near(less_heat, 0.3 * heat, 3e-3, "heat");
    assert_near(less_vapour.kilograms_per_hour(), 0.4 * vapour.kilograms_per_hour(), 1e-9, "vapour");
}

#[test]
fn a_cooler_holds_its_setting_and_dries_the_air_by_its_latent_share() {
    let mut room = room(200.0, 0.0);
    room.cooler = Some(Thermostat { power: watts(6_000.0), setting: Some(celsius(16.0)), latent: share(0.25) });
    let model = RoomModel::new(&room, super::pressure(101_325.0));
    let (inside, outdoors) = (air(16.0, 80.0, 101_325.0), air(28.0, 60.0, 101_325.0));
    let mut drive = drive(outdoors);
    drive.humidifier_allowed = false;
    let standing = Standing::new(&inside, ppm(430.0), None);
    let (end, report, books) = model.step_with_books(&standing, &drive, Duration::from_secs(300));
    assert_near(end.temperature.celsius(), 16.0, 1e-4, "temperature");
    // 200 W/K over 12 K is the sensible three quarters.
    assert_near(report.cooler.watts(), 200.0 * 12.0 / 0.75, 1e-4, "cooler");
    let taken = books.water.taken.kilograms() * 12.0;
    assert_near(taken, 0.25 * report.cooler.watts() * 3.6 / (2_501.0 - 2.326 * 16.0), 1e-4, "water on the coil, kg/h");
}

#[test]
fn without_a_known_shell_the_temperature_is_held_and_no_heat_is_told() {
    let mut bare = bare(60.0);
    bare.heater = Some(heater(3_000.0, 20.0));
    let model = RoomModel::new(&bare, super::pressure(101_325.0));
    assert!(model.holds_temperature());
    let mut drive = drive(air(-10.0, 80.0, 101_325.0));
    drive.fresh_air = flow(240.0);
    let standing = Standing::new(&air(14.0, 80.0, 101_325.0), ppm(430.0), None);
    let (end, report) = model.step(&standing, &drive, Duration::from_secs(3_600));
    assert_near(end.temperature.celsius(), 14.0, 1e-12, "temperature");
    assert_eq!(report.heater, None);
}

/// A crop gives 2.95 W for each g of CO2 in an hour (calculated: 10.6 kJ/g), and 2.66 times that 10 K warmer.
#[test]
fn a_crop_warms_the_room_by_its_respiration() {
    let model = RoomModel::new(&room(50.0, 0.0), super::pressure(101_325.0));
    let outdoors = air(10.0, 0.0, 101_325.0);
    let mut drive = drive(outdoors);
    drive.emission = super::emission(100.0, 10.0);
    let books = |inside: &MoistAir| {
        model.step_with_books(&Standing::new(inside, ppm(430.0), None), &drive, Duration::from_secs(3_600)).2
    };
    assert_near(books(&outdoors).energy.given.kilojoules() / 3.6, 295.0, 1e-3, "W of 100 g/h");
    assert_near(
        books(&air(20.0, 0.0, 101_325.0)).carbon_dioxide.given.kilograms(),
        0.266,
        1e-6,
        "kg in an hour at 20 °C",
    );
}
