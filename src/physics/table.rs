//! The saturation curves of pure water as tables, for the inner loops of models.
//!
//! Between whole degrees a cubic through the values and slopes at both ends; from −60 °C up it is within a millionth of the
//! equations, which is far less than they are sure of, and takes neither an exponential nor a logarithm.

use std::sync::LazyLock;

use super::Curve;

/// One row for each degree from the curve's lower end: value and slope, Pa and Pa/K.
struct Rows {
    lowest: f64,
    rows: Vec<(f64, f64)>,
}

static WATER: LazyLock<Rows> = LazyLock::new(|| Rows::new(Curve::Water, 100));
static ICE: LazyLock<Rows> = LazyLock::new(|| Rows::new(Curve::Ice, 0));

impl Rows {
    fn new(curve: Curve, highest: i32) -> Self {
        let lowest = curve.ends().0;
        let rows = (lowest as i32..=highest).map(|degree| {
            let point = curve.at(f64::from(degree), 0.0);
            (point.pressure, point.slope)
        });
        Self { lowest, rows: rows.collect() }
    }

    fn at(&self, celsius: f64) -> (f64, f64) {
        let along = (celsius - self.lowest).clamp(0.0, (self.rows.len() - 1) as f64);
        let row = (along as usize).min(self.rows.len() - 2);
        let x = along - row as f64;
        let ((left, left_slope), (right, right_slope)) = (self.rows[row], self.rows[row + 1]);
        let rise = right - left;
        let (square, cube) = (left_slope - rise, rise - right_slope);
        // left + x·rise + x·(1 − x)·((1 − x)·square + x·cube), and its derivative.
        let rest = 1.0 - x;
        let bend = rest * square + x * cube;
        (left + x * (rise + rest * bend), rise + (rest - x) * bend + x * rest * (cube - square))
    }
}

/// Saturation pressure of pure water with its slope, Pa and Pa/K. Held at the ends: −60…100 °C over liquid, −100…0 °C over ice.
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
