//! The whole story of the demo, told by the real program: it must end by itself, and what was said must agree with what
//! truly happened. Prints the story.

use std::process::Command;

fn whole(units: &str) -> String {
    let demo = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .args(["demo", "--speed", "3000", "--units", units])
        .output()
        .unwrap();
    let story = String::from_utf8(demo.stdout).unwrap();
    print!("{story}");
    // The exit code says whether everything is within the bounds that stand in the summary.
    assert!(demo.status.success(), "{}\n{}", demo.status, String::from_utf8_lossy(&demo.stderr));
    story
}

#[test]
fn three_acts_are_told_to_their_end_and_all_that_was_said_is_within_its_bound() {
    let story = whole("metric");
    for line in story.lines() {
        assert!(line.chars().count() <= 100, "wider than 100 columns: {line}");
    }
    let parts: Vec<&str> = story.split("\n═══ ").collect();
    let [_, dusk, freeze, fault, summary] = parts[..] else { panic!("{} parts", parts.len()) };
    assert!(dusk.contains("Act 1 ends") && freeze.contains("Act 2 ends") && fault.contains("Act 3 ends"));
    // The lever is read from the outlook, set on the documented topic, and answered by the decision.
    assert!(freeze.contains("homie/5/frosthollow-oyster-hall/inputs/hold/set\n"), "{freeze}");
    assert!(freeze.contains("Oyster hall, advice/reason: Fresh air is held by hand at "), "{freeze}");
    // An alert at the edge of two priorities is told when it rises and when it is over, not each minute.
    let told = |part: &str, word: &str| part.lines().filter(|line| line.contains(word)).count();
    assert!(told(freeze, ", surface-wet") <= 6, "{freeze}");
    assert_eq!(told(fault, "sensor-suspect:"), 2, "{fault}");
    assert!(summary.contains("All 20 are within their bounds."), "{summary}");
    assert!(!summary.contains('!'), "{summary}");
}

#[test]
fn the_whole_story_is_told_in_american_units_too() {
    let story = whole("us");
    for line in story.lines() {
        assert!(line.chars().count() <= 100, "wider than 100 columns: {line}");
    }
    for metric in [" °C", " L ", " L.", " m³/h", " kg/h"] {
        assert!(!story.contains(metric), "{metric} in\n{story}");
    }
    assert!(story.contains("All 20 are within their bounds."));
}
