//! Joining airstreams, and the fog that may come of it.
//!
//! Two streams mix on a straight line in the plane of enthalpy and humidity ratio. The saturation curve bends away
//! from that line, so two clear streams can make fog; the tangents to the curve tell when. Fog is liquid droplets at any
//! temperature here: airborne droplets stay liquid far below 0 °C, so only the liquid curve is used.

use super::moist_air::{self, MoistAir, MoistAirError, saturated_humidity_ratio};
use super::saturation::Curve;
use super::solve::increasing_root;
use super::water::{
    DRY_AIR_HEAT_CAPACITY, LIQUID_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY, liquid_enthalpy, vapour_enthalpy,
};
use crate::units::{DryAirFlow, Fraction, HumidityRatio, Pressure, RelativeHumidity, Temperature};

/// Air after mixing, in equilibrium with its fog.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mixture {
    /// The air between the droplets; saturated where there are any.
    pub air: MoistAir,
    /// Droplets per kilogram of dry air; zero in clear air.
    pub liquid: HumidityRatio,
}

/// Why streams do not mix.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum MixtureError {
    /// Streams that meet are at one pressure.
    #[error("streams at different pressures, {first:.0} and {second:.0} Pa, do not mix")]
    DifferentPressures {
        /// Of the first stream, in Pa.
        first: f64,
        /// Of another stream, in Pa.
        second: f64,
    },
    /// Nothing flows.
    #[error("no air flows, so there is no mixture")]
    NoFlow,
    /// The mixture lies outside the range of the equations.
    #[error(transparent)]
    MoistAir(#[from] MoistAirError),
}

/// What fresh air does on its way into the room, as seen along the mixing line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InletFog {
    /// Fog somewhere on the line, at its worst: `None` where the whole line is clear.
    pub worst: Option<WorstFog>,
    /// Highest relative humidity of room air, at the room's temperature and over liquid water, with which this supply
    /// makes no fog. `None` where even dry room air would: a warm, moist supply into a cold room.
    pub highest_clear_humidity: Option<RelativeHumidity>,
    /// Lowest temperature of a supply of the same humidity ratio that makes no fog in this room's air. At most the
    /// supply's own temperature where the line is clear. `None` where no temperature in range is enough.
    pub lowest_clear_supply: Option<Temperature>,
}

/// The foggiest mixture of supply and room air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WorstFog {
    /// Droplets per kilogram of dry air, after the mixture has come to equilibrium.
    pub liquid: HumidityRatio,
    /// Share of room air, by dry-air mass, in that mixture.
    pub room_share: Fraction,
}

/// Mixes any number of streams: dry air, water and enthalpy are conserved. A supersaturated mixture comes to
/// equilibrium with its fog.
///
/// # Errors
/// See [`MixtureError`].
pub fn mix(streams: &[(MoistAir, DryAirFlow)]) -> Result<Mixture, MixtureError> {
    let Some((first, _)) = streams.first() else { return Err(MixtureError::NoFlow) };
    let (mut flow_sum, mut water, mut enthalpy) = (0.0, 0.0, 0.0);
    for (air, flow) in streams {
        same_pressure(*first, *air)?;
        let flow = flow.kilograms_per_hour();
        flow_sum += flow;
        water += flow * air.humidity_ratio().kilograms_per_kilogram();
        enthalpy += flow * air.enthalpy().kilojoules_per_kilogram();
    }
    if flow_sum <= 0.0 {
        return Err(MixtureError::NoFlow);
    }
    Ok(settle(enthalpy / flow_sum, water / flow_sum, first.pressure())?)
}

/// Air at `temperature` with `water` kg per kg of dry air *as vapour*: what is too much condenses into fog and
/// warms the air (enthalpy is kept).
///
/// # Errors
/// When the result lies outside −60…80 °C or near boiling.
pub fn condense(temperature: Temperature, water: HumidityRatio, pressure: Pressure) -> Result<Mixture, MoistAirError> {
    let water = water.kilograms_per_kilogram();
    settle(moist_air::enthalpy(temperature.celsius(), water), water, pressure)
}

/// The equilibrium of air with this enthalpy (kJ/kg) and this much water (kg/kg), vapour and droplets together.
pub(super) fn settle(enthalpy: f64, water: f64, pressure: Pressure) -> Result<Mixture, MoistAirError> {
    let pascals = pressure.pascals();
    let clear = dry_bulb(enthalpy, water);
    let (saturated, ..) = saturated_humidity_ratio(Curve::Water, clear.clamp(-60.0, 80.0), pascals);
    if water <= saturated * (1.0 + 1e-9) {
        let temperature = Temperature::from_celsius(clear)?;
        let humidity_ratio = HumidityRatio::from_kilograms_per_kilogram(water.min(saturated))?;
        let air = MoistAir::from_humidity_ratio(temperature, humidity_ratio, pressure)?;
        return Ok(Mixture { air, liquid: HumidityRatio::clamped(0.0) });
    }
    let celsius = increasing_root((-60.0, 80.0), clear, 1e-8, |celsius| {
        let (saturated, slope, _) = saturated_humidity_ratio(Curve::Water, celsius, pascals);
        let evaporation = vapour_enthalpy(celsius) - liquid_enthalpy(celsius);
        (
            DRY_AIR_HEAT_CAPACITY * celsius + saturated * evaporation + water * liquid_enthalpy(celsius) - enthalpy,
            DRY_AIR_HEAT_CAPACITY
                + slope * evaporation
                + saturated * (VAPOUR_HEAT_CAPACITY - LIQUID_HEAT_CAPACITY)
                + water * LIQUID_HEAT_CAPACITY,
        )
    });
    let air = MoistAir::saturated(Temperature::from_celsius(celsius)?, pressure)?;
    let liquid = (water - air.humidity_ratio().kilograms_per_kilogram()).max(0.0);
    Ok(Mixture { air, liquid: HumidityRatio::from_kilograms_per_kilogram(liquid)? })
}

/// Temperature in °C of unfogged air.
fn dry_bulb(enthalpy: f64, water: f64) -> f64 {
    (enthalpy - VAPOUR_AT_ZERO * water) / (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * water)
}

fn same_pressure(a: MoistAir, b: MoistAir) -> Result<(), MixtureError> {
    let (first, second) = (a.pressure().pascals(), b.pressure().pascals());
    if (first - second).abs() > 1.0 {
        return Err(MixtureError::DifferentPressures { first, second });
    }
    Ok(())
}

/// Walks the mixing line from supply to room air. Pressures may differ by 1 Pa; the supply's counts.
///
/// # Errors
/// At different pressures, or when a state on the way lies outside the range of the equations.
pub fn inlet_fog(supply: MoistAir, room: MoistAir) -> Result<InletFog, MixtureError> {
    let line = Line::between(supply, room)?;
    Ok(InletFog {
        worst: line.worst_fog(supply.pressure())?,
        highest_clear_humidity: line.highest_clear_humidity(room),
        lowest_clear_supply: line.lowest_clear_supply(supply),
    })
}

/// [`InletFog::highest_clear_humidity`] alone, of the room's temperature.
///
/// # Errors
/// At different pressures.
pub fn highest_clear_humidity(supply: MoistAir, room: MoistAir) -> Result<Option<RelativeHumidity>, MixtureError> {
    Ok(Line::between(supply, room)?.highest_clear_humidity(room))
}

/// [`InletFog::lowest_clear_supply`] alone.
///
/// # Errors
/// At different pressures.
pub fn lowest_clear_supply(supply: MoistAir, room: MoistAir) -> Result<Option<Temperature>, MixtureError> {
    Ok(Line::between(supply, room)?.lowest_clear_supply(supply))
}

/// Temperature and water of a mixture of supply and room air before droplets form: a point of the mixing line, clear or
/// not. `room_share` is by dry-air mass.
///
/// # Errors
/// At different pressures, or when the point lies outside the range of the equations.
pub fn before_fog(
    supply: MoistAir,
    room: MoistAir,
    room_share: Fraction,
) -> Result<(Temperature, HumidityRatio), MixtureError> {
    same_pressure(supply, room)?;
    let (start, end, share) = (Point::of(supply), Point::of(room), room_share.ratio());
    let water = start.water + share * (end.water - start.water);
    let celsius = dry_bulb(start.enthalpy + share * (end.enthalpy - start.enthalpy), water);
    let temperature = Temperature::from_celsius(celsius).map_err(MoistAirError::from)?;
    Ok((temperature, HumidityRatio::from_kilograms_per_kilogram(water).map_err(MoistAirError::from)?))
}

/// A state in the plane in which mixing is a straight line.
#[derive(Clone, Copy)]
struct Point {
    celsius: f64,
    enthalpy: f64,
    water: f64,
}

impl Point {
    fn of(air: MoistAir) -> Self {
        Self {
            celsius: air.temperature().celsius(),
            enthalpy: air.enthalpy().kilojoules_per_kilogram(),
            water: air.humidity_ratio().kilograms_per_kilogram(),
        }
    }
}

/// Saturated air at one temperature, with derivatives by temperature.
struct SaturatedPoint {
    water: f64,
    water_slope: f64,
    water_curvature: f64,
    enthalpy: f64,
    enthalpy_slope: f64,
    enthalpy_curvature: f64,
}

impl SaturatedPoint {
    fn at(celsius: f64, pascals: f64) -> Self {
        let (water, water_slope, water_curvature) = saturated_humidity_ratio(Curve::Water, celsius, pascals);
        let vapour = vapour_enthalpy(celsius);
        Self {
            water,
            water_slope,
            water_curvature,
            enthalpy: DRY_AIR_HEAT_CAPACITY * celsius + water * vapour,
            enthalpy_slope: DRY_AIR_HEAT_CAPACITY + water_slope * vapour + water * VAPOUR_HEAT_CAPACITY,
            enthalpy_curvature: water_curvature * vapour + 2.0 * water_slope * VAPOUR_HEAT_CAPACITY,
        }
    }

    /// Slope of the saturation curve in the plane of enthalpy and humidity ratio, kg/kJ.
    fn slope(&self) -> f64 {
        self.water_slope / self.enthalpy_slope
    }
}

struct Line {
    supply: Point,
    room: Point,
    pascals: f64,
}

/// Temperatures this near are one, K: the line is then vertical and cannot cross the curve.
const SAME_TEMPERATURE: f64 = 1e-6;
/// Less fog than this is rounding, kg/kg.
const NO_FOG: f64 = 1e-9;
const TANGENT_TOLERANCE: f64 = 1e-7;

impl Line {
    fn between(supply: MoistAir, room: MoistAir) -> Result<Self, MixtureError> {
        same_pressure(supply, room)?;
        Ok(Self { supply: Point::of(supply), room: Point::of(room), pascals: supply.pressure().pascals() })
    }

    fn worst_fog(&self, pressure: Pressure) -> Result<Option<WorstFog>, MoistAirError> {
        let (rise, run) = (self.room.water - self.supply.water, self.room.enthalpy - self.supply.enthalpy);
        let (cold, warm) = if self.supply.celsius < self.room.celsius {
            (self.supply.celsius, self.room.celsius)
        } else {
            (self.room.celsius, self.supply.celsius)
        };
        if warm - cold < SAME_TEMPERATURE {
            return Ok(None);
        }
        // Of what settles at one temperature of fog, the share of room air in it and its droplets.
        let settled = |celsius: f64, curve: &SaturatedPoint| {
            let droplet = liquid_enthalpy(celsius);
            let brought = curve.enthalpy - self.supply.enthalpy - droplet * (curve.water - self.supply.water);
            let share = brought / (run - droplet * rise);
            (share, (self.supply.water + share * rise - curve.water).max(0.0))
        };
        // Along the line, droplets are most where the saturated air between them changes its water and its enthalpy
        // (with the droplets' own heat) in the line's proportion.
        let sign = run.signum();
        let celsius = increasing_root((cold, warm), 0.5 * (cold + warm), 1e-6, |celsius| {
            let curve = SaturatedPoint::at(celsius, self.pascals);
            let (_, droplets) = settled(celsius, &curve);
            let heat_slope = curve.enthalpy_slope + LIQUID_HEAT_CAPACITY * droplets;
            (
                sign * (curve.water_slope * run - rise * heat_slope),
                sign * (curve.water_curvature * run - rise * curve.enthalpy_curvature),
            )
        });
        let (share, _) = settled(celsius, &SaturatedPoint::at(celsius, self.pascals));
        if !(share > 0.0 && share < 1.0) {
            return Ok(None);
        }
        let mixture = settle(self.supply.enthalpy + share * run, self.supply.water + share * rise, pressure)?;
        if mixture.liquid.kilograms_per_kilogram() <= NO_FOG {
            return Ok(None);
        }
        Ok(Some(WorstFog { liquid: mixture.liquid, room_share: Fraction::clamped(share) }))
    }

    fn highest_clear_humidity(&self, room: MoistAir) -> Option<RelativeHumidity> {
        let saturated = room.saturation_humidity_ratio().kilograms_per_kilogram();
        let full = RelativeHumidity::clamped(1.0);
        if (self.room.celsius - self.supply.celsius).abs() < SAME_TEMPERATURE {
            return Some(full);
        }
        let Some(touch) = self.tangent(self.supply, self.room.celsius) else { return Some(full) };
        let slope = SaturatedPoint::at(touch, self.pascals).slope();
        // Where the tangent through the supply passes the room's temperature.
        let water = (self.supply.water + slope * (DRY_AIR_HEAT_CAPACITY * self.room.celsius - self.supply.enthalpy))
            / (1.0 - slope * vapour_enthalpy(self.room.celsius));
        if water < 0.0 {
            return None;
        }
        if water >= saturated {
            return Some(full);
        }
        let vapour = moist_air::vapour_pressure(water, self.pascals);
        let saturation = moist_air::vapour_pressure(saturated, self.pascals);
        Some(RelativeHumidity::clamped(vapour / saturation))
    }

    fn lowest_clear_supply(&self, supply: MoistAir) -> Option<Temperature> {
        // Colder than its dew point, the supply itself would fog.
        let dew_point = supply.dew_point().map_or(-60.0, Temperature::celsius);
        let toward = if dew_point <= self.room.celsius { -60.0 } else { 80.0 };
        let touch = self.tangent(self.room, toward);
        let beyond = |touch: f64| if toward < 0.0 { dew_point < touch } else { dew_point > touch };
        let Some(touch) = touch.filter(|touch| beyond(*touch)) else { return Some(Temperature::clamped(dew_point)) };
        let slope = SaturatedPoint::at(touch, self.pascals).slope();
        let enthalpy = self.room.enthalpy + (self.supply.water - self.room.water) / slope;
        let celsius = dry_bulb(enthalpy, self.supply.water);
        (-60.0..=80.0).contains(&celsius).then(|| Temperature::clamped(celsius))
    }

    /// Temperature at which a line from `from` touches the saturation curve, between `from`'s temperature and `toward`;
    /// `None` where all of that stretch is in sight.
    fn tangent(&self, from: Point, toward: f64) -> Option<f64> {
        let (bracket, sign) =
            if toward > from.celsius { ((from.celsius, toward), 1.0) } else { ((toward, from.celsius), -1.0) };
        // Seen from a point under the curve, this is negative at first, grows with the distance on either side, and
        // is zero where the line of sight is the tangent.
        let sight = |celsius: f64| {
            let curve = SaturatedPoint::at(celsius, self.pascals);
            let (run, rise) = (curve.enthalpy - from.enthalpy, curve.water - from.water);
            (
                curve.water_slope * run - rise * curve.enthalpy_slope,
                sign * (curve.water_curvature * run - rise * curve.enthalpy_curvature),
            )
        };
        if sight(toward).0 <= 0.0 {
            return None;
        }
        let guess = 0.5 * (bracket.0 + bracket.1);
        Some(increasing_root(bracket, guess, TANGENT_TOLERANCE, |celsius| {
            let (value, slope) = sight(celsius);
            (sign * value, slope)
        }))
    }
}
