//! What the farm's own outdoor sensor teaches about the forecast.

use std::{sync::Arc, time::Duration};

use jiff::Timestamp;

use super::{core::Engine, snapshot::SiteState};
use crate::{
    model::{
        Case, CorrectedForecast, Forecast, Now, Offset, OutdoorAir, Service, Spread,
        persistence::History,
        score::{Expectation, Score},
    },
    physics::MoistAir,
};

impl SiteState {
    /// The forecast as this farm should read it: corrected by what its own sensor differs now, with a spread. `None`
    /// without a forecast.
    pub fn corrected(&self) -> Option<CorrectedForecast<'_>> {
        let (forecast, fetched) = self.forecast.as_deref().zip(self.forecast_fetched)?;
        let made = forecast.issued.map_or(fetched, |issued| issued.min(fetched));
        Some(CorrectedForecast { forecast, offset: self.offset, spread: &self.spread, made, pressure: self.pressure })
    }
}

/// The last days carried on are worked out anew this often.
const CARRY_ON_EVERY: Duration = Duration::from_secs(600);

/// What the farm's own outdoor sensor has taught.
#[derive(Debug, Clone, Default)]
pub(super) struct Learned {
    /// The last days, by the hour.
    pub history: History,
    /// How forecasts have turned out.
    pub score: Score,
    /// The last days carried on, and when that was worked out.
    carried_on: Option<(Arc<Forecast>, Timestamp, Duration)>,
}

impl Engine {
    /// Compares the sensor's air with what is forecast for now. To be called once the air outdoors is settled.
    pub(super) fn settle_offset(&mut self, now: &Now) {
        let site = &mut self.site;
        let measured = site.outdoors.air.filter(|_| site.outdoors.from_sensor && now.trusted);
        let forecast = site.forecast.as_deref().and_then(|forecast| forecast.at(now.wall));
        if let Some((measured, forecast)) = measured.zip(forecast) {
            let newer = Offset::between(outdoor(measured), forecast.air, now.wall);
            site.offset = Some(site.offset.map_or(newer, |offset| offset.towards(newer)));
        }
    }

    /// Takes in what the sensor says for the days to come, and scores what was expected of this moment. To be called once
    /// the air outdoors is settled.
    pub(super) fn settle_learned(&mut self, now: &Now) {
        if !now.trusted {
            return;
        }
        let measured = self.site.outdoors.air.filter(|_| self.site.outdoors.from_sensor);
        if let Some(air) = measured {
            self.learned.history.add(outdoor(air), now.wall);
        }
        let truth = measured.map(|air| (outdoor(air), air.humidity_ratio().kilograms_per_kilogram()));
        if self.learned.score.settle(truth, now.wall) {
            self.show_score();
        }
        if self.learned.score.is_due(now.wall) {
            let site = &self.site;
            self.learned.score.keep(now.wall, |lead, moment| {
                let point = site.corrected()?.at(moment, Case::Expected)?;
                let air = point.air.at_pressure(site.pressure).ok()?;
                Some(Expectation {
                    service: site.forecast.as_ref()?.service,
                    lead,
                    moment,
                    celsius: air.temperature().celsius(),
                    pascals: air.vapour_pressure().pascals(),
                    humidity_ratio: air.humidity_ratio().kilograms_per_kilogram(),
                })
            });
        }
    }

    /// Brings the published score and the spread in use in line with what was learned and with the forecast in use.
    pub(super) fn show_score(&mut self) {
        let score = &self.learned.score;
        self.site.scores = Arc::from(score.services());
        let Some(service) = self.site.forecast.as_ref().map(|forecast| forecast.service) else { return };
        let base = if service == Service::PERSISTENCE { Spread::persistence() } else { Spread::published() };
        self.site.spread = Arc::new(score.spread(service, &base));
    }

    /// The last days carried on, where the sensor is heard now and has been heard for long enough.
    pub(super) fn carried_on(&mut self, now: &Now) -> Option<(Arc<Forecast>, Timestamp)> {
        let present = self.site.outdoors.air.filter(|_| self.site.outdoors.from_sensor && now.trusted);
        if let Some((forecast, at, worked_out)) = &self.learned.carried_on
            && (now.since(*worked_out) < CARRY_ON_EVERY || present.is_none())
        {
            let holds = forecast.at(now.wall).is_some();
            return holds.then(|| (Arc::clone(forecast), *at));
        }
        let forecast = self.learned.history.carried_on(outdoor(present?), now.wall, self.site.pressure)?;
        let forecast = Arc::new(forecast);
        self.learned.carried_on = Some((Arc::clone(&forecast), now.wall, now.elapsed));
        Some((forecast, now.wall))
    }

    /// Carries the offset over to a `new` forecast that takes the place of the present one.
    pub(super) fn rebase_offset(&mut self, new: &Forecast, now: &Now) {
        let site = &mut self.site;
        let old = site.forecast.as_deref().and_then(|old| old.at(now.wall));
        site.offset =
            site.offset.zip(old).zip(new.at(now.wall)).map(|((offset, old), new)| offset.rebased(old.air, new.air));
    }

    /// The forecast as it is expected here, for the hours ahead.
    pub(super) fn expected(&self) -> Option<Forecast> {
        Some(self.site.corrected()?.series(Case::Expected))
    }
}

fn outdoor(air: MoistAir) -> OutdoorAir {
    OutdoorAir { temperature: air.temperature(), vapour_pressure: air.vapour_pressure() }
}
