//! The configuration that a grower of Frosthollow would write, with the demo's own addresses in it.

use std::net::SocketAddr;

use crate::units::UnitSystem;

/// The farm as it is configured: the same file that a grower may start from. It is parsed like any other file.
const FARM: &str = include_str!("../../examples/frosthollow.yaml");

/// Name of the site in [`FARM`].
pub(super) const SITE: &str = "frosthollow";

/// Height above sea level in [`FARM`], m.
pub(super) const ELEVATION: f64 = 420.0;

/// Degrees north and east in [`FARM`].
pub(super) const PLACE: (f64, f64) = (61.3498, 25.2841);

/// Temperature in [`FARM`] at which lines freeze, °C.
pub(super) const HARD_FROST: f64 = -4.0;

/// Carbon dioxide that the crop of the lion's mane bay bears by [`FARM`], ppm.
pub(super) const BAY_LIMIT: f64 = 800.0;

/// Carbon dioxide that the crop of the oyster hall bears by the daemon's catalogue, ppm.
pub(super) const HALL_LIMIT: f64 = 1_000.0;

/// Time zone in [`FARM`].
pub(super) const TIME_ZONE: &str = "Europe/Helsinki";

/// Where everything of one demo stands.
#[derive(Debug, Clone, Copy)]
pub(super) struct Addresses {
    /// The embedded broker.
    pub(super) broker: SocketAddr,
    /// The simulated weather service.
    pub(super) weather: SocketAddr,
    /// The daemon's metrics and snapshot.
    pub(super) http: SocketAddr,
}

/// The text of the configuration.
pub(super) fn text(addresses: &Addresses, units: UnitSystem) -> String {
    let base = format!("http://{}", addresses.weather);
    let units = match units {
        UnitSystem::Metric => "metric",
        UnitSystem::Us => "us",
    };
    let changes = [
        ("site", "units", units.to_owned()),
        ("broker", "host", addresses.broker.ip().to_string()),
        ("broker", "port", addresses.broker.port().to_string()),
        ("forecast", "base-url", base),
        ("http", "listen", addresses.http.to_string()),
    ];
    // The embedded broker asks nobody for a name.
    let open = without(&without(FARM, "broker", "user"), "broker", "password-file");
    changes.iter().fold(open, |text, (section, key, value)| set(&text, section, key, value))
}

/// The line of a key in a section of the top level, where it is written, and the section's own.
fn find(lines: &[String], section: &str, key: &str) -> Option<(usize, Option<usize>)> {
    let (head, own) = (format!("{section}:"), format!("  {key}:"));
    let start = lines.iter().position(|line| line.trim_end() == head)?;
    let inside = |line: &String| line.is_empty() || line.starts_with([' ', '#']);
    let end = lines[start + 1..].iter().position(|line| !inside(line)).map_or(lines.len(), |after| start + 1 + after);
    Some((start, (start + 1..end).find(|number| lines[*number].starts_with(&own))))
}

/// Removes the line of `key` in a section of the top level, if it is there.
fn without(text: &str, section: &str, key: &str) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    if let Some((_, Some(written))) = find(&lines, section, key) {
        lines.remove(written);
    }
    lines.join("\n") + "\n"
}

/// Sets `key` in a section of the top level, in its line where it is written, else in a new first line.
fn set(text: &str, section: &str, key: &str, value: &str) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let line = format!("  {key}: \"{value}\"");
    match find(&lines, section, key) {
        Some((_, Some(written))) => lines[written] = line,
        Some((start, None)) => lines.insert(start + 1, line),
        None => lines.extend([format!("{section}:"), line]),
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_replaced_where_it_stands_and_added_where_it_is_missing() {
        let text = "a:\n  port: 1\nb:\n  port: 2\n";
        assert_eq!(set(text, "b", "port", "9"), "a:\n  port: 1\nb:\n  port: \"9\"\n");
        assert_eq!(set(text, "a", "host", "h"), "a:\n  host: \"h\"\n  port: 1\nb:\n  port: 2\n");
        assert_eq!(set(text, "c", "key", "v"), "a:\n  port: 1\nb:\n  port: 2\nc:\n  key: \"v\"\n");
        assert_eq!(without(text, "a", "port"), "a:\nb:\n  port: 2\n");
        assert_eq!(without(text, "a", "user"), text);
    }

    #[test]
    fn the_demo_says_of_the_farm_what_its_configuration_says() {
        assert!(FARM.contains(&format!("name: {SITE}\n")));
        assert!(FARM.contains(&format!("elevation: {ELEVATION} m\n")));
        assert!(FARM.contains(&format!("latitude: {}\n", PLACE.0)));
        assert!(FARM.contains(&format!("longitude: {}\n", PLACE.1)));
        assert!(FARM.contains(&format!("time-zone: {TIME_ZONE}\n")));
        assert!(FARM.contains(&format!("carbon-dioxide-limit: {BAY_LIMIT} ppm\n")));
        assert!(FARM.contains("hard-frost: −4 °C\n") && (HARD_FROST + 4.0).abs() < f64::EPSILON);
    }
}
