//! From what a service says of single moments to a forecast: what is believed, what contradicts itself, what is left out.

use std::ops::RangeInclusive;

use jiff::Timestamp;

use super::{BadBody, LeftOut, Parsed, Spot};
use crate::{
    model::{Forecast, ForecastPoint, OutdoorAir, Service},
    units::{Pressure, RelativeHumidity, Speed, Temperature},
};

/// Outdoor air temperatures that are believed, in °C: the liquid curve of saturation starts at −60.
const TEMPERATURES: RangeInclusive<f64> = -60.0..=60.0;
/// Dew points that are believed, in °C.
const DEW_POINTS: RangeInclusive<f64> = -60.0..=40.0;
/// Relative humidities that are believed, in percent. Forecast models round and overshoot saturation a little.
const RELATIVE_HUMIDITIES: RangeInclusive<f64> = 0.5..=105.0;
/// Sea-level pressures that are believed, in hPa: the records are 870 and 1084.
const SEA_LEVEL_PRESSURES: RangeInclusive<f64> = 850.0..=1_100.0;
/// Wind speeds that are believed, in m/s.
const WINDS: RangeInclusive<f64> = 0.0..=120.0;
/// A dew point may lie this far above the temperature, in K: both are rounded.
const DEW_POINT_ABOVE: f64 = 0.2;
/// The relative humidity sent may differ this much from the one that the dew point gives, in percent.
const HUMIDITY_APART: f64 = 5.0;

/// What a service says of one moment, as it says it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Moment {
    pub at: Option<Timestamp>,
    pub celsius: Option<f64>,
    /// In °C, over water.
    pub dew_point: Option<f64>,
    /// In percent, over water.
    pub relative_humidity: Option<f64>,
    /// In hPa.
    pub sea_level_pressure: Option<f64>,
    /// In m/s.
    pub wind: Option<f64>,
}

/// The forecast that moments in any order make.
pub(super) fn gather(
    service: Service,
    issued: Option<Timestamp>,
    moments: impl IntoIterator<Item = Moment>,
    spot: &Spot,
) -> Result<Parsed, BadBody> {
    let mut left_out = LeftOut::default();
    let mut points: Vec<ForecastPoint> =
        moments.into_iter().filter_map(|moment| point(&moment, spot, &mut left_out)).collect();
    // The sort is stable: of two values for one moment the first one sent stays.
    points.sort_by_key(|point| point.at);
    let sent = points.len();
    points.dedup_by_key(|point| point.at);
    left_out.repeated = sent - points.len();
    let forecast = Forecast::new(service, issued, points).map_err(|_| BadBody::NothingUsable(left_out))?;
    Ok(Parsed { forecast, left_out })
}

fn point(moment: &Moment, spot: &Spot, left_out: &mut LeftOut) -> Option<ForecastPoint> {
    let Some(at) = moment.at else {
        left_out.incomplete += 1;
        return None;
    };
    let sea_level_pressure = believed(moment.sea_level_pressure, SEA_LEVEL_PRESSURES, left_out)
        .and_then(|hectopascals| Pressure::from_pascals(hectopascals * 100.0).ok());
    let wind = believed(moment.wind, WINDS, left_out).and_then(|speed| Speed::from_metres_per_second(speed).ok());
    match air(moment, spot) {
        Ok(air) => Some(ForecastPoint { at, air, sea_level_pressure, wind }),
        Err(unusable) => {
            *match unusable {
                Unusable::Incomplete => &mut left_out.incomplete,
                Unusable::OutOfRange => &mut left_out.out_of_range,
                Unusable::Contradicting => &mut left_out.contradicting,
            } += 1;
            None
        }
    }
}

fn believed(value: Option<f64>, range: RangeInclusive<f64>, left_out: &mut LeftOut) -> Option<f64> {
    let value = value?;
    if range.contains(&value) {
        Some(value)
    } else {
        left_out.details += 1;
        None
    }
}

enum Unusable {
    Incomplete,
    OutOfRange,
    Contradicting,
}

/// Temperature and moisture of a moment: from the dew point (over water, as meteorological practice has it at every
/// temperature) where it is sent, else from the relative humidity.
fn air(moment: &Moment, spot: &Spot) -> Result<OutdoorAir, Unusable> {
    let within = |value: Option<f64>, range: RangeInclusive<f64>| match value {
        Some(value) if !range.contains(&value) => Err(Unusable::OutOfRange),
        other => Ok(other),
    };
    let celsius = within(moment.celsius, TEMPERATURES)?.ok_or(Unusable::Incomplete)?;
    let temperature = Temperature::from_celsius(celsius).map_err(|_| Unusable::OutOfRange)?;
    let humidity = within(moment.relative_humidity, RELATIVE_HUMIDITIES)?
        .map(|percent| RelativeHumidity::from_percent(percent.min(100.0)))
        .transpose()
        .map_err(|_| Unusable::OutOfRange)?;
    let from_humidity = humidity
        .map(|humidity| OutdoorAir::from_relative_humidity(temperature, humidity, spot.elevation))
        .transpose()
        .map_err(|_| Unusable::OutOfRange)?;
    let Some(dew_celsius) = within(moment.dew_point, DEW_POINTS)? else {
        return from_humidity.ok_or(Unusable::Incomplete);
    };
    if dew_celsius > celsius + DEW_POINT_ABOVE {
        return Err(Unusable::Contradicting);
    }
    let dew_point = Temperature::from_celsius(dew_celsius.min(celsius)).map_err(|_| Unusable::OutOfRange)?;
    let air = OutdoorAir::from_dew_point(temperature, dew_point, spot.elevation).map_err(|_| Unusable::OutOfRange)?;
    if let (Some(sent), Some(other)) = (humidity, from_humidity) {
        let implied = sent.percent() * air.vapour_pressure.pascals() / other.vapour_pressure.pascals();
        if (implied - sent.percent()).abs() > HUMIDITY_APART {
            return Err(Unusable::Contradicting);
        }
    }
    Ok(air)
}
