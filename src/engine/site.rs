//! Alert conditions of the whole site.

use std::{collections::VecDeque, time::Duration};

use jiff::{SignedDuration, Timestamp};

use super::{core::Engine, suspicion::disagreement};
use crate::{
    advice::{
        AlertKind, Priority, Warning,
        alert::{AlertState, Condition, Message},
    },
    model::{Now, Place, Reading},
};

/// Forecasts are renewed at least every six hours; one that was fetched longer ago than this has failed to be renewed.
const FORECAST_OLD: SignedDuration = SignedDuration::from_hours(8);

/// So many breaks of the connection to the broker in [`BREAKS_WITHIN`] are no accident any more.
const FLAPPING: u32 = 3;
/// See [`FLAPPING`].
const BREAKS_WITHIN: Duration = Duration::from_secs(600);
/// Breaks remembered.
const MOST_BREAKS: usize = 32;

/// What goes wrong around the engine.
#[derive(Debug, Clone, Default)]
pub(super) struct Troubles {
    /// When the connection to the broker broke, the latest last.
    broken: VecDeque<Duration>,
    /// When it broke last, by the calendar.
    lost_at: Option<Timestamp>,
    /// Whether the state could not be written when that was tried last.
    pub state_lost: bool,
}

impl Troubles {
    /// The connection broke.
    pub fn connection_broke(&mut self, now: &Now) {
        if self.broken.len() == MOST_BREAKS {
            self.broken.pop_front();
        }
        self.broken.push_back(now.elapsed);
        self.lost_at = now.trusted.then_some(now.wall);
    }

    fn breaks(&self, now: &Now) -> u32 {
        let recent = self.broken.iter().filter(|at| now.since(**at) <= BREAKS_WITHIN).count();
        u32::try_from(recent).unwrap_or(u32::MAX)
    }
}

impl Engine {
    /// What holds of an alert of the site at this turn.
    pub(super) fn site_condition(&self, kind: AlertKind, now: &Now) -> Condition {
        let told = |warning| Condition::Present(Priority::Warning, Message::Warning(warning));
        match kind {
            AlertKind::HardFrost => self.hard_frost(now),
            AlertKind::ForecastOld => self.forecast_old(now),
            AlertKind::SensorStale => self.stale_condition(Place::Outdoors, now),
            AlertKind::SensorSuspect => self.suspect_condition(Place::Outdoors, now),
            AlertKind::SensorsDisagree => disagreement(&self.site.outdoors.spread),
            AlertKind::CalibrationOld => self.calibration_condition(Place::Outdoors, now),
            AlertKind::ClockNotTrusted if !now.trusted => told(Warning::ClockNotTrusted),
            AlertKind::BrokerLost if !self.site.connected => told(Warning::BrokerLost { since: self.troubles.lost_at }),
            AlertKind::BrokerFlapping => match self.troubles.breaks(now) {
                breaks if breaks >= FLAPPING => told(Warning::BrokerFlapping { breaks }),
                _ => Condition::Clear,
            },
            AlertKind::StorageFailing if self.troubles.state_lost => told(Warning::StorageFailing),
            _ => Condition::Clear,
        }
    }

    /// Whether configured sources of a place, or on its surfaces, are silent. After a restart an alert that stood waits
    /// for each of them to speak, or to have been silent for too long.
    pub(super) fn stale_condition(&self, place: Place, now: &Now) -> Condition {
        if !self.site.connected {
            // Without a broker every sensor is silent: one cause, one alert.
            return Condition::Covered;
        }
        let silent = self.silent(place, now);
        if !silent.is_empty() {
            let sensors = silent.into_iter().map(|index| self.farm.sources[index].sensor()).collect();
            return Condition::Present(Priority::Warning, Message::Stale { sensors });
        }
        let alerts = match place {
            Place::Outdoors | Place::Space(_) => &self.site.alerts,
            Place::Room(index) | Place::Surface { room: index, .. } => &self.rooms[index].state.alerts,
        };
        let restored = alerts
            .iter()
            .any(|alert| alert.kind == AlertKind::SensorStale && matches!(alert.state, AlertState::Unknown { .. }));
        let awaited = self.within(place).any(|index| self.sources[index].reading == Reading::Never);
        if restored && awaited { Condition::Missing } else { Condition::Clear }
    }

    fn hard_frost(&self, now: &Now) -> Condition {
        if !now.trusted {
            return Condition::Missing;
        }
        let threshold = self.farm.site.hard_frost;
        let outdoors = self.site.outdoors.coldest;
        let ahead = self.frost;
        let coldest_ahead = ahead.and_then(|ahead| ahead.coldest);
        let freezing_now = outdoors.filter(|temperature| *temperature <= threshold);
        match (freezing_now, ahead.and_then(|ahead| ahead.first), coldest_ahead) {
            (Some(measured), _, coldest) => {
                let (coldest_at, coldest) =
                    coldest.filter(|(_, coldest)| *coldest < measured).unwrap_or((now.wall, measured));
                Condition::Present(
                    Priority::Warning,
                    Message::HardFrost { measured: Some(measured), from: now.wall, coldest_at, coldest },
                )
            }
            (None, Some(from), Some((coldest_at, coldest))) => {
                Condition::Present(Priority::Warning, Message::HardFrost { measured: None, from, coldest_at, coldest })
            }
            (None, _, None) => Condition::Missing,
            (None, None, Some(_)) => Condition::Clear,
        }
    }

    fn forecast_old(&self, now: &Now) -> Condition {
        if self.site.forecast_service.is_none() {
            return Condition::Clear;
        }
        if !now.trusted {
            return Condition::Missing;
        }
        let fetched = self.forecasts.last_fetched();
        let old = fetched.is_none_or(|fetched| now.wall.duration_since(fetched) > FORECAST_OLD);
        if old { Condition::Present(Priority::Warning, Message::ForecastOld { fetched }) } else { Condition::Clear }
    }
}
