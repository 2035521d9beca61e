//! Saturation: the vapour pressure at which air can hold no more, over liquid water and over ice, and its inverse.
//!
//! Pure water: Hyland and Wexler (1983), as printed in ASHRAE Handbook Fundamentals, chapter 1, equations 5 (ice,
//! −100…0 °C) and 6 (liquid, 0…200 °C). Below 0 °C the liquid equation is carried on for supercooled water down to
//! −60 °C; there it departs from Murphy and Koop (2005) by 0.04 % at −10 °C, 0.1 % at −20 °C, 0.25 % at −30 °C,
//! 0.7 % at −40 °C, 2 % at −50 °C and 5 % at −60 °C (computed from both equations).
//!
//! In air: times the enhancement factor f(p, t) in Buck's (1981) form, constants from memory. Against the real-gas
//! virial equations of ASHRAE RP-1485 (CoolProp 8.0.0) the humidity ratio at saturation is then within 0.065 % over
//! −40…50 °C and 70…105 kPa, 0.1 % down to −80 °C over ice, and 0.7 % at 80 °C.

use crate::units::{OutOfRange, Pressure, Temperature, VapourPressure};

/// What relative humidity and dew point refer to below 0 °C. Sources of readings differ in this.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum BelowFreezing {
    /// Supercooled liquid water: meteorological practice (WMO) and nearly all humidity sensors.
    #[default]
    Water,
    /// Ice; then a "dew point" below 0 °C is a frost point. Some archives and some psychrometric programs.
    Ice,
}

impl BelowFreezing {
    /// The curve that a humidity at `temperature` refers to; liquid at 0 °C and above, whatever the convention.
    pub fn curve(self, temperature: Temperature) -> Curve {
        if self == Self::Ice && temperature.celsius() < 0.0 { Curve::Ice } else { Curve::Water }
    }
}

/// Which surface the vapour is in equilibrium with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Curve {
    /// Liquid water, −60…200 °C (supercooled below 0 °C).
    Water,
    /// Ice, −100…0 °C.
    Ice,
}

/// No saturation temperature on this curve.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SaturationError {
    /// Drier than the lower end of the curve, or wholly dry.
    #[error("a vapour pressure of {pascals} Pa lies below the curve's lower end, {lowest:.3} Pa")]
    TooDry {
        /// What was given, in Pa.
        pascals: f64,
        /// Vapour pressure at the curve's lower end, in Pa.
        lowest: f64,
    },
    /// Above the upper end of the curve: for ice, more than ice at 0 °C can stand beside.
    #[error("a vapour pressure of {pascals} Pa lies above the curve's upper end, {highest:.1} Pa")]
    TooMoist {
        /// What was given, in Pa.
        pascals: f64,
        /// Vapour pressure at the curve's upper end, in Pa.
        highest: f64,
    },
}

/// Saturation vapour pressure with its first two derivatives by temperature: Pa, Pa/K, Pa/K².
#[derive(Debug, Clone, Copy)]
pub(super) struct CurvePoint {
    pub pressure: f64,
    pub slope: f64,
    pub curvature: f64,
}

/// A logarithm with its first two derivatives by temperature.
#[derive(Clone, Copy)]
struct Logarithm {
    value: f64,
    first: f64,
    second: f64,
}

const ZERO_CELSIUS: f64 = 273.15;
/// The two curves at 0 °C, in Pa.
const WATER_AT_ZERO: f64 = 611.212_867;
const ICE_AT_ZERO: f64 = 611.153_571;

impl Curve {
    /// Lowest and highest temperature of the curve, in °C.
    pub(super) const fn ends(self) -> (f64, f64) {
        match self {
            Self::Water => (-60.0, 200.0),
            Self::Ice => (-100.0, 0.0),
        }
    }

    fn check(self, temperature: Temperature) -> Result<f64, OutOfRange> {
        let (lowest, highest) = self.ends();
        let value = temperature.celsius();
        if (lowest..=highest).contains(&value) {
            return Ok(value);
        }
        let quantity = match self {
            Self::Water => "temperature of saturation over liquid water",
            Self::Ice => "temperature of saturation over ice",
        };
        Err(OutOfRange { quantity, value, unit: "°C", lowest, highest })
    }

    /// Saturation pressure of pure water, without air.
    ///
    /// # Errors
    /// Outside the curve's range: −60…200 °C over liquid, −100…0 °C over ice.
    pub fn pressure(self, temperature: Temperature) -> Result<VapourPressure, OutOfRange> {
        let celsius = self.check(temperature)?;
        Ok(VapourPressure::clamped(self.logarithm(celsius).value.exp()))
    }

    /// Vapour pressure (mole fraction × pressure) of saturated air at `pressure`.
    ///
    /// Accurate up to 80 °C; the enhancement factor is not known beyond.
    ///
    /// # Errors
    /// Outside the curve's range, and above 80 °C.
    pub fn pressure_in_air(self, temperature: Temperature, pressure: Pressure) -> Result<VapourPressure, OutOfRange> {
        let celsius = self.check(temperature)?;
        let highest = 80.0;
        if celsius > highest {
            let (lowest, _) = self.ends();
            let quantity = "temperature of saturated air";
            return Err(OutOfRange { quantity, value: celsius, unit: "°C", lowest, highest });
        }
        Ok(VapourPressure::clamped(self.at(celsius, pressure.pascals()).pressure))
    }

    /// Enhancement factor f: how many times more vapour saturated air holds than pure water's saturation pressure
    /// says (about 1.004 at sea level).
    ///
    /// # Errors
    /// Outside the curve's range, and above 80 °C.
    pub fn enhancement_factor(self, temperature: Temperature, pressure: Pressure) -> Result<f64, OutOfRange> {
        self.pressure_in_air(temperature, pressure)?;
        Ok(self.enhancement(temperature.celsius(), pressure.pascals()).0)
    }

    /// Temperature at which pure water has this saturation pressure.
    ///
    /// # Errors
    /// A vapour pressure outside what the curve reaches.
    pub fn temperature(self, vapour_pressure: VapourPressure) -> Result<Temperature, SaturationError> {
        self.invert(vapour_pressure.pascals(), 0.0).map(Temperature::clamped)
    }

    /// Temperature at which air of this vapour pressure saturates: dew point on [`Curve::Water`], frost point on
    /// [`Curve::Ice`].
    ///
    /// # Errors
    /// A vapour pressure outside what the curve reaches at this pressure.
    pub fn temperature_in_air(
        self,
        vapour_pressure: VapourPressure,
        pressure: Pressure,
    ) -> Result<Temperature, SaturationError> {
        self.invert(vapour_pressure.pascals(), pressure.pascals()).map(Temperature::clamped)
    }

    /// Natural logarithm of pure water's saturation pressure in Pa.
    fn logarithm(self, celsius: f64) -> Logarithm {
        let t = celsius + ZERO_CELSIUS;
        let (inverse, log) = (1.0 / t, t.ln());
        match self {
            Self::Water => Logarithm {
                value: -5.800_220_6e3 * inverse
                    + 1.391_499_3
                    + t * (-4.864_023_9e-2 + t * (4.176_476_8e-5 - t * 1.445_209_3e-8))
                    + 6.545_967_3 * log,
                first: inverse * (5.800_220_6e3 * inverse + 6.545_967_3) - 4.864_023_9e-2
                    + t * (2.0 * 4.176_476_8e-5 - t * (3.0 * 1.445_209_3e-8)),
                second: -inverse * inverse * (2.0 * 5.800_220_6e3 * inverse + 6.545_967_3) + 2.0 * 4.176_476_8e-5
                    - t * (6.0 * 1.445_209_3e-8),
            },
            Self::Ice => Logarithm {
                value: -5.674_535_9e3 * inverse
                    + 6.392_524_7
                    + t * (-9.677_843e-3 + t * (6.221_570_1e-7 + t * (2.074_782_5e-9 - t * 9.484_024e-13)))
                    + 4.163_501_9 * log,
                first: inverse * (5.674_535_9e3 * inverse + 4.163_501_9) - 9.677_843e-3
                    + t * (2.0 * 6.221_570_1e-7 + t * (3.0 * 2.074_782_5e-9 - t * (4.0 * 9.484_024e-13))),
                second: -inverse * inverse * (2.0 * 5.674_535_9e3 * inverse + 4.163_501_9)
                    + 2.0 * 6.221_570_1e-7
                    + t * (6.0 * 2.074_782_5e-9 - t * (12.0 * 9.484_024e-13)),
            },
        }
    }

    /// Enhancement factor with its first two derivatives by temperature. Zero pressure means pure water: 1.
    #[inline]
    pub(super) fn enhancement(self, celsius: f64, pascals: f64) -> (f64, f64, f64) {
        if pascals <= 0.0 {
            return (1.0, 0.0, 0.0);
        }
        // Buck (1981) gives f − 1 in units of 1e-4 and the pressure in hPa.
        let (constant, by_pressure, by_square) = match self {
            Self::Water => (7.2e-4, 0.032_0e-6, 5.9e-12),
            Self::Ice => (2.2e-4, 0.038_3e-6, 6.4e-12),
        };
        let square = by_square * pascals;
        (1.0 + constant + pascals * by_pressure + square * celsius * celsius, 2.0 * square * celsius, 2.0 * square)
    }

    /// Saturation vapour pressure in air of `pascals` at 0 °C, without computing the curve.
    #[inline]
    pub(super) fn at_zero(self, pascals: f64) -> f64 {
        let (factor, ..) = self.enhancement(0.0, pascals);
        let pure = match self {
            Self::Water => WATER_AT_ZERO,
            Self::Ice => ICE_AT_ZERO,
        };
        factor * pure
    }

    /// Saturation vapour pressure in air of `pascals`.
    pub(super) fn at(self, celsius: f64, pascals: f64) -> CurvePoint {
        let log = self.logarithm(celsius);
        let (factor, factor_slope, factor_curvature) = self.enhancement(celsius, pascals);
        let pressure = factor * log.value.exp();
        let relative = factor_slope / factor;
        let first = log.first + relative;
        let second = log.second + factor_curvature / factor - relative * relative;
        CurvePoint { pressure, slope: pressure * first, curvature: pressure * (first * first + second) }
    }

    /// Temperature in °C at which the saturation vapour pressure in air of `pascals` is `vapour`.
    pub(super) fn invert(self, vapour: f64, pascals: f64) -> Result<f64, SaturationError> {
        let (cold, hot) = self.ends();
        if vapour.is_nan() || vapour <= 0.0 {
            return Err(SaturationError::TooDry { pascals: vapour, lowest: self.at(cold, pascals).pressure });
        }
        if self == Self::Ice && vapour > self.at_zero(pascals) * (1.0 + 1e-7) {
            return Err(SaturationError::TooMoist { pascals: vapour, highest: self.at_zero(pascals) });
        }
        let target = vapour.ln();
        // A Magnus-type formula inverted gives a first guess within 1 K over the range of weather; Newton's method on the
        // logarithm, which is nearly linear in that guess's variable, then needs two or three steps.
        let over = target - 611.2_f64.ln();
        let mut celsius = match self {
            Self::Water => 243.12 * over / (17.62 - over).max(1.0),
            Self::Ice => 272.62 * over / (22.46 - over).max(1.0),
        }
        .clamp(cold, hot);
        for _ in 0..20 {
            let log = self.logarithm(celsius);
            let (factor, factor_slope, _) = self.enhancement(celsius, pascals);
            let excess = factor - 1.0;
            // ln(1 + x) to 3e-9 for the at most 1 % that f exceeds 1 by.
            let log_factor = excess * (1.0 - excess * (0.5 - excess * (1.0 / 3.0)));
            let step = (target - log.value - log_factor) / (log.first + factor_slope / factor);
            celsius += step;
            // Newton's error after a step of s kelvins is about s²/300.
            if step.abs() < 3e-4 {
                break;
            }
            celsius = celsius.clamp(cold - 1.0, hot + 1.0);
        }
        // A hair beyond an end is the end: that is rounding, not another state.
        const ROUNDING: f64 = 1e-6;
        if celsius < cold - ROUNDING {
            Err(SaturationError::TooDry { pascals: vapour, lowest: self.at(cold, pascals).pressure })
        } else if celsius > hot + ROUNDING {
            Err(SaturationError::TooMoist { pascals: vapour, highest: self.at(hot, pascals).pressure })
        } else {
            Ok(celsius.clamp(cold, hot))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_constants_for_freezing_are_those_of_the_curves() {
        for curve in [Curve::Water, Curve::Ice] {
            for pascals in [0.0, 85_000.0] {
                assert!((curve.at_zero(pascals) / curve.at(0.0, pascals).pressure - 1.0).abs() < 1e-9, "{curve:?}");
            }
        }
    }

    #[test]
    fn the_derivatives_are_those_of_the_curve() {
        for (curve, celsius) in [(Curve::Water, -35.0), (Curve::Water, 20.0), (Curve::Ice, -70.0), (Curve::Ice, -5.0)] {
            for pascals in [0.0, 85_000.0] {
                let point = curve.at(celsius, pascals);
                let (below, above) = (curve.at(celsius - 0.01, pascals), curve.at(celsius + 0.01, pascals));
                let slope = (above.pressure - below.pressure) / 0.02;
                let curvature = (above.slope - below.slope) / 0.02;
                assert!((point.slope / slope - 1.0).abs() < 1e-6, "{curve:?} {celsius}");
                assert!((point.curvature / curvature - 1.0).abs() < 1e-6, "{curve:?} {celsius}");
            }
        }
    }
}
