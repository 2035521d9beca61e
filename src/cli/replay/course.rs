//! The engine through recorded time: called at each line and, between lines, whenever it wants to be.

use std::{
    sync::{
        Arc,
        mpsc::{Receiver, SyncSender},
    },
    time::Duration,
};

use super::{
    Failure,
    input::Heard,
    progress::Progress,
    tally::{Tally, spoken},
    write::Turned,
};
use crate::{
    engine::{Engine, Event},
    model::{Farm, Now, Service},
};

/// Behind this much silence nothing happens any more: what is left of a gap is passed over at once.
pub(super) const LIVED_THROUGH: Duration = Duration::from_secs(26 * 3_600);

/// Who forecasts.
pub(super) type Services = [Option<Service>; 2];

/// Where a replay shows.
pub(super) struct Outlets {
    /// What would have been published.
    pub writer: Option<SyncSender<Turned>>,
    /// How far it has come.
    pub progress: Progress,
}

impl Outlets {
    fn turned(&mut self, engine: &Engine, now: &Now) -> Result<(), Failure> {
        self.progress.tell(now);
        match &self.writer {
            Some(writer) => writer.send(Turned::of(engine, now)).map_err(|_| Failure::WriterGone),
            None => Ok(()),
        }
    }
}

/// Runs the engine through everything that is heard. `None` where nothing is.
pub(super) fn run(
    farm: &Arc<Farm>,
    services: Services,
    heard: &Receiver<Vec<Heard>>,
    outlets: &mut Outlets,
) -> Result<Option<Tally>, Failure> {
    let mut course: Option<Course> = None;
    for one in heard.iter().flatten() {
        if course.is_none() {
            let begun = Course::new(farm, services, &one.now);
            outlets.turned(&begun.engine, &begun.now)?;
            course = Some(begun);
        }
        if let Some(course) = &mut course {
            course.take(one, outlets)?;
        }
    }
    Ok(course.map(Course::ended))
}

struct Course {
    engine: Engine,
    tally: Tally,
    now: Now,
}

impl Course {
    fn new(farm: &Arc<Farm>, [service, fallback]: Services, now: &Now) -> Self {
        let mut engine = Engine::new(Arc::clone(farm), service, now).with_fallback(fallback, now);
        engine.handle(Event::Connected, now);
        let voice = engine.snapshot(now).voice();
        let mut tally = Tally::new(&engine, voice);
        tally.begin(now);
        Self { engine, tally, now: *now }
    }

    fn take(&mut self, heard: Heard, outlets: &mut Outlets) -> Result<(), Failure> {
        self.live_until(&heard.now, outlets)?;
        let spoken = spoken(&heard.events);
        let stepped = heard.stepped.then_some(Event::ClockStepped);
        self.turn(heard.events.into_iter().chain(stepped), heard.now, outlets)?;
        self.tally.hear(&spoken, &self.engine);
        Ok(())
    }

    /// Lets time pass up to the next line.
    fn live_until(&mut self, next: &Now, outlets: &mut Outlets) -> Result<(), Failure> {
        let began = self.now.elapsed;
        loop {
            let due = self.engine.next_deadline(&self.now);
            if due >= next.elapsed || due.saturating_sub(began) > LIVED_THROUGH {
                return Ok(());
            }
            let ahead = due.saturating_sub(self.now.elapsed);
            let wall = self.now.wall_after(ahead);
            self.turn(std::iter::once(Event::Tick), Now { elapsed: due, wall, trusted: true }, outlets)?;
        }
    }

    fn turn(&mut self, events: impl Iterator<Item = Event>, now: Now, outlets: &mut Outlets) -> Result<(), Failure> {
        self.tally.pass(&self.engine, &now);
        // What is fetched and what is told to the log belongs to a daemon that runs.
        let _ = self.engine.handle_all(events, &now);
        self.now = now;
        self.tally.look(&self.engine, &now);
        outlets.turned(&self.engine, &now)
    }

    fn ended(mut self) -> Tally {
        self.tally.end(&self.engine);
        self.tally
    }
}
