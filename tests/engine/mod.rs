//! The engine through its public face: events in, snapshots out, time as an argument.

mod advice;
mod alerts;
mod clock;
mod correct;
mod fallback;
mod faults;
pub mod harness;
mod inputs;
mod learned;
mod levers;
mod limits;
mod observed;
mod outlook;
mod outlook_score;
mod protect;
mod reasons;
mod stage;
mod winter;
