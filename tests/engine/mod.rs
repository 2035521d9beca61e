//! The engine through its public face: events in, snapshots out, time as an argument.

mod advice;
mod ahead;
mod alerts;
mod correct;
mod fallback;
pub mod harness;
mod inputs;
mod limits;
mod winter;
