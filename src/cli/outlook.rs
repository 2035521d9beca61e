//! `mistwright outlook`: tonight for every room, as a table.

use std::{
    io::{self, Write},
    path::{Path, PathBuf},
    process::ExitCode,
};

use clap::{Args, ValueEnum};
use jiff::Timestamp;

use super::{BAD_INPUT, FAILED};
use crate::units::UnitSystem;

mod farm;
mod given;
mod served;
mod table;

use given::Given;

/// Say what the coming night takes, room by room: how dry it gets, how much water, whether tank, humidifier and heater
/// last, and what the answer rests on.
///
/// Asks a running daemon (`--from`), or reckons by itself from a configuration, a forecast in a file and what the rooms
/// are like now:
///
/// mistwright outlook --config mistwright.yaml --forecast night.json --room "oyster-hall=16 °C, 90 %, 800 ppm"
#[derive(Debug, Args)]
pub(super) struct OutlookArguments {
    /// Where a running daemon serves its page.
    #[arg(long, value_name = "URL", default_value = "http://127.0.0.1:9417", conflicts_with_all = ["config", "forecast", "room", "outdoors", "at"])]
    from: String,
    /// Configuration file of the farm: reckon without a daemon.
    #[arg(long, value_name = "FILE")]
    config: Option<PathBuf>,
    /// The forecast: what a weather service has answered, or JSON lines as `jq -c '.forecast.points[]'` makes them of a
    /// daemon's /snapshot.json. Without it, the weather outdoors stays as `--outdoors` says.
    #[arg(long, value_name = "FILE", requires = "config")]
    forecast: Option<PathBuf>,
    /// What a room is like now: its name, and any of temperature, relative humidity, carbon dioxide and litres in the
    /// tank, with their units. For each room.
    #[arg(long, value_name = "NAME=VALUES", value_parser = given::of_room, requires = "config")]
    room: Vec<(String, Given)>,
    /// What it is like outdoors now: temperature and relative humidity.
    #[arg(long, value_name = "VALUES", value_parser = given::values, requires = "config", allow_hyphen_values = true)]
    outdoors: Option<Given>,
    /// The moment to begin at, as 2027-01-15T18:00:00Z, instead of now.
    #[arg(long, value_name = "TIME", requires = "config")]
    at: Option<Timestamp>,
    /// Units of what is printed, instead of the farm's own.
    #[arg(long, value_enum)]
    units: Option<Units>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Units {
    /// °C, L, kg.
    Metric,
    /// °F, gal, lb.
    Us,
}

/// Why there is no table.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error("{path} cannot be read: {error}")]
    Read { path: PathBuf, error: io::Error },
    #[error("{0}")]
    Configuration(crate::config::Problems),
    #[error(transparent)]
    Farm(#[from] farm::Refused),
    #[error(transparent)]
    Served(#[from] served::Unserved),
    #[error("the table cannot be written: {0}")]
    Write(io::Error),
}

pub(super) fn run(arguments: &OutlookArguments) -> ExitCode {
    match table(arguments) {
        Ok(()) => ExitCode::SUCCESS,
        // A reader that has gone away, as behind `head`, is no failure.
        Err(Failure::Write(error)) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("mistwright: {failure}");
            let bad = matches!(failure, Failure::Read { .. } | Failure::Configuration(_) | Failure::Farm(_));
            ExitCode::from(if bad { BAD_INPUT } else { FAILED })
        }
    }
}

fn table(arguments: &OutlookArguments) -> Result<(), Failure> {
    let units = arguments.units.map(|units| match units {
        Units::Metric => UnitSystem::Metric,
        Units::Us => UnitSystem::Us,
    });
    let night = match &arguments.config {
        None => served::night(&arguments.from, units)?,
        Some(config) => {
            let text = read(config)?;
            let config = crate::config::parse(&text, &config.display().to_string()).map_err(Failure::Configuration)?;
            let forecast = match arguments.forecast.as_deref() {
                Some(path) => Some((path, read(path)?)),
                None => None,
            };
            farm::night(
                config,
                &farm::Now { forecast, rooms: &arguments.room, outdoors: arguments.outdoors, at: arguments.at, units },
            )?
        }
    };
    let mut out = io::stdout().lock();
    table::write(&night, &mut out).and_then(|()| out.flush()).map_err(Failure::Write)
}

fn read(path: &Path) -> Result<String, Failure> {
    std::fs::read_to_string(path).map_err(|error| Failure::Read { path: path.to_owned(), error })
}
