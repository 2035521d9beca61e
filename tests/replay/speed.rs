//! How long a winter takes, and how much memory: `cargo test --profile long --test long speed -- --nocapture` prints it.

use std::{
    fs::{self, File},
    io::BufWriter,
    path::{Path, PathBuf},
    process::{Command, Stdio},
    time::{Duration, Instant},
};

use crate::winter;

const ROOMS: usize = 10;

/// A winter's files: configuration, log and forecasts. Made anew at each run: what made them may have changed.
fn files(days: i64) -> [PathBuf; 3] {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("winter-{days}"));
    fs::create_dir_all(&folder).unwrap();
    let [farm, log, forecasts] = ["farm.yaml", "log.jsonl", "forecasts.jsonl"].map(|name| folder.join(name));
    fs::write(&farm, winter::configuration(ROOMS)).unwrap();
    let mut out = BufWriter::new(File::create(&log).unwrap());
    winter::log(days, ROOMS, &mut out).unwrap();
    winter::forecasts(days, &mut BufWriter::new(File::create(&forecasts).unwrap())).unwrap();
    [farm, log, forecasts]
}

/// Seconds, and the most memory in MiB.
#[expect(clippy::disallowed_methods, reason = "a process outside of this one is measured")]
fn replayed(files: &[PathBuf; 3], more: &[&str]) -> (f64, f64, String) {
    let [farm, log, forecasts] = files;
    let began = Instant::now();
    let mut process = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .arg("replay")
        .arg(log)
        .arg("--config")
        .arg(farm)
        .arg("--forecasts")
        .arg(forecasts)
        .arg("--json")
        .args(more)
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", process.id());
    let mut out = process.stdout.take().unwrap();
    let reader = std::thread::spawn(move || std::io::read_to_string(&mut out).unwrap());
    let mut most = 0.0_f64;
    let ended = loop {
        if let Some(ended) = process.try_wait().unwrap() {
            break ended;
        }
        let held = fs::read_to_string(&status).unwrap_or_default();
        let kilobytes = held.lines().find_map(|line| line.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB"));
        most = most.max(kilobytes.and_then(|text| text.parse().ok()).unwrap_or(0.0) / 1_024.0);
        std::thread::sleep(Duration::from_millis(20));
    };
    assert!(ended.success());
    (began.elapsed().as_secs_f64(), most, reader.join().unwrap())
}

#[test]
fn a_winter_of_ten_rooms_takes_no_more_memory_than_a_week() {
    let days: i64 = std::env::var("WINTER_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(90);
    let (week, winter) = (files(7), files(days));
    let (seconds, of_week, _) = replayed(&week, &[]);
    println!("7 days: {seconds:.1} s, {of_week:.1} MiB");
    let (seconds, of_winter, summary) = replayed(&winter, &[]);
    let summary: serde_json::Value = serde_json::from_str(&summary).unwrap();
    println!("{days} days, {}: {seconds:.1} s, {of_winter:.1} MiB", summary["lines"]);
    let lines = (days * 1_440 * (ROOMS as i64 * winter::SENSORS as i64 + 2)) as f64;
    assert!(summary["lines"]["readings"].as_f64().unwrap() > 0.99 * lines, "{}", summary["lines"]);
    assert_eq!(summary["lines"]["bad"], 0);
    assert!(of_winter < of_week + 8.0, "{of_winter} MiB for a winter, {of_week} MiB for a week");
}
