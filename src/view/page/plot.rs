//! What both charts are drawn with: axes, rounded ticks, paths, and labels that keep out of each other's way.

use std::fmt::Write as _;

use crate::units::people::Shown;

/// Size of the labels' letters on the narrowest screen, in the drawing's own units; see `page.css`. Labels are placed
/// for this size, and are smaller on wider screens.
pub(super) const LETTER: f64 = 16.0;
/// Mean width of a letter, as a share of its size: for placing labels, not for cutting them.
const LETTER_WIDTH: f64 = 0.54;

/// A straight map from values to one coordinate of the drawing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Axis {
    pub from: f64,
    pub to: f64,
    /// Coordinate of `from`.
    pub start: f64,
    /// Coordinate of `to`.
    pub end: f64,
}

impl Axis {
    /// The coordinate of a value.
    pub fn at(&self, value: f64) -> f64 {
        self.start + (value - self.from) / (self.to - self.from) * (self.end - self.start)
    }

    /// Round values inside the axis, at most `most` of them: steps of 1, 2 or 5 times a power of ten.
    pub fn ticks(&self, most: u32) -> Vec<f64> {
        let span = self.to - self.from;
        if !(span.is_finite() && span > 0.0) {
            return Vec::new();
        }
        let rough = span / f64::from(most.max(1));
        let power = 10_f64.powf(rough.log10().floor());
        let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|factor| factor * power).find(|step| *step >= rough);
        let step = step.unwrap_or(10.0 * power);
        let first = (self.from / step - 1e-9).ceil();
        // A count that is bounded by `most`, whatever the span.
        (0..=most)
            .map(|index| (first + f64::from(index)) * step)
            .take_while(|at| *at <= self.to + 1e-9 * span)
            .collect()
    }
}

/// A value as a tick says it: no decimals that the step does not need, and a real minus sign.
pub(super) fn number(value: f64) -> String {
    let rounded = (value * 100.0).round() / 100.0;
    let text = format!("{}", if rounded.abs() < 1e-9 { 0.0 } else { rounded });
    text.replace('-', "−")
}

/// A quantity without its unit, for tables that name it at the head, with a real minus sign.
pub(super) fn plain(shown: Shown) -> String {
    Shown { unit: "", ..shown }.to_string().replace('-', "−")
}

/// A path through points, with one decimal: a tenth of a unit is less than a pixel anywhere.
pub(super) fn path(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut text = String::new();
    for (index, (x, y)) in points.into_iter().enumerate() {
        // Writing to a string cannot fail.
        let _ = write!(text, "{}{} {}", if index == 0 { 'M' } else { 'L' }, short(x), short(y));
    }
    text
}

/// A coordinate with at most one decimal.
pub(super) fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

/// A rectangle that a label may not cover, or may not leave.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Area {
    /// A square around a mark.
    pub fn around(x: f64, y: f64, half: f64) -> Self {
        Self { left: x - half, top: y - half, right: x + half, bottom: y + half }
    }

    fn shared(&self, other: &Self) -> f64 {
        let width = self.right.min(other.right) - self.left.max(other.left);
        let height = self.bottom.min(other.bottom) - self.top.max(other.top);
        if width > 0.0 && height > 0.0 { width * height } else { 0.0 }
    }

    fn outside(&self, bounds: &Self) -> f64 {
        let all = (self.right - self.left) * (self.bottom - self.top);
        all - self.shared(bounds)
    }
}

/// A label where it has found room.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    /// What it says.
    pub text: String,
    /// Left end of its baseline.
    pub x: f64,
    /// Its baseline.
    pub y: f64,
    /// From the mark to the label, where it had to stand apart.
    pub leader: Option<[(f64, f64); 2]>,
}

/// Places labels one after the other, each where it covers least and lies nearest to its mark.
#[derive(Debug)]
pub(super) struct Labels {
    bounds: Area,
    taken: Vec<Area>,
}

impl Labels {
    pub const fn new(bounds: Area, taken: Vec<Area>) -> Self {
        Self { bounds, taken }
    }

    /// Keeps an area free of the labels that come later.
    pub fn avoid(&mut self, area: Area) {
        self.taken.push(area);
    }

    /// Finds the place of a label for a mark, which may be named at any of these points.
    pub fn place(&mut self, text: &str, marks: &[(f64, f64)]) -> Placed {
        let (width, height) = size(text);
        let mut best: Option<(f64, Area, f64, (f64, f64))> = None;
        for mark in marks {
            for distance in [9.0, 20.0, 34.0, 50.0, 70.0] {
                for step in 0..16 {
                    let angle = f64::from(step) * std::f64::consts::PI / 8.0;
                    let (x, y) = (mark.0 + distance * angle.cos(), mark.1 - distance * angle.sin());
                    // The nearest point of the label's box lies in that direction.
                    let left = x - width * (1.0 - angle.cos()) / 2.0;
                    let top = y - height * (1.0 + angle.sin()) / 2.0;
                    let area = Area { left, top, right: left + width, bottom: top + height };
                    let cost = self.cost(&area) + 1.5 * distance;
                    if best.as_ref().is_none_or(|(least, ..)| cost < *least - 1e-9) {
                        best = Some((cost, area, distance, *mark));
                    }
                }
            }
        }
        let nowhere = (0.0, 0.0);
        let (_, area, distance, mark) = best.unwrap_or((0.0, Area::around(0.0, 0.0, 0.0), 0.0, nowhere));
        self.taken.push(area);
        let end = (mark.0.clamp(area.left, area.right), mark.1.clamp(area.top, area.bottom));
        Placed {
            text: text.to_owned(),
            x: area.left,
            y: area.bottom - 0.22 * height,
            leader: (distance > 25.0).then_some([mark, end]),
        }
    }

    /// Finds the place of a label that stands on a curve, on top of it: as near to the curve's end as it is free.
    /// Nothing where it would cover something everywhere.
    pub fn place_on(&mut self, text: &str, curve: &[(f64, f64)]) -> Option<Placed> {
        let (width, height) = size(text);
        let area = curve.iter().rev().find_map(|(x, y)| {
            let area = Area { left: x - width, top: y - height / 2.0, right: *x, bottom: y + height / 2.0 };
            // Its halo must not reach the axis.
            (area.right < self.bounds.right - 3.0 && self.cost(&area) < 1e-9).then_some(area)
        })?;
        self.taken.push(area);
        Some(Placed { text: text.to_owned(), x: area.left, y: area.bottom - 0.22 * height, leader: None })
    }

    fn cost(&self, area: &Area) -> f64 {
        let covered: f64 = self.taken.iter().map(|taken| taken.shared(area)).sum();
        3.0 * covered + 8.0 * area.outside(&self.bounds)
    }
}

/// Width and height of a label at the largest size of its letters.
fn size(text: &str) -> (f64, f64) {
    (text.chars().count() as f64 * LETTER * LETTER_WIDTH, LETTER)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_inside_the_axis_and_never_too_many() {
        let axis = |from, to| Axis { from, to, start: 0.0, end: 100.0 };
        assert_eq!(axis(-13.0, 22.0).ticks(8), [-10.0, -5.0, 0.0, 5.0, 10.0, 15.0, 20.0]);
        assert_eq!(axis(0.0, 0.7).ticks(4).into_iter().map(number).collect::<Vec<_>>(), ["0", "0.2", "0.4", "0.6"]);
        for (from, to) in [(0.0, 1e-6), (-3.3, 4_000.0), (5.0, 5.1), (-273.15, 19.0)] {
            let ticks = axis(from, to).ticks(7);
            assert!((2..=8).contains(&ticks.len()), "{from}…{to}: {ticks:?}");
            assert!(ticks.iter().all(|tick| *tick >= from - 1e-9 && *tick <= to + 1e-6), "{ticks:?}");
        }
        assert!(axis(1.0, 1.0).ticks(5).is_empty());
        assert!(axis(0.0, f64::NAN).ticks(5).is_empty());
    }

    #[test]
    fn numbers_have_a_minus_sign_and_no_negative_zero() {
        assert_eq!([-5.0, -0.0, 0.3 - 0.1, 12.0].map(number), ["−5", "0", "0.2", "12"]);
        assert_eq!(path([(0.0, 1.25), (10.04, -3.0)]), "M0 1.2L10 -3");
    }

    #[test]
    fn labels_of_marks_that_lie_together_do_not_cover_each_other_or_leave_the_drawing() {
        let bounds = Area { left: 0.0, top: 0.0, right: 400.0, bottom: 300.0 };
        let mut labels = Labels::new(bounds, vec![Area::around(390.0, 10.0, 6.0)]);
        for name in ["room", "target", "intake"] {
            labels.place(name, &[(390.0, 10.0)]);
        }
        for (index, one) in labels.taken.iter().enumerate() {
            assert!(one.outside(&bounds) < 1e-9 || index == 0, "{one:?} leaves the drawing");
            assert!(labels.taken[..index].iter().all(|other| one.shared(other) < 1e-9), "{:?}", labels.taken);
        }
    }
}
