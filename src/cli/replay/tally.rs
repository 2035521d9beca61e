//! What a replay comes to: water by local day, hours outside each band, alerts, changes of the advice, and when each source
//! was heard. What holds after one turn is taken to hold until the next.

use std::collections::BTreeMap;

use jiff::{Timestamp, civil::Date, tz::TimeZone};

use crate::{
    advice::{Alert, AlertKind, Decision, LimitedBy, Mode, Voice},
    engine::{Engine, Event, RoomState},
    model::{Measured, Now, Room},
    units::{CarbonDioxide, RelativeHumidity, Temperature},
};

/// Alerts whose times are kept; more than these are only counted.
const KEPT_EPISODES: usize = 20_000;

/// The sums so far.
#[derive(Debug)]
pub(super) struct Tally {
    voice: Voice,
    day: Day,
    pub began: Option<Now>,
    pub ended: Option<Now>,
    pub rooms: Vec<RoomTally>,
    site_alerts: Vec<Option<Raised>>,
    pub episodes: Vec<Episode>,
    /// Alerts that were raised and not kept.
    pub uncounted: u64,
    pub sources: Vec<SourceTally>,
}

/// Of one room.
#[derive(Debug, Default)]
pub(super) struct RoomTally {
    /// Litres drawn by the advised duty, by local day.
    pub water: BTreeMap<Date, f64>,
    pub hours: Hours,
    /// Hours of each mode, in the order of [`Mode::ALL`].
    pub modes: [f64; 3],
    /// Hours in which each limit held, in the order of [`LimitedBy::ALL`].
    pub limits: [f64; LimitedBy::ALL.len()],
    /// How often the advice changed.
    pub changes: u64,
    advised: Option<Decision>,
    alerts: Vec<Option<Raised>>,
}

/// Hours outside a room's bands.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(super) struct Hours {
    pub all: f64,
    pub cold: f64,
    pub warm: f64,
    pub temperature_unknown: f64,
    pub dry: f64,
    pub moist: f64,
    pub humidity_unknown: f64,
    pub gas: f64,
    pub gas_unknown: f64,
}

/// An alert that stood for a while.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Episode {
    /// By its place in the farm's list; `None` for the site.
    pub room: Option<usize>,
    pub kind: AlertKind,
    /// As published: the highest word that it came to.
    pub word: &'static str,
    pub from: Timestamp,
    /// `None` where it stood at the end.
    pub to: Option<Timestamp>,
    /// What it said when it was raised.
    pub said: String,
}

/// An alert that stands.
#[derive(Debug, Clone, Copy)]
struct Raised {
    /// Where it is kept, if it is.
    episode: Option<usize>,
    word: &'static str,
}

/// Of one source.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct SourceTally {
    pub first: Option<(Timestamp, Measured)>,
    pub last: Option<(Timestamp, Measured)>,
    pub accepted: u64,
    pub refused: u64,
}

/// A local day, so that it need not be looked up at each turn.
#[derive(Debug)]
struct Day {
    zone: TimeZone,
    date: Date,
    begins: Timestamp,
    ends: Timestamp,
}

impl Day {
    const fn none(zone: TimeZone) -> Self {
        Self { zone, date: Date::ZERO, begins: Timestamp::UNIX_EPOCH, ends: Timestamp::UNIX_EPOCH }
    }

    /// Moves on to the day that `moment` lies in.
    fn seek(&mut self, moment: Timestamp) {
        if (self.begins..self.ends).contains(&moment) {
            return;
        }
        let date = moment.to_zoned_datetime(self.zone.clone()).date();
        let midnight = |date: Date| self.zone.to_timestamp(date.at(0, 0, 0, 0));
        self.begins = midnight(date).unwrap_or(moment).min(moment);
        let next = date.tomorrow().map_err(|_| ()).and_then(|next| midnight(next).map_err(|_| ()));
        self.ends = next.ok().filter(|ends| *ends > moment).unwrap_or(Timestamp::MAX);
        self.date = date;
    }
}

impl Tally {
    pub fn new(engine: &Engine, voice: Voice) -> Self {
        let rooms =
            engine.rooms().map(|room| RoomTally { alerts: vec![None; room.alerts.len()], ..RoomTally::default() });
        Self {
            day: Day::none(voice.time_zone.clone()),
            voice,
            began: None,
            ended: None,
            rooms: rooms.collect(),
            site_alerts: vec![None; engine.site().alerts.len()],
            episodes: Vec::new(),
            uncounted: 0,
            sources: vec![SourceTally::default(); engine.sources().len()],
        }
    }

    /// The first moment.
    pub fn begin(&mut self, now: &Now) {
        (self.began, self.ended) = (Some(*now), Some(*now));
    }

    /// Time passes, before the next turn.
    pub fn pass(&mut self, engine: &Engine, now: &Now) {
        let Some(before) = self.ended.replace(*now) else { return };
        let hours = now.since(before.elapsed).as_secs_f64() / 3_600.0;
        if hours <= 0.0 {
            return;
        }
        for ((tally, state), room) in self.rooms.iter_mut().zip(engine.rooms()).zip(&engine.farm().rooms) {
            tally.hours.add(known(state), room, hours);
            let decision = &state.decision;
            tally.modes[Mode::ALL.iter().position(|mode| *mode == decision.mode).unwrap_or(0)] += hours;
            if decision.setpoints.is_some() {
                let limit = LimitedBy::ALL.iter().position(|limit| *limit == decision.limited_by);
                tally.limits[limit.unwrap_or(0)] += hours;
            }
        }
        let mut from = before.wall;
        while from < now.wall {
            self.day.seek(from);
            let to = now.wall.min(self.day.ends);
            let hours = to.duration_since(from).as_secs_f64() / 3_600.0;
            for (tally, state) in self.rooms.iter_mut().zip(engine.rooms()) {
                let drawn = state.moisture.and_then(|moisture| moisture.drawn).map(|drawn| drawn.kilograms_per_hour());
                if let Some(litres) = drawn.map(|drawn| drawn * hours).filter(|litres| *litres > 0.0) {
                    *tally.water.entry(self.day.date).or_default() += litres;
                }
            }
            from = to;
        }
    }

    /// Looks at what a turn has changed.
    pub fn look(&mut self, engine: &Engine, now: &Now) {
        let (episodes, voice) = (&mut self.episodes, &self.voice);
        let mut keeper = Keeper { episodes, uncounted: &mut self.uncounted, voice, now: now.wall };
        for (alert, raised) in engine.site().alerts.iter().zip(&mut self.site_alerts) {
            keeper.take(None, alert, raised);
        }
        for (index, (tally, state)) in self.rooms.iter_mut().zip(engine.rooms()).enumerate() {
            for (alert, raised) in state.alerts.iter().zip(&mut tally.alerts) {
                keeper.take(Some(index), alert, raised);
            }
            if tally.advised.as_ref().is_none_or(|before| moved(before, &state.decision)) {
                tally.changes += u64::from(tally.advised.is_some());
                tally.advised = Some(state.decision.clone());
            }
        }
    }

    /// Notes which sources were heard in a turn.
    pub fn hear(&mut self, events: &[usize], engine: &Engine) {
        for source in events {
            let (tally, state) = (&mut self.sources[*source], &engine.sources()[*source]);
            if tally.first.is_none() {
                tally.first = state.last_heard.zip(state.reading.last());
            }
        }
    }

    /// The end.
    pub fn end(&mut self, engine: &Engine) {
        for (tally, state) in self.sources.iter_mut().zip(engine.sources()) {
            tally.last = state.last_heard.zip(state.reading.last());
            tally.accepted = state.accepted;
            tally.refused = state.rejected.values().sum();
        }
    }
}

/// The sources that readings among `events` came from.
pub(super) fn spoken(events: &[Event]) -> Vec<usize> {
    events
        .iter()
        .filter_map(|event| if let Event::Reading { source, .. } = event { Some(*source) } else { None })
        .collect()
}

struct Keeper<'a> {
    episodes: &'a mut Vec<Episode>,
    uncounted: &'a mut u64,
    voice: &'a Voice,
    now: Timestamp,
}

impl Keeper<'_> {
    fn take(&mut self, room: Option<usize>, alert: &Alert, raised: &mut Option<Raised>) {
        let word = alert.published();
        match (&raised, alert.message()) {
            (None, Some(message)) => {
                let episode = (self.episodes.len() < KEPT_EPISODES).then_some(self.episodes.len());
                *raised = Some(Raised { episode, word });
                if episode.is_none() {
                    *self.uncounted += 1;
                    return;
                }
                let said = message.sentence(self.voice, self.now);
                self.episodes.push(Episode { room, kind: alert.kind, word, from: self.now, to: None, said });
            }
            (Some(Raised { episode, .. }), None) => {
                if let Some(episode) = episode.and_then(|at| self.episodes.get_mut(at)) {
                    episode.to = Some(self.now);
                }
                *raised = None;
            }
            (Some(before), Some(_)) if before.word != word => {
                let Raised { episode, .. } = *before;
                if let Some(episode) =
                    episode.and_then(|at| self.episodes.get_mut(at)).filter(|e| rank(word) > rank(e.word))
                {
                    episode.word = word;
                }
                *raised = Some(Raised { episode, word });
            }
            _ => {}
        }
    }
}

fn rank(word: &str) -> usize {
    ["unknown", "notice", "warning", "critical"].iter().position(|other| *other == word).unwrap_or(0)
}

fn known(state: &RoomState) -> Known {
    (state.temperature.fresh(), state.relative_humidity.fresh(), state.carbon_dioxide.fresh())
}

/// What is known of a room's air.
pub(super) type Known = (Option<Temperature>, Option<RelativeHumidity>, Option<CarbonDioxide>);

impl Hours {
    /// Adds hours of this air.
    pub fn add(&mut self, (temperature, humidity, gas): Known, room: &Room, hours: f64) {
        self.all += hours;
        let bands = &room.bands;
        match temperature {
            None => self.temperature_unknown += hours,
            Some(temperature) if temperature < bands.temperature.lowest => self.cold += hours,
            Some(temperature) if temperature > bands.temperature.highest => self.warm += hours,
            Some(_) => {}
        }
        match humidity {
            None => self.humidity_unknown += hours,
            Some(humidity) if humidity < bands.relative_humidity.lowest => self.dry += hours,
            Some(humidity) if humidity > bands.relative_humidity.highest => self.moist += hours,
            Some(_) => {}
        }
        match gas {
            None => self.gas_unknown += hours,
            Some(ppm) if ppm > bands.carbon_dioxide_limit => self.gas += hours,
            Some(_) => {}
        }
    }
}

/// Whether a decision differs from the one before by as much as a rule should be bothered with.
fn moved(before: &Decision, after: &Decision) -> bool {
    if before.mode != after.mode || before.limited_by != after.limited_by {
        return true;
    }
    match (&before.setpoints, &after.setpoints) {
        (Some(before), Some(after)) => {
            (before.fan_command.ratio() - after.fan_command.ratio()).abs() > 0.01
                || (before.humidity_target.ratio() - after.humidity_target.ratio()).abs() > 0.005
                || (before.humidifier_duty.ratio() - after.humidifier_duty.ratio()).abs() > 0.02
        }
        (before, after) => before.is_some() != after.is_some(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_local_day_has_as_many_hours_as_the_clock_says() {
        let zone = TimeZone::get("Europe/Helsinki").unwrap();
        let mut day = Day::none(zone);
        // Summer time began at 03:00 on 28 March 2027 and ended at 04:00 on 31 October (EU Directive 2000/84/EC).
        for (moment, date, hours) in [
            ("2027-01-15T21:59:59Z", "2027-01-15", 24),
            ("2027-01-15T22:00:00Z", "2027-01-16", 24),
            ("2027-03-28T00:30:00Z", "2027-03-28", 23),
            ("2027-10-31T00:30:00Z", "2027-10-31", 25),
        ] {
            day.seek(moment.parse().unwrap());
            assert_eq!(day.date.to_string(), date, "{moment}");
            assert_eq!(day.ends.duration_since(day.begins).as_hours(), hours, "{moment}");
        }
    }
}
