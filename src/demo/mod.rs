//! The demonstration: an embedded broker, a simulated farm with parameters that the daemon is not told, a simulated
//! weather service, and an accelerated night. It reaches the daemon through sockets alone.

mod air;
pub mod broker;
mod chance;
mod farm;
mod room;
mod weather;
