//! How fast the parts are: `cargo bench`. Nothing here is a test; budgets are compared by people.
#![expect(clippy::unwrap_used, missing_docs, reason = "a benchmark that cannot go on has failed")]

use criterion::{criterion_group, criterion_main};

mod engine;
#[path = "../engine/harness.rs"]
#[expect(dead_code, reason = "the tests use the rest")]
mod harness;
mod moist_air;
mod outlook;
mod page;
mod room;
mod wire;

criterion_group!(
    speed,
    engine::benches,
    moist_air::benches,
    outlook::benches,
    page::benches,
    room::benches,
    wire::benches
);
criterion_main!(speed);
