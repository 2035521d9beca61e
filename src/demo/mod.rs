//! The demonstration: an embedded broker, a simulated farm with parameters that the daemon is not told, a simulated
//! weather service, and an accelerated night in three acts. It reaches the daemon through sockets alone.
//!
//! [`Demo::prepare`] starts the broker and the weather; the caller runs the daemon on [`Demo::configuration`] and
//! [`Demo::clock`], and [`Demo::play`] plays the night beside it.
//!
//! ```text
//! room, farm    what truly happens: fixed before any result was seen     weather   the air outdoors, and its forecast
//! twins         the same farm under other orders                         lies      sensors that fail in the third act
//! rules         the farm's automation, written from the topics           tally     the truth, counted
//! night         the lockstep of all these with the daemon
//! acts, story   what is told, read back from MQTT                        summary   said against truth, within bounds
//! ```

use std::{
    io::{self, Write},
    net::SocketAddr,
    time::Duration,
};

use jiff::Timestamp;

use crate::{
    io::clock::{Clock, ScenarioHandle},
    units::UnitSystem,
};

mod acts;
mod air;
pub mod broker;
mod chance;
mod configuration;
mod farm;
mod lies;
pub mod link;
mod night;
mod room;
mod rules;
mod story;
mod summary;
mod tally;
mod twins;
mod weather;

/// Dusk of the invented night, 17:00 at the farm.
const DUSK: Timestamp = Timestamp::constant(1_800_025_200, 0);

/// How long the story takes where nothing else is asked for.
const TOLD_IN: Duration = Duration::from_secs(240);

/// Share of an asked duration in which the story is told where no speed is asked for: the rest is for starting, and for
/// a machine that does not keep pace.
const LEISURE: f64 = 0.9;

/// What a user may choose.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// Real time after which the demo ends, with its story or without; the story's own length where it is missing.
    pub duration: Option<Duration>,
    /// Scenario seconds in a real second, above 0; chosen so that the story fits where it is missing.
    pub speed: Option<f64>,
    /// Where the embedded broker listens; port 0 takes the first free one of the demo's own.
    pub mqtt_listen: SocketAddr,
    /// Units of everything that is told and published.
    pub units: UnitSystem,
    /// Where the daemon serves metrics; port 0 takes any free one.
    pub http_listen: SocketAddr,
}

/// Why the demo could not be played to its end.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// No broker.
    #[error(transparent)]
    Broker(#[from] broker::BrokerError),
    /// The embedded broker does not answer its clients.
    #[error("the demo's broker does not answer")]
    BrokerSilent,
    /// The weather service or the daemon's address cannot be listened on.
    #[error("cannot listen on {address}: {source}")]
    Listen {
        /// What was asked for.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The weather service ended.
    #[error("the simulated weather service ended: {0}")]
    Weather(io::Error),
    /// A connection of the demo's own ended.
    #[error(transparent)]
    Link(#[from] link::LinkEnded),
    /// The daemon does not answer, or does not take in readings.
    #[error("the daemon has not taken in the last readings for {} s; the demo cannot go on", waited.as_secs())]
    DaemonSilent {
        /// For how long it was waited for.
        waited: Duration,
    },
    /// No HTTP client could be made.
    #[error("cannot make an HTTP client: {0}")]
    Http(#[from] reqwest::Error),
    /// The story cannot be written.
    #[error("cannot write the story: {0}")]
    Output(#[from] io::Error),
}

/// A demo whose broker and weather service stand ready.
#[derive(Debug)]
pub struct Demo {
    options: Options,
    addresses: configuration::Addresses,
    broker: broker::Broker,
    weather: weather::Service,
    night: weather::Night,
    clock: Clock,
    handle: ScenarioHandle,
    speed: f64,
}

impl Demo {
    /// Starts the broker and the weather service.
    ///
    /// # Errors
    /// Where an address cannot be listened on.
    pub async fn prepare(options: Options) -> Result<Self, DemoError> {
        let told_in = options.duration.map_or(TOLD_IN, |duration| duration.mul_f64(LEISURE));
        let speed = options.speed.unwrap_or(acts::STORY.as_secs_f64() / told_in.as_secs_f64().max(1.0));
        let (clock, handle) = Clock::scenario(DUSK, speed);
        let night = weather::Night { start: DUSK, elevation: configuration::ELEVATION, place: configuration::PLACE };
        let broker = broker::Broker::start(options.mqtt_listen).await?;
        let weather = weather::Service::bind(night, clock.clone()).await.map_err(DemoError::Weather)?;
        let addresses = configuration::Addresses {
            broker: broker.address(),
            weather: weather.address(),
            http: free(options.http_listen).await?,
        };
        Ok(Self { options, addresses, broker, weather, night, clock, handle, speed })
    }

    /// The text of the farm's configuration, to be parsed like any file.
    pub fn configuration(&self) -> String {
        configuration::text(&self.addresses, self.options.units)
    }

    /// The clock that the daemon must run on.
    pub fn clock(&self) -> Clock {
        self.clock.clone()
    }

    /// Plays the story and tells it to `out`, until its end or until `interrupted`. The daemon must be running beside
    /// it, and the broker stops when what this returns is dropped: keep it until the daemon has ended.
    ///
    /// # Errors
    /// See [`DemoError`].
    pub async fn play(self, out: impl Write, interrupted: impl Future<Output = ()>) -> Result<Played, DemoError> {
        let cast = night::Cast {
            night: self.night,
            handle: self.handle,
            broker: self.addresses.broker,
            http: self.addresses.http,
            units: self.options.units,
            speed: self.speed,
            real_end: self.options.duration,
            patience: night::PATIENCE,
        };
        let weather = self.weather.serve();
        let played = async {
            let play = night::Play::begin(cast, out).await?;
            play.play(interrupted).await
        };
        tokio::select! {
            served = weather => Err(served.map_or_else(DemoError::Weather, |()| DemoError::Weather(io::ErrorKind::Other.into()))),
            played = played => played.map(|outside| Played { broker: self.broker, outside }),
        }
    }
}

/// A story that has been told.
#[derive(Debug)]
pub struct Played {
    /// The broker, which still runs.
    pub broker: broker::Broker,
    /// What was said and did not turn out within its bound, each in a line.
    pub outside: Vec<String>,
}

/// The address itself, or with port 0 the same with a port that is free now.
async fn free(address: SocketAddr) -> Result<SocketAddr, DemoError> {
    let listener = tokio::net::TcpListener::bind(address).await;
    listener.and_then(|listener| listener.local_addr()).map_err(|source| DemoError::Listen { address, source })
}
