//! How the rooms' outlooks turn out: what they say is kept, and scored by the rooms' own sensors when its hour comes.

use jiff::Timestamp;

use super::{core::Engine, room::RoomMemory};
use crate::{
    advice::decide,
    model::{
        Case, Farm, Intake, Now, Outlook, Place, Quantity, Room,
        projection::Trace,
        room_score::{Scorer, Truth},
    },
    units::{Fraction, RelativeHumidity, Temperature, WaterVolume},
};

impl Engine {
    /// Scores what was said of this moment. To be called once the rooms' readings are settled.
    pub(super) fn settle_outlook_scores(&mut self, now: &Now) {
        for index in 0..self.rooms.len() {
            if !self.rooms[index].looked_at {
                continue;
            }
            let duty = self.reported_duty(index);
            let humidifier = self.farm.rooms[index].humidifier.map(|humidifier| (duty, humidifier.output));
            let RoomMemory { state, scorer, .. } = &mut self.rooms[index];
            let truth = Truth {
                temperature: state.temperature.fresh(),
                relative_humidity: state.relative_humidity.fresh(),
                humidifier,
            };
            scorer.read(&truth, now);
            if now.trusted && scorer.settle(&truth, now.wall) {
                state.outlook_score = scorer.score;
            }
        }
        self.scored_by_trusted_clock = now.trusted;
    }

    /// What the humidifier reports of itself: the mean where several do, `None` where any of them is silent or there are none.
    fn reported_duty(&self, index: usize) -> Option<Fraction> {
        let reports = self.at(Place::Room(index)).filter(|(source, _)| source.quantity == Quantity::HumidifierState);
        let duties: Option<Vec<f64>> = reports.map(|(_, state)| Some(state.reading.fresh()?.base())).collect();
        let duties = duties.filter(|duties| !duties.is_empty())?;
        Some(Fraction::clamped(duties.iter().sum::<f64>() / duties.len() as f64))
    }

    /// Keeps what an outlook says, where it is time to.
    pub(super) fn keep_outlook(&mut self, index: usize, outlook: &Outlook, trace: &Trace) {
        let scorer = &mut self.rooms[index].scorer;
        if !scorer.is_due(outlook.made) {
            return;
        }
        let findings = &outlook.expected.findings;
        let water = |hours: i64| match hours {
            12 => findings.water_12_hours,
            24 => findings.water_24_hours,
            _ => None,
        };
        let air = |moment: Timestamp| -> Option<(Temperature, RelativeHumidity)> {
            let air = trace.within(moment, Case::Expected)?.air;
            Some((air.temperature(), air.relative_humidity()))
        };
        scorer.keep(outlook.made, air, |hours| water(hours).map(WaterVolume::litres));
    }

    /// What was said of these rooms, and of those that they share air with, rests on what is no longer so.
    pub(super) fn forget_outlooks(&mut self, rooms: &[usize]) {
        for index in 0..self.rooms.len() {
            if rooms.iter().any(|changed| *changed == index || share_air(&self.farm, *changed, index)) {
                self.rooms[index].scorer.forget();
            }
        }
    }

    /// A clock that was right until now has been set: what was said for its hours is said for other ones.
    pub(super) fn forget_old_clock(&mut self) {
        if self.scored_by_trusted_clock {
            self.rooms.iter_mut().for_each(|memory| memory.scorer.forget());
        }
    }

    /// Takes over what an earlier run has kept. What was said is waited for only where the room is still what it was.
    pub(super) fn restore_scorer(
        &mut self,
        index: usize,
        kept: (Scorer, u64),
        (now, newest): (&Now, Option<Timestamp>),
    ) {
        let (mut scorer, premise) = kept;
        if premise != self::premise(&self.farm.rooms[index]) {
            scorer.forget();
        }
        scorer.resume(newest.filter(|_| now.trusted).map(|newest| now.wall.duration_since(newest)));
        let memory = &mut self.rooms[index];
        memory.state.outlook_score = scorer.score;
        memory.scorer = scorer;
    }
}

/// Whether one of two rooms draws from the other.
fn share_air(farm: &Farm, a: usize, b: usize) -> bool {
    farm.rooms[a].intake == Intake::Room(b) || farm.rooms[b].intake == Intake::Room(a)
}

/// The room as far as it decides how it is run: that somebody is in it counts only by the carbon dioxide that may be.
pub(super) fn as_run(room: &Room) -> Room {
    let mut room = room.clone();
    room.bands.carbon_dioxide_limit = decide::ceiling(&room);
    room.told.presence = None;
    room
}

/// A number that changes, almost surely, with anything that is configured or told of how a room is run: FNV-1a of its
/// description.
pub(super) fn premise(room: &Room) -> u64 {
    let fold = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
    format!("{:?}", as_run(room)).bytes().fold(0xcbf2_9ce4_8422_2325, fold)
}
