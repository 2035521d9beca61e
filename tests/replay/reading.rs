//! What is read, what is passed over, and what is said of it.

use jiff::SignedDuration;

use super::{Folder, Line, hall, joined, quiet, said};

const DUSK: &str = "2027-01-15T18:00:00Z";

#[test]
fn two_replays_agree_to_the_byte_and_their_output_is_a_log_without_a_bad_line() {
    let folder = Folder::new();
    folder.write("log.jsonl", &joined(&quiet(DUSK, 6), Line::json));
    let first = folder.text(&["log.jsonl", "--write", "first.jsonl"]);
    let second = folder.text(&["log.jsonl", "--write", "second.jsonl"]);
    assert_eq!(first, second);
    let (written, again) = (folder.read("first.jsonl"), folder.read("second.jsonl"));
    assert!(written == again, "the lines differ");
    assert!(written.lines().count() > 200, "{} lines", written.lines().count());
    // Beside its own input, all of it is known as the daemon's own, and nothing else changes.
    let both = folder.summary(&["log.jsonl", "first.jsonl"]);
    assert_eq!(both["lines"]["bad"], 0, "{both}");
    assert_eq!(both["lines"]["own"], written.lines().count());
    let alone = folder.summary(&["log.jsonl"]);
    assert_eq!(both["rooms"], alone["rooms"]);
    assert_eq!(both["alerts"], alone["alerts"]);
}

#[test]
fn json_lines_and_columns_say_the_same_as_do_a_file_the_standard_input_and_logs_beside_each_other() {
    let folder = Folder::new();
    let lines = quiet(DUSK, 3);
    folder.write("log.jsonl", &joined(&lines, Line::json));
    folder.write("log.csv", &joined(&lines, Line::csv));
    let is_of_room = |line: &&Line| line.topic.starts_with("hall");
    let of_room: Vec<Line> = lines.iter().filter(is_of_room).cloned().collect();
    let others: Vec<Line> = lines.iter().filter(|line| !is_of_room(line)).cloned().collect();
    folder.write("room.jsonl", &joined(&of_room, Line::json));
    folder.write("yard.csv", &joined(&others, Line::csv));
    let expected = folder.text(&["log.jsonl", "--write", "expected.jsonl"]);
    let of_columns = folder.text(&["log.csv", "--write", "columns.jsonl"]);
    let beside = folder.text(&["room.jsonl", "yard.csv", "--write", "beside.jsonl"]);
    let arguments = ["-", "--config", "farm.yaml", "--write", "input.jsonl"];
    let of_input = folder.run(&arguments, &joined(&lines, Line::json));
    assert_eq!((&of_columns, &beside, &said(&of_input.stdout)), (&expected, &expected, &expected));
    let expected = folder.read("expected.jsonl");
    for other in ["columns.jsonl", "beside.jsonl", "input.jsonl"] {
        assert!(folder.read(other) == expected, "{other} differs");
    }
}

#[test]
fn bad_lines_are_named_by_number_counted_and_passed_over() {
    let folder = Folder::new();
    let mut lines: Vec<String> = quiet(DUSK, 1).iter().map(Line::json).collect();
    let good = folder.write("good.jsonl", &lines.join("\n"));
    let dusk: jiff::Timestamp = DUSK.parse().unwrap();
    // From the last to the first, so that the numbers hold.
    lines.insert(100, Line::new(dusk + SignedDuration::from_secs(1_495), "hall/co2", "damp").json());
    lines.insert(60, Line::new(dusk + SignedDuration::from_secs(895), &hall("inputs/stage/set"), "asleep").json());
    lines.insert(40, "\u{fffd}yesterday,hall/co2,700".to_owned());
    lines.insert(20, "{\"tst\":\"2027-01-15T18:04:59Z\",\"topic\":".to_owned());
    (0..14).for_each(|_| lines.insert(10, String::new()));
    folder.write("bad.jsonl", &lines.join("\n"));
    let text = folder.text(&["bad.jsonl"]);
    for words in [
        "- line 11: the line is empty.",
        "- line 20: the line is empty.",
        "- and 4 more of this kind (empty).",
        "- line 35: no JSON object with `tst`",
        "- line 56: `\u{fffd}yesterday` is no time",
        "- line 77: on `homie/5/frosthollow-hall/inputs/stage/set`: the payload has to be one of spawn-run",
        "- line 118: on `hall/co2`: the payload is not a number.",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!text.contains("line 21: the line is empty"), "{text}");
    let (bad, good) = (folder.summary(&["bad.jsonl"]), folder.summary(&[&good.display().to_string()]));
    assert_eq!(bad["lines"]["bad"], 18);
    assert_eq!(bad["bad_lines"]["empty"]["count"], 14);
    assert_eq!(bad["lines"]["readings"], good["lines"]["readings"]);
    let refused = |summary: &serde_json::Value| summary["sources"][4]["refused"].clone();
    assert_eq!((refused(&bad), refused(&good)), (1.into(), 0.into()));
}

#[test]
fn bytes_that_are_no_text_and_lines_without_an_end_are_passed_over() {
    let folder = Folder::new();
    let good = joined(&quiet(DUSK, 1), Line::json);
    let mut bytes = good.clone().into_bytes();
    bytes.extend(b"{\"tst\":\"\xff\xfe\"}\n");
    bytes.extend(std::iter::repeat_n(b'x', 6 << 20));
    bytes.extend(b"\n");
    bytes.extend(good.as_bytes());
    std::fs::write(folder.0.path().join("log.jsonl"), bytes).unwrap();
    let summary = folder.summary(&["log.jsonl"]);
    assert_eq!(summary["bad_lines"]["not-text"]["first"][0]["line"], 241);
    assert_eq!(summary["bad_lines"]["too-long"]["first"][0]["line"], 242);
    assert_eq!(summary["lines"]["read"], 482);
}

#[test]
fn what_the_broker_kept_and_topics_of_nobody_are_passed_over_and_counted() {
    let folder = Folder::new();
    let mut lines = quiet(DUSK, 1);
    let plain = folder.write("plain.jsonl", &joined(&lines, Line::json));
    let kept = |topic: &str, payload: &str| Line { retained: true, ..Line::new(lines[30].at, topic, payload) };
    let more = [
        kept("hall/co2", "9000"),
        kept(&hall("inputs/stage/set"), "resting"),
        Line::new(lines[30].at, "barn/lamp", "on"),
        Line::new(lines[30].at, &hall("advice/mode"), "withheld"),
    ];
    lines.splice(31..31, more);
    folder.write("more.jsonl", &joined(&lines, Line::json));
    let (more, plain) = (folder.summary(&["more.jsonl"]), folder.summary(&[&plain.display().to_string()]));
    let count = |what: &str| more["lines"][what].as_u64().unwrap();
    assert_eq!((count("retained"), count("foreign"), count("own"), count("settings")), (2, 1, 1, 0));
    assert_eq!(more["rooms"], plain["rooms"]);
}

#[test]
fn a_setting_in_the_log_is_taken_as_live() {
    let folder = Folder::new();
    let mut lines = quiet(DUSK, 4);
    let at = lines[200].at + SignedDuration::from_secs(1);
    let hold = r#"{"fresh-air":480,"for":"PT1H"}"#;
    lines.insert(201, Line::new(at, &hall("inputs/hold/set"), hold));
    folder.write("log.jsonl", &joined(&lines, Line::json));
    let published = folder.published(&["log.jsonl"]);
    let of = |topic: &str| -> Vec<_> {
        let topic = hall(topic);
        published.iter().filter(|(_, other, _)| *other == topic).map(|(at, _, value)| (*at, value.as_str())).collect()
    };
    let holds = of("inputs/hold");
    let ends = (at + SignedDuration::from_hours(1)).strftime("%Y-%m-%dT%H:%M:%SZ").to_string();
    assert_eq!(holds[1], (at, &*format!(r#"{{"fresh-air":480.0,"until":"{ends}"}}"#)), "{holds:?}");
    let ended = holds[2];
    assert_eq!((ended.1, ended.0.duration_since(at).as_secs()), ("{}", 3_600), "{holds:?}");
    let air = of("advice/fresh-air");
    assert!(air.contains(&(at, "480.0")), "{air:?}");
    assert_eq!(folder.summary(&["log.jsonl"])["lines"]["settings"], 1);
}

#[test]
fn what_cannot_be_replayed_is_said_in_a_whole_sentence_with_its_exit_code() {
    let folder = Folder::new();
    folder.write("empty.jsonl", "");
    folder.write("log.jsonl", &joined(&quiet(DUSK, 1), Line::json));
    folder.write("foreign.csv", "2027-01-15T18:00:00Z,barn/lamp,on\n");
    folder.write("broken.yaml", "site: 3\n");
    let with = |arguments: &[&'static str]| [&["--config", "farm.yaml"], arguments].concat();
    for (arguments, words) in [
        (with(&["empty.jsonl"]).as_slice(), "Nothing could be replayed: the log is empty."),
        (&with(&["foreign.csv"]), "of 1 lines none is heard: 1 are of topics that the configuration does not name."),
        (&with(&["nowhere.jsonl"]), "nowhere.jsonl cannot be read"),
        (&["log.jsonl", "--config", "broken.yaml"], "broken.yaml"),
        (&with(&["log.jsonl", "--from", "tomorrow"]), "`tomorrow` is no moment"),
        (&with(&["log.jsonl", "--from", "2027-01-16", "--to", "2027-01-16"]), "--to is not after --from"),
        (&with(&["log.jsonl", "--from", "2027-02-01"]), "240 lie outside of --from and --to"),
        (&with(&["log.jsonl", "--observations", "empty.jsonl"]), "empty.jsonl holds no observations"),
        (&with(&["log.jsonl", "--foresight"]), "--observations"),
    ] {
        let output = folder.run(arguments, "");
        let words_said = said(&output.stderr);
        assert!(words_said.contains(words), "{arguments:?}: {words_said}");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(output.stdout.is_empty(), "{arguments:?}");
    }
}
