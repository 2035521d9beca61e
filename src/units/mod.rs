//! Values with a unit and a legal range.
//!
//! Inside the program every quantity is a type of its own, held in the base unit that its accessor names; a
//! constructor refuses NaN, infinities and values outside the legal range, so no other module has to check again.
//! A temperature and a difference of temperatures are different types, because they convert differently.
//!
//! [`people`] turns values into text in metric or US units, and [`parse`] reads quantities that people wrote.

pub mod parse;
pub mod people;

mod quantity;

pub use people::UnitSystem;
pub use quantity::OutOfRange;

use quantity::quantity;

quantity! {
    /// Temperature of air or of a surface.
    Temperature { "temperature", "°C", celsius, from_celsius, -100.0..=200.0 }
    /// A difference of two temperatures; positive where the first is warmer.
    TemperatureDifference { "temperature difference", "K", kelvins, from_kelvins, -300.0..=300.0 }
    /// Absolute pressure of the air. The lower bound is the air at about 16 km, far above any farm.
    Pressure { "pressure", "Pa", pascals, from_pascals, 10_000.0..=120_000.0 }
    /// A vapour pressure or a difference of vapour pressures.
    VapourPressure { "vapour pressure", "Pa", pascals, from_pascals, -200_000.0..=2_000_000.0 }
    /// Relative humidity as a ratio: 1 is saturation. Up to 1.5, so that supersaturated air can be described.
    RelativeHumidity { "relative humidity", "ratio", ratio, from_ratio, 0.0..=1.5 }
    /// Water vapour per dry air, by mass.
    HumidityRatio { "humidity ratio", "kg/kg", kilograms_per_kilogram, from_kilograms_per_kilogram, 0.0..=10.0 }
    /// Difference of two humidity ratios: what a kilogram of dry air lacks (positive) or has too much (negative).
    HumidityRatioDifference { "humidity ratio difference", "kg/kg", kilograms_per_kilogram, from_kilograms_per_kilogram, -10.0..=10.0 }
    /// Moist air's enthalpy per kilogram of dry air; zero for dry air at 0 °C.
    Enthalpy { "enthalpy", "kJ/kg", kilojoules_per_kilogram, from_kilojoules_per_kilogram, -1_000.0..=30_000.0 }
    /// Heat that a change of phase takes up or gives off.
    LatentHeat { "latent heat", "kJ/kg", kilojoules_per_kilogram, from_kilojoules_per_kilogram, 0.0..=4_000.0 }
    /// Volume of moist air that holds one kilogram of dry air.
    SpecificVolume { "specific volume", "m³/kg", cubic_metres_per_kilogram, from_cubic_metres_per_kilogram, 0.01..=100.0 }
    /// Height above sea level.
    Elevation { "elevation", "m", metres, from_metres, -500.0..=9_000.0 }
    /// Room volume.
    Volume { "volume", "m³", cubic_metres, from_cubic_metres, 0.1..=100_000.0 }
    /// Volume of liquid water.
    WaterVolume { "water volume", "L", litres, from_litres, 0.0..=10_000_000.0 }
    /// Volume flow of air, at the state of the air that the fan moves.
    AirFlow { "air flow", "m³/h", cubic_metres_per_hour, from_cubic_metres_per_hour, 0.0..=10_000_000.0 }
    /// Air changes of a room. Always per hour.
    AirChanges { "air changes", "1/h", per_hour, from_per_hour, 0.0..=1_000.0 }
    /// Mass flow of dry air.
    DryAirFlow { "dry-air flow", "kg/h", kilograms_per_hour, from_kilograms_per_hour, 0.0..=10_000_000.0 }
    /// Mass flow of water, as liquid or vapour.
    WaterFlow { "water flow", "kg/h", kilograms_per_hour, from_kilograms_per_hour, -100_000.0..=100_000.0 }
    /// Mass of water, substrate or crop.
    Mass { "mass", "kg", kilograms, from_kilograms, 0.0..=10_000_000.0 }
    /// Carbon dioxide in dry air, by volume.
    CarbonDioxide { "carbon dioxide", "ppm", parts_per_million, from_parts_per_million, 0.0..=1_000_000.0 }
    /// Carbon dioxide given off, by mass.
    CarbonDioxideFlow { "carbon dioxide flow", "g/h", grams_per_hour, from_grams_per_hour, 0.0..=10_000_000.0 }
    /// A share of a whole: a duty, an evaporated fraction, a temperature factor.
    Fraction { "fraction", "ratio", ratio, from_ratio, 0.0..=1.0 }
    /// Thermal transmittance of a wall.
    Transmittance { "thermal transmittance", "W/m²K", watts_per_square_metre_kelvin, from_watts_per_square_metre_kelvin, 0.0..=100.0 }
    /// Resistance of the air film on a surface, or of any layer.
    ThermalResistance { "thermal resistance", "m²K/W", square_metre_kelvins_per_watt, from_square_metre_kelvins_per_watt, 0.0..=100.0 }
    /// Heat transferred to a surface by convection, for each square metre and kelvin.
    HeatTransferCoefficient { "heat-transfer coefficient", "W/m²K", watts_per_square_metre_kelvin, from_watts_per_square_metre_kelvin, 0.0..=200.0 }
    /// Heat that passes through a room's whole shell for each kelvin.
    HeatLoss { "heat loss", "W/K", watts_per_kelvin, from_watts_per_kelvin, 0.0..=1_000_000.0 }
    /// Heat that a mass takes up for each kelvin.
    HeatCapacity { "heat capacity", "kJ/K", kilojoules_per_kelvin, from_kilojoules_per_kelvin, 0.0..=10_000_000.0 }
    /// An amount of heat.
    Heat { "heat", "kJ", kilojoules, from_kilojoules, -1e12..=1e12 }
    /// Heat given or taken.
    HeatFlow { "heat flow", "W", watts, from_watts, -10_000_000.0..=10_000_000.0 }
    /// Area of a wall, a window or a wet surface.
    Area { "area", "m²", square_metres, from_square_metres, 0.0..=1_000_000.0 }
    /// Wind or air speed.
    Speed { "speed", "m/s", metres_per_second, from_metres_per_second, 0.0..=200.0 }
}

impl Temperature {
    /// Absolute temperature in kelvins.
    pub fn kelvins(self) -> f64 {
        self.celsius() + 273.15
    }

    /// How much warmer `self` is than `other`.
    pub fn minus(self, other: Self) -> TemperatureDifference {
        // Both lie in −100…200 °C, so the difference lies in ±300 K.
        TemperatureDifference::new_unchecked(self.celsius() - other.celsius())
    }
}

impl RelativeHumidity {
    /// From percent, as sensors and people write it.
    ///
    /// # Errors
    /// Outside 0…150 %, or not a number.
    pub fn from_percent(percent: f64) -> Result<Self, OutOfRange> {
        Self::from_ratio(percent / 100.0)
    }

    /// In percent.
    pub fn percent(self) -> f64 {
        self.ratio() * 100.0
    }
}

impl HumidityRatio {
    /// In grams of water vapour per kilogram of dry air, the trade's usual unit.
    pub fn grams_per_kilogram(self) -> f64 {
        self.kilograms_per_kilogram() * 1_000.0
    }

    /// `self − other`.
    pub fn minus(self, other: Self) -> HumidityRatioDifference {
        HumidityRatioDifference::new_unchecked(self.kilograms_per_kilogram() - other.kilograms_per_kilogram())
    }
}

impl HumidityRatioDifference {
    /// In grams of water vapour per kilogram of dry air.
    pub fn grams_per_kilogram(self) -> f64 {
        self.kilograms_per_kilogram() * 1_000.0
    }
}

impl AirChanges {
    /// The volume flow that gives this many air changes in a room of `volume`.
    pub fn times(self, volume: Volume) -> AirFlow {
        AirFlow::clamped(self.per_hour() * volume.cubic_metres())
    }
}

impl AirFlow {
    /// Air changes that this flow gives a room of `volume`.
    pub fn per(self, volume: Volume) -> AirChanges {
        AirChanges::clamped(self.cubic_metres_per_hour() / volume.cubic_metres())
    }
}
