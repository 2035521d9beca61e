//! Free cooling: fresh air that brings a room which is above its temperature band back into it, where the air that is drawn
//! in is cooler.
//!
//! The room settles so that what warms it is carried off by the difference to the supply; more air makes that difference
//! smaller in proportion. The step up is repeated every quarter of an hour until the room is back, so that an unknown shell
//! does not matter, and it ends where the humidifier could no longer hold the low end of the humidity band: humidity comes
//! before temperature.

use std::time::Duration;

use super::{decide::AirSituation, target::lowest_target};
use crate::{
    model::{balance::Inflow, supply::as_it_enters},
    physics::{BelowFreezing, MoistAir},
    units::AirFlow,
};

/// Below the band's highest temperature by this, cooling ends, in K: three times the noise of a sensor of ±0.3 K.
const ENOUGH: f64 = 0.9;
/// Supply that is cooler than the room by less than this cools too little to be worth its water, in K.
const WORTH_IT: f64 = 2.0;
/// No step up is by more than this.
const LARGEST_STEP: f64 = 1.5;
/// Time between two steps up: a room with its benches takes some quarters of an hour to follow.
pub const STEP_EVERY: Duration = Duration::from_secs(900);

/// What cooling has come to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cooling {
    /// The fresh air that it asked for last.
    pub flow: AirFlow,
    /// Whether it may ask for more by now.
    pub may_step: bool,
}

/// Fresh air for the room's temperature; `None` where it is within its band, or where fresh air does not help. `needed` is
/// what the rest of the advice asks for.
///
/// What has once been raised may not be cut while carbon dioxide is unknown or doubted: there it is not raised.
pub(super) fn flow(situation: &AirSituation<'_>, needed: AirFlow) -> Option<AirFlow> {
    let AirSituation { room, inside, .. } = *situation;
    room.crop.as_ref()?;
    situation.carbon_dioxide.filter(|_| !situation.doubted && !room.burner)?;
    let now = situation.cooling.map_or(needed, |cooling| cooling.flow);
    let supplied = Inflow::new(room, now, inside, &situation.supply?).supplied;
    let supply = as_it_enters(room, situation.supply?, *inside, supplied);
    let (warm, cold) = (inside.temperature().celsius(), supply.temperature().celsius());
    let highest = room.bands.temperature.highest.celsius();
    let begins = warm > highest;
    let goes_on = situation.cooling.is_some() && warm > highest - ENOUGH;
    if warm - cold < WORTH_IT || !(begins || goes_on) {
        return None;
    }
    let may_step = situation.cooling.is_none_or(|cooling| cooling.may_step);
    let step = (warm - cold) / (highest - 0.5 * ENOUGH - cold).max(0.5);
    let more = if begins && may_step { step.clamp(1.0, LARGEST_STEP) } else { 1.0 };
    let most = wettable(situation, &supply).min(room.fan.capacity.cubic_metres_per_hour());
    Some(AirFlow::clamped((now.cubic_metres_per_hour() * more).min(most)))
}

/// The most fresh air with which the humidifier can still hold the low end of the humidity band, in m³/h.
fn wettable(situation: &AirSituation<'_>, supply: &MoistAir) -> f64 {
    let AirSituation { room, inside, .. } = *situation;
    let lowest = lowest_target(room);
    let held = MoistAir::from_sensor(inside.temperature(), lowest, BelowFreezing::Water, inside.pressure());
    let held = held.map_or(inside.humidity_ratio(), MoistAir::humidity_ratio);
    let lacks = held.minus(supply.humidity_ratio()).kilograms_per_kilogram();
    if lacks <= 0.0 {
        return f64::INFINITY;
    }
    let humidifier = room.humidifier.filter(|_| !room.told.tank_empty);
    let possible =
        humidifier.map_or(0.0, |humidifier| humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio());
    possible / lacks * inside.specific_volume().cubic_metres_per_kilogram()
}
