//! Mixing, fog at the inlet, and what would clear it.

use mistwright::physics::mixing::condense;
use mistwright::physics::{BelowFreezing, Curve, MixtureError, MoistAir, inlet_fog, mix};
use proptest::prelude::*;

use super::{SEA_LEVEL, air, cases, celsius, dry_air, fahrenheit, near, pascals, percent, ratio};

fn mixed(supply: MoistAir, room: MoistAir, room_share: f64) -> mistwright::physics::Mixture {
    mix(&[(supply, dry_air(1_000.0 * (1.0 - room_share))), (room, dry_air(1_000.0 * room_share))]).unwrap()
}

/// A university physics course's example: equal parts of 80 °F, 80 % and 30 °F, 40 % make 55 °F and fog (it
/// prints 102 %). 0.079 g/kg of droplets: computed with a reference library.
#[test]
fn equal_parts_of_warm_humid_and_freezing_air_make_fog() {
    let warm = air(fahrenheit(80.0).celsius(), 80.0);
    let cold = air(fahrenheit(30.0).celsius(), 40.0);
    let water = 0.5 * (warm.humidity_ratio().kilograms_per_kilogram() + cold.humidity_ratio().kilograms_per_kilogram());
    let enthalpy = 0.5 * (warm.enthalpy().kilojoules_per_kilogram() + cold.enthalpy().kilojoules_per_kilogram());
    let before = celsius((enthalpy - 2_501.0 * water) / (1.006 + 1.86 * water));
    near("temperature before it condenses", before.celsius(), fahrenheit(55.0).celsius(), 0.3);
    let saturated = MoistAir::saturated(before, pascals(SEA_LEVEL)).unwrap().vapour_pressure().pascals();
    near("humidity before it condenses", 100.0 * SEA_LEVEL * water / (0.621_945 + water) / saturated, 102.1, 0.3);
    let mixture = mixed(cold, warm, 0.5);
    near("droplets", mixture.liquid.grams_per_kilogram(), 0.079, 0.01);
    near("saturated", mixture.air.relative_humidity().percent(), 100.0, 1e-6);
    // Each g/kg of droplets has given the air about 2.45 kJ, which warm it by 2.4 K.
    near("temperature", mixture.air.temperature().celsius() - before.celsius(), 0.079 * 2.4, 0.03);
}

#[test]
fn streams_that_cannot_meet_are_refused() {
    let high = MoistAir::saturated(celsius(10.0), pascals(85_000.0)).unwrap();
    let low = air(10.0, 50.0);
    let error = mix(&[(high, dry_air(1.0)), (low, dry_air(1.0))]).unwrap_err();
    assert!(matches!(error, MixtureError::DifferentPressures { .. }), "{error}");
    assert!(matches!(mix(&[(low, dry_air(0.0))]), Err(MixtureError::NoFlow)));
    assert!(matches!(mix(&[]), Err(MixtureError::NoFlow)));
    assert!(matches!(inlet_fog(high, low), Err(MixtureError::DifferentPressures { .. })));
}

#[test]
fn freezing_air_into_a_fruiting_room_fogs_and_mild_air_does_not() {
    let room = air(16.0, 92.0);
    let fog = inlet_fog(air(-10.0, 80.0), room).unwrap();
    let worst = fog.worst.expect("−10 °C air into 92 % must fog");
    assert!((0.1..1.5).contains(&worst.liquid.grams_per_kilogram()), "{worst:?}");
    assert!((0.2..0.8).contains(&worst.room_share.ratio()), "{worst:?}");
    let clear = inlet_fog(air(10.0, 70.0), room).unwrap();
    assert_eq!(clear.worst, None);
    assert!(clear.highest_clear_humidity.unwrap() > room.relative_humidity());
    assert!(clear.lowest_clear_supply.unwrap().celsius() <= 10.0);
}

/// Droplets hang in the air as liquid: the fog of a room far below 0 °C is judged by the liquid curve, so air that is
/// supersaturated over ice only is clear.
#[test]
fn fog_below_freezing_follows_the_liquid_curve() {
    let cold =
        MoistAir::from_relative_humidity(celsius(-12.0), percent(97.0), BelowFreezing::Water, pascals(SEA_LEVEL));
    let cold = cold.unwrap();
    assert!(cold.relative_humidity_over_ice().unwrap().percent() > 108.0);
    assert_eq!(inlet_fog(cold, cold).unwrap().worst, None);
    let mixture = mixed(air(-30.0, 95.0), air(-2.0, 98.0), 0.5);
    assert!(mixture.liquid.kilograms_per_kilogram() > 0.0);
    let (t, p) = (mixture.air.temperature(), mixture.air.pressure());
    near(
        "liquid curve",
        mixture.air.vapour_pressure().pascals(),
        Curve::Water.pressure_in_air(t, p).unwrap().pascals(),
        1e-6,
    );
}

#[test]
fn a_warm_moist_supply_fogs_even_a_dry_cold_room() {
    let fog = inlet_fog(air(35.0, 100.0), air(-25.0, 0.0)).unwrap();
    assert!(fog.worst.is_some());
    assert_eq!(fog.highest_clear_humidity, None);
}

#[test]
fn vapour_beyond_saturation_condenses_and_warms_the_air() {
    let mixture = condense(celsius(10.0), ratio(0.009), pascals(SEA_LEVEL)).unwrap();
    assert!(mixture.air.temperature().celsius() > 10.5);
    let total = mixture.air.humidity_ratio().kilograms_per_kilogram() + mixture.liquid.kilograms_per_kilogram();
    near("water", total, 0.009, 1e-12);
    let clear = condense(celsius(10.0), ratio(0.005), pascals(SEA_LEVEL)).unwrap();
    near("clear", clear.air.temperature().celsius(), 10.0, 1e-9);
    assert!(clear.liquid.kilograms_per_kilogram() <= 0.0);
}

fn state() -> impl Strategy<Value = MoistAir> {
    (-40.0..40.0_f64, 1.0..100.0_f64).prop_map(|(t, rh)| air(t, rh))
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn mixing_conserves_water_and_enthalpy(a in state(), b in state(), share in 0.0..=1.0_f64) {
        let mixture = mixed(a, b, share);
        let blend = |of: fn(MoistAir) -> f64| (1.0 - share) * of(a) + share * of(b);
        let water = blend(|air| air.humidity_ratio().kilograms_per_kilogram());
        let enthalpy = blend(|air| air.enthalpy().kilojoules_per_kilogram());
        let liquid = mixture.liquid.kilograms_per_kilogram();
        prop_assert!((mixture.air.humidity_ratio().kilograms_per_kilogram() + liquid - water).abs() < 1e-9);
        // Droplets carry 4.186 kJ/(kg·K).
        let found = mixture.air.enthalpy().kilojoules_per_kilogram()
            + liquid * 4.186 * mixture.air.temperature().celsius();
        prop_assert!((found - enthalpy).abs() < 1e-5, "{} for {}", found, enthalpy);
    }

    #[test]
    fn no_mixture_on_the_line_is_foggier_than_the_worst(supply in state(), room in state()) {
        let worst = inlet_fog(supply, room).unwrap().worst;
        let most = worst.map_or(0.0, |fog| fog.liquid.kilograms_per_kilogram());
        for step in 0..=200 {
            let liquid = mixed(supply, room, f64::from(step) / 200.0).liquid.kilograms_per_kilogram();
            prop_assert!(liquid <= most + 2e-9, "{} at {}: {:?}", liquid, step, worst);
        }
        if let Some(fog) = worst {
            let there = mixed(supply, room, fog.room_share.ratio()).liquid.kilograms_per_kilogram();
            prop_assert!((there - most).abs() < 1e-12);
        }
    }

    #[test]
    fn the_highest_clear_humidity_is_clear_and_a_little_more_is_not(supply in state(), t in -20.0..35.0_f64) {
        let room = |ratio: f64| {
            let rh = mistwright::units::RelativeHumidity::from_ratio(ratio).unwrap();
            MoistAir::from_relative_humidity(celsius(t), rh, BelowFreezing::Water, pascals(SEA_LEVEL)).unwrap()
        };
        match inlet_fog(supply, room(0.5)).unwrap().highest_clear_humidity {
            Some(highest) => {
                let ratio = highest.ratio();
                let fog = inlet_fog(supply, room((ratio - 1e-4).max(0.0))).unwrap().worst;
                prop_assert!(ratio < 1e-4 || fog.is_none(), "{:?} below {}", fog, ratio);
                if ratio < 0.995 {
                    prop_assert!(inlet_fog(supply, room(ratio + 5e-3)).unwrap().worst.is_some(), "{}", ratio);
                }
            }
            None => prop_assert!(inlet_fog(supply, room(0.0)).unwrap().worst.is_some()),
        }
    }

    #[test]
    fn the_lowest_clear_supply_is_clear_and_a_little_colder_is_not(supply in state(), room in state()) {
        if let Some(lowest) = inlet_fog(supply, room).unwrap().lowest_clear_supply {
            let tempered = |shift: f64| supply.at_temperature(celsius(lowest.celsius() + shift));
            if let Ok(warmer) = tempered(0.01) {
                prop_assert_eq!(inlet_fog(warmer, room).unwrap().worst, None);
            }
            // Colder than that it is either fog by itself (an error) or fogs on the line.
            if let Ok(colder) = tempered(-0.5) {
                prop_assert!(inlet_fog(colder, room).unwrap().worst.is_some(), "{:?}", lowest);
            }
        }
    }

    #[test]
    fn moister_room_air_never_makes_less_fog(supply in state(), t in 5.0..30.0_f64, rh in 20.0..99.0_f64) {
        let liquid = |rh| inlet_fog(supply, air(t, rh)).unwrap().worst.map_or(0.0, |fog| fog.liquid.grams_per_kilogram());
        prop_assert!(liquid(rh) <= liquid(rh + 1.0) + 1e-6);
    }
}
