//! What is replayed, in the order of time: the lines of the logs, recorded forecasts, and observations.
//!
//! Each is read as it is needed, so that a winter takes no more memory than a day. Logs that were recorded beside each
//! other are joined by their times.

use std::{
    collections::VecDeque,
    path::{Path, PathBuf},
    sync::{Arc, atomic::AtomicU64, mpsc::SyncSender},
    time::Duration,
};

use jiff::{SignedDuration, Timestamp};

use super::{
    bad::{At, BadLines},
    lines::{Lines, Unreadable},
};
use crate::{
    engine::Event,
    model::{Measured, Now},
    units::Elevation,
    wire::{
        event_log::{self, Recorded},
        forecast_log,
        hearing::{Hearing, Topic},
        observations::{self, Observed},
        weather::{Protocol, Spot},
    },
};

/// Messages handed over together.
const BATCH: usize = 512;
/// A line that is earlier than one before it by no more than this is heard at that one's time; the same bound decides live
/// whether the clock was corrected or has stepped.
const STEP: SignedDuration = SignedDuration::from_secs(5);
/// Observations speak as often as a station's own sensor might.
const OBSERVED_EVERY: SignedDuration = SignedDuration::from_mins(10);
/// Elapsed time at the first line: above zero, so that "now minus a minute" has a meaning from then on.
const BEGINNING: Duration = Duration::from_secs(86_400);
/// A forecast from before the beginning is still in use there if it is no older than this.
const STILL_IN_USE: SignedDuration = SignedDuration::from_hours(6);

/// What is heard at one moment.
#[derive(Debug, Clone)]
pub(super) struct Heard {
    /// When.
    pub now: Now,
    /// Whether the recorder's clock was set back.
    pub stepped: bool,
    /// What it says.
    pub events: Vec<Event>,
}

/// What was read.
#[derive(Debug, Default, Clone)]
pub(super) struct Counts {
    pub lines: u64,
    pub readings: u64,
    pub settings: u64,
    /// Kept by the broker: no news.
    pub retained: u64,
    /// Published by the daemon itself.
    pub own: u64,
    /// Of topics that the configuration does not name.
    pub foreign: u64,
    /// Outside of what was selected.
    pub outside: u64,
    pub forecasts: u64,
    pub bad: BadLines,
}

/// What is to be read.
pub(super) struct Sources<'a> {
    pub logs: &'a [PathBuf],
    pub hearing: &'a Hearing,
    /// From and to; what is at the latter is left out.
    pub selected: (Option<Timestamp>, Option<Timestamp>),
    pub forecasts: Option<Forecasts<'a>>,
    pub observations: Option<Observations<'a>>,
    /// Counts bytes.
    pub read: Arc<AtomicU64>,
    /// Lines that were found bad before.
    pub bad: &'a BadLines,
}

/// Recorded answers of weather services.
#[derive(Clone, Copy)]
pub(super) struct Forecasts<'a> {
    pub path: &'a Path,
    pub spot: Spot,
    pub services: &'a [&'static Protocol],
}

/// Recorded weather.
#[derive(Clone, Copy)]
pub(super) struct Observations<'a> {
    pub observed: &'a [Observed],
    /// The sources that they stand in for: temperature and moisture.
    pub sources: [usize; 2],
    /// Whether they are forecast as well.
    pub foresight: bool,
    pub elevation: Elevation,
}

/// What one file says next.
#[derive(Debug)]
struct Next {
    at: Timestamp,
    events: Vec<Event>,
}

struct Log<'a> {
    lines: Lines,
    /// Its name, where there are several.
    file: Option<String>,
    hearing: &'a Hearing,
    selected: (Option<Timestamp>, Option<Timestamp>),
    latest: Option<Timestamp>,
    next: Option<Next>,
}

impl Log<'_> {
    /// Reads on to the next line that says something.
    fn pull(&mut self, counts: &mut Counts) -> Result<(), Unreadable> {
        self.next = None;
        while let Some((number, line)) = self.lines.next()? {
            counts.lines += 1;
            let file = &self.file;
            let at = || At { file: file.clone(), line: number };
            let recorded = match line.and_then(event_log::read) {
                Ok(recorded) => recorded,
                Err(bad) => {
                    counts.bad.add(bad.word(), at, || bad.to_string());
                    continue;
                }
            };
            let (from, to) = self.selected;
            if from.is_some_and(|from| recorded.at < from) || to.is_some_and(|to| recorded.at >= to) {
                counts.outside += 1;
                continue;
            }
            let latest = self.latest.unwrap_or(recorded.at);
            let back = latest.duration_since(recorded.at);
            if back > SignedDuration::ZERO {
                counts.bad.add("back-in-time", at, || back_in_time(back));
            }
            self.latest = Some(if back > STEP { recorded.at } else { latest.max(recorded.at) });
            if let Some(events) = heard(&recorded, self.hearing, counts, at) {
                self.next = Some(Next { at: recorded.at, events });
                break;
            }
        }
        Ok(())
    }
}

fn back_in_time(back: SignedDuration) -> String {
    let seconds = back.as_secs_f64();
    if back <= STEP {
        format!("{seconds:.3} s earlier than a line before it; it is heard at that line's time")
    } else {
        format!("{seconds:.0} s earlier than the line before it; the clock is taken as set back there")
    }
}

/// What a message says; `None` for one that says nothing here.
fn heard(recorded: &Recorded, hearing: &Hearing, counts: &mut Counts, at: impl Fn() -> At) -> Option<Vec<Event>> {
    match hearing.topic(&recorded.topic) {
        Topic::Own => counts.own += 1,
        Topic::Foreign => counts.foreign += 1,
        Topic::Heard if recorded.retained => counts.retained += 1,
        Topic::Heard => {
            let mut events = Vec::with_capacity(1);
            hearing.events(&recorded.topic, recorded.payload.as_bytes(), |event| events.push(event));
            for event in &events {
                let (word, why) = match event {
                    Event::Rejected { rejection, .. } => ("payload", &rejection.sentence),
                    Event::CommandRefused { rejection, .. } => ("setting", &rejection.sentence),
                    Event::Command { .. } => {
                        counts.settings += 1;
                        continue;
                    }
                    _ => {
                        counts.readings += 1;
                        continue;
                    }
                };
                counts.bad.add(word, &at, || format!("on `{}`: {why}", recorded.topic));
            }
            return (!events.is_empty()).then_some(events);
        }
    }
    None
}

struct Answers<'a> {
    lines: Lines,
    from: Forecasts<'a>,
    file: String,
    next: VecDeque<Next>,
}

impl<'a> Answers<'a> {
    /// Opens them, and reads on to the last answer that came no later than `start`: it is heard there.
    fn open(from: Forecasts<'a>, start: Timestamp, counts: &mut Counts) -> Result<Self, Unreadable> {
        let lines = Lines::open(from.path, &Arc::default())?;
        let mut answers = Self { lines, from, file: from.path.display().to_string(), next: VecDeque::new() };
        while answers.pull(counts)? && answers.next.back().is_some_and(|next| next.at <= start) {
            let before = answers.next.len() - 1;
            answers.next.drain(..before);
        }
        if let Some(first) = answers.next.front_mut().filter(|next| next.at <= start) {
            if start.duration_since(first.at) <= STILL_IN_USE {
                first.at = start;
            } else {
                answers.next.pop_front();
            }
        }
        Ok(answers)
    }

    /// Reads one more answer; whether there is one.
    fn pull(&mut self, counts: &mut Counts) -> Result<bool, Unreadable> {
        while let Some((number, line)) = self.lines.next()? {
            let file = &self.file;
            let at = || At { file: Some(file.clone()), line: number };
            let answer = match line {
                Ok(line) => forecast_log::read(line, &self.from.spot, self.from.services),
                Err(bad) => Err(bad.into()),
            };
            match answer {
                Ok(forecast_log::Answer { at, service, forecast }) => {
                    counts.forecasts += 1;
                    let event = Event::Forecast { service, forecast: Some(forecast), keep_for: Duration::ZERO };
                    self.next.push_back(Next { at, events: vec![event] });
                    return Ok(true);
                }
                Err(bad) => counts.bad.add(bad.word(), at, || bad.to_string()),
            }
        }
        Ok(false)
    }
}

/// Observations that speak as an outdoor sensor does, and as a forecast where they are to.
struct Watched<'a> {
    from: Observations<'a>,
    at: Timestamp,
    forecast_at: Timestamp,
}

impl Watched<'_> {
    /// What they say at the next moment, empty in a gap; `None` behind their end.
    fn next(&mut self) -> Option<Next> {
        let Observations { observed, sources, foresight, elevation } = self.from;
        let at = self.at;
        let after = observed.partition_point(|one| one.at <= at);
        let before = after.checked_sub(1).and_then(|before| observed.get(before));
        let behind = observed.get(after)?;
        let mut events = Vec::new();
        if foresight && at >= self.forecast_at {
            self.forecast_at = at + SignedDuration::from_hours(1);
            let forecast = observations::forecast(observed, at, elevation).ok();
            let service = observations::SERVICE;
            events.extend(forecast.map(|forecast| Event::Forecast {
                service,
                forecast: Some(forecast),
                keep_for: Duration::ZERO,
            }));
        }
        let between = before.and_then(|before| Observed::between(before, behind, at));
        let measured: Option<[Measured; 2]> = between.map(|one| one.measured());
        let readings = sources.into_iter().zip(measured.into_iter().flatten());
        events.extend(readings.map(|(source, measured)| Event::Reading { source, measured, taken: None }));
        self.at = at + OBSERVED_EVERY;
        Some(Next { at, events })
    }
}

/// All that is read, joined by time.
struct Joined<'a> {
    logs: Vec<Log<'a>>,
    answers: Option<Answers<'a>>,
    watched: Option<Watched<'a>>,
    observed: Option<Next>,
    now: Option<Now>,
}

impl<'a> Joined<'a> {
    fn open(sources: &Sources<'a>, counts: &mut Counts) -> Result<Self, Unreadable> {
        let several = sources.logs.len() > 1;
        let mut logs = Vec::new();
        for path in sources.logs {
            let lines = Lines::open(path, &sources.read)?;
            let file = several.then(|| path.display().to_string());
            let mut log =
                Log { lines, file, hearing: sources.hearing, selected: sources.selected, latest: None, next: None };
            log.pull(counts)?;
            logs.push(log);
        }
        let mut joined = Self { logs, answers: None, watched: None, observed: None, now: None };
        if let Some(start) = joined.logs.iter().filter_map(|log| log.next.as_ref()).map(|next| next.at).min() {
            joined.answers = sources.forecasts.map(|from| Answers::open(from, start, counts)).transpose()?;
            joined.watched = sources.observations.map(|from| Watched { from, at: start, forecast_at: start });
            joined.observed = joined.watched.as_mut().and_then(Watched::next);
        }
        Ok(joined)
    }

    /// What is heard next; `None` where the logs have ended.
    fn next(&mut self, counts: &mut Counts) -> Result<Option<Heard>, Unreadable> {
        let heads = self.logs.iter().enumerate().filter_map(|(index, log)| Some((log.next.as_ref()?.at, index)));
        let Some((at, index)) = heads.min() else { return Ok(None) };
        if self.observed.as_ref().is_some_and(|next| next.at <= at) {
            let next = self.observed.take();
            self.observed = self.watched.as_mut().and_then(Watched::next);
            return Ok(next.map(|next| self.heard(next, false)));
        }
        if let Some(answers) = self.answers.as_mut().filter(|a| a.next.front().is_some_and(|next| next.at <= at)) {
            let next = answers.next.pop_front();
            if answers.next.is_empty() {
                answers.pull(counts)?;
            }
            return Ok(next.map(|next| self.heard(next, false)));
        }
        let log = &mut self.logs[index];
        let next = log.next.take();
        log.pull(counts)?;
        Ok(next.map(|next| self.heard(next, true)))
    }

    /// At which time: elapsed time never goes back, the calendar only where a log does.
    fn heard(&mut self, Next { at, events }: Next, may_step: bool) -> Heard {
        let before = *self.now.get_or_insert(Now { elapsed: BEGINNING, wall: at, trusted: true });
        let ahead = at.duration_since(before.wall);
        let (now, stepped) = match Duration::try_from(ahead) {
            Ok(ahead) => (Now { elapsed: before.elapsed + ahead, wall: at, trusted: true }, false),
            Err(_) if may_step && -ahead > STEP => (Now { wall: at, ..before }, true),
            Err(_) => (before, false),
        };
        self.now = Some(now);
        Heard { now, stepped, events }
    }
}

/// Reads everything and hands it over in batches to each of `listeners`, until the end or until one of them listens no
/// more.
pub(super) fn read(sources: &Sources<'_>, listeners: &[SyncSender<Vec<Heard>>]) -> Result<Counts, Unreadable> {
    let mut counts = Counts { bad: sources.bad.clone(), ..Counts::default() };
    let mut joined = Joined::open(sources, &mut counts)?;
    let mut batch = Vec::with_capacity(BATCH);
    loop {
        let heard = joined.next(&mut counts)?;
        let ended = heard.is_none();
        batch.extend(heard);
        if batch.len() == BATCH || ended {
            let Some((first, others)) = listeners.split_first() else { return Ok(counts) };
            let heard_by_all = others.iter().all(|listener| listener.send(batch.clone()).is_ok());
            let batch = std::mem::replace(&mut batch, Vec::with_capacity(BATCH));
            if first.send(batch).is_err() || !heard_by_all || ended {
                return Ok(counts);
            }
        }
    }
}
