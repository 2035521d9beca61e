//! The hours ahead by the steady balance: each hour of the forecast as if the farm had settled in it.

use jiff::{SignedDuration, Timestamp};

use crate::{
    advice::decide::{self, AirAdvice, MoistureSituation},
    model::{Farm, Forecast, Intake, balance::Inflow},
    physics::{BelowFreezing, MoistAir},
    units::{HumidityRatio, Pressure, Temperature, WaterFlow, WaterVolume},
};

/// Hours looked ahead.
const HOURS: i64 = 24;

/// What the hours ahead hold for one room.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Ahead {
    pub next_12_hours: Option<WaterVolume>,
    pub next_24_hours: Option<WaterVolume>,
    pub shortfall: Option<Shortfall>,
}

/// A stretch in which the humidifier cannot hold even the low end of the band.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Shortfall {
    pub from: Timestamp,
    pub to: Timestamp,
    /// Whether it holds in the last hour that was looked at.
    pub goes_on: bool,
    pub worst_at: Timestamp,
    pub worst: WaterFlow,
}

/// A room as it stands now: what is carried into the hours ahead.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing {
    pub inside: MoistAir,
    pub air: AirAdvice,
}

/// Looks ahead for every room. Rooms without a standing, and rooms fed from one, have nothing said of them.
pub(super) fn look_ahead(
    farm: &Farm,
    standing: &[Option<Standing>],
    forecast: &Forecast,
    now: Timestamp,
    pressure: Pressure,
) -> Vec<Option<Ahead>> {
    let mut results: Vec<_> = standing.iter().map(|room| room.map(|_| Ahead::default())).collect();
    let mut sums = vec![Sum::default(); farm.rooms.len()];
    for hour in 0..HOURS {
        let start = now + SignedDuration::from_hours(hour);
        // The middle of the hour stands for all of it.
        let Some(point) = forecast.at(start + SignedDuration::from_mins(30)) else { break };
        let Ok(outdoors) = point.air.at_pressure(pressure) else {
            break;
        };
        let mut supplies: Vec<Option<MoistAir>> = vec![None; farm.rooms.len()];
        for (index, room) in farm.rooms.iter().enumerate() {
            let (Some(standing), Some(result)) = (standing[index], results[index].as_mut()) else { continue };
            let supply = match room.intake {
                Intake::Outdoors => Some(outdoors),
                Intake::Room(from) => supplies[from],
                // Ahead, a space is what it is assumed to be.
                Intake::Space(from) => farm.spaces[from].assumed.and_then(|(temperature, humidity)| {
                    MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, pressure).ok()
                }),
            };
            let Some(supply) = supply else { continue };
            let hour = one_hour(room, &standing, &supply, outdoors.humidity_ratio());
            supplies[index] = MoistAir::from_humidity_ratio(standing.inside.temperature(), hour.held, pressure).ok();
            sums[index].add(&hour, start, result);
        }
    }
    for (sum, result) in sums.iter().zip(&mut results) {
        if let Some(result) = result {
            result.next_12_hours = sum.after_12;
            let looked = now + SignedDuration::from_hours(sum.hours);
            if let Some(shortfall) = &mut result.shortfall {
                shortfall.goes_on = shortfall.to >= looked;
            }
            result.next_24_hours = (sum.hours == HOURS).then(|| WaterVolume::clamped(sum.water));
        }
    }
    results
}

#[derive(Debug, Clone, Default)]
struct Sum {
    hours: i64,
    water: f64,
    after_12: Option<WaterVolume>,
}

impl Sum {
    fn add(&mut self, hour: &Hour, start: Timestamp, result: &mut Ahead) {
        self.hours += 1;
        self.water += hour.drawn;
        if self.hours == 12 {
            self.after_12 = Some(WaterVolume::clamped(self.water));
        }
        if hour.missing <= 0.0 {
            return;
        }
        let end = start + SignedDuration::from_hours(1);
        match &mut result.shortfall {
            None => {
                result.shortfall = Some(Shortfall {
                    from: start,
                    to: end,
                    goes_on: false,
                    worst_at: start + SignedDuration::from_mins(30),
                    worst: WaterFlow::clamped(hour.missing),
                });
            }
            Some(shortfall) => {
                shortfall.to = end;
                if hour.missing > shortfall.worst.kilograms_per_hour() {
                    shortfall.worst = WaterFlow::clamped(hour.missing);
                    shortfall.worst_at = start + SignedDuration::from_mins(30);
                }
            }
        }
    }
}

struct Hour {
    /// Litres drawn.
    drawn: f64,
    /// Vapour missing for the band's low end, in kg/h.
    missing: f64,
    /// Humidity ratio that the room is held at, for the rooms behind it.
    held: HumidityRatio,
}

fn one_hour(room: &crate::model::Room, standing: &Standing, supply: &MoistAir, outdoors: HumidityRatio) -> Hour {
    let advice = decide::moisture(&MoistureSituation {
        room,
        inside: &standing.inside,
        relative_humidity: None,
        wettest: None,
        carbon_dioxide: None,
        supply,
        outdoors,
        around: None,
        probe: None,
        air: standing.air,
    });
    let inflow = Inflow::new(room, standing.air.flow, &standing.inside, supply);
    let entering = inflow.mixed(supply.humidity_ratio(), outdoors);
    let (drawn, missing, held) = match (room.humidifier, advice.possible) {
        (Some(humidifier), Some(possible)) => {
            let missing = (advice.vapour.kilograms_per_hour() - possible.kilograms_per_hour()).max(0.0);
            // The target is lowered no further than the band's low end, to within a rounding of the reach.
            let missing = if missing > 1e-3 * possible.kilograms_per_hour() { missing } else { 0.0 };
            let given = WaterFlow::clamped(advice.duty.ratio() * possible.kilograms_per_hour());
            (
                advice.duty.ratio() * humidifier.output.kilograms_per_hour(),
                missing,
                inflow.reached_with(given, entering),
            )
        }
        _ => (0.0, 0.0, entering),
    };
    // What the crop and the floor evaporate is not counted: the estimate is on the dry side.
    let held = if held > entering { held } else { entering };
    Hour { drawn, missing, held }
}

/// Coldest moment of the forecast in the next 24 hours, and the first at or below `threshold`.
pub(super) fn frost_ahead(forecast: &Forecast, now: Timestamp, threshold: Temperature) -> FrostAhead {
    let end = now + SignedDuration::from_hours(HOURS);
    let mut ahead = FrostAhead { coldest: None, first: None };
    let inside = forecast.points().iter().filter(|point| point.at > now && point.at <= end);
    let moments = std::iter::once(forecast.at(now)).flatten().chain(inside.copied()).chain(forecast.at(end));
    let mut before: Option<(Timestamp, f64)> = None;
    for point in moments {
        let celsius = point.air.temperature.celsius();
        if ahead.coldest.is_none_or(|(_, coldest)| celsius < coldest.celsius()) {
            ahead.coldest = Some((point.at, point.air.temperature));
        }
        if ahead.first.is_none() && celsius <= threshold.celsius() {
            ahead.first = Some(crossing(before, (point.at, celsius), threshold.celsius()));
        }
        before = Some((point.at, celsius));
    }
    ahead
}

/// When the straight line between two moments reaches `threshold`.
fn crossing(before: Option<(Timestamp, f64)>, after: (Timestamp, f64), threshold: f64) -> Timestamp {
    match before {
        Some((at, celsius)) if celsius > threshold => {
            let share = (celsius - threshold) / (celsius - after.1);
            let seconds = after.0.duration_since(at).as_secs_f64() * share;
            at + SignedDuration::from_secs(seconds as i64)
        }
        _ => after.0,
    }
}

/// See [`frost_ahead`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct FrostAhead {
    pub coldest: Option<(Timestamp, Temperature)>,
    pub first: Option<Timestamp>,
}
