//! What happened in a step.

use crate::units::{
    CarbonDioxide, DryAirFlow, Fraction, Heat, HeatFlow, HumidityRatio, Mass, Temperature, TemperatureDifference,
    WaterFlow, WaterVolume,
};

/// What happened in a step: means over it, unless it says otherwise.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Report {
    /// Share of the time that the humidifier ran.
    pub duty: Fraction,
    /// Water that the humidifier drew in the whole step.
    pub water: WaterVolume,
    /// Vapour that the humidifier gave.
    pub vapour: WaterFlow,
    /// Vapour that would hold the target at the temperature attained, less what was given; zero where nothing is missing.
    pub shortfall: WaterFlow,
    /// Heat of the room's heater; `None` without one, or where the shell is unknown and the temperature is held.
    pub heater: Option<HeatFlow>,
    /// Heat that is missing at the end to bring and hold the heater's setting; zero without a heater.
    pub heat_missing: HeatFlow,
    /// Heat that the room's cooler takes out, water on its coil included.
    pub cooler: HeatFlow,
    /// Heat of the intake's heater.
    pub tempering: HeatFlow,
    /// Air supplied, as it enters: after exchanger and intake heater. With it, fog at the inlet is judged.
    pub supply_temperature: Temperature,
    /// See [`Self::supply_temperature`].
    pub supply_humidity_ratio: HumidityRatio,
    /// Dry air through the intake.
    pub supplied: DryAirFlow,
    /// Dry air that leaks in.
    pub leaked: DryAirFlow,
    /// Place of the surface nearest to getting wet in the shell's list of surfaces, its temperature, and how much warmer
    /// it is than the dew point (below 0 °C, the frost point) at the step's end; `None` where no surface is known.
    pub dew: Option<Dew>,
    /// Water that condensed or froze on surfaces in the whole step.
    pub condensed: Mass,
    /// Fog that formed in the room's air in the whole step, because it held more than it can; it settles.
    pub fog: Mass,
    /// Mist thrown beyond what the room takes up, at the step's end: it stands in the air where this is above zero.
    /// `None` where the grower has not said when mist stands.
    pub standing_mist: Option<WaterFlow>,
    /// Vapour of a pan or wet cloth: lowest, middle and highest of what formulas say. The middle is in the balance.
    pub pan: [WaterFlow; 3],
    /// Vapour of the crop.
    pub transpiration: WaterFlow,
    /// What a timer does to the room around its mean; `None` for other fans.
    pub swing: Option<Swing>,
}

/// The surface nearest to getting wet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dew {
    /// Its place in the shell's list.
    pub surface: usize,
    /// Its temperature.
    pub temperature: Temperature,
    /// Its temperature less the dew point, or below 0 °C less the frost point.
    pub margin: TemperatureDifference,
}

/// How far a timer fan moves the air from lowest to highest within one period, once it has settled.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Swing {
    /// Highest less lowest carbon dioxide.
    pub carbon_dioxide: CarbonDioxide,
    /// Highest less lowest humidity ratio, were the humidifier to run evenly.
    pub humidity_ratio: HumidityRatio,
}

/// Everything that came and went in a step. What the room holds changes by just that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Books {
    /// Vapour in the air.
    pub water: MaterialBook,
    /// Carbon dioxide in the air.
    pub carbon_dioxide: MaterialBook,
    /// Heat of the air and of the fabric.
    pub energy: EnergyBook,
}

/// Amounts of one material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MaterialBook {
    /// Held at the start.
    pub before: Mass,
    /// Held at the end.
    pub after: Mass,
    /// Came in with air.
    pub entered: Mass,
    /// Went out with air, what warming air pushes out included.
    pub left: Mass,
    /// Given inside: by humidifier, crop and pan.
    pub given: Mass,
    /// Taken inside: by walls, a cooler's coil, and fog.
    pub taken: Mass,
}

/// Amounts of heat. Air counts by its enthalpy, as moist air of zero for dry air and liquid water at 0 °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EnergyBook {
    /// Held by air and fabric at the start.
    pub before: Heat,
    /// Held at the end.
    pub after: Heat,
    /// Came in with air, after exchanger and intake heater.
    pub entered: Heat,
    /// Went out with air.
    pub left: Heat,
    /// Given by heater, crop, fan, pan and the water added; less what the cooler took.
    pub given: Heat,
    /// Went out through the shell, wet walls included, and with water that condensed.
    pub lost: Heat,
}
