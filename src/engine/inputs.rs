//! What was set, until when it holds, and what it does to the farm that everything else looks at.
//!
//! The farm as configured is kept beside the farm as told: a new stage, a presence or a hold makes a new one of the
//! latter, so that advice, outlook and topics need not know who has said what.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
    time::Duration,
};

use jiff::Timestamp;

use super::{
    command::{Command, Input, Refusal},
    core::{Engine, notice},
    event::{Effect, Rejection},
};
use crate::{
    advice::{AlertKind, Voice, alert::Shelf},
    model::{Farm, Hold, Now, Presence, Room, Stage, told::Told},
    units::{WaterFlow, WaterVolume, people::LITRES_PER_KILOGRAM_OF_WATER},
};

/// Refusals that the snapshot carries, so that several in one turn are all answered.
const ANSWERS: usize = 8;

/// A value that ends by itself.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Until<T> {
    /// The value.
    pub value: T,
    /// When it ends, as [`Now::elapsed`].
    pub ends: Duration,
    /// The same by the calendar, for people.
    pub ends_at: Timestamp,
}

impl<T> Until<T> {
    /// For `length` from now on.
    pub fn new(value: T, length: Duration, now: &Now) -> Self {
        Self { value, ends: now.elapsed.saturating_add(length), ends_at: now.wall_after(length) }
    }
}

/// What was told of a room and still holds.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Inputs {
    /// A stage other than the configured one.
    pub stage: Option<Stage>,
    /// Whether people are in it.
    pub presence: Option<Until<Presence>>,
    /// What is held.
    pub hold: Option<Until<Hold>>,
}

/// Water in a tank: what was told, less what the advised duty has drawn since.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TankLevel {
    /// What should be left.
    pub volume: WaterVolume,
    /// When the content was told, as [`Now::elapsed`]: the older, the less it should be relied on.
    pub told: Duration,
    /// The same by the calendar.
    pub told_at: Timestamp,
}

/// What was set since the start, and what was refused.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct InputCounts {
    /// Settings taken, by what they set.
    pub accepted: BTreeMap<Input, u64>,
    /// Settings refused, by what they would have set.
    pub refused: BTreeMap<Input, u64>,
    /// The last refusals, oldest first.
    pub answers: Vec<RefusedInput>,
}

/// A setting that was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedInput {
    /// Counts refusals since the start, from 1 on.
    pub number: u64,
    /// The room, by its place in [`Farm::rooms`]; `None` for the site.
    pub room: Option<usize>,
    /// What it would have set, and why not.
    pub sentence: String,
}

/// How fast a room draws water, for the tank's level between two turns.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Draw {
    pub last: Duration,
    pub litres_per_hour: f64,
}

impl Engine {
    /// Takes a setting, or says why not.
    pub(super) fn take_command(&mut self, room: Option<usize>, command: Command, now: &Now, effects: &mut Vec<Effect>) {
        let input = command.input();
        match self.apply(room, command, now) {
            Ok(sentence) => {
                *self.site.inputs.accepted.entry(input).or_default() += 1;
                self.inputs_told.retain(|(told_room, told, _)| (*told_room, *told) != (room, input));
                effects.push(notice(false, format!("{}: {sentence}", self.titled(room))));
                self.tell_farm();
            }
            Err(refusal) => {
                let rejection = Rejection { word: refusal.word(), sentence: refusal.to_string() };
                self.refuse_input(room, input, &rejection, effects);
            }
        }
    }

    /// Counts a setting that is not taken, tells the log once, and keeps an answer for whoever set it.
    pub(super) fn refuse_input(
        &mut self,
        room: Option<usize>,
        input: Input,
        rejection: &Rejection,
        effects: &mut Vec<Effect>,
    ) {
        let name = input.name();
        *self.site.inputs.refused.entry(input).or_default() += 1;
        let sentence = format!("A setting of `{name}` was refused: {}.", rejection.sentence);
        if self.inputs_told.insert((room, input, rejection.word)) {
            let title = self.titled(room);
            effects.push(notice(true, format!("{title}: {sentence} More of the same are counted and not logged.")));
        }
        let answers = &mut self.site.inputs.answers;
        let number = answers.last().map_or(1, |last| last.number + 1);
        answers.push(RefusedInput { number, room, sentence });
        let surplus = answers.len().saturating_sub(ANSWERS);
        answers.drain(..surplus);
    }

    fn titled(&self, room: Option<usize>) -> String {
        let room = room.and_then(|index| self.farm.rooms.get(index));
        room.map_or_else(|| self.farm.site.title.clone(), |room| room.title.clone())
    }

    /// Does what the command says; the sentence is for the log.
    fn apply(&mut self, room: Option<usize>, command: Command, now: &Now) -> Result<String, Refusal> {
        let voice = Voice { units: self.farm.site.units, time_zone: self.farm.site.time_zone.clone() };
        if let Command::Shelve(kind, length) = command {
            return self.shelve(room, kind, length, (&voice, now));
        }
        let index = room.filter(|index| *index < self.rooms.len()).ok_or(Refusal::NoRoom)?;
        let configured = &self.configured.rooms[index];
        let memory = &mut self.rooms[index];
        let inputs = &mut memory.state.inputs;
        Ok(match command {
            Command::Stage(stage) => {
                let crop = configured.crop.as_ref().ok_or(Refusal::NoCrop)?;
                inputs.stage = (stage != crop.stage).then_some(stage);
                // What the crop gives off is another thing at another stage.
                memory.crop_output.forget();
                format!("the crop's stage is set to {}.", stage.words())
            }
            Command::People(None) => {
                inputs.presence = None;
                "whether people are in the room is unknown from now on.".to_owned()
            }
            Command::People(Some(presence)) => {
                let (words, length) = match presence {
                    Presence::Present => ("people are in the room", Command::PRESENT_FOR),
                    Presence::Absent => ("nobody is in the room", Command::ABSENT_FOR),
                };
                let until = Until::new(presence, length, now);
                inputs.presence = Some(until);
                format!("{words}; believed until {}.", voice.time(until.ends_at, now.wall))
            }
            Command::EndHold => {
                inputs.hold = None;
                "nothing is held any more.".to_owned()
            }
            Command::Hold(hold, length) => {
                fits(configured, &hold, &voice)?;
                let until = Until::new(hold, length.min(Command::LONGEST_HOLD), now);
                inputs.hold = Some(until);
                format!("{} until {}.", held(&hold, &voice), voice.time(until.ends_at, now.wall))
            }
            Command::TankVolume(volume) => {
                let tank = configured.humidifier.and_then(|humidifier| humidifier.tank()).ok_or(Refusal::NoTank)?;
                // A gallon's rounding must not refuse a full tank.
                if volume.litres() > tank.litres() * 1.001 {
                    return Err(Refusal::TankHolds(voice.units.water_volume(tank)));
                }
                memory.state.tank = Some(TankLevel { volume, told: now.elapsed, told_at: now.wall });
                memory.draw.last = now.elapsed;
                format!("the tank holds {} now.", voice.units.water_volume(volume))
            }
            Command::Shelve(..) => return Err(Refusal::NoAlert),
        })
    }

    fn shelve(
        &mut self,
        room: Option<usize>,
        kind: AlertKind,
        length: Duration,
        (voice, now): (&Voice, &Now),
    ) -> Result<String, Refusal> {
        let (alerts, in_danger) = match room {
            None => (&mut self.site.alerts, false),
            Some(index) => {
                let memory = self.rooms.get_mut(index).ok_or(Refusal::NoRoom)?;
                let in_danger = memory.in_danger();
                (&mut memory.state.alerts, in_danger)
            }
        };
        let alert = alerts.iter_mut().find(|alert| alert.kind == kind).ok_or(Refusal::NoAlert)?;
        if length.is_zero() {
            alert.shelf = None;
            return Ok(format!("the alert `{}` is shown again.", kind.name()));
        }
        // A danger that is passing is one until it has passed.
        if !alert.can_be_shelved() || (in_danger && kind == AlertKind::CarbonDioxidePeople) {
            return Err(Refusal::Danger);
        }
        let until = Until::new((), length.min(Command::LONGEST_SHELF), now);
        alert.shelf = Some(Shelf { ends: until.ends, ends_at: until.ends_at });
        Ok(format!("the alert `{}` is shelved until {}.", kind.name(), voice.time(until.ends_at, now.wall)))
    }

    /// Ends what has run out, and lets the tanks go down by what was drawn since the last turn.
    pub(super) fn settle_inputs(&mut self, now: &Now, effects: &mut Vec<Effect>) {
        self.restore_waiting_inputs(now, effects);
        let mut changed = false;
        for (memory, room) in self.rooms.iter_mut().zip(&self.farm.rooms) {
            memory.draw_water(now);
            if memory.tank_empty() && !room.told.tank_empty {
                changed = true;
                let sentence = "by what was told and drawn since, the tank is empty. Fill it, and set `tank-volume`.";
                effects.push(notice(true, format!("{}: {sentence}", room.title)));
            }
            let inputs = &mut memory.state.inputs;
            if inputs.hold.is_some_and(|until| until.ends <= now.elapsed) {
                (inputs.hold, changed) = (None, true);
                effects.push(notice(false, format!("{}: the hold has ended.", room.title)));
            }
            if inputs.presence.is_some_and(|until| until.ends <= now.elapsed) {
                (inputs.presence, changed) = (None, true);
                let sentence = "whether people are in the room is unknown again: it was said too long ago.";
                effects.push(notice(false, format!("{}: {sentence}", room.title)));
            }
        }
        if changed {
            self.tell_farm();
        }
    }

    /// The calendar's ends, anew: the clock has been set.
    pub(super) fn set_calendar_ends(&mut self, now: &Now) {
        let at = |ends: Duration| now.wall_after(ends.saturating_sub(now.elapsed));
        let rooms = self.rooms.iter_mut();
        let mut alerts: Vec<_> = self.site.alerts.iter_mut().collect();
        for memory in rooms {
            let inputs = &mut memory.state.inputs;
            if let Some(until) = &mut inputs.presence {
                until.ends_at = at(until.ends);
            }
            if let Some(until) = &mut inputs.hold {
                until.ends_at = at(until.ends);
            }
            alerts.extend(memory.state.alerts.iter_mut());
        }
        for shelf in alerts.into_iter().filter_map(|alert| alert.shelf.as_mut()) {
            shelf.ends_at = at(shelf.ends);
        }
    }

    /// When something that was set ends, as [`Now::elapsed`].
    pub(super) fn input_ends(&self) -> impl Iterator<Item = Duration> {
        self.rooms.iter().flat_map(|memory| {
            let inputs = &memory.state.inputs;
            [inputs.presence.map(|until| until.ends), inputs.hold.map(|until| until.ends)].into_iter().flatten()
        })
    }

    /// Makes the farm that everything else looks at from the configured one and what was told.
    pub(super) fn tell_farm(&mut self) {
        let mut farm = Farm::clone(&self.configured);
        for (room, memory) in farm.rooms.iter_mut().zip(&self.rooms) {
            let inputs = &memory.state.inputs;
            if let Some(other) = inputs.stage.and_then(|stage| room.at_stage(stage)) {
                *room = other;
            }
            let hold = inputs.hold.map(|until| until.value).unwrap_or_default();
            let tank_empty = memory.tank_empty();
            room.told = Told { presence: inputs.presence.map(|until| until.value), hold, tank_empty };
        }
        self.farm = Arc::new(farm);
        self.touch_all();
        self.look_again();
    }
}

/// Whether a hold lies between the room's floor and its fan.
fn fits(room: &Room, hold: &Hold, voice: &Voice) -> Result<(), Refusal> {
    let Some(flow) = hold.fresh_air else { return Ok(()) };
    // Topics show a tenth; a hold of what they show must be taken.
    let slack = 0.1;
    if flow.cubic_metres_per_hour() < room.fan.floor.cubic_metres_per_hour() - slack {
        return Err(Refusal::BelowFloor(voice.units.air_flow(room.fan.floor)));
    }
    if flow.cubic_metres_per_hour() > room.fan.capacity.cubic_metres_per_hour() + slack {
        return Err(Refusal::AboveCapacity(voice.units.air_flow(room.fan.capacity)));
    }
    Ok(())
}

fn held(hold: &Hold, voice: &Voice) -> String {
    let air = hold.fresh_air.map(|flow| format!("fresh air is held at {}", voice.units.air_flow(flow)));
    let target = hold
        .humidity_target
        .map(|target| format!("the humidity target is held at {}", voice.units.relative_humidity(target)));
    air.into_iter().chain(target).collect::<Vec<_>>().join(" and ")
}

impl super::room::RoomMemory {
    fn tank_empty(&self) -> bool {
        self.state.tank.is_some_and(|tank| tank.volume.litres() <= 0.0)
    }

    /// Lets the tank go down by what was drawn since the last turn. While nothing is known of the room, the last known
    /// draw is taken to go on: a level that is too low is the smaller evil.
    fn draw_water(&mut self, now: &Now) {
        let hours = now.since(self.draw.last).as_secs_f64() / 3_600.0;
        if let Some(drawn) = self.state.moisture.and_then(|moisture| moisture.drawn) {
            self.draw.litres_per_hour = drawn.kilograms_per_hour() * LITRES_PER_KILOGRAM_OF_WATER;
        }
        if let Some(tank) = &mut self.state.tank {
            let left = tank.volume.litres() - hours * self.draw.litres_per_hour;
            tank.volume = WaterVolume::clamped(left.max(0.0));
        }
        self.draw.last = now.elapsed;
    }
}

/// Refusals that the log knows of.
pub(super) type InputsTold = BTreeSet<(Option<usize>, Input, &'static str)>;

/// For the memory: a draw as a flow.
pub(super) fn flow_of(draw: &Draw) -> WaterFlow {
    WaterFlow::clamped(draw.litres_per_hour / LITRES_PER_KILOGRAM_OF_WATER)
}
