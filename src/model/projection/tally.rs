//! From steps to hours, and to what stands out in them.

use jiff::{SignedDuration, Timestamp};

use super::weather::{STEP, STEPS_PER_HOUR};
use crate::{
    model::outlook::{Findings, Hour, Run, Stretch},
    physics::MoistAir,
    units::{
        AirFlow, CarbonDioxide, Fraction, HeatFlow, HumidityRatio, RelativeHumidity, Temperature,
        TemperatureDifference, VapourPressure, WaterFlow, WaterVolume,
    },
};

/// What is missing for a shorter time than this, in steps, is a door or a change of setpoint and no shortfall.
const SHORTEST_STRETCH: usize = STEPS_PER_HOUR / 2;
/// A pause in a stretch that is no longer than this, in steps, does not end it.
const LONGEST_PAUSE: usize = 2 * STEPS_PER_HOUR;

/// What one step of a run shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moment {
    pub outdoors: MoistAir,
    pub air: MoistAir,
    pub relative_humidity: RelativeHumidity,
    pub vapour_pressure_deficit: VapourPressure,
    pub carbon_dioxide: CarbonDioxide,
    pub fresh_air: AirFlow,
    pub humidity_target: RelativeHumidity,
    pub duty: Fraction,
    /// Water drawn in the step, in litres.
    pub water: f64,
    pub tank: Option<WaterVolume>,
    /// Vapour that the lowest target takes beyond what the humidifier can give, in kg/h: negative where it has some left.
    pub lacking: f64,
    pub heat: Option<HeatFlow>,
    pub heat_missing: HeatFlow,
    pub dew_margin: Option<TemperatureDifference>,
    pub inlet_fog: bool,
    pub standing_mist: Option<bool>,
}

/// What counts as missing, and until when the night goes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Limits {
    /// Less vapour than this is not missed.
    pub vapour: WaterFlow,
    /// A humidifier that has less vapour left than this is strained.
    pub spare: WaterFlow,
    /// Less heat than this is not missed.
    pub heat: HeatFlow,
    /// When the night ends.
    pub dawn: Timestamp,
}

/// A run in the making.
#[derive(Debug, Clone)]
pub(super) struct Tally {
    start: Timestamp,
    limits: Limits,
    /// Steps until dawn, the last one in part.
    night: f64,
    steps: usize,
    hours: Vec<Hour>,
    open: Option<Sum>,
    findings: Findings,
    shortfall: Missing,
    strained: Missing,
    heat_short: Missing,
    water: f64,
    water_to_dawn: f64,
}

impl Tally {
    pub fn new(start: Timestamp, limits: Limits, hours: usize) -> Self {
        Self {
            start,
            limits,
            night: limits.dawn.duration_since(start).as_secs_f64() / STEP.as_secs_f64(),
            steps: 0,
            hours: Vec::with_capacity(hours),
            open: None,
            findings: Findings { dawn: Some(limits.dawn), ..Findings::default() },
            shortfall: Missing::default(),
            strained: Missing::default(),
            heat_short: Missing::default(),
            water: 0.0,
            water_to_dawn: 0.0,
        }
    }

    pub fn add(&mut self, moment: &Moment) {
        self.note(moment);
        self.shortfall.add(self.steps, moment.lacking, self.limits.vapour.kilograms_per_hour());
        self.strained.add(self.steps, moment.lacking + self.limits.spare.kilograms_per_hour(), 0.0);
        self.heat_short.add(self.steps, moment.heat_missing.watts(), self.limits.heat.watts());
        self.water += moment.water;
        // The step in which day breaks counts as far as it is night.
        self.water_to_dawn += moment.water * self.night.clamp(0.0, 1.0);
        self.night -= 1.0;
        self.steps += 1;
        match self.steps / STEPS_PER_HOUR {
            12 if self.steps.is_multiple_of(STEPS_PER_HOUR) => {
                self.findings.water_12_hours = Some(WaterVolume::clamped(self.water));
            }
            24 if self.steps.is_multiple_of(STEPS_PER_HOUR) => {
                self.findings.water_24_hours = Some(WaterVolume::clamped(self.water));
            }
            _ => {}
        }
        let started = self.steps - 1;
        let sum = self.open.get_or_insert_with(|| Sum::new(self::moment(self.start, started), moment));
        sum.add(moment);
        if self.steps.is_multiple_of(STEPS_PER_HOUR) {
            self.hours.extend(self.open.take().map(Sum::hour));
        }
    }

    pub fn finish(mut self) -> Run {
        if self.at(self.steps) >= self.limits.dawn {
            self.findings.water_to_dawn = Some(WaterVolume::clamped(self.water_to_dawn));
        }
        self.findings.shortfall = self.shortfall.stretch(self.start, self.steps, WaterFlow::clamped);
        self.findings.strained = self.strained.stretch(self.start, self.steps, WaterFlow::clamped);
        self.findings.heat_short = self.heat_short.stretch(self.start, self.steps, HeatFlow::clamped);
        Run { hours: self.hours, findings: self.findings }
    }

    fn at(&self, steps: usize) -> Timestamp {
        moment(self.start, steps)
    }

    fn note(&mut self, moment: &Moment) {
        let (start, steps) = (self.start, self.steps);
        let at = || self::moment(start, steps);
        let found = &mut self.findings;
        if found.driest.is_none_or(|(_, lowest)| moment.relative_humidity < lowest) {
            found.driest = Some((at(), moment.relative_humidity));
        }
        let outdoors = moment.outdoors.temperature();
        if found.coldest.is_none_or(|(_, coldest)| outdoors < coldest) {
            found.coldest = Some((at(), outdoors));
        }
        if let Some(margin) = moment.dew_margin
            && found.dew_margin.is_none_or(|(_, lowest)| margin < lowest)
        {
            found.dew_margin = Some((at(), margin));
        }
        if found.tank_empty.is_none() && moment.tank.is_some_and(|left| left.litres() <= 0.0) {
            found.tank_empty = Some(at());
        }
        if found.inlet_fog.is_none() && moment.inlet_fog {
            found.inlet_fog = Some(at());
        }
        if found.standing_mist.is_none() && moment.standing_mist == Some(true) {
            found.standing_mist = Some(at());
        }
    }
}

fn moment(start: Timestamp, steps: usize) -> Timestamp {
    start + STEP * i32::try_from(steps).unwrap_or(i32::MAX)
}

/// The first stretch in which something is missing.
#[derive(Debug, Clone, Copy, Default)]
struct Missing {
    /// First step, step after the last one, step of the worst, and the worst.
    stretch: Option<(usize, usize, usize, f64)>,
}

impl Missing {
    fn add(&mut self, step: usize, missing: f64, smallest: f64) {
        let counts = missing > smallest;
        match &mut self.stretch {
            Some((from, end, ..)) if step - *end > LONGEST_PAUSE => {
                // Too short to be kept, it makes room for the next one.
                let kept = *end - *from >= SHORTEST_STRETCH;
                let next = counts.then_some((step, step + 1, step, missing));
                self.stretch = self.stretch.filter(|_| kept).or(next);
            }
            Some((_, end, worst_at, worst)) if counts => {
                *end = step + 1;
                if missing > *worst {
                    (*worst_at, *worst) = (step, missing);
                }
            }
            None if counts => self.stretch = Some((step, step + 1, step, missing)),
            _ => {}
        }
    }

    fn stretch<T>(self, start: Timestamp, steps: usize, value: fn(f64) -> T) -> Option<Stretch<T>> {
        let (from, end, worst_at, worst) = self.stretch.filter(|(from, end, ..)| end - from >= SHORTEST_STRETCH)?;
        Some(Stretch {
            from: moment(start, from),
            to: (end < steps).then(|| moment(start, end)),
            worst_at: moment(start, worst_at),
            worst: value(worst),
        })
    }
}

/// One hour in the making: sums of what is a mean, extremes of what is a worst.
#[derive(Debug, Clone, Copy)]
struct Sum {
    start: Timestamp,
    count: f64,
    outdoor_temperature: f64,
    outdoor_humidity_ratio: f64,
    temperature: f64,
    relative_humidity: f64,
    humidity_ratio: f64,
    duty: f64,
    water: f64,
    heat: Option<f64>,
    worst: Moment,
}

impl Sum {
    fn new(start: Timestamp, first: &Moment) -> Self {
        Self {
            start,
            count: 0.0,
            outdoor_temperature: 0.0,
            outdoor_humidity_ratio: 0.0,
            temperature: 0.0,
            relative_humidity: 0.0,
            humidity_ratio: 0.0,
            duty: 0.0,
            water: 0.0,
            heat: Some(0.0),
            worst: *first,
        }
    }

    fn add(&mut self, moment: &Moment) {
        self.count += 1.0;
        self.outdoor_temperature += moment.outdoors.temperature().celsius();
        self.outdoor_humidity_ratio += moment.outdoors.humidity_ratio().kilograms_per_kilogram();
        self.temperature += moment.air.temperature().celsius();
        self.relative_humidity += moment.relative_humidity.ratio();
        self.humidity_ratio += moment.air.humidity_ratio().kilograms_per_kilogram();
        self.duty += moment.duty.ratio();
        self.water += moment.water;
        self.heat = self.heat.zip(moment.heat).map(|(sum, heat)| sum + heat.watts());
        let worst = &mut self.worst;
        worst.relative_humidity = least(worst.relative_humidity, moment.relative_humidity);
        worst.vapour_pressure_deficit = most(worst.vapour_pressure_deficit, moment.vapour_pressure_deficit);
        worst.carbon_dioxide = most(worst.carbon_dioxide, moment.carbon_dioxide);
        worst.lacking = most(worst.lacking, moment.lacking);
        worst.heat_missing = most(worst.heat_missing, moment.heat_missing);
        worst.dew_margin = worst.dew_margin.zip(moment.dew_margin).map(|(a, b)| least(a, b));
        worst.inlet_fog |= moment.inlet_fog;
        worst.standing_mist = worst.standing_mist.zip(moment.standing_mist).map(|(a, b)| a || b);
        (worst.tank, worst.fresh_air, worst.humidity_target) = (moment.tank, moment.fresh_air, moment.humidity_target);
    }

    fn hour(self) -> Hour {
        let mean = |sum: f64| sum / self.count;
        Hour {
            start: self.start,
            outdoor_temperature: Temperature::clamped(mean(self.outdoor_temperature)),
            outdoor_humidity_ratio: HumidityRatio::clamped(mean(self.outdoor_humidity_ratio)),
            temperature: Temperature::clamped(mean(self.temperature)),
            relative_humidity: RelativeHumidity::clamped(mean(self.relative_humidity)),
            lowest_relative_humidity: self.worst.relative_humidity,
            humidity_ratio: HumidityRatio::clamped(mean(self.humidity_ratio)),
            vapour_pressure_deficit: self.worst.vapour_pressure_deficit,
            carbon_dioxide: self.worst.carbon_dioxide,
            fresh_air: self.worst.fresh_air,
            humidity_target: self.worst.humidity_target,
            humidifier_duty: Fraction::clamped(mean(self.duty)),
            water: WaterVolume::clamped(self.water),
            tank: self.worst.tank,
            shortfall: WaterFlow::clamped(self.worst.lacking.max(0.0)),
            heat: self.heat.map(|sum| HeatFlow::clamped(mean(sum))),
            heat_missing: self.worst.heat_missing,
            dew_margin: self.worst.dew_margin,
            inlet_fog: self.worst.inlet_fog,
            standing_mist: self.worst.standing_mist,
        }
    }
}

fn least<T: PartialOrd>(a: T, b: T) -> T {
    if b < a { b } else { a }
}

fn most<T: PartialOrd>(a: T, b: T) -> T {
    if b > a { b } else { a }
}

/// The end of the night that is running or coming: the next sunrise, or 08:00 where the sun does not rise.
pub fn dawn(site: &crate::model::Site, after: Timestamp) -> Timestamp {
    let sunrise = crate::model::sun::next_sunrise(site.latitude, site.longitude, after);
    sunrise.or_else(|| next_eight(&site.time_zone, after)).unwrap_or(after + SignedDuration::from_hours(12))
}

fn next_eight(zone: &jiff::tz::TimeZone, after: Timestamp) -> Option<Timestamp> {
    let today = after.to_zoned_datetime(zone.clone()).date();
    [Some(today), today.tomorrow().ok()].into_iter().flatten().find_map(|date| {
        let eight = zone.to_zoned_datetime(date.at(8, 0, 0, 0)).ok()?.timestamp();
        (eight > after).then_some(eight)
    })
}
