//! What comes in: messages to events, handed to the engine without ever waiting for it.

use rumqttc::v5::mqttbytes::{QoS, v5::Publish};
use tokio::sync::mpsc;

use super::MqttSetup;
use crate::{engine::Event, wire::hearing::Hearing};

/// The way to the engine.
pub(super) struct Inbox {
    hearing: Hearing,
    events: mpsc::Sender<Event>,
    link_up: bool,
    /// What the engine was last told of the link; it has to be told again when this differs.
    link_told: bool,
    overflow: u64,
}

impl Inbox {
    pub(super) fn new(setup: &MqttSetup, events: mpsc::Sender<Event>) -> Self {
        let hearing = Hearing::new(&setup.farm, &setup.bindings, &setup.broker.domain);
        Self { hearing, events, link_up: false, link_told: false, overflow: 0 }
    }

    /// Every topic to listen to. A reading comes at most once: the next one is better than a late one, and Mosquitto
    /// 2.0.11 takes each message that it keeps back as too large for one that is still to be acknowledged, until a
    /// client with acknowledgements hears nothing any more. A setting comes at least once.
    pub(super) fn topics(&self) -> impl Iterator<Item = (String, QoS)> {
        let readings = self.hearing.sources().map(|topic| (topic.to_owned(), QoS::AtMostOnce));
        readings.chain(self.hearing.settings().map(|topic| (topic.to_owned(), QoS::AtLeastOnce)))
    }

    /// A message of a source, or one that sets something. A retained one is not fresh: it is no reading, and what it
    /// would set was meant for another time.
    pub(super) fn hear(&mut self, publish: &Publish) {
        if publish.retain {
            return;
        }
        let Ok(topic) = std::str::from_utf8(&publish.topic) else { return };
        let (events, overflow) = (&self.events, &mut self.overflow);
        self.hearing.events(topic, &publish.payload, |event| hand_over(events, overflow, event));
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

fn hand_over(events: &mpsc::Sender<Event>, overflow: &mut u64, event: Event) {
    if events.try_send(event).is_err() {
        *overflow += 1;
        if *overflow == 1 {
            tracing::warn!("Messages arrive faster than they are taken in: some are lost.");
        }
    }
}
