//! How a room's outlooks have turned out, in the state file: short, because there are many numbers.

use serde::{Deserialize, Serialize};

use super::{Moment, rounded};
use crate::model::room_score::{AirSaid, AirScore, Errors, Meter, RoomScore, Scorer, WaterSaid, WaterScore};

#[derive(Debug, Serialize, Deserialize)]
pub(super) struct OutlooksBody {
    /// Stands for what the room was when this was said.
    premise: u64,
    /// Water drawn in litres, and hours in which the humidifier was not heard.
    meter: (f64, f64),
    /// By lead time: of the temperature in K, of the relative humidity in points.
    air: Vec<(ErrorsRow, ErrorsRow)>,
    /// By lead time: in litres, and the mean of what was drawn.
    water: Vec<(ErrorsRow, f64)>,
    /// Lead time in hours, moment, °C, percent.
    air_waiting: Vec<(i64, Moment, Option<f64>, Option<f64>)>,
    /// Lead time in hours, moment, litres, and the meter as it stood.
    water_waiting: Vec<(i64, Moment, f64, f64, f64)>,
}

/// Samples, bias and absolute error.
type ErrorsRow = (u32, f64, f64);

fn row(errors: &Errors, scale: f64) -> ErrorsRow {
    (errors.samples, rounded(errors.bias * scale, 4), rounded(errors.absolute * scale, 4))
}

fn errors((samples, bias, absolute): ErrorsRow, scale: f64) -> Errors {
    Errors { samples, bias: bias / scale, absolute: absolute / scale }
}

const PERCENT: f64 = 100.0;

impl OutlooksBody {
    pub fn of((scorer, premise): &(Scorer, u64)) -> Self {
        let (air, water) = scorer.waiting();
        let air_waiting = air.iter().map(|said| {
            let celsius = said.celsius.map(|celsius| rounded(celsius, 3));
            (said.lead, Moment(said.moment), celsius, said.humidity.map(|humidity| rounded(humidity * PERCENT, 3)))
        });
        let water_waiting = water.iter().map(|said| {
            let (litres, meter, unheard) = (rounded(said.litres, 3), rounded(said.meter, 4), rounded(said.unheard, 5));
            (said.lead, Moment(said.moment), litres, meter, unheard)
        });
        let RoomScore { air, water } = &scorer.score;
        Self {
            premise: *premise,
            meter: (rounded(scorer.meter.litres, 4), rounded(scorer.meter.unheard, 5)),
            air: air.iter().map(|air| (row(&air.temperature, 1.0), row(&air.relative_humidity, PERCENT))).collect(),
            water: water.iter().map(|water| (row(&water.errors, 1.0), rounded(water.drawn, 4))).collect(),
            air_waiting: air_waiting.collect(),
            water_waiting: water_waiting.collect(),
        }
    }

    pub fn into_kept(self) -> (Scorer, u64) {
        let mut score = RoomScore::default();
        for (air, (temperature, humidity)) in score.air.iter_mut().zip(self.air) {
            *air = AirScore { temperature: errors(temperature, 1.0), relative_humidity: errors(humidity, PERCENT) };
        }
        for (water, (litres, drawn)) in score.water.iter_mut().zip(self.water) {
            *water = WaterScore { errors: errors(litres, 1.0), drawn };
        }
        let air = self.air_waiting.into_iter().map(|(lead, moment, celsius, percent)| {
            let humidity = percent.map(|percent| percent / PERCENT);
            AirSaid { lead, moment: moment.0, celsius, humidity }
        });
        let water = self.water_waiting.into_iter().map(|(lead, moment, litres, meter, unheard)| WaterSaid {
            lead,
            moment: moment.0,
            litres,
            meter,
            unheard,
        });
        let meter = Meter::at(self.meter.0, self.meter.1);
        (Scorer::new(score, meter, air.collect(), water.collect()), self.premise)
    }
}
