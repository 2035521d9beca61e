//! Payloads in, the topic tree out.

use std::hint::black_box;

use mistwright::{
    model::{Identifier, Quantity},
    wire::{
        decode::decode,
        description,
        outbox::Outbox,
        topic::{Binding, Topic, WireUnit},
        tree,
    },
};

use super::engine::twenty_rooms;

use crate::processor::Criterion;

pub fn benches(criterion: &mut Criterion) {
    let topic = || Topic::new("farm/cellar/climate").unwrap();
    let plain = Binding::number(topic(), WireUnit::Celsius);
    criterion.bench_function("wire: a plain number", |b| {
        b.iter(|| decode(black_box(&plain), Quantity::Temperature, black_box(b"16.52")));
    });
    let pointer = Binding::json(topic(), "/climate/temperature", WireUnit::Celsius);
    let json = br#"{"id":"a4c138","climate":{"temperature":16.52,"humidity":88.1,"battery":97},"uptime":86012}"#;
    criterion.bench_function("wire: a number at a JSON pointer", |b| {
        b.iter(|| decode(black_box(&pointer), Quantity::Temperature, black_box(json)));
    });

    let bench = twenty_rooms();
    let (snapshot, domain) = (bench.snapshot(), Identifier::new("homie").unwrap());
    criterion.bench_function("wire: the tree, 20 rooms", |b| {
        b.iter(|| black_box(tree::render(black_box(&snapshot), &domain)));
    });
    let mut renderer = tree::Renderer::default();
    criterion.bench_function("wire: the tree of the same outlooks again, 20 rooms", |b| {
        b.iter(|| black_box(renderer.render(black_box(&snapshot), &domain)));
    });
    criterion.bench_function("wire: the descriptions, 20 rooms", |b| {
        b.iter(|| black_box(description::devices(black_box(&bench.farm), &domain)));
    });
    let tree = tree::render(&snapshot, &domain);
    let devices = description::devices(&bench.farm, &domain);
    let mut outbox = Outbox::new(devices, description::topics(&bench.farm, &domain), 1.0);
    let now = bench.now.elapsed;
    outbox.update(tree.clone(), now);
    outbox.connected(16, now);
    while let Some(message) = outbox.next(now) {
        outbox.answered(message.ticket, Ok(()), now);
    }
    criterion.bench_function("wire: the difference to an unchanged tree, 20 rooms", |b| {
        b.iter_batched(
            || tree.clone(),
            |tree| {
                outbox.update(tree, now);
                black_box(outbox.next(now))
            },
            criterion::BatchSize::SmallInput,
        );
    });
}
