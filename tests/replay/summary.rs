//! The summary: what it counts, against what was published and against weather that is known.

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

use super::{FARM, Folder, Line, hall, joined, quiet};

const DUSK: &str = "2027-01-15T18:00:00Z";

#[test]
fn the_water_of_the_summary_is_the_area_under_what_was_published() {
    let folder = Folder::new();
    folder.write("log.jsonl", &joined(&quiet(DUSK, 8), Line::json));
    let summary = folder.summary(&["log.jsonl"]);
    let published = folder.published(&["log.jsonl"]);
    let end: Timestamp = summary["to"].as_str().unwrap().parse().unwrap();
    let drawn: Vec<(Timestamp, f64)> = published
        .iter()
        .filter(|(_, topic, _)| *topic == hall("moisture/water-drawn"))
        .map(|(at, _, value)| (*at, value.parse().unwrap()))
        .collect();
    assert!(drawn.len() > 10, "{drawn:?}");
    let ends = drawn.iter().skip(1).map(|(at, _)| *at).chain([end]);
    let litres: f64 =
        drawn.iter().zip(ends).map(|((from, rate), to)| rate * to.duration_since(*from).as_secs_f64() / 3_600.0).sum();
    let total = summary["rooms"][0]["water_litres_total"].as_f64().unwrap();
    // Published rates are rounded to a hundredth of a litre an hour.
    assert!((total - litres).abs() < 0.005 * 8.0 + 0.002, "{total} L in the summary, {litres} L published");
    let days = summary["rooms"][0]["water_litres"].as_object().unwrap();
    assert_eq!(days.keys().collect::<Vec<_>>(), ["2027-01-15", "2027-01-16"]);
    let by_day: f64 = days.values().map(|litres| litres.as_f64().unwrap()).sum();
    assert!((by_day - total).abs() < 0.002);
}

#[test]
fn hours_outside_the_bands_and_alerts_have_the_times_at_which_they_were() {
    let folder = Folder::new();
    let mut lines = quiet(DUSK, 8);
    // From the third hour to the fifth the room is dry, in steps that air can make.
    for line in lines.iter_mut().filter(|line| line.topic == "hall/air") {
        let minute = line.at.duration_since(DUSK.parse().unwrap()).as_mins();
        let down = (minute - 150).clamp(0, 30).min(330 - minute).clamp(0, 30);
        line.payload =
            format!(r#"{{"t":{:.2},"rh":{:.1}}}"#, 16.0 + 0.05 * (minute % 7) as f64, 88.0 - 0.6 * down as f64);
    }
    folder.write("log.jsonl", &joined(&lines, Line::json));
    let summary = folder.summary(&["log.jsonl"]);
    // Oyster fruits at 85 % and more; below it from the sixth step down to the sixth step from the end.
    let dry = summary["rooms"][0]["hours"]["too_dry"].as_f64().unwrap();
    assert!((dry - 170.0 / 60.0).abs() < 0.05, "{dry} h");
    let alert = alert(&summary, "too-dry");
    let from: Timestamp = alert["from"].as_str().unwrap().parse().unwrap();
    let minutes = from.duration_since(DUSK.parse().unwrap()).as_mins();
    assert!((155..200).contains(&minutes), "raised after {minutes} minutes");
    let text = folder.text(&["log.jsonl"]);
    let local = (from + SignedDuration::from_hours(2)).strftime("%d %b %H:%M");
    assert!(
        text.contains("Hall: Air too dry for the crop.") && text.contains(&format!("  - {local} to 16 Jan 0")),
        "{text}"
    );
}

fn alert<'a>(summary: &'a Value, name: &str) -> &'a Value {
    let alerts = summary["alerts"].as_array().unwrap();
    alerts.iter().find(|alert| alert["alert"] == name).unwrap_or_else(|| panic!("no {name} in {alerts:?}"))
}

#[test]
fn the_text_stays_within_a_hundred_columns_in_either_units_with_many_rooms_of_long_names() {
    let folder = Folder::new();
    let (head, room) = FARM.split_once("  hall:\n").unwrap();
    let rooms: String = (0..14)
        .map(|number| {
            let room = room.replace("hall/", &format!("hall-{number}/"));
            format!("  hall-{number}:\n    title: The {number}th long hall behind the old packing house\n{room}")
        })
        .collect();
    let us = head.replace("  time-zone", "  units: us\n  time-zone");
    folder.write("farm.yaml", &format!("{us}{rooms}"));
    let lines: Vec<Line> = quiet(DUSK, 3)
        .into_iter()
        .flat_map(|line| match line.topic.strip_prefix("hall/") {
            None => vec![line],
            Some(rest) => {
                let of = |number| Line { topic: format!("hall-{number}/{rest}"), ..line.clone() };
                (0..14).map(of).collect()
            }
        })
        .collect();
    folder.write("log.jsonl", &(joined(&lines, Line::json) + "no line at all\n"));
    let text = folder.text(&["log.jsonl"]);
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
    assert!(
        text.contains("Water drawn by the advised duty, gal") && text.contains("°F") && !text.contains("°C "),
        "{text}"
    );
    for part in ["Alerts", "Hours outside the bands", "Advice", "Sources", "Bad lines", "What this rests on"] {
        assert!(text.contains(&format!("\n{part}\n")), "{part}");
    }
}

/// A cold front as it was: `tests/data`. The first hour at −4 °C or less is 04:00 UTC on 10 January.
#[test]
fn observations_speak_for_the_sensor_outdoors_and_as_a_forecast_only_where_they_are_told_to() {
    let folder = Folder::new();
    let observed = format!("{}/tests/data/isd-lite-725300-2016-01.txt", env!("CARGO_MANIFEST_DIR"));
    let lines = quiet("2016-01-09T12:00:00Z", 24);
    let inside: Vec<Line> = lines.into_iter().filter(|line| line.topic.starts_with("hall")).collect();
    folder.write("log.jsonl", &joined(&inside, Line::json));
    let frost = std::fs::read_to_string(&observed).unwrap();
    let frost = frost.lines().find(|line| line[13..19].trim().parse::<i32>().unwrap() <= -40).unwrap().to_owned();
    let frost: Timestamp =
        format!("{}-{}-{}T{}:00:00Z", &frost[0..4], &frost[5..7], &frost[8..10], &frost[11..13]).parse().unwrap();
    let raised = |arguments: &[&str]| -> (Value, SignedDuration) {
        let summary = folder.summary(&[&["log.jsonl", "--observations", &observed], arguments].concat());
        let from: Timestamp = alert(&summary, "hard-frost")["from"].as_str().unwrap().parse().unwrap();
        (summary, frost.duration_since(from))
    };
    let (known, lead) = raised(&["--foresight"]);
    assert!(lead >= SignedDuration::from_hours(12), "warned {lead:#} before, by a forecast that knew");
    let (unknown, lead) = raised(&[]);
    // Linear between two hours, the threshold is passed within the hour before.
    assert!((-600..=3_600).contains(&lead.as_secs()), "warned {lead:#} before, without any forecast");
    assert!(known["assumed"][1].as_str().unwrap().contains("always right"), "{known}");
    assert!(unknown["assumed"][1].as_str().unwrap().contains("No forecast is given"), "{unknown}");
    let outdoors = &unknown["sources"].as_array().unwrap()[3];
    assert_eq!((outdoors["place"].as_str(), outdoors["first"]["value"].as_f64()), (Some("outdoors"), Some(2.2)));
}
