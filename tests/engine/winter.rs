//! What careful growers do by hand in the cold, and why: a 20 °C room with a band of 85–92 %, preferred 92 %, fixed air,
//! outdoors at 80 % from +10 down to −10 °C. The three outcomes are derived beside each test; that growers lower the
//! target by about three points in winter is common practice, no source.

use mistwright::{
    advice::LimitedBy,
    model::{
        Around, Band, Bands, Identifier, Intake, Place, Quantity, Room, Shell, Space, Surface, SurfaceKind,
        equipment::{MistSeen, Tempering},
    },
    units::Fraction,
};

use super::harness::{Bench, celsius, farm, flow, percent, ppm, room};

const OUTDOORS: [f64; 11] = [10.0, 8.0, 6.0, 4.0, 2.0, 0.0, -2.0, -4.0, -6.0, -8.0, -10.0];

/// 60 m³ with a humidifier that is never the limit and air that never changes.
fn winter_room() -> Room {
    let mut room = room();
    room.bands = Bands {
        temperature: Band { lowest: celsius(18.0), preferred: celsius(20.0), highest: celsius(22.0) },
        relative_humidity: Band { lowest: percent(85.0), preferred: percent(92.0), highest: percent(95.0) },
        carbon_dioxide_limit: ppm(1_000.0),
    };
    room.fan.floor = flow(240.0);
    room.fan.usual = flow(240.0);
    if let Some(humidifier) = &mut room.humidifier {
        humidifier.output = mistwright::units::WaterFlow::from_kilograms_per_hour(12.0).unwrap();
    }
    if let Some(crop) = &mut room.crop {
        crop.respiration.middle = 0.01;
        crop.respiration.upper = 0.02;
    }
    room
}

struct Outcome {
    target: f64,
    limited_by: LimitedBy,
    sentence: String,
}

/// The advice for each outdoor temperature, each from a fresh start. `spaces` are as warm as the room and hold outdoor
/// moisture.
fn outcomes(room: &Room, spaces: &[Space]) -> Vec<Outcome> {
    OUTDOORS
        .iter()
        .map(|outdoors| {
            let mut farm = farm(vec![room.clone()]);
            farm.spaces = spaces.to_vec();
            for space in &mut farm.spaces {
                let cold = mistwright::physics::Curve::Water.pressure(celsius(*outdoors)).unwrap().pascals();
                let warm = mistwright::physics::Curve::Water.pressure(celsius(20.0)).unwrap().pascals();
                space.assumed = Some((celsius(20.0), percent(80.0 * cold / warm)));
            }
            let mut bench = Bench::new(farm);
            bench.say(Place::Outdoors, Quantity::Temperature, *outdoors);
            bench.say(Place::Outdoors, Quantity::RelativeHumidity, 0.8);
            bench.air(Place::Room(0), 20.0, 90.0);
            bench.say(Place::Room(0), Quantity::CarbonDioxide, 500.0);
            let decision = bench.decision(0);
            let voice = bench.snapshot().voice();
            Outcome {
                target: decision.setpoints.unwrap().humidity_target.percent(),
                limited_by: decision.limited_by,
                sentence: decision.sentence(&voice),
            }
        })
        .collect()
}

fn assert_monotone(outcomes: &[Outcome]) {
    for pair in outcomes.windows(2) {
        assert!(
            pair[1].target <= pair[0].target + 1e-6,
            "{} rose to {} as it got colder",
            pair[0].target,
            pair[1].target
        );
    }
}

/// (a) Fed from surroundings at room temperature, mist fitted to stand at 92 % when it is +10 °C outside.
/// By hand: W(20 °C, 92 %) = 13.55, W_out(+10) = 6.10, W_out(−10) = 1.28 g/kg, W_sat = 14.76 (ASHRAE table 2); mist power
/// P = (13.55 − 6.10)/0.08 = 93; at −10 °C (1.28 + 93)/(14.76 + 93) = 87.5 %.
#[test]
fn standing_mist_brings_the_target_down_from_92_to_88_percent_by_minus_10_degrees() {
    let mut room = winter_room();
    room.intake = Intake::Space(0);
    let spaces = [Space { name: Identifier::new("barn").unwrap(), title: "Barn".to_owned(), assumed: None }];
    let without = outcomes(&room, &spaces);
    assert!(without.iter().all(|outcome| (outcome.target - 92.0).abs() < 0.05), "a limit without a reason");
    if let Some(humidifier) = &mut room.humidifier {
        humidifier.mist = Some(MistSeen { at: percent(92.0), outdoors: celsius(10.0) });
    }
    let with = outcomes(&room, &spaces);
    assert_monotone(&with);
    assert!((with[0].target - 92.0).abs() < 0.3, "{}", with[0].target);
    assert!((with[10].target - 88.0).abs() <= 1.0, "{}", with[10].target);
    assert!(with[1..].iter().all(|outcome| outcome.limited_by == LimitedBy::StandingMist));
}

/// (b) Direct, tempered clear of fog, fRsi 0.96: at −10 °C the surface is at 18.8 °C, 0.5 K are kept, and air of 20 °C with
/// a dew point of 18.3 °C has p_ws(18.3)/p_ws(20) = 2 103/2 339 = 89.9 %.
#[test]
fn a_cold_surface_brings_the_target_down_from_92_to_90_percent_by_minus_10_degrees() {
    let mut room = winter_room();
    room.tempering = Some(Tempering { to: celsius(18.0), power: None });
    room.shell = Shell {
        surfaces: vec![Surface {
            name: Identifier::new("north-wall").unwrap(),
            title: "North wall".to_owned(),
            kind: SurfaceKind::Factor(Fraction::from_ratio(0.96).unwrap()),
        }],
        around: Around::Outdoors,
        ..Shell::unknown()
    };
    let outcomes = outcomes(&room, &[]);
    assert_monotone(&outcomes);
    assert!((outcomes[0].target - 92.0).abs() < 0.05, "{}", outcomes[0].target);
    assert!((outcomes[10].target - 90.0).abs() <= 1.0, "{}", outcomes[10].target);
    assert_eq!(outcomes[10].limited_by, LimitedBy::ColdSurface);
}

/// (c) Direct and untempered: the mixing line is supersaturated above 85 % from about 0 °C on; the target stays at the
/// band's low end, and the fog is reported with the temperature that would cure it.
#[test]
fn fog_at_the_inlet_brings_the_target_to_the_low_end_by_0_degrees_and_no_further() {
    let outcomes = outcomes(&winter_room(), &[]);
    assert_monotone(&outcomes);
    assert!(outcomes[0].target > 86.5, "{}", outcomes[0].target);
    for outcome in &outcomes[6..] {
        assert!((outcome.target - 85.0).abs() < 0.05, "{}", outcome.target);
        assert_eq!(outcome.limited_by, LimitedBy::InletFog);
        assert!(outcome.sentence.contains("Fresh air warmed to"), "{}", outcome.sentence);
    }
    assert!((outcomes[5].target - 85.0).abs() <= 1.5, "{}", outcomes[5].target);
}
