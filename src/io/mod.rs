//! The shell: sockets, files and the clock.

pub mod backoff;
pub mod clock;
pub mod http;
pub mod logging;
pub mod mqtt;
pub mod secret;
pub mod store;
pub mod systemd;
pub mod weather;
