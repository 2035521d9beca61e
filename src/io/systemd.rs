//! What the daemon tells the service manager that started it: ready, stopping, a line of status, and signs of life.
//!
//! The signs of life are sent by the loop that turns the engine, and only there: an engine that hangs falls silent, and
//! the service manager starts the daemon anew. A turn waits for no peer, so neither a broker nor a forecast that is away
//! holds them up.

use std::time::Duration;

use sd_notify::NotifyState;

use crate::engine::Snapshot;

/// Signs of life in each of the service manager's watchdog periods. With two, one that comes a little late is a kill.
const SIGNS_A_PERIOD: u32 = 3;

/// The service manager; or nobody, where there is none. Telling nobody does nothing.
#[derive(Debug, Default)]
pub struct Manager {
    listens: bool,
    /// Time between two signs of life; `None` where no watchdog waits for them.
    every: Option<Duration>,
    /// When the next sign is due, as [`Now::elapsed`](crate::model::Now::elapsed).
    due: Duration,
    status: String,
    told_of_trouble: bool,
}

impl Manager {
    /// No service manager: a demonstration, or a process under test.
    pub fn nobody() -> Self {
        Self::default()
    }

    /// The service manager that the process's environment names (`NOTIFY_SOCKET`, `WATCHDOG_USEC`).
    pub fn of_this_process() -> Self {
        Self {
            listens: std::env::var_os("NOTIFY_SOCKET").is_some(),
            every: sd_notify::watchdog_enabled().map(|period| period / SIGNS_A_PERIOD),
            ..Self::default()
        }
    }

    /// The configuration is good and the listener is bound. Neither broker nor forecast has to have answered.
    pub fn ready(&mut self) {
        self.tell(&[NotifyState::Ready]);
    }

    /// The daemon has been told to stop, and is saying its last words.
    pub fn stopping(&mut self) {
        self.tell(&[NotifyState::Stopping, NotifyState::Status("Saying the last words to the broker.")]);
    }

    /// When the engine has to turn again at the latest, for a sign of life in time.
    pub fn next_sign(&self) -> Option<Duration> {
        self.every.map(|_| self.due)
    }

    /// The engine has turned: sends a sign of life if one is due, and the status if it is another one.
    pub fn turned(&mut self, snapshot: &Snapshot) {
        if !self.listens {
            return;
        }
        if let Some(every) = self.every
            && snapshot.now.elapsed >= self.due
        {
            self.due = snapshot.now.elapsed + every;
            self.tell(&[NotifyState::Watchdog]);
        }
        let status = status(snapshot);
        if status != self.status {
            self.tell(&[NotifyState::Status(&status)]);
            self.status = status;
        }
    }

    fn tell(&mut self, states: &[NotifyState<'_>]) {
        if !self.listens {
            return;
        }
        match sd_notify::notify(states) {
            Ok(()) => self.told_of_trouble = false,
            Err(_) if self.told_of_trouble => {}
            Err(error) => {
                self.told_of_trouble = true;
                tracing::warn!("The service manager cannot be told: {error}. This is not said again.");
            }
        }
    }
}

/// One line for `systemctl status`: whether sensors, broker, forecast and clock are there, and what is raised.
fn status(snapshot: &Snapshot) -> String {
    let site = &snapshot.site;
    let fresh = snapshot.sources.iter().filter(|source| source.reading.fresh().is_some()).count();
    let broker = if site.connected { "connected" } else { "away" };
    let mut text = format!("{fresh} of {} sensors fresh; broker {broker}", snapshot.sources.len());
    if site.forecast_service.is_some() && site.forecast.is_none() {
        text.push_str("; no forecast yet");
    }
    if !snapshot.now.trusted {
        text.push_str("; the date is not believed");
    }
    let alerts = site.alerts.iter().chain(snapshot.rooms.iter().flat_map(|room| &room.alerts));
    match alerts.filter(|alert| alert.is_raised()).count() {
        0 => {}
        1 => text.push_str("; 1 alert"),
        raised => text.push_str(&format!("; {raised} alerts")),
    }
    text.push('.');
    text
}
