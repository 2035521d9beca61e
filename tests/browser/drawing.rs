//! Where things stand in the drawings, in the browser's own pixels, and what that says by the drawing's own ticks.

use serde_json::Value;

use super::driver::Browser;

/// The moist-air chart as it stands in the window.
#[derive(Debug)]
pub struct Chart(Value);

impl Chart {
    /// Middles of the marks and of the ticks.
    pub fn read(browser: &Browser) -> Self {
        Self(browser.run(
            "const middle = (each) => { const box = each.getBoundingClientRect();
                return [box.x + box.width / 2, box.y + box.height / 2] };
             const ticks = (name) => [...document.querySelectorAll(`.air [data-${name}]`)]
                .map((each) => [Number(each.dataset[name]), ...middle(each)]);
             const points = [...document.querySelectorAll('.air svg [data-point]')];
             return { asOf: document.getElementById('as-of').textContent, x: ticks('x'), y: ticks('y'),
                width: document.querySelector('.air svg').getBoundingClientRect().width,
                smallest: Math.min(...[...document.querySelectorAll('.chart svg')].map((each) =>
                    parseFloat(getComputedStyle(each).fontSize) * each.getBoundingClientRect().width / 400)),
                points: Object.fromEntries(points.map((each) => [each.dataset.point, middle(each)])) }",
        ))
    }

    /// When the page was made, as it says.
    pub fn as_of(&self) -> &str {
        self.0["asOf"].as_str().unwrap()
    }

    /// Height of the drawings' letters in pixels.
    pub fn letters(&self) -> f64 {
        self.0["smallest"].as_f64().unwrap()
    }

    pub fn names(&self) -> Vec<&str> {
        self.0["points"].as_object().unwrap().keys().map(String::as_str).collect()
    }

    /// Temperature and humidity ratio of a mark in the drawing's units, by its ticks.
    pub fn state(&self, point: &str) -> (f64, f64) {
        let middle = &self.0["points"][point];
        let (x, y) =
            (middle[0].as_f64().unwrap_or_else(|| panic!("no {point}: {}", self.0)), middle[1].as_f64().unwrap());
        (self.by("x", 1, x), self.by("y", 2, y))
    }

    /// How much one pixel is.
    pub fn pixel(&self) -> (f64, f64) {
        (
            (self.by("x", 1, 101.0) - self.by("x", 1, 100.0)).abs(),
            (self.by("y", 2, 101.0) - self.by("y", 2, 100.0)).abs(),
        )
    }

    /// The straight line through the outermost ticks.
    fn by(&self, axis: &str, column: usize, at: f64) -> f64 {
        let ticks = self.0[axis].as_array().unwrap();
        assert!(ticks.len() >= 3, "too few ticks: {ticks:?}");
        let read = |tick: &Value| (tick[0].as_f64().unwrap(), tick[column].as_f64().unwrap());
        let ((low, start), (high, end)) = (read(&ticks[0]), read(&ticks[ticks.len() - 1]));
        low + (at - start) / (end - start) * (high - low)
    }
}

/// Humidity ratio in g/kg by the Magnus formula with the coefficients of WMO-No. 8 (annex 4.B; from memory) and no
/// enhancement factor: within 1 % of the real thing in the range of a farm, and nothing that the program uses.
pub fn grams_per_kilogram(celsius: f64, ratio: f64, pascals: f64) -> f64 {
    let vapour = ratio * 611.2 * (17.62 * celsius / (243.12 + celsius)).exp();
    622.0 * vapour / (pascals - vapour)
}
