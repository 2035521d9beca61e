//! What the real binary tells a service manager, heard on a socket of the test's own.

use std::{ffi::OsStr, os::unix::net::UnixDatagram, time::Duration};

use crate::e2e::{broker::free_port, daemon::Daemon, until};

/// A service manager that only listens.
struct Manager {
    socket: UnixDatagram,
    folder: tempfile::TempDir,
}

impl Manager {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let socket = UnixDatagram::bind(folder.path().join("notify")).unwrap();
        socket.set_read_timeout(Some(Duration::from_millis(50))).unwrap();
        Self { socket, folder }
    }

    /// Starts the daemon under it, with a watchdog period.
    fn start(&self, configuration: &str, http_port: u16, watchdog: Duration) -> Daemon {
        let path = self.folder.path().join("notify");
        let period = watchdog.as_micros().to_string();
        let environment = [("NOTIFY_SOCKET", path.as_os_str()), ("WATCHDOG_USEC", OsStr::new(&period))];
        Daemon::run_with(configuration, http_port, &environment)
    }

    /// The next message that holds `part`, dropping those before it.
    fn until(&self, part: &str, seconds: u64) -> String {
        until(part, seconds, || self.next().filter(|message| message.contains(part)))
    }

    fn next(&self) -> Option<String> {
        let mut message = [0; 4_096];
        let length = self.socket.recv(&mut message).ok()?;
        Some(String::from_utf8(message[..length].to_vec()).unwrap())
    }

    /// How many signs of life come within this many waits of 50 ms.
    fn signs_within(&self, waits: usize) -> usize {
        (0..waits).filter(|_| self.next().is_some_and(|message| message.contains("WATCHDOG=1"))).count()
    }
}

/// A farm whose broker and forecast service are away.
fn alone(http_port: u16) -> String {
    let nobody = free_port();
    format!(
        r#"
site: {{ name: frosthollow, latitude: 61.35, longitude: 25.28, elevation: 205 m, time-zone: UTC }}
broker: {{ host: 127.0.0.1, port: {nobody} }}
forecast: {{ base-url: "http://127.0.0.1:{nobody}", contact: grower@frosthollow.example }}
http: {{ listen: "127.0.0.1:{http_port}" }}
rooms:
  oyster-hall:
    volume: 60 m³
    crop: {{ species: oyster, stage: fruiting, substrate: 120 kg }}
    fan: {{ capacity: 8 /h, floor: 1 /h, usual: 4 /h }}
    humidifier: {{ method: ultrasonic, output: 12 L/h, water: mains }}
    sensors:
      temperature: {{ topic: farm/oyster-hall/temperature, unit: "°C" }}
      relative-humidity: {{ topic: farm/oyster-hall/humidity, unit: "%" }}
"#
    )
}

const PERIOD: Duration = Duration::from_millis(900);

#[test]
fn it_is_ready_and_shows_signs_of_life_while_neither_broker_nor_forecast_answers() {
    let manager = Manager::new();
    let http_port = free_port();
    let mut daemon = manager.start(&alone(http_port), http_port, PERIOD);
    manager.until("READY=1", 20);
    assert!(daemon.get("/healthz").is_some_and(|(code, _)| code == 200), "ready before it listens");
    let status = manager.until("STATUS=", 20);
    assert!(status.contains("0 of 2 sensors fresh; broker away; no forecast yet"), "{status}");
    // Three in each period; a busy machine may be late, a daemon that waits for its broker would send none.
    let signs = manager.signs_within(120);
    assert!(signs >= 4, "{signs} signs of life");
    daemon.signal("TERM");
    manager.until("STOPPING=1", 20);
    assert!(daemon.ended(20).success());
}

#[test]
fn a_process_that_hangs_shows_no_sign_of_life_and_goes_on_with_them_when_it_is_let_go() {
    let manager = Manager::new();
    let http_port = free_port();
    let daemon = manager.start(&alone(http_port), http_port, PERIOD);
    manager.until("WATCHDOG=1", 20);
    daemon.signal("STOP");
    // What was sent before the signal.
    while manager.next().is_some() {}
    assert_eq!(manager.signs_within(30), 0);
    daemon.signal("CONT");
    manager.until("WATCHDOG=1", 20);
}

#[test]
fn it_is_never_ready_on_a_bad_configuration_or_on_an_address_that_is_taken() {
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port();
    let bad = alone(port).replace("volume: 60 m³", "volume: 60");
    for (configuration, code) in [(alone(port), 1), (bad, 2)] {
        let manager = Manager::new();
        let mut daemon = manager.start(&configuration, port, PERIOD);
        assert_eq!(daemon.ended(20).code(), Some(code), "{}", daemon.log());
        assert_eq!(manager.next(), None);
    }
}

/// What the package installs, with the `#` taken off the example.
fn commented_in() -> String {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/deploy/mistwright.yaml")).unwrap();
    let (_, example) = text.split_once("\n#site:").expect("the example begins with the site");
    format!("site:{example}").replace("\n#", "\n")
}

#[test]
fn the_packages_example_is_good_once_it_is_commented_in_and_so_are_the_keys_that_it_leaves_out() {
    use mistwright::config;
    let small = commented_in();
    config::parse(&small, "small").unwrap_or_else(|problems| panic!("{problems}"));
    let all = small.replace("#units", "units").replace("#user", "user").replace("#password-c", "password-c");
    let all = config::parse(&all, "all").unwrap_or_else(|problems| panic!("{problems}"));
    assert!(all.broker.password.is_some() && all.broker.user.is_some());
}
