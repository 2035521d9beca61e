//! What the daemon says: setpoints with a reason, and alerts.

pub mod alert;
pub mod decide;
pub mod sentence;
pub mod setpoint;
pub mod target;

pub use alert::{Alert, AlertKind, AlertState, Priority};
pub use sentence::Voice;
pub use setpoint::{Decision, LimitedBy, Mode, Reason};
