//! The steady balance of a room: what its air costs in water, and what its crop needs in air.
//!
//! Steady means that the room has settled: what comes in, goes out. It answers "how much now"; it knows no lag.

use super::{FanMoves, Room};
use crate::{
    physics::MoistAir,
    units::{AirFlow, CarbonDioxide, DryAirFlow, HumidityRatio, WaterFlow},
};

/// Carbon dioxide of outdoor air in ppm, far from traffic: about 425 in 2025 and rising by 2 to 3 a year (from memory
/// of the marine-surface record).
pub const OUTDOOR_CARBON_DIOXIDE: f64 = 430.0;

/// A sensor that reads below this, in ppm, is not reading the air: outdoor air nowhere holds so little.
pub const BELOW_OUTDOOR: f64 = 380.0;

/// Mass of carbon dioxide per mass of dry air, for a unit of mole fraction (molar masses 44.01 and 28.96 g/mol).
const CARBON_DIOXIDE_PER_DRY_AIR: f64 = 44.01 / 28.96;

/// No room of living people and crops is taken to settle above this, in ppm.
const HIGHEST_SETTLED: f64 = 30_000.0;

/// The two airs that enter a room, and how much of each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Inflow {
    /// Dry air through the intake.
    pub supplied: DryAirFlow,
    /// Dry air that leaks in from outdoors.
    pub leaked: DryAirFlow,
}

impl Inflow {
    /// What a fan flow brings in. A fan moves volume at its own air's state: an exhaust fan room air, an intake fan
    /// supply air. A leak does not simply add to the flow of a fan that is alone in its room: the total is
    /// √(fan² + leak²), the usual superposition for an unbalanced fan.
    pub fn new(room: &Room, fan: AirFlow, inside: &MoistAir, supply: &MoistAir) -> Self {
        let moved = match room.fan.moves {
            FanMoves::Exhaust | FanMoves::Both => inside,
            FanMoves::Supply => supply,
        };
        let supplied = fan.cubic_metres_per_hour() / moved.specific_volume().cubic_metres_per_kilogram();
        let leak = room.infiltration.times(room.volume).cubic_metres_per_hour()
            / inside.specific_volume().cubic_metres_per_kilogram();
        let total = if room.fan.moves == FanMoves::Both { supplied + leak } else { supplied.hypot(leak) };
        Self { supplied: DryAirFlow::clamped(supplied), leaked: DryAirFlow::clamped(total - supplied) }
    }

    /// All dry air that enters.
    pub fn total(&self) -> f64 {
        self.supplied.kilograms_per_hour() + self.leaked.kilograms_per_hour()
    }

    /// Humidity ratio of the two airs together, or the supply's where nothing flows.
    pub fn mixed(&self, supply: HumidityRatio, outdoors: HumidityRatio) -> HumidityRatio {
        let total = self.total();
        if total <= 0.0 {
            return supply;
        }
        HumidityRatio::clamped(
            (self.supplied.kilograms_per_hour() * supply.kilograms_per_kilogram()
                + self.leaked.kilograms_per_hour() * outdoors.kilograms_per_kilogram())
                / total,
        )
    }

    /// Vapour that brings this air from `entering` to `target`; negative where the entering air is moister.
    pub fn vapour_to(&self, target: HumidityRatio, entering: HumidityRatio) -> WaterFlow {
        WaterFlow::clamped(self.total() * (target.kilograms_per_kilogram() - entering.kilograms_per_kilogram()))
    }

    /// Humidity ratio that this air reaches when `vapour` is added to it.
    pub fn reached_with(&self, vapour: WaterFlow, entering: HumidityRatio) -> HumidityRatio {
        let total = self.total();
        if total <= 0.0 {
            return entering;
        }
        HumidityRatio::clamped(entering.kilograms_per_kilogram() + vapour.kilograms_per_hour() / total)
    }
}

/// The fan flow that holds carbon dioxide at `ceiling` when the crop gives off `grams_per_hour`, in air of specific
/// volume `inside`. Infinite demand (a ceiling at or below the supply's) is the largest flow there is.
pub fn flow_for_carbon_dioxide(
    grams_per_hour: f64,
    ceiling: CarbonDioxide,
    supply: CarbonDioxide,
    inside: &MoistAir,
) -> AirFlow {
    let rise = (ceiling.parts_per_million() - supply.parts_per_million()) * 1e-6 * CARBON_DIOXIDE_PER_DRY_AIR;
    if rise <= 0.0 {
        return AirFlow::clamped(if grams_per_hour > 0.0 { AirFlow::HIGHEST } else { 0.0 });
    }
    let dry_air = grams_per_hour / 1_000.0 / rise;
    AirFlow::clamped(dry_air * inside.specific_volume().cubic_metres_per_kilogram())
}

/// Carbon dioxide at which a room settles when its crop gives off `grams_per_hour` and `fan` flows, in air of specific
/// volume `inside`. Without any flow it has no such value: the highest that air is taken to hold while people live.
pub fn carbon_dioxide_at(grams_per_hour: f64, fan: AirFlow, supply: CarbonDioxide, inside: &MoistAir) -> CarbonDioxide {
    let dry_air = fan.cubic_metres_per_hour() / inside.specific_volume().cubic_metres_per_kilogram();
    let rise = grams_per_hour / 1_000.0 / dry_air.max(1e-9) / (1e-6 * CARBON_DIOXIDE_PER_DRY_AIR);
    CarbonDioxide::clamped((supply.parts_per_million() + rise).min(HIGHEST_SETTLED))
}

/// What a room must have given off, in g/h, for its carbon dioxide to go from `before` to `after` in `hours` while
/// `fan` was flowing. Negative results are noise and come back as zero.
pub fn emission_between(room: &Room, fan: AirFlow, inside: &MoistAir, span: &Span) -> f64 {
    let dry_air_held = room.volume.cubic_metres() / inside.specific_volume().cubic_metres_per_kilogram();
    let flow = fan.cubic_metres_per_hour() / inside.specific_volume().cubic_metres_per_kilogram();
    let per_ppm = 1e-6 * CARBON_DIOXIDE_PER_DRY_AIR * 1_000.0;
    let stored = dry_air_held * (span.after - span.before) * per_ppm / span.hours;
    let carried = flow * (span.mean - span.supply) * per_ppm;
    (stored + carried).max(0.0)
}

/// How fast carbon dioxide rises in a room whose air stands still, in ppm per hour, by the upper end of what its crop
/// gives off; at least as fast as by two people at light work (about 35 g/h each, from memory).
pub fn carbon_dioxide_rise(room: &Room) -> f64 {
    let crop = room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.respiration.upper);
    // Dry air at 16 °C and 100 kPa; near enough for a rate that is an upper end.
    let dry_air_held = room.volume.cubic_metres() / 0.83;
    crop.max(70.0) / (dry_air_held * 1e-6 * CARBON_DIOXIDE_PER_DRY_AIR * 1_000.0)
}

/// Carbon dioxide over a stretch of time, in ppm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Span {
    /// At the start.
    pub before: f64,
    /// At the end.
    pub after: f64,
    /// On average.
    pub mean: f64,
    /// Of the air supplied.
    pub supply: f64,
    /// Length in hours, above zero.
    pub hours: f64,
}
