//! What a forecast is worth at this farm: its offset against the farm's own outdoor sensor, and its spread.
//!
//! A forecast is made for a square of kilometres; the farm stands in a hollow or on a slope of it. What the sensor
//! differs from the forecast now, it will differ in the next hours too, less and less. Temperature is shifted by a
//! difference, vapour pressure by a ratio, because moisture follows temperature by ratios; the result is never moister
//! than saturation.

use jiff::{SignedDuration, Timestamp};

use super::forecast::{Forecast, ForecastPoint, OutdoorAir};
use crate::{
    physics::MoistAir,
    units::{Fraction, Pressure, Temperature, TemperatureDifference, VapourPressure},
};

/// An offset says nothing of a moment that lies further ahead of its measurement than this.
const OFFSET_LASTS: SignedDuration = SignedDuration::from_hours(12);
/// Offsets are averaged over about this long, in seconds: gusts and passing clouds are no property of the place.
const AVERAGED_OVER: f64 = 3_600.0;
/// A measurement after a longer pause than this starts a new offset.
const STARTS_ANEW: SignedDuration = SignedDuration::from_hours(3);
/// Largest offset of the temperature that is believed, in K. Cold air pools in hollows this deep and no deeper on most
/// nights (common experience, no source); more is a sensor in the sun or another place's forecast.
const LARGEST_OFFSET: f64 = 10.0;
/// Largest ratio of vapour pressures that is believed, and the inverse of the smallest. Ten kelvins of dew point are a
/// ratio of two.
const LARGEST_RATIO: f64 = 2.0;
/// Corrected temperatures stay within these, in °C: where saturation over water is known.
const TEMPERATURES: std::ops::RangeInclusive<f64> = -60.0..=60.0;

/// How far the farm's outdoor air differs from the forecast for the same moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    kelvins: f64,
    ratio: f64,
    at: Timestamp,
}

impl Offset {
    /// What was `measured` against what was `forecast` for the moment `at`; within ±10 K and a factor of two.
    pub fn between(measured: OutdoorAir, forecast: OutdoorAir, at: Timestamp) -> Self {
        let kelvins = measured.temperature.minus(forecast.temperature).kelvins();
        let ratio = measured.vapour_pressure.pascals() / forecast.vapour_pressure.pascals();
        // Neither is moist enough to compare if the ratio is no number.
        let ratio = if ratio.is_finite() { ratio } else { 1.0 };
        Self {
            kelvins: kelvins.clamp(-LARGEST_OFFSET, LARGEST_OFFSET),
            ratio: ratio.clamp(1.0 / LARGEST_RATIO, LARGEST_RATIO),
            at,
        }
    }

    /// This offset moved towards a `newer` one: by two thirds in an hour. A newer one that comes after more than three
    /// hours, or from before this one, stands alone.
    #[must_use]
    pub fn towards(self, newer: Self) -> Self {
        let pause = newer.at.duration_since(self.at);
        if pause.is_negative() || pause > STARTS_ANEW {
            return newer;
        }
        let share = 1.0 - (-pause.as_secs_f64() / AVERAGED_OVER).exp();
        Self {
            kelvins: self.kelvins + share * (newer.kelvins - self.kelvins),
            ratio: (self.ratio.ln() + share * (newer.ratio.ln() - self.ratio.ln())).exp(),
            at: newer.at,
        }
    }

    /// The same offset against a `new` forecast that takes the place of an `old` one, both for the present.
    #[must_use]
    pub fn rebased(self, old: OutdoorAir, new: OutdoorAir) -> Self {
        let between = Self::between(old, new, self.at);
        Self {
            kelvins: (self.kelvins + between.kelvins).clamp(-LARGEST_OFFSET, LARGEST_OFFSET),
            ratio: (self.ratio * between.ratio).clamp(1.0 / LARGEST_RATIO, LARGEST_RATIO),
            at: self.at,
        }
    }

    /// By how much the farm is warmer than forecast.
    pub fn temperature(&self) -> TemperatureDifference {
        TemperatureDifference::clamped(self.kelvins)
    }

    /// By how much the vapour pressure at the farm is higher than forecast, in percent of the forecast's.
    pub fn vapour_percent(&self) -> f64 {
        (self.ratio - 1.0) * 100.0
    }

    /// When it was measured.
    pub const fn at(&self) -> Timestamp {
        self.at
    }

    /// How much of it still holds at `moment`: all of it when measured, nothing twelve hours later.
    pub fn weight(&self, moment: Timestamp) -> Fraction {
        let ahead = moment.duration_since(self.at).as_secs_f64();
        Fraction::clamped(1.0 - ahead / OFFSET_LASTS.as_secs_f64())
    }
}

/// How far the truth may lie from a forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct Spread {
    /// In rising order of lead time, at least one.
    rows: Vec<SpreadRow>,
}

/// Errors of forecasts at one lead time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpreadRow {
    /// From the forecast to the moment that it is for.
    pub lead: SignedDuration,
    /// Mean absolute error of the temperature.
    pub temperature: TemperatureDifference,
    /// Mean absolute error of the vapour pressure, as a share of it.
    pub vapour: Fraction,
    /// By how much it turns out colder than forecast, on average, where frost is forecast.
    pub colder_in_frost: TemperatureDifference,
    /// Whether it is this farm's own score rather than the published one.
    pub own: bool,
}

/// How far from the forecast the two other cases lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Margin {
    /// Subtracted in the colder and drier case.
    pub colder: TemperatureDifference,
    /// Subtracted there once more where frost is forecast.
    pub colder_in_frost: TemperatureDifference,
    /// Added in the milder case.
    pub milder: TemperatureDifference,
    /// Share of the vapour pressure that is missing in the colder and drier case, and added in the milder one.
    pub vapour: Fraction,
}

impl Spread {
    /// Errors of this many mean absolute errors, in one direction, are exceeded by one forecast in ten, where errors
    /// are distributed normally: 1.2816 standard deviations of √(π/2) mean absolute errors each.
    pub const ONE_IN_TEN: f64 = 1.606;
    /// Vapour pressure at saturation changes by this share per kelvin near and below freezing.
    const VAPOUR_PER_KELVIN: f64 = 0.07;
    /// By how much frost nights run colder than forecast, in K, by published verification.
    const FROST: f64 = 0.9;

    /// From published verification of point forecasts of temperature: a mean absolute error of 1.2 K after 24 hours and
    /// of 1.4 K after 48, which lie on a straight line from 1.0 K. For vapour pressure no figure is at hand: it is what
    /// the same error of the dew point makes.
    pub fn published() -> Self {
        let row = |hours: i64| {
            let kelvins = Self::published_kelvins(hours);
            SpreadRow {
                lead: SignedDuration::from_hours(hours),
                temperature: TemperatureDifference::clamped(kelvins),
                vapour: Fraction::clamped(kelvins * Self::VAPOUR_PER_KELVIN),
                colder_in_frost: TemperatureDifference::clamped(Self::FROST),
                own: false,
            }
        };
        Self { rows: [0, 24, 48, 72].map(row).to_vec() }
    }

    /// Of the last days carried on ([`persistence`](super::persistence)): computed by the same rule over the winter hours
    /// (October to April, 10,000 of each lead time) of 2015 and 2016 at station 725300, NOAA ISD-Lite, a continental
    /// climate. Frost does not turn out colder than so forecast, but 0.7 K milder.
    pub fn persistence() -> Self {
        let rows = [
            (1, 1.1, 0.09),
            (3, 1.6, 0.12),
            (6, 2.3, 0.17),
            (12, 3.1, 0.25),
            (24, 3.8, 0.34),
            (36, 4.6, 0.40),
            (48, 4.8, 0.43),
            (72, 5.1, 0.46),
        ];
        let rows = rows.map(|(hours, kelvins, vapour)| SpreadRow {
            lead: SignedDuration::from_hours(hours),
            temperature: TemperatureDifference::clamped(kelvins),
            vapour: Fraction::clamped(vapour),
            colder_in_frost: TemperatureDifference::clamped(0.0),
            own: false,
        });
        Self { rows: rows.to_vec() }
    }

    #[expect(clippy::cast_precision_loss, reason = "hours ahead are few")]
    fn published_kelvins(hours: i64) -> f64 {
        1.0 + 0.2 * hours as f64 / 24.0
    }

    /// With `own` rows in the place of this spread's for the same lead times. Beyond the last own row errors do not grow
    /// smaller again.
    #[must_use]
    pub fn with_own(&self, own: Vec<SpreadRow>) -> Self {
        let Some(last) = own.iter().max_by_key(|row| row.lead).copied() else { return self.clone() };
        let mut rows: Vec<SpreadRow> = super::score::LEADS
            .iter()
            .map(|hours| self.row(SignedDuration::from_hours(*hours)))
            .chain(self.rows.iter().copied().filter(|row| row.lead > last.lead))
            .map(|row| own.iter().find(|own| own.lead == row.lead).copied().unwrap_or(row))
            .map(|row| if row.lead > last.lead { row.at_least(&last) } else { row })
            .collect();
        rows.sort_by_key(|row| row.lead);
        rows.dedup_by_key(|row| row.lead);
        Self { rows }
    }

    /// Whether it rests on this farm's own score.
    pub fn is_own(&self) -> bool {
        self.rows.iter().any(|row| row.own)
    }

    /// The errors of a forecast of this lead time: linear between the rows, level beyond them.
    pub fn row(&self, lead: SignedDuration) -> SpreadRow {
        let after = self.rows.partition_point(|row| row.lead < lead);
        let right = self.rows[after.min(self.rows.len() - 1)];
        let left = self.rows[after.saturating_sub(1)];
        let step = right.lead.saturating_sub(left.lead).as_secs_f64();
        let share = if step > 0.0 { (lead - left.lead).as_secs_f64() / step } else { 0.0 };
        let share = share.clamp(0.0, 1.0);
        let between = |a: f64, b: f64| a + share * (b - a);
        let kelvins = |of: fn(&SpreadRow) -> TemperatureDifference| {
            TemperatureDifference::clamped(between(of(&left).kelvins(), of(&right).kelvins()))
        };
        SpreadRow {
            lead,
            temperature: kelvins(|row| row.temperature),
            vapour: Fraction::clamped(between(left.vapour.ratio(), right.vapour.ratio())),
            colder_in_frost: kelvins(|row| row.colder_in_frost),
            own: left.own && right.own,
        }
    }

    /// How far the cases lie from a forecast of this lead time.
    pub fn at(&self, lead: SignedDuration) -> Margin {
        let row = self.row(lead);
        let kelvins = TemperatureDifference::clamped(Self::ONE_IN_TEN * row.temperature.kelvins());
        Margin {
            colder: kelvins,
            colder_in_frost: row.colder_in_frost,
            milder: kelvins,
            vapour: Fraction::clamped(Self::ONE_IN_TEN * row.vapour.ratio()),
        }
    }
}

impl SpreadRow {
    /// With errors no smaller than `other`'s.
    fn at_least(self, other: &Self) -> Self {
        let larger = |a: f64, b: f64| a.max(b);
        Self {
            temperature: TemperatureDifference::clamped(larger(
                self.temperature.kelvins(),
                other.temperature.kelvins(),
            )),
            vapour: Fraction::clamped(larger(self.vapour.ratio(), other.vapour.ratio())),
            ..self
        }
    }
}

impl Default for Spread {
    fn default() -> Self {
        Self::published()
    }
}

/// Which of the three weathers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Case {
    /// As forecast, corrected by the offset.
    Expected,
    /// Colder and drier: one night in ten is worse.
    ColderAndDrier,
    /// Milder and moister: one night in ten is more so.
    Milder,
}

/// A forecast as this farm should read it.
#[derive(Debug, Clone, Copy)]
pub struct CorrectedForecast<'a> {
    /// As the service made it.
    pub forecast: &'a Forecast,
    /// What the farm's own sensor differs from it, if there is one.
    pub offset: Option<Offset>,
    /// How far the other cases lie from it.
    pub spread: &'a Spread,
    /// When it was fetched or last confirmed: errors grow from there, so that an old forecast spreads wider.
    pub made: Timestamp,
    /// Air pressure at the site.
    pub pressure: Pressure,
}

impl CorrectedForecast<'_> {
    /// The air outdoors at any moment inside the forecast, never moister than saturation at the site's pressure; `None`
    /// where [`Forecast::at`] says nothing.
    pub fn at(&self, moment: Timestamp, case: Case) -> Option<ForecastPoint> {
        Some(self.shift(self.forecast.at(moment)?, case))
    }

    /// The whole forecast as it is in one case: every moment of it, corrected.
    pub fn series(&self, case: Case) -> Forecast {
        self.forecast.with_points(|point| self.shift(point, case))
    }

    fn shift(&self, point: ForecastPoint, case: Case) -> ForecastPoint {
        let moment = point.at;
        let (mut kelvins, mut ratio) = (0.0, 1.0);
        if let Some(offset) = self.offset {
            let weight = offset.weight(moment).ratio();
            kelvins += weight * offset.kelvins;
            ratio *= offset.ratio.powf(weight);
        }
        let margin = || self.spread.at(moment.duration_since(self.made).max(SignedDuration::ZERO));
        match case {
            Case::Expected => {}
            Case::ColderAndDrier => {
                let margin = margin();
                let frost = point.air.temperature.celsius() + kelvins <= 0.0;
                let more = if frost { margin.colder_in_frost.kelvins() } else { 0.0 };
                kelvins -= margin.colder.kelvins() + more;
                // Moisture can halve within a night, not vanish.
                ratio *= ((1.0 - margin.vapour.ratio()) * (1.0 - more * Spread::VAPOUR_PER_KELVIN)).max(0.5);
            }
            Case::Milder => {
                let margin = margin();
                kelvins += margin.milder.kelvins();
                ratio *= 1.0 + margin.vapour.ratio();
            }
        }
        ForecastPoint { air: shifted(point.air, kelvins, ratio, self.pressure), ..point }
    }
}

/// `air` warmer by `kelvins`, with its vapour pressure times `ratio`, at most saturated.
fn shifted(air: OutdoorAir, kelvins: f64, ratio: f64, pressure: Pressure) -> OutdoorAir {
    let celsius = (air.temperature.celsius() + kelvins).clamp(*TEMPERATURES.start(), *TEMPERATURES.end());
    let temperature = Temperature::clamped(celsius);
    let pascals = air.vapour_pressure.pascals() * ratio;
    let saturated =
        MoistAir::saturated(temperature, pressure).map_or(f64::INFINITY, |air| air.vapour_pressure().pascals());
    OutdoorAir { temperature, vapour_pressure: VapourPressure::clamped(pascals.min(saturated)) }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::{
        model::Service,
        units::{Elevation, RelativeHumidity},
    };

    fn moment(hours: i64) -> Timestamp {
        Timestamp::from_second(hours * 3_600).unwrap()
    }

    fn air(celsius: f64, percent: f64) -> OutdoorAir {
        OutdoorAir::from_relative_humidity(
            Temperature::from_celsius(celsius).unwrap(),
            RelativeHumidity::from_percent(percent).unwrap(),
            Elevation::from_metres(0.0).unwrap(),
        )
        .unwrap()
    }

    fn level(celsius: f64, percent: f64) -> Forecast {
        let points = (0..=72).map(|hour| ForecastPoint {
            at: moment(hour),
            air: air(celsius, percent),
            sea_level_pressure: None,
            wind: None,
        });
        Forecast::new(Service::PERSISTENCE, None, points.collect()).unwrap()
    }

    fn corrected<'a>(forecast: &'a Forecast, spread: &'a Spread, offset: Option<Offset>) -> CorrectedForecast<'a> {
        let pressure = Pressure::from_pascals(101_325.0).unwrap();
        CorrectedForecast { forecast, offset, spread, made: moment(0), pressure }
    }

    fn celsius(forecast: &CorrectedForecast<'_>, hours: i64, case: Case) -> f64 {
        forecast.at(moment(hours), case).unwrap().air.temperature.celsius()
    }

    #[test]
    fn the_offset_holds_now_halves_in_six_hours_and_is_gone_after_twelve() {
        let (forecast, spread) = (level(-8.0, 80.0), Spread::published());
        let offset = Offset::between(air(-12.0, 80.0), air(-8.0, 80.0), moment(0));
        let corrected = corrected(&forecast, &spread, Some(offset));
        for (hours, expected) in [(0, -12.0), (6, -10.0), (9, -9.0), (12, -8.0), (13, -8.0), (48, -8.0)] {
            let found = celsius(&corrected, hours, Case::Expected);
            assert!((found - expected).abs() < 1e-9, "{found} after {hours} h");
        }
        let vapour = |hours| corrected.at(moment(hours), Case::Expected).unwrap().air.vapour_pressure.pascals();
        assert!((vapour(0) - air(-12.0, 80.0).vapour_pressure.pascals()).abs() < 1e-9);
        assert!((vapour(12) - air(-8.0, 80.0).vapour_pressure.pascals()).abs() < 1e-9);
    }

    #[test]
    fn an_offset_follows_the_sensor_within_hours_and_forgets_across_a_long_pause() {
        let flat = Offset::between(air(0.0, 80.0), air(0.0, 80.0), moment(0));
        let colder = |hours| Offset::between(air(-6.0, 80.0), air(0.0, 80.0), moment(hours));
        let after_one = flat.towards(colder(1)).temperature().kelvins();
        assert!((-3.9..-3.7).contains(&after_one), "{after_one}: two thirds were expected");
        assert_eq!(flat.towards(colder(4)), colder(4));
        assert_eq!(colder(4).towards(flat), flat, "a clock that was set back");
    }

    #[test]
    fn a_new_forecast_that_is_right_where_the_old_one_erred_takes_the_offset_away() {
        let offset = Offset::between(air(-6.0, 80.0), air(-2.0, 80.0), moment(0));
        let rebased = offset.rebased(air(-2.0, 80.0), air(-6.0, 80.0));
        assert!(rebased.temperature().kelvins().abs() < 1e-9);
        assert!(rebased.vapour_percent().abs() < 1e-9);
        let worse = offset.rebased(air(-2.0, 80.0), air(1.0, 80.0));
        assert!((worse.temperature().kelvins() + 7.0).abs() < 1e-9);
    }

    #[test]
    fn a_series_holds_what_its_moments_hold_one_by_one() {
        let (forecast, spread) = (level(-8.0, 80.0), Spread::published());
        let offset = Offset::between(air(-12.0, 90.0), air(-8.0, 80.0), moment(0));
        let corrected = corrected(&forecast, &spread, Some(offset));
        let series = corrected.series(Case::ColderAndDrier);
        for hours in [0, 5, 30, 72] {
            assert_eq!(series.at(moment(hours)), corrected.at(moment(hours), Case::ColderAndDrier));
        }
        assert_eq!(series.ends(), forecast.ends());
    }

    #[test]
    fn a_sensor_in_the_sun_shifts_the_forecast_by_no_more_than_ten_kelvins() {
        let offset = Offset::between(air(30.0, 20.0), air(2.0, 80.0), moment(0));
        assert!((offset.temperature().kelvins() - 10.0).abs() < 1e-9);
        assert!(offset.vapour_percent() <= 100.0);
    }

    #[test]
    fn the_published_errors_are_those_of_24_and_of_48_hours() {
        let spread = Spread::published();
        for (hours, kelvins) in [(24, 1.2), (48, 1.4), (36, 1.3), (200, 1.6)] {
            let margin = spread.at(SignedDuration::from_hours(hours));
            assert!((margin.colder.kelvins() - Spread::ONE_IN_TEN * kelvins).abs() < 1e-9, "{hours} h");
        }
        assert!(!spread.is_own());
    }

    #[test]
    fn the_colder_case_is_colder_still_where_frost_is_forecast() {
        let spread = Spread::published();
        for (forecast_celsius, more) in [(4.0, 0.0), (-4.0, 0.9)] {
            let forecast = level(forecast_celsius, 80.0);
            let corrected = corrected(&forecast, &spread, None);
            let below = forecast_celsius - celsius(&corrected, 24, Case::ColderAndDrier);
            assert!((below - Spread::ONE_IN_TEN * 1.2 - more).abs() < 1e-9, "{below}");
            let above = celsius(&corrected, 24, Case::Milder) - forecast_celsius;
            assert!((above - Spread::ONE_IN_TEN * 1.2).abs() < 1e-9, "{above}");
        }
    }

    #[test]
    fn an_old_forecast_spreads_wider_than_a_young_one() {
        let (forecast, spread) = (level(5.0, 80.0), Spread::published());
        let young = CorrectedForecast { made: moment(24), ..corrected(&forecast, &spread, None) };
        let old = corrected(&forecast, &spread, None);
        assert!(celsius(&old, 30, Case::ColderAndDrier) < celsius(&young, 30, Case::ColderAndDrier));
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn no_offset_and_no_case_makes_air_moister_than_saturation_or_puts_the_cases_out_of_order(
            measured in -45.0..35.0_f64,
            measured_percent in 1.0..100.0_f64,
            forecast_celsius in -45.0..35.0_f64,
            percent in 1.0..100.0_f64,
            hours in 0..72_i64,
        ) {
            let (forecast, spread) = (level(forecast_celsius, percent), Spread::published());
            let offset =
                Offset::between(air(measured, measured_percent), air(forecast_celsius, percent), moment(0));
            let corrected = corrected(&forecast, &spread, Some(offset));
            let all = [Case::ColderAndDrier, Case::Expected, Case::Milder]
                .map(|case| corrected.at(moment(hours), case).unwrap().air);
            for air in all {
                let saturated = MoistAir::saturated(air.temperature, corrected.pressure).unwrap();
                prop_assert!(air.vapour_pressure.pascals() <= saturated.vapour_pressure().pascals());
                prop_assert!(air.vapour_pressure.pascals() > 0.0);
                prop_assert!(air.at_pressure(corrected.pressure).is_ok());
            }
            for pair in all.windows(2) {
                prop_assert!(pair[0].temperature < pair[1].temperature);
                prop_assert!(pair[0].vapour_pressure <= pair[1].vapour_pressure);
            }
        }
    }
}
