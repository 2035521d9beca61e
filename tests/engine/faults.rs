//! The table of faults: what is published under each, the one alert that it raises, and how long that takes. The rows are
//! made from what these tests find, and DEVELOPERS.md holds them.

use std::fmt::Write as _;

use mistwright::{
    advice::AlertKind,
    model::{BelowFreezing, Fault, Place, Quantity, Source},
};

use super::stage::{POSITIONS, Says, Stage, at, outdoors, raised, three_of_each, told};

/// One way to lie, and what must come of it.
struct Case {
    fault: Fault,
    /// What lies, as in `temperature@top-shelf`.
    liar: &'static str,
    /// What it does, in words for the table.
    does: &'static str,
    /// What stands at the topics while the fault lasts, in words for the table, and the check that it is so.
    published: (&'static str, fn(&Stage)),
    sources: fn() -> Vec<Source>,
    /// What is forecast, where somebody forecasts.
    forecast: Option<f64>,
    /// Sets the scene and lets honest time pass until the lie begins.
    before: fn(&mut Stage),
    /// What the liar says, from its honest value and the minutes since the lie began.
    lie: fn(f64, u64) -> Says,
    /// It must have been found by then, in minutes.
    within: u64,
}

fn is(source: &Source, name: &str) -> bool {
    let place = if source.place == Place::Outdoors { "outdoors " } else { "" };
    format!("{place}{}", source.sensor()) == name
}

/// Two other sensors of the quantity are there: the fused value is theirs.
fn fused(stage: &Stage) {
    let snapshot = stage.bench.snapshot();
    let state = &snapshot.rooms[0];
    let suspects: Vec<_> = snapshot.sources.iter().filter(|s| s.reading.fresh().is_none()).collect();
    assert_eq!(suspects.len(), 1, "{suspects:?}");
    for (quantity, value) in [
        (Quantity::Temperature, state.temperature.fresh().map(|value| value.celsius())),
        (Quantity::CarbonDioxide, state.carbon_dioxide.fresh().map(|value| value.parts_per_million())),
    ] {
        let (low, high) =
            stage.honest_spread(quantity, |s| s.position == suspects[0].position && s.quantity == suspects[0].quantity);
        let value = value.expect("the quantity is still known");
        assert!((low - 1e-9..=high + 1e-9).contains(&value), "{quantity:?}: {value} outside {low} to {high}");
    }
    assert!(state.air.is_some());
}

/// Nothing else measures carbon dioxide: it is withdrawn, and air stays at the usual rate or more.
fn gas_withdrawn(stage: &Stage) {
    let state = &stage.bench.snapshot().rooms[0];
    assert!(state.carbon_dioxide.fresh().is_none() && state.carbon_dioxide_headroom.is_none());
    assert_eq!(state.decision.limited_by.name(), "unknown-carbon-dioxide");
    assert!(state.decision.setpoints.unwrap().fresh_air.cubic_metres_per_hour() >= 240.0 - 1e-9);
    let crop = state.alerts.iter().find(|alert| alert.kind == AlertKind::CarbonDioxideCrop).unwrap();
    assert_eq!(crop.published(), "suppressed");
}

/// Nothing else measures carbon dioxide: it is withdrawn, and fresh air may not be cut.
fn gas_gone(stage: &Stage) {
    let state = &stage.bench.snapshot().rooms[0];
    assert!(state.carbon_dioxide.fresh().is_none() && state.reckoned.carbon_dioxide_doubted);
}

/// Nothing else measures humidity: it is withdrawn, and the humidifier stands, as the sensor may be right.
fn humidity_withdrawn(stage: &Stage) {
    let state = &stage.bench.snapshot().rooms[0];
    assert!(state.relative_humidity.fresh().is_none() && state.air.is_none());
    let setpoints = state.decision.setpoints.unwrap();
    assert!(setpoints.humidifier_duty.ratio() <= 0.0 && state.decision.mode.name() == "degraded");
}

/// The forecast stands in for the farm's own air outdoors.
fn forecast_instead(stage: &Stage) {
    let outdoors = stage.bench.snapshot().site.outdoors;
    assert!(!outdoors.from_sensor);
    assert!((outdoors.air.unwrap().temperature().celsius() - stage.forecast.unwrap()).abs() < 0.2);
}

/// The dew point is not used; humidity, where it is measured too, is.
fn without_dew_point(stage: &Stage) {
    let state = &stage.bench.snapshot().rooms[0];
    let humidity = state.relative_humidity.fresh().unwrap().ratio();
    assert!((humidity - stage.truth.humidity).abs() < 0.03);
}

/// By the dew point, which is believed.
fn dew_point_instead(stage: &Stage) {
    let outdoors = stage.bench.snapshot().site.outdoors;
    let dew_point = outdoors.air.unwrap().dew_point().unwrap().celsius();
    assert!(outdoors.from_sensor && (dew_point - (stage.truth.outdoors - 3.0)).abs() < 0.7, "{dew_point}");
}

/// Advice goes on as before; it rests on no report.
fn as_before(stage: &Stage) {
    assert!(stage.bench.snapshot().rooms[0].decision.setpoints.is_some());
}

const FUSED: (&str, fn(&Stage)) = ("the other two", fused);
const GAS: (&str, fn(&Stage)) = ("no carbon dioxide; at least the usual air, never less", gas_withdrawn);

fn quietly(stage: &mut Stage) {
    stage.honestly(180);
}

fn cases_of_any_sensor() -> Vec<Case> {
    vec![
        Case {
            fault: Fault::OutOfRange,
            liar: "temperature@floor",
            does: "sends what is no number",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: quietly,
            lie: |_, _| Says::Nonsense,
            within: 5,
        },
        Case {
            fault: Fault::ImpossibleStep,
            liar: "temperature@middle",
            does: "jumps by 20 K and stays",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: quietly,
            lie: |honest, _| Says::Value(honest + 20.0),
            within: 4,
        },
        Case {
            fault: Fault::Stuck,
            liar: "temperature@top-shelf",
            does: "repeats one number",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: quietly,
            lie: |_, _| Says::Value(16.25),
            within: 130,
        },
        Case {
            fault: Fault::Drift,
            liar: "temperature@floor",
            does: "drifts by 6 K in 24 minutes",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: quietly,
            lie: |honest, minutes| Says::Value(honest + 0.25 * minutes.min(24) as f64),
            within: 80,
        },
    ]
}

fn cases_of_humidity() -> Vec<Case> {
    vec![
        Case {
            fault: Fault::Pinned,
            liar: "relative-humidity@floor",
            does: "creeps to 100 % and stays, others at 94 %",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: |stage| {
                stage.truth.humidity = 0.94;
                quietly(stage);
            },
            lie: |honest, minutes| {
                Says::Value((honest + 0.000_5 * minutes as f64).min(1.0).max(if minutes > 120 { 1.0 } else { 0.0 }))
            },
            within: 200,
        },
        Case {
            fault: Fault::Pinned,
            liar: "relative-humidity",
            does: "rests at 100 %, alone in its room",
            published: ("no humidity; the humidifier stands", humidity_withdrawn),
            sources: || with_outdoors(&[Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide]),
            forecast: None,
            before: quietly,
            lie: |_, _| Says::Value(1.0),
            within: 370,
        },
        Case {
            fault: Fault::Wetted,
            liar: "relative-humidity@top-shelf",
            does: "leaps from 88 % to 100 % alone",
            published: FUSED,
            sources: three_of_each,
            forecast: None,
            before: |stage| {
                stage.truth.humidity = 0.88;
                quietly(stage);
            },
            lie: |_, _| Says::Value(1.0),
            within: 15,
        },
        Case {
            fault: Fault::DewPointAboveTemperature,
            liar: "dew-point",
            does: "says 2 K more than the temperature",
            published: ("humidity by its own sensor", without_dew_point),
            sources: || {
                [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::DewPoint].map(|of| at("", of)).to_vec()
            },
            forecast: None,
            before: quietly,
            lie: |honest, _| Says::Value(honest + 3.8),
            within: 15,
        },
        Case {
            fault: Fault::BelowFreezingConvention,
            liar: "outdoors relative-humidity",
            does: "means ice at −10 °C, set to water",
            published: ("humidity by the dew point", dew_point_instead),
            sources: || {
                let outside = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::DewPoint].map(outdoors);
                outside.into_iter().chain([at("", Quantity::Temperature)]).collect()
            },
            forecast: Some(-10.0),
            before: quietly,
            // Dew point 3 K below −10 °C is 79 % over water; over ice that is said as 87 %.
            lie: |honest, _| Says::Value(honest / 0.907),
            within: 35,
        },
    ]
}

fn cases_outdoors() -> Vec<Case> {
    let outside = || {
        let outside = [Quantity::Temperature, Quantity::RelativeHumidity].map(outdoors);
        outside.into_iter().chain([at("", Quantity::Temperature)]).collect()
    };
    vec![
        Case {
            fault: Fault::InTheSun,
            liar: "outdoors temperature",
            does: "warms by 7 K near noon",
            published: ("outdoors by the forecast", forecast_instead),
            sources: outside,
            // The stage begins at 18:00 UTC; the lie at 9:40, an hour before noon at 21° east.
            forecast: Some(8.0),
            before: |stage| stage.honestly(940),
            lie: |honest, minutes| Says::Value(honest + 0.5 * minutes.min(14) as f64),
            within: 45,
        },
        Case {
            fault: Fault::ContradictsForecast,
            liar: "outdoors temperature",
            does: "is 12 K above the forecast at night",
            published: ("outdoors by the forecast", forecast_instead),
            sources: outside,
            forecast: Some(8.0),
            before: quietly,
            lie: |honest, minutes| Says::Value(honest + 0.5 * minutes.min(24) as f64),
            within: 205,
        },
    ]
}

fn cases_of_gas_and_machines() -> Vec<Case> {
    let alone = || with_outdoors(&[Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide]);
    vec![
        Case {
            fault: Fault::BelowOutdoorAir,
            liar: "carbon-dioxide",
            does: "rests at 300 ppm",
            published: GAS,
            sources: alone,
            forecast: None,
            before: quietly,
            lie: |_, _| Says::Value(300.0),
            within: 35,
        },
        Case {
            fault: Fault::NeverNearOutdoorAir,
            liar: "carbon-dioxide",
            does: "sets its own zero, and never meets fresh air",
            published: ("no carbon dioxide", gas_gone),
            sources: || {
                let mut gas = at("", Quantity::CarbonDioxide);
                gas.self_calibrating = true;
                vec![at("", Quantity::Temperature), at("", Quantity::RelativeHumidity), gas]
            },
            forecast: None,
            before: |stage| stage.every = 5,
            lie: |honest, _| Says::Value(honest),
            within: 8 * 1_440 + 10,
        },
        Case {
            fault: Fault::FanWithoutResponse,
            liar: "fan-state",
            does: "says full speed at a steady 1,500 ppm",
            published: ("as before", as_before),
            sources: || {
                let fan = [Quantity::CarbonDioxide, Quantity::FanState];
                with_outdoors(&[[Quantity::Temperature, Quantity::RelativeHumidity], fan].concat())
            },
            forecast: None,
            before: |stage| {
                (stage.truth.ppm, stage.truth.fan) = (1_500.0, 0.0);
                quietly(stage);
            },
            lie: |_, _| Says::Value(1.0),
            within: 35,
        },
        Case {
            fault: Fault::HumidifierWithoutResponse,
            liar: "humidifier-state",
            does: "says full output in air as dry as the supply's",
            published: ("as before", as_before),
            sources: || {
                let humidifier = [Quantity::CarbonDioxide, Quantity::HumidifierState];
                with_outdoors(&[[Quantity::Temperature, Quantity::RelativeHumidity], humidifier].concat())
            },
            forecast: None,
            before: |stage| {
                (stage.truth.humidity, stage.truth.humidifier) = (0.48, 0.0);
                quietly(stage);
            },
            lie: |_, _| Says::Value(1.0),
            within: 35,
        },
    ]
}

/// One sensor of each quantity in the room, and an outdoor sensor.
fn with_outdoors(inside: &[Quantity]) -> Vec<Source> {
    let outside = [Quantity::Temperature, Quantity::RelativeHumidity].map(outdoors);
    inside.iter().map(|of| at("", *of)).chain(outside).collect()
}

/// Plays one case; gives its row of the table.
fn play(case: &Case) -> String {
    let mut stage = Stage::with_forecast((case.sources)(), case.forecast);
    (case.before)(&mut stage);
    let name = case.fault.name();
    let before = raised(&stage.bench.snapshot());
    let began = stage.minute;
    let found = loop {
        let since = stage.minute - began;
        assert!(since <= case.within, "{name} is not found within {} minutes: {:?}", case.within, stage.bench.notices);
        stage
            .step(|source, honest| if is(source, case.liar) { (case.lie)(honest, since) } else { Says::Value(honest) });
        if !told(&stage.bench.snapshot()).is_empty() {
            break stage.minute - began;
        }
    };
    let snapshot = stage.bench.snapshot();
    let liar = case.liar.trim_start_matches("outdoors ").to_owned();
    assert_eq!(told(&snapshot), [(case.fault, liar)], "{name}");
    (case.published.1)(&stage);
    // It goes on for as long again and two hours: nothing more is said, and nothing else.
    for _ in 0..(found.min(600) + 120) / stage.every {
        let since = stage.minute - began;
        stage
            .step(|source, honest| if is(source, case.liar) { (case.lie)(honest, since) } else { Says::Value(honest) });
    }
    let new: Vec<_> = raised(&stage.bench.snapshot()).into_iter().filter(|kind| !before.contains(kind)).collect();
    assert_eq!(new, [AlertKind::SensorSuspect], "{name}: {:?}", stage.bench.notices);
    let told: Vec<_> = stage.bench.notices.iter().filter(|notice| notice.contains("Sensor not believed")).collect();
    assert_eq!(told.len(), 1, "{name}: {told:?}");
    let time = if found < 180 {
        format!("{found} min")
    } else if found < 2_880 {
        format!("{:.1} h", found as f64 / 60.0)
    } else {
        format!("{:.1} d", found as f64 / 1_440.0)
    };
    format!("| `{name}` | {} | {} | `sensor-suspect` | {time} |", case.does, case.published.0)
}

/// A sensor at the top of its scale: what may be beyond it is a matter for people, and one alert says so.
fn over_range() -> String {
    let mut sources = with_outdoors(&[Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide]);
    sources[2].range.1 = 2_000.0;
    let mut stage = Stage::new(sources);
    quietly(&mut stage);
    let before = raised(&stage.bench.snapshot());
    for minute in 0..120 {
        stage.step(|source, honest| Says::Value(if is(source, "carbon-dioxide") { 2_400.0 } else { honest }));
        let snapshot = stage.bench.snapshot();
        let new: Vec<_> = raised(&snapshot).into_iter().filter(|kind| !before.contains(kind)).collect();
        assert_eq!(new, [AlertKind::CarbonDioxidePeople], "minute {minute}: {:?}", stage.bench.notices);
        let people = snapshot.rooms[0].reckoned.carbon_dioxide_for_people.unwrap();
        assert!((people.parts_per_million() - 5_000.0).abs() < 1e-9, "{people:?}");
        gas_withdrawn(&stage);
    }
    "| `over-range` | says more than the 2,000 ppm where its scale ends | counts as 5,000 ppm for people; at least the usual air, \
     never less | `carbon-dioxide-people` | at once |"
        .to_owned()
}

fn table() -> String {
    let mut table = String::from(
        "| fault | what the sensor does | what is published | the one alert | after |\n|---|---|---|---|---|\n",
    );
    let cases = [cases_of_any_sensor(), cases_of_humidity(), cases_outdoors(), cases_of_gas_and_machines()];
    for case in cases.iter().flatten() {
        let _ = writeln!(table, "{}", play(case));
    }
    let _ = writeln!(table, "{}", over_range());
    for fault in Fault::ALL {
        assert!(table.contains(&format!("| `{}` |", fault.name())), "no case shows {fault:?}");
    }
    table
}

#[test]
fn each_fault_is_found_in_its_time_raises_one_alert_and_stands_in_the_developers_table() {
    let table = table();
    println!("{table}");
    let page = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md")).unwrap();
    assert!(page.contains(&table), "the table of faults in DEVELOPERS.md should be:\n{table}");
}

#[test]
fn honest_sensors_are_never_suspected_through_a_day_of_doors_and_cycles() {
    let mut stage = Stage::new(three_of_each());
    for minute in 0..1_440_u64 {
        // A door stands open for five minutes every three hours, and cold, drier air comes in; fog fills the room once.
        let open = minute % 180 >= 170 && minute % 180 < 175;
        let fog = (600..640).contains(&minute);
        stage.step(|source, honest| {
            Says::Value(match source.quantity {
                Quantity::Temperature if open && source.place == Place::Room(0) => honest - 3.0,
                Quantity::RelativeHumidity if open && source.place == Place::Room(0) => honest - 0.15,
                Quantity::CarbonDioxide if open => 0.6 * honest,
                Quantity::RelativeHumidity if fog && source.place == Place::Room(0) => 1.0,
                _ => honest,
            })
        });
        assert!(told(&stage.bench.snapshot()).is_empty(), "minute {minute}: {:?}", stage.bench.notices);
    }
    assert!(!raised(&stage.bench.snapshot()).contains(&AlertKind::SensorsDisagree));
}

#[test]
fn a_sensor_that_speaks_the_truth_again_is_believed_again_and_its_alert_ends() {
    let mut stage = Stage::new(three_of_each());
    stage.honestly(60);
    for _ in 0..10 {
        stage.step(|source, honest| Says::Value(if is(source, "temperature@floor") { honest + 20.0 } else { honest }));
    }
    assert_eq!(stage.bench.room_alert(0, AlertKind::SensorSuspect), "warning");
    stage.honestly(5);
    assert!(stage.bench.snapshot().sources.iter().all(|source| source.reading.fresh().is_some()));
    stage.honestly(12);
    assert_eq!(stage.bench.room_alert(0, AlertKind::SensorSuspect), "normal");
}

#[test]
fn one_odd_value_is_left_out_and_raises_no_alert() {
    let mut stage = Stage::new(three_of_each());
    stage.honestly(60);
    stage
        .step(|source, honest| Says::Value(if is(source, "carbon-dioxide@floor") { honest + 9_000.0 } else { honest }));
    assert_eq!(stage.bench.snapshot().sources[8].reading.fault(), Some(Fault::ImpossibleStep));
    stage.honestly(60);
    assert!(stage.bench.notices.iter().all(|notice| !notice.contains("not believed")), "{:?}", stage.bench.notices);
}

/// A lie of one sensor, from its honest value, its quantity and the minutes since it began.
type Lie = fn(f64, Quantity, u64) -> Says;

fn lies() -> Vec<(&'static str, Lie)> {
    vec![
        ("stuck", |_, quantity, _| {
            Says::Value(match quantity {
                Quantity::Temperature => 15.1,
                Quantity::RelativeHumidity => 0.88,
                _ => 770.0,
            })
        }),
        ("jumped high", |honest, quantity, _| {
            Says::Value(match quantity {
                Quantity::Temperature => honest + 20.0,
                Quantity::RelativeHumidity => 1.0,
                _ => honest + 9_000.0,
            })
        }),
        ("jumped low", |honest, quantity, _| {
            Says::Value(match quantity {
                Quantity::Temperature => honest - 20.0,
                Quantity::RelativeHumidity => 0.0,
                _ => 0.0,
            })
        }),
        ("drifting up", |honest, quantity, minutes| {
            Says::Value(match quantity {
                Quantity::Temperature => honest + 0.02 * minutes as f64,
                Quantity::RelativeHumidity => (honest + 0.000_5 * minutes as f64).min(1.0),
                _ => honest + 4.0 * minutes as f64,
            })
        }),
        ("drifting down", |honest, quantity, minutes| {
            Says::Value(match quantity {
                Quantity::Temperature => honest - 0.02 * minutes as f64,
                Quantity::RelativeHumidity => (honest - 0.001 * minutes as f64).max(0.0),
                _ => (honest - 2.0 * minutes as f64).max(0.0),
            })
        }),
        ("rustling", |honest, quantity, minutes| {
            let sign = if minutes % 2 == 0 { 1.0 } else { -1.0 };
            Says::Value(match quantity {
                Quantity::Temperature => honest + 6.0 * sign,
                Quantity::RelativeHumidity => (honest + 0.2 * sign).min(1.0),
                _ => honest + 700.0 * sign,
            })
        }),
        ("refused", |_, _, _| Says::Nonsense),
        (
            "refused now and then",
            |honest, _, minutes| if minutes % 3 == 0 { Says::Value(honest) } else { Says::Nonsense },
        ),
        ("silent", |_, _, _| Says::Nothing),
    ]
}

#[test]
fn with_one_of_three_sensors_lying_in_any_way_the_fused_air_stays_within_the_honest_two() {
    let quantities = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];
    for (what, lie) in lies() {
        for quantity in quantities {
            for (position, ..) in POSITIONS {
                let liar = |source: &Source| {
                    source.quantity == quantity
                        && source.position.as_ref().is_some_and(|name| name.as_str() == position)
                };
                let mut stage = Stage::new(three_of_each());
                stage.honestly(30);
                let began = stage.minute;
                while stage.minute < began + 150 {
                    let since = stage.minute - began;
                    stage.step(|s, honest| if liar(s) { lie(honest, quantity, since) } else { Says::Value(honest) });
                    within_the_honest(
                        &stage,
                        position,
                        &format!("{what} {}@{position}, minute {since}", quantity.name()),
                    );
                }
            }
        }
    }
}

/// The fused temperature, humidity ratio and carbon dioxide lie within those of the two positions that have no liar.
fn within_the_honest(stage: &Stage, liar: &str, what: &str) {
    use mistwright::{
        physics::MoistAir,
        units::{RelativeHumidity, Temperature},
    };
    let snapshot = stage.bench.snapshot();
    let state = &snapshot.rooms[0];
    let of = |position: &str, quantity| stage.honest(&at(position, quantity));
    let honest: Vec<&str> = POSITIONS.iter().map(|(name, ..)| *name).filter(|name| *name != liar).collect();
    let inside = |value: f64, said: Vec<f64>| {
        let (low, high) =
            (said.iter().copied().fold(f64::INFINITY, f64::min), said.iter().copied().fold(0.0, f64::max));
        assert!((low * (1.0 - 1e-9)..=high * (1.0 + 1e-9)).contains(&value), "{what}: {value} outside {low} to {high}");
    };
    let all = |quantity| honest.iter().map(|position| of(position, quantity)).collect::<Vec<_>>();
    let temperature = state.temperature.fresh().unwrap_or_else(|| panic!("{what}: no temperature")).celsius();
    inside(temperature, all(Quantity::Temperature));
    let gas = state.carbon_dioxide.fresh().unwrap_or_else(|| panic!("{what}: no carbon dioxide")).parts_per_million();
    inside(gas, all(Quantity::CarbonDioxide));
    let water = |position: &&str| {
        let temperature = Temperature::from_celsius(of(position, Quantity::Temperature)).unwrap();
        let humidity = RelativeHumidity::from_ratio(of(position, Quantity::RelativeHumidity)).unwrap();
        let air = MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, snapshot.site.pressure).unwrap();
        air.humidity_ratio().kilograms_per_kilogram()
    };
    let air = state.air.unwrap_or_else(|| panic!("{what}: no air"));
    inside(air.humidity_ratio().kilograms_per_kilogram(), honest.iter().map(water).collect());
}
