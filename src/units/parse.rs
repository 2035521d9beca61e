//! Quantities as people write them: a number and a unit, `42 m³`, `1 480 ft³`, `64 °F`, `250 cfm`, `6 /h`.
//!
//! A number may carry thousands in groups of three (a space of any kind, or `_`), a typographic minus and an exponent.
//! A decimal comma is refused, because `1,480` means two different things to two readers. A number without a unit is
//! refused too: nobody can tell °C from °F, or air changes per hour from air changes per day.

use std::time::Duration;

use super::people::{
    CUBIC_METRES_PER_CUBIC_FOOT, KILOGRAMS_PER_POUND, LITRES_PER_GALLON, LITRES_PER_KILOGRAM_OF_WATER, METRES_PER_FOOT,
    WATTS_PER_BTU_PER_HOUR,
};
use super::{
    AirChanges, AirFlow, Area, CarbonDioxide, Elevation, Enthalpy, Fraction, HeatCapacity, HeatFlow, HeatLoss,
    HeatTransferCoefficient, HumidityRatio, Mass, OutOfRange, Pressure, RelativeHumidity, Speed, Temperature,
    TemperatureDifference, Transmittance, VapourPressure, Volume, WaterFlow, WaterVolume,
};

/// A unit that people may write behind a number.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    /// As messages show it.
    pub shown: &'static str,
    /// Other spellings. Letter case, spaces, `^`, `³` against `3` and `per` against `/` make no difference.
    pub others: &'static [&'static str],
    /// Base units in one of this unit.
    pub scale: f64,
    /// Where the base unit's zero stands on this unit's scale; 32 for °F.
    pub zero: f64,
}

const fn in_unit(shown: &'static str, scale: f64, others: &'static [&'static str]) -> Unit {
    Unit { shown, others, scale, zero: 0.0 }
}

/// A quantity that people can write.
pub trait Written: Sized {
    /// What it is called in messages.
    const WORDS: &'static str;
    /// A sensible value, written as one should.
    const EXAMPLE: &'static str;
    /// The units it may be written in, the likeliest first.
    const UNITS: &'static [Unit];

    /// From a number in the base unit.
    ///
    /// # Errors
    /// Outside the legal range, or not a finite number.
    fn from_base(number: f64) -> Result<Self, OutOfRange>;

    /// A sharper explanation for a unit that people use for this quantity and that cannot be understood.
    fn explain(_unit: &str) -> Option<&'static str> {
        None
    }
}

/// Why a text is no quantity.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum QuantityError {
    /// Nothing was written.
    #[error("no {quantity} is written; write one as in `{example}`")]
    Empty {
        /// What was wanted, in words.
        quantity: &'static str,
        /// A value written as one should.
        example: &'static str,
    },
    /// The text does not start with a number; `NaN` and `inf` are none.
    #[error("`{text}` does not start with a number; write the {quantity} as in `{example}`")]
    NotANumber {
        /// As written.
        text: String,
        /// What was wanted, in words.
        quantity: &'static str,
        /// A value written as one should.
        example: &'static str,
    },
    /// A comma, which is a decimal mark to some and groups thousands to others.
    #[error("`{text}` has a comma, which is read in two ways: use a point for decimals, a space between thousands")]
    Comma {
        /// As written.
        text: String,
    },
    /// Digits that are apart, but not in groups of three.
    #[error("the digits of `{text}` are not in groups of three, as in `1 480`")]
    Groups {
        /// As written.
        text: String,
    },
    /// A number too large for any quantity, such as `1e400`.
    #[error("`{text}` is too large a number")]
    TooLarge {
        /// As written.
        text: String,
    },
    /// A number alone.
    #[error("`{number}` has no unit; write `{number} {first}`, or another of: {units}", units = Listed(.units))]
    NoUnit {
        /// The number as written.
        number: String,
        /// What was wanted, in words.
        quantity: &'static str,
        /// The likeliest unit.
        first: &'static str,
        /// The units that are understood.
        units: &'static [Unit],
    },
    /// A unit of something else, or of nothing.
    #[error("`{unit}` is no unit of {quantity} here; use one of: {units}, as in `{example}`", units = Listed(.units))]
    UnknownUnit {
        /// The unit as written.
        unit: String,
        /// What was wanted, in words.
        quantity: &'static str,
        /// The units that are understood.
        units: &'static [Unit],
        /// A value written as one should.
        example: &'static str,
    },
    /// A unit that the trade uses and that is open to two readings.
    #[error("`{text}` is not clear: {explanation}")]
    Unclear {
        /// As written.
        text: String,
        /// What to write instead.
        explanation: &'static str,
    },
    /// A number and a unit, outside the legal range.
    #[error("`{text}` is out of range: {range}")]
    OutOfRange {
        /// As written.
        text: String,
        /// What is allowed, in the base unit.
        range: OutOfRange,
    },
}

impl PartialEq for Unit {
    fn eq(&self, other: &Self) -> bool {
        self.shown == other.shown
    }
}

/// Units in a sentence.
struct Listed<'a>(&'a [Unit]);

impl std::fmt::Display for Listed<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for (index, unit) in self.0.iter().enumerate() {
            let comma = if index == 0 { "" } else { ", " };
            write!(f, "{comma}{}", unit.shown)?;
        }
        Ok(())
    }
}

/// Reads a quantity that a person wrote.
///
/// # Errors
/// See [`QuantityError`]; each message says what to write instead.
pub fn quantity<Q: Written>(text: &str) -> Result<Q, QuantityError> {
    let text = text.trim();
    if text.is_empty() {
        return Err(QuantityError::Empty { quantity: Q::WORDS, example: Q::EXAMPLE });
    }
    let (digits, rest) = split(text);
    if digits.is_empty() {
        return Err(QuantityError::NotANumber { text: text.to_owned(), quantity: Q::WORDS, example: Q::EXAMPLE });
    }
    if rest.starts_with(',') {
        return Err(QuantityError::Comma { text: text.to_owned() });
    }
    let number: f64 = match digits.parse() {
        Ok(number) if f64::is_finite(number) => number,
        Ok(_) => return Err(QuantityError::TooLarge { text: text.to_owned() }),
        Err(_) => {
            return Err(QuantityError::NotANumber { text: text.to_owned(), quantity: Q::WORDS, example: Q::EXAMPLE });
        }
    };
    let written = rest.trim();
    if written.is_empty() {
        return Err(QuantityError::NoUnit {
            number: text.to_owned(),
            quantity: Q::WORDS,
            first: Q::UNITS.first().map_or("", |unit| unit.shown),
            units: Q::UNITS,
        });
    }
    let Some(unit) = unit::<Q>(written) else {
        return Err(unknown::<Q>(text, written));
    };
    Q::from_base((number - unit.zero) * unit.scale)
        .map_err(|range| QuantityError::OutOfRange { text: text.to_owned(), range })
}

/// The quantity's unit of this spelling, if it has one.
pub fn unit<Q: Written>(spelling: &str) -> Option<&'static Unit> {
    let folded = fold(spelling.trim());
    Q::UNITS.iter().find(|unit| fold(unit.shown) == folded || unit.others.iter().any(|other| fold(other) == folded))
}

fn unknown<Q: Written>(text: &str, written: &str) -> QuantityError {
    if let Some(explanation) = Q::explain(&fold(written)) {
        return QuantityError::Unclear { text: text.to_owned(), explanation };
    }
    if written.starts_with(|c: char| c.is_ascii_digit()) {
        return QuantityError::Groups { text: text.to_owned() };
    }
    QuantityError::UnknownUnit { unit: written.to_owned(), quantity: Q::WORDS, units: Q::UNITS, example: Q::EXAMPLE }
}

/// A number's digits as Rust reads them, and what stands behind them. No digits where the text starts with no number.
fn split(text: &str) -> (String, &str) {
    let mut digits = String::new();
    let mut rest = text;
    if let Some(behind) = rest.strip_prefix(['-', '−', '–']) {
        digits.push('-');
        rest = behind.trim_start();
    } else if let Some(behind) = rest.strip_prefix('+') {
        rest = behind.trim_start();
    }
    let whole = run(rest);
    digits.push_str(&rest[..whole]);
    rest = &rest[whole..];
    if (1..=3).contains(&whole) {
        while let Some(behind) = rest.strip_prefix(|c: char| c == '_' || c.is_whitespace() && c != '\n') {
            if run(behind) != 3 {
                break;
            }
            digits.push_str(&behind[..3]);
            rest = &behind[3..];
        }
    }
    if let Some(behind) = rest.strip_prefix('.') {
        let decimals = run(behind);
        if whole + decimals > 0 && decimals > 0 {
            digits.push('.');
            digits.push_str(&behind[..decimals]);
            rest = &behind[decimals..];
        }
    }
    if let Some(behind) = rest.strip_prefix(['e', 'E']) {
        let (sign, behind) = match behind.strip_prefix(['-', '−']) {
            Some(behind) => ("-", behind),
            None => ("", behind.strip_prefix('+').unwrap_or(behind)),
        };
        let exponent = run(behind);
        if exponent > 0 && whole > 0 {
            digits.push('e');
            digits.push_str(sign);
            digits.push_str(&behind[..exponent]);
            rest = &behind[exponent..];
        }
    }
    if digits.contains(|c: char| c.is_ascii_digit()) { (digits, rest) } else { (String::new(), text) }
}

/// How many ASCII digits a text starts with.
fn run(text: &str) -> usize {
    text.bytes().take_while(u8::is_ascii_digit).count()
}

/// Takes the differences out of a unit that do not matter.
fn fold(unit: &str) -> String {
    let spelt = unit.to_lowercase().replace("℃", "°c").replace("℉", "°f").replace(" per ", "/");
    let spelt = spelt.strip_prefix("per ").map_or(spelt.clone(), |behind| format!("/{behind}"));
    spelt
        .chars()
        .filter(|c| !c.is_whitespace() && !matches!(c, '^' | '(' | ')' | '·' | '*' | '.'))
        .map(|c| match c {
            '²' => '2',
            '³' => '3',
            'º' | '˚' => '°',
            '−' | '⁻' => '-',
            '¹' => '1',
            other => other,
        })
        .collect()
}

macro_rules! written {
    ($($Name:ident, $from:ident, $example:literal, [$($unit:expr),* $(,)?];)*) => {$(
        impl Written for $Name {
            const WORDS: &'static str = Self::WORDS;
            const EXAMPLE: &'static str = $example;
            const UNITS: &'static [Unit] = &[$($unit),*];

            fn from_base(number: f64) -> Result<Self, OutOfRange> {
                Self::$from(number)
            }
        }
    )*};
}

const CFM: f64 = CUBIC_METRES_PER_CUBIC_FOOT * 60.0;
const KILOGRAMS_PER_GALLON: f64 = LITRES_PER_GALLON / LITRES_PER_KILOGRAM_OF_WATER;
/// Kilojoules in an international-table British thermal unit (exact).
const KILOJOULES_PER_BTU: f64 = 1.055_055_852_62;
/// Per hour, square foot and °F: Btu in J over 3600 s, 0.3048² m² and 1/1.8 K.
const BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT: f64 = WATTS_PER_BTU_PER_HOUR * 1.8 / (METRES_PER_FOOT * METRES_PER_FOOT);
const BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT_TOO: &[&str] =
    &["Btu/h/ft²/°F", "Btu/hr·ft²·°F", "Btu/(h·ft²·F)", "Btu/(hr·ft²·F)", "Btu/hr/ft²/°F"];

written! {
    Temperature, from_celsius, "16 °C", [
        in_unit("°C", 1.0, &["C", "degC", "deg C", "celsius", "degrees celsius"]),
        Unit { shown: "°F", others: &["F", "degF", "deg F", "fahrenheit"], scale: 1.0 / 1.8, zero: 32.0 },
        Unit { shown: "K", others: &["kelvin", "kelvins"], scale: 1.0, zero: 273.15 },
    ];
    TemperatureDifference, from_kelvins, "2 K", [
        in_unit("K", 1.0, &["°C", "C", "degC", "kelvin", "kelvins"]),
        in_unit("°F", 1.0 / 1.8, &["F", "degF"]),
    ];
    Pressure, from_pascals, "980 hPa", [
        in_unit("hPa", 100.0, &["mbar", "mb", "hectopascal"]),
        in_unit("kPa", 1_000.0, &["kilopascal"]),
        in_unit("Pa", 1.0, &["pascal", "pascals"]),
        in_unit("inHg", 3_386.389, &["in Hg", "inches of mercury"]),
    ];
    VapourPressure, from_pascals, "1 200 Pa", [
        in_unit("Pa", 1.0, &["pascal", "pascals"]),
        in_unit("hPa", 100.0, &["mbar", "mb", "hectopascal"]),
        in_unit("kPa", 1_000.0, &["kilopascal"]),
    ];
    RelativeHumidity, from_ratio, "88 %", [
        in_unit("%", 0.01, &["% RH", "RH %", "percent", "per cent", "percent RH"]),
        in_unit("ratio", 1.0, &[]),
    ];
    HumidityRatio, from_kilograms_per_kilogram, "9.5 g/kg", [
        in_unit("g/kg", 0.001, &[]),
        in_unit("kg/kg", 1.0, &[]),
        in_unit("gr/lb", 1.0 / 7_000.0, &["grains/lb", "grains per pound"]),
    ];
    Enthalpy, from_kilojoules_per_kilogram, "40 kJ/kg", [
        in_unit("kJ/kg", 1.0, &[]),
    ];
    Elevation, from_metres, "420 m", [
        in_unit("m", 1.0, &["metre", "metres", "meter", "meters"]),
        in_unit("ft", METRES_PER_FOOT, &["foot", "feet"]),
    ];
    Volume, from_cubic_metres, "180 m³", [
        in_unit("m³", 1.0, &["cubic metres", "cubic meters"]),
        in_unit("ft³", CUBIC_METRES_PER_CUBIC_FOOT, &["cu ft", "cubic feet"]),
        in_unit("L", 0.001, &["litres", "liters", "litre", "liter"]),
    ];
    WaterVolume, from_litres, "200 L", [
        in_unit("L", 1.0, &["litres", "liters", "litre", "liter"]),
        in_unit("gal", LITRES_PER_GALLON, &["US gal", "gallon", "gallons", "US gallons"]),
        in_unit("m³", 1_000.0, &["cubic metres", "cubic meters"]),
        in_unit("mL", 0.001, &["millilitres", "milliliters"]),
    ];
    AirFlow, from_cubic_metres_per_hour, "600 m³/h", [
        in_unit("m³/h", 1.0, &["m³/hour", "m³/hr", "cubic metres per hour", "cmh"]),
        in_unit("cfm", CFM, &["ft³/min", "cubic feet per minute"]),
        in_unit("L/s", 3.6, &["l/sec", "litres per second", "liters per second"]),
        in_unit("m³/min", 60.0, &["cubic metres per minute"]),
        in_unit("m³/s", 3_600.0, &["cubic metres per second"]),
    ];
    WaterFlow, from_kilograms_per_hour, "4 kg/h", [
        in_unit("kg/h", 1.0, &["kg/hour", "kg/hr"]),
        in_unit("L/h", 1.0 / LITRES_PER_KILOGRAM_OF_WATER, &["l/hour", "l/hr", "litres per hour", "liters per hour"]),
        in_unit("g/h", 0.001, &["g/hour", "g/hr"]),
        in_unit("mL/h", 0.001 / LITRES_PER_KILOGRAM_OF_WATER, &["ml/hour", "ml/hr"]),
        in_unit("lb/h", KILOGRAMS_PER_POUND, &["lb/hour", "lb/hr", "lbs/h", "pounds per hour"]),
        in_unit("gal/h", KILOGRAMS_PER_GALLON, &["gal/hour", "gal/hr", "gph", "US gal/h", "gallons per hour"]),
    ];
    Mass, from_kilograms, "900 kg", [
        in_unit("kg", 1.0, &["kilogram", "kilograms"]),
        in_unit("lb", KILOGRAMS_PER_POUND, &["lbs", "pound", "pounds"]),
        in_unit("t", 1_000.0, &["tonne", "tonnes"]),
        in_unit("g", 0.001, &["gram", "grams"]),
    ];
    CarbonDioxide, from_parts_per_million, "900 ppm", [
        in_unit("ppm", 1.0, &["parts per million", "µmol/mol", "umol/mol"]),
        in_unit("%", 10_000.0, &["percent", "per cent"]),
    ];
    Fraction, from_ratio, "85 %", [
        in_unit("%", 0.01, &["percent", "per cent"]),
        in_unit("ratio", 1.0, &[]),
    ];
    Transmittance, from_watts_per_square_metre_kelvin, "0.3 W/m²K", [
        in_unit("W/m²K", 1.0, &["W/m²/K", "W m-2 K-1", "W/(m²·°C)"]),
        in_unit("Btu/h·ft²·°F", BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT, BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT_TOO),
    ];
    HeatTransferCoefficient, from_watts_per_square_metre_kelvin, "3 W/m²K", [
        in_unit("W/m²K", 1.0, &["W/m²/K", "W m-2 K-1", "W/(m²·°C)"]),
        in_unit("Btu/h·ft²·°F", BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT, BTU_PER_HOUR_SQUARE_FOOT_FAHRENHEIT_TOO),
    ];
    HeatLoss, from_watts_per_kelvin, "180 W/K", [
        in_unit("W/K", 1.0, &["W/°C", "watts per kelvin"]),
        in_unit("kW/K", 1_000.0, &[]),
        in_unit("Btu/h·°F", WATTS_PER_BTU_PER_HOUR * 1.8, &["Btu/h/°F", "Btu/hr·°F", "Btu/hr/°F", "Btu/h·F", "Btu/hr·F", "Btu/h/F", "Btu/hr/F"]),
    ];
    HeatCapacity, from_kilojoules_per_kelvin, "1 500 kJ/K", [
        in_unit("kJ/K", 1.0, &["kJ/°C"]),
        in_unit("MJ/K", 1_000.0, &["MJ/°C"]),
        in_unit("Wh/K", 3.6, &["Wh/°C"]),
        in_unit("Btu/°F", KILOJOULES_PER_BTU * 1.8, &["Btu/F"]),
    ];
    HeatFlow, from_watts, "1 200 W", [
        in_unit("W", 1.0, &["watt", "watts"]),
        in_unit("kW", 1_000.0, &["kilowatt", "kilowatts"]),
        in_unit("Btu/h", WATTS_PER_BTU_PER_HOUR, &["Btu/hr", "Btu/hour", "Btuh", "Btu per hour"]),
    ];
    Area, from_square_metres, "12 m²", [
        in_unit("m²", 1.0, &["sq m", "square metres", "square meters"]),
        in_unit("ft²", METRES_PER_FOOT * METRES_PER_FOOT, &["sq ft", "square feet"]),
        in_unit("cm²", 0.000_1, &["sq cm", "square centimetres", "square centimeters"]),
    ];
    Speed, from_metres_per_second, "0.1 m/s", [
        in_unit("m/s", 1.0, &["metres per second", "meters per second"]),
        in_unit("km/h", 1.0 / 3.6, &["kmh", "kph"]),
        in_unit("mph", 1_609.344 / 3_600.0, &["miles per hour"]),
        in_unit("ft/min", METRES_PER_FOOT / 60.0, &["fpm", "feet per minute"]),
        in_unit("kn", 1_852.0 / 3_600.0, &["kt", "knot", "knots"]),
    ];
}

impl Written for AirChanges {
    const WORDS: &'static str = Self::WORDS;
    const EXAMPLE: &'static str = "6 /h";
    const UNITS: &'static [Unit] = &[in_unit(
        "/h",
        1.0,
        &["1/h", "h⁻¹", "/hr", "/hour", "ach", "x/h", "air changes/h", "air changes per hour", "changes per hour"],
    )];

    fn from_base(number: f64) -> Result<Self, OutOfRange> {
        Self::from_per_hour(number)
    }

    fn explain(unit: &str) -> Option<&'static str> {
        let daily = ["/d", "/day", "1/d", "daily", "aday"];
        if daily.iter().any(|end| unit.ends_with(end)) {
            return Some(
                "air changes are counted per hour here; divide the daily figure by 24 and write it as in `6 /h`",
            );
        }
        let minutely = ["/min", "/minute", "1/min"];
        if minutely.iter().any(|end| unit.ends_with(end)) {
            return Some("air changes are counted per hour here; multiply the figure by 60 and write it as in `6 /h`");
        }
        ["x", "times", "change", "exchange", "fae"].iter().any(|word| unit.contains(word)).then_some(
            "air changes are quoted per hour by some and per day by others; say per hour, as in `6 /h` or `6 per hour`",
        )
    }
}

impl Written for Duration {
    const WORDS: &'static str = "duration";
    const EXAMPLE: &'static str = "10 min";
    const UNITS: &'static [Unit] = &[
        in_unit("min", 60.0, &["minute", "minutes"]),
        in_unit("s", 1.0, &["sec", "second", "seconds"]),
        in_unit("h", 3_600.0, &["hr", "hour", "hours"]),
        in_unit("d", 86_400.0, &["day", "days"]),
    ];

    fn from_base(number: f64) -> Result<Self, OutOfRange> {
        // A year: longer than anything that is waited for here.
        let highest = 366.0 * 86_400.0;
        if (0.0..=highest).contains(&number) {
            Ok(Self::from_secs_f64(number))
        } else {
            Err(OutOfRange { quantity: "duration", value: number, unit: "s", lowest: 0.0, highest })
        }
    }

    fn explain(unit: &str) -> Option<&'static str> {
        (unit == "m").then_some("`m` may be minutes or months; write `min`")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(left: f64, right: f64) -> bool {
        (left - right).abs() <= 1e-9 * right.abs().max(1.0)
    }

    #[test]
    fn every_spelling_of_the_same_volume_gives_the_same_volume() {
        // 1,480 ft³ by the exact international foot.
        let wanted = 1_480.0 * 0.028_316_846_592;
        for text in
            ["1 480 ft³", "1480ft3", "1_480 cu ft", "1\u{a0}480 ft^3", "1\u{202f}480\u{2009}FT3", "1.48e3 cubic feet"]
        {
            let volume: Volume = quantity(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert!(near(volume.cubic_metres(), wanted), "{text} gave {}", volume.cubic_metres());
        }
    }

    #[test]
    fn temperatures_are_read_in_every_scale_with_every_minus() {
        let cases = [
            ("-12 °C", -12.0),
            ("−12°C", -12.0),
            ("- 12 degC", -12.0),
            ("10.4 F", -12.0),
            ("261.15 K", -12.0),
            ("+16C", 16.0),
            ("60.8 °F", 16.0),
            (".5 °C", 0.5),
            ("16 ℃", 16.0),
        ];
        for (text, celsius) in cases {
            let value: Temperature = quantity(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert!(near(value.celsius(), celsius), "{text} gave {}", value.celsius());
        }
        let difference: TemperatureDifference = quantity("9 °F").unwrap();
        assert!(near(difference.kelvins(), 5.0));
    }

    #[test]
    fn air_changes_are_only_ever_per_hour() {
        for text in ["6 /h", "6/h", "6 per hour", "6 air changes per hour", "6 1/h", "6 ACH", "6 h⁻¹"] {
            let changes: AirChanges = quantity(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert!(near(changes.per_hour(), 6.0), "{text}");
        }
        for text in ["144 /d", "144 per day", "6 air changes", "6x", "6 FAE", "0.1 /min"] {
            let error = quantity::<AirChanges>(text).unwrap_err();
            assert!(matches!(error, QuantityError::Unclear { .. }), "{text}: {error}");
            assert!(error.to_string().contains("hour"), "{text}: {error}");
        }
    }

    #[test]
    fn a_bare_number_is_refused_with_the_units_and_a_worked_example() {
        let error = quantity::<Volume>("42").unwrap_err();
        assert_eq!(error.to_string(), "`42` has no unit; write `42 m³`, or another of: m³, ft³, L");
        let error = quantity::<AirFlow>("250 furlongs").unwrap_err();
        assert_eq!(
            error.to_string(),
            "`furlongs` is no unit of air flow here; use one of: m³/h, cfm, L/s, m³/min, m³/s, as in `600 m³/h`"
        );
    }

    #[test]
    fn what_is_no_finite_number_never_becomes_a_quantity() {
        for text in
            ["NaN m³", "nan", "inf m³", "-inf °C", ".inf m³", "1e400 m³", "m³", "", "  ", "-", ".", "e5 m³", "--4 m³"]
        {
            assert!(quantity::<Volume>(text).is_err(), "`{text}` was accepted");
        }
        assert_eq!(quantity::<Volume>("1e400 m³"), Err(QuantityError::TooLarge { text: "1e400 m³".into() }));
        assert!(matches!(quantity::<Volume>("1,480 ft³"), Err(QuantityError::Comma { .. })));
        assert!(matches!(quantity::<Volume>("1 48 ft³"), Err(QuantityError::Groups { .. })));
        assert!(matches!(quantity::<Volume>("1 4800 ft³"), Err(QuantityError::Groups { .. })));
        assert!(matches!(quantity::<Temperature>("300 °C"), Err(QuantityError::OutOfRange { .. })));
    }

    #[test]
    fn flows_and_durations_convert_by_their_definitions() {
        let flow: AirFlow = quantity("250 cfm").unwrap();
        assert!(near(flow.cubic_metres_per_hour(), 250.0 * 60.0 * 0.028_316_846_592));
        let water: WaterFlow = quantity("2 gal/h").unwrap();
        assert!(near(water.kilograms_per_hour(), 7.570_823_568));
        assert_eq!(quantity::<Duration>("10 min"), Ok(Duration::from_secs(600)));
        assert!(quantity::<Duration>("10 m").is_err());
        // 1 Btu/(h·ft²·°F) is 5.678 W/m²K (from the definitions of the units).
        let wall: Transmittance = quantity("1 Btu/h·ft²·°F").unwrap();
        assert!((wall.watts_per_square_metre_kelvin() - 5.678_263).abs() < 1e-5);
    }

    #[test]
    fn heat_is_read_in_watts_and_in_british_thermal_units_by_their_definitions() {
        // The international-table Btu is 1,055.055 852 62 J (exact), so 4,100 Btu/h are 1,201.591 W.
        let power: HeatFlow = quantity("4 100 Btu/h").unwrap();
        assert!((power.watts() - 1_201.591_4).abs() < 1e-3, "{}", power.watts());
        assert!((quantity::<HeatFlow>("1.2 kW").unwrap().watts() - 1_200.0).abs() < 1e-9);
        for text in ["95 Btu/h·°F", "95 Btu/(h·°F)", "95 BTU/hr·°F", "95 Btu/h/F"] {
            let loss: HeatLoss = quantity(text).unwrap_or_else(|error| panic!("{text}: {error}"));
            assert!((loss.watts_per_kelvin() - 50.115_2).abs() < 1e-3, "{text}: {}", loss.watts_per_kelvin());
        }
        let fabric: HeatCapacity = quantity("100 Btu/°F").unwrap();
        assert!((fabric.kilojoules_per_kelvin() - 189.910_05).abs() < 1e-4);
        assert!(near(quantity::<Area>("130 ft²").unwrap().square_metres(), 130.0 * 0.092_903_04));
        assert!(near(quantity::<Area>("130 sq ft").unwrap().square_metres(), 130.0 * 0.092_903_04));
        assert!(near(quantity::<Speed>("20 fpm").unwrap().metres_per_second(), 20.0 * 0.3048 / 60.0));
        let film: HeatTransferCoefficient = quantity("0.5 Btu/h·ft²·°F").unwrap();
        assert!((film.watts_per_square_metre_kelvin() - 2.839_13).abs() < 1e-4);
        for text in ["1200", "1 200 J", "180 W"] {
            assert!(quantity::<HeatLoss>(text).is_err(), "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_the_reader_panic_or_give_a_value_outside_the_range(text in ".{0,24}") {
            if let Ok(value) = quantity::<Temperature>(&text) {
                proptest::prop_assert!((Temperature::LOWEST..=Temperature::HIGHEST).contains(&value.celsius()));
            }
            let _ = quantity::<AirChanges>(&text);
        }
    }
}
