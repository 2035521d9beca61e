//! What the daemon says: setpoints with a reason, and alerts.

pub mod alert;
pub mod caveat;
pub mod cooling;
pub mod decide;
pub mod doubt;
pub mod drying;
pub mod kind;
pub mod lever;
mod mistrust;
pub mod plan;
pub mod sentence;
pub mod setpoint;
pub mod target;
pub mod warning;

pub use alert::{Alert, AlertState, Priority};
pub use doubt::{Doubt, Weight, doubts};
pub use kind::AlertKind;
pub use sentence::Voice;
pub use setpoint::{Decision, LimitedBy, Mode, Reason};
pub use warning::Warning;
