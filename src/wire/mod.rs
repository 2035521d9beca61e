//! Values to bytes and back, without I/O.

pub mod decode;
pub mod topic;
