//! The bridge's end at the broker: one task around the client, which listens to the sources and empties the outbox.
//!
//! The client's habits decide the shape. It never subscribes again by itself; awaiting a send in the task that polls
//! can block for ever; a flush on a dead link blocks the poll; packet numbers of a lost session haunt the next one;
//! refusals are logged but not handed out. So: one poll at a time, never cancelled but by its own time limit, sends that
//! never wait, packet numbers paired with what was sent, and a new client after every failure.

use std::{collections::BTreeSet, pin::Pin, sync::Arc, time::Duration};

use rumqttc::{
    NetworkOptions, Outgoing,
    v5::{
        AsyncClient, Event as Polled, MqttOptions,
        mqttbytes::{
            QoS,
            v5::{ConnAck, LastWill, LastWillProperties, Packet, PubAck, SubAck},
        },
    },
};
use tokio::{
    sync::{mpsc, watch},
    time::{Sleep, sleep, timeout},
};

use super::{backoff::Backoff, clock::Clock, secret};
use crate::{
    config::{Broker, Config, Link},
    engine::{Event, Snapshot},
    model::Farm,
    wire::{description, lifecycle::Phase, outbox::Outbox, topic::Binding, tree},
};

mod answer;
mod inbox;
mod link;
pub(crate) mod listen;
mod lost;
mod session;
pub(crate) mod trial;

use answer::{publish_answer, subscribe_answer};
use inbox::Inbox;
use lost::Lost;
use session::Session;

/// The link is asked for life this often; two unanswered pings end it.
const KEEP_ALIVE: Duration = Duration::from_secs(20);
/// A healthy poll returns at each ping. A flush on a half-open link never returns.
const POLL_LIMIT: Duration = Duration::from_secs(50);
/// The broker waits this long before it says that the daemon is lost, so that a quick reconnect goes unnoticed.
const WILL_DELAY_SECONDS: u32 = 15;
/// At least the will's delay: the standard lets the session's end cut the delay short.
const SESSION_EXPIRY_SECONDS: u32 = 30;
/// Messages unanswered at most, below the 20 that Mosquitto allows: subscriptions share the packet numbers.
const WINDOW: usize = 16;
/// Size of the client's tables. Its default takes 14 MB.
const IN_FLIGHT_LIMIT: u16 = 64;
/// Largest packet that the broker may send. Far more than is read, so that whoever sends too much is named; what is
/// larger still, a broker keeps back.
const LARGEST_PACKET: u32 = 1024 * 1024;
/// The client's queue: more than the window, so that a send never finds it full.
const QUEUE: usize = 64;
/// Snapshots are rendered at most this often.
const RENDER_PAUSE: Duration = Duration::from_millis(200);
/// So many connections in a row that did not live until their first ping was answered are a fight, not a fault: two
/// clients with one identifier put each other out, and most brokers do not say so.
const FLAPS: u32 = 3;
/// How long the last words may take.
const DRAIN: Duration = Duration::from_secs(5);
/// First and longest wait between connections.
const WAITS: (Duration, Duration) = (Duration::from_millis(500), Duration::from_secs(30));

/// What the task needs to know from configuration.
#[derive(Debug, Clone)]
pub struct MqttSetup {
    broker: Broker,
    farm: Arc<Farm>,
    bindings: Vec<Binding>,
    left_behind: Vec<String>,
}

impl MqttSetup {
    /// From a checked configuration; `left_behind` are topics of an earlier run, to be cleared at the broker.
    pub fn new(config: &Config, left_behind: &BTreeSet<String>) -> Self {
        Self {
            broker: config.broker.clone(),
            farm: Arc::new(config.farm.clone()),
            bindings: config.bindings.clone(),
            left_behind: left_behind.iter().cloned().collect(),
        }
    }
}

/// How a connection ended.
enum End {
    Stopped,
    Lost(Lost),
}

/// Keeps the farm connected until `shutdown` resolves, then says good-bye.
///
/// Readings and the link's state go to `events`, never waiting: what finds the queue full is lost and counted.
pub async fn run(
    setup: MqttSetup,
    mut snapshots: watch::Receiver<Arc<Snapshot>>,
    events: mpsc::Sender<Event>,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) {
    let mut bridge = Bridge::new(setup, events, clock);
    let mut backoff = Backoff::new(WAITS.0, WAITS.1);
    let mut last_trouble = None;
    tokio::pin!(shutdown);
    loop {
        let end = bridge.connection(&mut snapshots, shutdown.as_mut()).await;
        bridge.link_is(false);
        let lost = match end {
            End::Stopped => break,
            End::Lost(_) if bridge.flaps >= FLAPS => Lost::Flapping(bridge.broker.client_id.clone()),
            End::Lost(lost) => lost,
        };
        // A connection proves itself by a ping's answer, not by being made.
        if bridge.proven {
            backoff.succeeded();
            last_trouble = None;
        }
        if lost.asks_for_patience() {
            backoff.be_patient();
        }
        // One line for one trouble, however often it repeats.
        let trouble = lost.to_string();
        if last_trouble.as_ref() != Some(&trouble) {
            tracing::warn!("No connection to the broker {}: {trouble}. Trying again.", bridge.address());
            last_trouble = Some(trouble);
        }
        tokio::select! {
            () = bridge.wait(backoff.failed()) => {}
            () = shutdown.as_mut() => break,
        }
    }
    bridge.inbox.report_overflow();
}

/// What outlives a connection.
struct Bridge {
    broker: Broker,
    clock: Clock,
    farm: Arc<Farm>,
    outbox: Outbox,
    renderer: tree::Renderer,
    inbox: Inbox,
    /// The last refusal of a setting that was answered.
    answered: u64,
    /// Whether the present or last connection has seen a ping answered.
    proven: bool,
    /// Connections in a row that were made and not proven.
    flaps: u32,
    /// Topics whose refusal is in the log.
    refusals: Vec<String>,
}

type Pause = Option<Pin<Box<Sleep>>>;

impl Bridge {
    fn new(setup: MqttSetup, events: mpsc::Sender<Event>, clock: Clock) -> Self {
        let inbox = Inbox::new(&setup, events);
        let domain = &setup.broker.domain;
        let devices = description::devices(&setup.farm, domain);
        let topics = description::topics(&setup.farm, domain).into_iter().chain(setup.left_behind);
        let outbox = Outbox::new(devices, topics, clock.speed());
        Self {
            broker: setup.broker,
            clock,
            farm: setup.farm,
            outbox,
            renderer: tree::Renderer::default(),
            inbox,
            answered: 0,
            proven: false,
            flaps: 0,
            refusals: Vec::new(),
        }
    }

    fn address(&self) -> String {
        self.broker.link.to_string()
    }

    fn elapsed(&self) -> Duration {
        self.clock.now().elapsed
    }

    /// The client's options, with the last will.
    fn options(&self) -> Result<MqttOptions, Lost> {
        let state = format!("{}/$state", description::device_topic(&self.farm, &self.broker.domain, None));
        let will = LastWillProperties {
            delay_interval: Some(WILL_DELAY_SECONDS),
            payload_format_indicator: Some(1),
            message_expiry_interval: None,
            content_type: None,
            response_topic: None,
            correlation_data: None,
            user_properties: Vec::new(),
        };
        let mut options = options(&self.broker, &self.broker.client_id)?;
        options.set_session_expiry_interval(Some(SESSION_EXPIRY_SECONDS)).set_last_will(LastWill::new(
            state,
            "lost",
            QoS::AtLeastOnce,
            true,
            Some(will),
        ));
        Ok(options)
    }

    /// Lives through one connection.
    async fn connection(
        &mut self,
        snapshots: &mut watch::Receiver<Arc<Snapshot>>,
        mut shutdown: Pin<&mut impl Future<Output = ()>>,
    ) -> End {
        self.proven = false;
        let options = match self.options() {
            Ok(options) => options,
            Err(lost) => return End::Lost(lost),
        };
        let (client, mut eventloop) = AsyncClient::new(options, QUEUE);
        let mut session = Session::new(client);
        let (mut pause, mut farewell): (Pause, Pause) = (None, None);
        let end = 'connection: loop {
            let poll = timeout(POLL_LIMIT, eventloop.poll());
            tokio::pin!(poll);
            // The poll is never dropped half-way: a connection attempt would start again, and bytes would be lost.
            let polled = loop {
                let deadline = self.outbox.next_deadline();
                tokio::select! {
                    polled = &mut poll => break polled,
                    changed = snapshots.changed(), if pause.is_none() && farewell.is_none() && session.connected => {
                        if changed.is_ok() {
                            self.render(snapshots);
                        }
                        // A closed channel says so at once and for ever: the pause keeps that from spinning.
                        pause = Some(Box::pin(sleep(self.render_pause())));
                    }
                    () = elapsed(&mut pause) => pause = None,
                    () = self.clock.sleep_until(deadline.unwrap_or_default()), if deadline.is_some() => {}
                    () = elapsed(&mut farewell) => break 'connection End::Stopped,
                    () = shutdown.as_mut(), if farewell.is_none() => {
                        if !session.connected {
                            break 'connection End::Stopped;
                        }
                        farewell = Some(Box::pin(sleep(DRAIN)));
                        self.withdraw(snapshots);
                    }
                }
                if let Err(lost) = self.pump(&mut session) {
                    break 'connection End::Lost(lost);
                }
                if self.outbox.phase() == Phase::Gone {
                    break 'connection End::Stopped;
                }
            };
            let handled = match polled {
                Err(_) => Err(Lost::Stuck),
                Ok(Err(error)) => Err(lost::meaning(error, &self.broker, session.connected, self.clock.now().trusted)),
                Ok(Ok(event)) => self.handle(&mut session, event, snapshots),
            };
            match handled.and_then(|again| if again { self.pump(&mut session) } else { Ok(()) }) {
                Ok(()) if self.outbox.phase() == Phase::Gone => break End::Stopped,
                Ok(()) => {}
                // Whatever went wrong after the daemon was told to stop, there is nothing left to try.
                Err(_) if farewell.is_some() => break End::Stopped,
                Err(lost) => break End::Lost(lost),
            }
        };
        if self.outbox.phase() == Phase::Gone {
            hang_up(&session.client, &mut eventloop).await;
        }
        end
    }

    /// Takes in what the client polled. Returns whether there may be something to send now.
    fn handle(
        &mut self,
        session: &mut Session,
        event: Polled,
        snapshots: &mut watch::Receiver<Arc<Snapshot>>,
    ) -> Result<bool, Lost> {
        self.inbox.tell_link();
        match event {
            Polled::Incoming(Packet::Publish(publish)) => {
                self.inbox.hear(&publish);
                Ok(false)
            }
            Polled::Incoming(Packet::ConnAck(answer)) => self.connected(session, &answer, snapshots).map(|()| true),
            Polled::Incoming(Packet::PubAck(answer)) => self.acknowledged(session, &answer).map(|()| true),
            Polled::Incoming(Packet::SubAck(answer)) => {
                self.subscribed(session, &answer);
                Ok(false)
            }
            Polled::Outgoing(outgoing) => session.sent(&outgoing, self.outbox.in_flight()).map(|()| false),
            Polled::Incoming(Packet::PingResp(_)) => {
                (self.proven, self.flaps) = (true, 0);
                Ok(false)
            }
            Polled::Incoming(_) => Ok(false),
        }
    }

    fn connected(
        &mut self,
        session: &mut Session,
        answer: &ConnAck,
        snapshots: &mut watch::Receiver<Arc<Snapshot>>,
    ) -> Result<(), Lost> {
        connected_answer(answer)?;
        let properties = answer.properties.as_ref();
        let allowed = properties.and_then(|properties| properties.receive_max).map_or(WINDOW, usize::from);
        session.connected = true;
        session.subscribe(self.inbox.topics().collect())?;
        self.render(snapshots);
        self.outbox.connected(WINDOW.min(allowed.saturating_sub(1)), self.elapsed());
        self.link_is(true);
        if self.flaps < FLAPS {
            tracing::info!("Connected to the broker {}.", self.address());
        }
        self.flaps += 1;
        Ok(())
    }

    fn acknowledged(&mut self, session: &mut Session, answer: &PubAck) -> Result<(), Lost> {
        session.silent_pings = 0;
        let ticket = session.tickets.remove(&answer.pkid).ok_or(Lost::OutOfStep)?;
        if let Some(refused) = self.outbox.answered(ticket, publish_answer(answer.reason), self.elapsed()) {
            self.report_refusal("publish", &refused.topic, refused.reason);
        }
        Ok(())
    }

    fn subscribed(&mut self, session: &mut Session, answer: &SubAck) {
        let topics = session.subscriptions.remove(&answer.pkid).unwrap_or_default();
        for (topic, code) in topics.iter().zip(&answer.return_codes) {
            if let Err(reason) = subscribe_answer(*code) {
                self.report_refusal("subscribe to", topic, reason);
            }
        }
    }

    fn report_refusal(&mut self, what: &str, topic: &str, reason: &str) {
        if !self.refusals.iter().any(|known| known == topic) {
            tracing::warn!("The broker does not let this client {what} `{topic}`: {reason}.");
            self.refusals.push(topic.to_owned());
        }
    }

    fn link_is(&mut self, up: bool) {
        if !up {
            self.outbox.disconnected();
        }
        self.inbox.link_is(up);
    }

    /// Waits before the next attempt; the engine is told of the loss as soon as it listens. A clock that has been set
    /// in the meantime ends the wait: certificates that were not valid yet may be now.
    async fn wait(&mut self, whole: Duration) {
        let part = whole / 8;
        let trusted = self.clock.now().trusted;
        for _ in 0..8 {
            self.inbox.tell_link();
            sleep(part).await;
            if !trusted && self.clock.now().trusted {
                return;
            }
        }
    }

    fn render(&mut self, snapshots: &mut watch::Receiver<Arc<Snapshot>>) {
        let snapshot = Arc::clone(&snapshots.borrow_and_update());
        let tree = self.renderer.render(&snapshot, &self.broker.domain);
        self.outbox.update(tree, self.elapsed());
        for refused in snapshot.site.inputs.answers.iter().filter(|refused| refused.number > self.answered) {
            let room = refused.room.and_then(|index| self.farm.rooms.get(index));
            let device = description::device_topic(&self.farm, &self.broker.domain, room);
            self.outbox.remark(format!("{device}/$log/warn"), refused.sentence.clone());
        }
        self.answered = snapshot.site.inputs.answers.last().map_or(self.answered, |last| last.number);
    }

    /// Real time between two renderings: a scenario's values must not age while they wait.
    fn render_pause(&self) -> Duration {
        RENDER_PAUSE.div_f64(self.clock.speed().clamp(1.0, 20.0))
    }

    /// The daemon stops: the last tree, in which all advice is withheld.
    fn withdraw(&mut self, snapshots: &mut watch::Receiver<Arc<Snapshot>>) {
        let snapshot = Arc::clone(&snapshots.borrow_and_update());
        let now = self.clock.now();
        let tree = self.renderer.render_last(&snapshot, &self.broker.domain, &now);
        self.outbox.update(tree, now.elapsed);
        self.outbox.stop();
    }

    /// Hands the client whatever may be sent now.
    fn pump(&mut self, session: &mut Session) -> Result<(), Lost> {
        while let Some(message) = self.outbox.next(self.elapsed()) {
            session.publish(message)?;
        }
        Ok(())
    }
}

/// What is the same for every client of ours; the password is read anew, so that a changed file counts at the next
/// connection.
fn options(broker: &Broker, client_id: &str) -> Result<MqttOptions, Lost> {
    let (address, port) = match &broker.link {
        Link::Tcp { host, port } | Link::Tls { host, port, .. } => (host.clone(), *port),
        // The client takes the path for an address, and needs no port.
        Link::Socket(path) => (path.display().to_string(), 0),
    };
    let mut options = MqttOptions::new(client_id, address, port);
    let mut network = NetworkOptions::new();
    // Without this a message and its acknowledgement wait for each other, 88 ms instead of 0.1 ms.
    network.set_tcp_nodelay(true);
    options
        .set_transport(link::transport(&broker.link)?)
        .set_network_options(network)
        .set_keep_alive(KEEP_ALIVE)
        .set_clean_start(true)
        .set_max_packet_size(Some(LARGEST_PACKET))
        .set_outgoing_inflight_upper_limit(IN_FLIGHT_LIMIT);
    if let Some(user) = &broker.user {
        let password = match &broker.password {
            None => String::new(),
            Some(secret) => String::from_utf8(secret::read("broker.password", secret)?)
                .map_err(|_| Lost::PasswordNotText(secret.clone()))?
                .trim_end_matches(['\r', '\n'])
                .to_owned(),
        };
        options.set_credentials(user, password);
    }
    Ok(options)
}

/// Whether the broker offers what is needed.
fn connected_answer(answer: &ConnAck) -> Result<(), Lost> {
    let properties = answer.properties.as_ref();
    if properties.and_then(|properties| properties.retain_available) == Some(0) {
        Err(Lost::NoRetain)
    } else if properties.and_then(|properties| properties.max_qos) == Some(0) {
        Err(Lost::NoAcknowledgement)
    } else {
        Ok(())
    }
}

/// Says good-bye, so that the broker drops the will. The packet has to be polled out.
async fn hang_up(client: &AsyncClient, eventloop: &mut rumqttc::v5::EventLoop) {
    if client.try_disconnect().is_err() {
        return;
    }
    let gone = async {
        while let Ok(event) = eventloop.poll().await {
            if matches!(event, Polled::Outgoing(Outgoing::Disconnect)) {
                return;
            }
        }
    };
    if timeout(DRAIN, gone).await.is_err() {
        tracing::warn!("The broker did not take the good-bye in time: it will call the daemon lost.");
    }
}

/// Resolves when the pause is over; never without one.
async fn elapsed(pause: &mut Pause) {
    match pause {
        Some(pause) => pause.as_mut().await,
        None => std::future::pending().await,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_ends_early_when_the_clock_is_set_and_not_before() {
        let config = crate::config::parse(include_str!("../../examples/one-room.yaml"), "one-room.yaml").unwrap();
        let clock = Clock::machine();
        let present = clock.now().wall;
        clock.not_before(present + jiff::SignedDuration::from_hours(48));
        assert!(!clock.now().trusted);
        let (events, _heard) = mpsc::channel(1);
        let mut bridge = Bridge::new(MqttSetup::new(&config, &BTreeSet::new()), events, clock.clone());
        let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build().unwrap();
        let whole = Duration::from_secs(80);
        runtime.block_on(async {
            assert!(timeout(Duration::from_secs(1), bridge.wait(whole / 16)).await.is_err(), "it did not wait");
            clock.compare(present);
            assert!(clock.now().trusted);
        });
        clock.not_before(present + jiff::SignedDuration::from_hours(48));
        let ended = runtime.block_on(async {
            let set = async {
                sleep(Duration::from_millis(200)).await;
                clock.compare(present);
            };
            timeout(Duration::from_secs(5), async { tokio::join!(bridge.wait(whole / 10), set) }).await
        });
        assert!(ended.is_ok(), "the wait of 8 s went on after the clock was set");
    }
}
