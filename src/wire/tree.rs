//! The snapshot as a tree of retained topics.

use std::{collections::BTreeMap, sync::Arc, time::Duration};

use jiff::Timestamp;
use serde_json::{Map, Value as Json, json};

use super::{
    description::{Life, Property, RoomView, Value, device_topic, room_rows, site_rows},
    levers, outlook,
};
use crate::{
    advice::{Alert, Decision, LimitedBy, Mode, Voice},
    engine::{RoomState, Snapshot},
    model::{Identifier, Now, Outlook, Room},
    units::people::Shown,
};

/// Every retained topic that should stand at the broker, without the devices' own `$state` and `$description`. What is
/// not in the tree should not stand there.
pub type Tree = BTreeMap<String, Entry>;

/// Advice never lives longer, whatever its `valid-until` says; nor does a value that only a turn vouches for.
const LONGEST_LIFE: Duration = Duration::from_secs(600);

/// Why there is no advice after a stop.
const STOPPING: &str = "There is no advice, because Mistwright is stopping: use the fallback settings.";

/// What should stand on a topic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The payload, never empty.
    pub payload: String,
    /// Until when it may be believed, as [`Now::elapsed`]; `None` never expires.
    pub lives_until: Option<Duration>,
    /// What has to differ for the entry to count as changed; `None` is the payload itself. A decision is renewed
    /// with a later `valid-until`, and is still the same decision.
    pub essence: Option<String>,
    /// Whether the payload is JSON.
    pub json: bool,
}

impl Entry {
    /// A text that is believed until `lives_until`.
    pub fn text(payload: impl Into<String>, lives_until: Option<Duration>) -> Self {
        Self { payload: payload.into(), lives_until, essence: None, json: false }
    }

    /// Whether both say the same.
    pub fn says_the_same_as(&self, other: &Self) -> bool {
        match (&self.essence, &other.essence) {
            (Some(mine), Some(other)) => mine == other,
            _ => self.payload == other.payload,
        }
    }
}

/// The tree of a snapshot. What is not known, not fresh or not advised is absent.
pub fn render(snapshot: &Snapshot, domain: &Identifier) -> Tree {
    Renderer::default().render(snapshot, domain)
}

/// Renders one snapshot after the other, and keeps the long texts that seldom change: each room's hours ahead.
#[derive(Debug, Default)]
pub struct Renderer {
    ahead: Vec<Option<Ahead>>,
}

/// A room's hours ahead and what would help in them, as JSON.
#[derive(Debug, Clone)]
pub struct Ahead {
    /// What it was made from: its levers are made with it.
    outlook: Arc<Outlook>,
    /// For `outlook/hourly`.
    pub hourly: String,
    /// For `outlook/levers`.
    pub levers: String,
}

impl Ahead {
    fn of(state: &RoomState, voice: &Voice) -> Option<Self> {
        let outlook = Arc::clone(state.outlook.as_ref()?);
        let hourly = outlook::object(&outlook, voice).to_string();
        let levers = levers::on_topic(&state.levers, voice, outlook.made).to_string();
        Some(Self { outlook, hourly, levers })
    }
}

impl Renderer {
    /// See [`render`].
    pub fn render(&mut self, snapshot: &Snapshot, domain: &Identifier) -> Tree {
        self.refresh(snapshot);
        rendered(snapshot, domain, (&self.ahead, None))
    }

    /// What stands below the site's own device.
    pub fn render_site(&self, snapshot: &Snapshot, domain: &Identifier) -> Tree {
        let mut tree = Tree::new();
        site_values(&mut tree, snapshot, domain);
        tree
    }

    /// What stands below one room's device.
    pub fn render_room(&mut self, snapshot: &Snapshot, domain: &Identifier, index: usize) -> Tree {
        self.refresh(snapshot);
        let mut tree = Tree::new();
        let (room, state) = (snapshot.farm.rooms.get(index), snapshot.rooms.get(index));
        if let Some((room, state)) = room.zip(state) {
            let ahead = self.ahead.get(index).and_then(Option::as_ref);
            room_tree(&mut tree, (snapshot, domain, None), (room, state, ahead));
        }
        tree
    }

    /// The last tree before a stop, `now`: every room's advice is withheld, the rest stays until it expires.
    pub fn render_last(&mut self, snapshot: &Snapshot, domain: &Identifier, now: &Now) -> Tree {
        self.refresh(snapshot);
        rendered(snapshot, domain, (&self.ahead, Some(now)))
    }

    fn refresh(&mut self, snapshot: &Snapshot) {
        let voice = snapshot.voice();
        self.ahead.resize(snapshot.rooms.len(), None);
        for (ahead, state) in self.ahead.iter_mut().zip(&snapshot.rooms) {
            let kept = ahead.as_ref().zip(state.outlook.as_ref()).is_some_and(|(a, b)| Arc::ptr_eq(&a.outlook, b));
            if !kept {
                *ahead = Ahead::of(state, &voice);
            }
        }
    }
}

fn rendered(snapshot: &Snapshot, domain: &Identifier, (ahead, stopping): (&[Option<Ahead>], Option<&Now>)) -> Tree {
    let mut tree = Tree::new();
    for ((room, state), ahead) in snapshot.farm.rooms.iter().zip(&snapshot.rooms).zip(ahead) {
        room_tree(&mut tree, (snapshot, domain, stopping), (room, state, ahead.as_ref()));
    }
    site_values(&mut tree, snapshot, domain);
    tree
}

fn room_tree(
    tree: &mut Tree,
    (snapshot, domain, stopping): (&Snapshot, &Identifier, Option<&Now>),
    (room, state, ahead): (&Room, &RoomState, Option<&Ahead>),
) {
    let voice = snapshot.voice();
    let device = device_topic(&snapshot.farm, domain, Some(room));
    let mut decision = state.decision.clone();
    let reason = match stopping {
        None => decision.sentence(&voice),
        Some(now) => {
            decision = withheld(decision, now);
            STOPPING.to_owned()
        }
    };
    let lives = Lives {
        // A last word has no later validity to live for; it stands long enough to be read.
        decision: match stopping {
            None => decision_lives_until(&decision, &snapshot.now),
            Some(now) => now.elapsed.saturating_add(LONGEST_LIFE),
        },
        reading: state.lives_until,
        turn: snapshot.now.elapsed.saturating_add(LONGEST_LIFE),
    };
    let view = RoomView {
        units: voice.units,
        room,
        state,
        decision: &decision,
        reason: &reason,
        voice: &voice,
        ahead,
        now: snapshot.now.wall,
    };
    room_values(tree, &device, &view, &lives, &snapshot.now);
    alerts(tree, &device, &state.alerts, &voice, &snapshot.now);
}

fn site_values(tree: &mut Tree, snapshot: &Snapshot, domain: &Identifier) {
    let turn = snapshot.now.elapsed.saturating_add(LONGEST_LIFE);
    let device = device_topic(&snapshot.farm, domain, None);
    for (property, value) in site_rows() {
        let Some(value) = value(snapshot) else { continue };
        if let Some(payload) = plain(&value) {
            let json = matches!(value, Value::Object(_));
            tree.insert(topic(&device, property), Entry { json, ..Entry::text(payload, Some(turn)) });
        }
    }
    alerts(tree, &device, &snapshot.site.alerts, &snapshot.voice(), &snapshot.now);
}

/// Until when each kind of value lives, as [`Now::elapsed`].
struct Lives {
    decision: Duration,
    reading: Duration,
    turn: Duration,
}

fn withheld(decision: Decision, now: &Now) -> Decision {
    Decision {
        mode: Mode::Withheld,
        setpoints: None,
        limited_by: LimitedBy::Nothing,
        valid_until: now.wall.min(decision.valid_until),
        ..decision
    }
}

fn decision_lives_until(decision: &Decision, now: &Now) -> Duration {
    let left = Duration::try_from(decision.valid_until.duration_since(now.wall)).unwrap_or(Duration::ZERO);
    now.elapsed.saturating_add(left.min(LONGEST_LIFE))
}

fn room_values(tree: &mut Tree, device: &str, view: &RoomView<'_>, lives: &Lives, now: &Now) {
    let values: Vec<(&Property, Value)> =
        room_rows().filter_map(|(property, value)| Some((property, value(view)?))).collect();
    let essence = object(&values, false).to_string();
    for (property, value) in &values {
        let lives_until = match property.life {
            Life::Reading => Some(lives.reading),
            Life::Decision => Some(lives.decision),
            Life::Turn => Some(lives.turn),
            Life::Configured => None,
        };
        if lives_until.is_some_and(|until| until <= now.elapsed) {
            continue;
        }
        let entry = match value {
            Value::Decision => Entry {
                payload: object(&values, true).to_string(),
                lives_until,
                essence: Some(essence.clone()),
                json: true,
            },
            // It moves with the decision that it belongs to, not with every turn.
            Value::Moment(moment) if property.life == Life::Decision => {
                Entry { essence: Some(essence.clone()), ..Entry::text(second(*moment), lives_until) }
            }
            other => match plain(other) {
                Some(payload) => Entry { json: matches!(other, Value::Object(_)), ..Entry::text(payload, lives_until) },
                None => continue,
            },
        };
        tree.insert(topic(device, property), entry);
    }
}

/// All fields of the decision in one object, as they stand on their own topics; what is withheld is null.
fn object(values: &[(&Property, Value)], with_validity: bool) -> Json {
    let mut object = Map::new();
    for (property, _) in room_rows().filter(|(property, _)| property.life == Life::Decision) {
        let value = values
            .iter()
            .find(|(other, _)| other.node == property.node && other.id == property.id)
            .map(|(_, value)| value);
        let json = match value {
            Some(Value::Decision | Value::Object(_)) => continue,
            Some(Value::Moment(moment)) if with_validity => json!(second(*moment)),
            Some(Value::Moment(_)) => continue,
            Some(Value::Number(shown)) => {
                number(shown).and_then(|text| text.parse().ok()).map_or(Json::Null, Json::Number)
            }
            Some(Value::AtLeast(shown)) => {
                at_least(shown).and_then(|text| text.parse().ok()).map_or(Json::Null, Json::Number)
            }
            Some(Value::Word(word)) => json!(word),
            Some(Value::Text(text)) => json!(text),
            None => Json::Null,
        };
        object.insert(property.id.to_owned(), json);
    }
    Json::Object(object)
}

fn alerts(tree: &mut Tree, device: &str, alerts: &[Alert], voice: &Voice, now: &Now) {
    let turn = now.elapsed.saturating_add(LONGEST_LIFE);
    for alert in alerts {
        let kind = alert.kind.name();
        tree.insert(format!("{device}/alerts/{kind}"), Entry::text(alert.published(), Some(turn)));
        if let Some(message) = alert.message() {
            tree.insert(format!("{device}/$alert/{kind}"), Entry::text(message.sentence(voice, now.wall), None));
        }
    }
}

fn topic(device: &str, property: &Property) -> String {
    format!("{device}/{}/{}", property.node, property.id)
}

/// The payload of a value that stands alone; `None` for a number that is none.
fn plain(value: &Value) -> Option<String> {
    match value {
        Value::Number(shown) => number(shown),
        Value::AtLeast(shown) => at_least(shown),
        Value::Word(word) => Some((*word).to_owned()),
        // An empty payload would delete the topic; the convention writes an empty text as a zero byte.
        Value::Text(text) if text.is_empty() => Some("\0".to_owned()),
        Value::Text(text) => Some(text.clone()),
        Value::Moment(moment) => Some(second(*moment)),
        Value::Object(text) => Some(text.clone()),
        Value::Decision => None,
    }
}

fn number(shown: &Shown) -> Option<String> {
    shown.value.is_finite().then(|| Shown { unit: "", ..*shown }.to_string())
}

/// Rounded up, so that a limit of 12.43 is not published as 12.4.
fn at_least(shown: &Shown) -> Option<String> {
    let scale = 10_f64.powi(i32::try_from(shown.decimals).unwrap_or(0));
    // The small difference keeps 0.1 + 0.2 from being raised to 0.4.
    number(&Shown { value: (shown.value * scale - 1e-6).ceil() / scale, ..*shown })
}

/// Cut to the second: a validity is never lengthened by rounding.
fn second(moment: Timestamp) -> String {
    moment.strftime("%Y-%m-%dT%H:%M:%SZ").to_string()
}
