//! Cold surfaces.

use mistwright::physics::surface::{
    dew_margin, factor_of_wall, highest_dry_humidity, lowest_dry_factor, temperature_by_factor, wetting_temperature,
};
use mistwright::physics::{BelowFreezing, MoistAir};
use mistwright::units::{ThermalResistance, Transmittance};

use super::{SEA_LEVEL, air, celsius, near, pascals, share};

/// DIN 4108-2, seen quoted: 20 °C, 50 % inside, −5 °C outside, 80 % at the surface: 12.6 °C, fRsi 0.70.
#[test]
fn the_mould_criterion_gives_its_well_known_factor() {
    let vapour = air(20.0, 50.0).vapour_pressure();
    // 80 % at the surface: the temperature at which this vapour is 80 % of saturation.
    let at_80 = mistwright::units::VapourPressure::from_pascals(vapour.pascals() / 0.8).unwrap();
    let surface = mistwright::physics::Curve::Water.temperature_in_air(at_80, pascals(SEA_LEVEL)).unwrap();
    near("surface", surface.celsius(), 12.6, 0.05);
    near("by factor", temperature_by_factor(celsius(20.0), celsius(-5.0), share(0.70)).celsius(), 12.5, 1e-9);
    near("factor", (surface.celsius() + 5.0) / 25.0, 0.70, 0.006);
}

/// Computed by hand from the dew point: 18 °C, 90 %, −5 °C outside.
#[test]
fn a_fruiting_room_needs_a_very_warm_wall() {
    near("factor", lowest_dry_factor(air(18.0, 90.0), celsius(-5.0)).unwrap().ratio(), 0.928, 0.001);
    near("none", lowest_dry_factor(air(18.0, 40.0), celsius(10.0)).unwrap().ratio(), 0.0, 1e-12);
    near("warm outside", lowest_dry_factor(air(18.0, 90.0), celsius(20.0)).unwrap().ratio(), 0.0, 1e-12);
}

/// ISO 6946 inner film of a wall, 0.13 m²K/W; worked by hand: U = 0.5 gives 1 − 0.065.
#[test]
fn a_plain_walls_factor_follows_from_its_transmittance() {
    let film = ThermalResistance::from_square_metre_kelvins_per_watt(0.13).unwrap();
    let wall = |u| factor_of_wall(Transmittance::from_watts_per_square_metre_kelvin(u).unwrap(), film).ratio();
    near("insulated", wall(0.5), 0.935, 1e-12);
    near("impossible", wall(10.0), 0.0, 1e-12);
}

#[test]
fn the_dew_margin_is_to_the_dew_point_above_freezing_and_to_the_frost_point_below() {
    let humid = air(16.0, 90.0);
    let expected = 12.0 - humid.dew_point().unwrap().celsius();
    near("dew", dew_margin(celsius(12.0), humid).unwrap().kelvins(), expected, 1e-12);
    // A cold glass in a moist room gets wet from the dew point on, even where it is below 0 °C itself.
    near("cold glass", dew_margin(celsius(-2.0), humid).unwrap().kelvins(), expected - 14.0, 1e-12);
    let dry = air(4.0, 30.0);
    let frost = dry.frost_point().unwrap();
    assert!(frost.celsius() - dry.dew_point().unwrap().celsius() > 0.9, "the two should differ by about 1 K");
    near("frost", dew_margin(celsius(-5.0), dry).unwrap().kelvins(), -5.0 - frost.celsius(), 1e-12);
}

#[test]
fn air_at_the_highest_dry_humidity_has_no_dew_margin_left() {
    for surface in [-20.0, -3.0, 0.5, 9.0, 15.9] {
        let highest = highest_dry_humidity(celsius(surface), celsius(16.0), pascals(SEA_LEVEL)).unwrap();
        let edge = MoistAir::from_relative_humidity(celsius(16.0), highest, BelowFreezing::Water, pascals(SEA_LEVEL));
        near("margin", dew_margin(celsius(surface), edge.unwrap()).unwrap().kelvins(), 0.0, 1e-3);
    }
    let warm = highest_dry_humidity(celsius(18.0), celsius(16.0), pascals(SEA_LEVEL)).unwrap();
    near("a warm surface", warm.ratio(), 1.0, 1e-12);
}

#[test]
fn wholly_dry_air_wets_nothing_and_says_so() {
    assert!(wetting_temperature(air(20.0, 0.0)).is_err());
    // Too dry for the supercooled curve, but not for ice.
    let polar = air(-50.0, 20.0);
    assert!(polar.dew_point().is_err());
    assert_eq!(Some(wetting_temperature(polar).unwrap()), polar.frost_point());
}
