//! The page of twenty rooms, and the drawings alone.

use std::hint::black_box;

use mistwright::view::page::{self, View};

use crate::engine::twenty_rooms;
use crate::processor::Criterion;

pub fn benches(criterion: &mut Criterion) {
    let snapshot = twenty_rooms().snapshot();
    criterion.bench_function("page: the whole farm, 20 rooms", |b| {
        b.iter(|| black_box(page::page(&snapshot, View::default())));
    });
    criterion.bench_function("page: one room of 20", |b| {
        b.iter(|| black_box(page::page(&snapshot, View { room: Some(0), units: None })));
    });
}
