//! Mistwright: an MQTT bridge daemon for mushroom fruiting rooms in freezing weather.
#![forbid(unsafe_code)]
pub mod units;
pub mod model;
