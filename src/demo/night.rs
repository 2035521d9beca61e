//! The night itself: simulation, sensors, rules, story and the daemon in lockstep.
//!
//! ```text
//!   scenario time moves ─▶ rooms follow ─▶ sensors publish ─▶ wait until the daemon has counted every reading ─┐
//!          ▲                                                                                                  │
//!          └── pause to the asked speed ◀── story is told ◀── rules and story hear what the daemon published ◀┘
//! ```
//!
//! A slow machine therefore slows the story, and never makes a sensor look silent.

use std::{io::Write, net::SocketAddr, time::Duration};

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde_json::{Value, json};
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};

use super::{
    DemoError,
    acts::{Noted, ROW_EVERY},
    configuration,
    farm::{NAMES, Readings},
    lies,
    link::Link,
    rules::Rules,
    story::Story,
    twins::{Ordered, Twins},
    weather::{Night, Outdoors},
};
use crate::{io::clock::ScenarioHandle, units::UnitSystem};

/// Scenario time between two batches of readings.
const BATCH: Duration = Duration::from_secs(60);

/// Readings in a batch: three of the outdoor air, three of each room, but no carbon dioxide of the anteroom, and the air
/// of one room at two heights.
const READINGS: u64 = 3 + 3 * NAMES.len() as u64 - 1 + 2;

/// The room whose air is measured at two heights.
const TWO_HEIGHTS: &str = "oyster-hall";

/// How long the daemon is waited for at each batch, unless a test is less patient.
pub(super) const PATIENCE: Duration = Duration::from_secs(30);

/// How long the daemon may take to answer anything at all.
const START: Duration = Duration::from_secs(20);

/// So many times is listened to what a batch has brought about, and no longer.
const LONGEST_HEARD: u32 = 80;

/// What follows from a batch has arrived when nothing more has come for so long. It is well above what a message takes to
/// go through the broker, and well below a batch's time at the usual speed.
const QUIET: Duration = Duration::from_millis(12);

/// The daemon is asked this often.
const ASKED_EVERY: Duration = Duration::from_millis(3);

/// Nothing is told for no longer than this, in real time.
const SILENCE: Duration = Duration::from_secs(8);

/// What a night is played with.
pub(super) struct Cast {
    pub(super) night: Night,
    pub(super) handle: ScenarioHandle,
    pub(super) broker: SocketAddr,
    pub(super) http: SocketAddr,
    pub(super) units: UnitSystem,
    pub(super) speed: f64,
    /// Real time after which the demo ends, wherever the story is.
    pub(super) real_end: Option<Duration>,
    /// The demo gives up when the daemon has not taken in a batch for so long.
    pub(super) patience: Duration,
}

/// A night being played.
pub(super) struct Play<W> {
    pub(super) cast: Cast,
    pub(super) twins: Twins,
    pub(super) rules: Rules,
    sensors: Link,
    pub(super) automation: Link,
    reader: Link,
    pub(super) story: Story<W>,
    client: reqwest::Client,
    /// Since dusk.
    pub(super) passed: Duration,
    published: u64,
    pub(super) noted: Noted,
}

impl<W: Write> Play<W> {
    /// Connects everybody.
    pub(super) async fn begin(cast: Cast, out: W) -> Result<Self, DemoError> {
        let zone = TimeZone::get(configuration::TIME_ZONE).unwrap_or(TimeZone::UTC);
        let rules = Rules::new(configuration::SITE, cast.units);
        let mut sensors = Link::open("frosthollow-sensors", cast.broker, Vec::new());
        let mut automation = Link::open("frosthollow-rules", cast.broker, rules.filters());
        let mut reader = Link::open("frosthollow-reader", cast.broker, Story::<W>::filters());
        let client = reqwest::Client::builder().timeout(cast.patience).no_proxy().build()?;
        let everybody = async {
            sensors.ready().await?;
            automation.ready().await?;
            reader.ready().await
        };
        timeout(START, everybody).await.map_err(|_| DemoError::BrokerSilent)??;
        let twins = Twins::at_dusk(&cast.night.truth(cast.night.start));
        Ok(Self {
            twins,
            rules,
            sensors,
            automation,
            reader,
            story: Story::new(out, zone),
            client,
            passed: Duration::ZERO,
            published: 0,
            noted: Noted::default(),
            cast,
        })
    }

    pub(super) fn now(&self) -> Timestamp {
        let passed = SignedDuration::try_from(self.passed).unwrap_or(SignedDuration::MAX);
        self.cast.night.start.checked_add(passed).unwrap_or(Timestamp::MAX)
    }

    /// Plays until the end of the story or until `interrupted`, tells the summary, and returns what is outside its
    /// bounds.
    pub(super) async fn play(mut self, interrupted: impl Future<Output = ()>) -> Result<Vec<String>, DemoError> {
        self.tell_where_to_look()?;
        let real_end = self.cast.real_end;
        let real_end = async {
            match real_end {
                Some(duration) => sleep(duration).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = real_end => {}
            () = interrupted => {}
            played = self.whole_night() => played?,
        }
        self.tell_summary()
    }

    async fn whole_night(&mut self) -> Result<(), DemoError> {
        timeout(START, self.daemon_ready()).await.map_err(|_| DemoError::DaemonSilent { waited: START })?;
        self.batches().await
    }

    async fn daemon_ready(&self) {
        let url = format!("http://{}/readyz", self.cast.http);
        while !self.client.get(&url).send().await.is_ok_and(|answer| answer.status().is_success()) {
            sleep(ASKED_EVERY).await;
        }
    }

    async fn batches(&mut self) -> Result<(), DemoError> {
        let mut pace = interval(BATCH.div_f64(self.cast.speed));
        pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut silence = interval(SILENCE);
        // The first tick comes at once.
        silence.tick().await;
        let mut told = self.story.lines;
        while !self.is_over() {
            tokio::select! {
                biased;
                _ = silence.tick() => {
                    if self.story.lines == told {
                        self.story.tell_row(self.now())?;
                    }
                    told = self.story.lines;
                }
                _ = pace.tick() => self.batch().await?,
            }
        }
        Ok(())
    }

    async fn batch(&mut self) -> Result<(), DemoError> {
        let now = self.now();
        let outdoors = self.cast.night.truth(now);
        if !self.passed.is_zero() {
            let ordered = Ordered {
                advised: self.rules.orders(now),
                fallback: self.rules.fallback_fans(),
                hall_without_lever: self.hall_without_lever(),
            };
            self.twins.pass(BATCH, self.passed, &ordered, &outdoors);
        }
        let readings = self.twins.farm.read();
        self.publish(&outdoors, &readings).await?;
        self.taken_in().await?;
        self.hear().await;
        if self.passed.as_secs().is_multiple_of(ROW_EVERY) && !self.passed.is_zero() {
            self.story.tell_row(now)?;
        }
        self.play_scenes().await?;
        self.story.tell_alerts(now)?;
        self.cast.handle.advance(BATCH);
        self.passed += BATCH;
        Ok(())
    }

    /// Hears what the daemon publishes about the batch: all of it, so that rules act on the same minute whether the machine
    /// is fast or slow.
    async fn hear(&mut self) {
        for _ in 0..LONGEST_HEARD {
            sleep(QUIET).await;
            let messages = self.automation.arrived();
            for message in &messages {
                self.rules.hear(&message.topic, &message.payload);
            }
            let arrived = self.reader.arrived();
            let quiet = messages.is_empty() && arrived.is_empty();
            self.story.hear(arrived);
            if quiet {
                return;
            }
        }
    }

    async fn publish(&mut self, outdoors: &Outdoors, readings: &[Readings]) -> Result<(), DemoError> {
        let rounded = |value: f64, steps: f64| (value * steps).round() / steps;
        let air = &outdoors.air;
        let station = json!({
            "t": rounded(air.temperature, 100.0),
            "rh": rounded(air.relative_humidity(outdoors.pressure) * 100.0, 10.0),
            "p": rounded(outdoors.pressure / 100.0, 10.0),
        });
        let site = configuration::SITE;
        self.sensors.publish(&format!("{site}/station"), station.to_string()).await?;
        for (room, (name, reading)) in NAMES.iter().zip(readings).enumerate() {
            let humidity = reading.relative_humidity * 100.0;
            let air = |kelvins: f64, humidity: f64| {
                let (temperature, humidity) = (rounded(reading.temperature + kelvins, 100.0), rounded(humidity, 10.0));
                json!({ "temperature": temperature, "humidity": humidity }).to_string()
            };
            if *name == TWO_HEIGHTS {
                // The sensor at the top reads high over both salts, as its calibration in the configuration says.
                let honest = 76.8 + (humidity - 75.5) * (98.4 - 76.8) / (97.6 - 75.5);
                let top = lies::humidity(honest / 100.0, self.passed) * 100.0;
                self.sensors.publish(&format!("{site}/{name}/top"), air(0.2, top)).await?;
                self.sensors.publish(&format!("{site}/{name}/floor"), air(-0.2, humidity)).await?;
            } else {
                self.sensors.publish(&format!("{site}/{name}/air"), air(0.0, humidity)).await?;
            }
            if room != 0 {
                let honest = reading.carbon_dioxide;
                let dioxide = if room == lies::BAY { lies::carbon_dioxide(honest, self.passed) } else { honest };
                let dioxide = format!("{dioxide:.0}");
                self.sensors.publish(&format!("{site}/{name}/co2"), dioxide).await?;
            }
        }
        self.published += READINGS;
        Ok(())
    }

    /// Waits until the daemon has counted every reading that was published. A request that fails is asked again: the
    /// daemon closes connections that have grown old.
    async fn taken_in(&self) -> Result<(), DemoError> {
        let counted = async {
            while self.counted().await.unwrap_or(0) < self.published {
                sleep(ASKED_EVERY).await;
            }
        };
        let waited = self.cast.patience;
        timeout(waited, counted).await.map_err(|_| DemoError::DaemonSilent { waited })
    }

    /// Readings that the daemon says it has taken in or refused; `None` where it could not be asked.
    async fn counted(&self) -> Option<u64> {
        let url = format!("http://{}/snapshot.json", self.cast.http);
        let body = self.client.get(url).send().await.ok()?.text().await.ok()?;
        let snapshot: Value = serde_json::from_str(&body).ok()?;
        Some(snapshot["sources"].as_array()?.iter().map(counted_of).sum())
    }

    fn tell_where_to_look(&mut self) -> Result<(), DemoError> {
        let (broker, http) = (self.cast.broker, self.cast.http);
        let (host, port) = (broker.ip(), broker.port());
        let site = configuration::SITE;
        let about = format!(
            "Frosthollow, an invented farm, from dusk to the noon after a freezing night, at {:.0} times the speed of life. \
             Rooms, weather and broker are simulated; the daemon is the real one, and all that is told of it is read back \
             from MQTT.",
            self.cast.speed
        );
        self.story.sentence(&about, 0)?;
        self.story.line("")?;
        self.story
            .line(&format!("  the page   http://{http}/   (also /metrics, /snapshot.json, /healthz, /readyz)"))?;
        self.story
            .line(&format!("  MQTT 5     {broker}, open to any client. This broker hands a new subscriber at"))?;
        self.story
            .line("             most a hundred retained values, so ask for one device at a time: this one, or")?;
        let others = [NAMES[0], NAMES[2], NAMES[3]].map(|name| format!("-{name}")).join(", ");
        self.story.line(&format!("             {site} alone, or with {others} behind it."))?;
        let device = format!("{site}-{}", NAMES[1]);
        Ok(self.story.line(&format!("  mosquitto_sub -V mqttv5 -h {host} -p {port} -v -t 'homie/5/{device}/#'"))?)
    }

    /// The moment so many seconds after dusk.
    pub(super) fn moment(&self, seconds: f64) -> Option<Timestamp> {
        self.cast.night.start.checked_add(SignedDuration::try_from_secs_f64(seconds).ok()?).ok()
    }
}

/// Messages of one source that were taken in or refused.
fn counted_of(source: &Value) -> u64 {
    let refused = source["rejected"].as_object().map_or(0, |words| words.values().filter_map(Value::as_u64).sum());
    source["accepted"].as_u64().unwrap_or(0) + refused
}

#[cfg(test)]
mod tests {
    use axum::{Router, routing::get};

    use super::*;
    use crate::{demo::broker::Broker, io::clock::Clock};

    #[tokio::test]
    async fn scenario_time_stands_while_the_daemon_has_not_counted_and_the_wait_has_an_end() {
        let _ = rustls::crypto::ring::default_provider().install_default();
        let broker = Broker::start(SocketAddr::from(([127, 0, 0, 1], 0))).await.unwrap();
        let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
        let http = listener.local_addr().unwrap();
        // It has counted one reading less than the first batch holds.
        let counted = format!(r#"{{"sources":[{{"accepted":{}}}]}}"#, READINGS - 1);
        let deaf = Router::new()
            .route("/readyz", get(|| async { "ready" }))
            .route("/snapshot.json", get(move || async { counted }));
        let serving = tokio::spawn(async { axum::serve(listener, deaf).await });
        let start = Timestamp::constant(1_800_025_200, 0);
        let (clock, handle) = Clock::scenario(start, 1_000.0);
        let cast = Cast {
            night: Night { start, elevation: 420.0, place: (61.0, 25.0) },
            handle,
            broker: broker.address(),
            http,
            units: UnitSystem::Metric,
            speed: 1_000.0,
            real_end: None,
            patience: Duration::from_millis(300),
        };
        let play = Play::begin(cast, Vec::new()).await.unwrap();
        let ended = play.play(std::future::pending()).await;
        assert!(matches!(ended, Err(DemoError::DaemonSilent { .. })), "{ended:?}");
        assert_eq!(clock.now().wall, start);
        serving.abort();
    }
}
