//! How fast the parts are, in processor time: `cargo bench`. Nothing here is a test; budgets are compared by people.
#![expect(clippy::unwrap_used, missing_docs, reason = "a benchmark that cannot go on has failed")]

use criterion::{criterion_group, criterion_main};

mod engine;
#[path = "../engine/harness.rs"]
#[expect(dead_code, reason = "the tests use the rest")]
mod harness;
mod moist_air;
mod outlook;
mod page;
mod processor;
mod room;
mod wire;

criterion_group! {
    name = speed;
    config = criterion::Criterion::default().with_measurement(processor::ProcessorTime);
    targets =
        engine::benches,
        moist_air::benches,
        outlook::benches,
        page::benches,
        room::benches,
        wire::benches
}
criterion_main!(speed);
