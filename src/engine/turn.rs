//! The rooms' turns: which rooms are looked at again, and in which order.
//!
//! A room is looked at when one of its own sensors has spoken, has aged or is believed otherwise than before, when
//! something was told of it, when something around it has moved by about what is published of it, and once a minute
//! whatever happens. So a message costs the same on a farm of one room and on one of a hundred.

use std::{sync::Arc, time::Duration};

use super::{
    core::Engine,
    room::{RoomMemory, Surroundings},
};
use crate::{
    advice::{Reason, decide},
    model::{Intake, Now, Place, balance::OUTDOOR_CARBON_DIOXIDE},
    physics::MoistAir,
    units::{AirFlow, CarbonDioxide},
};

/// The air outdoors is looked at this often though no sensor has spoken.
const LOOK_OUTDOORS_EVERY: Duration = Duration::from_secs(10);

/// What surrounds a room, in steps of about what is published: a room is not looked at again before one of them has
/// passed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Seen {
    trusted: bool,
    /// Tenths of a hectopascal.
    pressure: i64,
    supply: Option<(i64, i64)>,
    outdoors: Option<(i64, i64)>,
    /// Tens of ppm.
    supply_carbon_dioxide: i64,
    /// Tenths of a kelvin.
    shell_faces: Option<i64>,
    /// Hundredths of a gram per kilogram.
    needed_behind: Option<i64>,
    /// Tenths of a cubic metre an hour.
    drawn_by_others: i64,
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "a number beyond the type is cut to its end, and equal to itself there"
)]
fn steps(value: f64, step: f64) -> i64 {
    (value / step).round() as i64
}

/// Tenths of a kelvin and hundredths of a gram per kilogram.
fn air_in_steps(air: &MoistAir) -> (i64, i64) {
    (steps(air.temperature().celsius(), 0.1), steps(air.humidity_ratio().kilograms_per_kilogram(), 1e-5))
}

impl Engine {
    /// Something has changed in this place: its room is to be looked at, or what is around the rooms.
    pub(super) fn touch(&mut self, place: Place) {
        if matches!(place, Place::Outdoors | Place::Space(_)) {
            self.looked_outdoors = None;
        } else if let Some(memory) = place.room().and_then(|room| self.rooms.get_mut(room)) {
            memory.touched = true;
        }
    }

    /// Something has changed everywhere.
    pub(super) fn touch_all(&mut self) {
        self.looked_outdoors = None;
        self.rooms.iter_mut().for_each(|memory| memory.touched = true);
    }

    /// Whether the air outdoors has to be looked at in this turn. A forecast of it moves by hundredths of a kelvin in the
    /// meantime.
    pub(super) fn outdoors_are_due(&mut self, now: &Now) -> bool {
        let due = self.looked_outdoors.is_none_or(|looked| now.since(looked) >= LOOK_OUTDOORS_EVERY);
        if due {
            self.looked_outdoors = Some(now.elapsed);
        }
        due
    }

    /// Looks at the rooms that have to be looked at.
    pub(super) fn settle_rooms(&mut self, now: &Now) {
        let farm = Arc::clone(&self.farm);
        for index in 0..farm.rooms.len() {
            let memory = &mut self.rooms[index];
            let due = memory.fan_off_at().into_iter().chain([memory.reissue_at()]).min();
            memory.looked_at = memory.touched || due.is_some_and(|due| now.elapsed >= due);
            if self.rooms[index].looked_at {
                self.settle_readings(index, now);
                self.settle_need(index);
            }
        }
        // First the air, from the rooms at the back to those that they draw from.
        let mut drawn = vec![0.0; farm.rooms.len()];
        for index in (0..farm.rooms.len()).rev() {
            self.settle_air(index, drawn[index], now);
            if let (Intake::Room(from), Some(flow)) = (farm.rooms[index].intake, self.drawn_from_intake(index)) {
                drawn[from] += flow;
            }
        }
        // Then the humidity, from the air outdoors to the rooms at the back.
        for index in 0..farm.rooms.len() {
            if self.rooms[index].looked_at {
                self.settle_moisture(index, now);
                self.settle_need(index);
            }
        }
    }

    /// What a room takes from the room that it draws from, m³/h.
    fn drawn_from_intake(&self, index: usize) -> Option<f64> {
        let memory = &self.rooms[index];
        let (_, advice) = memory.air_decided.as_ref()?;
        let all = self.farm.rooms[index].fan.capacity;
        Some(if memory.in_danger() { all } else { advice.flow }.cubic_metres_per_hour())
    }

    fn settle_need(&mut self, index: usize) {
        let room = &self.farm.rooms[index];
        if matches!(room.intake, Intake::Room(_)) {
            let memory = &self.rooms[index];
            let inside = memory.inside(room, self.site.pressure);
            let flow = memory.last_flow.unwrap_or(room.fan.usual);
            self.rooms[index].supply_needed = inside.map(|inside| decide::supply_needed(room, &inside, flow));
        }
    }

    fn settle_air(&mut self, index: usize, drawn: f64, now: &Now) {
        let seen = self.seen(index, drawn, now);
        let memory = &mut self.rooms[index];
        let moved = memory.seen.replace(seen) != Some(seen);
        if !moved && !memory.looked_at {
            return;
        }
        if !memory.looked_at {
            memory.looked_at = true;
            self.settle_readings(index, now);
        }
        let room = &Arc::clone(&self.farm).rooms[index];
        let inside = self.rooms[index].inside(room, self.site.pressure);
        let supply = self.drawn_in(room.intake, now);
        let around = Surroundings {
            room,
            supply: supply.as_ref(),
            supply_known: supply.is_some(),
            outdoors: None,
            shell_faces: None,
            probe: None,
            needed_behind: None,
            supply_carbon_dioxide: self.supply_carbon_dioxide(room.intake),
            drawn_by_others: AirFlow::clamped(drawn),
            now,
        };
        let memory = &mut self.rooms[index];
        memory.air_decided = inside.map(|inside| (inside, memory.decide_air(&around, &inside)));
    }

    fn seen(&self, index: usize, drawn: f64, now: &Now) -> Seen {
        let kelvins = |air: crate::units::Temperature| steps(air.celsius(), 0.1);
        Seen {
            trusted: now.trusted,
            pressure: steps(self.site.pressure.pascals(), 10.0),
            supply: self.supply(index, now).as_ref().map(air_in_steps),
            outdoors: self.site.outdoors.air.as_ref().map(air_in_steps),
            supply_carbon_dioxide: steps(
                self.supply_carbon_dioxide(self.farm.rooms[index].intake).parts_per_million(),
                10.0,
            ),
            shell_faces: self.shell_faces(index, now).map(kelvins),
            needed_behind: self.needed_behind(index).map(|needed| steps(needed.kilograms_per_kilogram(), 1e-5)),
            drawn_by_others: steps(drawn, 0.1),
        }
    }

    /// The air where a room draws its own from.
    fn drawn_in(&self, intake: Intake, now: &Now) -> Option<MoistAir> {
        match intake {
            Intake::Outdoors => self.site.outdoors.air,
            Intake::Room(from) => self.rooms[from].state.air,
            Intake::Space(from) => self.space_air(from, now),
        }
    }

    /// The same; where no humidity is believed of the room that it comes from, that room is taken to hold what it should.
    fn supply(&self, index: usize, now: &Now) -> Option<MoistAir> {
        let intake = self.farm.rooms[index].intake;
        self.drawn_in(intake, now).or_else(|| match intake {
            Intake::Room(from) => self.rooms[from].inside(&self.farm.rooms[from], self.site.pressure),
            Intake::Outdoors | Intake::Space(_) => None,
        })
    }

    fn settle_moisture(&mut self, index: usize, now: &Now) {
        let farm = Arc::clone(&self.farm);
        let room = &farm.rooms[index];
        let outdoors = self.site.outdoors.air;
        let known = self.drawn_in(room.intake, now);
        let supply = self.supply(index, now);
        let (shell_faces, probe) = (self.shell_faces(index, now), self.probe(index));
        let needed_behind = self.needed_behind(index);
        let memory: &mut RoomMemory = &mut self.rooms[index];
        memory.state.supply = known;
        if memory.in_danger() {
            let reason = memory
                .state
                .carbon_dioxide
                .fresh()
                .map_or(Reason::DangerUnknown, |measured| Reason::Danger { measured });
            memory.issue(decide::full_air(room, reason, now), now);
        } else if !now.trusted {
            memory.issue(decide::withheld(Reason::ClockNotTrusted, now), now);
        } else if let Some((inside, advice)) = memory.air_decided {
            let around = Surroundings {
                room,
                supply: supply.as_ref(),
                supply_known: known.is_some(),
                outdoors: outdoors.map(|air| air.humidity_ratio()).or(supply.map(|air| air.humidity_ratio())),
                shell_faces,
                probe,
                needed_behind,
                supply_carbon_dioxide: CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE),
                drawn_by_others: AirFlow::clamped(0.0),
                now,
            };
            memory.decide_moisture(&around, &inside, advice);
        } else {
            memory.issue(decide::withheld(Reason::NoRoomTemperature, now), now);
        }
    }
}
