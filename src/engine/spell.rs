//! The third day: whether the cold will outlast the equipment beyond the hours that are projected.
//!
//! Step by step, two days are projected. For the day after them the steady balance is enough: the fresh air that the crop
//! needs, and the vapour that the low end of the band then takes, hour by hour. Only rooms that draw straight from outdoors
//! have such a day.

use jiff::{SignedDuration, Timestamp};

use super::core::Engine;
use crate::{
    advice::{
        decide::{self, AirSituation},
        target,
    },
    model::{
        Case, Intake, Now, Room,
        balance::{Inflow, OUTDOOR_CARBON_DIOXIDE},
        projection::HOURS,
    },
    physics::{BelowFreezing, MoistAir},
    units::{AirFlow, CarbonDioxide},
};

/// Hours of a day that the humidifier cannot give.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct ThirdDay {
    /// The outlook that it goes beyond.
    pub made: Timestamp,
    /// First hour without the low end of the band.
    pub from: Option<Timestamp>,
    /// How many there are.
    pub hours: u32,
}

impl Engine {
    /// Looks at the third day of each room whose outlook is new.
    pub(super) fn settle_third_days(&mut self, now: &Now) {
        for index in 0..self.rooms.len() {
            let made = self.rooms[index].state.outlook.as_ref().map(|outlook| outlook.made);
            let known = self.rooms[index].third_day.map(|day| day.made);
            if made != known {
                self.rooms[index].third_day = made.and_then(|made| self.third_day(index, made, now));
            }
        }
    }

    fn third_day(&self, index: usize, made: Timestamp, now: &Now) -> Option<ThirdDay> {
        let room = &self.farm.rooms[index];
        let corrected = self.site.corrected().filter(|_| now.trusted)?;
        let emission = self.rooms[index].crop_output.usual(room, room.bands.temperature.preferred);
        let hours = (0..24).map(|hour| made + SignedDuration::from_hours(HOURS as i64 + hour));
        let lacking: Vec<Timestamp> = hours
            .filter(|moment| {
                let outdoors = corrected.at(*moment, Case::Expected);
                let outdoors = outdoors.and_then(|point| point.air.at_pressure(self.site.pressure).ok());
                outdoors.is_some_and(|outdoors| is_beyond(room, emission, &outdoors))
            })
            .collect();
        let hours = u32::try_from(lacking.len()).unwrap_or(0);
        Some(ThirdDay { made, from: lacking.first().copied(), hours })
    }
}

/// Whether the humidifier of a room that has settled cannot hold the low end of the band in this weather.
fn is_beyond(room: &Room, emission: Option<f64>, outdoors: &MoistAir) -> bool {
    let (Intake::Outdoors, Some(humidifier)) = (room.intake, room.humidifier) else { return false };
    let (temperature, lowest) = (room.bands.temperature.preferred, target::lowest_target(room));
    let Ok(inside) = MoistAir::from_sensor(temperature, lowest, BelowFreezing::Water, outdoors.pressure()) else {
        return false;
    };
    let upper = room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.respiration.upper);
    let planned = decide::PLANNED_SHARE * decide::ceiling(room).parts_per_million();
    let air = decide::fresh_air(&AirSituation {
        room,
        inside: &inside,
        carbon_dioxide: emission.map(|_| CarbonDioxide::clamped(planned)),
        doubted: false,
        supply_carbon_dioxide: CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE),
        emission: emission.unwrap_or(upper),
        settled: true,
        drawn_by_others: AirFlow::clamped(0.0),
        last: None,
        supply: None,
        cooling: None,
    });
    let inflow = Inflow::new(room, air.flow, &inside, outdoors);
    let entering = inflow.mixed(outdoors.humidity_ratio(), outdoors.humidity_ratio());
    let needed = inflow.vapour_to(inside.humidity_ratio(), entering).kilograms_per_hour();
    needed > humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio()
}
