//! A trial of the broker, for `check --connect`: is it reached, may this client publish and listen where it has to, and
//! is every sensor heard?
//!
//! Under an identifier of its own, so that a running daemon is not put out; with messages that no broker keeps, on
//! topics beside the real ones, so that nothing is left behind and no rule is disturbed.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    time::Duration,
};

use rumqttc::{
    Outgoing,
    v5::{
        AsyncClient, Event as Polled, EventLoop,
        mqttbytes::{
            QoS,
            v5::{Filter, Packet, PublishProperties, SubAck},
        },
    },
};
use tokio::time::{sleep, timeout};

use super::{answer, connected_answer, lost, lost::Lost, options};
use crate::{
    config::Config,
    io::clock::Clock,
    model::Measured,
    wire::{
        decode::{Decoded, decode},
        description, inputs,
        topic::BadPayload,
    },
};

/// Behind the daemon's identifier, for the trial's own.
const SUFFIX: &str = "-check";
/// The level of the topics that test messages go to.
const LEVEL: &str = "check";
/// How long the broker may take to answer everything that it is asked.
const ANSWERS_WITHIN: Duration = Duration::from_secs(15);
/// Requests that wait in the client.
const QUEUE: usize = 1_024;
/// Test messages that wait for their answer at one time.
const WINDOW: usize = 16;

/// What became of one thing that was tried.
#[derive(Debug)]
pub(crate) enum Finding {
    /// The broker took the connection.
    Connected {
        /// Where it is.
        address: String,
    },
    /// It did not, or ended it.
    NotConnected {
        /// Where it should be.
        address: String,
        /// Why, and what to do.
        why: Lost,
    },
    /// Test messages were taken on every topic of the tree that could be tried.
    Published {
        /// How many.
        count: usize,
    },
    /// A test message was refused.
    PublishRefused {
        /// Where.
        topic: String,
        /// The broker's word.
        reason: &'static str,
    },
    /// Every topic may be listened to.
    Subscribed {
        /// How many.
        count: usize,
    },
    /// A topic may not be listened to.
    SubscribeRefused {
        /// Which.
        topic: String,
        /// The broker's word.
        reason: &'static str,
    },
    /// The broker did not answer so many of the requests.
    Unanswered {
        /// How many.
        count: usize,
    },
    /// A sensor was heard.
    Heard {
        /// Its place in [`Farm::sources`](crate::model::Farm::sources).
        source: usize,
        /// What it said.
        measured: Measured,
    },
    /// A sensor was heard, and what it said is no measurement.
    Nonsense {
        /// Its place in the list of sources.
        source: usize,
        /// Why.
        why: BadPayload,
    },
    /// A sensor was not heard.
    Silent {
        /// Its place in the list of sources.
        source: usize,
        /// Whether a message stands at the broker: it may be of any age, and is no reading.
        kept: bool,
    },
}

/// Tries the broker, and listens for the sensors for at most `wait`. Findings come in the order in which they are made.
pub(crate) async fn run(config: &Config, wait: Duration, clock: &Clock, mut tell: impl FnMut(Finding)) {
    let address = config.broker.link.to_string();
    let options = match options(&config.broker, &format!("{}{SUFFIX}", config.broker.client_id)) {
        Ok(options) => options,
        Err(why) => return tell(Finding::NotConnected { address, why }),
    };
    let (client, eventloop) = AsyncClient::new(options, QUEUE);
    let mut trial = Trial::new(config, client, eventloop);
    match timeout(ANSWERS_WITHIN, trial.connect(clock)).await.unwrap_or(Err(Lost::Silent)) {
        Ok(()) => tell(Finding::Connected { address: address.clone() }),
        Err(why) => return tell(Finding::NotConnected { address, why }),
    }
    let listening = sleep(wait);
    tokio::pin!(listening);
    let answered = timeout(ANSWERS_WITHIN, trial.ask(clock, &mut tell)).await;
    let ended = match answered {
        Ok(ended) => ended,
        Err(_) => {
            tell(Finding::Unanswered { count: trial.unanswered() });
            Ok(())
        }
    };
    let ended = match ended {
        Ok(()) => tokio::select! {
            ended = trial.listen(clock, &mut tell) => ended,
            () = &mut listening => Ok(()),
        },
        Err(why) => Err(why),
    };
    if let Err(why) = ended {
        tell(Finding::NotConnected { address, why });
    }
    for source in trial.unheard.iter().copied() {
        tell(Finding::Silent { source, kept: trial.kept.contains(&source) });
    }
    // Good-bye; a broker that does not take it closes by itself.
    let _ = trial.client.try_disconnect();
    let _ = timeout(Duration::from_secs(2), async { while trial.eventloop.poll().await.is_ok() {} }).await;
}

struct Trial<'a> {
    config: &'a Config,
    client: AsyncClient,
    eventloop: EventLoop,
    connected: bool,
    /// Topics of test messages that wait to be sent.
    to_publish: Vec<String>,
    /// Topics of test messages in the client's queue, in its order.
    queued: Vec<String>,
    published: HashMap<u16, String>,
    taken: usize,
    /// Topics to listen to, and whether the broker has answered.
    filters: Vec<String>,
    subscribed: bool,
    /// Sources by topic.
    listeners: BTreeMap<String, Vec<usize>>,
    unheard: BTreeSet<usize>,
    kept: BTreeSet<usize>,
}

impl<'a> Trial<'a> {
    fn new(config: &'a Config, client: AsyncClient, eventloop: EventLoop) -> Self {
        let mut listeners = BTreeMap::<String, Vec<usize>>::new();
        for (source, binding) in config.bindings.iter().enumerate() {
            listeners.entry(binding.topic.as_str().to_owned()).or_default().push(source);
        }
        let settables = inputs::settable(&config.farm, &config.broker.domain).into_iter().map(|set| set.topic);
        Self {
            client,
            eventloop,
            connected: false,
            to_publish: test_topics(config),
            queued: Vec::new(),
            published: HashMap::new(),
            taken: 0,
            filters: listeners.keys().cloned().chain(settables).collect(),
            subscribed: false,
            unheard: (0..config.bindings.len()).collect(),
            kept: BTreeSet::new(),
            listeners,
            config,
        }
    }

    fn unanswered(&self) -> usize {
        let topics = if self.subscribed { 0 } else { self.filters.len() };
        topics + self.to_publish.len() + self.queued.len() + self.published.len()
    }

    async fn poll(&mut self, clock: &Clock) -> Result<Polled, Lost> {
        let polled = self.eventloop.poll().await;
        polled.map_err(|error| lost::meaning(error, &self.config.broker, self.connected, clock.now().trusted))
    }

    async fn connect(&mut self, clock: &Clock) -> Result<(), Lost> {
        loop {
            if let Polled::Incoming(Packet::ConnAck(answer)) = self.poll(clock).await? {
                connected_answer(&answer)?;
                self.connected = true;
                return Ok(());
            }
        }
    }

    /// Asks for everything, until everything is answered.
    async fn ask(&mut self, clock: &Clock, tell: &mut impl FnMut(Finding)) -> Result<(), Lost> {
        let filters = self.filters.iter().map(|topic| Filter::new(topic.clone(), QoS::AtLeastOnce));
        self.client.try_subscribe_many(filters).map_err(|_| Lost::OutOfStep)?;
        while self.unanswered() > 0 {
            while self.queued.len() + self.published.len() < WINDOW
                && let Some(topic) = self.to_publish.pop()
            {
                self.try_topic(topic)?;
            }
            let polled = self.poll(clock).await?;
            self.take(polled, tell)?;
        }
        Ok(())
    }

    /// Listens until every sensor was heard.
    async fn listen(&mut self, clock: &Clock, tell: &mut impl FnMut(Finding)) -> Result<(), Lost> {
        while !self.unheard.is_empty() {
            let polled = self.poll(clock).await?;
            self.take(polled, tell)?;
        }
        Ok(())
    }

    fn try_topic(&mut self, topic: String) -> Result<(), Lost> {
        let properties = PublishProperties { message_expiry_interval: Some(1), ..PublishProperties::default() };
        self.client
            .try_publish_with_properties(&topic, QoS::AtLeastOnce, false, "test of permissions", properties)
            .map_err(|_| Lost::OutOfStep)?;
        self.queued.insert(0, topic);
        Ok(())
    }

    fn take(&mut self, polled: Polled, tell: &mut impl FnMut(Finding)) -> Result<(), Lost> {
        match polled {
            Polled::Outgoing(Outgoing::Publish(number)) => {
                self.published.insert(number, self.queued.pop().ok_or(Lost::OutOfStep)?);
            }
            Polled::Incoming(Packet::PubAck(answer)) => {
                let topic = self.published.remove(&answer.pkid).ok_or(Lost::OutOfStep)?;
                match answer::publish_answer(answer.reason) {
                    Ok(()) => self.taken += 1,
                    Err(reason) => tell(Finding::PublishRefused { topic, reason }),
                }
                if self.to_publish.is_empty() && self.queued.is_empty() && self.published.is_empty() {
                    tell(Finding::Published { count: self.taken });
                }
            }
            Polled::Incoming(Packet::SubAck(answer)) => self.subscribed(&answer, tell),
            Polled::Incoming(Packet::Publish(publish)) => {
                let topic = String::from_utf8_lossy(&publish.topic).into_owned();
                for source in self.listeners.get(&topic).cloned().unwrap_or_default() {
                    if publish.retain {
                        self.kept.insert(source);
                    } else if self.unheard.remove(&source) {
                        tell(self.heard(source, &publish.payload));
                    }
                }
            }
            _ => {}
        }
        Ok(())
    }

    fn subscribed(&mut self, answer: &SubAck, tell: &mut impl FnMut(Finding)) {
        self.subscribed = true;
        let mut count = 0;
        for (topic, code) in self.filters.iter().zip(&answer.return_codes) {
            match answer::subscribe_answer(*code) {
                Ok(()) => count += 1,
                Err(reason) => tell(Finding::SubscribeRefused { topic: topic.clone(), reason }),
            }
        }
        tell(Finding::Subscribed { count });
    }

    fn heard(&self, source: usize, payload: &[u8]) -> Finding {
        let quantity = self.config.farm.sources[source].quantity;
        match decode(&self.config.bindings[source], quantity, payload) {
            Ok(Decoded { measured, .. }) => Finding::Heard { source, measured },
            Err(why) => Finding::Nonsense { source, why },
        }
    }
}

/// A topic beside the real ones in each node of each device, and one of each device's own log.
fn test_topics(config: &Config) -> Vec<String> {
    let mut topics = BTreeSet::new();
    for topic in description::topics(&config.farm, &config.broker.domain) {
        let Some((node, property)) = topic.rsplit_once('/') else { continue };
        let device = node.rsplit_once('/').map_or(node, |(device, _)| device);
        topics.insert(format!("{device}/$log/debug"));
        // A text on `$alert` would be shown to people.
        if !node.ends_with("/$alert") && !property.is_empty() {
            topics.insert(format!("{node}/{LEVEL}"));
        }
    }
    topics.into_iter().collect()
}
