//! Published values. "ASHRAE" is ASHRAE Handbook Fundamentals, 2021 SI edition, chapter 1.

use mistwright::physics::atmosphere::{layer_mean, standard_pressure, station_pressure};
use mistwright::physics::flow::{dry_air_flow, vapour_demand, volume_flow};
use mistwright::physics::humidify::{WaterAdded, to_relative_humidity, with_water};
use mistwright::physics::water::{latent_heat_of_evaporation, latent_heat_of_sublimation};
use mistwright::physics::{BelowFreezing, Curve, MoistAir};

use super::{SEA_LEVEL, air, celsius, fahrenheit, flow, metres, near, pascals, percent, ratio, room_flow, within};

/// ASHRAE tables 2 (saturated moist air at 101 325 Pa) and 3 (water at saturation): °C, Pa, kg/kg, m³/kg, kJ/kg.
/// Tolerances are the ones promised; the enthalpies carry the difference between real and linear forms.
#[test]
fn saturated_air_at_sea_level_agrees_with_the_table() {
    for (t, pressure, humidity_ratio, volume, enthalpy) in [
        (0.0, 611.15, 0.003_790_0, 0.778_0, 9.474_4),
        (5.0, 872.6, 0.005_424_7, 0.794_4, 18.639),
        (10.0, 1_228.2, 0.007_662_7, 0.811_6, 29.354),
        (15.0, 1_705.7, 0.010_694, 0.829_9, 42.114),
        (20.0, 2_339.2, 0.014_761, 0.849_8, 57.558),
        (25.0, 3_169.7, 0.020_173, 0.871_6, 76.503),
        (30.0, 4_246.7, 0.027_333, 0.896_1, 100.01),
    ] {
        let name = |what| format!("{what} at {t} °C");
        let saturated = MoistAir::saturated(celsius(t), pascals(SEA_LEVEL)).unwrap();
        within(&name("pressure"), Curve::Water.pressure(celsius(t)).unwrap().pascals(), pressure, 3e-4);
        within(&name("W"), saturated.humidity_ratio().kilograms_per_kilogram(), humidity_ratio, 1e-3);
        within(&name("v"), saturated.specific_volume().cubic_metres_per_kilogram(), volume, 1.5e-3);
        near(&name("h"), saturated.enthalpy().kilojoules_per_kilogram(), enthalpy, 0.3);
    }
}

/// ASHRAE table 1.
#[test]
fn the_standard_atmosphere_agrees_with_the_table() {
    for (elevation, kilopascals) in
        [(0.0, 101.325), (500.0, 95.461), (1_000.0, 89.875), (1_500.0, 84.556), (2_000.0, 79.495)]
    {
        near("pressure", standard_pressure(metres(elevation)).pascals(), kilopascals * 1e3, 5.0);
    }
}

/// ASHRAE table 3, h_fg.
#[test]
fn the_heat_of_evaporation_agrees_with_the_table() {
    for (t, heat) in [(0.0, 2_500.93), (10.0, 2_477.21), (20.0, 2_453.55), (30.0, 2_429.84)] {
        near("heat", latent_heat_of_evaporation(celsius(t)).unwrap().kilojoules_per_kilogram(), heat, 0.1);
    }
    // Evaporation plus fusion at 0 °C: 2501 + 333.4 (the constants of ASHRAE's linear forms).
    near("heat", latent_heat_of_sublimation(celsius(0.0)).unwrap().kilojoules_per_kilogram(), 2_834.4, 0.5);
}

/// The Magnus forms with the constants attributed to WMO-No. 8 (the attribution is from memory). They differ from
/// Hyland and Wexler by up to 0.3 % at 30 °C, and the liquid curve below 0 °C is an extension in both.
#[test]
fn both_curves_agree_with_the_magnus_form_as_far_as_that_form_is_accurate() {
    for t in [-40.0, -30.0, -20.0, -10.0, 0.0, 10.0, 20.0, 30.0] {
        let magnus = 611.2 * (17.62 * t / (243.12_f64 + t)).exp();
        within("water", Curve::Water.pressure(celsius(t)).unwrap().pascals(), magnus, 1e-2);
        if t >= -20.0 {
            within("water", Curve::Water.pressure(celsius(t)).unwrap().pascals(), magnus, 3e-3);
        }
        if t <= 0.0 {
            let magnus = 611.2 * (22.46 * t / (272.62_f64 + t)).exp();
            within("ice", Curve::Ice.pressure(celsius(t)).unwrap().pascals(), magnus, 5e-3);
        }
    }
}

/// The trap of the formulas that leave the enhancement factor out: W at saturation 0.4…0.5 % too low (ASHRAE table 2).
#[test]
fn an_ideal_gas_formula_would_miss_the_table() {
    let pure = Curve::Water.pressure(celsius(20.0)).unwrap().pascals();
    let ideal = 0.621_945 * pure / (SEA_LEVEL - pure);
    assert!((ideal / 0.014_761 - 1.0).abs() > 4e-3, "{ideal}");
}

/// ASHRAE example 1, read from a chart: 40 °C dry bulb, 20 °C wet bulb. It prints a dew point of 7 °C; air of the
/// 6.5 g/kg that it prints has 7.6 °C, so the tolerance is a little over half a degree.
#[test]
fn example_1_state_from_dry_and_wet_bulb() {
    let air = MoistAir::from_wet_bulb(celsius(40.0), celsius(20.0), pascals(SEA_LEVEL)).unwrap();
    within("W", air.humidity_ratio().grams_per_kilogram(), 6.5, 0.02);
    near("h", air.enthalpy().kilojoules_per_kilogram(), 56.7, 0.2);
    near("dew point", air.dew_point().unwrap().celsius(), 7.0, 0.6);
    near("RH", air.relative_humidity().percent(), 14.0, 0.5);
    near("v", air.specific_volume().cubic_metres_per_kilogram(), 0.896, 0.002);
}

/// ASHRAE example 2: 10 m³/s saturated at 2 °C, heated to 40 °C.
#[test]
fn example_2_heating_saturated_air() {
    let cold = air(2.0, 100.0);
    let warm = cold.at_temperature(celsius(40.0)).unwrap();
    within("v", cold.specific_volume().cubic_metres_per_kilogram(), 0.785, 0.005);
    let dry = dry_air_flow(flow(36_000.0), cold);
    within("kg/s", dry.kilograms_per_hour() / 3_600.0, 12.74, 0.005);
    let rise = warm.enthalpy().kilojoules_per_kilogram() - cold.enthalpy().kilojoules_per_kilogram();
    within("kW", dry.kilograms_per_hour() / 3_600.0 * rise, 490.0, 0.005);
    near("volume again", volume_flow(dry, cold).cubic_metres_per_hour(), 36_000.0, 1e-6);
}

/// ASHRAE example 5, read from a chart: 2 kg/s of dry air at 20 °C, wet bulb 8 °C, steam of 110 °C to a dew point of 13 °C.
#[test]
fn example_5_steam_humidification() {
    let before = MoistAir::from_wet_bulb(celsius(20.0), celsius(8.0), pascals(SEA_LEVEL)).unwrap();
    let target =
        MoistAir::from_dew_point(celsius(21.0), celsius(13.0), BelowFreezing::Water, pascals(SEA_LEVEL)).unwrap();
    // The chart gives tenths of a gram.
    near("W before", before.humidity_ratio().grams_per_kilogram(), 1.8, 0.05);
    within("W after", target.humidity_ratio().grams_per_kilogram(), 9.3, 0.01);
    let added = target.humidity_ratio().minus(before.humidity_ratio());
    within("g/s", 2.0 * added.grams_per_kilogram(), 15.0, 0.01);
    let steam = WaterAdded::Steam(celsius(110.0));
    let after = with_water(before, ratio(added.kilograms_per_kilogram()), steam).unwrap();
    near("temperature", after.air.temperature().celsius(), 21.0, 0.2);
}

/// Enthalpy of saturated steam: ASHRAE table 3 at 0 °C; the steam tables' 2 675.6 kJ/kg at 100 °C is from memory.
#[test]
fn steam_brings_the_enthalpy_of_the_steam_tables() {
    for (t, expected) in [(0.0, 2_500.93), (100.0, 2_675.6)] {
        let dry = air(30.0, 0.0);
        let after = with_water(dry, ratio(0.01), WaterAdded::Steam(celsius(t))).unwrap().air;
        let brought = after.enthalpy().kilojoules_per_kilogram() - dry.enthalpy().kilojoules_per_kilogram();
        near("kJ/kg", brought / 0.01, expected, 0.5);
    }
    assert!(with_water(air(30.0, 0.0), ratio(0.01), WaterAdded::Steam(celsius(131.0))).is_err());
}

/// Çengel and Boles, moist-air chapter, as worked in a published solution set: a house at 20 °C and 75 %.
#[test]
fn a_window_in_a_humid_house_condenses_at_its_dew_point() {
    near("dew point", air(20.0, 75.0).dew_point().unwrap().celsius(), 15.4, 0.1);
}

/// Çengel and Boles, same chapter; the inputs were read, the printed answer is from memory: 45 m³/min at 10 °C, 30 %,
/// 100 kPa, brought to 25 °C and 60 %.
#[test]
fn steam_for_an_air_stream_agrees_with_the_textbook() {
    let at = |t, rh| {
        MoistAir::from_relative_humidity(celsius(t), percent(rh), BelowFreezing::Water, pascals(100_000.0)).unwrap()
    };
    let supply = at(10.0, 30.0);
    let steam = vapour_demand(dry_air_flow(flow(45.0 * 60.0), supply), supply, at(25.0, 60.0));
    within("kg/min", steam.kilograms_per_hour() / 60.0, 0.539, 0.005);
}

/// Form of the load: ASHRAE Handbook HVAC Systems and Equipment, humidifiers. Values computed with real-gas moist air
/// (RP-1485), outdoor humidity over water, flow at the indoor state.
#[test]
fn the_humidification_load_agrees_with_real_gas_values() {
    for (volume, changes, inside, outside, load) in [
        (60.0, 4.0, air(16.0, 92.0), air(-10.0, 80.0), 2.614),
        (60.0, 4.0, air(18.0, 90.0), air(5.0, 70.0), 2.251),
        (30.0, 6.0, air(20.0, 85.0), air(-20.0, 75.0), 2.533),
    ] {
        let found = vapour_demand(dry_air_flow(room_flow(volume, changes), inside), outside, inside);
        within("kg/h", found.kilograms_per_hour(), load, 2e-3);
    }
}

/// Common practice among growers, no published source: the rounded figures are 0.001 and 0.013, "roughly
/// thirteen times".
#[test]
fn freezing_air_at_a_third_of_the_rooms_humidity_holds_less_than_a_twelfth_of_its_water() {
    let outside = air(fahrenheit(30.0).celsius(), 31.0).humidity_ratio().kilograms_per_kilogram();
    let inside = air(fahrenheit(68.0).celsius(), 90.0).humidity_ratio().kilograms_per_kilogram();
    near("outside", outside, 0.001_05, 0.000_05);
    near("inside", inside, 0.013_2, 0.000_2);
    assert!((12.0..13.5).contains(&(inside / outside)), "{}", inside / outside);
}

/// Values computed with a reference library: fogging with water of 15 °C.
#[test]
fn fogging_cools_the_air_by_the_computed_amount() {
    for (t, from, to, end, grams) in [(18.0, 60.0, 90.0, 14.39, 1.495), (22.0, 50.0, 90.0, 16.46, 2.293)] {
        let water = WaterAdded::Liquid(celsius(15.0));
        let (fogged, added) = to_relative_humidity(air(t, from), percent(to), water).unwrap();
        near("temperature", fogged.temperature().celsius(), end, 0.05);
        within("g/kg", added.grams_per_kilogram(), grams, 5e-3);
        let again = with_water(air(t, from), ratio(added.kilograms_per_kilogram()), water).unwrap();
        near("the same by adding", again.air.temperature().celsius(), fogged.temperature().celsius(), 1e-5);
    }
}

/// The hydrostatic equation worked by hand: 1 500 m, layer mean 0 °C: exp(−9.80665·1500/(287.042·273.15)) = 0.828 944.
#[test]
fn sea_level_pressure_is_brought_up_to_the_site() {
    let station = station_pressure(pascals(101_325.0), metres(1_500.0), celsius(0.0)).unwrap();
    near("pressure", station.pascals(), 83_990.0, 15.0);
    // In the standard atmosphere itself (table 1): 5.25 °C at the site, 15 °C at sea level.
    let mean = layer_mean(celsius(5.25), metres(1_500.0));
    near("mean", mean.celsius(), 10.125, 1e-9);
    let station = station_pressure(pascals(101_325.0), metres(1_500.0), mean).unwrap();
    near("standard", station.pascals(), 84_556.0, 30.0);
}

/// At 1 500 m, 1.2 kg/m³ is 20 % wrong.
#[test]
fn a_fan_at_altitude_moves_a_fifth_less_dry_air() {
    let (t, rh) = (celsius(16.0), percent(90.0));
    let high = standard_pressure(metres(1_500.0));
    let up = MoistAir::from_relative_humidity(t, rh, BelowFreezing::Water, high).unwrap();
    let found = dry_air_flow(flow(100.0), up).kilograms_per_hour();
    near("short by", 1.0 - found / 120.0, 0.17, 0.03);
    let down = dry_air_flow(flow(100.0), air(16.0, 90.0)).kilograms_per_hour();
    near("against sea level", found / down, 0.834, 0.003);
}

/// The same fan moves 11 % more dry air when it is air of −10 °C than when it is room air.
#[test]
fn a_flow_is_more_dry_air_when_it_is_cold_air() {
    let cold = dry_air_flow(flow(100.0), air(-10.0, 80.0)).kilograms_per_hour();
    let warm = dry_air_flow(flow(100.0), air(16.0, 92.0)).kilograms_per_hour();
    near("more", cold / warm - 1.0, 0.11, 0.01);
}
