//! One connection's bookkeeping: which packet number belongs to which message.

use std::collections::{HashMap, VecDeque};

use rumqttc::{
    Outgoing,
    v5::{
        AsyncClient,
        mqttbytes::{
            QoS,
            v5::{Filter, PublishProperties, RetainForwardRule},
        },
    },
};

use super::Lost;
use crate::wire::outbox::Message;

/// What a request in the client's queue was for, in the queue's order.
enum Request {
    Publish(u64),
    Subscribe(Vec<String>),
}

/// One connection.
pub(super) struct Session {
    pub(super) client: AsyncClient,
    requests: VecDeque<Request>,
    pub(super) tickets: HashMap<u16, u64>,
    pub(super) subscriptions: HashMap<u16, Vec<String>>,
    pub(super) connected: bool,
    /// Pings since the last acknowledgement.
    pub(super) silent_pings: u32,
}

impl Session {
    pub(super) fn new(client: AsyncClient) -> Self {
        Self {
            client,
            requests: VecDeque::new(),
            tickets: HashMap::new(),
            subscriptions: HashMap::new(),
            connected: false,
            silent_pings: 0,
        }
    }

    pub(super) fn publish(&mut self, message: Message) -> Result<(), Lost> {
        let properties = PublishProperties {
            payload_format_indicator: Some(1),
            message_expiry_interval: message.expiry,
            content_type: message.json.then(|| "application/json".to_owned()),
            ..PublishProperties::default()
        };
        self.client
            .try_publish_with_properties(&*message.topic, QoS::AtLeastOnce, message.retain, message.payload, properties)
            .map_err(|_| Lost::OutOfStep)?;
        self.requests.push_back(Request::Publish(message.ticket));
        Ok(())
    }

    /// One request for all topics. Retained messages are not asked for: they are no readings, and an oversize one would
    /// end every connection anew.
    pub(super) fn subscribe(&mut self, topics: Vec<(String, QoS)>) -> Result<(), Lost> {
        if topics.is_empty() {
            return Ok(());
        }
        let filters = topics.iter().map(|(topic, qos)| Filter {
            retain_forward_rule: RetainForwardRule::Never,
            ..Filter::new(topic.clone(), *qos)
        });
        self.client.try_subscribe_many(filters).map_err(|_| Lost::OutOfStep)?;
        self.requests.push_back(Request::Subscribe(topics.into_iter().map(|(topic, _)| topic).collect()));
        Ok(())
    }

    /// The client has sent something: its packet number is paired with the oldest request.
    pub(super) fn sent(&mut self, outgoing: &Outgoing, in_flight: usize) -> Result<(), Lost> {
        match *outgoing {
            Outgoing::Publish(number) => match self.requests.pop_front() {
                Some(Request::Publish(ticket)) => {
                    self.tickets.insert(number, ticket);
                    Ok(())
                }
                _ => Err(Lost::OutOfStep),
            },
            Outgoing::Subscribe(number) => match self.requests.pop_front() {
                Some(Request::Subscribe(topics)) => {
                    self.subscriptions.insert(number, topics);
                    Ok(())
                }
                _ => Err(Lost::OutOfStep),
            },
            Outgoing::AwaitAck(_) => Err(Lost::OutOfStep),
            Outgoing::PingReq => {
                self.silent_pings = if in_flight == 0 { 0 } else { self.silent_pings + 1 };
                if self.silent_pings >= 3 { Err(Lost::Unacknowledged) } else { Ok(()) }
            }
            _ => Ok(()),
        }
    }
}
