//! Mistwright: an MQTT bridge daemon for mushroom fruiting rooms in freezing weather.
//!
//! Three rings, read from the inside out.
//!
//! 1. The **pure** ring knows no clock, socket or file: [`units`], [`physics`], [`model`], [`advice`], [`engine`].
//! 2. The **translation** ring turns values into bytes and back, without I/O: [`view`], [`wire`], [`config`].
//! 3. The **shell** owns the runtime, sockets, files and the clock: [`io`], `demo`, [`app`], [`cli`].
//!
//! Which module may import which is held by `tests/architecture.rs`.
#![forbid(unsafe_code)]

pub mod advice;
pub mod app;
pub mod cli;
pub mod config;
#[cfg(feature = "demo")]
pub mod demo;
pub mod engine;
pub mod io;
pub mod model;
pub mod physics;
pub mod units;
pub mod view;
pub mod wire;
