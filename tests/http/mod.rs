//! What is served over HTTP: the metrics and the document of a snapshot, and the listener on a real socket.

mod document;
mod exposition;
pub mod farm;
mod listener;
pub mod page;
mod slow;
