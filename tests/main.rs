//! The integration tests: one crate, so that one binary is linked. Each module holds one promise.

mod architecture;
mod docs;
mod e2e;
mod engine;
