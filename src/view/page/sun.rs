//! Where the sun stands, for the shading of the night.
//!
//! The low-precision formulas for the sun's coordinates in the Astronomical Almanac (section C; from memory), good to
//! 0.01° between 1950 and 2050: far better than the horizon of any farm.

use jiff::{SignedDuration, Timestamp};

/// 12:00 on 1 January 2000, from which the formulas count days.
const EPOCH: Timestamp = Timestamp::constant(946_728_000, 0);
/// The sun's upper edge stands on the horizon: half its disc and the refraction, degrees.
const HORIZON: f64 = -0.833;
/// Steps in which the sky is looked at; a night shorter than this may be missed near the polar circle.
const STEP: SignedDuration = SignedDuration::from_mins(20);

/// Height of the sun's middle above the horizon in degrees, at a place in degrees north and east.
fn height(at: Timestamp, latitude: f64, longitude: f64) -> f64 {
    let days = at.duration_since(EPOCH).as_secs_f64() / 86_400.0;
    let mean_longitude = 280.460 + 0.985_647_4 * days;
    let anomaly = (357.528 + 0.985_600_3 * days).to_radians();
    let ecliptic = (mean_longitude + 1.915 * anomaly.sin() + 0.020 * (2.0 * anomaly).sin()).to_radians();
    let obliquity = (23.439 - 4e-7 * days).to_radians();
    let declination = (obliquity.sin() * ecliptic.sin()).asin();
    let right_ascension = (obliquity.cos() * ecliptic.sin()).atan2(ecliptic.cos()).to_degrees();
    let sidereal = 280.460_62 + 360.985_647_37 * days + longitude;
    let hour_angle = (sidereal - right_ascension).to_radians();
    let latitude = latitude.to_radians();
    (latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos()).asin().to_degrees()
}

/// The nights between two moments, each from sunset to sunrise, cut at the ends.
pub(super) fn nights(from: Timestamp, to: Timestamp, latitude: f64, longitude: f64) -> Vec<(Timestamp, Timestamp)> {
    let dark = |at: Timestamp| height(at, latitude, longitude) < HORIZON;
    let mut found = Vec::new();
    let mut at = from;
    let mut since = dark(from).then_some(from);
    while at < to {
        let next = at.checked_add(STEP).map_or(to, |next| next.min(to));
        match (since, dark(next)) {
            (None, true) => since = Some(turn(at, next, dark)),
            (Some(begun), false) => {
                found.push((begun, turn(at, next, dark)));
                since = None;
            }
            _ => {}
        }
        at = next;
    }
    found.extend(since.filter(|begun| *begun < to).map(|begun| (begun, to)));
    found
}

/// The moment between two at which it becomes dark or light, to a minute.
fn turn(mut before: Timestamp, mut after: Timestamp, dark: impl Fn(Timestamp) -> bool) -> Timestamp {
    let was = dark(before);
    while after.duration_since(before) > SignedDuration::from_mins(1) {
        let middle = before + after.duration_since(before) / 2;
        if dark(middle) == was { before = middle } else { after = middle }
    }
    after
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hours(pair: &(Timestamp, Timestamp)) -> f64 {
        pair.1.duration_since(pair.0).as_secs_f64() / 3_600.0
    }

    fn day(date: &str) -> (Timestamp, Timestamp) {
        let noon: Timestamp = format!("{date}T12:00:00Z").parse().unwrap();
        (noon, noon + SignedDuration::from_hours(24))
    }

    /// By geometry: cos H = (sin h₀ − sin φ sin δ)/(cos φ cos δ), with δ = ±23.44° at the solstices and 0 at the
    /// equinoxes, and h₀ = −0.833°.
    #[test]
    fn nights_are_as_long_as_geometry_says() {
        let length = |latitude: f64, declination: f64| {
            let (phi, delta) = (latitude.to_radians(), declination.to_radians());
            let cosine = (HORIZON.to_radians().sin() - phi.sin() * delta.sin()) / (phi.cos() * delta.cos());
            24.0 - 2.0 * cosine.acos().to_degrees() / 15.0
        };
        for (date, declination) in [("2026-12-21", -23.44), ("2027-06-21", 23.44), ("2027-03-20", 0.0)] {
            for latitude in [0.0, 45.0, 61.35] {
                let (from, to) = day(date);
                let nights = nights(from, to, latitude, 0.0);
                assert_eq!(nights.len(), 1, "{date} at {latitude}: {nights:?}");
                let expected = length(latitude, declination);
                assert!((hours(&nights[0]) - expected).abs() < 0.1, "{date} at {latitude}: {expected} {nights:?}");
            }
        }
    }

    #[test]
    fn midnight_is_in_the_middle_of_the_night_and_moves_with_the_longitude() {
        let middle = |longitude: f64| {
            let (from, to) = day("2027-03-20");
            let (begun, ended) = nights(from, to, 45.0, longitude)[0];
            begun.duration_since(from).as_secs_f64() / 7_200.0 + ended.duration_since(from).as_secs_f64() / 7_200.0
        };
        // The equation of time is about −7.5 minutes then: the sun is late.
        assert!((middle(0.0) - 12.12).abs() < 0.05, "{}", middle(0.0));
        assert!((middle(30.0) - 10.12).abs() < 0.05, "{}", middle(30.0));
    }

    #[test]
    fn the_polar_night_is_one_night_and_the_polar_day_none() {
        let (from, to) = day("2026-12-21");
        assert_eq!(nights(from, to, 75.0, 20.0), [(from, to)]);
        let (from, to) = day("2027-06-21");
        assert!(nights(from, to, 75.0, 20.0).is_empty());
    }
}
