//! The page in a real browser: what a grower sees, on a phone and at a desk, by day and by night.

mod axe;
mod drawing;
mod driver;
mod states;

use std::{
    io::{BufRead, BufReader},
    process::{Child, Command, Stdio},
    time::Duration,
};

use serde_json::Value;

use self::{
    drawing::{Chart, grams_per_kilogram},
    driver::{Browser, Screen},
};
use crate::e2e::{
    broker::free_port,
    daemon::fetch,
    farm::{Farm, World},
    until,
};

/// The demo: the daemon on a simulated farm. Dropped, it is killed.
struct Demo {
    process: Child,
    port: u16,
}

impl Demo {
    fn start(speed: &str) -> Self {
        let port = free_port();
        let address = format!("127.0.0.1:{port}");
        let mut process = Command::new(env!("CARGO_BIN_EXE_mistwright"))
            .args(["demo", "--duration", "10m", "--speed", speed, "--http-listen", &address])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // The story must be read, or the demo waits.
        let story = BufReader::new(process.stdout.take().unwrap());
        std::thread::spawn(move || story.lines().map_while(Result::ok).for_each(drop));
        let demo = Self { process, port };
        until("the demo serves its page", 30, || fetch(port, "/readyz").filter(|(code, _)| *code == 200));
        demo
    }

    fn address(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }

    fn snapshot(&self) -> Value {
        serde_json::from_str(&fetch(self.port, "/snapshot.json").unwrap().1).unwrap()
    }
}

impl Drop for Demo {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// The state that the snapshot gives for a point of the oyster hall's chart: °C, ratio, kg/kg.
fn expected(snapshot: &Value, point: &str) -> Option<(f64, f64, f64)> {
    let room = snapshot["rooms"].as_array()?.iter().find(|room| room["name"] == "oyster-hall")?;
    let air = match point {
        "outdoors" => &snapshot["outdoors"]["air"],
        "intake" => &room["supply"],
        "room" => &room["air"],
        _ => return None,
    };
    let number = |key: &str| air[key].as_f64();
    Some((
        number("temperature_celsius")?,
        number("relative_humidity_ratio")?,
        number("humidity_ratio_kilograms_per_kilogram")?,
    ))
}

/// Fails unless each known point stands within two pixels of where the daemon's numbers put it, and within a percent of
/// where a formula puts it that the daemon does not use.
fn points_stand_right(chart: &Chart, snapshot: &Value, us: bool) -> Result<(), String> {
    let pascals = snapshot["pressure"]["pascals"].as_f64().unwrap();
    let (pixel_x, pixel_y) = chart.pixel();
    let mut checked = 0;
    for point in ["outdoors", "intake", "room"] {
        let Some((celsius, ratio, water)) = expected(snapshot, point) else { continue };
        let (temperature, per_gram) = if us { (celsius * 1.8 + 32.0, 7.0) } else { (celsius, 1.0) };
        let independent = grams_per_kilogram(celsius, ratio, pascals) * per_gram;
        let (x, y) = chart.state(point);
        let near = |found: f64, wanted: f64, within: f64| {
            let off = (found - wanted).abs();
            if off <= within { Ok(()) } else { Err(format!("{point} at {found}, not at {wanted} ± {within}")) }
        };
        near(x, temperature, 2.0 * pixel_x)?;
        near(y, water * 1_000.0 * per_gram, 2.0 * pixel_y)?;
        near(y, independent, 2.0 * pixel_y + 0.01 * independent)?;
        checked += 1;
    }
    if checked == 3 { Ok(()) } else { Err(format!("only {checked} points are known")) }
}

#[test]
fn the_page_of_a_running_farm_lives_and_its_points_stand_where_the_physics_says() {
    let demo = Demo::start("60");
    let browser = Browser::start();
    until("every room is known", 60, || expected(&demo.snapshot(), "room"));
    for (us, query) in [(false, ""), (true, "?units=us")] {
        browser.through(Screen::PHONE);
        browser.open(&demo.address(&format!("/rooms/oyster-hall{query}")));
        for screen in Screen::ALL {
            browser.through(screen);
            // The page and the document are of one moment once in a while: the farm stands still between its batches.
            let mut tries = 0;
            loop {
                let snapshot = demo.snapshot();
                let chart = Chart::read(&browser);
                assert!(chart.letters() >= 11.0, "letters of {} pixels on {screen:?}", chart.letters());
                let moment = &snapshot["taken_at"].as_str().unwrap()[14..19];
                let off = match points_stand_right(&chart, &snapshot, us) {
                    Ok(()) if chart.as_of().contains(moment) => break,
                    Ok(()) => format!("the page is of {}, the document of {moment}", chart.as_of()),
                    Err(off) => off,
                };
                tries += 1;
                assert!(tries < 300, "on {screen:?}, US units {us}: {off}\n{chart:?}");
                std::thread::sleep(Duration::from_millis(100));
            }
            for name in ["target", "coldest"] {
                assert!(Chart::read(&browser).names().contains(&name), "{name} is missing");
            }
        }
        let unit = browser.text(".points th:nth-child(2)");
        assert_eq!(unit.ends_with("°F"), us, "{unit}");
    }
    // The switch is a link, and changes the view alone.
    browser.run("document.getElementById('units').click()");
    browser.wait(
        "the switch leads back to metric units",
        10,
        "document.querySelector('.points th:nth-child(2)')?.innerText.endsWith('°C')",
    );
    assert_eq!(browser.run("return document.cookie"), "");
    axe::inspect(&browser, "farm-room", &Screen::ALL);
    browser.open(&demo.address("/"));
    // The README shows this one: as far as the first drawing with its sentence.
    browser.through(Screen { width: 748, dark: false });
    let bottom = browser.run("return scrollY + document.querySelector('figcaption').getBoundingClientRect().bottom");
    browser.picture_of("readme", (748, bottom.as_f64().unwrap() as u64 + 16));
    axe::inspect(&browser, "farm", &Screen::ALL);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn values_change_without_a_new_page_while_focus_and_opened_parts_stay() {
    let demo = Demo::start("300");
    let browser = Browser::start();
    browser.through(Screen::PHONE);
    browser.open(&demo.address("/"));
    browser.wait("the page follows the farm", 10, "document.getElementById('link').textContent.includes('follows')");
    // The first key leads past the head of the page.
    browser.press('\u{e004}');
    assert_eq!(browser.run("return document.activeElement.className"), "skip");
    browser.run(
        "window.samePage = true; document.querySelector('main a').focus();
         document.querySelectorAll('details').forEach((each) => each.open = true)",
    );
    let values = "[...document.querySelectorAll('.values')].map((each) => each.innerText).join(' ')";
    let before = browser.run(&format!("return {values}"));
    browser.wait("the rooms' values change", 30, &format!("{values} !== {before}"));
    let moment = browser.text("#as-of");
    browser.wait("the moment moves on", 20, &format!("document.getElementById('as-of').innerText !== '{moment}'"));
    assert_eq!(browser.run("return window.samePage"), true, "the page was loaded anew");
    assert_eq!(browser.run("return document.activeElement === document.querySelector('main a')"), true);
    assert_eq!(browser.run("return [...document.querySelectorAll('details')].every((each) => each.open)"), true);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}

#[test]
fn a_lost_broker_and_a_lost_daemon_are_said_within_seconds() {
    let mut world = World::start(&Farm::default());
    let browser = Browser::start();
    browser.through(Screen::PHONE);
    world.outdoors(-6.0, 80.0);
    for room in ["oyster-hall", "lions-mane-bay", "shiitake-loft"] {
        world.inside(room, 16.0, 90.0);
        world.carbon_dioxide(room, 700.0);
    }
    browser.open(&format!("http://127.0.0.1:{}/", world.daemon.port()));
    browser.wait("the values arrive", 15, "document.body.innerText.includes('700 ppm carbon dioxide')");
    assert!(browser.text(".sources").contains("Broker\nConnected."), "{}", browser.text(".sources"));
    world.broker.kill();
    browser.wait(
        "the lost broker is said",
        15,
        "document.querySelector('.sources').innerText.includes('Not connected.')",
    );
    axe::inspect(&browser, "broker-down", &[Screen::PHONE]);
    world.daemon.signal("KILL");
    browser.wait("the lost daemon is said", 8, "document.getElementById('link').classList.contains('lost')");
    assert!(browser.text("#link").contains("may no longer be so"), "{}", browser.text("#link"));
    assert!(browser.run("return document.title").as_str().unwrap().starts_with("Lost: "));
    axe::inspect(&browser, "daemon-lost", &[Screen::PHONE, Screen { width: 1_100, dark: true }]);
}
