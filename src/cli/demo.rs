//! `mistwright demo`: the daemon on a simulated farm, through a freezing night and its morning in a few minutes.

use std::{net::SocketAddr, process::ExitCode, time::Duration};

use clap::Args;
use tokio::sync::oneshot;

use super::{FAILED, run};
use crate::{
    app, config,
    demo::{Demo, DemoError, Options},
    io::{logging, systemd::Manager},
    units::UnitSystem,
};

/// Show the whole job on a simulated farm, as a story in three acts: no network, broker or configuration needed.
///
/// At dusk: what the night will take. In the freeze: a shortfall that was warned of, a lever that a simulated automation
/// pulls, and what the same farm lives through without it. In the morning: two sensors that lie. A summary compares
/// everything that was said with what truly happened in the simulation; the exit code is 1 where that is outside the
/// bounds that stand beside it.
///
/// It takes about four minutes and ends by itself. Meanwhile any MQTT client can listen, and the page is served.
#[derive(Debug, Args)]
pub(super) struct DemoArguments {
    /// Stop after this much real time, as `90s`, `5m` or `1h`; without it, when the story has been told.
    #[arg(long, value_name = "TIME", value_parser = duration)]
    duration: Option<Duration>,

    /// How many times faster than life; without it, so that the story fits into the duration (or four minutes).
    #[arg(long, value_name = "FACTOR", value_parser = speed)]
    speed: Option<f64>,

    /// Where the embedded broker listens; port 0 takes a free one near 18830.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:0")]
    mqtt_listen: SocketAddr,

    /// Where metrics and health are served; port 0 takes any free one.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "127.0.0.1:0")]
    http_listen: SocketAddr,

    /// Units of everything that is told and published.
    #[arg(long, value_enum, default_value_t = Units::Metric)]
    units: Units,
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Units {
    Metric,
    Us,
}

/// Why the demo ended early.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error("cannot start the runtime: {0}")]
    Runtime(std::io::Error),
    #[error(transparent)]
    Demo(#[from] DemoError),
    #[error("the demo's own configuration is refused; this is a defect of the program:\n{0}")]
    Configuration(config::Problems),
    #[error(transparent)]
    Daemon(#[from] app::AppError),
    #[error("what was said and what happened are further apart than the summary allows:\n  {}", .0.join("\n  "))]
    OutsideBounds(Vec<String>),
}

pub(super) fn demo(arguments: &DemoArguments) -> ExitCode {
    // The story is the output; of the log only what is wrong.
    logging::start_quietly();
    let options = Options {
        duration: arguments.duration,
        speed: arguments.speed,
        mqtt_listen: arguments.mqtt_listen,
        http_listen: arguments.http_listen,
        units: match arguments.units {
            Units::Metric => UnitSystem::Metric,
            Units::Us => UnitSystem::Us,
        },
    };
    match run::runtime().map_err(Failure::Runtime).and_then(|runtime| runtime.block_on(play(options))) {
        Ok(()) => ExitCode::SUCCESS,
        // The reader of the story went away, as `head` does: there is nobody left to tell.
        Err(Failure::Demo(DemoError::Output(error))) if error.kind() == std::io::ErrorKind::BrokenPipe => {
            ExitCode::SUCCESS
        }
        Err(failure) => {
            eprintln!("mistwright: {failure}");
            ExitCode::from(FAILED)
        }
    }
}

async fn play(options: Options) -> Result<(), Failure> {
    // Listened to from the start: an interrupt while the story is told must never cut it off.
    let interrupted = tokio::spawn(run::stop_signal());
    let demo = Demo::prepare(options).await?;
    let config = config::parse(&demo.configuration(), "the demo's configuration").map_err(Failure::Configuration)?;
    let (stop, stopped) = oneshot::channel::<()>();
    let stopped = async {
        // A dropped sender means the same.
        let _ = stopped.await;
    };
    let daemon = app::run(config, demo.clock(), stopped, |_| (), Manager::nobody());
    tokio::pin!(daemon);
    let story = demo.play(std::io::stdout(), async {
        // A failed listener ends the demo too; there would be no other way to end it.
        let _ = interrupted.await;
    });
    let told = tokio::select! {
        ended = &mut daemon => return Ok(ended?),
        told = story => told,
    };
    drop(stop);
    // The broker stands until the daemon has said its last words to it.
    let stopped = daemon.await;
    let played = told?;
    drop(played.broker);
    stopped?;
    if played.outside.is_empty() { Ok(()) } else { Err(Failure::OutsideBounds(played.outside)) }
}

/// A time with its unit, `90s`, `5m` or `1h`.
fn duration(text: &str) -> Result<Duration, BadNumber> {
    let digits = text.trim_end_matches(|letter: char| letter.is_ascii_alphabetic());
    let seconds = match text[digits.len()..].as_ref() {
        "s" => 1.0,
        "m" | "min" => 60.0,
        "h" => 3_600.0,
        _ => return Err(BadNumber::Duration),
    };
    let number: f64 = digits.trim().parse().map_err(|_| BadNumber::Duration)?;
    let range = 1.0..=7.0 * 86_400.0;
    let seconds = number * seconds;
    if range.contains(&seconds) { Ok(Duration::from_secs_f64(seconds)) } else { Err(BadNumber::Duration) }
}

fn speed(text: &str) -> Result<f64, BadNumber> {
    text.parse().ok().filter(|speed| (1.0..=100_000.0).contains(speed)).ok_or(BadNumber::Speed)
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
enum BadNumber {
    #[error("write a time with its unit, from 1s to 168h: `90s`, `5m`, `1h`")]
    Duration,
    #[error("write a number from 1 (as in life) to 100000")]
    Speed,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_duration_needs_a_unit_and_a_sensible_length() {
        assert_eq!(duration("5m"), Ok(Duration::from_secs(300)));
        assert_eq!(duration("1.5h"), Ok(Duration::from_secs(5_400)));
        for wrong in ["5", "5x", "m", "-5m", "0s", "nans", "1e9h", ""] {
            assert_eq!(duration(wrong), Err(BadNumber::Duration), "{wrong}");
        }
    }

    #[test]
    fn a_speed_below_life_is_refused() {
        assert_eq!(speed("280"), Ok(280.0));
        for wrong in ["0", "-1", "nan", "inf", "fast"] {
            assert_eq!(speed(wrong), Err(BadNumber::Speed), "{wrong}");
        }
    }
}
