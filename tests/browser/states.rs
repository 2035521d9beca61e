//! States that a grower meets seldom, each from an engine whose clock the test moves, served by the real listener.

use std::{sync::Arc, time::Duration};

use mistwright::{
    engine::{Event, Snapshot},
    io::http,
    model::{Identifier, Place, Quantity, Room},
};
use tokio::{net::TcpListener, sync::watch};

use super::{
    axe,
    driver::{Browser, Screen},
};
use crate::{
    engine::harness::{self, Bench},
    http::page::spoken,
};

/// The listener on a thread of its own; it ends with the test.
struct Served {
    port: u16,
    snapshots: watch::Sender<Arc<Snapshot>>,
}

impl Served {
    fn start(snapshot: Snapshot) -> Self {
        let (snapshots, receiver) = watch::channel(Arc::new(snapshot));
        let (bound, port) = std::sync::mpsc::channel();
        std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async {
                let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
                bound.send(listener.local_addr().unwrap().port()).unwrap();
                http::serve(listener, receiver, std::future::pending()).await;
            });
        });
        Self { port: port.recv().unwrap(), snapshots }
    }

    fn address(&self) -> String {
        format!("http://127.0.0.1:{}/", self.port)
    }
}

fn named(name: &str, title: &str) -> Room {
    let mut room = harness::room();
    room.name = Identifier::new(name).unwrap();
    room.title = title.to_owned();
    room
}

#[test]
fn seldom_states_are_said_on_the_smallest_screen() {
    let browser = Browser::start();
    let served = Served::start(Bench::new(harness::farm(Vec::new())).snapshot());
    let look = |name: &str, snapshot: Snapshot, words: &[&str]| {
        served.snapshots.send_replace(Arc::new(snapshot));
        browser.open(&served.address());
        let said = browser.text("body");
        for words in words {
            assert!(said.contains(words), "{name}: `{words}` is missing in {said}");
        }
        axe::inspect(&browser, name, &[Screen::PHONE]);
        assert_eq!(browser.complaints(), Vec::<String>::new(), "{name}");
    };

    look("empty", Bench::new(harness::farm(Vec::new())).snapshot(), &["No room is configured yet."]);
    let silent = Bench::new(harness::farm(vec![named("a", "Aldernook")]));
    look("no-data", silent.snapshot(), &["no data yet", "Advice is withheld.", "No data yet from MET Norway."]);

    let mut stale = spoken(vec![named("a", "Aldernook"), named("b", "Birchnook")]);
    stale.pass(Duration::from_secs(280));
    stale.air(Place::Room(0), 16.0, 90.0);
    stale.say(Place::Room(0), Quantity::CarbonDioxide, 700.0);
    stale.pass(Duration::from_secs(60));
    look("sensor-stale", stale.snapshot(), &["Sensor silent", "last 90.0 %", "stale"]);

    let mut old = spoken(vec![named("a", "Aldernook")]);
    old.pass(Duration::from_secs(9 * 3_600));
    look("forecast-old", old.snapshot(), &["Forecast missing or old", "fetched 9 h ago"]);

    let mut wrong = spoken(vec![named("a", "Aldernook")]);
    wrong.now.trusted = false;
    wrong.event(Event::ClockStepped);
    look("clock-wrong", wrong.snapshot(), &["The date of the daemon's machine is wrong"]);

    let hostile = spoken(vec![named("a", "<script>document.title = 'taken'</script>")]);
    look("hostile-name", hostile.snapshot(), &["<script>document.title = 'taken'</script>"]);
    assert_ne!(browser.run("return document.title"), "taken");

    let many = (0..20).map(|index| named(&format!("room-{index}"), &format!("Fruiting room {}", index + 1)));
    let mut many = spoken(many.collect());
    many.say(Place::Room(17), Quantity::CarbonDioxide, 16_000.0);
    look("twenty-rooms", many.snapshot(), &["Fruiting room 20", "Danger", "Fruiting room 18"]);
    let first = browser.text(".night li");
    assert!(first.starts_with("Fruiting room 18\n"), "the worst room is not the first: {first}");
}
