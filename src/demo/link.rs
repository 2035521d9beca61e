//! A plain MQTT client of the farm: what a sensor, a rule engine or a curious grower would use.

use std::{net::SocketAddr, time::Duration};

use rumqttc::v5::{
    AsyncClient, Event, EventLoop, Incoming, MqttOptions,
    mqttbytes::{QoS, v5::Filter},
};
use tokio::{
    sync::{mpsc, watch},
    task::JoinHandle,
    time::sleep,
};

/// Messages that may wait to be sent.
const WAITING: usize = 256;

/// Pause before a lost connection is tried again.
const AGAIN: Duration = Duration::from_millis(200);

/// A message from the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Message {
    /// Where it was published.
    pub(super) topic: String,
    /// What it says; bytes that are no text are replaced.
    pub(super) payload: String,
}

/// A connection that keeps itself up, and resubscribes whenever it comes up again.
#[derive(Debug)]
pub(super) struct Link {
    client: AsyncClient,
    incoming: mpsc::UnboundedReceiver<Message>,
    subscribed: watch::Receiver<bool>,
    polling: JoinHandle<()>,
}

/// The link has ended, which only a defect can bring about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the demo's own MQTT connection ended by itself; this is a defect of the program")]
pub struct LinkEnded;

impl Link {
    /// Connects to the demo's broker, and hears `filters`.
    pub(super) fn open(name: &str, broker: SocketAddr, filters: Vec<String>) -> Self {
        let mut options = MqttOptions::new(name, broker.ip().to_string(), broker.port());
        options.set_keep_alive(Duration::from_secs(30));
        options.set_max_packet_size(Some(256 * 1024));
        options.set_outgoing_inflight_upper_limit(64);
        let mut network = options.network_options();
        network.set_tcp_nodelay(true);
        options.set_network_options(network);
        let (client, events) = AsyncClient::new(options, WAITING);
        let (sender, incoming) = mpsc::unbounded_channel();
        let (up, subscribed) = watch::channel(false);
        let polling = tokio::spawn(poll(events, client.clone(), filters, sender, up));
        Self { client, incoming, subscribed, polling }
    }

    /// Waits until the broker has confirmed the subscriptions (or, without any, the connection).
    pub(super) async fn ready(&mut self) -> Result<(), LinkEnded> {
        self.subscribed.wait_for(|subscribed| *subscribed).await.map(drop).map_err(|_| LinkEnded)
    }

    /// Publishes a reading: not retained, at least once.
    pub(super) async fn publish(&self, topic: &str, payload: String) -> Result<(), LinkEnded> {
        self.client.publish(topic, QoS::AtLeastOnce, false, payload).await.map_err(|_| LinkEnded)
    }

    /// Everything that has arrived and was not taken yet.
    pub(super) fn arrived(&mut self) -> Vec<Message> {
        std::iter::from_fn(|| self.incoming.try_recv().ok()).collect()
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        self.polling.abort();
    }
}

async fn poll(
    mut events: EventLoop,
    client: AsyncClient,
    filters: Vec<String>,
    sender: mpsc::UnboundedSender<Message>,
    up: watch::Sender<bool>,
) {
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Incoming::ConnAck(_))) if filters.is_empty() => {
                up.send_replace(true);
            }
            Ok(Event::Incoming(Incoming::ConnAck(_))) => {
                let filters = filters.iter().map(|filter| Filter::new(filter.clone(), QoS::AtLeastOnce));
                // Never awaited here: this task is the one that empties the queue.
                let _ = client.try_subscribe_many(filters);
            }
            Ok(Event::Incoming(Incoming::SubAck(_))) => {
                up.send_replace(true);
            }
            Ok(Event::Incoming(Incoming::Publish(publish))) => {
                let message = Message {
                    topic: String::from_utf8_lossy(&publish.topic).into_owned(),
                    payload: String::from_utf8_lossy(&publish.payload).into_owned(),
                };
                if sender.send(message).is_err() {
                    return;
                }
            }
            Ok(_) => {}
            Err(_) => {
                up.send_replace(false);
                sleep(AGAIN).await;
            }
        }
    }
}
