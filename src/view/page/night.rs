//! One sentence for each room about the coming night, the worst room first.

use jiff::Timestamp;

use crate::{
    advice::{Alert, AlertKind, AlertState, Mode, Priority, Voice},
    engine::{RoomState, Snapshot},
    model::Room,
    units::WaterVolume,
};

/// How much a room asks of the grower tonight. The order is that of the page: worst first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Urgency {
    /// People are in danger.
    Danger,
    /// Something has to be done before or during the night.
    Act,
    /// Nothing can be said of the night.
    Unknown,
    /// Something is missing, and the careful settings are advised.
    Watch,
    /// Nothing has to be done.
    Well,
}

impl Urgency {
    /// The word before the sentence.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Danger => "Danger",
            Self::Act => "To do",
            Self::Unknown => "Not known",
            Self::Watch => "Look in",
            Self::Well => "All well",
        }
    }

    /// Its class in the style sheet.
    pub const fn class(self) -> &'static str {
        match self {
            Self::Danger => "danger",
            Self::Act => "act",
            Self::Unknown => "unknown",
            Self::Watch => "watch",
            Self::Well => "well",
        }
    }
}

/// What is said of one room.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Verdict {
    /// Its place in the farm.
    pub room: usize,
    /// How much it asks.
    pub urgency: Urgency,
    /// What will happen, when, and what to do by when.
    pub sentence: String,
}

/// Every room's verdict, worst first; rooms that ask the same stay in the farm's order.
pub(super) fn verdicts(snapshot: &Snapshot, voice: &Voice) -> Vec<Verdict> {
    let rooms = snapshot.farm.rooms.iter().zip(&snapshot.rooms).enumerate();
    let mut verdicts: Vec<_> = rooms
        .map(|(index, (room, state))| {
            let (urgency, sentence) = verdict(room, state, snapshot, voice);
            Verdict { room: index, urgency, sentence }
        })
        .collect();
    verdicts.sort_by_key(|verdict| verdict.urgency);
    verdicts
}

fn verdict(room: &Room, state: &RoomState, snapshot: &Snapshot, voice: &Voice) -> (Urgency, String) {
    let now = snapshot.now.wall;
    let mut raised: Vec<&Alert> = state.alerts.iter().filter(|alert| alert.is_raised()).collect();
    raised.sort_by_key(|alert| (std::cmp::Reverse(priority(alert)), rank(alert.kind)));
    if let Some((first, others)) = raised.split_first() {
        let urgency = match (priority(first), first.kind) {
            (Some(Priority::Critical), _) => Urgency::Danger,
            (_, AlertKind::SensorStale) if state.decision.mode == Mode::Withheld => Urgency::Unknown,
            (_, AlertKind::SensorStale) => Urgency::Watch,
            _ => Urgency::Act,
        };
        return (urgency, with_others(sentence(first, voice, now), others));
    }
    match state.decision.mode {
        Mode::Withheld => (Urgency::Unknown, state.decision.sentence(voice)),
        Mode::Degraded => (Urgency::Watch, state.decision.sentence(voice)),
        Mode::Active => water(room, state, voice),
    }
}

/// Water that the next 12 hours take, where it is known.
pub(super) fn water_ahead(state: &RoomState) -> Option<WaterVolume> {
    state.outlook.as_deref().and_then(|outlook| outlook.expected.findings.water_12_hours)
}

/// The tank against the night's water, where nothing else is wrong.
fn water(room: &Room, state: &RoomState, voice: &Voice) -> (Urgency, String) {
    let shown = |water: WaterVolume| voice.units.water_volume(water);
    let needed = water_ahead(state);
    let tank = room.humidifier.and_then(|humidifier| humidifier.tank());
    match (needed, tank) {
        (Some(needed), Some(tank)) if needed > tank => (
            Urgency::Act,
            format!(
                "The next 12 hours take {} of water, and a full tank holds {}: fill it before the night, and again \
                 before it is empty.",
                shown(needed),
                shown(tank)
            ),
        ),
        (Some(needed), Some(tank)) if needed.litres() >= 0.05 => (
            Urgency::Well,
            format!(
                "The air can be held. The next 12 hours take {} of water; a full tank holds {}.",
                shown(needed),
                shown(tank)
            ),
        ),
        (Some(needed), None) if room.humidifier.is_some() && needed.litres() >= 0.05 => {
            (Urgency::Well, format!("The air can be held. The next 12 hours take {} of water.", shown(needed)))
        }
        (Some(_), _) => (Urgency::Well, "The air can be held, and takes next to no water.".to_owned()),
        (None, _) if room.humidifier.is_none() => {
            (Urgency::Well, "The air is as it should be; the room has no humidifier.".to_owned())
        }
        (None, _) => (
            Urgency::Watch,
            "All is well now. What the night brings is not known, because there is no forecast for it.".to_owned(),
        ),
    }
}

fn with_others(sentence: String, others: &[&Alert]) -> String {
    if others.is_empty() {
        return sentence;
    }
    let titles: Vec<String> = others.iter().map(|alert| lower(alert.kind.title())).collect();
    format!("{sentence} Besides: {}.", titles.join("; "))
}

/// With a small first letter, for the middle of a sentence.
fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

/// What a raised alert says; of one whose input went missing, that nothing is known of it any more.
pub(super) fn sentence(alert: &Alert, voice: &Voice, now: Timestamp) -> String {
    let said = alert.message().map_or_else(String::new, |message| message.sentence(voice, now));
    if matches!(alert.state, AlertState::Unknown { .. }) {
        return format!("This was so when it was last known, and is not known now: {said}");
    }
    said
}

/// How much a raised alert asks; `None` where it is not raised.
pub(super) const fn priority(alert: &Alert) -> Option<Priority> {
    match &alert.state {
        AlertState::Active { priority, .. }
        | AlertState::Clearing { priority, .. }
        | AlertState::Unknown { priority, .. } => Some(*priority),
        _ => None,
    }
}

/// Which of two alerts of one priority is told first: people, then crop, then water, then what is only unknown.
const fn rank(kind: AlertKind) -> u8 {
    match kind {
        AlertKind::CarbonDioxidePeople => 0,
        AlertKind::CarbonDioxideCrop => 1,
        AlertKind::SensorStale => 9,
        _ => 5,
    }
}
