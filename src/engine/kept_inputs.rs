//! What was set, from one run to the next. What ends by itself needs a clock that can be trusted: until there is one it
//! waits, and is lost if it has run out by then.

use jiff::{SignedDuration, Timestamp};

use super::{
    command::Command,
    core::{Engine, notice},
    event::Effect,
    inputs::{self, TankLevel, Until},
};
use crate::{
    advice::{Alert, AlertKind, alert::Shelf},
    model::{Hold, Now, Presence, Stage},
    units::{WaterFlow, WaterVolume, people::LITRES_PER_KILOGRAM_OF_WATER},
};

/// After so long nobody knows what a tank holds.
const TANK_KEPT: SignedDuration = SignedDuration::from_hours(24);

/// What was set in a room, or on the site, and should outlive a restart. Times are ends.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct KeptInputs {
    /// The crop's stage.
    pub stage: Option<KeptStage>,
    /// Whether people are in the room.
    pub presence: Option<(Presence, Timestamp)>,
    /// What is held.
    pub hold: Option<(Hold, Timestamp)>,
    /// Water in the tank.
    pub tank: Option<KeptTank>,
    /// Alerts that are not shown.
    pub shelved: Vec<(AlertKind, Timestamp)>,
}

/// A stage that was set, and the one that was configured then: who edits the configuration later means it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeptStage {
    /// What was set.
    pub told: Stage,
    /// What stood in the configuration.
    pub configured: Stage,
}

/// The water in a tank as it stood at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeptTank {
    /// What should be left.
    pub volume: WaterVolume,
    /// What was drawn: it is taken to have gone on while the daemon was away.
    pub draw: WaterFlow,
    /// When the content was told.
    pub told_at: Timestamp,
    /// When it stood so.
    pub at: Timestamp,
}

/// What was restored of the inputs, and what was not, in words.
#[derive(Debug, Default)]
pub(super) struct Restored {
    pub taken: Vec<String>,
    pub refused: Vec<String>,
}

impl Engine {
    /// What was set in a room, or on the site.
    pub(super) fn kept_inputs(&self, room: Option<usize>, now: &Now) -> KeptInputs {
        let waiting = self.waiting_inputs.iter().find(|(place, _)| *place == room).map(|(_, kept)| kept.clone());
        let at = |ends: std::time::Duration| now.wall_after(ends.saturating_sub(now.elapsed));
        let shelved = |alerts: &[Alert]| {
            alerts.iter().filter_map(|alert| Some((alert.kind, at(alert.shelf?.ends)))).collect::<Vec<_>>()
        };
        let mut kept = match (room, waiting) {
            (_, Some(waiting)) => waiting,
            // By a wrong clock nothing can be said to end at a time.
            _ if !now.trusted => KeptInputs::default(),
            (None, None) => KeptInputs { shelved: shelved(&self.site.alerts), ..KeptInputs::default() },
            (Some(index), None) => {
                let memory = &self.rooms[index];
                let inputs = &memory.state.inputs;
                KeptInputs {
                    stage: None,
                    presence: inputs.presence.map(|until| (until.value, at(until.ends))),
                    hold: inputs.hold.map(|until| (until.value, at(until.ends))),
                    tank: memory.state.tank.map(|tank| KeptTank {
                        volume: tank.volume,
                        draw: inputs::flow_of(&memory.draw),
                        told_at: tank.told_at,
                        at: now.wall,
                    }),
                    shelved: shelved(&memory.state.alerts),
                }
            }
        };
        if let Some(index) = room {
            let configured = self.configured.rooms[index].crop.as_ref().map(|crop| crop.stage);
            let told = self.rooms[index].state.inputs.stage;
            kept.stage = told.zip(configured).map(|(told, configured)| KeptStage { told, configured });
        }
        kept
    }

    /// Takes over what was set before the start, as far as it still holds; without a trusted clock, what ends waits.
    pub(super) fn restore_inputs(&mut self, room: Option<usize>, kept: KeptInputs, now: &Now) -> Restored {
        let mut restored = Restored::default();
        if let (Some(index), Some(stage)) = (room, kept.stage) {
            let configured = self.configured.rooms[index].crop.as_ref().map(|crop| crop.stage);
            let title = &self.configured.rooms[index].title;
            if configured == Some(stage.configured) {
                self.rooms[index].state.inputs.stage = Some(stage.told);
                restored.taken.push(format!("the stage {} in {title}", stage.told.words()));
            } else {
                let why = "because the configuration has changed";
                restored.refused.push(format!("the stage {} in {title}, {why}", stage.told.words()));
            }
        }
        let kept = KeptInputs { stage: None, ..kept };
        if kept != KeptInputs::default() {
            if now.trusted {
                self.restore_ending(room, kept, now, &mut restored);
            } else {
                self.waiting_inputs.push((room, kept));
            }
        }
        self.tell_farm();
        restored
    }

    /// What has waited for a trusted clock, once there is one.
    pub(super) fn restore_waiting_inputs(&mut self, now: &Now, effects: &mut Vec<Effect>) {
        if !now.trusted || self.waiting_inputs.is_empty() {
            return;
        }
        let mut restored = Restored::default();
        for (room, kept) in std::mem::take(&mut self.waiting_inputs) {
            self.restore_ending(room, kept, now, &mut restored);
        }
        if !restored.taken.is_empty() {
            let what = restored.taken.join("; ");
            effects.push(notice(false, format!("The clock is right now. Restored from the last run: {what}.")));
        }
        if !restored.refused.is_empty() {
            effects.push(notice(true, format!("Not restored from the last run: {}.", restored.refused.join("; "))));
        }
        self.tell_farm();
    }

    fn restore_ending(&mut self, room: Option<usize>, kept: KeptInputs, now: &Now, restored: &mut Restored) {
        let (alerts, title) = match room {
            None => (&mut self.site.alerts, self.configured.site.title.clone()),
            Some(index) => (&mut self.rooms[index].state.alerts, self.configured.rooms[index].title.clone()),
        };
        for (kind, ends_at) in kept.shelved {
            let what = format!("the shelf of `{}` ({title})", kind.name());
            let alert = alerts.iter_mut().find(|alert| alert.kind == kind && alert.can_be_shelved());
            match (alert, left(ends_at, Command::LONGEST_SHELF, now)) {
                (Some(alert), Some(left)) if alert.shelf.is_none() => {
                    let until = Until::new((), left, now);
                    alert.shelf = Some(Shelf { ends: until.ends, ends_at: until.ends_at });
                    restored.taken.push(what);
                }
                (Some(_), Some(_)) => {}
                _ => restored.refused.push(format!("{what}, which has ended")),
            }
        }
        let Some(index) = room else { return };
        let memory = &mut self.rooms[index];
        let mut end = |what: &str, longest, ends_at| {
            let left = left(ends_at, longest, now);
            match left {
                Some(_) => restored.taken.push(format!("{what} in {title}")),
                None => restored.refused.push(format!("{what} in {title}, which has ended")),
            }
            left
        };
        if let Some((presence, ends_at)) = kept.presence.filter(|_| memory.state.inputs.presence.is_none()) {
            let longest = match presence {
                Presence::Present => Command::PRESENT_FOR,
                Presence::Absent => Command::ABSENT_FOR,
            };
            memory.state.inputs.presence = end("who is", longest, ends_at).map(|left| Until::new(presence, left, now));
        }
        if let Some((hold, ends_at)) = kept.hold.filter(|_| memory.state.inputs.hold.is_none()) {
            memory.state.inputs.hold =
                end("the hold", Command::LONGEST_HOLD, ends_at).map(|left| Until::new(hold, left, now));
        }
        let has_tank = self.configured.rooms[index].humidifier.and_then(|humidifier| humidifier.tank());
        if let Some((tank, size)) = kept.tank.zip(has_tank).filter(|_| memory.state.tank.is_none()) {
            let away = now.wall.duration_since(tank.at);
            if away.is_negative() || away > TANK_KEPT {
                restored.refused.push(format!("the tank's content in {title}, which is too old"));
            } else {
                let litres_per_hour = tank.draw.kilograms_per_hour() * LITRES_PER_KILOGRAM_OF_WATER;
                let drawn = litres_per_hour * away.as_secs_f64() / 3_600.0;
                let volume = WaterVolume::clamped((tank.volume.litres() - drawn).clamp(0.0, size.litres()));
                let since = std::time::Duration::try_from(now.wall.duration_since(tank.told_at)).unwrap_or_default();
                let told = now.elapsed.saturating_sub(since);
                memory.state.tank = Some(TankLevel { volume, told, told_at: tank.told_at });
                memory.draw = inputs::Draw { last: now.elapsed, litres_per_hour };
                restored.taken.push(format!("the tank's content in {title}"));
            }
        }
    }
}

/// How long something goes on that ends at `ends_at`; `None` where it has ended, or would go on for longer than it may.
fn left(ends_at: Timestamp, longest: std::time::Duration, now: &Now) -> Option<std::time::Duration> {
    let left = std::time::Duration::try_from(ends_at.duration_since(now.wall)).ok()?;
    (!left.is_zero() && left <= longest).then_some(left)
}
