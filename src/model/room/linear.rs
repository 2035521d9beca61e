//! Exact steps of m dY/dt = inflow − rate·Y.

/// How a quantity moves over a stretch of time, whatever flows in: from `y` with `inflow` it ends at
/// `y·keeps + inflow·gains`, and is `y·mean_keeps + inflow·mean_gains` on average.
#[derive(Debug, Clone, Copy)]
pub(super) struct Exact {
    pub keeps: f64,
    pub gains: f64,
    pub mean_keeps: f64,
    pub mean_gains: f64,
}

impl Exact {
    /// For a store of `mass`, a `rate` at which it empties, and `hours`.
    pub fn new(mass: f64, rate: f64, hours: f64) -> Self {
        let z = rate * hours / mass;
        // Each pair keeps 1 − z·second = first to the last digit: nothing is lost between start, mean and end.
        let (first, second) = if z < 1e-3 {
            // To 1e-11.
            let second = 0.5 - z * (1.0 / 6.0 - z * (1.0 / 24.0));
            (1.0 - z * second, second)
        } else {
            let first = -(-z).exp_m1() / z;
            (first, (1.0 - first) / z)
        };
        let length = hours / mass;
        Self { keeps: 1.0 - z * first, gains: length * first, mean_keeps: first, mean_gains: length * second }
    }

    pub fn end(&self, start: f64, inflow: f64) -> f64 {
        start * self.keeps + inflow * self.gains
    }

    /// Share of the whole change that has happened on average.
    pub fn lag(&self) -> f64 {
        self.mean_gains / self.gains
    }

    pub fn mean(&self, start: f64, inflow: f64) -> f64 {
        start * self.mean_keeps + inflow * self.mean_gains
    }
}

/// After how many hours the quantity crosses `level` on its way from `start`, if it ever does.
pub(super) fn crossing(mass: f64, rate: f64, inflow: f64, [start, level]: [f64; 2]) -> Option<f64> {
    let hours = if rate > 1e-9 * mass {
        let settled = inflow / rate;
        mass / rate * ((start - settled) / (level - settled)).ln()
    } else {
        (level - start) * mass / inflow
    };
    (hours >= 0.0 && hours.is_finite()).then_some(hours)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_series_for_slow_stores_meets_the_exponential() {
        for z in [0.999e-3, 1.001e-3] {
            let exact = Exact::new(1.0, z, 1.0);
            let first = (1.0 - f64::exp(-z)) / z;
            assert!((exact.keeps - f64::exp(-z)).abs() < 1e-12, "{exact:?}");
            assert!((exact.gains - first).abs() < 1e-9, "{exact:?}");
            assert!((exact.mean_gains - (1.0 - first) / z).abs() < 1e-6, "{exact:?}");
        }
    }

    #[test]
    fn a_store_without_a_drain_fills_evenly() {
        let exact = Exact::new(2.0, 0.0, 3.0);
        assert!((exact.end(1.0, 4.0) - 7.0).abs() < 1e-12);
        assert!((exact.mean(1.0, 4.0) - 4.0).abs() < 1e-12);
    }

    #[test]
    fn a_crossing_is_where_the_exact_step_arrives() {
        for (rate, inflow, level) in [(3.0, 12.0, 2.5), (3.0, 0.0, 0.4), (0.0, 2.0, 5.0)] {
            let hours = crossing(2.0, rate, inflow, [1.0, level]).unwrap();
            assert!((Exact::new(2.0, rate, hours).end(1.0, inflow) - level).abs() < 1e-9, "{rate} {inflow}");
        }
        assert_eq!(crossing(2.0, 3.0, 12.0, [1.0, 4.5]), None, "it settles at 4");
        assert_eq!(crossing(2.0, 3.0, 12.0, [1.0, 0.5]), None, "it rises");
    }
}
