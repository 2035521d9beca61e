//! Which sensors are believed, and what is said of those that are not.

use std::{collections::HashSet, sync::Arc, time::Duration};

use super::core::Engine;
use crate::{
    advice::{
        Alert, AlertKind, Priority,
        alert::{AlertState, Condition, Message},
    },
    model::{
        Apart, Farm, Fault, Measured, Now, Place, Quantity, Reading, Source, Watch,
        balance::{OUTDOOR_CARBON_DIOXIDE, carbon_dioxide_rise},
        detect::{self, Scene},
        fusion::Spreads,
        sun,
    },
    units::{CarbonDioxide, Temperature},
};

/// Every sensor is looked at at least this often, whether it speaks or not.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// Dry air of a room: m³ in a kilogram, near enough for what a machine should bring about.
const CUBIC_METRES_PER_KILOGRAM: f64 = 0.83;

/// What watches over the sources.
#[derive(Debug, Clone)]
pub(super) struct Watchers {
    watches: Vec<Watch>,
    /// Places of which something was heard in this turn.
    heard: HashSet<Place>,
    looked: Option<Duration>,
}

impl Watchers {
    pub fn new(farm: &Farm) -> Self {
        Self {
            watches: farm.sources.iter().map(|source| Watch::new(source.quantity)).collect(),
            heard: HashSet::new(),
            looked: None,
        }
    }

    /// A reading was taken in: before calibration, after it, and when it was made.
    pub fn take(&mut self, index: usize, source: &Source, values: (Measured, Measured), at: Duration) {
        self.watches[index].trail.take(values.0.base(), values.1.base(), at);
        self.heard.insert(source.place);
    }

    /// A message was refused.
    pub fn refuse(&mut self, index: usize, source: &Source, now: &Now) {
        self.watches[index].trail.refuse(now);
        self.heard.insert(source.place);
    }
}

impl Engine {
    /// Looks over the sensors of which something was heard, and now and then over all.
    pub(super) fn settle_suspicion(&mut self, now: &Now) {
        let due = self.watchers.looked.is_none_or(|looked| now.since(looked) >= LOOK_EVERY);
        let heard = std::mem::take(&mut self.watchers.heard);
        if due {
            self.watchers.looked = Some(now.elapsed);
        }
        let farm = Arc::clone(&self.farm);
        let places: Vec<Place> = self.sources_at.keys().copied().filter(|place| due || heard.contains(place)).collect();
        for place in places {
            for index in self.sources_at.get(&place).cloned().unwrap_or_default() {
                self.look_over(index, &farm.sources[index], now);
            }
        }
        // What a liar has taught about the forecast is forgotten with it.
        if self.at(Place::Outdoors).any(|(_, state)| state.reading.fault().is_some()) {
            self.site.offset = None;
        }
    }

    fn look_over(&mut self, index: usize, source: &Source, now: &Now) {
        let reading = self.sources[index].reading;
        let fault = match reading.last() {
            Some(value) if !matches!(reading, Reading::Stale { .. }) => {
                let others = self.others(index, source, value);
                let signs = self.watchers.watches[index].signs(&self.scene(index, source, value, &others, now));
                self.watchers.watches[index].take(&signs, now)
            }
            _ => self.watchers.watches[index].take_silence(source, now),
        };
        let refused = self.watchers.watches[index].trail.refused;
        let reading = match (fault, refused, reading) {
            (Some(Fault::OutOfRange), Some(refused), _) => Reading::Rejected { at: refused.last },
            (Some(fault), _, reading) => reading.suspected(fault),
            (None, _, Reading::Suspect { value, at, .. }) => Reading::Fresh { value, at }.aged(source.maximum_age, now),
            (None, _, reading) => reading,
        };
        let before = std::mem::replace(&mut self.sources[index].reading, reading);
        if before != reading {
            self.touch(source.place);
        }
    }

    /// What the believed sensors of the same quantity say at other positions, as this one should say it.
    fn others(&self, index: usize, source: &Source, value: Measured) -> Vec<f64> {
        let here = self.temperature_beside(source);
        let believed = self.beside(index, source).filter(|(_, other)| other.quantity == source.quantity);
        believed
            .filter_map(|(other, theirs)| {
                let said = self.believed(other)?.base();
                let (Measured::RelativeHumidity(_), Some(here), Some(there)) =
                    (value, here, self.temperature_beside(theirs))
                else {
                    return Some(said);
                };
                // Water mixes and relative humidity does not; but where a thermometer lies, the humidity beside it may
                // be right. So it is held against a humidity sensor only what both views hold.
                let as_water = detect::seen_at(said, there, here, self.site.pressure);
                let off = |other: f64| (other - value.base()).abs();
                Some(if off(said) < off(as_water) { said } else { as_water })
            })
            .collect()
    }

    /// The other sources of the same place.
    fn beside(&self, index: usize, source: &Source) -> impl Iterator<Item = (usize, &Source)> {
        let indices = self.sources_at.get(&source.place).map_or(&[][..], Vec::as_slice);
        indices.iter().copied().filter(move |other| *other != index).map(|other| (other, &self.farm.sources[other]))
    }

    /// What a source says, unless a fault is held against it; a new reading of a suspect sensor is suspect too.
    fn believed(&self, index: usize) -> Option<Measured> {
        self.sources[index].reading.fresh().filter(|_| self.watchers.watches[index].fault().is_none())
    }

    fn temperature_beside(&self, source: &Source) -> Option<Temperature> {
        let at = self.sources_at.get(&source.place)?.iter().copied().find(|index| {
            let other = &self.farm.sources[*index];
            other.position == source.position && other.quantity == Quantity::Temperature
        })?;
        super::senses::as_temperature(self.believed(at)?)
    }

    fn scene<'a>(
        &'a self,
        index: usize,
        source: &'a Source,
        value: Measured,
        others: &'a [f64],
        now: &'a Now,
    ) -> Scene<'a> {
        let watches = &self.watchers.watches;
        let trail = &watches[index].trail;
        let moved = |other: usize| watches[other].trail.moved_since(trail.same_since);
        let believed = || self.beside(index, source).filter(|(other, _)| self.believed(*other).is_some());
        let of_quantity = believed().filter(|(_, other)| other.quantity == source.quantity);
        let dew_point = self.beside(index, source).find_map(|(other, theirs)| {
            let here = theirs.position == source.position && theirs.quantity == Quantity::DewPoint;
            let Some(Measured::DewPoint(value)) = self.believed(other).filter(|_| here) else { return None };
            Some((value, theirs.below_freezing))
        });
        let outdoors = source.place == Place::Outdoors && now.trusted;
        let forecast = self.site.forecast.as_deref().filter(|_| outdoors).and_then(|forecast| forecast.at(now.wall));
        let site = &self.farm.site;
        Scene {
            source,
            trail,
            value: value.base(),
            others,
            others_moved: of_quantity.map(|(other, _)| moved(other)).reduce(f64::max),
            neighbours_moved: believed().any(|(other, theirs)| {
                theirs.position == source.position && detect::must_move(source.quantity, theirs.quantity, moved(other))
            }),
            temperature: self.temperature_beside(source),
            dew_point,
            pressure: self.site.pressure,
            forecast: forecast.map(|point| point.air.temperature),
            sun: outdoors.then(|| sun::height(now.wall, site.latitude, site.longitude)),
            answered: self.answered(source, value, now),
            now,
        }
    }

    /// Whether the room's air answers a machine that says that it is on.
    fn answered(&self, source: &Source, value: Measured, now: &Now) -> Option<bool> {
        let Place::Room(index) = source.place else { return None };
        match value {
            Measured::FanState(share) if share.ratio() >= crate::model::trail::ON => {
                self.air_answers_fan(index, share.ratio(), now)
            }
            Measured::HumidifierState(share) if share.ratio() >= crate::model::trail::ON => {
                self.air_answers_humidifier(index, share.ratio())
            }
            _ => None,
        }
    }

    /// With the fan on, carbon dioxide settles at what the crop gives off over the flow, or is on its way there.
    fn air_answers_fan(&self, index: usize, share: f64, now: &Now) -> Option<bool> {
        let (room, state) = (&self.farm.rooms[index], &self.rooms[index].state);
        let ppm = state.carbon_dioxide.fresh().map(CarbonDioxide::parts_per_million)?;
        let changes = share * room.fan.capacity.per(room.volume).per_hour();
        let settled = OUTDOOR_CARBON_DIOXIDE + carbon_dioxide_rise(room) / changes.max(0.1);
        let half_an_hour_ago = now.elapsed.saturating_sub(Duration::from_secs(2_700));
        let gas = self.at_index(Place::Room(index), Quantity::CarbonDioxide)?;
        let highest = self.watchers.watches[gas].trail.since(half_an_hour_ago).map_or(ppm, |(_, highest)| highest);
        let falling = highest - ppm > 0.1 * (highest - OUTDOOR_CARBON_DIOXIDE);
        Some(falling || ppm <= 1.5 * settled + 200.0)
    }

    /// With the humidifier on, the room holds more water than the air that it is given.
    fn air_answers_humidifier(&self, index: usize, share: f64) -> Option<bool> {
        let (room, memory) = (&self.farm.rooms[index], &self.rooms[index]);
        let humidifier = room.humidifier?;
        let (air, supply) = (memory.state.air?, memory.state.supply?);
        let flow = memory.last_flow?.cubic_metres_per_hour().max(1.0) / CUBIC_METRES_PER_KILOGRAM;
        let vapour = share * humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio();
        let expected = vapour / flow;
        let gained = air.humidity_ratio().minus(supply.humidity_ratio()).kilograms_per_kilogram();
        // Little is expected where much air goes through, and nothing can be gained near saturation.
        (expected > 0.001).then(|| gained > 0.25 * expected || air.relative_humidity().ratio() > 0.9)
    }

    fn at_index(&self, place: Place, quantity: Quantity) -> Option<usize> {
        self.sources_at.get(&place)?.iter().copied().find(|index| self.farm.sources[*index].quantity == quantity)
    }

    /// What is said of the sensors of a place: silent, suspect, apart, calibrated long ago.
    pub(super) fn sensor_conditions(&self, place: Place, spread: &Spreads, now: &Now) -> [Condition; 4] {
        [
            self.stale_condition(place, now),
            self.suspect_condition(place, now),
            disagreement(spread),
            self.calibration_condition(place, now),
        ]
    }

    pub(super) fn suspect_condition(&self, place: Place, now: &Now) -> Condition {
        let suspects: Vec<_> = self
            .within(place)
            .filter_map(|index| {
                let source = &self.farm.sources[index];
                let fault = match self.sources[index].reading {
                    // The alert for people tells of it: one cause, one alert.
                    Reading::Suspect { fault: Fault::OverRange, .. } => return None,
                    Reading::Suspect { fault, .. } => fault,
                    Reading::Rejected { at } if now.since(at) <= source.maximum_age => Fault::OutOfRange,
                    _ => return None,
                };
                Some((source.sensor(), fault))
            })
            .collect();
        if !suspects.is_empty() {
            return Condition::Present(Priority::Warning, Message::Suspect { sensors: suspects });
        }
        let alerts = match place {
            Place::Outdoors | Place::Space(_) => &self.site.alerts,
            Place::Room(index) | Place::Surface { room: index, .. } => &self.rooms[index].state.alerts,
        };
        let unknown = |alert: &Alert| matches!(alert.state, AlertState::Unknown { .. });
        let restored = alerts.iter().any(|alert| alert.kind == AlertKind::SensorSuspect && unknown(alert));
        let awaited = self.within(place).any(|index| self.sources[index].reading == Reading::Never);
        if restored && awaited { Condition::Missing } else { Condition::Clear }
    }

    pub(super) fn calibration_condition(&self, place: Place, now: &Now) -> Condition {
        if !now.trusted {
            return Condition::Missing;
        }
        let overdue: Vec<_> = self
            .within(place)
            .filter_map(|index| {
                let source = &self.farm.sources[index];
                Some((source.sensor(), source.calibration.overdue(now.wall)?))
            })
            .collect();
        if overdue.is_empty() {
            return Condition::Clear;
        }
        Condition::Present(Priority::Notice, Message::CalibrationOld { sensors: overdue })
    }
}

/// Sensors of one air that are further apart than they may be. Among three or more, one that is far from two that agree
/// is left to the detector of drift, so that one cause raises one alert.
pub(super) fn disagreement(spread: &Spreads) -> Condition {
    let quantities = [
        (Quantity::Temperature, &spread.temperature),
        (Quantity::RelativeHumidity, &spread.relative_humidity),
        (Quantity::CarbonDioxide, &spread.carbon_dioxide),
    ];
    let apart: Vec<(Quantity, Apart)> = quantities
        .into_iter()
        .filter_map(|(quantity, apart)| Some((quantity, apart.as_ref()?)))
        .filter(|(_, apart)| apart.wide && !apart.outlier)
        .map(|(quantity, apart)| (quantity, apart.clone()))
        .collect();
    if apart.is_empty() {
        return Condition::Clear;
    }
    let disputed = apart.iter().any(|(_, apart)| apart.pair);
    let priority = if disputed { Priority::Warning } else { Priority::Notice };
    Condition::Present(priority, Message::Apart { apart })
}
