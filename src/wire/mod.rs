//! Values to bytes and back, without I/O.

pub mod decode;
pub mod description;
pub mod document;
pub mod event_log;
pub mod forecast_log;
pub mod hearing;
pub mod inputs;
pub mod levers;
pub mod lifecycle;
pub mod observations;
pub mod outbox;
pub mod outlook;
pub mod outlook_score;
pub mod score;
pub mod state_file;
pub mod topic;
pub mod tree;
pub mod weather;
