//! Alert conditions of the whole site.

use jiff::SignedDuration;

use super::core::Engine;
use crate::{
    advice::{
        AlertKind, Priority,
        alert::{AlertState, Condition, Message},
    },
    model::{Now, Place, Reading},
};

/// Forecasts are renewed at least every six hours; one that was fetched longer ago than this has failed to be renewed.
const FORECAST_OLD: SignedDuration = SignedDuration::from_hours(8);

impl Engine {
    /// In the order of [`crate::advice::AlertKind::OF_SITE`].
    pub(super) fn site_conditions(&self, now: &Now) -> [Condition; 3] {
        let stale = self.stale_condition(Place::Outdoors, now);
        [self.hard_frost(now), self.forecast_old(now), stale]
    }

    /// Whether configured sources of a place, or on its surfaces, are silent. After a restart an alert that stood waits
    /// for each of them to speak, or to have been silent for too long.
    pub(super) fn stale_condition(&self, place: Place, now: &Now) -> Condition {
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
