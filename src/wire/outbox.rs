//! What still has to be said to the broker: the difference between the tree and what the broker has acknowledged.
//!
//! Change detection, refreshing, clearing, expiry and the new start after a reconnect all follow from that one
//! difference. The outbox knows no client and no clock: it is asked for the next message, and told what became of it.

use std::{
    collections::{BTreeMap, VecDeque},
    sync::Arc,
    time::Duration,
};

use super::{
    lifecycle::{Device, Lifecycle, Phase, Step},
    tree::{Entry, Tree},
};

/// An expiring value is said again after this, changed or not, so that listeners see that it still holds.
const REFRESH: Duration = Duration::from_secs(240);

/// Remarks that may wait. More is a flood, and nobody reads it.
const REMARKS: usize = 16;

/// Two ends of life that differ by less are the same: one is computed from the calendar and jitters.
const SLACK: Duration = Duration::from_secs(1);

/// A message to publish, at least once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// Hand this back with the answer.
    pub ticket: u64,
    /// Its topic.
    pub topic: Arc<str>,
    /// Its payload; empty to clear the topic.
    pub payload: String,
    /// Expiry in real seconds, if it expires.
    pub expiry: Option<u32>,
    /// Whether the payload is JSON.
    pub json: bool,
    /// Whether the broker is to keep it.
    pub retain: bool,
}

/// A topic that the broker would not take.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Which.
    pub topic: Arc<str>,
    /// Why, in the broker's word.
    pub reason: &'static str,
}

/// What the broker is known to hold on a topic.
#[derive(Debug)]
enum Held {
    /// Not known: not yet acknowledged in this connection.
    Unknown,
    /// Nothing.
    Nothing,
    /// A value.
    Value(Sent),
    /// Whatever it likes: it refused to be told. Not tried again in this connection.
    Refused(&'static str),
}

/// A value and its fate at the broker.
#[derive(Debug, Clone)]
struct Sent {
    entry: Arc<Entry>,
    at: Duration,
}

#[derive(Debug)]
struct Slot {
    wanted: Option<Arc<Entry>>,
    held: Held,
    in_flight: bool,
    queued: bool,
}

/// What a ticket stands for.
#[derive(Debug)]
enum Flight {
    Step(Arc<str>),
    Value(Arc<str>, Option<Sent>),
    Remark(Arc<str>),
}

/// The state machine.
#[derive(Debug)]
pub struct Outbox {
    lifecycle: Lifecycle,
    slots: BTreeMap<Arc<str>, Slot>,
    queue: VecDeque<Arc<str>>,
    /// Topic and text of what is said once and not kept.
    remarks: VecDeque<(Arc<str>, String)>,
    flights: BTreeMap<u64, Flight>,
    last_ticket: u64,
    window: usize,
    speed: f64,
    /// Slots whose [`Held`] is unknown.
    unknown: usize,
    /// When a slot that is quiet now has to be looked at again.
    deadline: Option<Duration>,
}

impl Slot {
    fn new() -> Self {
        Self { wanted: None, held: Held::Unknown, in_flight: false, queued: false }
    }

    /// What should stand at the broker at `now`.
    fn live(&self, now: Duration) -> Option<&Arc<Entry>> {
        self.wanted.as_ref().filter(|entry| entry.lives_until.is_none_or(|until| until > now))
    }

    /// When something has to be sent for it, if nothing changes until then; `now` or earlier: at once.
    fn due(&self, now: Duration) -> Option<Duration> {
        match (self.live(now), &self.held) {
            (_, Held::Refused(_)) | (None, Held::Nothing) => None,
            (None, Held::Unknown | Held::Value(_)) | (Some(_), Held::Unknown | Held::Nothing) => Some(now),
            (Some(entry), Held::Value(sent)) => {
                let until = sent.entry.lives_until;
                let outlives = |a: Option<Duration>, b: Option<Duration>| match (a, b) {
                    (None, Some(_)) => true,
                    (Some(a), Some(b)) => a > b.saturating_add(SLACK),
                    (_, None) => false,
                };
                if !entry.says_the_same_as(&sent.entry) || outlives(until, entry.lives_until) {
                    return Some(now);
                }
                let until = until?;
                let steady = sent.at.saturating_add(REFRESH);
                let refresh = if outlives(entry.lives_until, Some(until)) {
                    steady.min(sent.at.saturating_add(until.saturating_sub(sent.at) / 2))
                } else {
                    steady
                };
                Some(entry.lives_until.map_or(refresh, |lapses| lapses.min(refresh)))
            }
        }
    }
}

impl Outbox {
    /// For `devices` (children before their parent) whose values can stand on `topics`. At each connection every one
    /// of these is set or cleared, whatever an earlier run left there. `speed`: seconds of the engine's time in one of
    /// the broker's.
    pub fn new(devices: Vec<Device>, topics: impl IntoIterator<Item = String>, speed: f64) -> Self {
        let slots: BTreeMap<Arc<str>, Slot> = topics.into_iter().map(|topic| (Arc::from(topic), Slot::new())).collect();
        Self {
            lifecycle: Lifecycle::new(devices),
            unknown: slots.len(),
            slots,
            queue: VecDeque::new(),
            remarks: VecDeque::new(),
            flights: BTreeMap::new(),
            last_ticket: 0,
            window: 0,
            speed,
            deadline: None,
        }
    }

    /// Where the devices are in their life.
    pub const fn phase(&self) -> Phase {
        self.lifecycle.phase()
    }

    /// Messages sent and not yet answered.
    pub fn in_flight(&self) -> usize {
        self.flights.len()
    }

    /// Topics that the broker refused in this connection, with its word.
    pub fn refused(&self) -> impl Iterator<Item = (&str, &'static str)> {
        self.slots.iter().filter_map(|(topic, slot)| match slot.held {
            Held::Refused(reason) => Some((&**topic, reason)),
            _ => None,
        })
    }

    /// A connection came up: everything is to be said again, with at most `window` messages unanswered.
    pub fn connected(&mut self, window: usize, now: Duration) {
        self.forget();
        self.window = window.max(1);
        self.lifecycle.connected();
        self.scan(now);
    }

    /// The connection was lost.
    pub fn disconnected(&mut self) {
        self.forget();
        self.window = 0;
        self.lifecycle.disconnected();
    }

    /// The last tree was handed in: after its values, the devices say good-bye.
    pub fn stop(&mut self) {
        self.lifecycle.stop();
    }

    /// A newer tree. What it no longer holds will be cleared.
    pub fn update(&mut self, mut tree: Tree, now: Duration) {
        for (topic, slot) in &mut self.slots {
            slot.wanted = tree.remove(&**topic).map(Arc::new);
        }
        for (topic, entry) in tree {
            self.slots.insert(topic.into(), Slot { wanted: Some(Arc::new(entry)), ..Slot::new() });
            self.unknown += 1;
        }
        self.scan(now);
    }

    /// The next message to send, if there is one and the window is open.
    pub fn next(&mut self, now: Duration) -> Option<Message> {
        if self.flights.len() >= self.window {
            return None;
        }
        if self.deadline.is_some_and(|deadline| deadline <= now) {
            self.scan(now);
        }
        self.lifecycle.advance(self.unknown == 0, self.queue.is_empty() && self.flights.is_empty());
        if let Some(step) = self.lifecycle.next_step() {
            let ticket = self.ticket(Flight::Step(step.topic.clone()));
            let Step { topic, payload, json } = step;
            return Some(Message { ticket, topic, payload, expiry: None, json, retain: true });
        }
        if !self.lifecycle.values_may_go() {
            return None;
        }
        while let Some(topic) = self.queue.pop_front() {
            let Some(slot) = self.slots.get_mut(&topic) else { continue };
            slot.queued = false;
            if slot.in_flight || slot.due(now).is_none_or(|due| due > now) {
                continue;
            }
            slot.in_flight = true;
            let sent = slot.live(now).map(|entry| Sent { entry: Arc::clone(entry), at: now });
            let message = Message {
                ticket: 0,
                topic: Arc::clone(&topic),
                payload: sent.as_ref().map_or_else(String::new, |sent| sent.entry.payload.clone()),
                expiry: sent.as_ref().and_then(|sent| sent.entry.lives_until).map(|until| self.expiry(until, now)),
                json: sent.as_ref().is_some_and(|sent| sent.entry.json),
                retain: true,
            };
            let ticket = self.ticket(Flight::Value(topic, sent));
            return Some(Message { ticket, ..message });
        }
        let (topic, payload) = self.remarks.pop_front()?;
        let ticket = self.ticket(Flight::Remark(Arc::clone(&topic)));
        Some(Message { ticket, topic, payload, expiry: None, json: false, retain: false })
    }

    /// Says something once that the broker does not keep: after the values that wait, in this connection or never.
    pub fn remark(&mut self, topic: String, payload: String) {
        if self.phase() != Phase::Down && self.remarks.len() < REMARKS {
            self.remarks.push_back((topic.into(), payload));
        }
    }

    /// What became of a message: taken, or refused with the broker's word. An unknown ticket belongs to a connection
    /// that is gone, and says nothing.
    pub fn answered(&mut self, ticket: u64, answer: Result<(), &'static str>, now: Duration) -> Option<Refused> {
        let flight = self.flights.remove(&ticket)?;
        let refused = |topic: &Arc<str>| answer.err().map(|reason| Refused { topic: Arc::clone(topic), reason });
        let report = match flight {
            Flight::Step(topic) => {
                self.lifecycle.answered();
                refused(&topic)
            }
            Flight::Remark(topic) => refused(&topic),
            Flight::Value(topic, sent) => {
                if let Some(slot) = self.slots.get_mut(&topic) {
                    slot.in_flight = false;
                    self.unknown -= usize::from(matches!(slot.held, Held::Unknown));
                    slot.held = match (answer, sent) {
                        (Err(reason), _) => Held::Refused(reason),
                        (Ok(()), Some(sent)) => Held::Value(sent),
                        (Ok(()), None) => Held::Nothing,
                    };
                }
                self.look_at(&topic, now);
                refused(&topic)
            }
        };
        self.lifecycle.advance(self.unknown == 0, self.queue.is_empty() && self.flights.is_empty());
        report
    }

    /// When [`Self::next`] may have something that it does not have now, if nothing else happens.
    pub fn next_deadline(&self) -> Option<Duration> {
        if self.lifecycle.values_may_go() && self.flights.len() < self.window { self.deadline } else { None }
    }

    /// Broker's seconds from `now` until `until`, at least one: zero would not expire late but at once.
    fn expiry(&self, until: Duration, now: Duration) -> u32 {
        let seconds = until.saturating_sub(now).as_secs_f64() / self.speed;
        // A float cast saturates, and `max` replaces a NaN.
        seconds.max(1.0) as u32
    }

    fn ticket(&mut self, flight: Flight) -> u64 {
        self.last_ticket += 1;
        self.flights.insert(self.last_ticket, flight);
        self.last_ticket
    }

    fn forget(&mut self) {
        self.flights.clear();
        self.queue.clear();
        self.remarks.clear();
        self.unknown = self.slots.len();
        for slot in self.slots.values_mut() {
            slot.held = Held::Unknown;
            slot.in_flight = false;
            slot.queued = false;
        }
    }

    /// Queues every slot that is due, and finds the next deadline.
    fn scan(&mut self, now: Duration) {
        self.deadline = None;
        for (topic, slot) in &mut self.slots {
            enqueue(topic, slot, now, &mut self.queue, &mut self.deadline);
        }
    }

    fn look_at(&mut self, topic: &Arc<str>, now: Duration) {
        if let Some(slot) = self.slots.get_mut(topic) {
            enqueue(topic, slot, now, &mut self.queue, &mut self.deadline);
        }
    }
}

fn enqueue(
    topic: &Arc<str>,
    slot: &mut Slot,
    now: Duration,
    queue: &mut VecDeque<Arc<str>>,
    deadline: &mut Option<Duration>,
) {
    if slot.in_flight || slot.queued {
        return;
    }
    match slot.due(now) {
        Some(due) if due <= now => {
            slot.queued = true;
            queue.push_back(Arc::clone(topic));
        }
        Some(due) => *deadline = Some(deadline.map_or(due, |earlier| earlier.min(due))),
        None => {}
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const SECOND: Duration = Duration::from_secs(1);
    const ROOT: &str = "homie/5/frosthollow";
    const CHILD: &str = "homie/5/frosthollow-lung";

    fn devices() -> Vec<Device> {
        [CHILD, ROOT].map(|topic| Device { topic: topic.to_owned(), description: format!("{{\"{topic}\":1}}") }).into()
    }

    fn outbox(topics: &[&str]) -> Outbox {
        Outbox::new(devices(), topics.iter().map(|&topic| topic.to_owned()), 1.0)
    }

    fn tree(entries: &[(&str, &str, Option<u64>)]) -> Tree {
        entries
            .iter()
            .map(|&(topic, payload, until)| (topic.to_owned(), Entry::text(payload, until.map(Duration::from_secs))))
            .collect()
    }

    /// Sends and acknowledges until nothing is left; what was sent, in order.
    fn drain(outbox: &mut Outbox, now: u64) -> Vec<Message> {
        let now = Duration::from_secs(now);
        let mut sent = Vec::new();
        while let Some(message) = outbox.next(now) {
            assert!(outbox.answered(message.ticket, Ok(()), now).is_none());
            sent.push(message);
            assert!(sent.len() < 10_000, "the outbox never comes to rest");
        }
        sent
    }

    fn said(messages: &[Message]) -> Vec<(&str, &str)> {
        messages.iter().map(|message| (&*message.topic, message.payload.as_str())).collect()
    }

    #[test]
    fn devices_say_init_then_describe_themselves_then_fill_their_values_then_say_ready() {
        let mut outbox = outbox(&["t/old"]);
        outbox.update(tree(&[("t/a", "1", None)]), SECOND);
        assert_eq!(outbox.next(SECOND), None, "something was sent without a connection");
        outbox.connected(20, SECOND);
        assert_eq!(
            said(&drain(&mut outbox, 1)),
            [
                ("homie/5/frosthollow-lung/$state", "init"),
                ("homie/5/frosthollow-lung/$description", "{\"homie/5/frosthollow-lung\":1}"),
                ("homie/5/frosthollow/$state", "init"),
                ("homie/5/frosthollow/$description", "{\"homie/5/frosthollow\":1}"),
                ("t/a", "1"),
                ("t/old", ""),
                ("homie/5/frosthollow-lung/$state", "ready"),
                ("homie/5/frosthollow/$state", "ready"),
            ]
        );
        assert_eq!(outbox.phase(), Phase::Live);
    }

    #[test]
    fn no_device_is_ready_while_a_value_is_unacknowledged() {
        let mut outbox = outbox(&[]);
        outbox.update(tree(&[("t/a", "1", None), ("t/b", "2", None)]), SECOND);
        outbox.connected(20, SECOND);
        let mut held_back = None;
        while let Some(message) = outbox.next(SECOND) {
            assert_ne!(message.payload, "ready");
            if &*message.topic == "t/a" {
                held_back = Some(message.ticket);
            } else {
                outbox.answered(message.ticket, Ok(()), SECOND);
            }
        }
        outbox.answered(held_back.unwrap(), Ok(()), SECOND);
        assert_eq!(outbox.next(SECOND).unwrap().payload, "ready");
    }

    #[test]
    fn a_stop_sends_the_last_values_and_then_says_disconnected_children_first() {
        let mut outbox = outbox(&[]);
        outbox.update(tree(&[("t/mode", "active", Some(600)), ("t/air", "6", Some(600))]), SECOND);
        outbox.connected(20, SECOND);
        drain(&mut outbox, 1);
        outbox.update(tree(&[("t/mode", "withheld", Some(600))]), 2 * SECOND);
        outbox.stop();
        assert_eq!(
            said(&drain(&mut outbox, 2)),
            [
                ("t/air", ""),
                ("t/mode", "withheld"),
                ("homie/5/frosthollow-lung/$state", "disconnected"),
                ("homie/5/frosthollow/$state", "disconnected"),
            ]
        );
        assert_eq!(outbox.phase(), Phase::Gone);
    }

    #[test]
    fn an_unchanged_value_is_said_again_within_four_minutes_and_before_it_expires() {
        let mut outbox = outbox(&[]);
        outbox.update(
            tree(&[("t/long", "1", Some(10_000)), ("t/short", "2", Some(61)), ("t/for-ever", "3", None)]),
            SECOND,
        );
        outbox.connected(20, SECOND);
        drain(&mut outbox, 1);
        // Readings go on arriving: the life of both is extended, their payload stays.
        let mut times = BTreeMap::<String, Vec<u64>>::new();
        for now in 2..=600 {
            let at = Duration::from_secs(now);
            outbox.update(
                tree(&[("t/long", "1", Some(10_000)), ("t/short", "2", Some(now + 60)), ("t/for-ever", "3", None)]),
                at,
            );
            for message in drain(&mut outbox, now) {
                times.entry(message.topic.to_string()).or_default().push(now);
            }
        }
        assert_eq!(times["t/long"], [241, 481]);
        assert_eq!(times["t/short"][..3], [31, 61, 91]);
        assert!(!times.contains_key("t/for-ever"), "what never expires was repeated");
    }

    #[test]
    fn a_value_that_outlives_its_sensor_is_cleared_without_a_new_tree() {
        let mut outbox = outbox(&[]);
        outbox.update(tree(&[("t/a", "1", Some(61))]), SECOND);
        outbox.connected(20, SECOND);
        let sent = drain(&mut outbox, 1);
        assert_eq!(sent.iter().find(|message| &*message.topic == "t/a").unwrap().expiry, Some(60));
        assert_eq!(outbox.next_deadline(), Some(61 * SECOND));
        assert!(drain(&mut outbox, 60).is_empty());
        assert_eq!(said(&drain(&mut outbox, 61)), [("t/a", "")]);
        assert_eq!(outbox.next_deadline(), None);
    }

    #[test]
    fn expiry_is_what_is_left_when_the_message_leaves_in_the_brokers_seconds() {
        for (speed, until, now, expiry) in
            [(1.0, 600, 1, 599), (60.0, 601, 1, 10), (3_600.0, 601, 1, 1), (1.0, 2, 1, 1)]
        {
            let mut outbox = Outbox::new(Vec::new(), [], speed);
            outbox.update(tree(&[("t/a", "1", Some(until))]), Duration::ZERO);
            outbox.connected(20, Duration::ZERO);
            let message = outbox.next(Duration::from_secs(now)).unwrap();
            assert_eq!(message.expiry, Some(expiry), "speed {speed}");
        }
    }

    #[test]
    fn a_decision_whose_validity_alone_moves_is_not_sent_in_every_turn() {
        let mut outbox = outbox(&[]);
        let decision = |until: u64| {
            let entry = Entry {
                essence: Some("6 /h".to_owned()),
                ..Entry::text(format!("6 /h until {until}"), Some(Duration::from_secs(until)))
            };
            Tree::from([("t/decision".to_owned(), entry)])
        };
        outbox.update(decision(601), SECOND);
        outbox.connected(20, SECOND);
        drain(&mut outbox, 1);
        let times: Vec<u64> = (2..=500)
            .filter(|&now| {
                outbox.update(decision(now + 600), Duration::from_secs(now));
                !drain(&mut outbox, now).is_empty()
            })
            .collect();
        assert_eq!(times, [241, 481]);
        // A validity that shrinks is told at once.
        outbox.update(decision(700), Duration::from_secs(501));
        assert_eq!(said(&drain(&mut outbox, 501)), [("t/decision", "6 /h until 700")]);
    }

    #[test]
    fn a_refused_topic_is_reported_once_and_left_alone_until_the_next_connection() {
        let mut outbox = outbox(&[]);
        outbox.update(tree(&[("t/a", "1", None)]), SECOND);
        outbox.connected(20, SECOND);
        let mut reports = Vec::new();
        while let Some(message) = outbox.next(SECOND) {
            let answer = if &*message.topic == "t/a" { Err("not-authorized") } else { Ok(()) };
            reports.extend(outbox.answered(message.ticket, answer, SECOND));
        }
        assert_eq!(reports, [Refused { topic: "t/a".into(), reason: "not-authorized" }]);
        assert_eq!(outbox.phase(), Phase::Live, "one refusal kept the devices from being ready");
        assert_eq!(outbox.refused().collect::<Vec<_>>(), [("t/a", "not-authorized")]);
        outbox.update(tree(&[("t/a", "2", None)]), SECOND);
        assert_eq!(outbox.next(SECOND), None);
        outbox.disconnected();
        outbox.connected(20, SECOND);
        assert!(said(&drain(&mut outbox, 1)).contains(&("t/a", "2")));
    }

    /// A broker's memory, and the wire to it.
    #[derive(Default)]
    struct Broker {
        retained: BTreeMap<String, (String, Option<Duration>)>,
        wire: VecDeque<Message>,
    }

    const FORBIDDEN: &str = "t/5";

    impl Broker {
        fn take(&mut self, now: Duration) -> Option<(u64, Result<(), &'static str>)> {
            let message = self.wire.pop_front()?;
            if &*message.topic == FORBIDDEN {
                return Some((message.ticket, Err("not-authorized")));
            }
            if message.payload.is_empty() {
                self.retained.remove(&*message.topic);
            } else {
                let until = message.expiry.map(|seconds| now + Duration::from_secs(u64::from(seconds)));
                self.retained.insert(message.topic.to_string(), (message.payload, until));
            }
            Some((message.ticket, Ok(())))
        }

        fn seen(&self, now: Duration) -> BTreeMap<String, String> {
            let alive = self.retained.iter().filter(|(_, (_, until))| until.is_none_or(|until| until > now));
            alive.map(|(topic, (payload, _))| (topic.clone(), payload.clone())).collect()
        }
    }

    #[derive(Debug, Clone)]
    enum Act {
        Update(Vec<(u8, u8, Option<u16>)>),
        Wait(u16),
        Send(u8),
        Answer(u8),
        Lose { processed: u8, broker_forgets: bool },
        Connect(u8),
    }

    fn act() -> impl Strategy<Value = Act> {
        prop_oneof![
            proptest::collection::vec((0..8_u8, 0..3_u8, proptest::option::of(1..900_u16)), 0..8).prop_map(Act::Update),
            (1..400_u16).prop_map(Act::Wait),
            (1..30_u8).prop_map(Act::Send),
            (1..30_u8).prop_map(Act::Answer),
            (0..20_u8, any::<bool>()).prop_map(|(processed, broker_forgets)| Act::Lose { processed, broker_forgets }),
            (1..20_u8).prop_map(Act::Connect),
        ]
    }

    proptest! {
        #[test]
        fn whatever_is_lost_on_the_way_the_broker_ends_with_the_tree(acts in proptest::collection::vec(act(), 0..60)) {
            let mut outbox = outbox(&["t/0", "t/7"]);
            let mut broker = Broker::default();
            // Left by an earlier run.
            broker.retained.insert("t/7".to_owned(), ("old".to_owned(), None));
            let (mut now, mut wanted, mut up, mut window) = (SECOND, Tree::new(), false, 0);
            for act in acts {
                match act {
                    Act::Update(entries) => {
                        wanted = entries.iter().map(|&(topic, payload, life)| {
                            let until = life.map(|life| now + Duration::from_secs(u64::from(life)));
                            (format!("t/{topic}"), Entry::text(payload.to_string(), until))
                        }).collect();
                        outbox.update(wanted.clone(), now);
                    }
                    Act::Wait(seconds) => now += Duration::from_secs(u64::from(seconds)),
                    Act::Send(count) => broker.wire.extend((0..count).map_while(|_| outbox.next(now))),
                    Act::Answer(count) => for _ in 0..count {
                        if let Some((ticket, answer)) = broker.take(now) {
                            outbox.answered(ticket, answer, now);
                        }
                    },
                    Act::Lose { processed, broker_forgets } => {
                        for _ in 0..processed {
                            broker.take(now);
                        }
                        broker.wire.clear();
                        if broker_forgets {
                            broker.retained.clear();
                        }
                        outbox.disconnected();
                        up = false;
                    }
                    Act::Connect(size) if !up => {
                        (up, window) = (true, usize::from(size));
                        outbox.connected(window, now);
                    }
                    Act::Connect(_) => {}
                }
                let allowed = if up { window } else { 0 };
                prop_assert!(outbox.in_flight() <= allowed);
                let topics: Vec<&str> = broker.wire.iter().map(|message| &*message.topic).filter(|topic| !topic.contains('$')).collect();
                let mut distinct = topics.clone();
                distinct.sort_unstable();
                distinct.dedup();
                prop_assert_eq!(topics.len(), distinct.len(), "two values of one topic are on the way");
            }
            if !up {
                outbox.connected(3, now);
            }
            for _ in 0..10_000 {
                broker.wire.extend(outbox.next(now));
                match broker.take(now) {
                    Some((ticket, answer)) => { outbox.answered(ticket, answer, now); }
                    None => break,
                }
            }
            let mut expected: BTreeMap<String, String> = wanted.into_iter()
                .filter(|(topic, entry)| topic != FORBIDDEN && entry.lives_until.is_none_or(|until| until > now))
                .map(|(topic, entry)| (topic, entry.payload))
                .collect();
            for device in devices() {
                expected.insert(format!("{}/$state", device.topic), "ready".to_owned());
                expected.insert(format!("{}/$description", device.topic), device.description);
            }
            prop_assert_eq!(outbox.phase(), Phase::Live);
            prop_assert_eq!(broker.seen(now), expected);
        }
    }
}
