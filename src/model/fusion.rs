//! Several sensors of one air made into one: in temperature and humidity ratio, the quantities that mix.
//!
//! Three or more sensors give their median, which one liar among three cannot move past an honest one. Two that agree
//! give their middle; of two that disagree nobody can say which is right, so each decision reckons with the one that is
//! worse for it ([`Reckoned`]): the higher carbon dioxide for fresh air, the wetter air for switching the humidifier
//! off, the drier air for the water that is needed, the colder air for frost.
//!
//! Where a reading is ageing, it is taken as the worst that it could be by now, by the same rule.

use std::time::Duration;

use super::{BelowFreezing, Fault, Identifier, Now, Quantity, Reading, balance::BELOW_OUTDOOR, detect, people};
use crate::{
    physics::MoistAir,
    units::{CarbonDioxide, Pressure, RelativeHumidity, Temperature},
};

/// Sensors of one air may differ by this much before it is news: what a well-mixed room keeps between its racks
/// (follows from an air-speed ratio of 2.5 : 1 over the crop, Bowman 1989; derived, not read).
pub const WIDE_TEMPERATURE: f64 = 1.0;
/// See [`WIDE_TEMPERATURE`]; as a ratio: five points.
pub const WIDE_HUMIDITY: f64 = 0.05;
/// See [`WIDE_TEMPERATURE`]; as a share of the middle.
pub const WIDE_CARBON_DIOXIDE: f64 = 0.2;
/// Two sensors may differ by their own tolerance, in ppm, however little there is to differ about.
const CARBON_DIOXIDE_TOLERANCE: f64 = 100.0;
/// How fast the humidity of a room that holds its target is reckoned to move unseen, as a ratio per hour: a judgement,
/// no source.
const HUMIDITY_PER_HOUR: f64 = 0.2;

/// What the sensors at one position of a place say.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Its name; `None` for sensors of the place as a whole.
    pub position: Option<Identifier>,
    /// Air temperature.
    pub temperature: Reading<Temperature>,
    /// Relative humidity.
    pub relative_humidity: Reading<RelativeHumidity>,
    /// Dew point, taken where no relative humidity is believed.
    pub dew_point: Reading<Temperature>,
    /// What humidity refers to below 0 °C.
    pub humidity_refers_to: BelowFreezing,
    /// What the dew point refers to below 0 °C.
    pub dew_point_refers_to: BelowFreezing,
    /// Carbon dioxide.
    pub carbon_dioxide: Reading<CarbonDioxide>,
}

impl Point {
    /// A position of which nothing has been heard.
    pub const fn silent(position: Option<Identifier>) -> Self {
        Self {
            position,
            temperature: Reading::Never,
            relative_humidity: Reading::Never,
            dew_point: Reading::Never,
            humidity_refers_to: BelowFreezing::Water,
            dew_point_refers_to: BelowFreezing::Water,
            carbon_dioxide: Reading::Never,
        }
    }

    /// The air at this position, where what gives it is believed.
    pub fn air(&self, pressure: Pressure) -> Option<MoistAir> {
        let temperature = self.temperature.fresh()?;
        if let Some(humidity) = self.relative_humidity.fresh() {
            return MoistAir::from_sensor(temperature, humidity, self.humidity_refers_to, pressure).ok();
        }
        MoistAir::from_dew_point(temperature, self.dew_point.fresh()?, self.dew_point_refers_to, pressure).ok()
    }
}

/// How far apart the believed sensors of one quantity are.
#[derive(Debug, Clone, PartialEq)]
pub struct Apart {
    /// Highest minus lowest: K, ratio, or share of the middle for carbon dioxide.
    pub difference: f64,
    /// Where it is lowest.
    pub lowest_at: Option<Identifier>,
    /// Where it is highest.
    pub highest_at: Option<Identifier>,
    /// Whether it is more than sensors of one air may differ.
    pub wide: bool,
    /// Whether there are just two, so that neither can be outvoted.
    pub pair: bool,
    /// Whether it is one alone that has left others that agree: then it is the sensor, not the air.
    pub outlier: bool,
}

/// How far apart the believed sensors of a place are; `None` where fewer than two are believed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Spreads {
    /// In K.
    pub temperature: Option<Apart>,
    /// As a ratio: 0.05 is five points.
    pub relative_humidity: Option<Apart>,
    /// As a share of the middle.
    pub carbon_dioxide: Option<Apart>,
}

/// The worst that each decision has to reckon with, by disagreement and by age.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Reckoned {
    /// The highest that carbon dioxide may be by what is believed: for fresh air.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// Whether carbon dioxide is suspect or disputed: fresh air is never cut then.
    pub carbon_dioxide_doubted: bool,
    /// The highest carbon dioxide that any sensor says, believed or not: for people.
    pub carbon_dioxide_for_people: Option<CarbonDioxide>,
    /// The wettest that the air may be: for switching the humidifier off. A sensor that rests at the top of its scale
    /// counts here where no other is believed: if it is right after all, more water would run down the walls.
    pub wettest: Option<RelativeHumidity>,
    /// The driest that the air may be: for the water that is needed, and for warnings of dry air.
    pub driest: Option<RelativeHumidity>,
    /// The coldest that the air may be: for frost.
    pub coldest: Option<Temperature>,
}

/// One air made of what the sensors of a place say.
#[derive(Debug, Clone, PartialEq)]
pub struct Fused {
    /// Temperature.
    pub temperature: Reading<Temperature>,
    /// Relative humidity over water.
    pub relative_humidity: Reading<RelativeHumidity>,
    /// Carbon dioxide.
    pub carbon_dioxide: Reading<CarbonDioxide>,
    /// State of the air; `None` unless temperature and humidity are believed.
    pub air: Option<MoistAir>,
    /// How far apart the sensors are.
    pub spread: Spreads,
    /// What decisions reckon with.
    pub reckoned: Reckoned,
}

/// What fusing needs to know of the place.
#[derive(Debug, Clone, Copy)]
pub struct Moment<'a> {
    /// Air pressure.
    pub pressure: Pressure,
    /// How fast carbon dioxide can rise unseen when all air stands still, in ppm per hour.
    pub carbon_dioxide_rise: f64,
    /// The time.
    pub now: &'a Now,
}

/// Fuses the sensors of a place.
pub fn fuse(points: &[Point], moment: &Moment<'_>) -> Fused {
    let temperature = joined(points.iter().map(|point| point.temperature), |values| {
        Temperature::clamped(middle(values.iter().map(|value| value.celsius())))
    });
    let carbon_dioxide = joined(points.iter().map(|point| point.carbon_dioxide), |values| {
        CarbonDioxide::clamped(middle(values.iter().map(|value| value.parts_per_million())))
    });
    let airs: Vec<(&Point, MoistAir)> =
        points.iter().filter_map(|point| Some((point, point.air(moment.pressure)?))).collect();
    let air = temperature.fresh().and_then(|temperature| fused_air(&airs, temperature, moment.pressure));
    let relative_humidity = humidity(points, &airs, air);
    let spread = spread(points);
    let reckoned = Reckoned {
        coldest: coldest(points, spread.temperature.as_ref(), temperature),
        ..reckoned(points, &spread, relative_humidity, moment)
    };
    Fused { temperature, relative_humidity, carbon_dioxide, air, spread, reckoned }
}

/// Fuses readings of one quantity, such as air pressure, of which only the value matters.
pub fn joined<T: Copy>(readings: impl Iterator<Item = Reading<T>>, value: impl FnOnce(&[T]) -> T) -> Reading<T> {
    let mut believed = Vec::new();
    let (mut newest, mut fresh) = (Duration::ZERO, false);
    let mut other = Reading::Never;
    for reading in readings {
        match reading {
            Reading::Fresh { value, at } | Reading::Ageing { value, at } => {
                fresh |= matches!(reading, Reading::Fresh { .. });
                newest = newest.max(at);
                believed.push(value);
            }
            unbelieved if rank(&unbelieved) > rank(&other) => other = unbelieved,
            _ => {}
        }
    }
    match believed.as_slice() {
        [] => other,
        [one] if fresh => Reading::Fresh { value: *one, at: newest },
        [one] => Reading::Ageing { value: *one, at: newest },
        several if fresh => Reading::Fresh { value: value(several), at: newest },
        several => Reading::Ageing { value: value(several), at: newest },
    }
}

/// Which of several readings that are not believed says most of their quantity.
const fn rank<T>(reading: &Reading<T>) -> u8 {
    match reading {
        Reading::Never => 0,
        Reading::Stale { .. } => 1,
        Reading::Rejected { .. } => 2,
        Reading::Suspect { .. } => 3,
        Reading::Ageing { .. } | Reading::Fresh { .. } => 4,
    }
}

/// Median; the mean of the two in the middle where there is an even number. Zero of nothing.
pub fn middle(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    values.sort_by(f64::total_cmp);
    let half = values.len() / 2;
    match values.len() {
        0 => 0.0,
        odd if odd % 2 == 1 => values[half],
        _ => f64::midpoint(values[half - 1], values[half]),
    }
}

fn fused_air(airs: &[(&Point, MoistAir)], temperature: Temperature, pressure: Pressure) -> Option<MoistAir> {
    match airs {
        [] => None,
        [(_, one)] if one.temperature() == temperature => Some(*one),
        several => {
            let ratio = middle(several.iter().map(|(_, air)| air.humidity_ratio().kilograms_per_kilogram()));
            let ratio = crate::units::HumidityRatio::clamped(ratio);
            // The middle of several airs near saturation can lie a little beyond it.
            MoistAir::from_humidity_ratio(temperature, ratio, pressure)
                .or_else(|_| MoistAir::saturated(temperature, pressure))
                .ok()
        }
    }
}

fn humidity(points: &[Point], airs: &[(&Point, MoistAir)], air: Option<MoistAir>) -> Reading<RelativeHumidity> {
    let said = joined(points.iter().map(|point| point.relative_humidity), |values| {
        RelativeHumidity::clamped(middle(values.iter().map(|value| value.ratio())))
    });
    let (Some(air), [(first, _), ..]) = (air, airs) else {
        // Without a temperature beside it, a humidity is only what one sensor says.
        return said;
    };
    let alone = airs.len() == 1 && first.temperature.fresh() == Some(air.temperature());
    let over_water = first.humidity_refers_to == BelowFreezing::Water || air.temperature().celsius() >= 0.0;
    if alone && over_water && first.relative_humidity.fresh().is_some() {
        return first.relative_humidity;
    }
    let value = air.relative_humidity();
    let heard = airs.iter().flat_map(|(point, _)| {
        let dew_point = point.dew_point.and_then(|_| Some(value));
        if point.relative_humidity.fresh().is_some() {
            [point.relative_humidity, Reading::Never]
        } else {
            [dew_point; 2]
        }
    });
    joined(heard, |_| value).and_then(|_| Some(value))
}

fn spread(points: &[Point]) -> Spreads {
    let of = |value: fn(&Point) -> Option<f64>| -> Vec<(f64, &Option<Identifier>)> {
        points.iter().filter_map(|point| Some((value(point)?, &point.position))).collect()
    };
    let carbon_dioxide = of(|point| Some(point.carbon_dioxide.fresh()?.parts_per_million()));
    let half = middle(carbon_dioxide.iter().map(|(value, _)| *value));
    Spreads {
        temperature: apart(
            &of(|point| Some(point.temperature.fresh()?.celsius())),
            1.0,
            (WIDE_TEMPERATURE, Quantity::Temperature),
        ),
        relative_humidity: apart(
            &of(|point| Some(point.relative_humidity.fresh()?.ratio())),
            1.0,
            (WIDE_HUMIDITY, Quantity::RelativeHumidity),
        ),
        carbon_dioxide: apart(&carbon_dioxide, half.max(1.0), (WIDE_CARBON_DIOXIDE, Quantity::CarbonDioxide))
            .map(|apart| Apart { wide: apart.wide && apart.difference * half > CARBON_DIOXIDE_TOLERANCE, ..apart }),
    }
}

fn apart(values: &[(f64, &Option<Identifier>)], scale: f64, limit: (f64, Quantity)) -> Option<Apart> {
    let (wide, quantity) = limit;
    let lowest = values.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let highest = values.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    if values.len() < 2 {
        return None;
    }
    let difference = (highest.0 - lowest.0) / scale;
    Some(Apart {
        difference,
        lowest_at: lowest.1.clone(),
        highest_at: highest.1.clone(),
        wide: difference > wide,
        pair: values.len() == 2,
        outlier: is_outlier(values, quantity),
    })
}

/// Whether all but the one furthest from the middle agree, and that one has left them.
fn is_outlier(values: &[(f64, &Option<Identifier>)], quantity: Quantity) -> bool {
    if values.len() < 3 {
        return false;
    }
    let mut sorted: Vec<f64> = values.iter().map(|(value, _)| *value).collect();
    sorted.sort_by(f64::total_cmp);
    let half = middle(sorted.iter().copied());
    let low = half - sorted[0] > sorted[sorted.len() - 1] - half;
    let others = if low { &sorted[1..] } else { &sorted[..sorted.len() - 1] };
    let alone = if low { sorted[0] } else { sorted[sorted.len() - 1] };
    let theirs = middle(others.iter().copied());
    let (close, far) = detect::apart(quantity, theirs);
    others[others.len() - 1] - others[0] <= close && (alone - theirs).abs() > far
}

fn disputed(apart: Option<&Apart>) -> bool {
    apart.is_some_and(|apart| apart.pair && apart.wide)
}

fn reckoned(points: &[Point], spread: &Spreads, fused: Reading<RelativeHumidity>, moment: &Moment<'_>) -> Reckoned {
    let hours = |at: Duration| moment.now.since(at).as_secs_f64() / 3_600.0;
    let worst_gas = |reading: &Reading<CarbonDioxide>| {
        let ppm = reading.heard()?.parts_per_million();
        let ageing = matches!(reading, Reading::Ageing { .. });
        Some(ppm + if ageing { hours(reading.at()?) * moment.carbon_dioxide_rise } else { 0.0 })
    };
    let believed: Vec<f64> = points
        .iter()
        .filter(|point| point.carbon_dioxide.fresh().is_some())
        .filter_map(|point| worst_gas(&point.carbon_dioxide))
        .collect();
    let pair = disputed(spread.carbon_dioxide.as_ref());
    let gas = if pair { highest(&believed) } else { (!believed.is_empty()).then(|| middle(believed.iter().copied())) };
    // Beyond the top of a scale there may be any amount more.
    let for_people = |reading: &Reading<CarbonDioxide>| match reading.fault() {
        Some(Fault::OverRange) => Some(people::beyond(reading.heard()?).parts_per_million()),
        _ => worst_gas(reading),
    };
    let all: Vec<f64> = points.iter().filter_map(|point| for_people(&point.carbon_dioxide)).collect();
    let suspect = points.iter().any(|point| point.carbon_dioxide.fault().is_some());
    // Age makes no reading believable that is not so when it is fresh.
    let impossible = points
        .iter()
        .any(|point| point.carbon_dioxide.fresh().is_some_and(|value| value.parts_per_million() < BELOW_OUTDOOR));

    let humidities = |worst: fn(f64, f64) -> f64| {
        let values = points.iter().filter_map(|point| Some(point.relative_humidity.fresh()?.ratio()));
        let value =
            if disputed(spread.relative_humidity.as_ref()) { values.reduce(worst)? } else { fused.fresh()?.ratio() };
        let moved = if let Reading::Ageing { at, .. } = fused { hours(at) * HUMIDITY_PER_HOUR } else { 0.0 };
        Some(RelativeHumidity::clamped(value + moved * worst(1.0, -1.0)))
    };
    let pinned = || {
        let resting = points.iter().filter(|point| {
            matches!(point.relative_humidity.fault(), Some(Fault::Pinned | Fault::Stuck | Fault::Wetted))
        });
        resting.filter_map(|point| point.relative_humidity.heard()).reduce(|a, b| if a > b { a } else { b })
    };
    Reckoned {
        carbon_dioxide: gas.map(CarbonDioxide::clamped),
        carbon_dioxide_doubted: pair || impossible || (suspect && gas.is_none()),
        carbon_dioxide_for_people: highest(&all).map(CarbonDioxide::clamped),
        wettest: humidities(f64::max).or_else(pinned),
        driest: humidities(f64::min),
        coldest: None,
    }
}

fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().reduce(f64::max)
}

fn coldest(points: &[Point], apart: Option<&Apart>, fused: Reading<Temperature>) -> Option<Temperature> {
    if !disputed(apart) {
        return fused.fresh();
    }
    points.iter().filter_map(|point| point.temperature.fresh()).reduce(|a, b| if a < b { a } else { b })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn now() -> Now {
        Now { elapsed: Duration::from_secs(3_600), wall: jiff::Timestamp::UNIX_EPOCH, trusted: true }
    }

    fn moment(now: &Now) -> Moment<'_> {
        Moment { pressure: Pressure::from_pascals(98_000.0).unwrap(), carbon_dioxide_rise: 1_200.0, now }
    }

    fn fresh<T>(value: T) -> Reading<T> {
        Reading::Fresh { value, at: Duration::from_secs(3_590) }
    }

    fn point(name: &str, celsius: f64, percent: f64, ppm: f64) -> Point {
        Point {
            temperature: fresh(Temperature::from_celsius(celsius).unwrap()),
            relative_humidity: fresh(RelativeHumidity::from_percent(percent).unwrap()),
            carbon_dioxide: fresh(CarbonDioxide::from_parts_per_million(ppm).unwrap()),
            ..Point::silent(Some(Identifier::new(name).unwrap()))
        }
    }

    fn fused(points: &[Point]) -> Fused {
        fuse(points, &moment(&now()))
    }

    #[test]
    fn one_sensor_is_taken_at_its_word() {
        let air = fused(&[point("rack", 16.0, 91.7, 800.0)]);
        assert_eq!(air.relative_humidity.fresh(), RelativeHumidity::from_percent(91.7).ok());
        assert_eq!(air.temperature.fresh(), Temperature::from_celsius(16.0).ok());
        assert_eq!(air.spread, Spreads::default());
        assert_eq!(air.reckoned.wettest, air.reckoned.driest);
    }

    #[test]
    fn humidity_is_fused_as_water_and_not_as_relative_humidity() {
        // Two ends of a room at the same vapour content: 14 °C at 95 % is 18 °C at 73.6 %. At 16 °C that is 83.5 %, while
        // the mean of the two percentages would be 84.3 %.
        let ends = [point("cold-end", 14.0, 95.0, 800.0), point("warm-end", 18.0, 73.6, 800.0)];
        let middle = fused(&ends).relative_humidity.fresh().unwrap().percent();
        assert!((middle - 83.55).abs() < 0.1, "{middle}");
    }

    #[test]
    fn of_two_that_disagree_each_decision_reckons_with_the_worse_one() {
        let air = fused(&[point("floor", 14.0, 93.0, 1_400.0), point("top-shelf", 16.1, 84.0, 800.0)]);
        let Reckoned { carbon_dioxide, carbon_dioxide_doubted, wettest, driest, coldest, .. } = air.reckoned;
        assert_eq!(carbon_dioxide.map(CarbonDioxide::parts_per_million), Some(1_400.0));
        assert!(carbon_dioxide_doubted, "fresh air may be cut while two sensors disagree");
        assert_eq!(wettest.map(|value| value.percent().round()), Some(93.0));
        assert_eq!(driest.map(|value| value.percent().round()), Some(84.0));
        assert_eq!(coldest.map(Temperature::celsius), Some(14.0));
        let apart = air.spread.temperature.unwrap();
        assert!((apart.difference - 2.1).abs() < 1e-9 && apart.wide);
        assert_eq!(apart.highest_at.unwrap().as_str(), "top-shelf");
    }

    #[test]
    fn two_that_agree_are_not_called_a_dispute() {
        let air = fused(&[point("floor", 15.8, 90.0, 850.0), point("top-shelf", 16.2, 88.0, 780.0)]);
        assert_eq!(air.reckoned.carbon_dioxide.map(CarbonDioxide::parts_per_million), Some(815.0));
        assert!(!air.reckoned.carbon_dioxide_doubted);
        assert_eq!(air.reckoned.wettest, air.reckoned.driest);
    }

    #[test]
    fn an_ageing_reading_is_taken_as_the_worst_that_it_could_be_by_now() {
        let mut rack = point("rack", 16.0, 90.0, 800.0);
        let at = Duration::from_secs(3_600 - 450);
        rack.carbon_dioxide = Reading::Ageing { value: rack.carbon_dioxide.fresh().unwrap(), at };
        rack.relative_humidity = Reading::Ageing { value: rack.relative_humidity.fresh().unwrap(), at };
        let air = fused(&[rack]);
        // An eighth of an hour at 1,200 ppm an hour, and at 20 points an hour both ways.
        assert_eq!(air.reckoned.carbon_dioxide.map(|value| value.parts_per_million().round()), Some(950.0));
        assert_eq!(air.reckoned.wettest.map(|value| (value.percent() * 10.0).round()), Some(925.0));
        assert_eq!(air.reckoned.driest.map(|value| (value.percent() * 10.0).round()), Some(875.0));
        assert_eq!(air.carbon_dioxide.fresh().map(CarbonDioxide::parts_per_million), Some(800.0));
        assert_eq!(air.carbon_dioxide.state(), "ageing");
    }

    #[test]
    fn a_suspect_sensor_is_outside_the_fusion_and_still_heard_for_people() {
        let mut liar = point("door", 16.0, 90.0, 20_000.0);
        liar.carbon_dioxide = liar.carbon_dioxide.suspected(Fault::Drift);
        let air = fused(&[liar.clone(), point("floor", 16.0, 90.0, 900.0)]);
        assert_eq!(air.carbon_dioxide.fresh().map(CarbonDioxide::parts_per_million), Some(900.0));
        assert_eq!(air.reckoned.carbon_dioxide_for_people.map(CarbonDioxide::parts_per_million), Some(20_000.0));
        assert!(!air.reckoned.carbon_dioxide_doubted);
        let alone = fused(&[liar]);
        assert!(alone.reckoned.carbon_dioxide.is_none() && alone.reckoned.carbon_dioxide_doubted);
        assert_eq!(alone.carbon_dioxide.state(), "suspect");
    }

    #[test]
    fn a_sensor_pinned_at_the_top_keeps_the_humidifier_off_where_no_other_is_believed() {
        let mut pinned = point("rack", 16.0, 100.0, 800.0);
        pinned.relative_humidity = pinned.relative_humidity.suspected(Fault::Pinned);
        assert_eq!(fused(&[pinned.clone()]).reckoned.wettest.map(|value| value.percent()), Some(100.0));
        let beside = fused(&[pinned, point("floor", 16.0, 88.0, 800.0)]);
        assert_eq!(beside.reckoned.wettest.map(|value| value.percent()), Some(88.0));
    }

    #[test]
    fn a_dew_point_stands_in_for_a_humidity_that_is_not_there() {
        let mut mirror = Point::silent(None);
        mirror.temperature = fresh(Temperature::from_celsius(16.0).unwrap());
        mirror.dew_point = fresh(Temperature::from_celsius(14.36).unwrap());
        // 14.36 °C is the dew point of 16 °C at 90 %, by the Magnus form of the WMO's guide (No. 8, annex 4.B).
        let humidity = fused(&[mirror]).relative_humidity.fresh().unwrap().percent();
        assert!((humidity - 90.0).abs() < 0.2, "{humidity}");
    }

    #[test]
    fn a_humidity_over_ice_is_shown_over_water() {
        let mut yard = point("yard", -10.0, 90.0, 430.0);
        yard.humidity_refers_to = BelowFreezing::Ice;
        // At −10 °C ice is in equilibrium with 90.7 % over water (Murphy and Koop 2005, from both equations).
        let humidity = fused(&[yard]).relative_humidity.fresh().unwrap().percent();
        assert!((humidity - 0.907 * 90.0).abs() < 0.2, "{humidity}");
    }

    proptest! {
        #[test]
        fn one_liar_in_three_never_moves_the_air_past_the_honest_two(
            celsius in 2.0..25.0_f64, percent in 40.0..97.0_f64, ppm in 400.0..4_000.0_f64,
            apart in (-0.8..0.8_f64, -3.0..3.0_f64, -0.1..0.1_f64),
            lie in (-20.0..40.0_f64, 0.0..104.0_f64, 0.0..60_000.0_f64), seat in 0..3_usize,
        ) {
            let honest = [
                point("a", celsius, percent, ppm),
                point("b", celsius + apart.0, percent + apart.1.min(99.0 - percent), ppm * (1.0 + apart.2)),
            ];
            let mut points = honest.to_vec();
            points.insert(seat.min(2), point("liar", lie.0, lie.1, lie.2));
            let air = fused(&points);
            let pressure = Pressure::from_pascals(98_000.0).unwrap();
            let between = |value: f64, a: f64, b: f64| (a.min(b) - 1e-9..=a.max(b) + 1e-9).contains(&value);
            let temperatures = honest.each_ref().map(|point| point.temperature.fresh().unwrap().celsius());
            prop_assert!(between(air.temperature.fresh().unwrap().celsius(), temperatures[0], temperatures[1]));
            let water =
                honest.each_ref().map(|point| point.air(pressure).unwrap().humidity_ratio().kilograms_per_kilogram());
            let ratio = air.air.unwrap().humidity_ratio().kilograms_per_kilogram();
            // Cut at saturation, it may be drier than both.
            let saturated = air.air.unwrap().relative_humidity().ratio() > 0.999_999;
            prop_assert!(saturated || between(ratio, water[0], water[1]), "{ratio} by {water:?}");
            let gas = honest.each_ref().map(|point| point.carbon_dioxide.fresh().unwrap().parts_per_million());
            prop_assert!(between(air.carbon_dioxide.fresh().unwrap().parts_per_million(), gas[0], gas[1]));
        }
    }
}
