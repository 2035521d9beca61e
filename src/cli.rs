//! The command line: one subcommand, one file.

use std::{ffi::OsString, process::ExitCode};

use clap::{CommandFactory, Parser, Subcommand};

mod air;
mod calibrate;
mod check;
#[cfg(feature = "demo")]
mod demo;
mod outlook;
mod replay;
mod run;
mod schema;
mod text;

/// Exit code when something was wrong with what was given: arguments, configuration, input data.
pub const BAD_INPUT: u8 = 2;
/// Exit code when the input was good and the work failed all the same.
pub const FAILED: u8 = 1;

/// Keeps mushroom fruiting rooms from drying out in freezing weather: listens to their sensors over MQTT, reads the
/// outdoor forecast, and publishes what the air really holds, warnings, and recommended fan and humidifier settings.
#[derive(Debug, Parser)]
#[command(name = "mistwright", version, after_help = CAUTIONS, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run the daemon.
    Run(run::RunArguments),
    // Described at its arguments.
    Air(air::AirArguments),
    Calibrate(calibrate::CalibrateArguments),
    Check(check::CheckArguments),
    Outlook(outlook::OutlookArguments),
    Replay(replay::ReplayArguments),
    Schema(schema::SchemaArguments),
    /// Show the whole job on a simulated farm: no network, broker or configuration needed.
    #[cfg(feature = "demo")]
    Demo(demo::DemoArguments),
}

/// What everybody who follows the advice must know.
pub const CAUTIONS: &str = "\
Cautions:
  Mistwright gives advice; it is not a safety device. Fit independent gas alarms and hard-wired interlocks.
  The crop's carbon dioxide limit is not the limit for people. Nothing here says that a room is safe to enter.
  Wear a respirator at harvest: spores harm lungs. Keep humidifiers clean: Legionella and minerals travel in mist.
  Wet rooms mean electric shock and slips. Never use an unvented heater in a closed room.
  Relative humidity near saturation is uncertain, and forecasts err. Local codes and licensed practice decide.";

/// The command line as it stands, for manual pages and shell completions.
pub fn command() -> clap::Command {
    Arguments::command()
}

/// Runs the program with the process's own arguments.
pub fn main() -> ExitCode {
    with_arguments(std::env::args_os())
}

fn with_arguments(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // A closed standard output is no reason to fail twice.
            let _ = error.print();
            return ExitCode::from(if error.use_stderr() { BAD_INPUT } else { 0 });
        }
    };
    match arguments.command {
        Command::Run(arguments) => run::run(&arguments),
        Command::Air(arguments) => air::run(&arguments),
        Command::Calibrate(arguments) => calibrate::run(&arguments),
        Command::Check(arguments) => check::run(&arguments),
        Command::Outlook(arguments) => outlook::run(&arguments),
        Command::Replay(arguments) => replay::run(&arguments),
        Command::Schema(arguments) => schema::run(&arguments),
        #[cfg(feature = "demo")]
        Command::Demo(arguments) => demo::demo(&arguments),
    }
}
