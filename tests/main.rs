//! The integration tests: one crate, so that one binary is linked. Each module holds one promise.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on has failed")]

mod architecture;
mod browser;
mod config;
mod decoders;
mod demo;
mod docs;
mod e2e;
mod engine;
mod http;
mod mqtt;
mod mutations;
mod physics;
mod replay;
mod room;
mod store;
mod systemd;
mod weather;
