//! The configuration that a grower of Frosthollow would write, with the demo's own addresses in it.

use std::net::SocketAddr;

use crate::units::UnitSystem;

/// The farm as it is configured. It is parsed like any other file.
const FARM: &str = include_str!("farm.yaml");

/// Name of the site in [`FARM`].
pub(super) const SITE: &str = "frosthollow";

/// Height above sea level in [`FARM`], m.
pub(super) const ELEVATION: f64 = 210.0;

/// Degrees north and east in [`FARM`].
pub(super) const PLACE: (f64, f64) = (61.35, 25.28);

/// Temperature in [`FARM`] at which lines freeze, °C: the default of its key.
pub(super) const HARD_FROST: f64 = -4.0;

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
    let base = format!("http://{}/weatherapi/locationforecast/2.0", addresses.weather);
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
    changes.iter().fold(FARM.to_owned(), |text, (section, key, value)| set(&text, section, key, value))
}

/// Sets `key` in a section of the top level, in its line where it is written, else in a new first line.
fn set(text: &str, section: &str, key: &str, value: &str) -> String {
    let (head, own) = (format!("{section}:"), format!("  {key}:"));
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let Some(start) = lines.iter().position(|line| line.trim_end() == head) else {
        return format!("{text}\n{head}\n{own} \"{value}\"\n");
    };
    let inside = |line: &String| line.is_empty() || line.starts_with([' ', '#']);
    let end = lines[start + 1..].iter().position(|line| !inside(line)).map_or(lines.len(), |after| start + 1 + after);
    let line = format!("{own} \"{value}\"");
    let written = (start + 1..end).find(|number| lines[*number].starts_with(&own));
    match written {
        Some(number) => lines[number] = line,
        None => lines.insert(start + 1, line),
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
        assert_eq!(set(text, "c", "key", "v"), "a:\n  port: 1\nb:\n  port: 2\n\nc:\n  key: \"v\"\n");
    }

    #[test]
    fn the_demo_says_of_the_farm_what_its_configuration_says() {
        assert!(FARM.contains(&format!("name: {SITE}\n")));
        assert!(FARM.contains(&format!("elevation: {ELEVATION} m\n")));
        assert!(FARM.contains(&format!("latitude: {}\n", PLACE.0)));
        assert!(FARM.contains(&format!("longitude: {}\n", PLACE.1)));
        assert!(FARM.contains(&format!("time-zone: {TIME_ZONE}\n")));
    }
}
