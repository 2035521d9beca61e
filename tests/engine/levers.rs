//! What would help: each lever is a re-run of the outlook with one change, and its effect is the difference.

use std::time::Duration;

use mistwright::{
    advice::lever::{Change, Lever},
    engine::{Event, command::Command},
    model::{Hold, Intake, Place, Quantity, Room, WaterSupply},
    units::{AirFlow, WaterFlow, WaterVolume},
};

use super::harness::{Bench, farm, flow, percent, room};

/// A room whose humidifier of 1.6 kg/h cannot hold even the low end in hard frost.
fn weak_room() -> Room {
    let mut room = room();
    room.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(1.6).unwrap();
    room.humidifier.as_mut().unwrap().water = WaterSupply::Mains;
    room
}

fn levers_of(rooms: Vec<Room>, celsius: f64) -> Vec<Lever> {
    levers_under(rooms, celsius, None)
}

/// The levers while fresh air is held in the last room.
fn levers_under(rooms: Vec<Room>, celsius: f64, held: Option<AirFlow>) -> Vec<Lever> {
    let mut bench = Bench::new(farm(rooms));
    if held.is_some() {
        let hold = Hold { fresh_air: held, humidity_target: None };
        let room = Some(bench.farm.rooms.len() - 1);
        bench.event(Event::Command { room, command: Command::Hold(hold, Duration::from_secs(36_000)) });
    }
    bench.forecast(&[celsius; 60], 80.0);
    bench.air(Place::Outdoors, celsius, 80.0);
    // The first outlook is made as soon as a temperature is heard, the next after five minutes knows everything.
    for _ in 0..3 {
        for index in 0..bench.farm.rooms.len() {
            bench.air(Place::Room(index), 16.0, 88.0);
            bench.say(Place::Room(index), Quantity::CarbonDioxide, 780.0);
        }
        bench.pass(Duration::from_secs(160));
    }
    let state = bench.snapshot().rooms.last().unwrap().clone();
    for lever in &state.levers {
        println!("{}", lever.sentence(&bench.snapshot().voice(), bench.now.wall));
    }
    state.levers
}

fn find(levers: &[Lever], name: &str) -> Lever {
    *levers.iter().find(|lever| lever.change.name() == name).unwrap_or_else(|| panic!("no {name} in {levers:?}"))
}

#[test]
fn the_output_that_is_added_is_just_what_the_worst_hour_lacks() {
    let levers = levers_of(vec![weak_room()], -15.0);
    let lever = find(&levers, "add-output");
    let Change::AddOutput { by } = lever.change else { unreachable!() };
    assert!(lever.without.hours_short >= 20, "{lever:?}");
    assert_eq!(lever.with.hours_short, 0, "{lever:?}");
    // What the worst hour lacks, over the evaporated fraction of 0.9, and no more than a tenth of a kilogram beyond it.
    let lacks = lever.without.worst_shortfall.kilograms_per_hour() / 0.9;
    let added = by.kilograms_per_hour();
    assert!(added >= lacks && added < lacks + 0.11, "{added} kg/h for {lacks} kg/h");
    assert!(lever.with.water > lever.without.water, "more output throws more water");
}

#[test]
fn less_air_needs_less_water_and_leaves_carbon_dioxide_below_what_forbids_a_cut() {
    let mut room = weak_room();
    room.bands.relative_humidity.lowest = percent(80.0);
    let lever = find(&levers_of(vec![room], -5.0), "less-air");
    assert!(lever.with.water.litres() < lever.without.water.litres());
    assert!(lever.with.highest_carbon_dioxide > lever.without.highest_carbon_dioxide);
    assert!(lever.with.highest_carbon_dioxide.parts_per_million() < 900.0, "{lever:?}");
}

/// Else a rule that pulls the lever each evening would take a share off what it holds already.
#[test]
fn no_lever_gives_less_air_than_is_held_by_hand() {
    let mut room = weak_room();
    room.bands.relative_humidity.lowest = percent(80.0);
    let Change::LessAir { to } = find(&levers_of(vec![room.clone()], -5.0), "less-air").change else { panic!() };
    let held = levers_under(vec![room], -5.0, Some(to));
    assert!(held.iter().all(|lever| lever.change.name() != "less-air"), "{held:?}");
}

#[test]
fn no_lever_gives_less_air_where_a_burner_is_declared_or_carbon_dioxide_is_not_known() {
    let mut burner = weak_room();
    burner.burner = true;
    assert!(levers_of(vec![burner], -15.0).iter().all(|lever| lever.change.name() != "less-air"));
}

#[test]
fn an_anteroom_that_is_made_ready_takes_the_load_off_the_room_behind_it() {
    let mut anteroom = room();
    anteroom.crop = None;
    anteroom.fan.floor = flow(60.0);
    let mut behind = weak_room();
    behind.intake = Intake::Room(0);
    let mut bench = Bench::new(farm(vec![anteroom.clone(), behind.clone()]));
    bench.forecast(&[-15.0; 60], 80.0);
    bench.air(Place::Outdoors, -15.0, 80.0);
    // The anteroom is cold and dry now: its own humidifier is too weak for what is drawn through it.
    bench.air(Place::Room(0), 6.0, 40.0);
    bench.air(Place::Room(1), 16.0, 86.0);
    bench.say(Place::Room(1), Quantity::CarbonDioxide, 780.0);
    bench.pass(Duration::from_secs(30));
    let levers = bench.snapshot().rooms[1].levers.clone();
    let lever = find(&levers, "ready-anteroom");
    assert!(lever.with.water.litres() < 0.8 * lever.without.water.litres(), "{lever:?}");
}

#[test]
fn the_water_to_add_is_what_the_day_draws_beyond_what_the_tank_holds() {
    let mut room = room();
    let tank = WaterVolume::from_litres(20.0).unwrap();
    room.humidifier.as_mut().unwrap().water = WaterSupply::Tank(tank);
    let lever = find(&levers_of(vec![room], -5.0), "fill-tank");
    let Change::Fill { add, .. } = lever.change else { unreachable!() };
    let wanted = lever.with.water.litres() - 20.0;
    assert!((add.litres() - wanted).abs() <= 1.0, "{} L for {wanted} L", add.litres());
    assert!(lever.without.water.litres() <= 20.5, "an empty tank gives nothing: {lever:?}");
}

#[test]
fn a_mild_day_has_no_lever_to_pull_but_the_tank() {
    assert!(levers_of(vec![weak_room()], 14.0).iter().all(|lever| lever.without.hours_short == 0));
}
