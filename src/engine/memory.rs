//! What the engine keeps from one run to the next, and what it makes of it at a start.
//!
//! Readings are never kept: what a sensor said before a restart says nothing about the present. What is kept errs on
//! the side of air: a danger to people stands until carbon dioxide is heard again, and a raised alert comes back as
//! unknown, not as normal.

use std::sync::Arc;

use jiff::{SignedDuration, Timestamp};

use super::{
    core::{Engine, notice},
    crop_output,
    event::Effect,
    kept_inputs::{KeptInputs, Restored},
    outlook_score,
};
use crate::{
    advice::{Alert, AlertKind, Priority, alert::AlertState, alert::Message},
    model::{
        Forecast, Identifier, Now, Place, Quantity, Room, Service, persistence::History, room_score::Scorer,
        score::Score,
    },
    units::AirFlow,
};

/// A crop's respiration drifts by some percent in a day; an older estimate is no better than the catalogue.
const EMISSION_KEPT: SignedDuration = SignedDuration::from_hours(24);
/// A forecast made for a place further away than this, in degrees, is another place's.
const SAME_PLACE: f64 = 0.02;

/// What outlives a restart.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Memory {
    /// The newest calendar time that was seen and trusted: the clock cannot truly be before it.
    pub newest: Option<Timestamp>,
    /// The last good forecast.
    pub forecast: Option<KeptForecast>,
    /// Alerts of the whole site that were raised.
    pub alerts: Vec<KeptAlert>,
    /// The rooms, by name.
    pub rooms: Vec<KeptRoom>,
    /// What was set on the whole site.
    pub inputs: KeptInputs,
    /// What the outdoor sensor has taught.
    pub learned: Option<KeptLearned>,
}

/// What the outdoor sensor has taught, and where it stood.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptLearned {
    /// The last days, by the hour.
    pub history: History,
    /// How forecasts have turned out.
    pub score: Score,
    /// Where, in decimal degrees north.
    pub latitude: f64,
    /// Where, in decimal degrees east.
    pub longitude: f64,
}

/// A forecast and what must be known to trust it.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptForecast {
    /// The forecast.
    pub forecast: Arc<Forecast>,
    /// When it was fetched or last confirmed.
    pub fetched: Timestamp,
    /// Where it holds, in decimal degrees north.
    pub latitude: f64,
    /// Where it holds, in decimal degrees east.
    pub longitude: f64,
}

/// What is kept of a room.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptRoom {
    /// Its name; a room that is called otherwise is another room.
    pub name: Identifier,
    /// Fresh air advised last.
    pub fresh_air: Option<AirFlow>,
    /// Whether carbon dioxide was dangerous to people when it was last heard.
    pub danger: bool,
    /// What its crop gives off.
    pub emission: Option<KeptEmission>,
    /// Alerts that were raised.
    pub alerts: Vec<KeptAlert>,
    /// What was set.
    pub inputs: KeptInputs,
    /// How its outlooks have turned out and what is waited for, with a number that stands for what they rest on.
    pub outlooks: Option<(Scorer, u64)>,
}

/// An estimate of what a crop gives off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KeptEmission {
    /// In grams of carbon dioxide per hour, at the room's preferred temperature.
    pub grams_per_hour: f64,
    /// When it was made.
    pub at: Timestamp,
}

/// An alert that was raised, or unknown after having been raised.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAlert {
    /// Which.
    pub kind: AlertKind,
    /// What it asked last.
    pub priority: Priority,
    /// What it said last.
    pub message: Message,
}

impl KeptAlert {
    fn of(alert: &Alert) -> Option<Self> {
        match &alert.state {
            AlertState::Active { priority, message }
            | AlertState::Clearing { priority, message, .. }
            | AlertState::Unknown { priority, message } => {
                Some(Self { kind: alert.kind, priority: *priority, message: message.clone() })
            }
            AlertState::Normal | AlertState::Pending { .. } | AlertState::Suppressed => None,
        }
    }
}

impl Engine {
    /// What should outlive a restart.
    pub fn memory(&self, now: &Now) -> Memory {
        let site = &self.farm.site;
        let forecast = self.site.forecast.as_ref().zip(self.site.forecast_fetched);
        // The last days carried on are made anew from the history.
        let forecast = forecast.filter(|(forecast, _)| forecast.service != Service::PERSISTENCE);
        let rooms = self.farm.rooms.iter().zip(&self.rooms).enumerate().map(|(index, (room, memory))| KeptRoom {
            name: room.name.clone(),
            fresh_air: memory.last_flow,
            danger: memory.in_danger(),
            emission: memory.crop_output.kept(),
            alerts: memory.state.alerts.iter().filter_map(KeptAlert::of).collect(),
            inputs: self.kept_inputs(Some(index), now),
            outlooks: Some((memory.scorer.clone(), outlook_score::premise(room))),
        });
        Memory {
            newest: if now.trusted { Some(now.wall) } else { self.newest_kept },
            forecast: forecast.map(|(forecast, fetched)| KeptForecast {
                forecast: Arc::clone(forecast),
                fetched,
                latitude: site.latitude,
                longitude: site.longitude,
            }),
            alerts: self.site.alerts.iter().filter_map(KeptAlert::of).collect(),
            rooms: rooms.collect(),
            inputs: self.kept_inputs(None, now),
            learned: Some(KeptLearned {
                history: self.learned.history.clone(),
                score: self.learned.score.clone(),
                latitude: site.latitude,
                longitude: site.longitude,
            }),
        }
    }

    /// Takes over what an earlier run kept, as far as it can still be true, and says what was made of it. To be called
    /// before the first event.
    pub fn restore(&mut self, memory: Memory, now: &Now) -> Vec<Effect> {
        let mut said = Said::default();
        self.newest_kept = memory.newest;
        if let Some(newest) = memory.newest.filter(|newest| *newest > now.wall) {
            said.refused.push(format!(
                "the date of this machine ({}), because {newest} has already been: advice waits for the network's \
                 time or for a forecast that agrees with the date",
                now.wall
            ));
        }
        if let Some(kept) = memory.learned {
            self.restore_learned(kept, &mut said);
        }
        let mut changed = Vec::new();
        if let Some(kept) = memory.forecast {
            self.restore_forecast(kept, now, &mut said);
            self.settle_forecast(now, &mut changed);
        }
        restore_alerts(&mut self.site.alerts, memory.alerts, &mut said);
        said.inputs(self.restore_inputs(None, memory.inputs, now));
        for mut kept in memory.rooms {
            let (name, outlooks) = (kept.name.clone(), kept.outlooks.take());
            self.restore_room(kept, now, &mut said);
            let index = self.farm.rooms.iter().position(|room| room.name == name);
            if let Some((index, outlooks)) = index.zip(outlooks) {
                self.restore_scorer(index, outlooks, (now, memory.newest));
            }
        }
        self.lookout.begin_with(&self.farm);
        changed.extend(said.effects());
        changed
    }

    fn has_moved(&self, latitude: f64, longitude: f64) -> bool {
        let site = &self.farm.site;
        (site.latitude - latitude).abs().max((site.longitude - longitude).abs()) > SAME_PLACE
    }

    fn restore_learned(&mut self, kept: KeptLearned, said: &mut Said) {
        if self.has_moved(kept.latitude, kept.longitude) {
            said.refused.push("what the outdoor sensor had taught: the farm's place has changed".to_owned());
            return;
        }
        self.learned.history = kept.history;
        self.learned.score = kept.score;
        self.show_score();
    }

    fn restore_forecast(&mut self, kept: KeptForecast, now: &Now, said: &mut Said) {
        let why = if self.has_moved(kept.latitude, kept.longitude) {
            "the farm's place has changed"
        } else if now.trusted && kept.fetched > now.wall {
            "it was fetched in the future"
        } else if now.trusted && kept.forecast.ends() < now.wall {
            "it has run out"
        } else {
            let restored = self.forecasts.restore(kept.forecast, kept.fetched, now);
            if restored {
                said.restored.push(format!("the forecast that was fetched at {}", kept.fetched));
                return;
            }
            "another service is configured"
        };
        said.refused.push(format!("the forecast: {why}"));
    }

    fn restore_room(&mut self, kept: KeptRoom, now: &Now, said: &mut Said) {
        let Some(index) = self.farm.rooms.iter().position(|room| room.name == kept.name) else {
            said.refused.push(format!("the room `{}`, which is no longer configured", kept.name));
            return;
        };
        // First, because bounds follow from the stage.
        restore_alerts(&mut self.rooms[index].state.alerts, kept.alerts, said);
        said.inputs(self.restore_inputs(Some(index), kept.inputs, now));
        let room = &self.farm.rooms[index];
        let heard = self
            .sources
            .iter()
            .any(|source| source.place == Place::Room(index) && source.quantity == Quantity::CarbonDioxide);
        let memory = &mut self.rooms[index];
        // The fan may have been changed since.
        memory.last_flow = kept.fresh_air.map(|flow| {
            let (floor, capacity) = (room.fan.floor, room.fan.capacity);
            if flow > capacity {
                capacity
            } else if flow < floor {
                floor
            } else {
                flow
            }
        });
        let emission = kept.emission.and_then(|emission| usable(emission, room, now));
        if kept.emission.is_some() && emission.is_none() {
            said.refused
                .push(format!("what the crop in {} gives off, because its age is a day or unknown", room.title));
        }
        // Without a sensor nothing would ever end it.
        memory.remember(kept.danger && heard, emission);
        if kept.danger && heard {
            said.danger.push(format!(
                "{}: carbon dioxide was dangerous to people when it was last heard, before the start. All the air there \
                 is, until it is heard that the danger is over.",
                room.title
            ));
        } else if kept.danger {
            said.danger.push(format!(
                "{}: carbon dioxide was dangerous to people when it was last heard, and its sensor is no longer \
                 configured. Ventilate before anybody enters.",
                room.title
            ));
        }
        said.rooms += 1;
    }
}

/// An estimate whose age is known and under a day, within what the crop that is configured now can give off.
fn usable(kept: KeptEmission, room: &Room, now: &Now) -> Option<KeptEmission> {
    let (lowest, highest) = crop_output::bounds(room.crop.as_ref()?);
    let age = now.wall.duration_since(kept.at);
    let known = now.trusted && !age.is_negative() && age < EMISSION_KEPT;
    known.then(|| KeptEmission { grams_per_hour: kept.grams_per_hour.clamp(lowest, highest), ..kept })
}

fn restore_alerts(alerts: &mut [Alert], kept: Vec<KeptAlert>, said: &mut Said) {
    for KeptAlert { kind, priority, message } in kept {
        if let Some(alert) = alerts.iter_mut().find(|alert| alert.kind == kind) {
            alert.state = AlertState::Unknown { priority, message };
            said.alerts += 1;
        }
    }
}

/// What is to be told of a restoration.
#[derive(Debug, Default)]
struct Said {
    restored: Vec<String>,
    refused: Vec<String>,
    danger: Vec<String>,
    rooms: usize,
    alerts: usize,
}

impl Said {
    fn inputs(&mut self, inputs: Restored) {
        self.restored.extend(inputs.taken);
        self.refused.extend(inputs.refused);
    }

    fn effects(mut self) -> Vec<Effect> {
        if self.rooms > 0 {
            self.restored.push(format!("what was advised in {}", counted(self.rooms, "room")));
        }
        if self.alerts > 0 {
            let alerts = counted(self.alerts, "raised alert");
            self.restored.push(format!("{alerts}, unknown until heard of again"));
        }
        let mut effects: Vec<Effect> = self.danger.into_iter().map(|sentence| notice(true, sentence)).collect();
        if !self.restored.is_empty() {
            effects.push(notice(false, format!("Restored from the last run: {}.", self.restored.join("; "))));
        }
        if !self.refused.is_empty() {
            effects.push(notice(true, format!("Not trusted from the last run: {}.", self.refused.join("; "))));
        }
        effects
    }
}

fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}
