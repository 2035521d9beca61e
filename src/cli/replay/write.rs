//! What would have been published, as the lines that a broker's client would have recorded: of each turn what is new, what is
//! different and what is gone.

use std::{
    collections::BTreeMap,
    io::{self, BufWriter, Write},
    time::Duration,
};

use crate::{
    engine::Snapshot,
    model::{Identifier, Now},
    wire::{
        event_log::{self, Recorded},
        tree::{self, Entry},
    },
};

/// A decision that is only renewed is written again after this, so that whoever follows the lines never holds one that has
/// run out.
const RENEWED_AFTER: Duration = Duration::from_secs(240);

/// Writes the lines.
pub(super) struct Writer {
    out: BufWriter<Box<dyn Write + Send>>,
    domain: Identifier,
    standing: BTreeMap<String, Standing>,
}

struct Standing {
    entry: Entry,
    written: Duration,
}

impl Writer {
    pub fn new(out: Box<dyn Write + Send>, domain: Identifier) -> Self {
        Self { out: BufWriter::with_capacity(1 << 16, out), domain, standing: BTreeMap::new() }
    }

    /// Writes what a turn has changed, in the order of the topics. What is gone is an empty payload, as it is for a broker.
    pub fn turned(&mut self, snapshot: &Snapshot) -> io::Result<()> {
        let mut tree = tree::render(snapshot, &self.domain);
        let now = &snapshot.now;
        tree.retain(|_, entry| entry.lives_until.is_none_or(|until| until > now.elapsed));
        let gone: Vec<String> = self.standing.keys().filter(|topic| !tree.contains_key(*topic)).cloned().collect();
        for topic in gone {
            self.standing.remove(&topic);
            self.line(now, &topic, String::new())?;
        }
        for (topic, entry) in tree {
            let standing = self.standing.get(&topic);
            if standing.is_some_and(|standing| !is_due(standing, &entry, now)) {
                continue;
            }
            self.line(now, &topic, entry.payload.clone())?;
            self.standing.insert(topic, Standing { entry, written: now.elapsed });
        }
        Ok(())
    }

    pub fn end(mut self) -> io::Result<()> {
        self.out.flush()
    }

    fn line(&mut self, now: &Now, topic: &str, payload: String) -> io::Result<()> {
        let message = Recorded { at: now.wall, topic: topic.to_owned(), payload, retained: false };
        writeln!(self.out, "{}", event_log::write(&message))
    }
}

/// Whether an entry has to be written: it says something else, or its renewal was held back for long enough.
fn is_due(standing: &Standing, entry: &Entry, now: &Now) -> bool {
    let renewed = standing.entry.payload != entry.payload && now.since(standing.written) >= RENEWED_AFTER;
    renewed || !entry.says_the_same_as(&standing.entry)
}
