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

/// Lines of the story that begin with a time of day and then `rest`.
fn lines<'a>(story: &'a str, rest: &str) -> Vec<&'a str> {
    story
        .lines()
        .filter(|line| line.get(..5).is_some_and(|time| time.as_bytes()[2] == b':'))
        .filter(|line| line.get(5..).is_some_and(|line| line.trim_start().starts_with(rest)))
        .collect()
}

#[test]
fn the_story_of_a_night_is_told_and_ends_by_itself_with_a_summary() {
    let story = told(&demo(&["--duration", "75s", "--speed", "2000"]).output().unwrap());
    // Where to look.
    assert!(story.contains("  HTTP     http://127.0.0.1:"), "{story}");
    for device in ["frosthollow", "frosthollow-lung", "frosthollow-oyster-hall"] {
        assert!(story.contains(&format!("'homie/5/{device}/#'")), "{story}");
    }
    // At 17:00 it is mild; the hard frost of the night is announced before it comes, at about 21:20.
    let frost = lines(&story, "WARNING Farm, hard-frost");
    assert_eq!(frost.len(), 1, "{story}");
    assert!(frost[0].starts_with("17:0"), "{story}");
    assert!(story.contains("hard-frost             given at 17:0"), "{story}");
    // Some hours of tables, each with numbers in every room.
    let hours = lines(&story, "outdoors ");
    assert!(hours.len() >= 3, "{story}");
    for room in ["Anteroom", "Oyster hall", "Shiitake loft", "Lion's mane bay"] {
        let rows: Vec<&str> = story.lines().filter(|line| line.starts_with(&format!("       {room}"))).collect();
        assert!(rows.len() >= 3, "{story}");
        assert!(
            rows.iter().all(|row| row.contains(" °C") && row.contains(" g/kg") && row.contains(" m³/h")),
            "{rows:#?}"
        );
    }
    assert!(story.contains("Summary after "), "{story}");
    for line in story.lines() {
        assert!(line.chars().count() <= 100, "wider than 100 columns: {line}");
    }
}

#[test]
fn american_units_are_told_in_american_units() {
    let story = told(&demo(&["--duration", "45s", "--speed", "1000", "--units", "us"]).output().unwrap());
    let rows: Vec<&str> = story.lines().filter(|line| line.starts_with("       Oyster hall")).collect();
    assert!(!rows.is_empty(), "{story}");
    assert!(rows.iter().all(|row| row.contains(" °F") && row.contains(" gr/lb") && row.contains(" cfm")), "{rows:#?}");
    assert!(!story.contains("°C"), "{story}");
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
    while !line.starts_with("The night, as it is read back") {
        line.clear();
        assert_ne!(story.read_line(&mut line).unwrap(), 0, "the story ended before it began");
    }
    let interrupted = Command::new("kill").args(["-INT", &child.id().to_string()]).status().unwrap();
    assert!(interrupted.success());
    let mut rest = String::new();
    story.read_to_string(&mut rest).unwrap();
    assert!(child.wait().unwrap().success());
    assert!(rest.contains("Summary after "), "{rest}");
}
