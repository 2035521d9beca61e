//! `mistwright run`: the daemon on a configuration file, until it is told to stop.

use std::{path::PathBuf, process::ExitCode};

use clap::Args;
use tokio::signal::unix::{SignalKind, signal};

use super::{BAD_INPUT, FAILED};
use crate::{
    advice::{Weight, doubts},
    app, config,
    io::{clock::Clock, logging, systemd::Manager},
};

/// Run the daemon.
#[derive(Debug, Args)]
pub(super) struct RunArguments {
    /// Configuration file.
    #[arg(long, value_name = "FILE", default_value = "/etc/mistwright/mistwright.yaml")]
    config: PathBuf,
}

pub(super) fn run(arguments: &RunArguments) -> ExitCode {
    logging::start();
    let file = arguments.config.display().to_string();
    let text = match std::fs::read_to_string(&arguments.config) {
        Ok(text) => text,
        Err(error) => {
            complain(&format!("cannot read {file}: {error}"));
            return ExitCode::from(BAD_INPUT);
        }
    };
    let mut config = match config::parse(&text, &file) {
        Ok(config) => config,
        Err(problems) => {
            complain(&problems.to_string());
            return ExitCode::from(BAD_INPUT);
        }
    };
    tell_doubts(&config);
    if config.state_directory.is_none() {
        config.state_directory = service_managers_directory();
    }
    if config.state_directory.is_none() {
        tracing::info!("Nothing is kept over a restart: set `state.directory` to keep forecast, alerts and dangers.");
    }
    let clock = Clock::machine();
    let told = |address| {
        if let Some(address) = address {
            tracing::info!("Metrics and health are served at http://{address}/metrics.");
        }
    };
    match block_on(async { app::run(config, clock, stop_signal(), told, Manager::of_this_process()).await }) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            complain(&error.to_string());
            ExitCode::from(FAILED)
        }
    }
}

/// What `mistwright check` would say of a configuration without problems, for those who did not ask it.
fn tell_doubts(config: &config::Config) {
    let farm = &config.farm;
    for doubt in doubts(farm, config.forecast.is_some()) {
        let place = doubt.place.map_or(farm.site.title.as_str(), |place| farm.title(place));
        let sentence = doubt.sentence(farm.site.units);
        match doubt.weight() {
            Weight::Warning => tracing::warn!("{place}: {sentence}"),
            Weight::Note => tracing::info!("{place}: {sentence}"),
        }
    }
}

/// Says why the daemon does not run: to the journal as an error, to people as it is.
fn complain(why: &str) {
    if logging::is_to_journal() {
        tracing::error!("{why}");
    } else {
        eprintln!("mistwright: {why}");
    }
}

/// The state directory that systemd has made for its unit; the first, where it has made several.
fn service_managers_directory() -> Option<PathBuf> {
    let directories = std::env::var_os("STATE_DIRECTORY")?;
    std::env::split_paths(&directories).next().filter(|directory| directory.is_absolute())
}

/// Runs `work` on the program's single-threaded runtime.
pub(super) fn block_on<T>(work: impl Future<Output = Result<T, app::AppError>>) -> Result<T, app::AppError> {
    runtime().map_err(app::AppError::Runtime)?.block_on(work)
}

/// The program's single-threaded runtime.
pub(super) fn runtime() -> std::io::Result<tokio::runtime::Runtime> {
    // TLS needs its provider once, before the first connection. A second call finds it there.
    let _ = rustls::crypto::ring::default_provider().install_default();
    tokio::runtime::Builder::new_current_thread().enable_all().build()
}

/// Resolves at SIGTERM or SIGINT.
pub(super) async fn stop_signal() {
    let (Ok(mut terminate), Ok(mut interrupt)) = (signal(SignalKind::terminate()), signal(SignalKind::interrupt()))
    else {
        tracing::error!("Signals cannot be listened to; only a kill will stop this daemon.");
        return std::future::pending().await;
    };
    tokio::select! {
        _ = terminate.recv() => tracing::info!("Told to stop."),
        _ = interrupt.recv() => tracing::info!("Interrupted."),
    }
}
