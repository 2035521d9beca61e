//! Log lines, one sentence each: to the journal with their level and place, where the service manager reads standard
//! error into the journal, and as text on standard error everywhere else. The level comes from `MISTWRIGHT_LOG`
//! (default `info`).

use std::{ffi::OsStr, fs, io, io::IsTerminal, os::unix::fs::MetadataExt};

use tracing_journald::{Priority, PriorityMappings};
use tracing_subscriber::{
    filter::{LevelFilter, Targets},
    fmt,
    layer::SubscriberExt,
    util::SubscriberInitExt,
};

/// Starts logging. A second call changes nothing.
pub fn start() {
    start_with("info,rumqttc=error,rumqttd=error,hyper=warn");
}

/// Starts logging for a command whose output is what people read: by default only what is wrong is logged. The
/// embedded broker calls every client that leaves an error, so it is not heard.
pub fn start_quietly() {
    start_with("error,rumqttd=off");
}

/// Whether standard error is the journal: then an error that is only written there has lost its level.
pub fn is_to_journal() -> bool {
    std::env::var_os("JOURNAL_STREAM").is_some_and(|stream| is_stream(&stream, "/proc/self/fd/2"))
}

fn start_with(default: &str) {
    let registry =
        tracing_subscriber::registry().with(levels(std::env::var("MISTWRIGHT_LOG").ok().as_deref(), default));
    // Logging that is there already stays.
    let _ = match is_to_journal().then(journal) {
        Some(Ok(journal)) => registry.with(journal).try_init(),
        // A journal that does not answer still gets what standard error gets.
        Some(Err(_)) | None => {
            let lines = fmt::layer().with_writer(io::stderr).with_ansi(io::stderr().is_terminal()).with_target(false);
            registry.with(lines).try_init()
        }
    };
}

/// Levels, of all modules or each of its own, as `info` or `info,mistwright::io=debug`; the default where nothing else is
/// wanted, or nothing that can be read.
fn levels(wanted: Option<&str>, default: &str) -> Targets {
    // A bare word that is no level would be read as a module, and silence all others.
    let level = |part: &str| part.contains('=') || part.parse::<LevelFilter>().is_ok();
    let wanted = wanted.filter(|wanted| wanted.split(',').all(level)).and_then(|wanted| wanted.parse().ok());
    wanted.or_else(|| default.parse().ok()).unwrap_or_default()
}

/// What happens every day is informational there, not a notice.
fn journal() -> io::Result<tracing_journald::Layer> {
    let priorities =
        PriorityMappings { info: Priority::Informational, debug: Priority::Debug, ..PriorityMappings::new() };
    Ok(tracing_journald::layer()?.with_priority_mappings(priorities).with_field_prefix(Some("MISTWRIGHT".to_owned())))
}

/// Whether the open file at `path` is the one that `stream` names by device and inode, as systemd writes them.
fn is_stream(stream: &OsStr, path: &str) -> bool {
    let Some((device, inode)) = stream.to_str().and_then(|stream| stream.split_once(':')) else { return false };
    let named = (device.parse::<u64>().ok(), inode.parse::<u64>().ok());
    fs::metadata(path).is_ok_and(|file| named == (Some(file.dev()), Some(file.ino())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wanted_counts_and_what_cannot_be_read_leaves_the_default() {
        use tracing::Level;
        let enabled = |wanted, module, level| levels(wanted, "info,noisy=error").would_enable(module, &level);
        assert!(enabled(None, "mistwright", Level::INFO) && !enabled(None, "mistwright", Level::DEBUG));
        assert!(enabled(None, "noisy", Level::ERROR) && !enabled(None, "noisy::inside", Level::WARN));
        assert!(enabled(Some("debug"), "mistwright", Level::DEBUG));
        assert!(!enabled(Some("warn,other=trace"), "mistwright", Level::INFO));
        assert!(enabled(Some("loud"), "mistwright", Level::INFO) && !enabled(Some("a=b=c"), "noisy", Level::INFO));
    }

    #[test]
    fn a_stream_is_known_by_device_and_inode_and_by_nothing_less() {
        let file = fs::metadata("/dev/null").unwrap();
        let named = |device: u64, inode: u64| is_stream(OsStr::new(&format!("{device}:{inode}")), "/dev/null");
        assert!(named(file.dev(), file.ino()));
        assert!(!named(file.dev(), file.ino() + 1));
        assert!(!named(file.dev() + 1, file.ino()));
        for wrong in ["", ":", "1", "a:b"] {
            assert!(!is_stream(OsStr::new(wrong), "/dev/null"), "{wrong}");
        }
        assert!(!is_stream(OsStr::new("1:1"), "/nowhere/at/all"));
    }
}
