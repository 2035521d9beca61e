//! The ordered lane: what is said of the devices themselves, before, between and after their values.

use std::{collections::VecDeque, sync::Arc};

/// A device of the tree, as it announces itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Where its topics begin, `homie/5/frosthollow`.
    pub topic: String,
    /// Payload of its `$description`.
    pub description: String,
}

/// Where the devices are in their life.
///
/// ```text
/// down ──connected──▶ announcing ──acknowledged──▶ filling ──all values acknowledged──▶ welcoming ──▶ live
///   ▲                   $state init,                 retained values                      $state ready
///   └──disconnected──   $description
///
/// live, or any phase that is up ──stop──▶ withdrawing ──all values acknowledged──▶ leaving ──acknowledged──▶ gone
///                                           advice withheld                          $state disconnected
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// No connection.
    Down,
    /// `$state` says `init`, and the descriptions go out.
    Announcing,
    /// The retained values go out for the first time in this connection.
    Filling,
    /// `$state` turns to `ready`.
    Welcoming,
    /// Values go out as they change.
    Live,
    /// The advice is withheld; the last values go out.
    Withdrawing,
    /// `$state` turns to `disconnected`.
    Leaving,
    /// All is said: the connection may be closed.
    Gone,
}

/// One message of the lane.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its topic.
    pub topic: Arc<str>,
    /// Its payload.
    pub payload: String,
    /// Whether the payload is JSON.
    pub json: bool,
}

/// The devices' lane. Children come before their parent in every phase.
#[derive(Debug)]
pub struct Lifecycle {
    devices: Vec<Device>,
    phase: Phase,
    lane: VecDeque<Step>,
    unanswered: usize,
}

impl Lifecycle {
    /// For `devices`, each before its parent.
    pub const fn new(devices: Vec<Device>) -> Self {
        Self { devices, phase: Phase::Down, lane: VecDeque::new(), unanswered: 0 }
    }

    /// Where the devices are.
    pub const fn phase(&self) -> Phase {
        self.phase
    }

    /// A new connection: whatever an earlier one was told is said again.
    pub fn connected(&mut self) {
        self.phase = Phase::Announcing;
        self.unanswered = 0;
        self.lane.clear();
        for device in &self.devices {
            self.lane.push_back(state(device, "init"));
            self.lane.push_back(Step {
                topic: format!("{}/$description", device.topic).into(),
                payload: device.description.clone(),
                json: true,
            });
        }
    }

    /// The connection is gone. After a stop nothing more will be said: the broker's last will speaks.
    pub fn disconnected(&mut self) {
        self.phase = match self.phase {
            Phase::Withdrawing | Phase::Leaving | Phase::Gone => Phase::Gone,
            _ => Phase::Down,
        };
        self.lane.clear();
        self.unanswered = 0;
    }

    /// The daemon stops.
    pub fn stop(&mut self) {
        self.phase = match self.phase {
            Phase::Down | Phase::Gone => Phase::Gone,
            Phase::Leaving => Phase::Leaving,
            _ => Phase::Withdrawing,
        };
        if self.phase == Phase::Withdrawing {
            self.lane.clear();
        }
    }

    /// The lane's next message; the caller promises to send it, and to say when it is answered.
    pub fn next_step(&mut self) -> Option<Step> {
        let step = self.lane.pop_front();
        self.unanswered += usize::from(step.is_some());
        step
    }

    /// A message of the lane was acknowledged or refused.
    pub const fn answered(&mut self) {
        self.unanswered = self.unanswered.saturating_sub(1);
    }

    /// Whether values may go out now.
    pub const fn values_may_go(&self) -> bool {
        matches!(self.phase, Phase::Filling | Phase::Live | Phase::Withdrawing)
    }

    /// Moves to the next phase if this one has done its work. `filled`: every value was acknowledged once in this
    /// connection; `quiet`: no value waits to be sent or acknowledged.
    pub fn advance(&mut self, filled: bool, quiet: bool) {
        let lane_done = self.lane.is_empty() && self.unanswered == 0;
        match self.phase {
            Phase::Announcing if lane_done => self.phase = Phase::Filling,
            Phase::Filling if filled => self.enter(Phase::Welcoming, "ready"),
            Phase::Welcoming if lane_done => self.phase = Phase::Live,
            Phase::Withdrawing if quiet && lane_done => self.enter(Phase::Leaving, "disconnected"),
            Phase::Leaving if lane_done => self.phase = Phase::Gone,
            _ => {}
        }
    }

    fn enter(&mut self, phase: Phase, word: &str) {
        self.phase = phase;
        self.lane.extend(self.devices.iter().map(|device| state(device, word)));
    }
}

fn state(device: &Device, word: &str) -> Step {
    Step { topic: format!("{}/$state", device.topic).into(), payload: word.to_owned(), json: false }
}
