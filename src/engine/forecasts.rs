//! Whose forecast is asked for, and whose is in use.
//!
//! The first service is asked always; the second only while the first is down. What is in use:
//!
//! ```text
//! first service answers, or fails for less than two hours  → its forecast, while it covers the present
//! it is down, and the second answers                       → the second's
//! neither covers the present                               → the farm's own last days carried on, if it has a sensor
//! ```
//!
//! Each change is told once. When the first service answers again, its forecast is in use at once.

use std::{collections::BTreeMap, sync::Arc, time::Duration};

use jiff::Timestamp;

use super::{
    core::{Engine, notice},
    event::{Effect, FetchFailure},
    schedule::FetchSchedule,
};
use crate::model::{Forecast, Now, Service};

/// A service that has failed for this long is down. Its last forecast is by then no better than another service's.
const DOWN_AFTER: Duration = Duration::from_secs(2 * 3_600);

/// What is known of one service.
#[derive(Debug, Clone, PartialEq)]
pub struct ServiceState {
    /// Who it is.
    pub service: Service,
    /// Forecasts that were fetched or confirmed since the start.
    pub successes: u64,
    /// Fetches that failed since the start, by the failure's word.
    pub failures: BTreeMap<&'static str, u64>,
    /// When its forecast was last fetched or confirmed.
    pub fetched: Option<Timestamp>,
}

/// A service and what it has said.
#[derive(Debug, Clone)]
struct Channel {
    state: ServiceState,
    schedule: FetchSchedule,
    forecast: Option<Arc<Forecast>>,
    /// As [`Now::elapsed`].
    answered: Option<Duration>,
}

impl Channel {
    fn new(service: Service, wanted: bool, now: &Now) -> Self {
        Self {
            state: ServiceState { service, successes: 0, failures: BTreeMap::new(), fetched: None },
            schedule: FetchSchedule::new(wanted, now),
            forecast: None,
            answered: None,
        }
    }

    /// Whether it has failed for long, or has failed and never answered.
    fn is_down(&self, now: &Now) -> bool {
        self.schedule.is_failing() && self.answered.is_none_or(|answered| now.since(answered) >= DOWN_AFTER)
    }

    /// Whether its forecast speaks of the present or of the time after it.
    fn covers(&self, now: &Now) -> bool {
        self.forecast.as_ref().is_some_and(|forecast| !now.trusted || forecast.ends() > now.wall)
    }

    fn is_good(&self, now: &Now) -> bool {
        self.covers(now) && !self.is_down(now)
    }
}

/// The services of the farm: none, one, or one and a second.
#[derive(Debug, Clone, Default)]
pub(super) struct Forecasts {
    channels: Vec<Channel>,
    /// Whose forecast is in use, as it was last told.
    told: Option<Service>,
}

/// The forecast in use.
#[derive(Debug, Clone)]
pub(super) struct InUse {
    pub forecast: Arc<Forecast>,
    pub fetched: Timestamp,
    /// Whether it speaks of the present or of the time after it.
    pub covers: bool,
}

impl Forecasts {
    pub fn new(service: Option<Service>, now: &Now) -> Self {
        Self { channels: service.map(|service| Channel::new(service, true, now)).into_iter().collect(), told: None }
    }

    pub fn add_fallback(&mut self, service: Service, now: &Now) {
        self.channels.push(Channel::new(service, false, now));
    }

    pub fn states(&self) -> Vec<ServiceState> {
        self.channels.iter().map(|channel| channel.state.clone()).collect()
    }

    /// When a service was last heard, whichever.
    pub fn last_fetched(&self) -> Option<Timestamp> {
        self.channels.iter().filter_map(|channel| channel.state.fetched).max()
    }

    pub fn due_at(&self) -> Option<Duration> {
        self.channels.iter().filter_map(|channel| channel.schedule.due_at()).min()
    }

    /// Whom to ask now; they count as asked.
    pub fn due(&mut self, now: &Now) -> Vec<Service> {
        if let [first, second] = &mut self.channels[..] {
            let needed = first.schedule.is_failing() && !first.is_good(now);
            second.schedule.want(needed, now);
        }
        self.channels.iter_mut().filter_map(|c| c.schedule.due(now).then_some(c.state.service)).collect()
    }

    pub fn ask_now(&mut self, now: &Now) {
        for channel in &mut self.channels {
            channel.schedule.ask_now(now);
        }
    }

    pub fn succeeded(&mut self, service: Service, forecast: Option<Forecast>, keep_for: Duration, now: &Now) {
        let Some(channel) = self.channels.iter_mut().find(|channel| channel.state.service == service) else { return };
        channel.schedule.succeeded(keep_for, now);
        channel.state.successes += 1;
        channel.answered = Some(now.elapsed);
        if let Some(forecast) = forecast {
            channel.forecast = Some(Arc::new(forecast));
        }
        if channel.forecast.is_some() {
            channel.state.fetched = Some(now.wall);
        }
    }

    /// Returns whether this is the first failure after a success.
    pub fn failed(&mut self, failure: &FetchFailure, now: &Now) -> bool {
        let Some(channel) = self.channels.iter_mut().find(|c| c.state.service == failure.service) else { return false };
        *channel.state.failures.entry(failure.word).or_default() += 1;
        channel.schedule.failed(failure.retry_after, now)
    }

    /// Takes over what an earlier run has fetched. Returns whether its service is configured.
    pub fn restore(&mut self, forecast: Arc<Forecast>, fetched: Timestamp, now: &Now) -> bool {
        let Some(channel) = self.channels.iter_mut().find(|c| c.state.service == forecast.service) else {
            return false;
        };
        let age = Duration::try_from(now.wall.duration_since(fetched)).unwrap_or(Duration::ZERO);
        channel.answered = now.elapsed.checked_sub(age);
        channel.state.fetched = Some(fetched);
        channel.forecast = Some(forecast);
        true
    }

    /// The service's forecast that is to be used: a good one in the configured order, else the one that was heard last
    /// of those that cover the present, else the one that was heard last.
    pub fn choice(&self, now: &Now) -> Option<InUse> {
        let good = self.channels.iter().find(|channel| channel.is_good(now));
        let covering = || self.channels.iter().filter(|channel| channel.covers(now)).max_by_key(|c| c.state.fetched);
        let any = || self.channels.iter().filter(|c| c.forecast.is_some()).max_by_key(|c| c.state.fetched);
        let channel = good.or_else(covering).or_else(any)?;
        let forecast = Arc::clone(channel.forecast.as_ref()?);
        Some(InUse { forecast, fetched: channel.state.fetched?, covers: channel.covers(now) })
    }

    /// What the log should be told of a change of the forecast in use.
    fn change(&mut self, service: Service) -> Option<Effect> {
        let before = self.told.replace(service);
        let first = self.channels.first()?.state.service;
        match before {
            // The usual start.
            None if service == first => None,
            Some(before) if before == service => None,
            Some(_) if service == first => {
                Some(notice(false, format!("{} answers again: its forecast is in use.", first.title())))
            }
            _ => Some(notice(
                true,
                format!(
                    "{} is down: what is used for the hours ahead is now from: {}.",
                    first.title(),
                    service.title().replacen("The ", "the ", 1)
                ),
            )),
        }
    }
}

impl Engine {
    /// Has a second service stand in while the first is down.
    #[must_use]
    pub fn with_fallback(mut self, service: Option<Service>, now: &Now) -> Self {
        if let Some(service) = service {
            self.forecasts.add_fallback(service, now);
        }
        self
    }

    /// Chooses the forecast in use, and carries the offset over to it where it is another one.
    pub(super) fn settle_forecast(&mut self, now: &Now, effects: &mut Vec<Effect>) {
        let chosen = self.forecasts.choice(now);
        let covered = chosen.as_ref().is_some_and(|chosen| chosen.covers);
        let carried_on = if covered { None } else { self.carried_on(now) };
        let carried_on = carried_on.map(|(forecast, fetched)| InUse { forecast, fetched, covers: true });
        let Some(InUse { forecast, fetched, .. }) = carried_on.or(chosen) else { return };
        effects.extend(self.forecasts.change(forecast.service));
        let same = self.site.forecast.as_ref().is_some_and(|old| Arc::ptr_eq(old, &forecast));
        if !same {
            self.rebase_offset(&forecast, now);
            let another = self.site.forecast.as_ref().is_none_or(|old| old.service != forecast.service);
            self.site.forecast = Some(forecast);
            if another {
                self.show_score();
            }
        }
        if !same || self.site.forecast_fetched != Some(fetched) {
            self.site.forecast_fetched = Some(fetched);
            self.looked_for_frost = None;
            self.looked_outdoors = None;
            self.lookout.renew();
        }
    }
}
