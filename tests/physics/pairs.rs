//! Any two quantities lead to the same air; impossible ones are refused with a reason.

use mistwright::physics::{BelowFreezing, Curve, Known, MoistAir, MoistAirError};
use mistwright::units::{Pressure, Temperature};
use proptest::prelude::*;

use super::{SEA_LEVEL, air, cases, celsius, near, pascals, percent, ratio, vapour};

const CONVENTIONS: [BelowFreezing; 2] = [BelowFreezing::Water, BelowFreezing::Ice];

fn two(first: Known, second: Known) -> Result<MoistAir, MoistAirError> {
    MoistAir::from_two(first, second, BelowFreezing::Water, pascals(SEA_LEVEL))
}

/// What `air` looks like to a source with this convention.
fn known(air: MoistAir, convention: BelowFreezing) -> Option<[Known; 5]> {
    let ice = convention == BelowFreezing::Ice;
    let humidity = if ice && air.temperature().celsius() < 0.0 {
        air.relative_humidity_over_ice().filter(|rh| rh.ratio() <= 1.0)?
    } else {
        air.relative_humidity()
    };
    let dew_point = if ice { air.frost_point().or(air.dew_point().ok())? } else { air.dew_point().ok()? };
    Some([
        Known::Temperature(air.temperature()),
        Known::RelativeHumidity(humidity),
        Known::DewPoint(dew_point),
        Known::WetBulb(air.wet_bulb()),
        Known::HumidityRatio(air.humidity_ratio()),
    ])
}

fn any_air() -> impl Strategy<Value = MoistAir> {
    (-40.0..60.0_f64, 2.0..=100.0_f64, 70_000.0..105_000.0_f64).prop_map(|(t, rh, p)| {
        MoistAir::from_relative_humidity(celsius(t), percent(rh), BelowFreezing::Water, pascals(p)).unwrap()
    })
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn every_pair_leads_back_to_the_same_air(air in any_air()) {
        for convention in CONVENTIONS {
            let Some(known) = known(air, convention) else { continue };
            for first in 0..known.len() {
                for second in 0..known.len() {
                    if first == second || (first, second) == (2, 4) || (first, second) == (4, 2) {
                        continue;
                    }
                    let found = MoistAir::from_two(known[first], known[second], convention, air.pressure());
                    let pair = format!("{:?} and {:?}, {convention:?}", known[first], known[second]);
                    let found = found.map_err(|error| TestCaseError::fail(format!("{pair}: {error}")))?;
                    let apart = found.temperature().minus(air.temperature()).kelvins();
                    // A wet bulb and a dew point or humidity near each other say little about the temperature.
                    prop_assert!(apart.abs() < 2e-2, "{}: {} K apart", pair, apart);
                    let (w, expected) = (found.humidity_ratio(), air.humidity_ratio());
                    let apart = w.minus(expected).kilograms_per_kilogram() / expected.kilograms_per_kilogram();
                    prop_assert!(apart.abs() < 5e-3, "{}: humidity ratio {} apart", pair, apart);
                }
            }
        }
    }

    #[test]
    fn dew_and_frost_point_are_found_to_a_thousandth_of_a_kelvin(t in -59.9..79.9_f64, p in 60_000.0..105_000.0_f64) {
        let there = celsius(t);
        for curve in [Curve::Water, Curve::Ice] {
            let Ok(saturation) = curve.pressure_in_air(there, pascals(p)) else { continue };
            let back = curve.temperature_in_air(saturation, pascals(p)).unwrap();
            prop_assert!((back.celsius() - t).abs() < 1e-3, "{:?}: {}", curve, back.celsius());
            let back = curve.temperature(curve.pressure(there).unwrap()).unwrap();
            prop_assert!((back.celsius() - t).abs() < 1e-3, "{:?}: {}", curve, back.celsius());
        }
    }

    #[test]
    fn moister_air_has_more_of_everything_but_deficit(t in -40.0..60.0_f64, rh in 2.0..99.0_f64) {
        let (drier, moister) = (air(t, rh), air(t, rh + 1.0));
        prop_assert!(moister.humidity_ratio() > drier.humidity_ratio());
        prop_assert!(moister.enthalpy() > drier.enthalpy());
        prop_assert!(moister.specific_volume() > drier.specific_volume());
        prop_assert!(moister.vapour_pressure_deficit() < drier.vapour_pressure_deficit());
        if let Ok(dew_point) = drier.dew_point() {
            prop_assert!(moister.dew_point().unwrap() > dew_point);
        }
        prop_assert!(moister.wet_bulb() > drier.wet_bulb());
    }

    #[test]
    fn dew_point_wet_bulb_and_temperature_stand_in_order(air in any_air()) {
        let (t, bulb) = (air.temperature().celsius(), air.wet_bulb().celsius());
        let supersaturated_over_ice = air.frost_point().is_some_and(|frost| frost > air.temperature());
        if supersaturated_over_ice {
            prop_assert!(bulb >= t && bulb < t + 2.0, "{} {}", bulb, t);
        } else {
            prop_assert!(bulb <= t + 1e-3, "{} {}", bulb, t);
            prop_assert!(air.dew_point().map_or(-60.0, Temperature::celsius) <= bulb + 1e-3);
        }
        if let (Some(frost), Ok(dew)) = (air.frost_point(), air.dew_point()) {
            prop_assert!(frost.celsius() >= dew.celsius() - 1e-3);
        }
    }

    #[test]
    fn no_input_makes_a_number_that_is_not_finite(
        t in -100.0..=200.0_f64, rh in 0.0..=150.0_f64, p in 10_000.0..=120_000.0_f64, other in -100.0..=200.0_f64,
    ) {
        let pressure = pascals(p);
        let known = [
            Known::Temperature(celsius(t)),
            Known::RelativeHumidity(percent(rh)),
            Known::DewPoint(celsius(other)),
            Known::WetBulb(celsius(other)),
            Known::HumidityRatio(ratio(rh / 5_000.0)),
        ];
        for convention in CONVENTIONS {
            for first in known {
                for second in known {
                    if let Ok(air) = MoistAir::from_two(first, second, convention, pressure) {
                        prop_assert!(numbers(air).into_iter().all(f64::is_finite), "{:?}", air);
                        prop_assert!(air.relative_humidity().ratio() <= 1.0);
                    }
                }
            }
        }
    }
}

fn numbers(air: MoistAir) -> [f64; 8] {
    [
        air.temperature().celsius(),
        air.humidity_ratio().kilograms_per_kilogram(),
        air.relative_humidity().ratio(),
        air.dew_point().map_or(0.0, Temperature::celsius),
        air.frost_point().map_or(0.0, Temperature::celsius),
        air.wet_bulb().celsius(),
        air.enthalpy().kilojoules_per_kilogram(),
        air.specific_volume().cubic_metres_per_kilogram(),
    ]
}

/// The trap: below 0 °C a source that means ice and is read as water is off by 1 K and more in dew point.
#[test]
fn the_convention_below_freezing_changes_the_dew_point_by_more_than_a_kelvin() {
    let at = |convention| {
        MoistAir::from_relative_humidity(celsius(-15.0), percent(80.0), convention, pascals(SEA_LEVEL)).unwrap()
    };
    let (water, ice) = (at(BelowFreezing::Water), at(BelowFreezing::Ice));
    let apart = water.dew_point().unwrap().minus(ice.dew_point().unwrap()).kelvins();
    assert!((1.0..3.0).contains(&apart), "{apart}");
    let at = |convention| MoistAir::from_relative_humidity(celsius(5.0), percent(80.0), convention, pascals(SEA_LEVEL));
    assert_eq!(at(BelowFreezing::Water), at(BelowFreezing::Ice), "above 0 °C there is only one surface");
}

/// The trap: air at +2 °C that is half dry has a liquid bulb above 0 °C or an ice bulb below, and both lead back.
#[test]
fn both_wet_bulbs_near_freezing_lead_back_to_their_air() {
    let from_bulb = |bulb: f64| MoistAir::from_wet_bulb(celsius(2.0), celsius(bulb), pascals(SEA_LEVEL)).unwrap();
    let (liquid, ice) = (from_bulb(0.05), from_bulb(-0.05));
    near("liquid", liquid.wet_bulb().celsius(), 0.05, 1e-3);
    // The ice bulb's air has a liquid bulb as well, and that one is reported.
    let reported = ice.wet_bulb().celsius();
    assert!((0.0..0.2).contains(&reported), "{reported}");
    let again = MoistAir::from_wet_bulb(celsius(2.0), ice.wet_bulb(), pascals(SEA_LEVEL)).unwrap();
    near("same air", again.humidity_ratio().grams_per_kilogram(), ice.humidity_ratio().grams_per_kilogram(), 1e-3);
}

#[test]
fn a_sensor_above_saturation_is_cut_to_it_and_a_person_is_refused() {
    for convention in CONVENTIONS {
        let p = pascals(SEA_LEVEL);
        let sensor = MoistAir::from_sensor(celsius(14.0), percent(104.0), convention, p).unwrap();
        near("cut", sensor.relative_humidity().percent(), 100.0, 1e-9);
        let refused = MoistAir::from_relative_humidity(celsius(14.0), percent(104.0), convention, p);
        assert!(matches!(refused, Err(MoistAirError::Supersaturated { .. })), "{refused:?}");
    }
}

#[test]
fn impossible_pairs_are_refused_with_the_reason() {
    use Known::{DewPoint, HumidityRatio, RelativeHumidity, Temperature, WetBulb};
    let t = Temperature(celsius(10.0));
    let cases: [(Known, Known, &str); 14] = [
        (t, RelativeHumidity(percent(101.0)), "more than saturated"),
        (t, DewPoint(celsius(10.1)), "the dew point, 10.10 °C, is above the temperature, 10.00 °C"),
        (t, WetBulb(celsius(10.1)), "too high"),
        (t, WetBulb(celsius(-9.0)), "too low"),
        (t, HumidityRatio(ratio(0.008)), "more than saturated"),
        (t, t, "temperature is given twice"),
        (DewPoint(celsius(3.0)), HumidityRatio(ratio(0.004)), "same quantity"),
        (RelativeHumidity(percent(0.0)), DewPoint(celsius(3.0)), "says nothing about the temperature"),
        (RelativeHumidity(percent(120.0)), WetBulb(celsius(3.0)), "more than saturated"),
        (WetBulb(celsius(3.0)), DewPoint(celsius(4.0)), "below the dew point"),
        (WetBulb(celsius(3.0)), HumidityRatio(ratio(0.02)), "below the dew point"),
        (RelativeHumidity(percent(0.01)), WetBulb(celsius(60.0)), "too high"),
        (Temperature(celsius(90.0)), RelativeHumidity(percent(1.0)), "outside -60 to 80 °C"),
        (t, DewPoint(celsius(-61.0)), "outside -60 to 200 °C"),
    ];
    for (first, second, reason) in cases {
        let error = two(first, second).expect_err(reason).to_string();
        assert!(error.contains(reason), "{first:?} and {second:?}: {error}");
        let swapped = two(second, first).expect_err(reason).to_string();
        assert_eq!(error, swapped, "the order of the two must not matter");
    }
}

#[test]
fn what_lies_outside_the_curves_is_an_error_and_never_a_number() {
    let thin: Pressure = pascals(20_000.0);
    let boiling = MoistAir::from_relative_humidity(celsius(70.0), percent(10.0), BelowFreezing::Water, thin);
    assert!(matches!(boiling, Err(MoistAirError::NearBoiling { .. })), "{boiling:?}");
    assert!(MoistAir::from_vapour_pressure(celsius(10.0), vapour(-1.0), thin).is_err());
    assert!(Curve::Water.pressure(celsius(-60.1)).is_err());
    assert!(Curve::Water.pressure(celsius(200.0)).is_ok());
    assert!(Curve::Ice.pressure(celsius(0.1)).is_err());
    assert!(Curve::Water.pressure_in_air(celsius(80.1), thin).is_err());
    assert!(Curve::Ice.temperature(vapour(700.0)).is_err(), "no ice beside that much vapour");
    assert!(Curve::Water.temperature(vapour(0.0)).is_err());
    let dry = air(20.0, 0.0);
    assert!(dry.dew_point().is_err());
    assert_eq!(dry.frost_point(), None);
    assert_eq!(air(20.0, 80.0).frost_point(), None, "no frost point above 0 °C");
    assert!(dry.wet_bulb().celsius() > 0.0);
}

/// 0 °C over ice and over water meet: the triple point is at 0.01 °C.
#[test]
fn both_curves_meet_at_freezing() {
    let (water, ice) = (Curve::Water.pressure(celsius(0.0)).unwrap(), Curve::Ice.pressure(celsius(0.0)).unwrap());
    near("pressure", water.pascals(), ice.pascals(), 0.1);
}
