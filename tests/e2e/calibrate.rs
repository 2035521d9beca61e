//! `mistwright calibrate` against a broker, with a simulated sensor that comes to rest in its jar, or does not.

use std::{
    fs,
    process::{Command, Output},
    sync::atomic::{AtomicBool, Ordering},
    time::Duration,
};

use super::{broker::Mosquitto, client::Outside, farm::Farm};

/// Runs it while a sensor in the oyster hall says `humidity` (percent, by seconds) ten times a second, at 21 °C.
fn calibrate(arguments: &[&str], humidity: impl Fn(f64) -> f64 + Send + Sync) -> Output {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mistwright.yaml");
    fs::write(&file, Farm::default().configuration(&broker, super::broker::free_port())).unwrap();
    let jar = Outside::connect("jar", broker.port);
    // An old message is kept at the broker: it is no reading.
    jar.publish_retained("farm/oyster-hall/air", r#"{"air":{"t":21.0,"rh":12.0}}"#);
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            for tenth in 0..1_200 {
                if over.load(Ordering::SeqCst) {
                    return;
                }
                let percent = humidity(f64::from(tenth) / 10.0);
                jar.publish("farm/oyster-hall/air", format!(r#"{{"air":{{"t":21.0,"rh":{percent:.2}}}}}"#));
                std::thread::sleep(Duration::from_millis(100));
            }
        });
        let output = Command::new(env!("CARGO_BIN_EXE_mistwright"))
            .args(["calibrate", "--sensor", "oyster-hall/relative-humidity", "--config"])
            .arg(&file)
            .args(arguments)
            .output()
            .unwrap();
        over.store(true, Ordering::SeqCst);
        output
    })
}

#[test]
fn a_sensor_that_comes_to_rest_over_table_salt_is_given_its_correction() {
    // 76.78 % where sodium chloride gives 75.45 % at 21 °C (Greenspan 1977).
    let output = calibrate(&["--salt", "nacl", "--hold", "3 s"], |seconds| 76.78 - 25.0 * (-seconds / 0.8).exp());
    let (said, complaint) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{said}{complaint}");
    assert!(said.contains("offset: -1.3 %"), "{said}");
    assert!(said.contains("at 21.0 °C") && said.contains("75.4 %"), "{said}");
    assert!(!said.contains("12.0 %"), "a retained message was taken for a reading: {said}");
}

#[test]
fn a_jar_that_leaks_gives_no_correction() {
    let output = calibrate(&["--salt", "nacl", "--hold", "2 s", "--give-up", "8 s"], |seconds| 80.0 - seconds);
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(complaint.contains("has not come to rest"), "{complaint}");
}

#[test]
fn a_sensor_that_is_not_configured_is_answered_with_those_that_are() {
    let broker = Mosquitto::start();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("mistwright.yaml");
    fs::write(&file, Farm::default().configuration(&broker, super::broker::free_port())).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .args(["calibrate", "--salt", "kcl", "--sensor", "oyster-hall/humidity", "--config"])
        .arg(&file)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&output.stderr).contains("oyster-hall/relative-humidity"));
}
