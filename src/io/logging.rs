//! Log lines on standard error, one sentence each; the level comes from `MISTWRIGHT_LOG` (default `info`).

use std::io::IsTerminal;

use tracing_subscriber::{EnvFilter, fmt};

/// Starts logging. A second call changes nothing.
pub fn start() {
    start_with("info,rumqttc=error,rumqttd=error,hyper=warn");
}

/// Starts logging for a command whose output is what people read: by default only what is wrong is logged. The
/// embedded broker calls every client that leaves an error, so it is not heard.
pub fn start_quietly() {
    start_with("error,rumqttd=off");
}

fn start_with(default: &str) {
    let filter = EnvFilter::try_from_env("MISTWRIGHT_LOG").unwrap_or_else(|_| EnvFilter::new(default));
    let lines = fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .with_target(false);
    // Logging that is there already stays.
    let _ = lines.try_init();
}
