//! The simulation's own moist air, written apart from the daemon's, so that agreement between the two means something.

/// Moist air of a place: what a flow carries.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Air {
    /// °C.
    pub(super) temperature: f64,
    /// kg/kg.
    pub(super) humidity_ratio: f64,
    /// ppm of dry air, by volume.
    pub(super) carbon_dioxide: f64,
}

/// Gas constant of dry air, J/(kg·K).
const DRY_AIR: f64 = 287.05;

/// Latent heat of evaporation near 15 °C, kJ/kg.
pub(super) const LATENT: f64 = 2_466.0;

/// Saturation pressure over liquid water, Pa; also below 0 °C, where RH sensors mean supercooled water
/// (WMO Guide No. 8, annex 4.B: 6.112 hPa · exp(17.62 t/(243.12 + t)), good to 0.3 % within −45…60 °C).
pub(super) fn saturation_pressure(celsius: f64) -> f64 {
    611.2 * (17.62 * celsius / (243.12 + celsius)).exp()
}

/// Humidity ratio, kg/kg, from °C, a ratio and Pa.
pub(super) fn humidity_ratio(celsius: f64, relative_humidity: f64, pressure: f64) -> f64 {
    let vapour = relative_humidity * saturation_pressure(celsius);
    0.621_98 * vapour / (pressure - vapour)
}

impl Air {
    /// From °C, a ratio, ppm and Pa.
    pub(super) fn new(temperature: f64, relative_humidity: f64, carbon_dioxide: f64, pressure: f64) -> Self {
        Self { temperature, humidity_ratio: humidity_ratio(temperature, relative_humidity, pressure), carbon_dioxide }
    }

    /// Vapour pressure, Pa.
    pub(super) fn vapour_pressure(&self, pressure: f64) -> f64 {
        pressure * self.humidity_ratio / (0.621_98 + self.humidity_ratio)
    }

    /// Relative humidity over liquid water, a ratio.
    pub(super) fn relative_humidity(&self, pressure: f64) -> f64 {
        self.vapour_pressure(pressure) / saturation_pressure(self.temperature)
    }

    /// Dew point over liquid water, °C: the saturation formula solved for the temperature.
    pub(super) fn dew_point(&self, pressure: f64) -> f64 {
        let logarithm = (self.vapour_pressure(pressure) / 611.2).ln();
        243.12 * logarithm / (17.62 - logarithm)
    }

    /// Dry air in a cubic metre, kg/m³.
    pub(super) fn density(&self, pressure: f64) -> f64 {
        (pressure - self.vapour_pressure(pressure)) / (DRY_AIR * (self.temperature + 273.15))
    }

    /// Heat capacity of the air that holds 1 kg of dry air, kJ/K.
    pub(super) fn heat_capacity(&self) -> f64 {
        1.006 + 1.86 * self.humidity_ratio
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{physics::Curve, units::Temperature};

    #[test]
    fn the_simulation_and_the_daemon_agree_on_saturation_although_they_were_written_apart() {
        for celsius in [-20.0, -10.0, 0.01, 10.0, 16.0, 25.0] {
            let own = saturation_pressure(celsius);
            let theirs = Curve::Water.pressure(Temperature::from_celsius(celsius).unwrap()).unwrap().pascals();
            // The formula's own stated error is 0.3 %; the daemon's curve below 0 °C is another extrapolation.
            assert!((own / theirs - 1.0).abs() < 0.008, "{celsius} °C: {own} and {theirs} Pa");
        }
    }

    #[test]
    fn relative_humidity_and_dew_point_come_back_from_the_humidity_ratio() {
        for celsius in [-14.0, 3.0, 16.0] {
            let air = Air::new(celsius, 0.8, 430.0, 99_000.0);
            assert!((air.relative_humidity(99_000.0) - 0.8).abs() < 1e-9);
            let at_dew_point = saturation_pressure(air.dew_point(99_000.0));
            assert!((at_dew_point / air.vapour_pressure(99_000.0) - 1.0).abs() < 1e-9);
        }
    }
}
