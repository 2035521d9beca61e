//! The one owner of state: events in, effects out, and an immutable snapshot for everybody else.

pub mod command;
mod conditions;
mod core;
mod correct;
mod crop_output;
mod evened;
pub mod event;
mod forecasts;
mod frost;
pub mod inputs;
pub mod kept_inputs;
pub mod memory;
mod outdoors;
mod outlook;
mod outlook_score;
mod room;
mod schedule;
mod senses;
mod site;
pub mod snapshot;
mod spell;
mod suspicion;
mod turn;

pub use command::{Command, Input};
pub use core::Engine;
pub use event::{Effect, Event, FetchFailure, Notice, Rejection, Taken};
pub use forecasts::ServiceState;
pub use memory::Memory;
pub use snapshot::{OutdoorsState, RoomState, SiteState, Snapshot, SourceState};
