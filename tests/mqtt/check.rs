//! `mistwright check --connect` against a real broker with an access list: what answers is said, what does not is said
//! with what to do, and nothing is left behind.

use std::{
    fs,
    process::Command,
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
    },
    time::Duration,
};

use jiff::Timestamp;

use crate::e2e::{
    broker::{Mosquitto, USER, free_port},
    client::{Outside, retained},
    daemon::{Daemon, sample},
    farm::{Farm, site},
    observations::{freeze, locationforecast, starting_at},
    service::WeatherService,
};

#[expect(clippy::disallowed_methods, reason = "the forecast has to be one for the program's own present")]
fn present() -> Timestamp {
    Timestamp::from_second(Timestamp::now().as_second()).unwrap()
}

fn served() -> WeatherService {
    WeatherService::serving(locationforecast(&starting_at(present(), &freeze())))
}

fn configuration(broker: &Mosquitto, service: &str) -> String {
    let forecast =
        format!("  base-url: {service}/weatherapi/locationforecast/2.0\n  contact: grower@frosthollow.example");
    Farm { forecast, ..Farm::default() }.configuration(broker, free_port())
}

/// Exit code and lines of the command.
fn check(configuration: &str, wait: u64) -> (i32, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("farm.yaml");
    fs::write(&file, configuration).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_mistwright"))
        .arg("check")
        .arg(&file)
        .args(["--connect", "--wait", &wait.to_string()])
        .output()
        .unwrap();
    assert!(output.stderr.is_empty(), "{}", String::from_utf8_lossy(&output.stderr));
    let lines = String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect();
    (output.status.code().unwrap(), lines)
}

/// Sensors that speak again and again until they are dropped.
struct Sensors(Arc<AtomicBool>);

impl Sensors {
    fn speak(broker: &Mosquitto, messages: &'static [(&'static str, &'static str)]) -> Self {
        let stopped = Arc::<AtomicBool>::default();
        let (stop, outside) = (stopped.clone(), Outside::connect("sensors", broker.port));
        std::thread::spawn(move || {
            while !stop.load(Ordering::SeqCst) {
                for (topic, payload) in messages {
                    outside.publish(topic, *payload);
                }
                std::thread::sleep(Duration::from_millis(200));
            }
        });
        Self(stopped)
    }
}

impl Drop for Sensors {
    fn drop(&mut self) {
        self.0.store(true, Ordering::SeqCst);
    }
}

const AIR: &str = r#"{"air":{"t":16.5,"rh":88}}"#;
const ALL: &[(&str, &str)] = &[
    ("farm/yard", AIR),
    ("farm/oyster-hall/air", AIR),
    ("farm/oyster-hall/co2", "812"),
    ("farm/lions-mane-bay/air", AIR),
    ("farm/lions-mane-bay/co2", "640"),
    ("farm/shiitake-loft/air", AIR),
    ("farm/shiitake-loft/co2", "700"),
];

#[test]
fn where_everything_answers_the_check_says_so_and_leaves_nothing_behind_and_a_running_daemon_alone() {
    let broker = Mosquitto::start();
    let outside = Outside::connect("outside", broker.port);
    let service = served();
    let text = configuration(&broker, &service.base_url);
    let _sensors = Sensors::speak(&broker, ALL);
    let (code, lines) = check(&text, 20);
    let all = lines.join("\n");
    println!("{all}");
    assert_eq!(code, 0, "{all}");
    assert!(lines.iter().all(|line| !line.starts_with("BAD")), "{all}");
    for expected in [
        "takes the connection",
        "test messages were taken, and none is kept",
        "topics may be listened to",
        "good  temperature of outdoors: 16.5 °C on `farm/yard`.",
        "good  carbon dioxide of oyster-hall: 812 ppm on `farm/oyster-hall/co2`.",
        "moments until",
        "0 bad: everything answers as it has to.",
    ] {
        assert!(all.contains(expected), "`{expected}` is not in\n{all}");
    }
    let left: Vec<_> = retained(broker.port).into_keys().filter(|topic| topic.starts_with("homie/")).collect();
    assert!(left.is_empty(), "{left:?}");

    let http_port = free_port();
    let daemon = Daemon::run(&Farm::default().configuration(&broker, http_port), http_port);
    outside.until_is(&site("$state"), "ready", 20);
    let before = retained(broker.port).len();
    let (code, lines) = check(&text, 20);
    assert_eq!(code, 0, "{}", lines.join("\n"));
    let metrics = daemon.metrics();
    assert_eq!(sample(&metrics, "mistwright_broker_connections_total"), Some(1.0), "{}", daemon.log());
    let input = sample(&metrics, r#"mistwright_inputs_refused_total{input="stage"}"#);
    assert_eq!(input, Some(0.0), "a test message was taken for a setting");
    assert!(retained(broker.port).len() >= before, "the check has cleared something");
}

#[test]
fn what_does_not_answer_has_a_line_of_its_own_that_says_what_to_do() {
    let denied = "topic deny +/5/+/alerts/#\ntopic deny farm/lions-mane-bay/co2\n";
    let broker = Mosquitto::with_access_list(&format!(
        "user {USER}\ntopic readwrite #\n{denied}\nuser anybody\ntopic readwrite #\n"
    ));
    let outside = Outside::connect("outside", broker.port);
    outside.publish_retained("farm/shiitake-loft/co2", "700");
    let text = configuration(&broker, &format!("http://127.0.0.1:{}", free_port()));
    let _sensors = Sensors::speak(
        &broker,
        &[
            ("farm/yard", AIR),
            ("farm/oyster-hall/air", r#"{"air":{"t":"warm","rh":88}}"#),
            ("farm/lions-mane-bay/air", AIR),
            ("farm/lions-mane-bay/co2", "640"),
            ("farm/shiitake-loft/air", AIR),
        ],
    );
    let (code, lines) = check(&text, 4);
    let all = lines.join("\n");
    println!("{all}");
    assert_eq!(code, 4, "{all}");
    for expected in [
        "BAD   publishing: the broker refuses `homie/5/frosthollow/alerts/check`: not authorized.",
        "BAD   publishing: the broker refuses `homie/5/frosthollow-shiitake-loft/alerts/check`: not authorized.",
        "BAD   temperature of oyster-hall: heard on `farm/oyster-hall/air`, but",
        "good  relative humidity of oyster-hall: 88.0 %",
        "BAD   carbon dioxide of lions-mane-bay: nothing on `farm/lions-mane-bay/co2`",
        "BAD   carbon dioxide of shiitake-loft: only an old message",
        "BAD   forecast: MET Norway cannot be reached",
        "9 bad: 9 things do not answer as they have to.",
    ] {
        assert!(all.contains(expected), "`{expected}` is not in\n{all}");
    }
}

#[test]
fn a_broker_that_is_not_there_or_refuses_the_password_is_said_and_nothing_is_waited_for() {
    let mut broker = Mosquitto::start();
    let service = served();
    let text = configuration(&broker, &service.base_url);
    fs::write(broker.password_file(), "wrong").unwrap();
    let (code, lines) = check(&text, 600);
    assert!(code == 4 && lines.iter().any(|line| line.contains("refused user or password")), "{lines:?}");
    broker.kill();
    let (code, lines) = check(&text, 600);
    let all = lines.join("\n");
    assert!(code == 4 && all.contains("BAD   broker: 127.0.0.1:"), "{all}");
    assert!(all.contains("1 thing does not answer"), "{all}");
    let code = |arguments: &[&str]| {
        Command::new(env!("CARGO_BIN_EXE_mistwright")).arg("check").args(arguments).output().unwrap().status.code()
    };
    assert_eq!(code(&["examples/one-room.yaml", "--wait", "5"]), Some(2), "--wait without --connect");
    assert_eq!(code(&["tests/config/mistakes.yaml", "--connect"]), Some(1), "a bad file is not tried out");
    assert_eq!(code(&["no-such-file.yaml", "--connect"]), Some(2));
}
