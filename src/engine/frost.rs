//! The coldest hours ahead, for the lines that may freeze.

use jiff::{SignedDuration, Timestamp};

use crate::{model::Forecast, units::Temperature};

/// Hours looked ahead.
const HOURS: i64 = 24;

/// Coldest moment of the forecast in the next 24 hours, and the first at or below `threshold`.
pub(super) fn frost_ahead(forecast: &Forecast, now: Timestamp, threshold: Temperature) -> FrostAhead {
    let end = now + SignedDuration::from_hours(HOURS);
    let mut ahead = FrostAhead { coldest: None, first: None };
    let inside = forecast.points().iter().filter(|point| point.at > now && point.at <= end);
    let moments = std::iter::once(forecast.at(now)).flatten().chain(inside.copied()).chain(forecast.at(end));
    let mut before: Option<(Timestamp, f64)> = None;
    for point in moments {
        let celsius = point.air.temperature.celsius();
        if ahead.coldest.is_none_or(|(_, coldest)| celsius < coldest.celsius()) {
            ahead.coldest = Some((point.at, point.air.temperature));
        }
        if ahead.first.is_none() && celsius <= threshold.celsius() {
            ahead.first = Some(crossing(before, (point.at, celsius), threshold.celsius()));
        }
        before = Some((point.at, celsius));
    }
    ahead
}

/// When the straight line between two moments reaches `threshold`.
fn crossing(before: Option<(Timestamp, f64)>, after: (Timestamp, f64), threshold: f64) -> Timestamp {
    match before {
        Some((at, celsius)) if celsius > threshold => {
            let share = (celsius - threshold) / (celsius - after.1);
            let seconds = after.0.duration_since(at).as_secs_f64() * share;
            at + SignedDuration::from_secs(seconds as i64)
        }
        _ => after.0,
    }
}

/// See [`frost_ahead`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FrostAhead {
    pub coldest: Option<(Timestamp, Temperature)>,
    pub first: Option<Timestamp>,
}
