//! What a message means to the farm: readings of its sources, settings, or nothing. Live and in a recorded log alike.

use std::collections::HashMap;

use super::{
    decode::{Decoded, decode},
    description::device_topic,
    inputs,
    topic::Binding,
};
use crate::{
    engine::{Event, Input, Rejection},
    model::{Farm, Identifier, Quantity},
    units::UnitSystem,
};

/// Which topics a farm listens to, and how their payloads are read.
#[derive(Debug, Clone)]
pub struct Hearing {
    units: UnitSystem,
    /// By the source's place in the farm's list.
    bindings: Vec<(Quantity, Binding)>,
    /// Sources by topic.
    listeners: HashMap<String, Vec<usize>>,
    /// What can be set, by topic.
    settables: HashMap<String, (Option<usize>, Input)>,
    /// Where the topics of the farm's own devices begin.
    own: Vec<String>,
}

/// Whose a topic is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Topic {
    /// Of a source, or something is set there.
    Heard,
    /// Published by the daemon itself.
    Own,
    /// Of nobody here.
    Foreign,
}

impl Hearing {
    /// For the sources of `farm` that `bindings` name, in the same order; sources behind them are not heard over MQTT.
    pub fn new(farm: &Farm, bindings: &[Binding], domain: &Identifier) -> Self {
        let mut listeners = HashMap::<String, Vec<usize>>::new();
        for (source, binding) in bindings.iter().enumerate() {
            listeners.entry(binding.topic.as_str().to_owned()).or_default().push(source);
        }
        let settables = inputs::settable(farm, domain);
        let rooms = farm.rooms.iter().map(Some);
        Self {
            units: farm.site.units,
            bindings: farm.sources.iter().map(|source| source.quantity).zip(bindings.iter().cloned()).collect(),
            listeners,
            settables: settables.into_iter().map(|set| (set.topic, (set.room, set.input))).collect(),
            own: rooms.chain([None]).map(|room| device_topic(farm, domain, room) + "/").collect(),
        }
    }

    /// Topics of sources.
    pub fn sources(&self) -> impl Iterator<Item = &str> {
        self.listeners.keys().map(String::as_str)
    }

    /// Topics on which something is set.
    pub fn settings(&self) -> impl Iterator<Item = &str> {
        self.settables.keys().map(String::as_str)
    }

    /// Whose a topic is.
    pub fn topic(&self, topic: &str) -> Topic {
        if self.listeners.contains_key(topic) || self.settables.contains_key(topic) {
            Topic::Heard
        } else if self.own.iter().any(|own| topic.starts_with(own.as_str())) {
            Topic::Own
        } else {
            Topic::Foreign
        }
    }

    /// What a message that was not retained says, one event after the other. A retained one is not to be given here: it
    /// is no reading, and what it would set was meant for another time.
    pub fn events(&self, topic: &str, payload: &[u8], mut hear: impl FnMut(Event)) {
        if let Some(&(room, input)) = self.settables.get(topic) {
            hear(match inputs::read(input, payload, self.units) {
                Ok(command) => Event::Command { room, command },
                Err(bad) => {
                    let rejection = Rejection { word: bad.word(), sentence: bad.to_string() };
                    Event::CommandRefused { room, input, rejection }
                }
            });
        }
        for &source in self.listeners.get(topic).map_or(&[][..], Vec::as_slice) {
            let Some((quantity, binding)) = self.bindings.get(source) else { continue };
            hear(match decode(binding, *quantity, payload) {
                Ok(Decoded { measured, taken }) => Event::Reading { source, measured, taken },
                Err(bad) => {
                    Event::Rejected { source, rejection: Rejection { word: bad.word(), sentence: bad.to_string() } }
                }
            });
        }
    }
}
