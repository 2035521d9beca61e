//! Alerts: one state machine for each alert and room.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use super::{
    kind::{AlertKind, Delays},
    warning::Warning,
};
use crate::{
    model::{Apart, Fault, Now, Quantity, Sensor},
    units::{CarbonDioxide, Temperature, WaterFlow, WaterVolume},
};

/// People are told of a hard frost again so long before it begins: lines are drained last of all.
const FROST_AGAIN: SignedDuration = SignedDuration::from_hours(2);

/// What forecasts say will begin within this is warned of: of what they say of later hours some is taken back.
const WARNED_OF_WITHIN: SignedDuration = SignedDuration::from_hours(10);
/// What will begin within this even in milder weather is warned of as well.
const SURELY_WITHIN: SignedDuration = SignedDuration::from_hours(24);

/// How much an alert asks of the grower.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Priority {
    /// Good to know.
    Notice,
    /// To be acted on today.
    Warning,
    /// To be acted on at once.
    Critical,
}

impl Priority {
    /// Of what forecasts say will begin at `from`, and in milder weather at `milder`: a warning from ten hours before on, or from a
    /// day before where milder weather brings it too; until then a notice.
    pub fn ahead(from: Timestamp, milder: Option<Timestamp>, now: Timestamp) -> Self {
        let surely = milder.is_some_and(|milder| milder.duration_since(now) <= SURELY_WITHIN);
        if surely || is_near(from, now) { Self::Warning } else { Self::Notice }
    }
}

/// Whether forecasts of what will begin at `from` are hardly taken back.
pub fn is_near(from: Timestamp, now: Timestamp) -> bool {
    from.duration_since(now) <= WARNED_OF_WITHIN
}

/// What an alert says, as data; its sentence is made for the reader's units and time zone.
#[derive(Debug, Clone, PartialEq)]
pub enum Message {
    /// The first hour at or below the frost threshold, and the coldest.
    HardFrost {
        /// What is measured outdoors, if it is at or below the threshold already.
        measured: Option<Temperature>,
        /// First moment at or below the threshold.
        from: Timestamp,
        /// Coldest moment.
        coldest_at: Timestamp,
        /// How cold.
        coldest: Temperature,
    },
    /// Forecast age.
    ForecastOld {
        /// When the last forecast arrived; `None` if none ever did.
        fetched: Option<Timestamp>,
    },
    /// From when to when the humidifier will not keep up.
    Shortfall {
        /// First moment.
        from: Timestamp,
        /// Last moment; `None` where it goes on for as far as was looked.
        to: Option<Timestamp>,
        /// When it is worst.
        worst_at: Timestamp,
        /// Vapour missing then; zero where the humidifier has only hardly anything left.
        worst: WaterFlow,
        /// Water that will be drawn in the next 12 hours.
        water: Option<WaterVolume>,
    },
    /// Which sensors are silent.
    Stale {
        /// Those that are not heard.
        sensors: Vec<Sensor>,
    },
    /// Another warning of the room or the site.
    Warning(Warning),
    /// A warning that an earlier run has raised; what it said then is not kept.
    BeforeRestart,
    /// Which sensors are not believed, and why.
    Suspect {
        /// At least one.
        sensors: Vec<(Sensor, Fault)>,
    },
    /// Which sensors of one air are too far apart.
    Apart {
        /// At least one quantity.
        apart: Vec<(Quantity, Apart)>,
    },
    /// Which calibrations are older than they are good for.
    CalibrationOld {
        /// The sensors, and the age in days.
        sensors: Vec<(Sensor, i64)>,
    },
    /// Carbon dioxide above a limit.
    CarbonDioxide {
        /// What was measured.
        measured: CarbonDioxide,
        /// The limit that it passed.
        limit: CarbonDioxide,
    },
}

impl Message {
    /// Whether what it warns of begins so soon that people are told again.
    pub fn presses(&self, now: Timestamp) -> bool {
        match self {
            Self::HardFrost { from, .. } => from.duration_since(now) <= FROST_AGAIN,
            _ => false,
        }
    }
}

/// What the engine finds each turn, before any delay.
#[derive(Debug, Clone, PartialEq)]
pub enum Condition {
    /// All is well.
    Clear,
    /// The condition holds.
    Present(Priority, Message),
    /// An input is missing, and another alert says so. A raised alert becomes unknown, never clear.
    Missing,
    /// Another alert says the same already: one cause, one alert.
    Covered,
}

/// How long an alert is not shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shelf {
    /// When it ends, as [`Now::elapsed`].
    pub ends: Duration,
    /// The same by the calendar, for people.
    pub ends_at: Timestamp,
}

/// State of one alert.
///
/// ```text
/// normal ──present──▶ pending ──on-delay──▶ active ──clear──▶ clearing ──off-delay──▶ normal
///    ▲                   │                    ▲                   │
///    └──────clear────────┘                    └──────present──────┘
///
/// present, but less urgent:   active ──▶ clearing ──off-delay──▶ active, with the lower priority
///
/// an input missing:   normal, pending ──▶ suppressed;   active, clearing ──▶ unknown (never normal)
/// ```
///
/// Beside it stands the [`Shelf`]: while there is one, the alert is `shelved` for everybody outside, and the machine
/// goes on below, so that what still stands when the shelf ends is raised at once. A danger to people breaks it.
#[derive(Debug, Clone, PartialEq)]
pub enum AlertState {
    /// All is well.
    Normal,
    /// The condition holds, not yet for long enough.
    Pending {
        /// Since when, as [`Now::elapsed`].
        since: Duration,
    },
    /// Raised.
    Active {
        /// How much it asks.
        priority: Priority,
        /// What it says.
        message: Message,
    },
    /// The condition is gone or less urgent, not yet for long enough: still shown as it was, so that an alert at the
    /// edge of two priorities does not flap between them.
    Clearing {
        /// Since when, as [`Now::elapsed`].
        since: Duration,
        /// What it asked last.
        priority: Priority,
        /// What it said last.
        message: Message,
    },
    /// An input is missing; another alert says so.
    Suppressed,
    /// It was raised, and what it rests on is no longer known.
    Unknown {
        /// What it asked last.
        priority: Priority,
        /// What it said last.
        message: Message,
    },
}

/// An alert of a room or of the site.
#[derive(Debug, Clone, PartialEq)]
pub struct Alert {
    /// Which.
    pub kind: AlertKind,
    /// Where it stands.
    pub state: AlertState,
    /// Until when it is not shown.
    pub shelf: Option<Shelf>,
    /// Whether people were reminded, shortly before what it warns of begins.
    pub reminded: bool,
}

/// Values of the published enum, in the order of its format.
pub const PUBLISHED_STATES: [&str; 8] =
    ["normal", "pending", "notice", "warning", "critical", "shelved", "suppressed", "unknown"];

impl Alert {
    /// An alert that nothing is known of yet.
    pub const fn new(kind: AlertKind) -> Self {
        Self { kind, state: AlertState::Suppressed, shelf: None, reminded: false }
    }

    /// The published word, one of [`PUBLISHED_STATES`].
    pub const fn published(&self) -> &'static str {
        if self.shelf.is_some() { "shelved" } else { self.published_below() }
    }

    /// The same without its shelf.
    pub const fn published_below(&self) -> &'static str {
        match &self.state {
            AlertState::Normal => "normal",
            AlertState::Pending { .. } => "pending",
            AlertState::Active { priority, .. } | AlertState::Clearing { priority, .. } => match priority {
                Priority::Notice => "notice",
                Priority::Warning => "warning",
                Priority::Critical => "critical",
            },
            AlertState::Suppressed => "suppressed",
            AlertState::Unknown { .. } => "unknown",
        }
    }

    /// What it says, while it is raised or unknown, and not shelved.
    pub const fn message(&self) -> Option<&Message> {
        if self.shelf.is_some() { None } else { self.message_below() }
    }

    /// Whether it is raised or unknown, shelved or not.
    pub const fn stands(&self) -> bool {
        self.message_below().is_some()
    }

    /// Carbon dioxide at which people have to leave is never out of sight, nor is not knowing whether it has gone.
    pub const fn can_be_shelved(&self) -> bool {
        let critical = matches!(
            self.state,
            AlertState::Active { priority: Priority::Critical, .. }
                | AlertState::Clearing { priority: Priority::Critical, .. }
                | AlertState::Unknown { priority: Priority::Critical, .. }
        );
        !(critical && matches!(self.kind, AlertKind::CarbonDioxidePeople))
    }

    const fn message_below(&self) -> Option<&Message> {
        match &self.state {
            AlertState::Active { message, .. }
            | AlertState::Clearing { message, .. }
            | AlertState::Unknown { message, .. } => Some(message),
            AlertState::Normal | AlertState::Pending { .. } | AlertState::Suppressed => None,
        }
    }

    /// Takes in what this turn found. Returns whether people should be told: once per raise, rise in priority,
    /// return to normal, and loss of the input of a raised alert; and once again shortly before what it warns of begins,
    /// where it was raised long before.
    pub fn take(&mut self, condition: Condition, now: &Now) -> bool {
        let (was_raised, before) = (self.is_raised(), self.published());
        let delays = self.kind.delays();
        let state = std::mem::replace(&mut self.state, AlertState::Normal);
        self.state = next(state, condition, &delays, now);
        self.shelf = self.shelf.filter(|shelf| shelf.ends > now.elapsed && self.can_be_shelved());
        let presses = self.message().is_some_and(|message| message.presses(now.wall));
        let again = was_raised && presses && !self.reminded;
        self.reminded = self.is_raised() && (self.reminded || presses);
        was_raised != self.is_raised() || (was_raised && before != self.published()) || again
    }

    /// Whether it is shown to people as raised.
    pub const fn is_raised(&self) -> bool {
        self.message().is_some()
    }

    /// When the state changes by itself, as [`Now::elapsed`].
    pub fn next_deadline(&self) -> Option<Duration> {
        let delays = self.kind.delays();
        let delay = match &self.state {
            AlertState::Pending { since } => Some(*since + delays.on),
            AlertState::Clearing { since, .. } => Some(*since + delays.off),
            _ => None,
        };
        delay.into_iter().chain(self.shelf.map(|shelf| shelf.ends)).min()
    }
}

fn next(state: AlertState, condition: Condition, delays: &Delays, now: &Now) -> AlertState {
    use AlertState::{Active, Clearing, Normal, Pending, Suppressed, Unknown};
    match condition {
        Condition::Present(priority, message) => match state {
            Active { priority: before, message: said } if priority < before && !delays.off.is_zero() => {
                Clearing { since: now.elapsed, priority: before, message: said }
            }
            Clearing { since, priority: before, message: said }
                if priority < before && now.since(since) < delays.off =>
            {
                Clearing { since, priority: before, message: said }
            }
            Active { .. } | Clearing { .. } | Unknown { .. } => Active { priority, message },
            Pending { since } if now.since(since) >= delays.on => Active { priority, message },
            Pending { since } => Pending { since },
            Normal | Suppressed if delays.on.is_zero() => Active { priority, message },
            Normal | Suppressed => Pending { since: now.elapsed },
        },
        Condition::Clear => match state {
            Active { priority, message } | Unknown { priority, message } => {
                if delays.off.is_zero() {
                    Normal
                } else {
                    Clearing { since: now.elapsed, priority, message }
                }
            }
            Clearing { since, .. } if now.since(since) >= delays.off => Normal,
            clearing @ Clearing { .. } => clearing,
            Normal | Pending { .. } | Suppressed => Normal,
        },
        // What an earlier run knew is not forgotten before the broker has answered for the first time.
        Condition::Covered => match state {
            unknown @ Unknown { .. } => unknown,
            _ => Suppressed,
        },
        Condition::Missing => match state {
            Active { priority, message } | Clearing { priority, message, .. } | Unknown { priority, message } => {
                Unknown { priority, message }
            }
            Normal | Pending { .. } | Suppressed => Suppressed,
        },
    }
}
