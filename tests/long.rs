//! What takes a season or an ensemble: built with optimisation, as a crate of its own.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod nights;
#[path = "replay/recorder.rs"]
mod recorder;
mod seasons;
#[path = "replay/speed.rs"]
mod speed;
mod story;
#[path = "replay/winter.rs"]
mod winter;
#[path = "replay/winters.rs"]
mod winters;
