//! What happens to the engine, and what it asks of the shell.

use std::time::Duration;

use jiff::Timestamp;

use super::command::{Command, Input};
use crate::model::{Forecast, Measured, Service};

/// Everything that can happen.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// A source said something believable.
    Reading {
        /// Its place in the farm's list of sources.
        source: usize,
        /// What it said, before calibration.
        measured: Measured,
        /// When it was measured, where the message says so.
        taken: Option<Taken>,
    },
    /// A source said something that is no measurement.
    Rejected {
        /// Its place in the farm's list of sources.
        source: usize,
        /// Why.
        rejection: Rejection,
    },
    /// Somebody set something.
    Command {
        /// The room that it is about, by its place in the farm's list; `None` for the whole site.
        room: Option<usize>,
        /// What is set.
        command: Command,
    },
    /// Somebody tried to set something, and cannot be understood.
    CommandRefused {
        /// The room that it would have been about.
        room: Option<usize>,
        /// What would have been set.
        input: Input,
        /// Why.
        rejection: Rejection,
    },
    /// A forecast arrived.
    Forecast {
        /// Who was asked.
        service: Service,
        /// The forecast; `None` where the service says that the last one still holds.
        forecast: Option<Forecast>,
        /// How long the service asks us to keep it before asking again.
        keep_for: Duration,
    },
    /// A forecast did not arrive.
    ForecastFailed(FetchFailure),
    /// The connection to the broker came up.
    Connected,
    /// The connection to the broker was lost.
    Disconnected,
    /// The state was to be written, and was or was not.
    StateKept {
        /// Whether it was.
        written: bool,
    },
    /// The calendar clock jumped.
    ClockStepped,
    /// Nothing but time has passed.
    Tick,
}

/// When something was measured, as a message tells it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Taken {
    /// At a moment of the calendar.
    At(Timestamp),
    /// So long before the message was sent.
    Ago(Duration),
}

/// Why a message was no measurement.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rejection {
    /// One word for labels.
    pub word: &'static str,
    /// One sentence for people, without the payload.
    pub sentence: String,
}

/// Why a forecast did not arrive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FetchFailure {
    /// Who was asked.
    pub service: Service,
    /// One word for labels.
    pub word: &'static str,
    /// One sentence for people.
    pub sentence: String,
    /// How long the service asks us to wait, if it does.
    pub retry_after: Option<Duration>,
}

/// What the engine asks of the shell.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Fetch a forecast of this service; the answer comes back as an event.
    FetchForecast(Service),
    /// Tell the log.
    Notify(Notice),
}

/// A line for the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Whether something is wrong.
    pub trouble: bool,
    /// One sentence.
    pub sentence: String,
}
