//! How high the humidity target may be: what mist, fog at the inlet and cold surfaces allow, and what gives way.
//!
//! Each of the three lowers the target only as far as the low end of the crop's band. With direct winter air the
//! mixing line at the inlet is supersaturated at any humidity that a crop can use, and film walls drip from 25–45 %:
//! beyond the low end these are reported with their cure, not obeyed.

use super::drying;
use crate::{
    model::{Room, SurfaceKind},
    physics::{MoistAir, flow, humidify, mixing, surface},
    units::{DryAirFlow, HumidityRatio, RelativeHumidity, Temperature, ThermalResistance},
};

/// Nearest that a target may bring the air's dew point to a surface, in K. Humidifiers are locked out at this margin by
/// careful growers (common practice, no source).
pub const DEW_MARGIN: f64 = 0.5;
/// No advice asks for more; the cap wins over any band.
pub const HIGHEST_TARGET: f64 = 0.95;
/// Inner film of a wall, in m²K/W (ISO 6946, from memory), for the temperature of its surface.
const INNER_FILM: f64 = 0.13;
/// Air within this of a temperature takes up as much mist, to some tenths of a percent: K.
const AS_WARM: f64 = 0.05;
/// Relative humidity outdoors that a grower's sentence about mist is taken to have been seen at.
const MIST_SEEN_OUTDOORS: f64 = 0.8;

/// What the air enters and what encloses it, for one moment.
#[derive(Debug, Clone, Copy)]
pub struct Enclosed<'a> {
    /// The room as configured.
    pub room: &'a Room,
    /// Its air; the temperature and the pressure matter.
    pub inside: MoistAir,
    /// The fresh air as it enters, behind any exchanger and heater of the intake.
    pub supply: MoistAir,
    /// All dry air that enters.
    pub inflow: DryAirFlow,
    /// Humidity ratio of all that enters.
    pub entering: HumidityRatio,
    /// Temperature on the other side of the shell; `None` where it is not known.
    pub around: Option<Temperature>,
    /// The coldest surface that a probe measures.
    pub probe: Option<Temperature>,
    /// What is wished for: the preferred humidity, or more of an anteroom.
    pub wish: RelativeHumidity,
}

/// Something that holds the target below the preferred humidity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Holder {
    /// Above this, mist would stand: the air could not take it up as fast as it is thrown.
    StandingMist,
    /// Above this, fog would form where the supply mixes in.
    InletFog,
    /// Above this, the coldest surface would come within [`DEW_MARGIN`] of the dew point.
    ColdSurface {
        /// Its temperature.
        surface: Temperature,
    },
    /// Above this, the air that passes the crop would no longer dry its caps.
    WetCaps,
}

/// The highest target that the room's enclosure allows, and what holds it there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ceiling {
    /// The target: the preferred humidity where nothing holds it, and never below the band's low end.
    pub target: RelativeHumidity,
    /// What holds it below the preferred humidity, if anything.
    pub holder: Option<Holder>,
    /// Where even the band's low end is too high for the holder: what it would have allowed.
    pub beyond: Option<RelativeHumidity>,
}

/// The relative humidity that the grower holds or the bands ask for, within the cap.
pub fn preferred_target(room: &Room) -> RelativeHumidity {
    let wanted = room.told.hold.humidity_target.unwrap_or(room.bands.relative_humidity.preferred);
    RelativeHumidity::clamped(wanted.ratio().min(HIGHEST_TARGET))
}

/// The lowest relative humidity that the target may be brought down to. A target that the grower holds is not lowered;
/// what it lacks shows as vapour that is missing.
pub fn lowest_target(room: &Room) -> RelativeHumidity {
    let lowest = room.told.hold.humidity_target.unwrap_or(room.bands.relative_humidity.lowest).ratio();
    RelativeHumidity::clamped(lowest.min(preferred_target(room).ratio()))
}

/// Finds the ceiling. What cannot be reckoned (states outside the equations' range) holds nothing.
pub fn ceiling(enclosed: &Enclosed<'_>) -> Ceiling {
    let (preferred, lowest) = (enclosed.wish, lowest_target(enclosed.room));
    let holders = [standing_mist(enclosed), fog_at_inlet(enclosed), cold_surface(enclosed), wet_caps(enclosed)];
    let strictest = holders.into_iter().flatten().min_by(|(a, _), (b, _)| a.ratio().total_cmp(&b.ratio()));
    match strictest.filter(|(allowed, _)| allowed.ratio() < preferred.ratio()) {
        None => Ceiling { target: preferred, holder: None, beyond: None },
        Some((allowed, holder)) => Ceiling {
            target: RelativeHumidity::clamped(allowed.ratio().max(lowest.ratio())),
            holder: Some(holder),
            beyond: (allowed.ratio() < lowest.ratio()).then_some(allowed),
        },
    }
}

/// Droplets stay when the air cannot take them up as fast as they are thrown: φ·u·H ≤ r·(W_sat(T*) − W). In a room that
/// has settled the left side is ṁ·(W − W_in). Over the few points between band and saturation, what the air can take
/// up falls almost in proportion to 1 − RH, so both sides are straight lines in RH.
fn standing_mist(enclosed: &Enclosed<'_>) -> Option<(RelativeHumidity, Holder)> {
    let power = mist_power(enclosed.room, enclosed.inside)?;
    let per_humidity = enclosed.inside.saturation_humidity_ratio().kilograms_per_kilogram();
    let inflow = enclosed.inflow.kilograms_per_hour();
    let entering = enclosed.entering.kilograms_per_kilogram();
    let allowed = (inflow * entering + power) / (inflow * per_humidity + power);
    Some((RelativeHumidity::clamped(allowed), Holder::StandingMist))
}

/// Vapour that the room's air can take up from mist for each unit of 1 − RH, in kg/h, from what the grower has seen:
/// there, the mist thrown to hold the room was just what the air could take up.
///
/// Seen with the usual fresh air at the preferred temperature of the band. `None` without such a sentence.
pub fn mist_power(room: &Room, inside: MoistAir) -> Option<f64> {
    let seen = room.humidifier?.mist?;
    let pressure = inside.pressure();
    let water = crate::physics::BelowFreezing::Water;
    let temperature = room.bands.temperature.preferred;
    let then = MoistAir::from_sensor(temperature, seen.at, water, pressure).ok()?;
    let outdoors = RelativeHumidity::clamped(MIST_SEEN_OUTDOORS);
    let outdoors = MoistAir::from_sensor(seen.outdoors, outdoors, water, pressure).ok()?;
    let flow = flow::dry_air_flow(room.fan.usual, then).kilograms_per_hour();
    let thrown =
        flow * (then.humidity_ratio().kilograms_per_kilogram() - outdoors.humidity_ratio().kilograms_per_kilogram());
    let dry = 1.0 - seen.at.ratio();
    if thrown <= 0.0 || dry <= 0.0 {
        return None;
    }
    if (inside.temperature().celsius() - temperature.celsius()).abs() < AS_WARM {
        return Some(thrown / dry);
    }
    // The room's temperature differs from then: what the air can take up goes with the rise to adiabatic saturation.
    Some(thrown / dry * uptake(inside.temperature(), seen.at, inside)? / uptake(temperature, seen.at, inside)?)
}

/// Rise of humidity ratio to adiabatic saturation.
fn uptake(temperature: Temperature, at: RelativeHumidity, inside: MoistAir) -> Option<f64> {
    let air = MoistAir::from_sensor(temperature, at, crate::physics::BelowFreezing::Water, inside.pressure()).ok()?;
    let saturated = RelativeHumidity::clamped(1.0);
    let water = humidify::WaterAdded::Liquid(temperature);
    let (_, added) = humidify::to_relative_humidity(air, saturated, water).ok()?;
    Some(added.kilograms_per_kilogram()).filter(|added| *added > 0.0)
}

fn fog_at_inlet(enclosed: &Enclosed<'_>) -> Option<(RelativeHumidity, Holder)> {
    if enclosed.supply.temperature() >= enclosed.inside.temperature() {
        return None;
    }
    Some((mixing::highest_clear_humidity(enclosed.supply, enclosed.inside).ok()??, Holder::InletFog))
}

/// Lowest temperature of the supply that keeps a room of `inside`'s temperature clear of fog at the `wished` humidity; `None`
/// where no tempering does.
pub fn temper_to(supply: MoistAir, inside: MoistAir, wished: RelativeHumidity) -> Option<Temperature> {
    let water = crate::physics::BelowFreezing::Water;
    let wished = MoistAir::from_sensor(inside.temperature(), wished, water, inside.pressure()).ok()?;
    mixing::lowest_clear_supply(supply, wished).ok()?
}

fn cold_surface(enclosed: &Enclosed<'_>) -> Option<(RelativeHumidity, Holder)> {
    let coldest = coldest_surface(enclosed.room, enclosed.inside.temperature(), enclosed.around, enclosed.probe)?;
    let held = Temperature::clamped(coldest.celsius() - DEW_MARGIN);
    let (room, pressure) = (enclosed.inside.temperature(), enclosed.inside.pressure());
    let allowed = surface::highest_dry_humidity(held, room, pressure).ok()?;
    Some((allowed, Holder::ColdSurface { surface: coldest }))
}

/// Only where there is a crop, and its grower has measured the air's speed at it.
fn wet_caps(enclosed: &Enclosed<'_>) -> Option<(RelativeHumidity, Holder)> {
    let speed = enclosed.room.crop.as_ref().and(enclosed.room.air_speed)?;
    let allowed = drying::highest_humidity(&enclosed.inside, speed).unwrap_or(RelativeHumidity::clamped(0.0));
    Some((allowed, Holder::WetCaps))
}

/// Temperature of the coldest surface of a room, by what is known of them: walls and temperature factors in steady
/// state, and what a probe measures.
pub fn coldest_surface(
    room: &Room,
    inside: Temperature,
    around: Option<Temperature>,
    probe: Option<Temperature>,
) -> Option<Temperature> {
    let reckoned = room.shell.surfaces.iter().filter_map(|watched| {
        let factor = match watched.kind {
            SurfaceKind::Wall { transmittance, .. } => {
                surface::factor_of_wall(transmittance, ThermalResistance::clamped(INNER_FILM))
            }
            SurfaceKind::Factor(factor) => factor,
            SurfaceKind::Probe => return probe,
        };
        Some(surface::temperature_by_factor(inside, around?, factor))
    });
    reckoned.min_by(|a, b| a.celsius().total_cmp(&b.celsius()))
}
