//! `mistwright check`: everything that is wrong with a configuration file, before the daemon meets it.

use std::{
    io::{self, Write},
    path::PathBuf,
    process::ExitCode,
    time::Duration,
};

use clap::Args;

mod connect;

use super::BAD_INPUT;
use crate::{
    advice::{Doubt, Weight, doubts},
    config::{self, Config},
    model::{Farm, Intake, Place},
};

/// Exit code when the file was read and has problems.
const PROBLEMS: u8 = 1;
/// Exit code when the file is good, but has warnings, and `--strict` was given.
const DOUBTFUL: u8 = 3;

/// Check a configuration file and report every problem at once.
///
/// Prints each problem with file, line, column, key, what is allowed and a hint. A file without problems is judged:
/// warnings say what will go wrong in the rooms, notes say what is assumed. With `--connect`, tries out instead what a
/// good file names, one line each: whether the broker is reached, may be published to and listened to, whether every
/// sensor is heard, and whether the forecast answers. It leaves nothing behind, and a running daemon is not disturbed.
///
/// Exit code 0: the file is good, with or without warnings and notes, and with `--connect` everything answers; 1: it has
/// problems; 2: it cannot be read; 3: with `--strict`, it has warnings; 4: with `--connect`, something does not answer as
/// it has to.
#[derive(Debug, Args)]
pub(super) struct CheckArguments {
    /// Configuration file.
    #[arg(value_name = "FILE", default_value = "/etc/mistwright/mistwright.yaml")]
    file: PathBuf,
    /// Exit with code 3 where there are warnings.
    #[arg(long)]
    strict: bool,
    /// Try out what the file names: broker, permissions, sensors, forecast.
    #[arg(long, conflicts_with = "strict")]
    connect: bool,
    /// How long to wait for sensors that have not been heard, in seconds.
    #[arg(long, value_name = "SECONDS", default_value_t = 60, requires = "connect",
          value_parser = clap::value_parser!(u64).range(1..=3_600))]
    wait: u64,
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
    let parsed = config::parse(&text, &file);
    if let (true, Ok(config)) = (arguments.connect, &parsed) {
        return connect::connect(config, Duration::from_secs(arguments.wait));
    }
    let mut out = io::stdout().lock();
    // A reader that has gone away, as behind `head`, does not change what the check found.
    let (told, code) = match parsed {
        Ok(config) => {
            let doubts = doubts(&config.farm, config.forecast.is_some());
            let warned = doubts.iter().any(|doubt| doubt.weight() == Weight::Warning);
            let code = if warned && arguments.strict { ExitCode::from(DOUBTFUL) } else { ExitCode::SUCCESS };
            (writeln!(out, "{file}: {}", summary(&config, &doubts)), code)
        }
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
fn summary(config: &Config, doubts: &[Doubt]) -> String {
    let Farm { site, spaces, rooms, sources } = &config.farm;
    let mut text =
        format!("good. {} has {} and {}.", site.title, count(rooms.len(), "room"), count(sources.len(), "sensor"));
    text.push_str(&format!("\n  {}", forecasts(config)));
    append(&mut text, "  ", doubts.iter().filter(|doubt| doubt.place.is_none()), config);
    for (index, space) in spaces.iter().enumerate() {
        text.push_str(&format!("\n  {}: only measured", space.title));
        append(&mut text, "    ", doubts.iter().filter(|doubt| doubt.place == Some(Place::Space(index))), config);
    }
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
        append(&mut text, "    ", doubts.iter().filter(|doubt| doubt.place == Some(Place::Room(index))), config);
    }
    let counted = |weight, word| count(doubts.iter().filter(|doubt| doubt.weight() == weight).count(), word);
    text.push_str(&format!("\n{}, {}", counted(Weight::Warning, "warning"), counted(Weight::Note, "note")));
    text
}

fn append<'d>(text: &mut String, indent: &str, doubts: impl Iterator<Item = &'d Doubt>, config: &Config) {
    for doubt in doubts {
        let sentence = doubt.sentence(config.farm.site.units);
        text.push_str(&format!("\n{indent}{}: {sentence}", doubt.weight().word()));
    }
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

fn count(number: usize, word: &str) -> String {
    let s = if number == 1 { "" } else { "s" };
    format!("{number} {word}{s}")
}
