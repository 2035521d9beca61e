//! What the farm's own outdoor sensor teaches about the forecast.

use super::core::Engine;
use crate::{
    model::{Case, CorrectedForecast, Forecast, Now, Offset, OutdoorAir},
    physics::MoistAir,
};

use super::snapshot::SiteState;

impl SiteState {
    /// The forecast as this farm should read it: corrected by what its own sensor differs now, with a spread. `None`
    /// without a forecast.
    pub fn corrected(&self) -> Option<CorrectedForecast<'_>> {
        let (forecast, made) = self.forecast.as_deref().zip(self.forecast_fetched)?;
        Some(CorrectedForecast { forecast, offset: self.offset, spread: &self.spread, made, pressure: self.pressure })
    }
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
