//! The air outdoors: the farm's own sensor for the present, the forecast where there is none.

use super::snapshot::{OutdoorsState, PressureFrom};
use crate::{
    model::{ForecastPoint, Fused, Site},
    physics::atmosphere,
    units::{Pressure, Temperature},
};

/// What the farm's own outdoor sensors say, where it is believed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub temperature: Option<Temperature>,
    pub pressure: Option<Pressure>,
}

/// Air pressure at the site: its sensor, else the forecast's sea-level pressure at the site's elevation, else the
/// standard atmosphere there.
pub(super) fn pressure(site: &Site, sensors: &Known, forecast: Option<&ForecastPoint>) -> (Pressure, PressureFrom) {
    if let Some(pressure) = sensors.pressure {
        return (pressure, PressureFrom::Sensor);
    }
    let from_forecast = forecast.and_then(|point| {
        let sea_level = point.sea_level_pressure?;
        let temperature = sensors.temperature.unwrap_or(point.air.temperature);
        let mean = atmosphere::layer_mean(temperature, site.elevation);
        atmosphere::station_pressure(sea_level, site.elevation, mean).ok()
    });
    match from_forecast {
        Some(pressure) => (pressure, PressureFrom::Forecast),
        None => (atmosphere::standard_pressure(site.elevation), PressureFrom::StandardAtmosphere),
    }
}

/// The air outdoors now. Temperature and humidity are taken from one place: a sensor's temperature with a forecast's
/// humidity would be an air that is nowhere.
pub(super) fn air(sensed: &Fused, forecast: Option<&ForecastPoint>, pressure: Pressure) -> OutdoorsState {
    let (coldest, spread) = (sensed.reckoned.coldest, sensed.spread.clone());
    if let Some(air) = sensed.air {
        return OutdoorsState { air: Some(air), from_sensor: true, coldest, spread };
    }
    let forecast = forecast.and_then(|point| point.air.at_pressure(pressure).ok());
    OutdoorsState { air: forecast, from_sensor: false, coldest, spread }
}
