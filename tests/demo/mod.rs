//! `mistwright demo`, run as a user runs it: the story must come from a daemon that did the whole job.

use std::{
    io::{BufRead, BufReader, Read},
    process::{Child, Command, Output, Stdio},
};

fn demo(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_mistwright"));
    command.arg("demo").args(arguments);
    command
}

fn told(output: &Output) -> String {
    assert!(output.status.success(), "{}\n{}", output.status, String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn no_line_is_too_wide(story: &str) {
    for line in story.lines() {
        assert!(line.chars().count() <= 100, "wider than 100 columns: {line}");
    }
}

/// The first act as far as a program without optimisation comes; the whole story is lived through by `tests/story`.
#[test]
fn the_first_act_says_what_the_night_will_take_and_a_story_cut_short_judges_nothing_that_it_has_not_reached() {
    // However fast the machine, it is cut short before dawn.
    let story = told(&demo(&["--duration", "75s", "--speed", "600"]).output().unwrap());
    no_line_is_too_wide(&story);
    // Where to look.
    assert!(story.contains("  the page   http://127.0.0.1:"), "{story}");
    assert!(story.contains("'homie/5/frosthollow-oyster-hall/#'"), "{story}");
    // At 17:00 it is mild; what comes at about 21:00 and after midnight is announced before.
    let alerts =
        ["WARNING Farm, hard-frost:", "WARNING Anteroom, humidifier-shortfall:", "WARNING Oyster hall, tank-empty:"];
    for alert in alerts {
        let lines: Vec<&str> = story.lines().filter(|line| line.contains(alert)).collect();
        assert_eq!(lines.len(), 1, "{alert}\n{story}");
        assert!(lines[0].starts_with("17:"), "{}", lines[0]);
    }
    // What the night takes, for every room, and what is in the tank.
    let tonight = story.split("What tonight will take").nth(1).expect("the evening is told");
    for room in ["Anteroom", "Oyster hall", "Shiitake loft", "Lion's mane bay"] {
        let row = tonight.lines().find(|line| line.trim_start().starts_with(room)).unwrap();
        assert!(row.matches(" L").count() >= 2 && row.contains(" %"), "{row}");
    }
    assert!(tonight.contains("Oyster hall's tank is filled to the brim; its gauge says 300.0 L."), "{story}");
    let summary = story.split("═══ Summary").nth(1).expect("the story has its summary");
    assert!(summary.contains("The story was ended at "), "{summary}");
    assert!(!summary.contains('!'), "{summary}");
}

#[test]
fn american_units_are_told_in_american_units() {
    let story = told(&demo(&["--duration", "45s", "--speed", "1000", "--units", "us"]).output().unwrap());
    no_line_is_too_wide(&story);
    let row = story.lines().find(|line| line.starts_with("17:30")).expect("a row of the running table");
    assert!(row.contains(" °F") && row.matches(" gal/h").count() == 4, "{row}");
    assert!(story.contains("Oyster hall 10."), "the hall's tank in gallons: {story}");
    for metric in [" °C", " L ", " L.", " m³/h", " kg/h"] {
        assert!(!story.contains(metric), "{metric} in {story}");
    }
}

#[test]
fn a_taken_port_is_refused_with_what_to_do() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let output = demo(&["--duration", "5s", "--mqtt-listen", &address]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(error.contains(&address) && error.contains("--mqtt-listen"), "{error}");
}

#[test]
fn an_interrupt_ends_the_night_with_its_summary() {
    let mut child: Child = demo(&[]).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let mut story = BufReader::new(child.stdout.take().unwrap());
    let mut line = String::new();
    while !line.starts_with("═══ Act 1. Dusk") {
        line.clear();
        assert_ne!(story.read_line(&mut line).unwrap(), 0, "the story ended before it began");
    }
    let interrupted = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(interrupted.success());
    let mut rest = String::new();
    story.read_to_string(&mut rest).unwrap();
    assert!(child.wait().unwrap().success());
    assert!(rest.contains("═══ Summary") && rest.contains("Nothing to compare yet."), "{rest}");
}
