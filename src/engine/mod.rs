//! The one owner of state: events in, effects out, and an immutable snapshot for everybody else.

pub mod event;
pub mod snapshot;

pub use event::{Effect, Event, FetchFailure, Rejection};
pub use snapshot::{OutdoorsState, RoomState, SiteState, Snapshot, SourceState};
