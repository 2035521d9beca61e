//! The shell: sockets, files and the clock.

pub mod clock;
pub mod http;
pub mod logging;
pub mod weather;
