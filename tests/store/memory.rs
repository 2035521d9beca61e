//! What an engine makes of what an earlier one has kept.

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    advice::{AlertKind, Mode, Reason},
    engine::{Event, Memory},
    model::{Farm, Identifier, Place, Quantity},
};

use crate::engine::harness::{Bench, farm, flow, room};

const MINUTE: Duration = Duration::from_secs(60);

/// A new run on `farm` that has found its broker.
fn restarted(memory: Memory, farm: Farm, wall: jiff::Timestamp, trusted: bool) -> Bench {
    let mut bench = Bench::restarted(memory, farm, wall, trusted);
    bench.event(Event::Connected);
    bench
}

/// An hour in which everything is heard, the last readings of carbon dioxide at `ppm`.
fn an_hour(ppm: f64) -> Bench {
    let mut bench = Bench::new(farm(vec![room()]));
    bench.forecast(&[-6.0; 40], 80.0);
    for minute in 0..60 {
        bench.pass(MINUTE);
        bench.air(Place::Outdoors, 2.0, 80.0);
        bench.say(Place::Outdoors, Quantity::Pressure, 101_000.0);
        bench.air(Place::Room(0), 16.0, 90.0);
        bench.say(Place::Room(0), Quantity::CarbonDioxide, if minute < 50 { 800.0 } else { ppm });
    }
    bench
}

fn after(bench: &Bench, hours: i64) -> jiff::Timestamp {
    bench.now.wall + SignedDuration::from_hours(hours)
}

#[test]
fn no_reading_is_ever_restored() {
    let old = an_hour(800.0);
    assert!(old.snapshot().rooms[0].carbon_dioxide.fresh().is_some());
    let new = restarted(old.engine.memory(&old.now), farm(vec![room()]), old.now.wall, true);
    let snapshot = new.snapshot();
    let room = &snapshot.rooms[0];
    assert!(room.temperature.at().is_none() && room.relative_humidity.at().is_none());
    assert!(room.carbon_dioxide.at().is_none() && room.air.is_none());
    assert_eq!(room.decision.mode, Mode::Withheld);
}

#[test]
fn a_danger_stands_with_all_the_air_there_is_until_carbon_dioxide_is_heard() {
    let old = an_hour(16_000.0);
    assert_eq!(old.room_alert(0, AlertKind::CarbonDioxidePeople), "critical");
    let mut new = restarted(old.engine.memory(&old.now), farm(vec![room()]), after(&old, 200), true);
    assert!(new.notices.iter().any(|notice| notice.contains("dangerous to people")), "{:?}", new.notices);
    for _ in 0..3 {
        let decision = new.decision(0);
        assert!(matches!(decision.reason, Reason::DangerUnknown), "{:?}", decision.reason);
        assert_eq!(decision.setpoints.unwrap().fresh_air, room().fan.capacity);
        assert_eq!(new.room_alert(0, AlertKind::CarbonDioxidePeople), "unknown");
        // Everything but carbon dioxide speaks.
        new.pass(MINUTE);
        new.air(Place::Outdoors, 2.0, 80.0);
        new.air(Place::Room(0), 16.0, 90.0);
    }
    new.say(Place::Room(0), Quantity::CarbonDioxide, 900.0);
    assert!(!matches!(new.decision(0).reason, Reason::DangerUnknown));
    new.pass(11 * MINUTE);
    assert_ne!(new.room_alert(0, AlertKind::CarbonDioxidePeople), "critical");
}

#[test]
fn a_danger_whose_sensor_is_gone_is_told_and_does_not_last_for_ever() {
    let old = an_hour(16_000.0);
    let mut without = farm(vec![room()]);
    without.sources.retain(|source| source.quantity != Quantity::CarbonDioxide);
    let new = restarted(old.engine.memory(&old.now), without, old.now.wall, true);
    assert!(!matches!(new.decision(0).reason, Reason::DangerUnknown));
    assert!(new.notices.iter().any(|notice| notice.contains("Ventilate before anybody enters")), "{:?}", new.notices);
}

#[test]
fn a_forecast_comes_back_with_its_age() {
    let old = an_hour(800.0);
    let fetched = old.snapshot().site.forecast_fetched;
    let mut new = restarted(old.engine.memory(&old.now), farm(vec![room()]), after(&old, 9), true);
    let site = new.snapshot().site;
    assert_eq!(site.forecast_fetched, fetched);
    assert_eq!(site.forecast, old.snapshot().site.forecast);
    assert!(site.coldest.is_some(), "it is not looked at");
    assert_eq!(new.site_alert(AlertKind::HardFrost), "warning");
    new.pass(2 * MINUTE);
    assert_eq!(new.site_alert(AlertKind::ForecastOld), "warning", "nine hours and nobody is told");
}

#[test]
fn a_forecast_that_cannot_be_this_farms_is_dropped_and_the_reason_told() {
    let old = an_hour(800.0);
    let memory = old.engine.memory(&old.now);
    let told = |memory: Memory, farm: Farm, hours: i64, why: &str| {
        let new = restarted(memory, farm, after(&old, hours), true);
        assert!(new.snapshot().site.forecast.is_none(), "taken though {why}");
        assert!(new.notices.iter().any(|notice| notice.contains(why)), "{:?}", new.notices);
    };
    let mut moved = farm(vec![room()]);
    moved.site.latitude += 0.5;
    told(memory.clone(), moved, 0, "place has changed");
    told(memory.clone(), farm(vec![room()]), 40, "run out");
    told(memory, farm(vec![room()]), -3, "in the future");
}

#[test]
fn fresh_air_is_not_cut_by_a_restart_and_fits_the_fan_that_is_there_now() {
    let mut memory = an_hour(800.0).engine.memory(&an_hour(800.0).now);
    memory.rooms[0].fresh_air = Some(flow(400.0));
    memory.forecast = None;
    let wall = an_hour(800.0).now.wall;
    let advised = |capacity: f64| {
        let mut room = room();
        room.fan.capacity = flow(capacity);
        let mut new = restarted(memory.clone(), farm(vec![room]), wall, true);
        new.air(Place::Outdoors, 2.0, 80.0);
        new.air(Place::Room(0), 16.0, 90.0);
        new.decision(0).setpoints.unwrap().fresh_air.cubic_metres_per_hour()
    };
    assert!((advised(480.0) - 400.0).abs() < 0.5, "{}", advised(480.0));
    assert!((advised(300.0) - 300.0).abs() < 0.5, "{}", advised(300.0));
}

#[test]
fn what_the_crop_gives_off_is_believed_for_a_day_and_only_by_a_trusted_clock() {
    let old = an_hour(800.0);
    let memory = old.engine.memory(&old.now);
    let kept = memory.rooms[0].emission.expect("an hour is enough for an estimate");
    let restored = |hours, trusted| {
        let new = restarted(memory.clone(), farm(vec![room()]), after(&old, hours), trusted);
        new.engine.memory(&new.now).rooms[0].emission
    };
    assert_eq!(restored(23, true), Some(kept));
    assert_eq!(restored(25, true), None);
    assert_eq!(restored(-2, true), None);
    assert_eq!(restored(1, false), None);
    // A crop of half the size cannot give off more than three times its catalogue value.
    let mut small = room();
    small.crop.as_mut().unwrap().substrate = mistwright::units::Mass::from_kilograms(1.0).unwrap();
    let new = restarted(memory.clone(), farm(vec![small]), after(&old, 1), true);
    let emission = new.engine.memory(&new.now).rooms[0].emission.unwrap().grams_per_hour;
    assert!((emission - 3.0 * 0.3).abs() < 1e-9, "{emission}");
}

#[test]
fn a_raised_alert_comes_back_unknown_and_waits_for_its_input() {
    let old = an_hour(3_000.0);
    assert_eq!(old.room_alert(0, AlertKind::CarbonDioxideCrop), "warning");
    let mut quiet = old;
    quiet.pass(6 * MINUTE);
    assert_eq!(quiet.room_alert(0, AlertKind::SensorStale), "warning");
    let mut new = restarted(quiet.engine.memory(&quiet.now), farm(vec![room()]), quiet.now.wall, true);
    for kind in [AlertKind::CarbonDioxideCrop, AlertKind::SensorStale] {
        assert_eq!(new.room_alert(0, kind), "unknown", "{kind:?}");
    }
    new.pass(MINUTE);
    new.air(Place::Room(0), 16.0, 90.0);
    assert_eq!(new.room_alert(0, AlertKind::SensorStale), "unknown", "one of three sensors is still awaited");
    new.say(Place::Room(0), Quantity::CarbonDioxide, 700.0);
    new.pass(MINUTE);
    assert_eq!(new.room_alert(0, AlertKind::SensorStale), "normal");
    new.pass(2 * MINUTE);
    new.say(Place::Room(0), Quantity::CarbonDioxide, 700.0);
    new.pass(4 * MINUTE);
    assert_eq!(new.room_alert(0, AlertKind::CarbonDioxideCrop), "normal");
}

#[test]
fn a_silence_that_lasts_over_the_restart_is_raised_again() {
    let mut old = an_hour(800.0);
    old.pass(6 * MINUTE);
    let mut new = restarted(old.engine.memory(&old.now), farm(vec![room()]), old.now.wall, true);
    assert_eq!(new.room_alert(0, AlertKind::SensorStale), "unknown");
    new.pass(6 * MINUTE);
    assert_eq!(new.room_alert(0, AlertKind::SensorStale), "warning");
}

#[test]
fn a_room_that_is_no_longer_configured_is_dropped_by_name() {
    let old = an_hour(16_000.0);
    let mut other = room();
    other.name = Identifier::new("loft").unwrap();
    let new = restarted(old.engine.memory(&old.now), farm(vec![other]), old.now.wall, true);
    assert_eq!(new.room_alert(0, AlertKind::CarbonDioxidePeople), "suppressed");
    assert!(new.notices.iter().any(|notice| notice.contains("`cellar`")), "{:?}", new.notices);
}

#[test]
fn the_newest_time_survives_a_run_whose_clock_was_never_trusted() {
    let old = an_hour(800.0);
    let memory = old.engine.memory(&old.now);
    assert_eq!(memory.newest, Some(old.now.wall));
    let new = restarted(memory, farm(vec![room()]), after(&old, -500), false);
    assert_eq!(new.engine.memory(&new.now).newest, Some(old.now.wall));
    assert!(new.notices.iter().any(|notice| notice.contains("the date of this machine")), "{:?}", new.notices);
    assert!(matches!(new.decision(0).reason, Reason::ClockNotTrusted));
}
