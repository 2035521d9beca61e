//! A board without a battery clock: started in 1970, it cannot judge certificates; when the network's time comes, it
//! connects within seconds.

use std::{ffi::OsStr, fs, path::PathBuf, process::Command, time::Duration};

use super::links::{Papers, configuration, files, link};
use crate::e2e::{
    broker::{Mosquitto, free_port},
    client::Outside,
    daemon::Daemon,
    farm::site,
    until,
};

/// The library that shows a program another date; Debian's package is `libfaketime`.
fn library() -> PathBuf {
    let machine = Command::new("uname").arg("-m").output().unwrap();
    let machine = String::from_utf8(machine.stdout).unwrap();
    let folder = PathBuf::from(format!("/usr/lib/{}-linux-gnu/faketime", machine.trim()));
    let library = folder.join("libfaketimeMT.so.1");
    assert!(library.is_file(), "`faketime` is needed by this test: install it, or run `bash tests/all.sh`");
    library
}

#[test]
fn under_a_date_of_1970_tls_waits_for_the_clock_and_connects_within_seconds_of_the_step() {
    let papers = Papers::new();
    let (port, http_port) = (free_port(), free_port());
    let broker = Mosquitto::with_listeners(&papers.listener(port, "address"));
    let outside = Outside::connect("outside", broker.port);
    let folder = tempfile::tempdir().unwrap();
    let date = folder.path().join("date");
    fs::write(&date, "@1970-01-01 00:01:00\n").unwrap();
    let text = configuration(
        &broker,
        http_port,
        &link("127.0.0.1", port, &files(&papers, "farm", Some(("client", "client")))),
    );
    let library = library();
    // Only the calendar is another; what counts elapsed time stays.
    let environment = [
        ("LD_PRELOAD", library.as_os_str()),
        ("FAKETIME_TIMESTAMP_FILE", date.as_os_str()),
        ("FAKETIME_NO_CACHE", OsStr::new("1")),
        ("FAKETIME_DONT_FAKE_MONOTONIC", OsStr::new("1")),
        ("DONT_FAKE_MONOTONIC", OsStr::new("1")),
    ];
    let daemon = Daemon::run_with(&text, http_port, &environment);
    let told = "cannot be judged before this machine's clock is set";
    until(told, 20, || daemon.log().contains(told).then_some(()));
    // Long enough that the pauses between attempts have grown beyond what is waited for below.
    std::thread::sleep(Duration::from_secs(40));
    assert!(!daemon.log().contains("Connected to the broker"), "{}", daemon.log());
    assert_eq!(daemon.log().matches(told).count(), 1, "{}", daemon.log());
    fs::write(&date, "+0\n").unwrap();
    outside.until_is(&site("$state"), "ready", 10);
    until("the step is told", 10, || daemon.log().contains("The clock stepped to 20").then_some(()));
}
