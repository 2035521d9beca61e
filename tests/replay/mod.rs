//! `mistwright replay`: the real binary on real files.

mod clock;
mod live;
mod reading;
mod recorder;
mod summary;
mod what_if;

use std::{
    fs,
    io::Write,
    path::PathBuf,
    process::{Command, Output, Stdio},
};

use jiff::{SignedDuration, Timestamp};
use serde_json::Value;

/// A folder with a farm, and what is replayed there.
pub struct Folder(tempfile::TempDir);

/// A room that breathes outdoor air, with sensors in the room and in the yard.
pub const FARM: &str = r#"
site:
  name: frosthollow
  latitude: 61.35
  longitude: 25.28
  elevation: 95 m
  time-zone: Europe/Helsinki
broker:
  host: localhost
forecast:
  service: met-norway
  contact: grower@frosthollow.example
outdoors:
  sensors:
    temperature: {topic: "yard/temperature", unit: "°C"}
    relative-humidity: {topic: "yard/humidity", unit: "%"}
rooms:
  hall:
    volume: 60 m³
    crop: {species: oyster, stage: fruiting, substrate: 300 kg}
    fan: {capacity: 600 m³/h, floor: 1 /h, usual: 5 /h}
    humidifier: {method: ultrasonic, output: 6 L/h, evaporated-fraction: 90 %, water: 120 L}
    sensors:
      temperature: {topic: "hall/air", pointer: /t, unit: "°C"}
      relative-humidity: {topic: "hall/air", pointer: /rh, unit: "%"}
      carbon-dioxide: {topic: "hall/co2", unit: ppm}
"#;

/// A message as it is recorded.
#[derive(Clone)]
pub struct Line {
    pub at: Timestamp,
    pub topic: String,
    pub payload: String,
    pub retained: bool,
}

impl Line {
    pub fn new(at: Timestamp, topic: &str, payload: &str) -> Self {
        Self { at, topic: topic.to_owned(), payload: payload.to_owned(), retained: false }
    }

    /// As `mosquitto_sub -F %j` prints it.
    pub fn json(&self) -> String {
        recorder::line(self.at, &self.topic, &self.payload, self.retained)
    }

    /// As three columns.
    pub fn csv(&self) -> String {
        format!("{},{},\"{}\"", self.at, self.topic, self.payload.replace('"', "\"\""))
    }
}

/// What the sensors say for so many hours, once a minute: outdoors −8 °C, inside slowly changing.
pub fn quiet(from: &str, hours: i64) -> Vec<Line> {
    let from: Timestamp = from.parse().unwrap();
    let mut lines = Vec::new();
    for minute in 0..hours * 60 {
        let at = from + SignedDuration::from_mins(minute);
        let wave = (minute as f64 / 60.0).sin();
        let after = |seconds| at + SignedDuration::from_secs(seconds);
        lines.push(Line::new(at, "yard/temperature", &format!("{:.2}", -8.0 + 0.3 * wave)));
        lines.push(Line::new(after(1), "yard/humidity", &format!("{:.1}", 80.0 + wave)));
        let air = format!(r#"{{"t":{:.2},"rh":{:.1}}}"#, 16.0 + 0.2 * wave, 88.0 - wave);
        lines.push(Line::new(after(20), "hall/air", &air));
        lines.push(Line::new(after(40), "hall/co2", &format!("{:.0}", 750.0 + 20.0 * wave)));
    }
    lines
}

pub fn joined(lines: &[Line], written: impl Fn(&Line) -> String) -> String {
    lines.iter().map(|line| written(line) + "\n").collect()
}

impl Folder {
    pub fn new() -> Self {
        let folder = Self(tempfile::tempdir().unwrap());
        folder.write("farm.yaml", FARM);
        folder
    }

    pub fn write(&self, name: &str, text: &str) -> PathBuf {
        let path = self.0.path().join(name);
        fs::write(&path, text).unwrap();
        path
    }

    pub fn read(&self, name: &str) -> String {
        fs::read_to_string(self.0.path().join(name)).unwrap()
    }

    /// Replays with these arguments behind `replay`, and this on the standard input.
    pub fn run(&self, arguments: &[&str], input: &str) -> Output {
        let mut process = Command::new(env!("CARGO_BIN_EXE_mistwright"))
            .arg("replay")
            .args(arguments)
            .current_dir(self.0.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = process.stdin.take().unwrap();
        let input = input.to_owned();
        // Who does not read its input closes it.
        let writer = std::thread::spawn(move || drop(stdin.write_all(input.as_bytes())));
        let output = process.wait_with_output().unwrap();
        writer.join().unwrap();
        output
    }

    /// The summary for people.
    pub fn text(&self, arguments: &[&str]) -> String {
        let output = self.run(&[&["--config", "farm.yaml"], arguments].concat(), "");
        assert!(output.status.success(), "{}", said(&output.stderr));
        said(&output.stdout)
    }

    /// The summary for machines.
    pub fn summary(&self, arguments: &[&str]) -> Value {
        serde_json::from_str(&self.text(&[arguments, &["--json"]].concat())).unwrap()
    }

    /// What would have been published: time, topic and payload.
    pub fn published(&self, arguments: &[&str]) -> Vec<(Timestamp, String, String)> {
        self.text(&[arguments, &["--write", "out.jsonl"]].concat());
        self.read("out.jsonl").lines().map(published).collect()
    }
}

pub fn published(line: &str) -> (Timestamp, String, String) {
    let line: Value = serde_json::from_str(line).unwrap();
    // What is cleared has no payload.
    let text = |key: &str| line[key].as_str().unwrap_or_default().to_owned();
    // Mosquitto writes a `Z` before its offset, which is nothing on a machine that keeps UTC.
    let at = text("tst").trim_end_matches("+0000").parse().unwrap();
    (at, text("topic"), text("payload"))
}

/// A topic of the hall.
pub fn hall(rest: &str) -> String {
    format!("homie/5/frosthollow-hall/{rest}")
}

pub fn said(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}
