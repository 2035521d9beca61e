//! Quantities as people read them: metric or US units, always with the unit, rounded to what is worth reading.

use super::{
    AirFlow, CarbonDioxide, Elevation, Fraction, HeatFlow, HumidityRatio, Pressure, RelativeHumidity, Temperature,
    TemperatureDifference, Transmittance, VapourPressure, WaterFlow, WaterVolume,
};

/// One setting decides the units of everything that people read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum UnitSystem {
    /// °C, m³, L, kg.
    #[default]
    Metric,
    /// °F, ft³, US gal, lb.
    Us,
}

/// Cubic metres in a cubic foot (exact, from the international foot).
pub const CUBIC_METRES_PER_CUBIC_FOOT: f64 = 0.028_316_846_592;
/// Litres in a US gallon (exact).
pub const LITRES_PER_GALLON: f64 = 3.785_411_784;
/// Kilograms in an avoirdupois pound (exact).
pub const KILOGRAMS_PER_POUND: f64 = 0.453_592_37;
/// Metres in an international foot (exact).
pub const METRES_PER_FOOT: f64 = 0.304_8;
/// Watts in an international-table British thermal unit per hour (exact: 1,055.055 852 62 J in 3,600 s).
pub const WATTS_PER_BTU_PER_HOUR: f64 = 1_055.055_852_62 / 3_600.0;
/// Litres taken by a kilogram of cold water, near enough for a tank (0.1 % at 10–20 °C).
pub const LITRES_PER_KILOGRAM_OF_WATER: f64 = 1.0;

/// A number with its unit, ready to be published or printed: `value` is unrounded.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// In `unit`.
    pub value: f64,
    /// As it is written behind the number.
    pub unit: &'static str,
    /// Decimals worth showing.
    pub decimals: usize,
}

impl std::fmt::Display for Shown {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        // Rounding −0.04 to one decimal must not print "-0.0".
        let text = format!("{:.*}", self.decimals, self.value);
        let text = if text.trim_matches(['-', '0', '.']).is_empty() { text.replace('-', "") } else { text };
        let space = if self.unit.is_empty() { "" } else { " " };
        write!(f, "{text}{space}{}", self.unit)
    }
}

const fn shown(value: f64, unit: &'static str, decimals: usize) -> Shown {
    Shown { value, unit, decimals }
}

impl UnitSystem {
    /// °C or °F, one decimal.
    pub fn temperature(self, value: Temperature) -> Shown {
        match self {
            Self::Metric => shown(value.celsius(), "°C", 1),
            Self::Us => shown(value.celsius() * 1.8 + 32.0, "°F", 1),
        }
    }

    /// K or °F of difference, one decimal.
    pub fn temperature_difference(self, value: TemperatureDifference) -> Shown {
        match self {
            Self::Metric => shown(value.kelvins(), "K", 1),
            Self::Us => shown(value.kelvins() * 1.8, "°F", 1),
        }
    }

    /// Percent, one decimal, in both systems.
    pub fn relative_humidity(self, value: RelativeHumidity) -> Shown {
        shown(value.percent(), "%", 1)
    }

    /// g/kg or grains per pound, both by dry air.
    pub fn humidity_ratio(self, value: HumidityRatio) -> Shown {
        match self {
            Self::Metric => shown(value.grams_per_kilogram(), "g/kg", 2),
            Self::Us => shown(value.kilograms_per_kilogram() * 7_000.0, "gr/lb", 1),
        }
    }

    /// Pa in both systems: the convention's unit list has no better one for small pressures.
    pub fn vapour_pressure(self, value: VapourPressure) -> Shown {
        shown(value.pascals(), "Pa", 0)
    }

    /// hPa, or inches of mercury.
    pub fn pressure(self, value: Pressure) -> Shown {
        match self {
            Self::Metric => shown(value.pascals() / 100.0, "hPa", 1),
            Self::Us => shown(value.pascals() / 3_386.389, "inHg", 2),
        }
    }

    /// m³/h or cubic feet per minute.
    pub fn air_flow(self, value: AirFlow) -> Shown {
        match self {
            Self::Metric => shown(value.cubic_metres_per_hour(), "m³/h", 0),
            Self::Us => shown(value.cubic_metres_per_hour() / 60.0 / CUBIC_METRES_PER_CUBIC_FOOT, "cfm", 0),
        }
    }

    /// L or US gallons.
    pub fn water_volume(self, value: WaterVolume) -> Shown {
        match self {
            Self::Metric => shown(value.litres(), "L", 1),
            Self::Us => shown(value.litres() / LITRES_PER_GALLON, "gal", 1),
        }
    }

    /// kg/h or lb/h of vapour.
    pub fn vapour_flow(self, value: WaterFlow) -> Shown {
        match self {
            Self::Metric => shown(value.kilograms_per_hour(), "kg/h", 2),
            Self::Us => shown(value.kilograms_per_hour() / KILOGRAMS_PER_POUND, "lb/h", 2),
        }
    }

    /// L/h or gal/h of liquid water.
    pub fn liquid_flow(self, value: WaterFlow) -> Shown {
        let litres = value.kilograms_per_hour() * LITRES_PER_KILOGRAM_OF_WATER;
        match self {
            Self::Metric => shown(litres, "L/h", 2),
            Self::Us => shown(litres / LITRES_PER_GALLON, "gal/h", 2),
        }
    }

    /// W, from a thousand on kW; or Btu/h.
    pub fn heat_flow(self, value: HeatFlow) -> Shown {
        match self {
            Self::Metric if value.watts().abs() < 1_000.0 => shown(value.watts(), "W", 0),
            Self::Metric => shown(value.watts() / 1_000.0, "kW", 2),
            Self::Us => shown(value.watts() / WATTS_PER_BTU_PER_HOUR, "Btu/h", 0),
        }
    }

    /// W/m²K or Btu/h·ft²·°F.
    pub fn transmittance(self, value: Transmittance) -> Shown {
        let watts = value.watts_per_square_metre_kelvin();
        match self {
            Self::Metric => shown(watts, "W/m²K", 2),
            Self::Us => {
                shown(watts / (WATTS_PER_BTU_PER_HOUR * 1.8) * METRES_PER_FOOT * METRES_PER_FOOT, "Btu/h·ft²·°F", 3)
            }
        }
    }

    /// m or ft.
    pub fn elevation(self, value: Elevation) -> Shown {
        match self {
            Self::Metric => shown(value.metres(), "m", 0),
            Self::Us => shown(value.metres() / METRES_PER_FOOT, "ft", 0),
        }
    }

    /// ppm in both systems.
    pub fn carbon_dioxide(self, value: CarbonDioxide) -> Shown {
        shown(value.parts_per_million(), "ppm", 0)
    }

    /// A share in percent, in both systems.
    pub fn percent(self, value: Fraction) -> Shown {
        shown(value.ratio() * 100.0, "%", 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_unit_systems_agree_on_the_same_value() {
        let freezing = Temperature::from_celsius(0.0).unwrap();
        assert_eq!(UnitSystem::Metric.temperature(freezing).to_string(), "0.0 °C");
        assert_eq!(UnitSystem::Us.temperature(freezing).to_string(), "32.0 °F");
        // 1 cfm is 1.699 m³/h; 250 cfm is 425 m³/h (definition of the foot).
        let flow = AirFlow::from_cubic_metres_per_hour(424.75).unwrap();
        assert_eq!(UnitSystem::Us.air_flow(flow).to_string(), "250 cfm");
        let tank = WaterVolume::from_litres(37.854).unwrap();
        assert_eq!(UnitSystem::Us.water_volume(tank).to_string(), "10.0 gal");
    }

    #[test]
    fn rounding_never_prints_a_negative_zero() {
        let text = UnitSystem::Metric.temperature(Temperature::from_celsius(-0.04).unwrap()).to_string();
        assert_eq!(text, "0.0 °C");
    }
}
