//! How outlooks turn out: what is said of a room, against what its sensors and its humidifier say when the hour comes.

use std::{collections::BTreeSet, time::Duration};

use jiff::SignedDuration;
use mistwright::{
    engine::{Engine, Event, Memory, command::Command},
    model::{
        Farm, Hold, Identifier, Place, Presence, Quantity, Room, Source, Stage,
        equipment::{Tempering, Thermostat},
        room_score::{LEADS, RoomScore, WATER_LEADS},
    },
    units::{Fraction, HeatCapacity, HeatFlow, HeatLoss, WaterFlow},
    wire::{
        state_file::{self, State},
        weather::met_norway,
    },
};

use super::harness::{Bench, celsius, farm, flow, percent, room};

/// A room whose heater would bring it to 16 °C, and whose humidifier to 92 %, within the hour.
fn strong_room(name: &str) -> Room {
    let mut room = room();
    room.name = Identifier::new(name).unwrap();
    room.crop = None;
    room.tempering = Some(Tempering { to: celsius(16.0), power: None });
    room.fan.floor = flow(240.0);
    room.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(20.0).unwrap();
    room.shell.loss = HeatLoss::from_watts_per_kelvin(40.0).ok();
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(500.0).unwrap();
    let (power, latent) = (HeatFlow::from_watts(20_000.0).unwrap(), Fraction::from_ratio(0.0).unwrap());
    room.heater = Some(Thermostat { power, setting: Some(celsius(16.0)), latent });
    room
}

/// Two such rooms, whose humidifiers report.
fn two_rooms() -> Farm {
    let mut farm = farm(vec![strong_room("hall"), strong_room("bay")]);
    for index in 0..2 {
        farm.sources.push(Source::new(Place::Room(index), Quantity::HumidifierState, Duration::from_secs(300)));
    }
    farm
}

fn in_frost() -> Bench {
    of(two_rooms())
}

fn of(farm: Farm) -> Bench {
    let mut bench = Bench::new(farm);
    bench.say(Place::Outdoors, Quantity::Pressure, 101_325.0);
    bench.forecast(&[-10.0; 200], 80.0);
    bench
}

/// What is left unsaid while time passes.
#[derive(Clone, Copy, PartialEq)]
enum Silent {
    Nothing,
    Humidity,
    Humidifier,
}

/// Lets minutes pass in rooms that stay at 14.5 °C and 88 % with the humidifier at a quarter of its 20 L/h, whatever the
/// outlook says. Sensors speak every four minutes.
fn live(bench: &mut Bench, minutes: u32, silent: Silent) {
    for turn in 0..minutes / 4 {
        bench.pass(Duration::from_secs(240));
        let tremble = if turn % 2 == 0 { 0.05 } else { -0.05 };
        bench.air(Place::Outdoors, -10.0 + tremble, 80.0 + tremble);
        for index in 0..2 {
            bench.say(Place::Room(index), Quantity::Temperature, 14.5 + tremble);
            bench.say(Place::Room(index), Quantity::CarbonDioxide, 500.0 + 20.0 * tremble);
            if silent != Silent::Humidity {
                bench.say(Place::Room(index), Quantity::RelativeHumidity, 0.88 + 0.01 * tremble);
            }
            if silent != Silent::Humidifier {
                bench.say(Place::Room(index), Quantity::HumidifierState, 0.25);
            }
        }
    }
}

fn score(bench: &Bench, index: usize) -> RoomScore {
    bench.snapshot().rooms[index].outlook_score
}

fn samples(score: &RoomScore) -> (u32, u32, u32) {
    let air = score.air;
    let temperature = air.iter().map(|lead| lead.temperature.samples).sum();
    let humidity = air.iter().map(|lead| lead.relative_humidity.samples).sum();
    (temperature, humidity, score.water.iter().map(|lead| lead.errors.samples).sum())
}

/// Through the bytes of the state file into a new engine.
fn restarted(bench: &Bench, farm: Farm, memory: Memory) -> Bench {
    let bytes = state_file::write(&State { memory, topics: BTreeSet::new() }).unwrap();
    let memory = state_file::read(&bytes).unwrap().memory;
    let mut next = Bench::new(farm);
    next.now = bench.now;
    next.engine = Engine::new(next.farm.clone(), Some(met_norway::SERVICE), &next.now);
    next.engine.restore(memory, &next.now);
    next.event(Event::Connected);
    next
}

#[test]
fn a_room_that_never_gets_as_warm_as_said_is_found_out_at_every_lead_time() {
    let mut bench = in_frost();
    live(&mut bench, 50 * 60 + 20, Silent::Nothing);
    let snapshot = bench.snapshot();
    let findings = &snapshot.rooms[0].outlook.as_ref().unwrap().expected.findings;
    let said = [findings.water_12_hours, findings.water_24_hours].map(|water| water.unwrap().litres());
    let found = score(&bench, 0);
    for (lead, air) in LEADS.iter().zip(found.air) {
        // One outlook in three hours, the first within the first hour.
        let whole = u32::try_from((50 - lead) / 3).unwrap();
        let (temperature, humidity) = (air.temperature, air.relative_humidity);
        assert!((whole..=whole + 1).contains(&temperature.samples), "{lead} h: {temperature:?}");
        // 16 °C said, 14.5 °C measured; 92 % said, 88 % measured.
        assert!((temperature.bias - 1.5).abs() < 0.06, "{lead} h: {temperature:?}");
        assert!((temperature.absolute - 1.5).abs() < 0.06, "{lead} h: {temperature:?}");
        assert!((humidity.bias - 0.04).abs() < 0.005, "{lead} h: {humidity:?}");
    }
    for ((lead, water), said) in WATER_LEADS.iter().zip(found.water).zip(said) {
        // A quarter of 20 L/h.
        let drawn = 5.0 * *lead as f64;
        assert!((water.drawn / drawn - 1.0).abs() < 0.01, "{lead} h: {water:?}");
        assert!((water.errors.bias - (said - drawn)).abs() < 0.03 * said, "{lead} h: {water:?} for {said} L");
    }
}

#[test]
fn the_score_and_what_waits_outlive_a_restart_and_a_changed_room_waits_for_nothing() {
    let mut bench = in_frost();
    live(&mut bench, 7 * 60, Silent::Nothing);
    let (memory, before) = (bench.engine.memory(&bench.now), score(&bench, 0));
    assert!(samples(&before).0 >= 2);
    let mut farm = two_rooms();
    farm.rooms[1].fan.floor = flow(260.0);
    // Ten minutes without power: 1.4 % of twelve hours.
    bench.now.elapsed += Duration::from_secs(600);
    bench.now.wall += SignedDuration::from_mins(10);
    let mut bench = restarted(&bench, farm, memory);
    let restored = score(&bench, 0);
    assert_eq!(samples(&restored), samples(&before));
    assert!((restored.air[0].temperature.bias - before.air[0].temperature.bias).abs() < 1e-3);
    live(&mut bench, 5 * 60 + 40, Silent::Nothing);
    let [same, changed] = [0, 1].map(|room| score(&bench, room));
    // What was said 12 hours ago was said before the restart.
    assert_eq!((same.air[2].temperature.samples, same.water[0].errors.samples), (1, 1), "{same:?}");
    assert_eq!((changed.air[2].temperature.samples, changed.water[0].errors.samples), (0, 0), "{changed:?}");
    assert!(changed.air[0].temperature.samples >= 3, "the score of before stays, and goes on: {changed:?}");
}

#[test]
fn what_is_not_heard_is_not_scored() {
    let mut bench = in_frost();
    live(&mut bench, 60, Silent::Nothing);
    live(&mut bench, 3 * 60, Silent::Humidity);
    let (temperature, humidity, _) = samples(&score(&bench, 0));
    assert_eq!((temperature, humidity), (1, 0), "the hour has come while no humidity was heard");
    live(&mut bench, 2 * 60, Silent::Nothing);
    live(&mut bench, 40, Silent::Humidifier);
    live(&mut bench, 6 * 60, Silent::Nothing);
    let found = score(&bench, 0);
    assert!(found.air[2].temperature.samples >= 1 && found.air[1].relative_humidity.samples >= 1, "{found:?}");
    assert_eq!(found.water[0].errors.samples, 0, "half an hour of these twelve is not known");
}

#[test]
fn what_was_said_before_the_grower_changed_the_room_or_the_clock_was_set_is_not_scored() {
    let hold = Hold { fresh_air: None, humidity_target: Some(percent(86.0)) };
    let mut bench = in_frost();
    live(&mut bench, 100, Silent::Nothing);
    bench.event(Event::Command { room: Some(0), command: Command::Hold(hold, Duration::from_secs(24 * 3_600)) });
    live(&mut bench, 100, Silent::Nothing);
    let [held, other] = [0, 1].map(|room| score(&bench, room));
    assert_eq!((samples(&held).0, samples(&other).0), (0, 1), "one hold is no other room's");
    live(&mut bench, 100, Silent::Nothing);
    let held = score(&bench, 0);
    assert_eq!(samples(&held).0, 1, "what was said under the hold is");
    assert!((held.air[0].relative_humidity.bias - (0.86 - 0.88)).abs() < 0.005, "{held:?}");

    let mut farm = two_rooms();
    farm.rooms[0].crop = room().crop;
    let mut bench = of(farm);
    live(&mut bench, 100, Silent::Nothing);
    bench.event(Event::Command { room: Some(0), command: Command::Stage(Stage::Pinning) });
    bench.event(Event::Command { room: Some(1), command: Command::People(Some(Presence::Absent)) });
    live(&mut bench, 100, Silent::Nothing);
    let [pinning, left] = [0, 1].map(|room| samples(&score(&bench, room)).0);
    assert_eq!((pinning, left), (0, 1), "another stage is another room, and one that somebody has left is not");

    let mut bench = in_frost();
    live(&mut bench, 100, Silent::Nothing);
    bench.now.wall += SignedDuration::from_mins(75);
    bench.event(Event::ClockStepped);
    live(&mut bench, 20, Silent::Nothing);
    assert_eq!(samples(&score(&bench, 0)), (0, 0, 0), "two hours have passed, whatever the date says");
    live(&mut bench, 180, Silent::Nothing);
    assert_eq!(samples(&score(&bench, 0)).0, 1);
}
