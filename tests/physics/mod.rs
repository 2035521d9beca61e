//! Moist air against published values, a real-gas library, and itself.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

mod air_command;
mod fog;
mod pairs;
mod published;
mod real_gas;
mod surfaces;

use mistwright::physics::{BelowFreezing, MoistAir};
use mistwright::units::{
    AirChanges, AirFlow, DryAirFlow, Elevation, Fraction, HumidityRatio, Pressure, RelativeHumidity, Temperature,
    VapourPressure, Volume,
};
use proptest::prelude::ProptestConfig;

/// More cases than usual for what must hold everywhere; a failure prints its smallest input and writes no file.
pub fn cases() -> ProptestConfig {
    let cases = std::env::var("PROPTEST_CASES").ok().and_then(|count| count.parse().ok()).unwrap_or(512);
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

pub const SEA_LEVEL: f64 = 101_325.0;

pub fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value).unwrap()
}

pub fn fahrenheit(value: f64) -> Temperature {
    celsius((value - 32.0) / 1.8)
}

pub fn percent(value: f64) -> RelativeHumidity {
    RelativeHumidity::from_percent(value).unwrap()
}

pub fn pascals(value: f64) -> Pressure {
    Pressure::from_pascals(value).unwrap()
}

pub fn vapour(value: f64) -> VapourPressure {
    VapourPressure::from_pascals(value).unwrap()
}

pub fn ratio(value: f64) -> HumidityRatio {
    HumidityRatio::from_kilograms_per_kilogram(value).unwrap()
}

pub fn share(value: f64) -> Fraction {
    Fraction::from_ratio(value).unwrap()
}

pub fn metres(value: f64) -> Elevation {
    Elevation::from_metres(value).unwrap()
}

pub fn dry_air(value: f64) -> DryAirFlow {
    DryAirFlow::from_kilograms_per_hour(value).unwrap()
}

pub fn flow(value: f64) -> AirFlow {
    AirFlow::from_cubic_metres_per_hour(value).unwrap()
}

pub fn room_flow(cubic_metres: f64, changes_per_hour: f64) -> AirFlow {
    AirChanges::from_per_hour(changes_per_hour).unwrap().times(Volume::from_cubic_metres(cubic_metres).unwrap())
}

/// Air at sea level, relative humidity over liquid water.
pub fn air(temperature: f64, relative_humidity: f64) -> MoistAir {
    let (t, rh) = (celsius(temperature), percent(relative_humidity));
    MoistAir::from_relative_humidity(t, rh, BelowFreezing::Water, pascals(SEA_LEVEL)).unwrap()
}

#[track_caller]
pub fn near(what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!((found - expected).abs() <= tolerance, "{what}: found {found}, expected {expected} ± {tolerance}");
}

#[track_caller]
pub fn within(what: &str, found: f64, expected: f64, relative: f64) {
    near(what, found, expected, expected.abs() * relative);
}
