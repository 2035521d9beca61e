//! The state file: read once at the start, written whole every few minutes and at the end.
//!
//! A write goes to a second file that takes the place of the first in one step, so that a power cut leaves the old
//! state or the new one. Nothing here ever stops the daemon: what cannot be read is set aside, what cannot be written
//! is said once.

use std::{
    collections::BTreeSet,
    fs::{self, File},
    io::{self, Read, Write},
    path::{Path, PathBuf},
    time::Duration,
};

use tokio::sync::{mpsc, watch};

use crate::{
    config::Config,
    engine::{Engine, Event, Snapshot},
    wire::state_file::{self, BadState, State},
};

/// A state is written at most this often: SD cards wear, and a minute lost matters little.
pub const KEEP_EVERY: Duration = Duration::from_secs(180);

/// What somebody has set is written sooner, because they will not say it again; and still no more often than this.
pub const KEEP_SETTINGS_EVERY: Duration = Duration::from_secs(20);

const NAME: &str = "state.json";
const NEW: &str = "state.json.new";
const ASIDE: &str = "state.json.set-aside";

/// Why the state could not be written.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The system refused.
    #[error("{step} failed: {source}")]
    System {
        /// What was being done.
        step: &'static str,
        /// What the system said.
        source: io::Error,
    },
    /// It could not be made into bytes.
    #[error("{0}")]
    State(#[from] BadState),
}

/// What was found at the start.
#[derive(Debug)]
pub enum Found {
    /// No file: a first start.
    Nothing,
    /// What was kept.
    State(Box<State>),
    /// A file that is no state; it was renamed to the given path.
    SetAside(PathBuf, BadState),
    /// A file that is no state and cannot be renamed; the next write replaces it.
    Stuck(BadState, io::Error),
    /// A file that cannot be read.
    Unreadable(io::Error),
}

/// Reads the state kept in `directory`.
pub fn read(directory: &Path) -> Found {
    let path = directory.join(NAME);
    let mut bytes = Vec::new();
    let limit = state_file::LARGEST as u64 + 1;
    match File::open(&path).and_then(|file| file.take(limit).read_to_end(&mut bytes)) {
        Ok(_) => {}
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Found::Nothing,
        Err(error) => return Found::Unreadable(error),
    }
    match state_file::read(&bytes) {
        Ok(state) => Found::State(Box::new(state)),
        Err(bad) => {
            let aside = directory.join(ASIDE);
            match fs::rename(&path, &aside) {
                Ok(()) => Found::SetAside(aside, bad),
                Err(error) => Found::Stuck(bad, error),
            }
        }
    }
}

/// Reads the state kept in `directory`, and tells the log what else there was.
pub fn read_and_tell(directory: &Path) -> State {
    let path = directory.join(NAME).display().to_string();
    match read(directory) {
        Found::State(state) => return *state,
        Found::Nothing => tracing::info!("There is no {path} yet; nothing is restored."),
        Found::SetAside(aside, bad) => tracing::warn!(
            "{path} cannot be used: {bad}. It is now {aside}, and nothing is restored.",
            aside = aside.display()
        ),
        Found::Stuck(bad, error) => tracing::warn!(
            "{path} cannot be used: {bad}. It cannot be set aside either ({error}), and nothing is restored."
        ),
        Found::Unreadable(error) => tracing::warn!("{path} cannot be read: {error}. Nothing is restored."),
    }
    State::default()
}

/// Writes `state` in `directory`, durably: once this returns, a power cut does not undo it.
///
/// # Errors
/// See [`StoreError`]; the state that was there before stays.
pub fn write(directory: &Path, state: &State) -> Result<(), StoreError> {
    let step = |step| move |source| StoreError::System { step, source };
    let bytes = state_file::write(state)?;
    let new = directory.join(NEW);
    let mut file = File::create(&new).map_err(step("making the new file"))?;
    file.write_all(&bytes).map_err(step("writing the new file"))?;
    file.sync_all().map_err(step("bringing the new file to the disk"))?;
    drop(file);
    fs::rename(&new, directory.join(NAME)).map_err(step("putting the new file in the old one's place"))?;
    File::open(directory).and_then(|directory| directory.sync_all()).map_err(step("bringing the directory to the disk"))
}

/// Says what is to be kept, and when.
#[derive(Debug)]
pub struct Keeper {
    states: watch::Sender<State>,
    /// When the next state is due, as [`Now::elapsed`](crate::model::Now::elapsed).
    due: Duration,
    /// Settings that the last state knew of.
    settings: u64,
    /// Topics of the farm as configured.
    own: BTreeSet<String>,
    /// Topics of an earlier run that are not among them: remembered until the broker has been told to forget them.
    left_behind: BTreeSet<String>,
    connected_before: bool,
}

impl Keeper {
    /// For a farm, with the topics that an earlier run has kept.
    pub fn new(config: &Config, kept: &BTreeSet<String>) -> Self {
        let own = state_file::topics_of(&config.farm, &config.broker.domain);
        let left_behind = kept.difference(&own).cloned().collect();
        let (states, _) = watch::channel(State::default());
        Self { states, due: Duration::ZERO, settings: 0, own, left_behind, connected_before: false }
    }

    /// Topics that nothing publishes any more and that may still stand at the broker.
    pub const fn left_behind(&self) -> &BTreeSet<String> {
        &self.left_behind
    }

    /// Where the states come out, for [`run`].
    pub fn states(&self) -> watch::Receiver<State> {
        self.states.subscribe()
    }

    /// Keeps the engine's memory if [`KEEP_EVERY`] has passed since the last time, or [`KEEP_SETTINGS_EVERY`] where
    /// something was set.
    pub fn keep_when_due(&mut self, engine: &Engine, snapshot: &Snapshot) {
        let sooner = KEEP_EVERY.saturating_sub(KEEP_SETTINGS_EVERY);
        let due = if settings(snapshot) > self.settings { self.due.saturating_sub(sooner) } else { self.due };
        if snapshot.now.elapsed >= due {
            self.keep(engine, snapshot);
        }
    }

    /// Keeps the engine's memory at once.
    pub fn keep(&mut self, engine: &Engine, snapshot: &Snapshot) {
        if self.states.receiver_count() == 0 {
            return;
        }
        self.due = snapshot.now.elapsed + KEEP_EVERY;
        self.settings = settings(snapshot);
        // Connected at two states in a row: that was time enough to clear them.
        if self.connected_before && snapshot.site.connected {
            self.left_behind.clear();
        }
        self.connected_before = snapshot.site.connected;
        let topics = self.own.union(&self.left_behind).cloned().collect();
        self.states.send_replace(State { memory: engine.memory(&snapshot.now), topics });
    }
}

/// Settings taken since the start.
fn settings(snapshot: &Snapshot) -> u64 {
    snapshot.site.inputs.accepted.values().sum()
}

/// Writes every state that comes, the last one at the latest when the sender is gone.
pub async fn run(directory: PathBuf, mut states: watch::Receiver<State>, events: mpsc::Sender<Event>) {
    let mut told = false;
    // A state that comes while another is written is seen at the next turn, the last one before the sender's end too.
    while states.changed().await.is_ok() {
        let state = states.borrow_and_update().clone();
        let folder = directory.clone();
        let result = match tokio::task::spawn_blocking(move || write(&folder, &state)).await {
            Ok(result) => result,
            Err(error) => {
                tracing::error!("Writing the state failed: {error}");
                continue;
            }
        };
        // A full queue loses this; the next state comes within minutes.
        let _ = events.try_send(Event::StateKept { written: result.is_ok() });
        match result {
            Ok(()) if told => {
                told = false;
                tracing::info!("The state can be kept in {} again.", directory.display());
            }
            Err(error) if !told => {
                told = true;
                tracing::warn!(
                    "The state cannot be kept in {}: {error}. The daemon goes on, and would forget forecast and alerts \
                     at a restart. This is not said again.",
                    directory.display()
                );
            }
            Ok(()) | Err(_) => {}
        }
    }
}
