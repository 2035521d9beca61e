//! `mistwright check`: everything that is wrong with a configuration file, before the daemon meets it.

use std::{
    io::{self, Write},
    path::PathBuf,
    process::ExitCode,
};

use clap::Args;

use super::BAD_INPUT;
use crate::{
    config::{self, Config},
    model::{Farm, Intake, Place, Quantity},
};

/// Exit code when the file was read and has problems.
const PROBLEMS: u8 = 1;

/// Check a configuration file and report every problem at once.
///
/// Prints each problem with file, line, column, key, what is allowed and a hint. Exit code 0: the file is good; 1: it
/// has problems; 2: it cannot be read.
#[derive(Debug, Args)]
pub(super) struct CheckArguments {
    /// Configuration file.
    #[arg(value_name = "FILE", default_value = "/etc/mistwright/mistwright.yaml")]
    file: PathBuf,
}

pub(super) fn run(arguments: &CheckArguments) -> ExitCode {
    let file = arguments.file.display().to_string();
    let text = match std::fs::read_to_string(&arguments.file) {
        Ok(text) => text,
        Err(error) => {
            eprintln!("mistwright: cannot read {file}: {error}");
            return ExitCode::from(BAD_INPUT);
        }
    };
    let mut out = io::stdout().lock();
    // A reader that has gone away, as behind `head`, does not change what the check found.
    let (told, code) = match config::parse(&text, &file) {
        Ok(config) => (writeln!(out, "{file}: {}", summary(&config)), ExitCode::SUCCESS),
        Err(problems) => (writeln!(out, "{problems}"), ExitCode::from(PROBLEMS)),
    };
    match told {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            eprintln!("mistwright: cannot write: {error}");
            ExitCode::from(BAD_INPUT)
        }
        _ => code,
    }
}

/// What was understood, so that a grower sees that it is what was meant.
fn summary(config: &Config) -> String {
    let Farm { site, spaces, rooms, sources } = &config.farm;
    let mut text =
        format!("good. {} has {} and {}.", site.title, count(rooms.len(), "room"), count(sources.len(), "sensor"));
    text.push_str(&format!("\n  {}", forecasts(config)));
    for (index, room) in rooms.iter().enumerate() {
        let intake = match room.intake {
            Intake::Outdoors => "outdoors",
            Intake::Room(from) => rooms.get(from).map_or("outdoors", |room| room.title.as_str()),
            Intake::Space(from) => spaces.get(from).map_or("outdoors", |space| space.title.as_str()),
        };
        let crop = match &room.crop {
            Some(crop) => format!("{}, {}", crop.species.words(), crop.stage.words()),
            None => "no crop".to_owned(),
        };
        text.push_str(&format!("\n  {}: {crop}, air from {intake}", room.title));
        let has =
            |quantity| sources.iter().any(|source| (source.place, source.quantity) == (Place::Room(index), quantity));
        let wanted = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];
        let wanted = if room.crop.is_some() { &wanted[..] } else { &wanted[..2] };
        for missing in wanted.iter().copied().filter(|quantity| !has(*quantity)) {
            text.push_str(&format!("\n    no {} sensor: {}", missing.words(), without(missing)));
        }
    }
    text
}

/// Who forecasts, and what that is bound to.
fn forecasts(config: &Config) -> String {
    let Some(first) = &config.forecast else {
        return "no forecast: the last days of the outdoor sensor will be carried on".to_owned();
    };
    let mut text = format!("forecast from {}", first.protocol.service.title().replacen("The ", "the ", 1));
    if let Some(second) = &config.fallback_forecast {
        let title = second.protocol.service.title().replacen("The ", "the ", 1);
        text.push_str(&format!(", and from {title} while that is down"));
    }
    for limit in [&config.forecast, &config.fallback_forecast].into_iter().flatten().filter_map(|s| s.free_use()) {
        text.push_str(&format!("\n    {} You have said that your use is {}.", limit.sentence, limit.word));
    }
    text
}

/// What a room cannot have without a sensor of this quantity.
const fn without(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Temperature | Quantity::RelativeHumidity | Quantity::DewPoint => {
            "what its air holds will not be known"
        }
        Quantity::CarbonDioxide => "fresh air will be advised at the usual rate or more",
        Quantity::Pressure => "the pressure follows from the elevation",
        Quantity::FanState | Quantity::HumidifierState => "what is commanded will be taken for what is done",
        Quantity::SurfaceTemperature => "the surface's temperature is reckoned",
    }
}

fn count(number: usize, word: &str) -> String {
    let s = if number == 1 { "" } else { "s" };
    format!("{number} {word}{s}")
}
