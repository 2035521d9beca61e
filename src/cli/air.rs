//! `mistwright air`: what air really holds, from any two things that are known about it.

use std::{io, path::PathBuf, process::ExitCode};

use clap::{Args, ValueEnum};
use thiserror::Error;

use super::{BAD_INPUT, FAILED};
use crate::physics::{BelowFreezing, Known, MoistAir, MoistAirError, atmosphere};
use crate::units::parse::{QuantityError, Written, quantity};
use crate::units::{Elevation, HumidityRatio, Pressure, RelativeHumidity, Temperature, UnitSystem};

mod sheet;
mod table;

/// Say what air holds, from any two of temperature, relative humidity, dew point, wet bulb and humidity ratio.
///
/// Every value carries its unit, of either system: `--temperature "30 °F" --relative-humidity "31 %"`. Without
/// `--elevation` or `--pressure` the air is at sea level.
///
/// With `--csv`, a table is read instead: columns temperature_celsius, relative_humidity_percent and
/// pressure_pascals, in any order, found by the names in its first line. They are written to standard output with what
/// follows from them; where a row is impossible, its last column says why. A dew point below −60 °C and a frost point
/// above 0 °C are left empty.
#[derive(Debug, Args)]
pub(super) struct AirArguments {
    /// Dry-bulb temperature, as in "-10 °C" or "14 °F".
    #[arg(long, value_parser = written::<Temperature>, allow_hyphen_values = true)]
    temperature: Option<Temperature>,
    /// Relative humidity, as in "92 %".
    #[arg(long, value_parser = written::<RelativeHumidity>, allow_hyphen_values = true)]
    relative_humidity: Option<RelativeHumidity>,
    /// Dew point, as in "14 °C"; a frost point below 0 °C with --below-freezing ice.
    #[arg(long, value_parser = written::<Temperature>, allow_hyphen_values = true)]
    dew_point: Option<Temperature>,
    /// Thermodynamic wet bulb, as in "15 °C"; of an ice-covered bulb below 0 °C.
    #[arg(long, value_parser = written::<Temperature>, allow_hyphen_values = true)]
    wet_bulb: Option<Temperature>,
    /// Water vapour per dry air, as in "9.5 g/kg" or "66 gr/lb".
    #[arg(long, value_parser = written::<HumidityRatio>, allow_hyphen_values = true)]
    humidity_ratio: Option<HumidityRatio>,
    /// Height above sea level, as in "1500 m" or "4 900 ft": standard pressure there.
    #[arg(long, value_parser = written::<Elevation>, allow_hyphen_values = true, conflicts_with_all = ["pressure", "csv"])]
    elevation: Option<Elevation>,
    /// Pressure of the air where it is (not reduced to sea level), as in "850 hPa" or "25.1 inHg".
    #[arg(long, value_parser = written::<Pressure>, allow_hyphen_values = true, conflicts_with = "csv")]
    pressure: Option<Pressure>,
    /// Units of what is printed.
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
    /// What relative humidity and dew point refer to below 0 °C.
    #[arg(long, value_enum, default_value_t = Surface::Water)]
    below_freezing: Surface,
    /// Print JSON in base units.
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Read a table from a file; `-` is standard input.
    #[arg(long, value_name = "FILE", conflicts_with_all = KNOWN_OPTIONS)]
    csv: Option<PathBuf>,
}

const KNOWN_OPTIONS: [&str; 5] = ["temperature", "relative_humidity", "dew_point", "wet_bulb", "humidity_ratio"];

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Units {
    /// °C, g/kg, hPa.
    Metric,
    /// °F, gr/lb, inHg.
    Us,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Surface {
    /// Liquid water, as nearly all sensors and weather services mean it.
    Water,
    /// Ice, as some archives mean it.
    Ice,
}

fn written<Q: Written>(text: &str) -> Result<Q, QuantityError> {
    quantity(text)
}

/// Why nothing was calculated.
#[derive(Debug, Error)]
enum AirError {
    /// One thing known, or more than two.
    #[error(
        "give two of --temperature, --relative-humidity, --dew-point, --wet-bulb and --humidity-ratio, or --csv FILE; \
         {given} of them given"
    )]
    NotTwo { given: usize },
    /// No air is like that.
    #[error("{0}")]
    Impossible(#[from] MoistAirError),
    /// The table cannot be read.
    #[error(transparent)]
    Table(#[from] table::TableError),
    /// The result cannot be written.
    #[error("cannot write the result: {0}")]
    Output(#[from] io::Error),
}

pub(super) fn run(arguments: &AirArguments) -> ExitCode {
    let error = match calculate(arguments) {
        Ok(()) => return ExitCode::SUCCESS,
        Err(error) => error,
    };
    let code = match &error {
        // Whoever closed the pipe has seen enough.
        AirError::Output(broken) if broken.kind() == io::ErrorKind::BrokenPipe => return ExitCode::SUCCESS,
        AirError::Output(_) => FAILED,
        AirError::NotTwo { .. } | AirError::Impossible(_) | AirError::Table(_) => BAD_INPUT,
    };
    eprintln!("mistwright: {error}");
    ExitCode::from(code)
}

fn calculate(arguments: &AirArguments) -> Result<(), AirError> {
    let below_freezing = match arguments.below_freezing {
        Surface::Water => BelowFreezing::Water,
        Surface::Ice => BelowFreezing::Ice,
    };
    let mut output = io::BufWriter::new(io::stdout().lock());
    if let Some(file) = &arguments.csv {
        return table::convert(file, below_freezing, &mut output);
    }
    let known = known(arguments);
    let [first, second] = known[..] else { return Err(AirError::NotTwo { given: known.len() }) };
    let pressure = pressure(arguments);
    let air = MoistAir::from_two(first, second, below_freezing, pressure)?;
    let units = match arguments.units {
        Units::Metric => UnitSystem::Metric,
        Units::Us => UnitSystem::Us,
    };
    let sheet = sheet::Sheet { air, below_freezing, units, elevation: assumed_elevation(arguments) };
    if arguments.json {
        sheet.write_json(&mut output)?
    } else {
        sheet.write_text(&mut output)?
    }
    Ok(io::Write::flush(&mut output)?)
}

fn known(arguments: &AirArguments) -> Vec<Known> {
    [
        arguments.temperature.map(Known::Temperature),
        arguments.relative_humidity.map(Known::RelativeHumidity),
        arguments.dew_point.map(Known::DewPoint),
        arguments.wet_bulb.map(Known::WetBulb),
        arguments.humidity_ratio.map(Known::HumidityRatio),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// Where the pressure comes from; `None` where it was given.
fn assumed_elevation(arguments: &AirArguments) -> Option<Elevation> {
    if arguments.pressure.is_some() {
        return None;
    }
    Some(arguments.elevation.unwrap_or(Elevation::clamped(0.0)))
}

fn pressure(arguments: &AirArguments) -> Pressure {
    let assumed = assumed_elevation(arguments).unwrap_or(Elevation::clamped(0.0));
    arguments.pressure.unwrap_or_else(|| atmosphere::standard_pressure(assumed))
}
