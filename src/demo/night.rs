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
    DemoError, configuration,
    farm::{Farm, NAMES, Readings},
    link::Link,
    rules::Rules,
    story::{Story, TITLES, title},
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

/// The daemon is asked this often.
const ASKED_EVERY: Duration = Duration::from_millis(3);

/// The daemon is given this long to hear what the crops breathe before its projection is taken down.
const SETTLED: Duration = Duration::from_secs(3_600);

/// The hours over which the evening's water projection is compared with the truth.
const PROJECTED: Duration = Duration::from_secs(12 * 3_600);

/// When the night is over.
#[derive(Debug, Clone, Copy)]
pub(super) enum End {
    /// After so much scenario time.
    Scenario(Duration),
    /// After so much real time.
    Real(Duration),
}

/// What a night is played with.
pub(super) struct Cast {
    pub(super) night: Night,
    pub(super) handle: ScenarioHandle,
    pub(super) broker: SocketAddr,
    pub(super) http: SocketAddr,
    pub(super) units: UnitSystem,
    pub(super) speed: f64,
    pub(super) end: End,
    /// The demo gives up when the daemon has not taken in a batch for so long.
    pub(super) patience: Duration,
}

/// What was projected of a room's water, and when.
#[derive(Debug, Clone, Copy)]
struct Projection {
    at: Duration,
    /// In the published unit.
    water: f64,
    /// Truly drawn until then, kg.
    drawn_before: f64,
    /// Truly drawn when the projection's time was over, kg.
    drawn_after: Option<f64>,
}

/// A night being played.
pub(super) struct Play<W> {
    cast: Cast,
    farm: Farm,
    rules: Rules,
    sensors: Link,
    automation: Link,
    reader: Link,
    story: Story<W>,
    client: reqwest::Client,
    passed: Duration,
    published: u64,
    projections: Vec<Option<Projection>>,
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
        let farm = Farm::at_dusk(&cast.night.truth(cast.night.start));
        Ok(Self {
            farm,
            rules,
            sensors,
            automation,
            reader,
            story: Story::new(out, zone),
            client,
            passed: Duration::ZERO,
            published: 0,
            projections: vec![None; NAMES.len()],
            cast,
        })
    }

    fn now(&self) -> Timestamp {
        let passed = SignedDuration::try_from(self.passed).unwrap_or(SignedDuration::MAX);
        self.cast.night.start.checked_add(passed).unwrap_or(Timestamp::MAX)
    }

    /// Plays until the end of the night or until `interrupted`, and tells the summary.
    pub(super) async fn play(mut self, interrupted: impl Future<Output = ()>) -> Result<(), DemoError> {
        self.tell_where_to_look()?;
        let end = self.cast.end;
        let real_end = async {
            match end {
                End::Real(duration) => sleep(duration).await,
                End::Scenario(_) => std::future::pending().await,
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
        loop {
            pace.tick().await;
            self.batch().await?;
            if matches!(self.cast.end, End::Scenario(duration) if self.passed > duration) {
                return Ok(());
            }
        }
    }

    async fn batch(&mut self) -> Result<(), DemoError> {
        let outdoors = self.cast.night.truth(self.now());
        if !self.passed.is_zero() {
            self.farm.pass(BATCH.as_secs_f64(), &self.rules.orders(self.now()), &outdoors);
        }
        let readings = self.farm.read();
        self.publish(&outdoors, &readings).await?;
        self.taken_in().await?;
        for message in self.automation.arrived() {
            self.rules.hear(&message.topic, &message.payload);
        }
        let arrived = self.reader.arrived();
        self.story.hear(arrived);
        self.note_projections();
        let now = self.now();
        self.story.tell_changes(now)?;
        if self.passed.as_secs().is_multiple_of(3_600) && !self.passed.is_zero() {
            self.story.tell_hour(now)?;
        }
        self.cast.handle.advance(BATCH);
        self.passed += BATCH;
        Ok(())
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
                let top = 76.8 + (humidity - 75.5) * (98.4 - 76.8) / (97.6 - 75.5);
                self.sensors.publish(&format!("{site}/{name}/top"), air(0.2, top)).await?;
                self.sensors.publish(&format!("{site}/{name}/floor"), air(-0.2, humidity)).await?;
            } else {
                self.sensors.publish(&format!("{site}/{name}/air"), air(0.0, humidity)).await?;
            }
            if room != 0 {
                let dioxide = format!("{:.0}", reading.carbon_dioxide);
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

    /// Notes what the daemon projects in the evening, and what was truly drawn when its time is over.
    fn note_projections(&mut self) {
        let ledgers = self.farm.ledgers();
        for (room, noted) in self.projections.iter_mut().enumerate() {
            match noted {
                None if self.passed < SETTLED => {}
                None => {
                    let water = self.story.number(room, "outlook/water-next-12-hours");
                    *noted = water.map(|water| Projection {
                        at: self.passed,
                        water,
                        drawn_before: ledgers[room].drawn,
                        drawn_after: None,
                    });
                }
                Some(projection) if self.passed >= projection.at + PROJECTED => {
                    projection.drawn_after.get_or_insert(ledgers[room].drawn);
                }
                Some(_) => {}
            }
        }
    }

    fn tell_where_to_look(&mut self) -> Result<(), DemoError> {
        let (broker, http) = (self.cast.broker, self.cast.http);
        let asked = format!("Frosthollow, a freezing night at {:.0} times the speed of life.", self.cast.speed);
        self.story.line(&asked)?;
        self.story.line("The rooms, the weather and the broker are simulated; the daemon is the real one.")?;
        self.story.line("")?;
        self.story.line(&format!("  MQTT 5   {broker}"))?;
        for path in ["metrics", "snapshot.json", "healthz", "readyz"] {
            self.story.line(&format!("  HTTP     http://{http}/{path}"))?;
        }
        self.story.line("")?;
        self.story.line(
            "Listen to the site or to a room from another terminal (this broker hands a new subscriber at most",
        )?;
        self.story.line("a hundred retained values, so ask for one device at a time):")?;
        let rooms = NAMES.iter().map(|name| format!("{}-{name}", configuration::SITE));
        for device in std::iter::once(configuration::SITE.to_owned()).chain(rooms) {
            let (host, port) = (broker.ip(), broker.port());
            self.story.line(&format!("  mosquitto_sub -V mqttv5 -h {host} -p {port} -v -t 'homie/5/{device}/#'"))?;
        }
        self.story.line("")?;
        self.story.line("The night, as it is read back from MQTT:")?;
        Ok(())
    }

    fn tell_summary(&mut self) -> Result<(), DemoError> {
        let hours = self.passed.as_secs_f64() / 3_600.0;
        self.story.line("")?;
        self.story.line(&format!("Summary after {hours:.1} hours of the night"))?;
        self.story.line("")?;
        self.tell_water()?;
        self.story.line("")?;
        self.tell_warnings()
    }

    fn tell_water(&mut self) -> Result<(), DemoError> {
        if self.passed <= SETTLED {
            let from = self.moment(SETTLED.as_secs_f64()).map(|moment| self.story.time(moment)).unwrap_or_default();
            let text = format!("  Water: nothing to compare, because the projection is taken down at {from}");
            return Ok(self.story.line(&text)?);
        }
        let from = self.projections.iter().flatten().map(|projection| projection.at).min().unwrap_or(SETTLED);
        let from = self.moment(from.as_secs_f64()).map(|moment| self.story.time(moment)).unwrap_or_default();
        let heading =
            format!("  Water drawn in the 12 hours from {from}: projected then, and truly drawn in the simulation");
        self.story.line(&heading)?;
        let ledgers = self.farm.ledgers();
        for (room, title) in TITLES.iter().enumerate() {
            let unit = self.story.unit(room, "outlook/water-next-12-hours");
            // A litre of cold water weighs a kilogram.
            let per_kilogram = if self.cast.units == UnitSystem::Us { 1.0 / 3.785_411_784 } else { 1.0 };
            let sentence = match self.projections[room] {
                None => "no projection was published".to_owned(),
                Some(Projection { water, drawn_before, drawn_after: Some(after), .. }) => {
                    let truth = (after - drawn_before) * per_kilogram;
                    let error = (water / truth - 1.0) * 100.0;
                    format!("{water:7.1} {unit} projected, {truth:7.1} {unit} drawn ({error:+.0} %)").replace('-', "−")
                }
                Some(Projection { water, drawn_before, .. }) => {
                    let truth = (ledgers[room].drawn - drawn_before) * per_kilogram;
                    format!("{water:7.1} {unit} projected, {truth:7.1} {unit} drawn so far (the 12 hours are not over)")
                }
            };
            self.story.line(&format!("    {title:<16} {sentence}"))?;
        }
        Ok(())
    }

    fn tell_warnings(&mut self) -> Result<(), DemoError> {
        self.story.line("  Warnings: when they were given, and when it truly happened")?;
        let raised = self.story.raised.clone();
        if raised.is_empty() {
            self.story.line("    none was given")?;
        }
        for raised in &raised {
            let who = title(&raised.device);
            let given = self.story.time(raised.at);
            let happened = self.happened(&raised.device, &raised.alert);
            let truth = match happened {
                Some(Some(moment)) => {
                    let lead = moment.duration_since(raised.at).as_secs_f64() / 3_600.0;
                    format!(", happened at {} ({lead:.1} h later)", self.story.time(moment)).replace('-', "−")
                }
                Some(None) => ", had not happened by the end".to_owned(),
                None => String::new(),
            };
            self.story.line(&format!("    {who:<16} {:<22} given at {given}{truth}", raised.alert))?;
        }
        self.tell_unwarned()
    }

    /// What truly happened without a warning.
    fn tell_unwarned(&mut self) -> Result<(), DemoError> {
        for (room, from) in self.farm.short_from().into_iter().enumerate() {
            let device = format!("{}-{}", configuration::SITE, NAMES[room]);
            let warned = self
                .story
                .raised
                .iter()
                .any(|raised| raised.device == device && raised.alert == "humidifier-shortfall");
            if let Some(moment) = from.and_then(|seconds| self.moment(seconds))
                && !warned
            {
                let time = self.story.time(moment);
                self.story.line(&format!("    {:<16} fell short of its target at {time}, unwarned", TITLES[room]))?;
            }
        }
        Ok(())
    }

    fn moment(&self, seconds: f64) -> Option<Timestamp> {
        self.cast.night.start.checked_add(SignedDuration::try_from_secs_f64(seconds).ok()?).ok()
    }

    /// When what an alert announces truly happened: `None` where the simulation has no such truth.
    fn happened(&self, device: &str, alert: &str) -> Option<Option<Timestamp>> {
        match alert {
            "hard-frost" => {
                let moment = self.cast.night.first_at_or_below(configuration::HARD_FROST);
                Some(moment.filter(|moment| *moment <= self.now()))
            }
            "humidifier-shortfall" => {
                let room = NAMES.iter().position(|name| device.ends_with(name))?;
                Some(self.farm.short_from()[room].and_then(|seconds| self.moment(seconds)))
            }
            _ => None,
        }
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
            end: End::Scenario(Duration::from_secs(3_600)),
            patience: Duration::from_millis(300),
        };
        let play = Play::begin(cast, Vec::new()).await.unwrap();
        let ended = play.play(std::future::pending()).await;
        assert!(matches!(ended, Err(DemoError::DaemonSilent { .. })), "{ended:?}");
        assert_eq!(clock.now().wall, start);
        serving.abort();
    }
}
