//! A client outside the daemon: publishes readings, and remembers the last message of every topic.

use std::{
    collections::BTreeMap,
    sync::{Arc, Condvar, Mutex},
    time::Duration,
};

use rumqttc::v5::{
    Client, Connection, Event, MqttOptions,
    mqttbytes::{QoS, v5::Packet},
};

use super::broker::{PASSWORD, USER};

/// A message as it last arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    pub payload: String,
    /// Whether the broker had kept it for us.
    pub retained: bool,
    /// Seconds, counted down by the broker.
    pub expiry: Option<u32>,
    /// How many messages of this topic have arrived, this one included.
    pub count: usize,
}

#[derive(Default)]
struct Seen {
    messages: BTreeMap<String, Message>,
    subscriptions: usize,
}

/// A connected client; connects again whenever the broker is back.
pub struct Outside {
    client: Client,
    seen: Arc<(Mutex<Seen>, Condvar)>,
}

impl Outside {
    /// Connects as `name` and subscribes to everything.
    pub fn connect(name: &str, port: u16) -> Self {
        let mut options = MqttOptions::new(name, "127.0.0.1", port);
        options.set_credentials(USER, PASSWORD).set_max_packet_size(Some(2 << 20));
        let (client, connection) = Client::new(options, 1_000);
        let seen = Arc::<(Mutex<Seen>, Condvar)>::default();
        let (subscriber, shared) = (client.clone(), seen.clone());
        std::thread::spawn(move || listen(connection, &subscriber, &shared));
        let outside = Self { client, seen };
        outside.wait("the client connects", 10, |seen| (seen.subscriptions > 0).then_some(()));
        outside
    }

    /// Publishes at least once, not retained, as sensors do.
    pub fn publish(&self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.client.publish(topic, QoS::AtLeastOnce, false, payload.into()).unwrap();
    }

    /// Publishes a message that the broker keeps.
    pub fn publish_retained(&self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.client.publish(topic, QoS::AtLeastOnce, true, payload.into()).unwrap();
    }

    /// Waits until the condition on all messages gives something, and fails after `seconds` with what there was.
    pub fn until<T>(
        &self,
        what: &str,
        seconds: u64,
        mut condition: impl FnMut(&BTreeMap<String, Message>) -> Option<T>,
    ) -> T {
        self.wait(what, seconds, |seen| condition(&seen.messages))
    }

    /// Waits until the topic's last payload is `payload`.
    pub fn until_is(&self, topic: &str, payload: &str, seconds: u64) {
        self.until(&format!("{topic} = {payload}"), seconds, |messages| {
            messages.get(topic).is_some_and(|message| message.payload == payload).then_some(())
        });
    }

    /// The last message of every topic so far.
    pub fn messages(&self) -> BTreeMap<String, Message> {
        self.seen.0.lock().unwrap().messages.clone()
    }

    /// Forgets every message, so that only what arrives from now on counts.
    pub fn forget(&self) {
        self.seen.0.lock().unwrap().messages.clear();
    }

    /// Runs something that breaks the connection, and waits until this client listens again.
    pub fn through(&self, outage: impl FnOnce()) {
        let before = self.seen.0.lock().unwrap().subscriptions;
        outage();
        self.wait("the client is back", 20, |seen| (seen.subscriptions > before).then_some(()));
    }

    fn wait<T>(&self, what: &str, seconds: u64, mut condition: impl FnMut(&Seen) -> Option<T>) -> T {
        let (lock, changed) = &*self.seen;
        let mut found = None;
        let (seen, _) = changed
            .wait_timeout_while(lock.lock().unwrap(), Duration::from_secs(seconds), |seen| {
                found = condition(seen);
                found.is_none()
            })
            .unwrap();
        found.unwrap_or_else(|| {
            let messages: Vec<String> =
                seen.messages.iter().map(|(topic, message)| format!("{topic} = {}", message.payload)).collect();
            panic!("not within {seconds} s: {what}; the messages are:\n{}", messages.join("\n"))
        })
    }
}

impl Drop for Outside {
    fn drop(&mut self) {
        let _ = self.client.try_disconnect();
    }
}

fn listen(mut connection: Connection, client: &Client, shared: &(Mutex<Seen>, Condvar)) {
    for event in connection.iter() {
        match event {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                let _ = client.try_subscribe("#", QoS::AtLeastOnce);
                continue;
            }
            Ok(Event::Incoming(Packet::SubAck(_))) => shared.0.lock().unwrap().subscriptions += 1,
            Ok(Event::Incoming(Packet::Publish(publish))) => {
                let topic = String::from_utf8_lossy(&publish.topic).into_owned();
                let mut seen = shared.0.lock().unwrap();
                let count = seen.messages.get(&topic).map_or(0, |message| message.count) + 1;
                let message = Message {
                    payload: String::from_utf8_lossy(&publish.payload).into_owned(),
                    retained: publish.retain,
                    expiry: publish.properties.and_then(|properties| properties.message_expiry_interval),
                    count,
                };
                seen.messages.insert(topic, message);
            }
            Ok(Event::Incoming(Packet::Disconnect(_)) | Event::Outgoing(rumqttc::Outgoing::Disconnect)) => return,
            Ok(_) => continue,
            // The broker is away: the next turn of the loop connects again, and must not spin until then.
            Err(_) => std::thread::sleep(Duration::from_millis(100)),
        }
        shared.1.notify_all();
    }
}

/// What the broker keeps right now, seen by a client that has just come: every retained topic and its message.
pub fn retained(port: u16) -> BTreeMap<String, Message> {
    static NEXT: std::sync::atomic::AtomicUsize = std::sync::atomic::AtomicUsize::new(0);
    let name = format!("newcomer-{}", NEXT.fetch_add(1, std::sync::atomic::Ordering::SeqCst));
    let newcomer = Outside::connect(&name, port);
    // The broker answers in order, so that everything it keeps has arrived when this one comes back.
    let marker = format!("marker/{name}");
    newcomer.publish(&marker, "end");
    newcomer.until("the marker comes back", 20, |messages| messages.contains_key(&marker).then_some(()));
    newcomer.messages().into_iter().filter(|(_, message)| message.retained).collect()
}
