//! What the daemon says: setpoints with a reason, and alerts.

pub mod alert;
pub mod caveat;
pub mod decide;
pub mod doubt;
pub mod plan;
pub mod sentence;
pub mod setpoint;
pub mod target;

pub use alert::{Alert, AlertKind, AlertState, Priority};
pub use doubt::{Doubt, Weight, doubts};
pub use sentence::Voice;
pub use setpoint::{Decision, LimitedBy, Mode, Reason};
