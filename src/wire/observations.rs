//! Recorded weather: what an official station near the farm has measured, hour by hour. It stands in for an outdoor sensor
//! where a farm had none, and for a forecast that knew.
//!
//! Two forms are read, told apart by the first line: ISD-Lite (the columns of `tests/data/README.md`), and CSV with a head:
//!
//! ```text
//! time,temperature_celsius,dew_point_celsius
//! 2027-01-15T18:00:00Z,-8.2,-10.4
//! ```
//!
//! Columns may stand in any order: `time`; `temperature_celsius` or `temperature_fahrenheit`; `dew_point_celsius`,
//! `dew_point_fahrenheit` or `relative_humidity_percent`, all over liquid water.

use jiff::{SignedDuration, Timestamp};

use crate::{
    model::{Forecast, ForecastPoint, Measured, OutdoorAir, Service, forecast::BadForecast},
    units::{Elevation, Pressure, RelativeHumidity, Temperature},
};

/// Who is said to forecast where observations stand in for a forecast.
pub const SERVICE: Service = Service::new("observations", "Observations that were known beforehand", "");

/// Between observations that are further apart nothing is interpolated.
const LONGEST_STEP: SignedDuration = SignedDuration::from_hours(3);
/// A forecast reaches this far.
const AHEAD: SignedDuration = SignedDuration::from_hours(60);

/// What was measured at one moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observed {
    /// When.
    pub at: Timestamp,
    /// Of the air.
    pub temperature: Temperature,
    /// Of the air.
    pub moisture: Moisture,
    /// Brought to sea level, where it was reported.
    pub sea_level_pressure: Option<Pressure>,
}

/// How the moisture was reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moisture {
    /// Over liquid water.
    DewPoint(Temperature),
    /// Over liquid water.
    RelativeHumidity(RelativeHumidity),
}

/// Why a line is no observation.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadObservation {
    /// The file's first line is neither.
    #[error(
        "the first line is neither ISD-Lite nor a head with `time`, `temperature_celsius` (or `_fahrenheit`) and \
         `dew_point_celsius` (or `_fahrenheit`) or `relative_humidity_percent`"
    )]
    Head,
    /// The columns do not hold a date and numbers.
    #[error("a column is missing, or holds no number")]
    Columns,
    /// No time.
    #[error("`{0}` is no time such as 2027-01-15T18:00:00Z")]
    Time(String),
    /// Weather that does not exist.
    #[error("no weather has such a temperature, dew point or humidity")]
    OutOfRange,
}

/// Which columns hold what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    IsdLite,
    Csv { time: usize, temperature: (usize, bool), moisture: (usize, Column) },
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    DewPointCelsius,
    DewPointFahrenheit,
    RelativeHumidity,
}

/// The number of a line, from 1, and why it is no observation.
pub type Refused = (u64, BadObservation);

/// Reads a file: what was observed, in the order of time, and the lines that hold nothing, by number. Hours with a missing
/// value are passed over.
///
/// # Errors
/// Where the form is not known.
pub fn parse(text: &str) -> Result<(Vec<Observed>, Vec<Refused>), BadObservation> {
    let first = text.lines().find(|line| !line.trim().is_empty()).ok_or(BadObservation::Head)?;
    let form = form(first)?;
    let (mut observed, mut bad) = (Vec::new(), Vec::new());
    for (line, number) in text.lines().zip(1..).skip(usize::from(form != Form::IsdLite)) {
        if line.trim().is_empty() {
            continue;
        }
        let read = match form {
            Form::IsdLite => isd_lite(line),
            Form::Csv { time, temperature, moisture } => csv(line, time, temperature, moisture).map(Some),
        };
        match read {
            Ok(read) => observed.extend(read),
            Err(error) => bad.push((number, error)),
        }
    }
    observed.sort_by_key(|one: &Observed| one.at);
    observed.dedup_by_key(|one| one.at);
    Ok((observed, bad))
}

fn form(first: &str) -> Result<Form, BadObservation> {
    if isd_lite(first).is_ok() {
        return Ok(Form::IsdLite);
    }
    let names: Vec<&str> = first.split(',').map(str::trim).collect();
    let place = |name: &str| names.iter().position(|other| *other == name);
    let time = place("time").ok_or(BadObservation::Head)?;
    let celsius = place("temperature_celsius").map(|at| (at, true));
    let temperature = celsius.or_else(|| place("temperature_fahrenheit").map(|at| (at, false)));
    let moisture = [
        ("dew_point_celsius", Column::DewPointCelsius),
        ("dew_point_fahrenheit", Column::DewPointFahrenheit),
        ("relative_humidity_percent", Column::RelativeHumidity),
    ];
    let moisture = moisture.into_iter().find_map(|(name, column)| Some((place(name)?, column)));
    Ok(Form::Csv {
        time,
        temperature: temperature.ok_or(BadObservation::Head)?,
        moisture: moisture.ok_or(BadObservation::Head)?,
    })
}

/// `None` where a value is missing.
fn isd_lite(line: &str) -> Result<Option<Observed>, BadObservation> {
    let columns: Option<Vec<i32>> = line.split_whitespace().map(|column| column.parse().ok()).collect();
    let columns = columns.filter(|columns| columns.len() >= 7).ok_or(BadObservation::Columns)?;
    let [year, month, day, hour, temperature, dew_point, pressure] = columns[..7] else {
        return Err(BadObservation::Columns);
    };
    let time = format!("{year:04}-{month:02}-{day:02}T{hour:02}:00:00Z");
    let at: Timestamp = time.parse().map_err(|_| BadObservation::Time(time.chars().take(40).collect()))?;
    if temperature == MISSING || dew_point == MISSING {
        return Ok(None);
    }
    let tenths = |value: i32| f64::from(value) / 10.0;
    let pascals = (pressure != MISSING).then(|| tenths(pressure) * 100.0);
    observed(at, tenths(temperature), Raw::DewPoint(tenths(dew_point)), pascals).map(Some)
}

/// ISD-Lite's word for no value.
const MISSING: i32 = -9_999;

fn csv(
    line: &str,
    time: usize,
    (temperature, celsius): (usize, bool),
    (moisture, column): (usize, Column),
) -> Result<Observed, BadObservation> {
    let cells: Vec<&str> = line.split(',').map(str::trim).collect();
    let cell = |at: usize| cells.get(at).copied().ok_or(BadObservation::Columns);
    let number = |at: usize| cell(at)?.parse::<f64>().map_err(|_| BadObservation::Columns);
    let at = super::event_log::time(cell(time)?)
        .map_err(|_| BadObservation::Time(cell(time).unwrap_or_default().chars().take(40).collect()))?;
    let from_fahrenheit = |value: f64| (value - 32.0) / 1.8;
    let temperature = number(temperature)?;
    let moisture = number(moisture)?;
    observed(
        at,
        if celsius { temperature } else { from_fahrenheit(temperature) },
        match column {
            Column::DewPointCelsius => Raw::DewPoint(moisture),
            Column::DewPointFahrenheit => Raw::DewPoint(from_fahrenheit(moisture)),
            Column::RelativeHumidity => Raw::RelativeHumidity(moisture),
        },
        None,
    )
}

enum Raw {
    /// °C.
    DewPoint(f64),
    /// Percent.
    RelativeHumidity(f64),
}

fn observed(at: Timestamp, celsius: f64, moisture: Raw, pascals: Option<f64>) -> Result<Observed, BadObservation> {
    if !(-60.0..=60.0).contains(&celsius) {
        return Err(BadObservation::OutOfRange);
    }
    let temperature = Temperature::from_celsius(celsius).map_err(|_| BadObservation::OutOfRange)?;
    let moisture = match moisture {
        // Both are rounded.
        Raw::DewPoint(dew_point) if (-60.0..=celsius + 0.6).contains(&dew_point) => {
            Temperature::from_celsius(dew_point.min(celsius)).map(Moisture::DewPoint)
        }
        Raw::RelativeHumidity(percent) if (0.5..=105.0).contains(&percent) => {
            RelativeHumidity::from_percent(percent.min(100.0)).map(Moisture::RelativeHumidity)
        }
        _ => return Err(BadObservation::OutOfRange),
    };
    Ok(Observed {
        at,
        temperature,
        moisture: moisture.map_err(|_| BadObservation::OutOfRange)?,
        sea_level_pressure: pascals.and_then(|pascals| Pressure::from_pascals(pascals).ok()),
    })
}

impl Observed {
    /// As two sensors would say it.
    pub fn measured(&self) -> [Measured; 2] {
        let moisture = match self.moisture {
            Moisture::DewPoint(dew_point) => Measured::DewPoint(dew_point),
            Moisture::RelativeHumidity(humidity) => Measured::RelativeHumidity(humidity),
        };
        [Measured::Temperature(self.temperature), moisture]
    }

    /// As a forecast says it; `None` where this air cannot be.
    fn point(&self, elevation: Elevation) -> Option<ForecastPoint> {
        let air = match self.moisture {
            Moisture::DewPoint(dew_point) => OutdoorAir::from_dew_point(self.temperature, dew_point, elevation),
            Moisture::RelativeHumidity(humidity) => {
                OutdoorAir::from_relative_humidity(self.temperature, humidity, elevation)
            }
        };
        Some(ForecastPoint { at: self.at, air: air.ok()?, sea_level_pressure: self.sea_level_pressure, wind: None })
    }

    /// The weather between two observations, linear; `None` where they are too far apart, or report their moisture in two
    /// ways.
    pub fn between(before: &Self, after: &Self, at: Timestamp) -> Option<Self> {
        let step = after.at.duration_since(before.at);
        if step > LONGEST_STEP || !(before.at..=after.at).contains(&at) {
            return None;
        }
        let share = at.duration_since(before.at).as_secs_f64() / step.as_secs_f64().max(1.0);
        let mix = |a: f64, b: f64| a + share * (b - a);
        let celsius = |a: Temperature, b: Temperature| Temperature::clamped(mix(a.celsius(), b.celsius()));
        let moisture = match (before.moisture, after.moisture) {
            (Moisture::DewPoint(a), Moisture::DewPoint(b)) => Moisture::DewPoint(celsius(a, b)),
            (Moisture::RelativeHumidity(a), Moisture::RelativeHumidity(b)) => {
                Moisture::RelativeHumidity(RelativeHumidity::clamped(mix(a.ratio(), b.ratio())))
            }
            _ => return None,
        };
        let temperature = celsius(before.temperature, after.temperature);
        Some(Self { at, temperature, moisture, ..*before })
    }
}

/// What `observed` (in rising order) says of the hours from shortly before `now` on, as a forecast that knew.
///
/// # Errors
/// Where nothing is known of them.
pub fn forecast(observed: &[Observed], now: Timestamp, elevation: Elevation) -> Result<Forecast, BadForecast> {
    let from = observed.partition_point(|one| one.at <= now).saturating_sub(1);
    let known = observed[from..].iter().take_while(|one| one.at <= now + AHEAD);
    Forecast::new(SERVICE, None, known.filter_map(|one| one.point(elevation)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        text.parse().unwrap()
    }

    #[test]
    fn the_stations_own_columns_are_read_and_missing_values_passed_over() {
        let text = "2016 01 09 12    22    17 10097   270    21     8     3 -9999\n\
                    2016 01 09 13 -9999    17 10105   250    31 -9999     0 -9999\n\
                    2016 01 09 14   -83  -172 -9999   250    31 -9999     0 -9999\n";
        let (observed, bad) = parse(text).unwrap();
        assert!(bad.is_empty(), "{bad:?}");
        assert_eq!(observed.len(), 2);
        assert_eq!(observed[0].at, at("2016-01-09T12:00:00Z"));
        assert!((observed[1].temperature.celsius() + 8.3).abs() < 1e-9);
        assert_eq!(observed[1].moisture, Moisture::DewPoint(Temperature::from_celsius(-17.2).unwrap()));
        assert_eq!(observed[0].sea_level_pressure, Some(Pressure::from_pascals(100_970.0).unwrap()));
        assert_eq!(observed[1].sea_level_pressure, None);
    }

    #[test]
    fn a_table_is_read_in_any_order_of_its_columns_and_in_either_unit() {
        let metric = "time,temperature_celsius,relative_humidity_percent\n2027-01-15T18:00:00Z,-5,80\n";
        let us = "relative_humidity_percent,time,temperature_fahrenheit\n80,2027-01-15T18:00:00Z,23\n";
        let (metric, us) = (parse(metric).unwrap().0, parse(us).unwrap().0);
        assert_eq!(metric.len(), 1);
        assert!((metric[0].temperature.celsius() - us[0].temperature.celsius()).abs() < 1e-9);
        assert_eq!(metric[0].moisture, us[0].moisture);
    }

    #[test]
    fn what_is_no_observation_is_named_by_its_line() {
        let text = "time,temperature_celsius,dew_point_celsius\n\
                    2027-01-15T18:00:00Z,-5,-7\nyesterday,-5,-7\n2027-01-15T19:00:00Z,-5\n2027-01-15T20:00:00Z,-5,9\n";
        let (observed, bad) = parse(text).unwrap();
        assert_eq!(observed.len(), 1);
        let expected = [
            (3, BadObservation::Time("yesterday".into())),
            (4, BadObservation::Columns),
            (5, BadObservation::OutOfRange),
        ];
        assert_eq!(bad, expected);
        for text in ["", "\n", "temperature_celsius\n1", "time,temperature_celsius\n"] {
            assert_eq!(parse(text).unwrap_err(), BadObservation::Head, "{text:?}");
        }
    }

    #[test]
    fn between_two_hours_the_weather_is_a_straight_line_and_across_a_gap_there_is_none() {
        let text = "time,temperature_celsius,dew_point_celsius\n\
                    2027-01-15T18:00:00Z,-4,-8\n2027-01-15T19:00:00Z,-6,-9\n2027-01-16T02:00:00Z,-9,-9\n";
        let (observed, _) = parse(text).unwrap();
        let half = Observed::between(&observed[0], &observed[1], at("2027-01-15T18:30:00Z")).unwrap();
        assert!((half.temperature.celsius() + 5.0).abs() < 1e-9);
        assert_eq!(half.moisture, Moisture::DewPoint(Temperature::from_celsius(-8.5).unwrap()));
        assert_eq!(Observed::between(&observed[1], &observed[2], at("2027-01-15T20:00:00Z")), None);
        let elevation = Elevation::from_metres(0.0).unwrap();
        let forecast = forecast(&observed, at("2027-01-15T18:30:00Z"), elevation).unwrap();
        assert_eq!(forecast.points().len(), 3);
        assert_eq!(forecast.points()[0].at, at("2027-01-15T18:00:00Z"));
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "([0-9 \\-,.:TZa-z]{0,40}\n){0,4}") {
            let _ = parse(&text);
        }
    }
}
