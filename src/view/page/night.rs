//! One sentence for each room about the coming night, the worst room first.

use std::fmt::Write as _;

use jiff::Timestamp;

use crate::{
    advice::{Alert, AlertKind, AlertState, Mode, Priority, Voice},
    engine::{RoomState, Snapshot},
    model::{Outlook, Room},
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

/// Every room's verdict, worst first; of rooms that ask the same, the one whose trouble comes first.
pub(super) fn verdicts(snapshot: &Snapshot, voice: &Voice) -> Vec<Verdict> {
    let rooms = snapshot.farm.rooms.iter().zip(&snapshot.rooms).enumerate();
    let mut verdicts: Vec<_> = rooms
        .map(|(index, (room, state))| {
            let (urgency, sentence) = verdict(room, state, snapshot, voice);
            Verdict { room: index, urgency, sentence }
        })
        .collect();
    verdicts.sort_by_key(|verdict| (verdict.urgency, trouble(&snapshot.rooms[verdict.room])));
    verdicts
}

/// When the first trouble of a room begins; the end of time where none is foreseen.
fn trouble(state: &RoomState) -> Timestamp {
    let first = state.outlook.as_deref().and_then(|outlook| {
        let findings = &outlook.expected.findings;
        let short = findings.shortfall.map(|short| short.from);
        let cold = findings.heat_short.map(|short| short.from);
        [short, cold, findings.tank_empty].into_iter().flatten().min()
    });
    first.unwrap_or(Timestamp::MAX)
}

fn verdict(room: &Room, state: &RoomState, snapshot: &Snapshot, voice: &Voice) -> (Urgency, String) {
    let now = snapshot.now.wall;
    let mut raised: Vec<&Alert> = state.alerts.iter().filter(|alert| alert.is_raised()).collect();
    raised.sort_by_key(|alert| (std::cmp::Reverse(priority(alert)), rank(alert.kind)));
    if let Some((first, others)) = raised.split_first()
        && priority(first) > Some(Priority::Notice)
    {
        let urgency = match (priority(first), first.kind) {
            (Some(Priority::Critical), _) => Urgency::Danger,
            (_, AlertKind::SensorStale) if state.decision.mode == Mode::Withheld => Urgency::Unknown,
            (_, AlertKind::SensorStale) => Urgency::Watch,
            _ => Urgency::Act,
        };
        return (urgency, with_others(sentence(first, voice, now), others));
    }
    let (urgency, sentence) = without_warning(room, state, voice, now);
    if raised.is_empty() {
        return (urgency, sentence);
    }
    (urgency.min(Urgency::Watch), with_others(sentence, &raised))
}

/// A room of which nothing is raised that has to be acted on.
fn without_warning(room: &Room, state: &RoomState, voice: &Voice, now: Timestamp) -> (Urgency, String) {
    if state.decision.mode == Mode::Withheld {
        return (Urgency::Unknown, state.decision.sentence(voice));
    }
    let (urgency, sentence) = match (state.outlook.as_deref(), state.no_outlook) {
        (Some(outlook), _) => ahead(&Night { room, state, outlook, voice, now }),
        (None, Some(why)) => (Urgency::Watch, why.sentence().to_owned()),
        (None, None) => (Urgency::Watch, "What the night brings is being worked out.".to_owned()),
    };
    if state.decision.mode == Mode::Degraded {
        let careful = "The settings are the careful ones, because something is missing.";
        return (urgency.min(Urgency::Watch), format!("{sentence} {careful}"));
    }
    (urgency, sentence)
}

/// Water that the night takes, where it is known: to its end, or the next 12 hours.
pub(super) fn water(state: &RoomState) -> Option<WaterVolume> {
    let findings = &state.outlook.as_deref()?.expected.findings;
    findings.water_to_dawn.or(findings.water_12_hours)
}

/// When the coming night ends, where an outlook says so.
pub(super) fn dawn(snapshot: &Snapshot) -> Option<Timestamp> {
    snapshot.rooms.iter().find_map(|state| state.outlook.as_deref()?.expected.findings.dawn)
}

/// A room and what is projected of it.
struct Night<'a> {
    room: &'a Room,
    state: &'a RoomState,
    outlook: &'a Outlook,
    voice: &'a Voice,
    now: Timestamp,
}

impl Night<'_> {
    fn time(&self, at: Timestamp) -> String {
        self.voice.time(at, self.now)
    }

    /// Something that begins in the coming night is acted on; what comes later is only watched.
    fn urgency(&self, from: Timestamp) -> Urgency {
        let dawn = self.outlook.expected.findings.dawn;
        if dawn.is_none_or(|dawn| from <= dawn) { Urgency::Act } else { Urgency::Watch }
    }
}

/// What the outlook makes of the night: what the humidifier cannot give, then the tank, the heater, and dry air.
fn ahead(night: &Night<'_>) -> (Urgency, String) {
    let findings = &night.outlook.expected.findings;
    if let Some(short) = &findings.shortfall {
        let until = short.to.map_or_else(|| "on".to_owned(), |to| format!("to {}", night.time(to)));
        let driest = findings.driest.map_or_else(String::new, |(at, humidity)| {
            format!(" The air is driest at {}, {:.0} %.", night.time(at), humidity.percent())
        });
        let help = night.state.levers.first().map_or_else(
            || {
                "Before then, warm and moisten the intake air, or add a humidifier, or hold a lower humidity."
                    .to_owned()
            },
            |lever| lever.sentence(night.voice, night.now),
        );
        let sentence = format!(
            "From {} {until} the humidifier cannot give what the target takes: at the worst, {}, it is {} short.{driest} {help}",
            night.time(short.from),
            night.time(short.worst_at),
            night.voice.units.vapour_flow(short.worst)
        );
        return (night.urgency(short.from), sentence);
    }
    if let Some(empty) = findings.tank_empty.filter(|empty| night.urgency(*empty) == Urgency::Act) {
        return (Urgency::Act, tank_sentence(night, empty));
    }
    if let Some(short) = &findings.heat_short {
        let sentence = format!(
            "From {} the heater cannot hold the temperature; it is worst at {}. Close what lets the cold in, or bring \
             heat, before then.",
            night.time(short.from),
            night.time(short.worst_at)
        );
        return (night.urgency(short.from), sentence);
    }
    calm(night)
}

fn tank_sentence(night: &Night<'_>, empty: Timestamp) -> String {
    let units = night.voice.units;
    let told = night.state.tank.map(|tank| tank.volume);
    let held = told.or_else(|| night.room.humidifier?.tank());
    let missing = water(night.state).zip(held).map(|(takes, held)| takes.litres() - held.litres());
    let how_much = missing.filter(|missing| *missing > 0.0).map_or_else(
        || "Fill it before then.".to_owned(),
        |missing| format!("Fill in {} more before then.", units.water_volume(WaterVolume::clamped(missing))),
    );
    let taken = if told.is_none() { ", if it is full now" } else { "" };
    format!("The tank runs out at {}{taken}. {how_much}", night.time(empty))
}

/// A night in which the equipment can do what is asked of it.
fn calm(night: &Night<'_>) -> (Urgency, String) {
    let findings = &night.outlook.expected.findings;
    let lowest = night.room.bands.relative_humidity.lowest;
    let mut sentence = String::new();
    let mut urgency = Urgency::Well;
    match findings.driest {
        Some((at, driest)) if driest.ratio() < lowest.ratio() - 0.005 => {
            urgency = Urgency::Watch;
            sentence = format!(
                "Humidity is lowest at {}, {:.0} %, below the band's {:.0} %.",
                night.time(at),
                driest.percent(),
                lowest.percent()
            );
        }
        Some((_, driest)) => sentence = format!("Humidity stays at {:.0} % or more.", driest.percent()),
        None => {}
    }
    if let Some(taken) = water(night.state).filter(|_| night.room.humidifier.is_some()) {
        let until =
            findings.dawn.map_or_else(|| "in 12 hours".to_owned(), |dawn| format!("until {}", night.time(dawn)));
        let _ = write!(sentence, " It takes {} of water {until}.", night.voice.units.water_volume(taken));
    }
    if let Some(empty) = findings.tank_empty {
        let taken = if night.state.tank.is_none() { ", if it is full now" } else { "" };
        let _ = write!(sentence, " The tank lasts until {}{taken}.", night.time(empty));
    }
    if let Some(short) = &night.outlook.colder.findings.shortfall {
        let _ = write!(sentence, " A colder night would leave the humidifier short from {}.", night.time(short.from));
    }
    if let Some(at) = findings.inlet_fog {
        let _ = write!(sentence, " Fog at the inlet from {}.", night.time(at));
    }
    if let Some(at) = findings.standing_mist {
        let _ = write!(sentence, " Mist stands from {}.", night.time(at));
    }
    (urgency, sentence.trim_start().to_owned())
}

fn with_others(sentence: String, others: &[&Alert]) -> String {
    if others.is_empty() {
        return sentence;
    }
    let titles: Vec<String> = others.iter().map(|alert| lower(alert.kind.title())).collect();
    format!("{sentence} Besides: {}.", titles.join("; "))
}

/// With a small first letter, for the middle of a sentence.
pub(super) fn lower(text: &str) -> String {
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
