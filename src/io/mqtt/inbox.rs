//! What comes in: messages to events, handed to the engine without ever waiting for it.

use std::{collections::HashMap, sync::Arc};

use rumqttc::v5::mqttbytes::{QoS, v5::Publish};
use tokio::sync::mpsc;

use super::MqttSetup;
use crate::{
    engine::{Event, Input, Rejection},
    model::{Farm, Quantity},
    wire::{
        decode::{Decoded, decode},
        inputs,
        topic::Binding,
    },
};

/// The way to the engine.
pub(super) struct Inbox {
    farm: Arc<Farm>,
    bindings: Vec<Binding>,
    /// Sources by topic.
    listeners: HashMap<String, Vec<usize>>,
    /// What can be set, by topic.
    settables: HashMap<String, (Option<usize>, Input)>,
    events: mpsc::Sender<Event>,
    link_up: bool,
    /// What the engine was last told of the link; it has to be told again when this differs.
    link_told: bool,
    overflow: u64,
}

impl Inbox {
    pub(super) fn new(setup: &MqttSetup, events: mpsc::Sender<Event>) -> Self {
        let mut listeners = HashMap::<String, Vec<usize>>::new();
        for (source, binding) in setup.bindings.iter().enumerate() {
            listeners.entry(binding.topic.as_str().to_owned()).or_default().push(source);
        }
        let settables = inputs::settable(&setup.farm, &setup.broker.domain);
        Self {
            farm: Arc::clone(&setup.farm),
            bindings: setup.bindings.clone(),
            listeners,
            settables: settables.into_iter().map(|set| (set.topic, (set.room, set.input))).collect(),
            events,
            link_up: false,
            link_told: false,
            overflow: 0,
        }
    }

    /// Every topic to listen to. A reading comes at most once: the next one is better than a late one, and Mosquitto
    /// 2.0.11 takes each message that it keeps back as too large for one that is still to be acknowledged, until a
    /// client with acknowledgements hears nothing any more. A setting comes at least once.
    pub(super) fn topics(&self) -> impl Iterator<Item = (String, QoS)> {
        let readings = self.listeners.keys().map(|topic| (topic.clone(), QoS::AtMostOnce));
        readings.chain(self.settables.keys().map(|topic| (topic.clone(), QoS::AtLeastOnce)))
    }

    /// A message of a source, or one that sets something. A retained one is not fresh: it is no reading, and what it
    /// would set was meant for another time.
    pub(super) fn hear(&mut self, publish: &Publish) {
        if publish.retain {
            return;
        }
        let Ok(topic) = std::str::from_utf8(&publish.topic) else { return };
        if let Some(&(room, input)) = self.settables.get(topic) {
            let event = match inputs::read(input, &publish.payload, self.farm.site.units) {
                Ok(command) => Event::Command { room, command },
                Err(bad) => {
                    let rejection = Rejection { word: bad.word(), sentence: bad.to_string() };
                    Event::CommandRefused { room, input, rejection }
                }
            };
            self.hand_over(event);
        }
        for source in self.listeners.get(topic).cloned().unwrap_or_default() {
            let Some(quantity) = self.quantity(source) else { continue };
            let event = match decode(&self.bindings[source], quantity, &publish.payload) {
                Ok(Decoded { measured, taken }) => Event::Reading { source, measured, taken },
                Err(bad) => {
                    Event::Rejected { source, rejection: Rejection { word: bad.word(), sentence: bad.to_string() } }
                }
            };
            self.hand_over(event);
        }
    }

    fn hand_over(&mut self, event: Event) {
        if self.events.try_send(event).is_err() {
            self.overflow += 1;
            if self.overflow == 1 {
                tracing::warn!("Messages arrive faster than they are taken in: some are lost.");
            }
        }
    }

    fn quantity(&self, source: usize) -> Option<Quantity> {
        self.farm.sources.get(source).map(|source| source.quantity)
    }

    pub(super) fn report_overflow(&self) {
        if self.overflow > 0 {
            tracing::warn!("{} messages were lost because they arrived faster than they were taken in.", self.overflow);
        }
    }

    pub(super) fn link_is(&mut self, up: bool) {
        self.link_up = up;
        self.tell_link();
    }

    /// Tells the engine of the link, again and again until its queue has room.
    pub(super) fn tell_link(&mut self) {
        if self.link_told != self.link_up {
            let event = if self.link_up { Event::Connected } else { Event::Disconnected };
            if self.events.try_send(event).is_ok() {
                self.link_told = self.link_up;
            }
        }
    }
}
