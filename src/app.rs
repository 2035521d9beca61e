//! The daemon: starts the tasks, owns the engine, and drains on shutdown.
//!
//! One thread, one owner of state. The tasks send events to the engine through one bounded channel; the engine's
//! snapshot goes out through a watch channel, of which topics and metrics are renderings.

use std::{io, net::SocketAddr, sync::Arc, time::Duration};

use tokio::{
    net::TcpListener,
    sync::{mpsc, oneshot, watch},
    task::JoinHandle,
};

use crate::{
    config::{Config, ForecastService},
    engine::{Effect, Engine, Event, Snapshot},
    io::{
        clock::Clock,
        http, mqtt,
        store::{self, Keeper},
        systemd::Manager,
        weather,
    },
    model::Service,
};

/// Events that may wait for the engine. A farm of a hundred rooms that all report at once fits.
const WAITING_EVENTS: usize = 4_096;
/// Events taken in one turn, so that a flood cannot keep the engine from settling.
const EVENTS_A_TURN: usize = 256;
/// Wall-clock jumps beyond this are a step, not a correction.
const STEP: Duration = Duration::from_secs(5);
/// How long the broker may take to accept the last words.
const DRAIN: Duration = Duration::from_secs(10);

/// Why the daemon could not start, or ended by itself.
#[derive(Debug, thiserror::Error)]
pub enum AppError {
    /// The address for metrics cannot be listened on.
    #[error("cannot listen on {address} for metrics and health: {source}. Set `http.listen` to a free address.")]
    Listen {
        /// What was configured.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// The runtime cannot be built.
    #[error("cannot start the runtime: {0}")]
    Runtime(io::Error),
    /// A task ended that never should: a defect, not a condition of the farm.
    #[error("the {0} task ended by itself; this is a defect of the program")]
    TaskEnded(&'static str),
}

/// Runs the daemon until `shutdown` resolves. `listening` is told the address of the metrics server once it is bound,
/// and `manager` that the daemon is ready, alive and stopping.
///
/// # Errors
/// When the HTTP address cannot be bound, or a task ends by itself.
pub async fn run(
    config: Config,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
    listening: impl FnOnce(Option<SocketAddr>),
    mut manager: Manager,
) -> Result<(), AppError> {
    let listener = match config.http_listen {
        Some(address) => Some(TcpListener::bind(address).await.map_err(|source| AppError::Listen { address, source })?),
        None => None,
    };
    listening(listener.as_ref().and_then(|listener| listener.local_addr().ok()));

    let farm = Arc::new(config.farm.clone());
    let found = config.state_directory.as_deref().map(store::read_and_tell).unwrap_or_default();
    if let Some(newest) = found.memory.newest {
        clock.not_before(newest);
    }
    let now = clock.now();
    let mut engine = Engine::new(farm, service_of(config.forecast.as_ref()), &now)
        .with_fallback(service_of(config.fallback_forecast.as_ref()), &now);
    let restored = engine.restore(found.memory, &now);
    let (snapshots, _) = watch::channel(Arc::new(engine.snapshot(&now)));
    let (events, inbox) = mpsc::channel(WAITING_EVENTS);
    let mut keeper = Keeper::new(&config, &found.topics);
    let directory = config.state_directory.clone();
    let setup = mqtt::MqttSetup::new(&config, keeper.left_behind());
    let mut tasks = Tasks::start(config, setup, &clock, &snapshots, &events);
    if let Some(directory) = directory {
        tasks.spawn("store", store::run(directory, keeper.states(), events.clone()));
    }
    if let Some(listener) = listener {
        let stopped = tasks.stop_signal();
        tasks.spawn("HTTP", http::serve(listener, snapshots.subscribe(), stopped));
    }
    tracing::info!("Mistwright {} is running.", env!("CARGO_PKG_VERSION"));
    manager.ready();

    perform(restored, &tasks.fetches);
    let fetches = tasks.fetches.clone();
    let outlets = Outlets { snapshots: &snapshots, keeper: &mut keeper, manager: &mut manager, fetches };
    let turning = turn_loop(&mut engine, &clock, inbox, outlets);
    let result = tokio::select! {
        () = shutdown => Ok(()),
        () = turning => Err(AppError::TaskEnded("engine")),
        ended = tasks.any_ended() => Err(AppError::TaskEnded(ended)),
    };
    manager.stopping();
    keeper.keep(&engine, &engine.snapshot(&clock.now()));
    // The store ends with its last state.
    drop(keeper);
    tasks.stop().await;
    tracing::info!("Mistwright has stopped.");
    result
}

struct Tasks {
    running: Vec<(&'static str, JoinHandle<()>)>,
    /// Ends with its fetches; nothing is lost by cutting one off.
    forecast: Option<tokio::task::AbortHandle>,
    stops: Vec<oneshot::Sender<()>>,
    fetches: mpsc::Sender<Service>,
}

impl Tasks {
    fn start(
        config: Config,
        setup: mqtt::MqttSetup,
        clock: &Clock,
        snapshots: &watch::Sender<Arc<Snapshot>>,
        events: &mpsc::Sender<Event>,
    ) -> Self {
        let (fetches, fetch_requests) = mpsc::channel(2);
        let mut tasks = Self { running: Vec::new(), forecast: None, stops: Vec::new(), fetches };
        let (stopped, snapshots_mqtt) = (tasks.stop_signal(), snapshots.subscribe());
        let (events_mqtt, clock_mqtt) = (events.clone(), clock.clone());
        tasks.spawn("MQTT", mqtt::run(setup, snapshots_mqtt, events_mqtt, clock_mqtt, stopped));
        if config.forecast.is_some() {
            let setups = weather::ForecastSetup::all(&config);
            tasks.spawn("forecast", weather::run(setups, fetch_requests, events.clone(), clock.clone()));
            tasks.forecast = tasks.running.last().map(|(_, task)| task.abort_handle());
        }
        tasks
    }

    fn stop_signal(&mut self) -> impl Future<Output = ()> + use<> {
        let (stop, stopped) = oneshot::channel();
        self.stops.push(stop);
        async move {
            // A dropped sender means the same.
            let _ = stopped.await;
        }
    }

    fn spawn(&mut self, name: &'static str, task: impl Future<Output = ()> + Send + 'static) {
        self.running.push((name, tokio::spawn(task)));
    }

    /// The name of the first task that ends.
    async fn any_ended(&mut self) -> &'static str {
        std::future::poll_fn(|context| {
            for (name, task) in &mut self.running {
                if let std::task::Poll::Ready(result) = std::pin::Pin::new(task).poll(context) {
                    if let Err(error) = result {
                        tracing::error!("The {name} task failed: {error}");
                    }
                    return std::task::Poll::Ready(*name);
                }
            }
            std::task::Poll::Pending
        })
        .await
    }

    async fn stop(mut self) {
        for stop in self.stops.drain(..) {
            // A task that has ended needs no telling.
            let _ = stop.send(());
        }
        drop(self.fetches);
        if let Some(forecast) = self.forecast {
            forecast.abort();
        }
        for (name, task) in self.running {
            if task.is_finished() {
                continue;
            }
            let abort = task.abort_handle();
            if tokio::time::timeout(DRAIN, task).await.is_err() {
                tracing::warn!("The {name} task did not stop within {} s and was cut off.", DRAIN.as_secs());
                abort.abort();
            }
        }
    }
}

/// Where the results of a turn go.
struct Outlets<'a> {
    snapshots: &'a watch::Sender<Arc<Snapshot>>,
    keeper: &'a mut Keeper,
    manager: &'a mut Manager,
    fetches: mpsc::Sender<Service>,
}

/// Turns the engine for ever.
async fn turn_loop(engine: &mut Engine, clock: &Clock, mut inbox: mpsc::Receiver<Event>, outlets: Outlets<'_>) {
    let mut batch = Vec::with_capacity(EVENTS_A_TURN);
    let mut before = clock.now();
    let mut effects = engine.handle(Event::Tick, &before);
    loop {
        perform(effects, &outlets.fetches);
        let snapshot = Arc::new(engine.snapshot(&before));
        outlets.keeper.keep_when_due(engine, &snapshot);
        outlets.manager.turned(&snapshot);
        outlets.snapshots.send_replace(snapshot);
        let deadline = engine.next_deadline(&before);
        let deadline = outlets.manager.next_sign().map_or(deadline, |sign| sign.min(deadline));
        tokio::select! {
            received = inbox.recv_many(&mut batch, EVENTS_A_TURN) => {
                if received == 0 {
                    return;
                }
            }
            () = clock.sleep_until(deadline) => batch.push(Event::Tick),
        }
        for event in &batch {
            if let Event::Forecast { forecast: Some(forecast), .. } = event
                && let Some(issued) = forecast.issued
            {
                clock.compare(issued);
            }
        }
        let now = clock.now();
        if stepped(&before, &now) {
            batch.push(Event::ClockStepped);
        }
        effects = engine.handle_all(batch.drain(..), &now);
        before = now;
    }
}

fn service_of(forecast: Option<&ForecastService>) -> Option<Service> {
    forecast.map(|forecast| forecast.protocol.service)
}

fn stepped(before: &crate::model::Now, now: &crate::model::Now) -> bool {
    let elapsed = now.elapsed.saturating_sub(before.elapsed);
    let expected = before.wall_after(elapsed);
    now.wall.duration_since(expected).unsigned_abs() > STEP || before.trusted != now.trusted
}

fn perform(effects: Vec<Effect>, fetches: &mpsc::Sender<Service>) {
    for effect in effects {
        match effect {
            Effect::FetchForecast(service) => {
                // A full channel means that a fetch is already asked for.
                let _ = fetches.try_send(service);
            }
            Effect::Notify(notice) if notice.trouble => tracing::warn!("{}", notice.sentence),
            Effect::Notify(notice) => tracing::info!("{}", notice.sentence),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Now;

    #[test]
    fn a_jump_of_the_calendar_alone_is_a_step_and_a_night_of_sleep_is_none() {
        let wall: jiff::Timestamp = "2027-01-15T22:00:00Z".parse().unwrap();
        let before = Now { elapsed: Duration::from_secs(1_000), wall, trusted: true };
        let after = |elapsed: u64, wall_seconds: i64, trusted| Now {
            elapsed: before.elapsed + Duration::from_secs(elapsed),
            wall: wall + jiff::SignedDuration::from_secs(wall_seconds),
            trusted,
        };
        for (now, expected, why) in [
            (after(60, 60, true), false, "a minute"),
            (after(32_400, 32_400, true), false, "nine hours of sleep"),
            (after(60, 64, true), false, "a correction by four seconds"),
            (after(60, 66, true), true, "six seconds forward"),
            (after(60, 54, true), true, "six seconds back"),
            (after(0, -86_400, true), true, "a day back"),
            (after(60, 60, false), true, "trust is lost"),
        ] {
            assert_eq!(stepped(&before, &now), expected, "{why}");
        }
        let untrusted = Now { trusted: false, ..before };
        assert!(stepped(&untrusted, &after(60, 60, true)), "trust is gained");
    }
}
