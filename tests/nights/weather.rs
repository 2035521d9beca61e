//! Real winter nights, and forecasts of them that err as published forecasts do.

use jiff::{SignedDuration, Timestamp, civil::date, tz::TimeZone};
use mistwright::{
    model::{Forecast, ForecastPoint, OutdoorAir, Service},
    units::{Elevation, Temperature},
};

use super::chance::Chance;

/// Where the hours were observed; see `tests/data/README.md`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Inland, damp, with long frosts.
    Chicago,
    /// 1,540 m high and dry, with frost in most nights and thaw in most days.
    Longmont,
    /// By the sea, about freezing.
    Newark,
}

impl Place {
    fn hours(self) -> &'static str {
        match self {
            Self::Chicago => include_str!("../data/isd-lite-725300-winters.txt"),
            Self::Longmont => include_str!("../data/isd-720538-winters.txt"),
            Self::Newark => include_str!("../data/newark-2013-winters.txt"),
        }
    }
}

/// Hours of a station, `None` where it was silent.
pub struct Station {
    pub place: Place,
    first: Timestamp,
    /// °C and dew point over water, hour by hour; a gap between months holds nothing.
    hours: Vec<Option<(f64, f64)>>,
}

impl Station {
    pub fn read(place: Place) -> Self {
        let mut first = None;
        let mut hours = Vec::new();
        for line in place.hours().lines() {
            let (day, values) = line.split_once(' ').unwrap();
            let number = |from: usize, to: usize| day[from..to].parse::<i16>().unwrap();
            let midnight = date(number(0, 4), number(4, 6) as i8, number(6, 8) as i8).at(0, 0, 0, 0);
            let midnight = TimeZone::UTC.to_timestamp(midnight).unwrap();
            let first = *first.get_or_insert(midnight);
            let index = usize::try_from(midnight.duration_since(first).as_hours()).unwrap();
            hours.resize(index, None);
            hours.extend(values.split(' ').map(|value| {
                let (temperature, dew_point) = value.split_once('/')?;
                let tenths = |text: &str| text.parse::<f64>().unwrap() / 10.0;
                Some((tenths(temperature), tenths(dew_point).min(tenths(temperature))))
            }));
        }
        Self { place, first: first.unwrap(), hours }
    }

    /// Every 23:00 UTC (dusk in Chicago, 17:00) whose hours from six before to 18 after are known.
    pub fn dusks(&self) -> Vec<Timestamp> {
        let hours = 23..self.hours.len().saturating_sub(18);
        let whole = |hour: &usize| self.hours[hour - 6..hour + 18].iter().all(Option::is_some);
        hours.step_by(24).filter(whole).map(|hour| self.first + SignedDuration::from_hours(hour as i64)).collect()
    }

    /// °C and dew point, linear between the hours.
    pub fn at(&self, moment: Timestamp) -> Option<(f64, f64)> {
        let hours = moment.duration_since(self.first).as_secs_f64() / 3_600.0;
        let (index, share) = (hours.floor() as usize, hours.fract());
        let (left, right) = ((*self.hours.get(index)?)?, (*self.hours.get(index + 1)?)?);
        Some((left.0 + share * (right.0 - left.0), left.1 + share * (right.1 - left.1)))
    }

    /// The same, with what was known up to twelve hours before in the place of what is missing.
    pub fn lately(&self, moment: Timestamp) -> Option<(f64, f64)> {
        (0..12).find_map(|hours| self.at(moment - SignedDuration::from_hours(hours)))
    }

    /// The coldest hour between two moments.
    pub fn coldest(&self, from: Timestamp, hours: i64) -> f64 {
        let at = |hour| self.at(from + SignedDuration::from_hours(hour)).unwrap().0;
        (0..hours).map(at).fold(f64::INFINITY, f64::min)
    }

    /// The hours from `from` on as a forecast, each through `change`.
    fn forecast(&self, from: Timestamp, mut change: impl FnMut(i64, (f64, f64)) -> (f64, f64)) -> Forecast {
        let points = (-1..48).map_while(|hour| {
            let at = from + SignedDuration::from_hours(hour);
            let (temperature, dew_point) = change(hour.max(0), self.lately(at)?);
            let air = outdoor_air(temperature, dew_point);
            Some(ForecastPoint { at, air, sea_level_pressure: None, wind: None })
        });
        Forecast::new(Service::new("station", "A station", ""), None, points.collect()).unwrap()
    }

    /// A forecast that knows.
    pub fn perfect(&self, from: Timestamp) -> Forecast {
        self.forecast(from, |_, hour| hour)
    }

    /// A forecast that errs as published verification says: a mean absolute error of 1.0 K at first, 1.2 K after 24 h and
    /// 1.4 K after 48, in errors that hold together for half a day; and frost forecast 0.9 K too warm. The dew point errs by as
    /// much, and half of that together with the temperature.
    pub fn erring(&self, from: Timestamp, chance: &mut Chance) -> Forecast {
        // An autoregression whose errors are alike by 1/e after 12 hours.
        let keep = (-1.0_f64 / 12.0).exp();
        let fresh = (1.0 - keep * keep).sqrt();
        let (mut first, mut second) = (chance.normal(), chance.normal());
        self.forecast(from, |hour, (temperature, dew_point)| {
            (first, second) = (keep * first + fresh * chance.normal(), keep * second + fresh * chance.normal());
            // Mean absolute error to standard deviation: √(π/2).
            let deviation = (1.0 + 0.2 * hour as f64 / 24.0) * std::f64::consts::FRAC_PI_2.sqrt();
            let frost = if temperature <= 0.0 { 0.9 } else { 0.0 };
            let together = std::f64::consts::FRAC_1_SQRT_2 * (first + second);
            let temperature = temperature + deviation * first + frost;
            (temperature, (dew_point + deviation * together + frost).min(temperature))
        })
    }
}

/// As the daemon takes in a weather service's hour.
pub fn outdoor_air(temperature: f64, dew_point: f64) -> OutdoorAir {
    let celsius = |value| Temperature::from_celsius(value).unwrap();
    let elevation = Elevation::from_metres(200.0).unwrap();
    OutdoorAir::from_dew_point(celsius(temperature), celsius(dew_point), elevation).unwrap()
}

#[test]
fn injected_forecast_errors_have_the_published_size() {
    let station = Station::read(Place::Chicago);
    let (mut sum, mut count) = ([0.0; 2], 0.0);
    for (seed, dusk) in station.dusks().into_iter().enumerate() {
        let mut chance = Chance::new(seed as u64);
        let erring = station.erring(dusk, &mut chance);
        let error = |hour: i64| {
            let at = dusk + SignedDuration::from_hours(hour);
            let truth = station.at(at).unwrap().0;
            erring.at(at).unwrap().air.temperature.celsius() - truth - if truth <= 0.0 { 0.9 } else { 0.0 }
        };
        sum[0] += error(1).abs();
        sum[1] += error(16).abs();
        count += 1.0;
    }
    // 150 nights: the mean is known to 7 %.
    assert!((sum[0] / count - 1.0).abs() < 0.2, "{sum:?} of {count}");
    assert!((sum[1] / count - 1.13).abs() < 0.25, "{sum:?} of {count}");
}

/// Each file holds as many hours, and as many without a value, as `tests/data/README.md` says; none is above saturation.
#[test]
fn the_stations_hours_are_those_that_their_description_counts() {
    for (place, hours, silent) in [(Place::Chicago, 3_600, 1), (Place::Longmont, 4_056, 31), (Place::Newark, 3_480, 4)]
    {
        let station = Station::read(place);
        // A gap between two winters is not in the file.
        let known: Vec<(f64, f64)> = station.hours.iter().flatten().copied().collect();
        let lines = place.hours().lines().count();
        assert_eq!((24 * lines, known.len()), (hours, hours - silent), "{place:?}");
        assert!(known.iter().all(|(temperature, dew_point)| dew_point <= temperature), "{place:?}");
    }
}

/// "Longmont temperatures plummeted to 0 degrees Monday night, according to data taken at Vance Brand Airport", a record for the
/// date: Longmont Times-Call, 27 October 2020. Hours cannot be colder than the coldest minute, and are little warmer.
#[test]
fn the_record_night_of_longmont_is_as_cold_as_it_was_published() {
    let station = Station::read(Place::Longmont);
    // Monday 18:00 to Tuesday 12:00 by mountain daylight time.
    let coldest = station.coldest("2020-10-27T00:00:00Z".parse().unwrap(), 18);
    let published = (0.0 - 32.0) / 1.8;
    assert!((-0.05..0.6).contains(&(coldest - published)), "{coldest} °C");
}

/// Columns in local time read as UTC would move a day by five hours and more. A winter day is coldest about sunrise: in Newark at
/// 7:20 EST (climate report of the US National Weather Service, New York, for 8 January 2009), in Chicago at 7:16 CST and in
/// Longmont at 7:20 MST (mid-January, from memory).
#[test]
fn january_mornings_are_coldest_about_sunrise() {
    let places = [(Place::Chicago, 2015, 13.3), (Place::Longmont, 2020, 14.3), (Place::Newark, 2013, 12.3)];
    for (place, year, sunrise) in places {
        let station = Station::read(place);
        let mean = |hour: i64| {
            let at = |day: i8| TimeZone::UTC.to_timestamp(date(year, 1, day).at(hour as i8, 0, 0, 0)).unwrap();
            let known: Vec<f64> = (3..=31).filter_map(|day| Some(station.at(at(day))?.0)).collect();
            known.iter().sum::<f64>() / known.len() as f64
        };
        let coldest = (0..24).min_by(|left, right| mean(*left).total_cmp(&mean(*right))).unwrap() as f64;
        assert!((-2.0..=1.0).contains(&(coldest - sunrise)), "{place:?}: {coldest}:00 UTC");
    }
}
