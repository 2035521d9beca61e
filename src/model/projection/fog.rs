//! Whether fog forms where fresh air meets a room's air: yes or no, cheaply.

use crate::{
    physics::{
        Curve, MoistAir,
        bare::{DRY_AIR_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY, enthalpy, saturated_humidity_ratio},
    },
    units::{HumidityRatio, Temperature},
};

/// Excess below this, in kg/kg, is rounding.
const ROUNDING: f64 = 1e-7;

/// Whether any mixture of this supply with `room` air holds more than saturation over liquid water.
///
/// The saturation curve is convex, so that the mixing line lies furthest above it where both have one slope. To find that
/// place the line is taken as straight in temperature and humidity ratio.
/// [`crate::physics::inlet_fog`] says more, at a hundred times the cost.
pub(super) fn mixes_foggy((celsius, moisture): (Temperature, HumidityRatio), room: &MoistAir) -> bool {
    let (cold, warm) = (celsius.celsius(), room.temperature().celsius());
    let (dry, moist) = (moisture.kilograms_per_kilogram(), room.humidity_ratio().kilograms_per_kilogram());
    let (low, high) = if cold < warm { (cold, warm) } else { (warm, cold) };
    let slope = (moist - dry) / (warm - cold);
    // A line that falls, or stands, while the curve rises meets it at its ends only.
    if high - low < 0.1 || slope <= 0.0 {
        return false;
    }
    let pascals = room.pressure().pascals();
    let mut at = 0.5 * (low + high);
    for _ in 0..3 {
        let (_, curve) = saturated_humidity_ratio(Curve::Water, at, pascals);
        // The curve's slope grows by the same share with each kelvin, nearly: a share of z = (a − b)/(a + b) is ln(a/b)/2.
        let z = (slope - curve) / (slope + curve);
        at = (at + 2.0 * z * (1.0 + z * z / 3.0) / growth(at)).clamp(low, high);
    }
    // There, the mixture as it is: it keeps enthalpy, so that its temperature lies a little off the straight line.
    let share = (at - cold) / (warm - cold);
    let water = dry + share * (moist - dry);
    let (from, to) = (enthalpy(cold, dry), enthalpy(warm, moist));
    let celsius =
        (from + share * (to - from) - VAPOUR_AT_ZERO * water) / (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * water);
    water > saturated_humidity_ratio(Curve::Water, celsius, pascals).0 + ROUNDING
}

/// By what share the saturation curve's slope grows with each kelvin, nearly: that of a Magnus form (WMO).
fn growth(celsius: f64) -> f64 {
    17.62 * 243.12 / (243.12 + celsius).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        physics::{BelowFreezing, inlet_fog},
        units::{Pressure, RelativeHumidity},
    };

    #[test]
    fn the_cheap_answer_is_that_of_the_full_search_but_within_a_point_of_where_fog_begins() {
        let pressure = Pressure::from_pascals(95_000.0).unwrap();
        let air = |celsius: f64, percent: f64| {
            let temperature = Temperature::from_celsius(celsius).unwrap();
            let humidity = RelativeHumidity::from_percent(percent).unwrap();
            MoistAir::from_relative_humidity(temperature, humidity, BelowFreezing::Water, pressure).unwrap()
        };
        let (mut foggy, mut clear) = (0, 0);
        for supply in [-25.0, -12.0, -3.0, 2.0, 8.0, 14.0, 22.0, 30.0] {
            for supply_percent in [20.0, 60.0, 80.0, 95.0] {
                for inside in [12.0, 16.0, 20.0] {
                    for percent in [40.0, 60.0, 80.0, 88.0, 92.0, 95.0] {
                        let (supply, room) = (air(supply, supply_percent), air(inside, percent));
                        let full = inlet_fog(supply, room).unwrap();
                        let cheap = mixes_foggy((supply.temperature(), supply.humidity_ratio()), &room);
                        let clear_up_to = full.highest_clear_humidity.map_or(0.0, RelativeHumidity::percent);
                        let near = (clear_up_to - percent).abs() < 1.0;
                        assert!(near || cheap == full.worst.is_some(), "{supply:?} {room:?}: {cheap}, {full:?}");
                        if cheap { foggy += 1 } else { clear += 1 }
                    }
                }
            }
        }
        assert!(foggy > 100 && clear > 100, "{foggy} foggy, {clear} clear");
    }
}
