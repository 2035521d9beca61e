//! Metrics of a snapshot: clean for the checker, documented, and silent about what is not known.

use std::{
    collections::BTreeSet,
    io::Write,
    process::{Command, Stdio},
};

use mistwright::{
    engine::{Event, Snapshot},
    view::exposition::{METRICS, metrics, text},
};

use super::farm;

fn exposition(snapshot: &Snapshot) -> String {
    text(&metrics(snapshot)).unwrap()
}

fn value(text: &str, series: &str) -> Option<f64> {
    text.lines().find_map(|line| line.strip_prefix(series)?.strip_prefix(' ')?.parse().ok())
}

/// What the checker complains about; `None` where it is not installed, which is allowed outside CI only.
fn complaints(exposition: &str) -> Option<String> {
    let checker = Command::new("promtool")
        .args(["check", "metrics"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let Ok(mut checker) = checker else {
        assert!(std::env::var_os("CI").is_none(), "promtool is missing in CI (Debian package prometheus)");
        eprintln!("SKIPPED: promtool is not installed (Debian package prometheus): the metrics were not checked.");
        return None;
    };
    checker.stdin.take().unwrap().write_all(exposition.as_bytes()).unwrap();
    let output = checker.wait_with_output().unwrap();
    let said = [output.stdout, output.stderr].concat();
    let said = String::from_utf8_lossy(&said).into_owned();
    Some(if output.status.success() { said } else { format!("{}: {said}", output.status) })
}

#[test]
fn promtool_has_nothing_to_complain_about() {
    let mut fed = exposition(&farm::fed());
    let Some(said) = complaints(&fed) else { return };
    assert_eq!(said, "");
    assert_eq!(complaints(&exposition(&farm::engine().snapshot(&farm::at(0)))).unwrap(), "");
    fed.push_str(
        "# HELP mistwright_bad_kilograms Wrong.\n# TYPE mistwright_bad_kilograms counter\nmistwright_bad_kilograms 1\n",
    );
    assert_ne!(complaints(&fed).unwrap(), "", "the checker accepts anything");
}

#[test]
fn the_values_are_those_of_the_snapshot_in_base_units() {
    let text = exposition(&farm::fed());
    let hall = |name: &str| value(&text, &format!("mistwright_{name}{{room=\"oyster-hall\"}}"));
    assert_eq!(hall("room_temperature_celsius"), Some(16.0));
    assert_eq!(hall("room_relative_humidity_ratio"), Some(0.9));
    assert_eq!(hall("room_carbon_dioxide_parts_per_million"), Some(850.0));
    // Magnus form of WMO-No. 8, annex 4.B: saturation 18.14 hPa at 16 °C, dew point of 90 % is 14.36 °C.
    assert!((hall("room_dew_point_celsius").unwrap() - 14.37).abs() < 0.05, "{text}");
    assert!((hall("room_vapour_pressure_deficit_pascals").unwrap() - 182.0).abs() < 2.0, "{text}");
    assert!(hall("room_advised_fresh_air_cubic_metres_per_hour").unwrap() >= 240.0);
    assert_eq!(value(&text, "mistwright_forecast_coldest_celsius"), Some(-12.0));
    assert_eq!(value(&text, "mistwright_broker_connected"), Some(1.0));
    assert_eq!(value(&text, "mistwright_events_total"), Some(10.0));
    assert_eq!(value(&text, "mistwright_alert_priority{alert=\"hard-frost\"}").map(|p| p >= 1.0), Some(true));
}

#[test]
fn every_counter_starts_at_zero() {
    let text = exposition(&farm::engine().snapshot(&farm::at(0)));
    let counters: Vec<&str> =
        METRICS.into_iter().flatten().map(|row| row.name).filter(|n| n.ends_with("_total")).collect();
    assert!(counters.len() >= 6, "{counters:?}");
    for name in counters {
        let series: Vec<&str> = text.lines().filter(|line| line.split(['{', ' ']).next() == Some(name)).collect();
        assert!(!series.is_empty(), "{name} is not served before the first event");
        assert!(series.iter().all(|line| line.ends_with(" 0")), "{series:?}");
    }
}

#[test]
fn a_stale_value_disappears_while_its_time_and_its_state_stay() {
    let mut engine = farm::engine();
    farm::feed(&mut engine);
    engine.handle(Event::Tick, &farm::at(1_000));
    let text = exposition(&engine.snapshot(&farm::at(1_000)));
    assert_eq!(value(&text, "mistwright_room_temperature_celsius{room=\"oyster-hall\"}"), None);
    assert_eq!(value(&text, "mistwright_room_dew_point_celsius{room=\"oyster-hall\"}"), None);
    let labels = "{room=\"oyster-hall\",quantity=\"temperature\"}";
    assert_eq!(value(&text, &format!("mistwright_source_fresh{labels}")), Some(0.0));
    let heard = value(&text, &format!("mistwright_source_last_reading_timestamp_seconds{labels}"));
    #[expect(clippy::cast_precision_loss, reason = "a calendar time in seconds fits 53 bits")]
    let expected = (farm::DUSK + 10) as f64;
    assert_eq!(heard, Some(expected));
}

#[test]
fn two_sources_of_one_quantity_in_one_room_make_one_series() {
    let text = exposition(&farm::fed());
    let names: Vec<&str> =
        text.lines().filter(|line| !line.starts_with('#')).filter_map(|l| l.split(' ').next()).collect();
    assert_eq!(names.len(), names.iter().collect::<BTreeSet<_>>().len(), "a series is served twice");
    let labels = "{room=\"shiitake-loft\",quantity=\"temperature\"}";
    assert_eq!(value(&text, &format!("mistwright_source_readings_total{labels}")), Some(2.0));
}

#[test]
fn label_values_come_from_the_configuration_or_from_closed_lists() {
    let text = exposition(&farm::fed());
    let mut names = BTreeSet::new();
    for label in text.lines().filter(|line| !line.starts_with('#')).filter_map(|line| line.split_once('{')) {
        for pair in label.1.split('}').next().unwrap().split("\",") {
            names.insert(pair.split('=').next().unwrap().to_owned());
        }
    }
    assert_eq!(
        names,
        ["alert", "input", "lead_hours", "quantity", "room", "service", "version"].map(str::to_owned).into()
    );
}

#[test]
fn every_documented_metric_is_served_and_no_other() {
    let documented: BTreeSet<&str> = METRICS.into_iter().flatten().map(|row| row.name).collect();
    let families = metrics(&farm::fed_at_two_heights());
    let served: BTreeSet<&str> = families.iter().map(|family| family.name()).collect();
    let unknown: Vec<_> = served.difference(&documented).collect();
    assert!(unknown.is_empty(), "{unknown:?}");
    let missing: Vec<_> = documented.difference(&served).collect();
    assert!(missing.is_empty(), "one of everything was fed, yet these are not served: {missing:?}");
}
