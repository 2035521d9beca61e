//! When the sun rises: the end of a night.
//!
//! The general solar position equations of NOAA's Global Monitoring Division (Fourier series for the equation of time
//! and the declination; sunrise where the sun's centre stands at a zenith angle of 90.833°, which holds refraction
//! and the sun's radius). They are good to about two minutes below the polar circles, and hills are not in them.

use jiff::{SignedDuration, Timestamp, tz::TimeZone};

/// Zenith angle of the sun's centre at sunrise, in degrees.
const ZENITH: f64 = 90.833;
const MINUTES_PER_DEGREE: f64 = 4.0;

/// The next sunrise after `after`, at `latitude` degrees north and `longitude` degrees east. `None` where none comes
/// within two days: in polar night and polar day.
pub fn next_sunrise(latitude: f64, longitude: f64, after: Timestamp) -> Option<Timestamp> {
    let midnight = after.to_zoned_datetime(TimeZone::UTC).start_of_day().ok()?.timestamp();
    // East of Greenwich the sunrise of a local day may fall on the day before in UTC, and west of it on the day after.
    (-1..=3).find_map(|day| {
        let start = midnight.checked_add(SignedDuration::from_hours(24 * day)).ok()?;
        sunrise_of(latitude, longitude, start).filter(|sunrise| *sunrise > after)
    })
}

/// The sunrise that belongs to the UTC day that begins at `start`; its time in minutes may be negative or above a day.
fn sunrise_of(latitude: f64, longitude: f64, start: Timestamp) -> Option<Timestamp> {
    // At the longitude's own 06:00 first, then at the time found: the declination moves by up to 0.4° a day.
    let mut minutes = 360.0 - MINUTES_PER_DEGREE * longitude;
    for _ in 0..2 {
        minutes = sunrise_minutes(latitude, longitude, year_angle(start, minutes))?;
    }
    start.checked_add(SignedDuration::from_secs((minutes * 60.0).round() as i64)).ok()
}

/// The fractional year as an angle.
fn year_angle(start: Timestamp, minutes: f64) -> f64 {
    let date = start.to_zoned_datetime(TimeZone::UTC).date();
    let days = f64::from(date.day_of_year()) - 1.0 + (minutes / 60.0 - 12.0) / 24.0;
    std::f64::consts::TAU * days / f64::from(date.days_in_year())
}

/// Minutes after 00:00 UTC; `None` where the sun does not cross the horizon.
fn sunrise_minutes(latitude: f64, longitude: f64, year: f64) -> Option<f64> {
    let (equation_of_time, declination) = equation_and_declination(year);
    let latitude = latitude.to_radians();
    let cosine = ZENITH.to_radians().cos() / (latitude.cos() * declination.cos()) - latitude.tan() * declination.tan();
    let hour_angle = (-1.0..=1.0).contains(&cosine).then(|| cosine.acos().to_degrees())?;
    Some(720.0 - MINUTES_PER_DEGREE * (longitude + hour_angle) - equation_of_time)
}

/// Equation of time in minutes, and declination as an angle.
fn equation_and_declination(year: f64) -> (f64, f64) {
    let (one, two, three) = (year, 2.0 * year, 3.0 * year);
    let equation_of_time = 229.18
        * (0.000_075 + 0.001_868 * one.cos() - 0.032_077 * one.sin() - 0.014_615 * two.cos() - 0.040_849 * two.sin());
    let declination = 0.006_918 - 0.399_912 * one.cos() + 0.070_257 * one.sin() - 0.006_758 * two.cos()
        + 0.000_907 * two.sin()
        - 0.002_697 * three.cos()
        + 0.001_48 * three.sin();
    (equation_of_time, declination)
}

/// Height of the sun above the horizon in degrees, without refraction, at `latitude` degrees north and `longitude` degrees
/// east: to within a degree, which tells whether it can warm a sensor.
pub fn height(moment: Timestamp, latitude: f64, longitude: f64) -> f64 {
    let date = moment.to_zoned_datetime(TimeZone::UTC);
    let hours = f64::from(date.hour()) + f64::from(date.minute()) / 60.0;
    let days = f64::from(date.date().day_of_year()) - 1.0 + (hours - 12.0) / 24.0;
    let (equation, declination) =
        equation_and_declination(std::f64::consts::TAU * days / f64::from(date.date().days_in_year()));
    let solar_hours = hours + longitude * MINUTES_PER_DEGREE / 60.0 + equation / 60.0;
    let hour_angle = (solar_hours - 12.0) * std::f64::consts::PI / 12.0;
    let latitude = latitude.to_radians();
    let sine = latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos();
    sine.clamp(-1.0, 1.0).asin().to_degrees()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against PyEphem 4 (its own theory of the sun's motion, upper limb, refraction of 34′): computed for this test.
    #[test]
    fn sunrises_agree_with_an_ephemeris_within_three_minutes() {
        let cases = [
            (61.2, 21.3, "2027-01-15T18:00:00Z", "2027-01-16T07:30:57Z"),
            (0.0, 0.0, "2027-03-20T12:00:00Z", "2027-03-21T06:03:59Z"),
            (-33.5, 151.0, "2027-06-10T12:00:00Z", "2027-06-10T20:56:26Z"),
            (52.0, 179.5, "2027-10-03T00:00:00Z", "2027-10-03T18:06:33Z"),
            (44.0, -72.0, "2027-12-01T03:00:00Z", "2027-12-01T12:02:27Z"),
        ];
        for (latitude, longitude, after, expected) in cases {
            let expected: Timestamp = expected.parse().unwrap();
            let found = next_sunrise(latitude, longitude, after.parse().unwrap()).unwrap();
            let apart = found.duration_since(expected).abs();
            assert!(apart < SignedDuration::from_mins(3), "{found} instead of {expected} at {latitude}, {longitude}");
        }
    }

    #[test]
    fn there_is_no_sunrise_in_polar_night_nor_in_polar_day() {
        for after in ["2026-12-10T12:00:00Z", "2027-06-15T12:00:00Z"] {
            assert_eq!(next_sunrise(70.5, 25.0, after.parse().unwrap()), None, "{after}");
        }
    }

    #[test]
    fn the_next_sunrise_is_always_ahead_and_within_a_day_and_a_half() {
        let start: Timestamp = "2027-01-01T00:00:00Z".parse().unwrap();
        for hours in (0..366 * 24).step_by(5) {
            let after = start + SignedDuration::from_hours(hours);
            for (latitude, longitude) in [(61.2, 21.3), (-45.0, -179.9), (35.0, 179.9)] {
                let found = next_sunrise(latitude, longitude, after).unwrap();
                let ahead = found.duration_since(after);
                assert!(ahead > SignedDuration::ZERO && ahead < SignedDuration::from_hours(25), "{after}: {found}");
            }
        }
    }

    #[test]
    fn the_noon_sun_stands_as_high_as_the_obliquity_says() {
        let highest = |day: &str, latitude: f64| {
            let start: Timestamp = format!("{day}T00:00:00Z").parse().unwrap();
            let minutes = (0..1_440).map(|minute| height(start + SignedDuration::from_mins(minute), latitude, 25.0));
            minutes.fold(f64::NEG_INFINITY, f64::max)
        };
        // At the solstices 90° − latitude ± 23.44° (obliquity of the ecliptic), at the equinox 90° − latitude.
        for (day, latitude, expected) in [
            ("2026-12-21", 61.0, 90.0 - 61.0 - 23.44),
            ("2026-06-21", 61.0, 90.0 - 61.0 + 23.44),
            ("2026-03-20", 45.0, 45.0),
            ("2026-12-21", 70.0, 90.0 - 70.0 - 23.44),
        ] {
            let found = highest(day, latitude);
            assert!((found - expected).abs() < 0.6, "{day} at {latitude}: {found} instead of {expected}");
        }
        let at = |text: &str| height(text.parse().unwrap(), 61.0, 25.0);
        assert!(at("2026-12-21T22:00:00Z") < -40.0);
        // 25° east is 100 minutes ahead of Greenwich: noon there is near 10:20 UTC.
        assert!(at("2026-03-20T10:20:00Z") > at("2026-03-20T08:00:00Z"));
        assert!(at("2026-03-20T10:20:00Z") > at("2026-03-20T12:30:00Z"));
    }
}
