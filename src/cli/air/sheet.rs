//! One state of air, for people and for programs.

use std::io::{self, Write};

use serde::Serialize;

use crate::physics::{BelowFreezing, MoistAir};
use crate::units::people::{CUBIC_METRES_PER_CUBIC_FOOT, KILOGRAMS_PER_POUND};
use crate::units::{Elevation, HumidityRatio, Temperature, UnitSystem};

/// What is printed.
pub(super) struct Sheet {
    pub air: MoistAir,
    pub below_freezing: BelowFreezing,
    pub units: UnitSystem,
    /// Whose standard pressure was taken, where none was given.
    pub elevation: Option<Elevation>,
}

/// The same in base units, rounded to what the equations are good for.
#[derive(Serialize)]
struct Values {
    temperature_celsius: f64,
    relative_humidity_percent: Option<f64>,
    relative_humidity_over: &'static str,
    pressure_pascals: f64,
    humidity_ratio_kg_per_kg: f64,
    dew_point_celsius: Option<f64>,
    frost_point_celsius: Option<f64>,
    wet_bulb_celsius: f64,
    enthalpy_kj_per_kg: f64,
    specific_volume_m3_per_kg: f64,
    vapour_pressure_pascals: f64,
    vapour_pressure_deficit_pascals: f64,
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10_f64.powi(decimals);
    // Adding zero turns −0 into 0.
    (value * scale).round() / scale + 0.0
}

/// Of humidity ratios, parts in a thousand million: seven significant digits of all but the driest air.
const HUMIDITY_RATIO_DECIMALS: i32 = 10;

impl Sheet {
    fn is_over_ice(&self) -> bool {
        self.below_freezing == BelowFreezing::Ice && self.air.temperature().celsius() < 0.0
    }

    pub(super) fn write_json(&self, output: &mut impl Write) -> io::Result<()> {
        let air = self.air;
        let humidity =
            if self.is_over_ice() { air.relative_humidity_over_ice() } else { Some(air.relative_humidity()) };
        let values = Values {
            temperature_celsius: rounded(air.temperature().celsius(), 4),
            relative_humidity_percent: humidity.map(|humidity| rounded(humidity.percent(), 4)),
            relative_humidity_over: if self.is_over_ice() { "ice" } else { "water" },
            pressure_pascals: rounded(air.pressure().pascals(), 2),
            humidity_ratio_kg_per_kg: rounded(air.humidity_ratio().kilograms_per_kilogram(), HUMIDITY_RATIO_DECIMALS),
            dew_point_celsius: air.dew_point().ok().map(|point| rounded(point.celsius(), 4)),
            frost_point_celsius: air.frost_point().map(|point| rounded(point.celsius(), 4)),
            wet_bulb_celsius: rounded(air.wet_bulb().celsius(), 4),
            enthalpy_kj_per_kg: rounded(air.enthalpy().kilojoules_per_kilogram(), 4),
            specific_volume_m3_per_kg: rounded(air.specific_volume().cubic_metres_per_kilogram(), 6),
            vapour_pressure_pascals: rounded(air.vapour_pressure().pascals(), 4),
            vapour_pressure_deficit_pascals: rounded(air.vapour_pressure_deficit().pascals(), 4),
        };
        serde_json::to_writer_pretty(&mut *output, &values)?;
        writeln!(output)
    }

    pub(super) fn write_text(&self, output: &mut impl Write) -> io::Result<()> {
        let pressure = self.units.pressure(self.air.pressure());
        match self.elevation {
            Some(elevation) if elevation.metres().abs() < 0.5 => {
                writeln!(output, "Air at {pressure}, the standard pressure at sea level")?;
            }
            Some(elevation) => writeln!(
                output,
                "Air at {pressure}, the standard pressure {} above sea level",
                self.units.elevation(elevation)
            )?,
            None => writeln!(output, "Air at {pressure}")?,
        }
        writeln!(output)?;
        let lines = self.lines();
        let widest = lines.iter().map(|(name, _)| name.chars().count()).max().unwrap_or(0);
        let longest = lines.iter().map(|(_, value)| number_width(value)).max().unwrap_or(0);
        for (name, value) in &lines {
            let indent = longest - number_width(value);
            writeln!(output, "  {name:<widest$}  {:indent$}{value}", "")?;
        }
        writeln!(output)?;
        writeln!(output, "{}", self.sentence())
    }

    /// Name and value with unit, one line each.
    fn lines(&self) -> Vec<(&'static str, String)> {
        let (air, units) = (self.air, self.units);
        let point = |point: Option<Temperature>, none: &str| {
            point.map_or_else(|| none.to_owned(), |point| units.temperature(point).to_string())
        };
        let mut lines = vec![("temperature", units.temperature(air.temperature()).to_string())];
        let freezing = air.temperature().celsius() < 0.0;
        let over_water = if freezing { "relative humidity over water" } else { "relative humidity" };
        lines.push((over_water, units.relative_humidity(air.relative_humidity()).to_string()));
        if freezing {
            let over_ice = air
                .relative_humidity_over_ice()
                .map_or_else(|| "over 150 %".to_owned(), |humidity| units.relative_humidity(humidity).to_string());
            lines.push(("relative humidity over ice", over_ice));
        }
        lines.push(("humidity ratio", units.humidity_ratio(air.humidity_ratio()).to_string()));
        lines.push(("dew point", point(air.dew_point().ok(), "below −60 °C")));
        if let Some(frost_point) = air.frost_point() {
            lines.push(("frost point", point(Some(frost_point), "")));
        }
        lines.push(("wet bulb", units.temperature(air.wet_bulb()).to_string()));
        lines.push(("vapour pressure", units.vapour_pressure(air.vapour_pressure()).to_string()));
        lines.push(("vapour-pressure deficit", units.vapour_pressure(air.vapour_pressure_deficit()).to_string()));
        lines.push(("enthalpy", self.enthalpy()));
        lines.push(("specific volume", self.specific_volume()));
        lines
    }

    fn enthalpy(&self) -> String {
        let enthalpy = self.air.enthalpy().kilojoules_per_kilogram();
        match self.units {
            UnitSystem::Metric => format!("{enthalpy:.1} kJ/kg of dry air"),
            // 1 Btu/lb is 2.326 kJ/kg (exact). The US scale starts with dry air at 0 °F: 1.006·32/1.8/2.326 higher.
            UnitSystem::Us => format!("{:.1} Btu/lb of dry air (dry air at 0 °F: 0)", enthalpy / 2.326 + 7.69),
        }
    }

    fn specific_volume(&self) -> String {
        let volume = self.air.specific_volume().cubic_metres_per_kilogram();
        match self.units {
            UnitSystem::Metric => format!("{volume:.3} m³/kg of dry air"),
            UnitSystem::Us => {
                format!("{:.2} ft³/lb of dry air", volume / CUBIC_METRES_PER_CUBIC_FOOT * KILOGRAMS_PER_POUND)
            }
        }
    }

    /// What the air holds, in a sentence.
    fn sentence(&self) -> String {
        let volume = self.air.specific_volume().cubic_metres_per_kilogram();
        let held = self.air.humidity_ratio();
        let full = self.air.saturation_humidity_ratio();
        let per_volume = |ratio: HumidityRatio| {
            let grams = ratio.grams_per_kilogram() / volume;
            match self.units {
                UnitSystem::Metric => format!("{grams:.1} g"),
                UnitSystem::Us => {
                    let pounds = grams / 1_000.0 * 1_000.0 * CUBIC_METRES_PER_CUBIC_FOOT / KILOGRAMS_PER_POUND;
                    format!("{pounds:.2} lb")
                }
            }
        };
        let of_air = match self.units {
            UnitSystem::Metric => "A cubic metre of this air holds",
            UnitSystem::Us => "1 000 cubic feet of this air hold",
        };
        let more = full.minus(held).kilograms_per_kilogram().max(0.0);
        if self.air.relative_humidity().percent() > 99.95 {
            return format!("{of_air} {} of water vapour: all that it can at this temperature.", per_volume(held));
        }
        let room = per_volume(HumidityRatio::clamped(more));
        format!("{of_air} {} of water vapour, and could take up {room} more at this temperature.", per_volume(held))
    }
}

/// Characters before the decimal point or the unit, so that numbers stand under each other.
fn number_width(value: &str) -> usize {
    value.chars().take_while(|c| c.is_ascii_digit() || *c == '-').count()
}
