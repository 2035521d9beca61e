//! The shell: sockets, files and the clock.

pub mod clock;
pub mod logging;
