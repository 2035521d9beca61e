//! What would have been published, as the lines that a broker's client would have recorded: of each turn what is new, what is
//! different and what is gone.
//!
//! It is written by a thread of its own, which is told after each turn what may have changed.

use std::{
    collections::BTreeMap,
    io::{self, BufWriter, Write},
    sync::{Arc, mpsc::Receiver},
    time::Duration,
};

use crate::{
    engine::{Engine, RoomState, SiteState, Snapshot},
    model::{Farm, Identifier, Now},
    wire::{
        event_log::{self, Recorded},
        tree::{Entry, Renderer, Tree},
    },
};

/// A decision that is only renewed is written again after this, so that whoever follows the lines never holds one that has
/// run out.
const RENEWED_AFTER: Duration = Duration::from_secs(240);

/// What a turn may have changed.
#[derive(Debug)]
pub(super) struct Turned {
    now: Now,
    farm: Arc<Farm>,
    site: SiteState,
    rooms: Vec<(usize, RoomState)>,
}

impl Turned {
    /// After the last turn of the engine.
    pub fn of(engine: &Engine, now: &Now) -> Self {
        let rooms: Vec<&RoomState> = engine.rooms().collect();
        Self {
            now: *now,
            farm: Arc::clone(engine.farm()),
            site: engine.site().clone(),
            rooms: engine.turned().map(|index| (index, rooms[index].clone())).collect(),
        }
    }
}

/// Writes the lines.
pub(super) struct Writer {
    out: BufWriter<Box<dyn Write + Send>>,
    domain: Identifier,
    renderer: Renderer,
    snapshot: Option<Snapshot>,
    /// Of the site, then of each room.
    standing: Vec<BTreeMap<String, Standing>>,
}

struct Standing {
    entry: Entry,
    written: Duration,
}

impl Writer {
    pub fn new(out: Box<dyn Write + Send>, domain: Identifier) -> Self {
        let out = BufWriter::with_capacity(1 << 16, out);
        Self { out, domain, renderer: Renderer::default(), snapshot: None, standing: Vec::new() }
    }

    /// Writes until nothing more is told.
    pub fn run(mut self, told: &Receiver<Turned>) -> io::Result<()> {
        for turned in told {
            self.turned(turned)?;
        }
        self.out.flush()
    }

    fn turned(&mut self, turned: Turned) -> io::Result<()> {
        let Turned { now, farm, site, rooms } = turned;
        let changed: Vec<usize> = rooms.iter().map(|(index, _)| *index).collect();
        let snapshot = match self.snapshot.take() {
            Some(mut snapshot) => {
                (snapshot.now, snapshot.farm, snapshot.site) = (now, farm, site);
                for (index, state) in rooms {
                    snapshot.rooms[index] = state;
                }
                snapshot
            }
            // At the first turn every room is looked at.
            None => {
                let rooms: Vec<RoomState> = rooms.into_iter().map(|(_, state)| state).collect();
                self.standing.resize_with(rooms.len() + 1, BTreeMap::new);
                Snapshot { farm, now, site, rooms, sources: Vec::new(), turns: 0 }
            }
        };
        let site = self.renderer.render_site(&snapshot, &self.domain);
        self.device(0, site, &now)?;
        for index in changed {
            let room = self.renderer.render_room(&snapshot, &self.domain, index);
            self.device(index + 1, room, &now)?;
        }
        self.snapshot = Some(snapshot);
        Ok(())
    }

    /// Writes what has changed of one device, in the order of the topics. What is gone is an empty payload, as it is for a
    /// broker.
    fn device(&mut self, place: usize, mut tree: Tree, now: &Now) -> io::Result<()> {
        tree.retain(|_, entry| entry.lives_until.is_none_or(|until| until > now.elapsed));
        let standing = &mut self.standing[place];
        let gone: Vec<String> = standing.keys().filter(|topic| !tree.contains_key(*topic)).cloned().collect();
        for topic in gone {
            standing.remove(&topic);
            line(&mut self.out, now, topic, String::new())?;
        }
        for (topic, entry) in tree {
            if standing.get(&topic).is_some_and(|standing| !is_due(standing, &entry, now)) {
                continue;
            }
            line(&mut self.out, now, topic.clone(), entry.payload.clone())?;
            standing.insert(topic, Standing { entry, written: now.elapsed });
        }
        Ok(())
    }
}

fn line(out: &mut impl Write, now: &Now, topic: String, payload: String) -> io::Result<()> {
    let message = Recorded { at: now.wall, topic, payload, retained: false };
    writeln!(out, "{}", event_log::write(&message))
}

/// Whether an entry has to be written: it says something else, or its renewal was held back for long enough.
fn is_due(standing: &Standing, entry: &Entry, now: &Now) -> bool {
    let renewed = standing.entry.payload != entry.payload && now.since(standing.written) >= RENEWED_AFTER;
    renewed || !entry.says_the_same_as(&standing.entry)
}
