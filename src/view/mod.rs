//! Snapshots as people and monitoring read them.

pub mod exposition;
pub mod page;
