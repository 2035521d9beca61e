//! The clock steps, is wrong, is set, and the machine sleeps: what may be said meanwhile, and that it comes right again.

use std::time::Duration;

use jiff::SignedDuration;
use mistwright::{
    advice::{AlertKind, Mode},
    engine::{Effect, Event, FetchFailure},
    model::{Place, Quantity},
    wire::weather::met_norway,
};

use super::harness::{Bench, farm, room};

const MINUTE: Duration = Duration::from_secs(60);

fn hear(bench: &mut Bench) {
    bench.air(Place::Outdoors, -5.0, 80.0);
    bench.say(Place::Outdoors, Quantity::Pressure, 101_325.0);
    bench.air(Place::Room(0), 16.0, 88.0);
    bench.say(Place::Room(0), Quantity::CarbonDioxide, 800.0);
}

fn bench() -> Bench {
    let mut bench = Bench::new(farm(vec![room()]));
    bench.forecast(&[-6.0; 60], 80.0);
    hear(&mut bench);
    assert_eq!(bench.decision(0).mode, Mode::Active);
    bench
}

/// Only the calendar moves.
fn step(bench: &mut Bench, by: SignedDuration) {
    bench.now.wall += by;
    bench.event(Event::ClockStepped);
}

#[test]
fn a_night_that_the_machine_slept_through_makes_every_reading_old_at_once_and_one_alert_says_so() {
    let mut bench = bench();
    bench.notices.clear();
    // The clock that counts a suspended night moves with the calendar: this is no step.
    bench.now.elapsed += Duration::from_secs(9 * 3_600);
    bench.now.wall += SignedDuration::from_hours(9);
    bench.event(Event::Tick);
    let snapshot = bench.snapshot();
    let state = &snapshot.rooms[0];
    assert!(state.temperature.fresh().is_none() && state.air.is_none() && state.carbon_dioxide.fresh().is_none());
    assert_eq!(state.decision.mode, Mode::Withheld, "advice on what was heard last night");
    assert!(state.lives_until <= bench.now.elapsed, "values of last night would be published");
    assert_eq!(bench.room_alert(0, AlertKind::SensorStale), "warning");
    let told = bench.notices.iter().filter(|notice| notice.starts_with("Cellar: ")).count();
    assert_eq!(told, 1, "{:?}", bench.notices);
    hear(&mut bench);
    assert_eq!(bench.decision(0).mode, Mode::Active);
}

#[test]
fn a_step_either_way_ages_no_reading_and_ends_no_advice_late() {
    for hours in [-90_000, -25, -1, 1, 25, 90_000] {
        let mut bench = bench();
        let before = bench.snapshot().rooms[0].temperature;
        step(&mut bench, SignedDuration::from_hours(hours));
        let state = bench.snapshot().rooms[0].clone();
        assert_eq!(state.temperature, before, "a step of {hours} h has aged a reading");
        let left = state.decision.valid_until.duration_since(bench.now.wall);
        assert!(
            left > SignedDuration::ZERO && left <= SignedDuration::from_mins(10),
            "after a step of {hours} h the advice is valid for {left}"
        );
        // Delays go by elapsed time: five minutes of too much carbon dioxide, whatever the calendar does meanwhile.
        bench.say(Place::Room(0), Quantity::CarbonDioxide, 1_200.0);
        step(&mut bench, SignedDuration::from_hours(-hours));
        assert_eq!(bench.room_alert(0, AlertKind::CarbonDioxideCrop), "pending", "a step of {hours} h");
        for _ in 0..6 {
            bench.pass(MINUTE);
            bench.say(Place::Room(0), Quantity::CarbonDioxide, 1_200.0);
        }
        assert_eq!(bench.room_alert(0, AlertKind::CarbonDioxideCrop), "warning", "a step of {hours} h");
    }
}

#[test]
fn under_a_wrong_date_readings_are_shown_and_advice_is_withheld_until_the_date_is_right() {
    let mut bench = bench();
    let right = bench.now.wall;
    bench.now.trusted = false;
    bench.now.wall = jiff::Timestamp::UNIX_EPOCH;
    bench.event(Event::ClockStepped);
    let snapshot = bench.snapshot();
    assert!(snapshot.rooms[0].air.is_some() && snapshot.rooms[0].temperature.fresh().is_some());
    assert_eq!(snapshot.rooms[0].decision.mode, Mode::Withheld);
    assert!(snapshot.site.coldest.is_none(), "a time of the forecast is told by a wrong clock");
    // Danger needs no calendar.
    bench.say(Place::Room(0), Quantity::CarbonDioxide, 16_000.0);
    assert_eq!(bench.decision(0).limited_by.name(), "people-safety");
    // No faster than air can change, and for a minute: what jumps is not believed.
    for ppm in [12_500.0, 9_000.0, 5_500.0, 2_000.0, 800.0] {
        bench.say(Place::Room(0), Quantity::CarbonDioxide, ppm);
    }
    bench.pass(Duration::from_secs(65));
    bench.say(Place::Room(0), Quantity::CarbonDioxide, 800.0);
    assert_eq!(bench.decision(0).mode, Mode::Withheld);
    bench.now.trusted = true;
    bench.now.wall = right + SignedDuration::from_mins(1);
    bench.event(Event::ClockStepped);
    assert_eq!(bench.decision(0).mode, Mode::Active);
}

#[test]
fn a_forecast_that_failed_under_a_wrong_clock_is_asked_for_again_at_the_step_and_not_half_an_hour_later() {
    let mut bench = Bench::new(farm(vec![room()]));
    bench.now.trusted = false;
    // Certificates are not valid yet in 1970: one failure after the other, ever more rarely.
    for _ in 0..8 {
        bench.event(Event::ForecastFailed(FetchFailure {
            service: met_norway::SERVICE,
            word: "tls",
            sentence: "The certificate is not valid yet.".to_owned(),
            retry_after: None,
        }));
        bench.pass(Duration::from_secs(1_800));
    }
    bench.event(Event::ForecastFailed(FetchFailure {
        service: met_norway::SERVICE,
        word: "tls",
        sentence: "The certificate is not valid yet.".to_owned(),
        retry_after: None,
    }));
    let asks = |effects: Vec<Effect>| effects.iter().any(|effect| matches!(effect, Effect::FetchForecast(_)));
    bench.pass(MINUTE);
    assert!(!asks(bench.event(Event::Tick)), "asked in a hurry");
    bench.now.trusted = true;
    bench.now.wall += SignedDuration::from_hours(24 * 365);
    assert!(asks(bench.event(Event::ClockStepped)), "the step was let pass");
}
