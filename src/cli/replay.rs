//! `mistwright replay`: a recorded log through the same engine as live, at full speed.

use std::{
    fs,
    io::{self, Write},
    path::{Path, PathBuf},
    process::ExitCode,
    sync::{Arc, atomic::AtomicU64, mpsc},
};

use clap::Args;
use jiff::{
    Timestamp,
    civil::{Date, DateTime},
    tz::TimeZone,
};

use super::{BAD_INPUT, FAILED};
use crate::{
    config::{self, Config},
    model::Farm,
};

mod bad;
mod course;
mod input;
mod lines;
mod progress;
mod report;
mod setup;
mod tally;
mod twin;
mod what_if;
mod write;

use course::Outlets;
use input::Counts;
use lines::Unreadable;
use progress::Progress;
use setup::Setup;
use tally::Tally;
use twin::Twin;
use what_if::WhatIf;
use write::Writer;

/// Run a recorded log through the same engine as the daemon, at full speed, and say what came of it: alerts with their
/// times, water by day, hours outside each band, changes of the advice, and when each sensor was heard.
///
/// The log is what a broker's own client writes down:
///
/// mosquitto_sub -h localhost -F %j -t '#' > log.jsonl
///
/// or CSV with the columns time, topic, payload. Several logs are joined by their times. The log's time is trusted.
#[derive(Debug, Args)]
pub(super) struct ReplayArguments {
    /// Recorded logs; `-` is the standard input.
    #[arg(required = true, value_name = "LOG")]
    logs: Vec<PathBuf>,
    /// Configuration file of the farm.
    #[arg(long, value_name = "FILE")]
    config: PathBuf,
    /// What weather services have answered: JSON lines with `tst`, `service` and `body`.
    #[arg(long, value_name = "FILE")]
    forecasts: Option<PathBuf>,
    /// What a weather station near the farm has measured, in the place of the farm's outdoor sensors: ISD-Lite, or CSV with
    /// a head (`time`, `temperature_celsius`, and `dew_point_celsius` or `relative_humidity_percent`).
    #[arg(long, value_name = "FILE")]
    observations: Option<PathBuf>,
    /// Take the observations as a forecast that was always right. Warnings then come earlier than any real forecast allows.
    #[arg(long, requires = "observations", conflicts_with = "forecasts")]
    foresight: bool,
    /// Compare with another configuration of the farm: both are lived through by the room model, with the recorded weather,
    /// forecasts and settings.
    #[arg(long, value_name = "CONFIG")]
    what_if: Option<PathBuf>,
    /// Begin at this moment: 2027-01-15T18:00:00Z, or a date and time of the farm's own, as 2027-01-15 or 2027-01-15T20:00.
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// End before this moment.
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// Write what the daemon would have published, as lines of the same form; `-` is the standard output, and the summary
    /// then goes to the standard error.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
    /// The summary as JSON.
    #[arg(long)]
    json: bool,
}

/// Why there is no summary.
#[derive(Debug, thiserror::Error)]
enum Failure {
    #[error(transparent)]
    Read(#[from] Unreadable),
    #[error("{0}")]
    Configuration(config::Problems),
    #[error("{path} holds no observations: {reason}.")]
    Observations { path: String, reason: String },
    #[error(
        "`{0}` is no moment. Write it as 2027-01-15T18:00:00Z, or as a date and time of the farm's own: 2027-01-15, \
         2027-01-15T20:00."
    )]
    Moment(String),
    #[error("The replay would end before it begins: --to is not after --from.")]
    Backwards,
    #[error("Nothing could be replayed: {0}")]
    Nothing(String),
    #[error("What was replayed cannot be written: {0}")]
    Write(#[from] io::Error),
    #[error("What was replayed is not written any more.")]
    WriterGone,
    #[error("A thread has ended by itself; this is a defect of the program.")]
    Ended,
}

impl Failure {
    const fn code(&self) -> u8 {
        match self {
            Self::Write(_) | Self::WriterGone | Self::Ended => FAILED,
            _ => BAD_INPUT,
        }
    }
}

pub(super) fn run(arguments: &ReplayArguments) -> ExitCode {
    match replay(arguments) {
        Ok(()) => ExitCode::SUCCESS,
        // A reader that has gone away, as behind `head`, is no failure.
        Err(Failure::Write(error)) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("mistwright: {failure}");
            ExitCode::from(failure.code())
        }
    }
}

fn replay(arguments: &ReplayArguments) -> Result<(), Failure> {
    let setup = Setup::new(configuration(&arguments.config)?, arguments)?;
    let zone = &setup.farm.site.time_zone;
    let selected = (moment(arguments.from.as_deref(), zone)?, moment(arguments.to.as_deref(), zone)?);
    if selected.0.zip(selected.1).is_some_and(|(from, to)| from >= to) {
        return Err(Failure::Backwards);
    }
    let writer = match &arguments.write {
        None => None,
        Some(path) => {
            let out: Box<dyn Write + Send> =
                if path.as_os_str() == "-" { Box::new(io::stdout()) } else { Box::new(fs::File::create(path)?) };
            Some(Writer::new(out, setup.domain.clone()))
        }
    };
    let other = match &arguments.what_if {
        Some(path) => Some((path.display().to_string(), Arc::new(configuration(path)?.farm))),
        None => None,
    };
    let Through { tally, counts, twins } =
        through(&setup, arguments, selected, (writer, other.as_ref().map(|(_, farm)| farm)))?;
    let replayed = report::Replayed { farm: &setup.farm, tally: &tally, counts: &counts, assumed: &setup.assumed };
    let what_if = match (&other, &twins[..]) {
        (Some((file, _)), [as_configured, changed]) => Some(WhatIf { as_configured, changed, recorded: &tally, file }),
        _ => None,
    };
    let text = if arguments.json {
        let mut summary = report::json(&replayed);
        if let Some(what_if) = &what_if {
            summary["what_if"] = what_if::json(what_if);
        }
        summary.to_string() + "\n"
    } else {
        let compared = what_if.as_ref().map(|what_if| what_if::text(what_if, setup.farm.site.units));
        report::text(&replayed) + &compared.unwrap_or_default()
    };
    if arguments.write.as_ref().is_some_and(|path| path.as_os_str() == "-") {
        io::stderr().write_all(text.as_bytes())?;
    } else {
        io::stdout().write_all(text.as_bytes())?;
    }
    Ok(())
}

/// What came of it.
struct Through {
    tally: Tally,
    counts: Counts,
    /// The farm as configured and as changed, where they are compared.
    twins: Vec<Twin>,
}

/// Reads in one thread, lives through it in this one, and compares in a third.
fn through(
    setup: &Setup,
    arguments: &ReplayArguments,
    selected: (Option<Timestamp>, Option<Timestamp>),
    (writer, other): (Option<Writer>, Option<&Arc<Farm>>),
) -> Result<Through, Failure> {
    let read = Arc::<AtomicU64>::default();
    let progress = Progress::new(setup.farm.site.time_zone.clone(), Arc::clone(&read), size(&arguments.logs));
    let sources = setup.sources(arguments, selected, read);
    let (turns, told) = mpsc::sync_channel(WAITING_TURNS);
    let mut outlets = Outlets { writer: writer.is_some().then_some(turns), progress };
    let (sender, heard) = mpsc::sync_channel(WAITING_BATCHES);
    let (copies, copied) = mpsc::sync_channel(WAITING_BATCHES);
    let (tally, counts, twins, written) = std::thread::scope(|scope| {
        let writing = writer.map(|writer| scope.spawn(move || writer.run(&told)));
        let twins = other.map(|other| {
            let farms = [Arc::clone(&setup.farm), Arc::clone(other)];
            scope.spawn(move || twin::run(&farms, &setup.farm, setup.services, &copied))
        });
        let copies = twins.is_some().then_some(copies);
        let reader = scope.spawn(|| {
            // Moved in, so that the other ends hear when it is over.
            let listeners = [Some(sender), copies];
            input::read(&sources, &listeners.into_iter().flatten().collect::<Vec<_>>())
        });
        let tally = course::run(&setup.farm, setup.services, &heard, &mut outlets);
        // A reader that is still at it ends when nobody listens.
        drop(heard);
        drop(outlets);
        let written = writing.map(std::thread::ScopedJoinHandle::join);
        (tally, reader.join(), twins.map(std::thread::ScopedJoinHandle::join), written)
    });
    // A writer that has failed is why the rest has ended.
    written.transpose().map_err(|_| Failure::Ended)?.transpose()?;
    let counts = counts.map_err(|_| Failure::Ended)??;
    let tally = tally?.ok_or_else(|| Failure::Nothing(report::why_nothing(&counts)))?;
    let twins = twins.transpose().map_err(|_| Failure::Ended)?.unwrap_or_default();
    Ok(Through { tally, counts, twins })
}

/// Turns that may wait to be written.
const WAITING_TURNS: usize = 256;
/// Batches that may wait for the engine.
const WAITING_BATCHES: usize = 8;

fn configuration(path: &Path) -> Result<Config, Failure> {
    let text = fs::read_to_string(path).map_err(|error| Unreadable { path: path.to_owned(), error })?;
    config::parse(&text, &path.display().to_string()).map_err(Failure::Configuration)
}

/// Bytes of the logs, where all of them are files.
fn size(logs: &[PathBuf]) -> Option<u64> {
    logs.iter().map(|path| fs::metadata(path).ok().filter(fs::Metadata::is_file).map(|file| file.len())).sum()
}

/// A moment by the calendar of the whole world or of the farm.
fn moment(text: Option<&str>, zone: &TimeZone) -> Result<Option<Timestamp>, Failure> {
    let Some(text) = text else { return Ok(None) };
    if let Ok(moment) = text.parse::<Timestamp>() {
        return Ok(Some(moment));
    }
    let local = text.parse::<DateTime>().or_else(|_| text.parse::<Date>().map(Into::into));
    let local = local.map_err(|_| Failure::Moment(text.to_owned()))?;
    zone.to_timestamp(local).map(Some).map_err(|_| Failure::Moment(text.to_owned()))
}
