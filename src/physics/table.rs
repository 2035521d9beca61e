//! The saturation curves of pure water as tables, for the inner loops of models.
//!
//! Between whole degrees a cubic through the values and slopes at both ends; from −60 °C up it is within a millionth of the
//! equations, which is far less than they are sure of, and takes neither an exponential nor a logarithm.

use std::sync::LazyLock;

use super::Curve;

/// One row for each degree from the curve's lower end: the cubic's coefficients, in Pa and K.
struct Rows {
    lowest: f64,
    rows: Vec<[f64; 4]>,
}

static WATER: LazyLock<Rows> = LazyLock::new(|| Rows::new(Curve::Water, 100));
static ICE: LazyLock<Rows> = LazyLock::new(|| Rows::new(Curve::Ice, 0));

impl Rows {
    fn new(curve: Curve, highest: i32) -> Self {
        let lowest = curve.ends().0;
        let rows = (lowest as i32..highest).map(|degree| {
            let [left, right] = [degree, degree + 1].map(|degree| curve.at(f64::from(degree), 0.0));
            let rise = right.pressure - left.pressure;
            let (square, cube) = (left.slope - rise, rise - right.slope);
            // left + x·rise + x·(1 − x)·((1 − x)·square + x·cube), by powers of x.
            [left.pressure, left.slope, cube - 2.0 * square, square - cube]
        });
        Self { lowest, rows: rows.collect() }
    }

    #[inline]
    fn at(&self, celsius: f64) -> (f64, f64) {
        let along = (celsius - self.lowest).clamp(0.0, self.rows.len() as f64);
        let row = (along as usize).min(self.rows.len() - 1);
        let x = along - row as f64;
        let [value, slope, square, cube] = self.rows[row];
        (value + x * (slope + x * (square + x * cube)), slope + x * (2.0 * square + x * 3.0 * cube))
    }
}

/// Saturation pressure of pure water with its slope, Pa and Pa/K. Held at the ends: −60…100 °C over liquid, −100…0 °C over ice.
#[inline]
pub(super) fn saturation(curve: Curve, celsius: f64) -> (f64, f64) {
    match curve {
        Curve::Water => WATER.at(celsius),
        Curve::Ice => ICE.at(celsius),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_are_within_a_millionth_of_the_equations() {
        for (curve, lowest, steps) in [(Curve::Water, -60.0, 1_599_u32), (Curve::Ice, -60.0, 599)] {
            for step in 0..=steps {
                let celsius = lowest + 0.1 * f64::from(step) + 0.03;
                let (pressure, slope) = saturation(curve, celsius);
                let exact = curve.at(celsius, 0.0);
                assert!((pressure / exact.pressure - 1.0).abs() < 1e-6, "{curve:?} {celsius}");
                assert!((slope / exact.slope - 1.0).abs() < 1e-4, "{curve:?} {celsius}");
            }
        }
    }
}
