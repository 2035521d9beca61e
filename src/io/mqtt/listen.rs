//! Listens to a few sources and says nothing: for whoever wants to see what a sensor sends.

use std::{collections::BTreeSet, time::Duration};

use rumqttc::v5::{
    AsyncClient, Event as Polled,
    mqttbytes::{QoS, v5::Packet},
};
use tokio::{sync::mpsc, time::sleep};

use super::{QUEUE, lost, lost::Lost, options};
use crate::{
    config::Broker,
    model::Quantity,
    wire::{
        decode::{Decoded, decode},
        topic::{BadPayload, Binding},
    },
};

/// Pause before the next attempt, once there has been a connection.
const AGAIN: Duration = Duration::from_secs(2);

/// A message of one of the sources, by its place in the list.
pub(crate) type Heard = (usize, Result<Decoded, BadPayload>);

/// Hands over what the sources say until nobody listens any more; retained messages are not handed over, because nobody
/// knows how old they are.
///
/// # Errors
/// The first connection fails, or the broker lets this client not listen.
pub(crate) async fn listen(
    broker: &Broker,
    sources: &[(Binding, Quantity)],
    heard: &mpsc::Sender<Heard>,
) -> Result<(), Lost> {
    // An identifier of its own: the daemon may run beside it.
    let client_id = format!("{}-calibrate", broker.client_id);
    let mut ever = false;
    loop {
        let (client, mut eventloop) = AsyncClient::new(options(broker, &client_id)?, QUEUE);
        let error = loop {
            match eventloop.poll().await {
                Ok(Polled::Incoming(Packet::ConnAck(_))) => {
                    ever = true;
                    let topics: BTreeSet<&str> = sources.iter().map(|(binding, _)| binding.topic.as_str()).collect();
                    for topic in topics {
                        // The queue has room for a few topics, and was empty.
                        let _ = client.try_subscribe(topic, QoS::AtLeastOnce);
                    }
                }
                Ok(Polled::Incoming(Packet::Publish(publish))) if !publish.retain => {
                    for (index, (binding, quantity)) in sources.iter().enumerate() {
                        let ours = publish.topic == binding.topic.as_str().as_bytes();
                        if ours && heard.send((index, decode(binding, *quantity, &publish.payload))).await.is_err() {
                            return Ok(());
                        }
                    }
                }
                Ok(_) => {}
                Err(error) => break error,
            }
        };
        if !ever {
            return Err(lost::meaning(error, broker, false, true));
        }
        sleep(AGAIN).await;
    }
}
