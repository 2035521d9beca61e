//! The table of faults: for each, what is looked at and for how long.
//!
//! ```text
//! believed ──the sign shows──▶ pending ──for `after`──▶ suspect ──the sign is gone──▶ recovering ──for `until`──▶ believed
//!    ▲                            │                        ▲                             │
//!    └──────────gone──────────────┘                        └──────────shows─────────────┘
//! ```
//!
//! A new fault is a variant of [`Fault`] and a row of [`DETECTORS`]. A sign is a pure function of a [`Scene`]: what the
//! source says, what it has said, and what is known around it. The figures are judgement (no source) where none is named.

use std::time::Duration;

use super::{BelowFreezing, Fault, Measured, Now, Place, Quantity, Source, Trail, balance::BELOW_OUTDOOR, fusion};
use crate::{
    physics::{Curve, MoistAir},
    units::{Pressure, RelativeHumidity, Temperature},
};

/// One fault and how it is found.
#[derive(Debug)]
pub struct Detector {
    /// What is found.
    pub fault: Fault,
    /// Of which quantities.
    pub of: &'static [Quantity],
    /// The sign must show for so long, beyond what it asks of the past itself.
    pub after: Duration,
    /// It must be gone for so long.
    pub until: Duration,
    /// Whether it shows.
    sign: fn(&Scene<'_>) -> bool,
}

/// A source and what is known around it.
#[derive(Debug, Clone, Copy)]
pub struct Scene<'a> {
    /// The source.
    pub source: &'a Source,
    /// What it has said.
    pub trail: &'a Trail,
    /// What it says, in the base unit.
    pub value: f64,
    /// What believed sensors of the same quantity say at other positions of its place, as this one should say it.
    pub others: &'a [f64],
    /// How far others of the same quantity have moved while this one said the very same, in the base unit.
    pub others_moved: Option<f64>,
    /// Whether what hangs together with it at the same position has moved plainly meanwhile: temperature, humidity and
    /// dew point with each other.
    pub neighbours_moved: bool,
    /// Temperature at the same position.
    pub temperature: Option<Temperature>,
    /// Dew point at the same position, and what it refers to below 0 °C.
    pub dew_point: Option<(Temperature, BelowFreezing)>,
    /// Air pressure.
    pub pressure: Pressure,
    /// Temperature forecast for outdoors now.
    pub forecast: Option<Temperature>,
    /// Height of the sun in degrees, where the date is known.
    pub sun: Option<f64>,
    /// Whether the air answers a machine that is on; `None` where that cannot be told.
    pub answered: Option<bool>,
    /// The time.
    pub now: &'a Now,
}

const fn minutes(count: u64) -> Duration {
    Duration::from_secs(60 * count)
}

const AIR: &[Quantity] = &[Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];
const MEASURED: &[Quantity] = &[
    Quantity::Temperature,
    Quantity::RelativeHumidity,
    Quantity::DewPoint,
    Quantity::CarbonDioxide,
    Quantity::Pressure,
    Quantity::SurfaceTemperature,
];

/// Every detector, in the order in which the first that holds is blamed.
pub const DETECTORS: &[Detector] = &[
    Detector {
        fault: Fault::OutOfRange,
        of: &Quantity::ALL,
        after: Duration::ZERO,
        until: Duration::ZERO,
        sign: |scene| refused(scene.trail, scene.source, scene.now),
    },
    Detector {
        fault: Fault::OverRange,
        of: &[Quantity::CarbonDioxide],
        after: Duration::ZERO,
        until: minutes(1),
        sign: |scene| tops_out(scene.source) && scene.value >= scene.source.range.1,
    },
    Detector {
        fault: Fault::DewPointAboveTemperature,
        of: &[Quantity::DewPoint],
        after: minutes(10),
        until: minutes(10),
        sign: dew_point_above,
    },
    Detector {
        fault: Fault::BelowFreezingConvention,
        of: &[Quantity::RelativeHumidity],
        after: minutes(30),
        until: minutes(30),
        sign: other_convention,
    },
    Detector {
        fault: Fault::BelowOutdoorAir,
        of: &[Quantity::CarbonDioxide],
        after: minutes(30),
        until: minutes(30),
        sign: |scene| scene.value < BELOW_OUTDOOR,
    },
    Detector {
        fault: Fault::Wetted,
        of: &[Quantity::RelativeHumidity],
        after: minutes(10),
        until: minutes(20),
        sign: wetted,
    },
    Detector { fault: Fault::ImpossibleStep, of: MEASURED, after: Duration::ZERO, until: minutes(1), sign: stepped },
    Detector { fault: Fault::Drift, of: AIR, after: minutes(60), until: minutes(30), sign: drifted },
    Detector { fault: Fault::Stuck, of: MEASURED, after: Duration::ZERO, until: Duration::ZERO, sign: stuck },
    Detector {
        fault: Fault::Pinned,
        of: &[Quantity::RelativeHumidity],
        after: Duration::ZERO,
        until: minutes(20),
        sign: pinned,
    },
    Detector {
        fault: Fault::InTheSun,
        of: &[Quantity::Temperature],
        after: minutes(30),
        until: minutes(60),
        sign: in_the_sun,
    },
    Detector {
        fault: Fault::ContradictsForecast,
        of: &[Quantity::Temperature],
        after: minutes(180),
        until: minutes(60),
        sign: contradicts_forecast,
    },
    Detector {
        fault: Fault::NeverNearOutdoorAir,
        of: &[Quantity::CarbonDioxide],
        after: Duration::ZERO,
        until: Duration::ZERO,
        sign: never_near_outdoor_air,
    },
    Detector {
        fault: Fault::FanWithoutResponse,
        of: &[Quantity::FanState],
        after: minutes(30),
        until: minutes(10),
        sign: |scene| scene.answered == Some(false),
    },
    Detector {
        fault: Fault::HumidifierWithoutResponse,
        of: &[Quantity::HumidifierState],
        after: minutes(30),
        until: minutes(10),
        sign: |scene| scene.answered == Some(false),
    },
];

/// Whether the end of a source's scale is known, so that a value at it means that or anything above.
pub fn tops_out(source: &Source) -> bool {
    source.quantity == Quantity::CarbonDioxide && source.range.1 < Measured::bounds(source.quantity).1
}

/// Message after message refused, for a minute: one bad message between good ones is none of the sensor's faults.
fn refused(trail: &Trail, source: &Source, now: &Now) -> bool {
    trail.refused.is_some_and(|refused| {
        let heard = now.since(refused.last) <= source.maximum_age;
        refused.count >= 3 && heard && now.since(refused.since) >= minutes(1)
    })
}

fn dew_point_above(scene: &Scene<'_>) -> bool {
    // Two sensors of half a degree's accuracy may cross a little in saturated air.
    scene.temperature.is_some_and(|temperature| scene.value > temperature.celsius() + 0.5)
}

/// Humidity, temperature and dew point of one air: by the settings they contradict each other, by the other reading of
/// the humidity they agree. At −5 °C the two readings are 5 % apart, at −10 °C 9 %.
fn other_convention(scene: &Scene<'_>) -> bool {
    let (Some(temperature), Some((dew_point, refers_to))) = (scene.temperature, scene.dew_point) else {
        return false;
    };
    if temperature.celsius() > -3.0 {
        return false;
    }
    let by_dew_point = MoistAir::from_dew_point(temperature, dew_point, refers_to, scene.pressure);
    let Ok(by_dew_point) = by_dew_point.map(MoistAir::relative_humidity) else { return false };
    let over_water = |refers_to: BelowFreezing| {
        let humidity = RelativeHumidity::clamped(scene.value);
        let air = MoistAir::from_sensor(temperature, humidity, refers_to, scene.pressure).ok()?;
        Some(air.relative_humidity().ratio())
    };
    let other = match scene.source.below_freezing {
        BelowFreezing::Water => BelowFreezing::Ice,
        BelowFreezing::Ice => BelowFreezing::Water,
    };
    let off = |humidity: f64| (humidity - by_dew_point.ratio()).abs();
    match (over_water(scene.source.below_freezing), over_water(other)) {
        (Some(set), Some(otherwise)) => off(set) > 0.03 && off(otherwise) < 0.015,
        _ => false,
    }
}

/// A leap to the top of the scale that nobody else made.
fn wetted(scene: &Scene<'_>) -> bool {
    let alone = !scene.others.is_empty() && fusion::middle(scene.others.iter().copied()) < scene.value - 0.08;
    scene.trail.top_since.is_some() && scene.trail.rise_to_top >= 0.08 && alone
}

/// A jump that is neither taken back nor shared. Without another sensor, a level that lasts is believed after half an
/// hour: the sensor may have been moved.
fn stepped(scene: &Scene<'_>) -> bool {
    let Some(jump) = scene.trail.jump else { return false };
    if scene.others.is_empty() {
        return scene.now.since(jump.at) < minutes(30);
    }
    let others = fusion::middle(scene.others.iter().copied());
    (scene.value - others).abs() > 0.5 * (scene.value - jump.from).abs()
}

/// Where the others agree among themselves, and this one has left them.
fn drifted(scene: &Scene<'_>) -> bool {
    let [first, ..] = scene.others else { return false };
    if scene.others.len() < 2 {
        return false;
    }
    let (lowest, highest) =
        scene.others.iter().fold((*first, *first), |(low, high), value| (low.min(*value), high.max(*value)));
    let others = fusion::middle(scene.others.iter().copied());
    let (close, far) = apart(scene.source.quantity, others);
    highest - lowest <= close && (scene.value - others).abs() > far
}

/// How close sensors are that agree, and how far one is that has left them: the others' spread is a room's own, and
/// beyond three times that it is the sensor.
pub fn apart(quantity: Quantity, middle: f64) -> (f64, f64) {
    match quantity {
        Quantity::RelativeHumidity => (1.4 * fusion::WIDE_HUMIDITY, 2.0 * fusion::WIDE_HUMIDITY),
        Quantity::CarbonDioxide => {
            let share = fusion::WIDE_CARBON_DIOXIDE * middle;
            ((1.4 * share).max(100.0), (2.0 * share).max(200.0))
        }
        _ => (1.5 * fusion::WIDE_TEMPERATURE, 3.0 * fusion::WIDE_TEMPERATURE),
    }
}

/// How far others must have moved before a sensor that has not is stuck, in the base unit.
const fn plainly(quantity: Quantity) -> f64 {
    match quantity {
        Quantity::RelativeHumidity | Quantity::FanState | Quantity::HumidifierState => 0.03,
        Quantity::CarbonDioxide => 50.0,
        Quantity::Pressure => 200.0,
        Quantity::Temperature | Quantity::DewPoint | Quantity::SurfaceTemperature => 1.0,
    }
}

/// Whether a source of `quantity` has moved so far that one of `neighbour` beside it must have moved, too.
pub fn must_move(neighbour: Quantity, quantity: Quantity, moved: f64) -> bool {
    let of_air = |of| matches!(of, Quantity::Temperature | Quantity::RelativeHumidity | Quantity::DewPoint);
    of_air(neighbour) && of_air(quantity) && neighbour != quantity && moved > 2.0 * plainly(quantity)
}

/// Two hours and twenty readings of the very same number, while others moved by more than it could have missed.
fn stuck(scene: &Scene<'_>) -> bool {
    let trail = scene.trail;
    let long = trail.same_count >= 20 && scene.now.since(trail.same_since) >= minutes(120);
    if !long || trail.top_since.is_some() {
        return false;
    }
    let quantity = scene.source.quantity;
    let missed = plainly(quantity).max(2.0 * trail.resolution.unwrap_or(0.0));
    // Some carbon dioxide sensors say no less than 400, however fresh the air is.
    let at_floor = quantity == Quantity::CarbonDioxide && scene.value < 450.0;
    // Neighbours prove nothing against a sensor of coarse steps, or one whose steps are not known yet.
    let fine = trail.resolution.is_some_and(|step| step <= 0.25 * plainly(quantity));
    scene.others_moved.map_or(scene.neighbours_moved && fine && !at_floor, |moved| moved > missed)
}

/// An hour at the top while others are drier; alone in a room, six hours.
fn pinned(scene: &Scene<'_>) -> bool {
    let Some(since) = scene.trail.top_since else { return false };
    let held = scene.now.since(since);
    if scene.others.is_empty() {
        // Outdoors fog may last for days.
        return scene.source.place != Place::Outdoors && held >= minutes(360);
    }
    held >= minutes(60) && fusion::middle(scene.others.iter().copied()) < scene.value - 0.03
}

fn outdoors_alone(scene: &Scene<'_>) -> bool {
    // Another sensor that says the same makes the forecast the one that is off.
    scene.source.place == Place::Outdoors && !scene.others.iter().any(|other| (other - scene.value).abs() < 2.0)
}

/// Forecasts miss by 1.2 K on average a day ahead (published verification), an unshaded sensor by 5 to 10.
fn in_the_sun(scene: &Scene<'_>) -> bool {
    let warmer = scene.forecast.is_some_and(|forecast| scene.value > forecast.celsius() + 5.0);
    outdoors_alone(scene) && warmer && scene.sun.is_some_and(|height| height > 5.0)
}

/// Cold air pools in valleys by 10 K and more below a forecast for the region; warmer than forecast it is never by so
/// much.
fn contradicts_forecast(scene: &Scene<'_>) -> bool {
    let off = scene.forecast.map_or(0.0, |forecast| scene.value - forecast.celsius());
    outdoors_alone(scene) && !(-14.0..=8.0).contains(&off)
}

/// Eight days without fresh air for a sensor that needs some each week; six hours outdoors.
fn never_near_outdoor_air(scene: &Scene<'_>) -> bool {
    let without = scene.now.since(scene.trail.near_outdoor);
    let patience = match scene.source.place {
        Place::Outdoors => minutes(360),
        _ if scene.source.self_calibrating => minutes(8 * 1_440),
        _ => return false,
    };
    without >= patience
}

/// State of one suspicion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Suspicion {
    Believed,
    Pending(Duration),
    Suspect,
    Recovering(Duration),
}

/// Which signs show, in the order of a source's rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signs(Vec<bool>);

/// What is suspected of one source.
#[derive(Debug, Clone, PartialEq)]
pub struct Watch {
    /// What it has said.
    pub trail: Trail,
    suspicions: Vec<(&'static Detector, Suspicion)>,
}

impl PartialEq for Detector {
    fn eq(&self, other: &Self) -> bool {
        self.fault == other.fault
    }
}

impl Watch {
    /// Over a source of this quantity.
    pub fn new(quantity: Quantity) -> Self {
        let rows = DETECTORS.iter().filter(|detector| detector.of.contains(&quantity));
        Self { trail: Trail::new(quantity), suspicions: rows.map(|detector| (detector, Suspicion::Believed)).collect() }
    }

    /// The signs that show in a scene, one for each row that watches this source.
    pub fn signs(&self, scene: &Scene<'_>) -> Signs {
        Signs(self.suspicions.iter().map(|(detector, _)| (detector.sign)(scene)).collect())
    }

    /// Takes in what shows now; gives the first fault that is held against the source.
    pub fn take(&mut self, signs: &Signs, now: &Now) -> Option<Fault> {
        for ((detector, suspicion), sign) in self.suspicions.iter_mut().zip(&signs.0) {
            *suspicion = next(*suspicion, detector, *sign, now);
        }
        self.fault()
    }

    /// For a source that says nothing that could be looked at: whether its messages are refused.
    pub fn take_silence(&mut self, source: &Source, now: &Now) -> Option<Fault> {
        let refused = refused(&self.trail, source, now);
        for (detector, suspicion) in &mut self.suspicions {
            let sign = detector.fault == Fault::OutOfRange && refused;
            *suspicion = if sign { Suspicion::Suspect } else { Suspicion::Believed };
        }
        self.fault()
    }

    /// The first fault that is held against the source.
    pub fn fault(&self) -> Option<Fault> {
        let held = |suspicion: &Suspicion| matches!(suspicion, Suspicion::Suspect | Suspicion::Recovering(_));
        self.suspicions.iter().find(|(_, suspicion)| held(suspicion)).map(|(detector, _)| detector.fault)
    }
}

fn next(state: Suspicion, detector: &Detector, sign: bool, now: &Now) -> Suspicion {
    use Suspicion::{Believed, Pending, Recovering, Suspect};
    match (state, sign) {
        (Believed, true) if detector.after.is_zero() => Suspect,
        (Believed, true) => Pending(now.elapsed),
        (Pending(since), true) if now.since(since) >= detector.after => Suspect,
        (Suspect | Recovering(_), true) => Suspect,
        (Suspect, false) if detector.until.is_zero() => Believed,
        (Suspect, false) => Recovering(now.elapsed),
        (Recovering(since), false) if now.since(since) >= detector.until => Believed,
        (Believed | Pending(_), false) => Believed,
        (pending @ Pending(_), true) => pending,
        (recovering @ Recovering(_), false) => recovering,
    }
}

/// A relative humidity seen at one temperature, as it would be seen at another beside it: the same water, less relative
/// humidity where it is warmer. Both are taken over liquid water; the error of that is the same for both.
pub fn seen_at(humidity: f64, from: Temperature, to: Temperature, pressure: Pressure) -> f64 {
    let saturation = |temperature| Curve::Water.pressure_in_air(temperature, pressure).map(|value| value.pascals());
    match (saturation(from), saturation(to)) {
        (Ok(from), Ok(to)) if to > 0.0 => (humidity * from / to).min(1.05),
        _ => humidity,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_one_row_and_the_rows_stand_in_the_order_of_blame() {
        let rows: Vec<Fault> = DETECTORS.iter().map(|detector| detector.fault).collect();
        assert_eq!(rows, Fault::ALL);
    }

    #[test]
    fn a_sign_must_show_for_its_time_and_be_gone_for_its_time() {
        let detector =
            Detector { fault: Fault::Drift, of: AIR, after: minutes(60), until: minutes(30), sign: |_| true };
        let at = |minute: u64| Now { elapsed: minutes(minute), wall: jiff::Timestamp::UNIX_EPOCH, trusted: true };
        let mut state = Suspicion::Believed;
        let mut held = Vec::new();
        for (minute, sign) in [(0, true), (50, true), (51, false), (52, true), (111, true), (112, true), (120, false)] {
            state = next(state, &detector, sign, &at(minute));
            held.push(matches!(state, Suspicion::Suspect | Suspicion::Recovering(_)));
        }
        assert_eq!(held, [false, false, false, false, false, true, true]);
        assert_eq!(next(state, &detector, false, &at(149)), state);
        assert_eq!(next(state, &detector, false, &at(150)), Suspicion::Believed);
    }

    #[test]
    fn a_humidity_is_compared_at_the_temperature_of_the_sensor_that_it_is_compared_with() {
        let celsius = |value| Temperature::from_celsius(value).unwrap();
        let pressure = Pressure::from_pascals(101_325.0).unwrap();
        // 16 °C at 90 % is 14.36 °C dew point; at 18 °C that is 79.3 % (Magnus form, WMO No. 8, annex 4.B).
        assert!((seen_at(0.90, celsius(16.0), celsius(18.0), pressure) - 0.793).abs() < 0.002);
    }
}
