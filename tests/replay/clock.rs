//! Time in a log: what is selected, local days, clocks that are set, silence.

use jiff::{SignedDuration, Timestamp};

use super::{FARM, Folder, Line, joined, quiet};

const DUSK: &str = "2027-01-15T18:00:00Z";

#[test]
fn a_part_is_selected_by_the_worlds_calendar_or_the_farms_own() {
    let folder = Folder::new();
    let lines = quiet(DUSK, 10);
    folder.write("log.jsonl", &joined(&lines, Line::json));
    // Helsinki is two hours ahead in winter.
    let utc = folder.text(&["log.jsonl", "--from", "2027-01-15T20:00:00Z", "--to", "2027-01-15T22:00:00Z"]);
    let local = folder.text(&["log.jsonl", "--from", "2027-01-15T22:00", "--to", "2027-01-16"]);
    assert_eq!(utc, local);
    let selected: Vec<Line> = lines[480..].iter().take(480).cloned().collect();
    folder.write("part.jsonl", &joined(&selected, Line::json));
    let (of_all, of_part) = (
        folder.summary(&["log.jsonl", "--from", "2027-01-15T22:00", "--to", "2027-01-16"]),
        folder.summary(&["part.jsonl"]),
    );
    for member in ["from", "to", "rooms", "alerts", "sources"] {
        assert_eq!(of_all[member], of_part[member], "{member}");
    }
    assert_eq!(of_all["lines"]["outside"], 2_400 - 480);
}

/// Summer time began on 28 March 2027 and ends on 31 October (EU Directive 2000/84/EC).
#[test]
fn water_is_counted_by_local_days_of_23_and_25_hours() {
    let folder = Folder::new();
    for (from, day, after, hours) in [
        ("2027-03-27T21:00:00Z", "2027-03-28", "2027-03-29", 23.0),
        ("2027-10-30T20:00:00Z", "2027-10-31", "2027-11-01", 25.0),
    ] {
        // A room that never changes draws the same at every hour; 800 ppm are planned, so that nothing moves the fan.
        let mut lines = quiet(from, 50);
        for line in &mut lines {
            line.payload = match line.topic.as_str() {
                "yard/temperature" => "-8".to_owned(),
                "yard/humidity" => "80".to_owned(),
                "hall/co2" => "800".to_owned(),
                _ => r#"{"t":16,"rh":88}"#.to_owned(),
            };
        }
        folder.write("log.jsonl", &joined(&lines, Line::json));
        let summary = folder.summary(&["log.jsonl"]);
        let water = |day: &str| summary["rooms"][0]["water_litres"][day].as_f64().unwrap();
        let ratio = water(day) / water(after);
        assert!((ratio - hours / 24.0).abs() < 1e-3, "{day}: {} of {}", water(day), water(after));
    }
}

#[test]
fn a_clock_that_is_set_back_is_told_and_time_goes_on() {
    let folder = Folder::new();
    let mut lines = quiet(DUSK, 2);
    // After an hour, the recorder's clock loses twenty minutes; once it also jitters by a second.
    for line in &mut lines[240..] {
        line.at -= SignedDuration::from_mins(20);
    }
    lines[100].at -= SignedDuration::from_secs(61);
    lines[101].at -= SignedDuration::from_secs(61);
    lines[101].at = lines[99].at - SignedDuration::from_secs(1);
    lines[100].at = lines[99].at;
    folder.write("log.jsonl", &joined(&lines, Line::json));
    let text = folder.text(&["log.jsonl"]);
    let told = "line 102: 1.000 s earlier than a line before it; it is heard at that line's time.";
    assert!(text.contains(told), "{text}");
    let told = "line 241: 1180 s earlier than the line before it; the clock is taken as set back there.";
    assert!(text.contains(told), "{text}");
    let summary = folder.summary(&["log.jsonl"]);
    assert_eq!(summary["bad_lines"]["back-in-time"]["count"], 2, "{summary}");
    assert_eq!(summary["lines"]["readings"], 120 * 5, "no reading is lost");
    // Two hours have passed by the readings, though the calendar shows 100 minutes.
    let hours = summary["rooms"][0]["hours"]["all"].as_f64().unwrap();
    assert!((hours - 2.0).abs() < 0.05, "{hours}");
    assert_eq!(summary["to"], "2027-01-15T19:39:40Z");
}

#[test]
fn silence_makes_sensors_stale_at_the_engines_own_time_and_a_year_of_it_is_passed_over() {
    let folder = Folder::new();
    let mut lines = quiet(DUSK, 1);
    let mut later = quiet("2028-01-15T18:00:00Z", 1);
    let last: Timestamp = lines.last().unwrap().at;
    lines.append(&mut later);
    folder.write("log.jsonl", &joined(&lines, Line::json));
    let summary = folder.summary(&["log.jsonl"]);
    let stale = summary["alerts"].as_array().unwrap().iter();
    let stale: Vec<_> = stale.filter(|alert| alert["alert"] == "sensor-stale" && alert["room"] == "hall").collect();
    let from: Timestamp = stale[0]["from"].as_str().unwrap().parse().unwrap();
    // The carbon dioxide sensor spoke last, and the others before it; ten minutes is the usual maximum age.
    let after = from.duration_since(last).as_secs();
    assert!((500..=660).contains(&after), "{after} s after the last line");
    assert!(FARM.contains("hall/co2") && summary["rooms"][0]["hours"]["humidity_unknown"].as_f64().unwrap() > 8_700.0);
}
