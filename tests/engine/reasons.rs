//! Thirty situations, and what the advice says in each: read them aloud in `tests/engine/snapshots`.

use std::{fmt::Write, time::Duration};

use mistwright::{
    advice::Voice,
    engine::{Command, Event},
    model::{
        Around, Identifier, Intake, Place, Quantity, Room, Shell, Surface, SurfaceKind,
        equipment::{MistSeen, Tempering},
        told::Hold,
    },
    units::{Fraction, UnitSystem, WaterFlow},
};

use super::harness::{Bench, celsius, farm, flow, percent, room};

/// One situation: outdoors in °C and percent, the room in °C and percent, its carbon dioxide in ppm.
struct Situation {
    title: &'static str,
    outdoors: (f64, f64),
    inside: (f64, f64),
    carbon_dioxide: Option<f64>,
    change: fn(&mut Room),
    after: fn(&mut Bench),
}

const PLAIN: Situation = Situation {
    title: "",
    outdoors: (4.0, 80.0),
    inside: (16.0, 91.0),
    carbon_dioxide: Some(700.0),
    change: |_| {},
    after: |_| {},
};

fn tempered(room: &mut Room) {
    room.tempering = Some(Tempering { to: celsius(15.5), power: None });
}

fn strong(room: &mut Room) {
    tempered(room);
    room.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(12.0).unwrap();
}

fn weak(room: &mut Room) {
    tempered(room);
    room.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(1.5).unwrap();
}

fn walled(factor: f64, room: &mut Room) {
    strong(room);
    room.shell = Shell {
        surfaces: vec![Surface {
            name: Identifier::new("window").unwrap(),
            title: "Window".to_owned(),
            kind: SurfaceKind::Factor(Fraction::from_ratio(factor).unwrap()),
        }],
        around: Around::Outdoors,
        ..Shell::unknown()
    };
}

fn hold(bench: &mut Bench, fresh_air: Option<f64>, target: Option<f64>) {
    let hold = Hold { fresh_air: fresh_air.map(flow), humidity_target: target.map(percent) };
    let command = Command::Hold(hold, Duration::from_secs(7_200));
    bench.event(Event::Command { room: Some(0), command });
}

fn by_weather_and_air() -> Vec<Situation> {
    vec![
        Situation { title: "a mild evening", change: strong, ..PLAIN },
        Situation { title: "frost, a heated intake", outdoors: (-10.0, 80.0), change: strong, ..PLAIN },
        Situation { title: "frost, straight from outdoors", outdoors: (-10.0, 80.0), ..PLAIN },
        Situation { title: "just cold enough for fog", outdoors: (-2.0, 80.0), ..PLAIN },
        Situation { title: "a humidifier at its limit", outdoors: (2.0, 80.0), change: weak, ..PLAIN },
        Situation { title: "a humidifier beyond its limit", outdoors: (-18.0, 70.0), change: weak, ..PLAIN },
        Situation { title: "no humidifier", change: |room| room.humidifier = None, ..PLAIN },
        Situation { title: "outdoors as moist as the target", outdoors: (17.0, 95.0), ..PLAIN },
        Situation { title: "a hot, humid day", outdoors: (28.0, 85.0), inside: (20.0, 92.0), ..PLAIN },
        Situation { title: "a hot, dry day", outdoors: (32.0, 25.0), inside: (20.0, 80.0), ..PLAIN },
        Situation { title: "the room at saturation", inside: (16.0, 98.5), ..PLAIN },
        Situation { title: "no carbon dioxide sensor heard", carbon_dioxide: None, ..PLAIN },
        Situation { title: "carbon dioxide below outdoor air", carbon_dioxide: Some(340.0), ..PLAIN },
        Situation { title: "carbon dioxide near the limit", carbon_dioxide: Some(930.0), change: strong, ..PLAIN },
        Situation { title: "carbon dioxide above the limit", carbon_dioxide: Some(1_400.0), change: strong, ..PLAIN },
        Situation { title: "carbon dioxide dangerous to people", carbon_dioxide: Some(16_000.0), ..PLAIN },
        Situation {
            title: "danger, then silence",
            carbon_dioxide: Some(16_000.0),
            after: |bench| {
                for _ in 0..7 {
                    bench.pass(Duration::from_secs(60));
                    bench.air(Place::Room(0), 16.0, 91.0);
                    bench.air(Place::Outdoors, 4.0, 80.0);
                }
            },
            ..PLAIN
        },
        Situation { title: "a burner in the room", change: |room| room.burner = true, ..PLAIN },
        Situation { title: "the floor is enough", change: |room| strong_floor(room), ..PLAIN },
        Situation {
            title: "the fan cannot give what the crop needs",
            change: |room| {
                strong(room);
                room.fan.capacity = flow(120.0);
                room.fan.usual = flow(110.0);
            },
            ..PLAIN
        },
    ]
}

fn by_enclosure_and_hand() -> Vec<Situation> {
    vec![
        Situation { title: "an anteroom without a crop", change: |room| room.crop = None, ..PLAIN },
        Situation {
            title: "standing mist",
            outdoors: (-10.0, 80.0),
            change: |room| {
                strong(room);
                room.humidifier.as_mut().unwrap().mist = Some(MistSeen { at: percent(92.0), outdoors: celsius(10.0) });
            },
            ..PLAIN
        },
        Situation { title: "a cold window", outdoors: (-10.0, 80.0), change: |room| walled(0.95, room), ..PLAIN },
        Situation { title: "a window that drips", outdoors: (-10.0, 80.0), change: |room| walled(0.55, room), ..PLAIN },
        Situation {
            title: "fresh air held by hand",
            change: strong,
            after: |bench| hold(bench, Some(300.0), None),
            ..PLAIN
        },
        Situation {
            title: "a target held by hand",
            change: strong,
            after: |bench| hold(bench, None, Some(88.0)),
            ..PLAIN
        },
        Situation {
            title: "no room temperature",
            after: |bench| {
                bench.pass(Duration::from_secs(1_300));
                bench.air(Place::Outdoors, 4.0, 80.0);
            },
            ..PLAIN
        },
        Situation { title: "nothing known outdoors", outdoors: (f64::NAN, f64::NAN), ..PLAIN },
        Situation {
            title: "a wrong date",
            after: |bench| {
                bench.now.trusted = false;
                bench.event(Event::ClockStepped);
            },
            ..PLAIN
        },
        Situation {
            title: "a freeze that is to come",
            outdoors: (2.0, 85.0),
            change: weak,
            after: |bench| {
                let falling: Vec<f64> = (0..60).map(|hour| 2.0 - 1.2 * f64::from(hour.min(12))).collect();
                bench.forecast(&falling, 85.0);
                bench.pass(Duration::from_secs(30));
                bench.event(Event::ClockStepped);
            },
            ..PLAIN
        },
    ]
}

fn strong_floor(room: &mut Room) {
    strong(room);
    room.crop.as_mut().unwrap().respiration.middle = 0.02;
    room.crop.as_mut().unwrap().respiration.upper = 0.03;
}

#[test]
fn thirty_situations_are_explained_as_they_stand_in_the_snapshot() {
    let situations: Vec<_> = by_weather_and_air().into_iter().chain(by_enclosure_and_hand()).collect();
    assert_eq!(situations.len(), 30);
    let mut text = String::new();
    for situation in situations {
        let mut room = room();
        (situation.change)(&mut room);
        let mut bench = Bench::new(farm(vec![room]));
        if situation.outdoors.0.is_finite() {
            bench.air(Place::Outdoors, situation.outdoors.0, situation.outdoors.1);
        }
        if let Some(ppm) = situation.carbon_dioxide {
            bench.say(Place::Room(0), Quantity::CarbonDioxide, ppm);
        }
        bench.air(Place::Room(0), situation.inside.0, situation.inside.1);
        (situation.after)(&mut bench);
        let decision = bench.decision(0);
        let voice = bench.snapshot().voice();
        let us = Voice { units: UnitSystem::Us, ..voice.clone() };
        writeln!(text, "{} [{}]", situation.title, decision.limited_by.name()).unwrap();
        writeln!(text, "  {}", decision.sentence(&voice)).unwrap();
        writeln!(text, "  {}", decision.sentence(&us)).unwrap();
    }
    assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    insta::assert_snapshot!(text);
}

#[test]
fn an_anteroom_takes_over_what_the_room_behind_it_cannot_give() {
    let target = |output: f64| {
        let mut anteroom = room();
        anteroom.crop = None;
        strong(&mut anteroom);
        let mut behind = room();
        behind.intake = Intake::Room(0);
        behind.humidifier.as_mut().unwrap().output = WaterFlow::from_kilograms_per_hour(output).unwrap();
        anteroom.bands.relative_humidity.preferred = percent(60.0);
        anteroom.bands.relative_humidity.lowest = percent(50.0);
        anteroom.bands.relative_humidity.highest = percent(90.0);
        let mut bench = Bench::new(farm(vec![anteroom, behind]));
        bench.air(Place::Outdoors, -10.0, 80.0);
        for index in 0..2 {
            bench.air(Place::Room(index), 16.0, 80.0);
        }
        bench.say(Place::Room(1), Quantity::CarbonDioxide, 700.0);
        bench.pass(Duration::from_secs(70));
        bench.decision(0).setpoints.unwrap().humidity_target.percent()
    };
    assert!((target(12.0) - 60.0).abs() < 0.1, "a strong room needs no help: {}", target(12.0));
    // By hand: the room behind wants 10.48 g/kg (16 °C, 92 %) and can add 0.9 × 0.5 kg/h to its 177.9 m³/h of 0.8317 m³/kg.
    let needed = 10.48 - 0.45 / (177.9 / 0.831_7) * 1_000.0;
    let expected = 92.0 * needed / 10.48;
    assert!((target(0.5) - expected).abs() < 1.0, "{} % for {expected} %", target(0.5));
}
