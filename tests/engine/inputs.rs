//! What can be set: that it does what it says, ends when it should, outlives a restart, and never passes a limit.
#![expect(clippy::float_cmp, reason = "what is held is advised to the bit, and an empty tank holds nothing")]

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    advice::{AlertKind, LimitedBy, decide},
    engine::{Command, Event, Input},
    model::{Hold, Place, Presence, Quantity, Stage, WaterSupply},
    units::WaterVolume,
};

use super::harness::{Bench, farm, flow, percent, ppm, room};

const MINUTE: Duration = Duration::from_secs(60);
const HOUR: Duration = Duration::from_secs(3_600);

/// A room in steady frost, of which everything is heard.
fn bench() -> Bench {
    let mut bench = Bench::new(farm(vec![room()]));
    bench.forecast(&[-6.0; 60], 80.0);
    hear(&mut bench, 800.0);
    bench
}

fn hear(bench: &mut Bench, carbon_dioxide: f64) {
    bench.air(Place::Outdoors, -5.0, 80.0);
    bench.say(Place::Outdoors, Quantity::Pressure, 101_325.0);
    bench.air(Place::Room(0), 16.0, 88.0);
    bench.say(Place::Room(0), Quantity::CarbonDioxide, carbon_dioxide);
}

/// Lets time pass with everything heard each minute.
fn pass(bench: &mut Bench, time: Duration, carbon_dioxide: f64) {
    for _ in 0..time.as_secs() / 60 {
        bench.pass(MINUTE);
        hear(bench, carbon_dioxide);
    }
}

fn set(bench: &mut Bench, command: Command) {
    let refused = bench.snapshot().site.inputs.answers.len();
    bench.event(Event::Command { room: Some(0), command });
    let inputs = bench.snapshot().site.inputs;
    assert_eq!(inputs.answers.len(), refused, "{:?}", inputs.answers.last());
}

fn refused(bench: &mut Bench, room: Option<usize>, command: Command) -> String {
    let before = bench.snapshot().site.inputs.answers.last().map_or(0, |answer| answer.number);
    bench.event(Event::Command { room, command });
    let inputs = bench.snapshot().site.inputs;
    let answer = inputs.answers.last().unwrap_or_else(|| panic!("{command:?} was taken"));
    assert_eq!(answer.number, before + 1, "{command:?} was taken");
    answer.sentence.clone()
}

fn fresh_air(bench: &Bench) -> f64 {
    bench.decision(0).setpoints.unwrap().fresh_air.cubic_metres_per_hour()
}

fn hold(fresh_air: Option<f64>, target: Option<f64>, length: Duration) -> Command {
    Command::Hold(Hold { fresh_air: fresh_air.map(flow), humidity_target: target.map(percent) }, length)
}

#[test]
fn a_stage_brings_its_own_bands_and_gas_and_what_is_configured_over_them_stays() {
    let mut other = room();
    other.overrides.relative_humidity[0] = Some(percent(80.0));
    other.overrides.respiration_middle = Some(0.25);
    let mut bench = Bench::new(farm(vec![other.clone()]));
    hear(&mut bench, 800.0);
    set(&mut bench, Command::Stage(Stage::SpawnRun));
    let snapshot = bench.snapshot();
    let told = &snapshot.farm.rooms[0];
    let catalogue = told.crop.as_ref().unwrap().species.entry(Stage::SpawnRun);
    assert_eq!(told.crop.as_ref().unwrap().stage, Stage::SpawnRun);
    assert_eq!(told.bands.temperature, catalogue.bands().temperature);
    assert_eq!(told.bands.relative_humidity.lowest, percent(80.0));
    assert_eq!(told.bands.relative_humidity.highest, catalogue.bands().relative_humidity.highest);
    assert_eq!(told.crop.as_ref().unwrap().respiration.middle, 0.25);
    assert_eq!(told.crop.as_ref().unwrap().respiration.upper, catalogue.respiration().upper);
    // What the configuration says of its own stage comes back whole, with figures that no catalogue has.
    set(&mut bench, Command::Stage(Stage::Fruiting));
    assert_eq!(bench.snapshot().farm.rooms[0], other);
    assert!(bench.notices.iter().any(|notice| notice.contains("stage is set to spawn run")), "{:?}", bench.notices);
}

#[test]
fn the_ceiling_is_peoples_unless_nobody_is_in_the_room_and_that_is_believed_for_eight_hours() {
    let mut bench = bench();
    set(&mut bench, Command::Stage(Stage::SpawnRun));
    let ceiling = |bench: &Bench| decide::ceiling(&bench.snapshot().farm.rooms[0]);
    // The catalogue's limit of a spawn run is 20,000 ppm; at 15,000 all the air there is would be advised.
    assert_eq!(ceiling(&bench), ppm(5_000.0), "nobody has said anything");
    set(&mut bench, Command::People(Some(Presence::Present)));
    assert_eq!(ceiling(&bench), ppm(5_000.0), "somebody is there");
    set(&mut bench, Command::People(Some(Presence::Absent)));
    assert_eq!(ceiling(&bench), ppm(15_000.0), "nobody is there");
    pass(&mut bench, 8 * HOUR - MINUTE, 800.0);
    assert_eq!(ceiling(&bench), ppm(15_000.0), "a minute too early");
    pass(&mut bench, MINUTE, 800.0);
    assert_eq!(ceiling(&bench), ppm(5_000.0), "believed for too long");
    assert!(bench.notices.iter().any(|notice| notice.contains("unknown again")), "{:?}", bench.notices);
    set(&mut bench, Command::People(Some(Presence::Absent)));
    set(&mut bench, Command::People(None));
    assert_eq!(ceiling(&bench), ppm(5_000.0), "taken back");
}

#[test]
fn a_hold_is_followed_until_it_ends_and_gives_way_near_the_crops_limit() {
    let mut bench = bench();
    pass(&mut bench, 5 * MINUTE, 600.0);
    let advised = fresh_air(&bench);
    assert!(advised > 80.0, "{advised}");
    set(&mut bench, hold(Some(80.0), Some(86.0), HOUR));
    let decision = bench.decision(0);
    let setpoints = decision.setpoints.unwrap();
    assert_eq!((setpoints.fresh_air, setpoints.humidity_target), (flow(80.0), percent(86.0)));
    assert_eq!(decision.limited_by, LimitedBy::Hold);
    assert!(decision.sentence(&bench.snapshot().voice()).contains("held by hand"));
    // 900 of 1,000 ppm: it gives way, and comes back only well below.
    hear(&mut bench, 900.0);
    assert!(fresh_air(&bench) > 80.0, "a hold has cut the air near the limit");
    hear(&mut bench, 870.0);
    assert!(fresh_air(&bench) > 80.0, "the fan is jerked");
    hear(&mut bench, 700.0);
    assert_eq!(fresh_air(&bench), 80.0);
    // Not heard, nothing is cut: the usual rate at least.
    bench.pass(6 * MINUTE);
    bench.air(Place::Room(0), 16.0, 88.0);
    bench.air(Place::Outdoors, -5.0, 80.0);
    assert!(fresh_air(&bench) >= 240.0, "a hold has cut the air while carbon dioxide is unknown");
    hear(&mut bench, 600.0);
    pass(&mut bench, HOUR, 600.0);
    assert_ne!(bench.decision(0).limited_by, LimitedBy::Hold);
    assert_ne!(bench.decision(0).setpoints.unwrap().humidity_target, percent(86.0));
    assert!(bench.notices.iter().any(|notice| notice.contains("the hold has ended")), "{:?}", bench.notices);
}

#[test]
fn a_hold_within_the_deadband_of_the_balance_is_told_as_a_hold_for_as_long_as_it_stands() {
    let mut bench = bench();
    pass(&mut bench, 5 * MINUTE, 600.0);
    let advised = fresh_air(&bench);
    // 2 % of the fan less: the balance itself would leave the fan where the hold has put it.
    let held = (advised - 0.02 * 480.0).round();
    set(&mut bench, hold(Some(held), None, HOUR));
    for minute in 0..30 {
        assert_eq!(fresh_air(&bench), held, "minute {minute}");
        let told = bench.decision(0).sentence(&bench.snapshot().voice());
        assert!(told.contains("held by hand") && !told.contains("not worth moving"), "minute {minute}: {told}");
        pass(&mut bench, MINUTE, 600.0);
    }
}

#[test]
fn a_hold_of_more_air_is_free_and_danger_passes_every_hold() {
    let mut bench = bench();
    set(&mut bench, hold(Some(400.0), None, HOUR));
    assert_eq!(fresh_air(&bench), 400.0);
    hear(&mut bench, 16_000.0);
    assert_eq!(fresh_air(&bench), 480.0);
    assert_eq!(bench.decision(0).limited_by, LimitedBy::PeopleSafety);
    hear(&mut bench, 600.0);
    set(&mut bench, Command::EndHold);
    assert_ne!(fresh_air(&bench), 400.0);
}

#[test]
fn a_setting_that_does_not_fit_the_room_is_refused_in_a_sentence_and_logged_once() {
    let mut bench = bench();
    let litres = |litres| Command::TankVolume(WaterVolume::from_litres(litres).unwrap());
    let shelve = Command::Shelve(AlertKind::HardFrost, HOUR);
    for (room, command, told) in [
        (Some(0), hold(Some(59.0), None, HOUR), "below the room's floor of 60 m³/h"),
        (Some(0), hold(Some(481.0), None, HOUR), "fan gives 480 m³/h"),
        (Some(0), litres(61.0), "the tank holds 60.0 L"),
        (Some(0), shelve, "no such alert"),
        (Some(1), Command::EndHold, "belongs to a room"),
        (None, Command::Stage(Stage::Empty), "belongs to a room"),
    ] {
        let sentence = refused(&mut bench, room, command);
        assert!(sentence.contains(told), "{sentence}");
    }
    let before = bench.notices.len();
    for _ in 0..40 {
        refused(&mut bench, Some(0), litres(61.0));
    }
    assert_eq!(bench.notices.len(), before, "{:?}", bench.notices);
    let inputs = bench.snapshot().site.inputs;
    assert_eq!(inputs.refused[&Input::TankVolume], 41);
    assert!(inputs.answers.len() <= 8);
    // A good one in between, and it is told again.
    set(&mut bench, litres(60.0));
    refused(&mut bench, Some(0), litres(61.0));
    assert!(bench.notices.last().unwrap().contains("More of the same"), "{:?}", bench.notices);
    let mut bare = room();
    (bare.crop, bare.humidifier) = (None, None);
    let mut bench = Bench::new(farm(vec![bare]));
    assert!(refused(&mut bench, Some(0), Command::Stage(Stage::Pinning)).contains("no crop"));
    assert!(refused(&mut bench, Some(0), litres(1.0)).contains("no humidifier with a tank"));
}

#[test]
fn a_tank_goes_down_by_what_is_drawn_and_up_when_it_is_told() {
    let mut bench = bench();
    assert!(bench.snapshot().rooms[0].tank.is_none(), "a content out of nowhere");
    pass(&mut bench, 20 * MINUTE, 800.0);
    set(&mut bench, Command::TankVolume(WaterVolume::from_litres(50.0).unwrap()));
    let litres = |bench: &Bench| bench.snapshot().rooms[0].tank.unwrap().volume.litres();
    let mut drawn = 0.0;
    for _ in 0..120 {
        drawn += bench.snapshot().rooms[0].moisture.unwrap().drawn.unwrap().kilograms_per_hour() / 60.0;
        bench.pass(MINUTE);
        hear(&mut bench, 800.0);
    }
    assert!(drawn > 2.0, "nothing was drawn: {drawn}");
    assert!((50.0 - litres(&bench) - drawn).abs() < 0.02 * drawn, "{} left, {drawn} drawn", litres(&bench));
    // Nothing is heard for an hour, as when the machine was suspended: the draw is taken to have gone on.
    let before = litres(&bench);
    bench.now.elapsed += HOUR;
    bench.now.wall += SignedDuration::from_hours(1);
    bench.event(Event::Tick);
    let gone = before - litres(&bench);
    assert!((0.4 * drawn..0.6 * drawn).contains(&gone), "{gone} in an hour, {drawn} in two");
    bench.now.elapsed += 60 * HOUR;
    bench.now.wall += SignedDuration::from_hours(60);
    hear(&mut bench, 800.0);
    assert_eq!(litres(&bench), 0.0, "no tank holds less than nothing");
    let decision = bench.decision(0);
    assert_eq!(decision.setpoints.unwrap().humidifier_duty.ratio(), 0.0, "the humidifier runs dry");
    assert_eq!(decision.limited_by, LimitedBy::EmptyTank);
    assert!(decision.sentence(&bench.snapshot().voice()).contains("the tank is empty"));
    assert_eq!(bench.notices.iter().filter(|notice| notice.contains("the tank is empty")).count(), 1);
    set(&mut bench, Command::TankVolume(WaterVolume::from_litres(60.0).unwrap()));
    assert_eq!(litres(&bench), 60.0);
    assert!(bench.decision(0).setpoints.unwrap().humidifier_duty.ratio() > 0.0, "a refill is not known");
}

#[test]
fn a_shelved_alert_is_silent_until_its_shelf_ends_and_then_told_if_it_still_stands() {
    let mut bench = bench();
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "warning");
    bench.notices.clear();
    bench.event(Event::Command { room: None, command: Command::Shelve(AlertKind::HardFrost, 2 * HOUR) });
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "shelved");
    let frost = |bench: &Bench| {
        let snapshot = bench.snapshot();
        snapshot.site.alerts.iter().find(|alert| alert.kind == AlertKind::HardFrost).unwrap().clone()
    };
    assert!(frost(&bench).message().is_none() && frost(&bench).stands());
    pass(&mut bench, 2 * HOUR - MINUTE, 800.0);
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "shelved");
    assert!(!bench.notices.iter().any(|notice| notice.contains("Hard frost")), "{:?}", bench.notices);
    pass(&mut bench, MINUTE, 800.0);
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "warning");
    assert_eq!(bench.notices.iter().filter(|notice| notice.contains("Hard frost")).count(), 1, "{:?}", bench.notices);
    // Ended by hand.
    bench.event(Event::Command { room: None, command: Command::Shelve(AlertKind::HardFrost, HOUR) });
    bench.event(Event::Command { room: None, command: Command::Shelve(AlertKind::HardFrost, Duration::ZERO) });
    assert_eq!(bench.site_alert(AlertKind::HardFrost), "warning");
}

#[test]
fn a_danger_to_people_cannot_be_shelved_and_breaks_the_shelf_of_a_lesser_one() {
    let mut bench = bench();
    let people = Command::Shelve(AlertKind::CarbonDioxidePeople, 24 * HOUR);
    hear(&mut bench, 6_000.0);
    set(&mut bench, people);
    assert_eq!(bench.room_alert(0, AlertKind::CarbonDioxidePeople), "shelved");
    hear(&mut bench, 15_000.0);
    assert_eq!(bench.room_alert(0, AlertKind::CarbonDioxidePeople), "critical");
    assert!(refused(&mut bench, Some(0), people).contains("dangerous to people"));
    // Its sensor falls silent: unknown, and still in sight.
    bench.pass(HOUR);
    assert_eq!(bench.room_alert(0, AlertKind::CarbonDioxidePeople), "unknown");
    assert!(refused(&mut bench, Some(0), people).contains("dangerous to people"));
}

/// An engine that was told everything that can be told.
fn told() -> Bench {
    let mut bench = bench();
    pass(&mut bench, 30 * MINUTE, 800.0);
    set(&mut bench, Command::Stage(Stage::Pinning));
    set(&mut bench, Command::People(Some(Presence::Absent)));
    set(&mut bench, hold(Some(100.0), None, 6 * HOUR));
    set(&mut bench, Command::TankVolume(WaterVolume::from_litres(50.0).unwrap()));
    set(&mut bench, Command::Shelve(AlertKind::CarbonDioxideCrop, 4 * HOUR));
    bench.event(Event::Command { room: None, command: Command::Shelve(AlertKind::HardFrost, 3 * HOUR) });
    pass(&mut bench, 2 * MINUTE, 800.0);
    bench
}

#[test]
fn what_was_set_outlives_a_restart_as_far_as_it_still_holds() {
    let old = told();
    let memory = old.engine.memory(&old.now);
    let after = |minutes: i64| old.now.wall + SignedDuration::from_mins(minutes);
    let new = Bench::restarted(memory.clone(), farm(vec![room()]), after(10), true);
    let snapshot = new.snapshot();
    let (state, farm_told) = (&snapshot.rooms[0], &snapshot.farm.rooms[0]);
    assert_eq!(farm_told.crop.as_ref().unwrap().stage, Stage::Pinning);
    assert_eq!(farm_told.told.presence, Some(Presence::Absent));
    assert_eq!(farm_told.told.hold.fresh_air, Some(flow(100.0)));
    let hold = state.inputs.hold.unwrap();
    assert_eq!(hold.ends - new.now.elapsed, 6 * HOUR - 12 * MINUTE);
    let before = old.snapshot().rooms[0].tank.unwrap().volume.litres();
    let drawn = before - state.tank.unwrap().volume.litres();
    assert!(drawn > 0.1 && drawn < 1.0, "{drawn} L in ten minutes");
    assert_eq!(new.site_alert(AlertKind::HardFrost), "shelved");
    assert_eq!(new.room_alert(0, AlertKind::CarbonDioxideCrop), "shelved");

    // Five hours later only the hold, the presence and the tank's content are left.
    let new = Bench::restarted(memory.clone(), farm(vec![room()]), after(300), true);
    assert_ne!(new.site_alert(AlertKind::HardFrost), "shelved");
    assert!(new.snapshot().rooms[0].inputs.hold.is_some());
    // A day later there is nothing that ends by itself.
    let new = Bench::restarted(memory.clone(), farm(vec![room()]), after(24 * 60 + 10), true);
    let state = &new.snapshot().rooms[0];
    assert!(state.inputs.hold.is_none() && state.inputs.presence.is_none() && state.tank.is_none());
    assert_eq!(state.inputs.stage, Some(Stage::Pinning));
    assert!(new.notices.iter().any(|notice| notice.contains("has ended")), "{:?}", new.notices);

    // Who edits the stage in the configuration means it; a tank that is gone holds nothing.
    let mut edited = room();
    edited.crop.as_mut().unwrap().stage = Stage::Resting;
    edited.humidifier.as_mut().unwrap().water = WaterSupply::Mains;
    let new = Bench::restarted(memory, farm(vec![edited]), after(10), true);
    assert_eq!(new.snapshot().farm.rooms[0].crop.as_ref().unwrap().stage, Stage::Resting);
    assert!(new.snapshot().rooms[0].tank.is_none());
}

#[test]
fn what_ends_by_itself_waits_for_a_clock_that_can_be_trusted() {
    let old = told();
    let memory = old.engine.memory(&old.now);
    let mut new = Bench::restarted(memory.clone(), farm(vec![room()]), jiff::Timestamp::UNIX_EPOCH, false);
    let state = &new.snapshot().rooms[0];
    assert!(state.inputs.hold.is_none() && state.inputs.presence.is_none() && state.tank.is_none());
    assert_eq!(state.inputs.stage, Some(Stage::Pinning), "a stage does not end");
    // A second power cut before the clock is set loses nothing.
    let kept = new.engine.memory(&new.now);
    assert_eq!(kept.rooms[0].inputs, memory.rooms[0].inputs);
    assert_eq!(kept.inputs, memory.inputs);
    new.now.wall = old.now.wall + SignedDuration::from_hours(1);
    new.now.trusted = true;
    new.event(Event::ClockStepped);
    let state = &new.snapshot().rooms[0];
    assert!(state.inputs.hold.is_some() && state.inputs.presence.is_some() && state.tank.is_some());
    assert!(new.notices.iter().any(|notice| notice.contains("The clock is right now")), "{:?}", new.notices);
}

#[test]
fn a_step_of_the_clock_moves_the_shown_end_and_not_the_length() {
    let mut bench = bench();
    set(&mut bench, hold(Some(100.0), None, 2 * HOUR));
    let before = bench.snapshot().rooms[0].inputs.hold.unwrap();
    bench.now.wall += SignedDuration::from_hours(5);
    bench.event(Event::ClockStepped);
    let after = bench.snapshot().rooms[0].inputs.hold.unwrap();
    assert_eq!(after.ends, before.ends);
    assert_eq!(after.ends_at, before.ends_at + SignedDuration::from_hours(5));
}
