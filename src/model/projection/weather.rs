//! The weather ahead, in three cases, on the projection's own steps: computed once and shared by all rooms.

use jiff::{SignedDuration, Timestamp};

use crate::{
    model::{Case, OutdoorAir},
    physics::MoistAir,
    units::Pressure,
};

/// Length of a step.
pub const STEP: SignedDuration = SignedDuration::from_mins(5);
/// Steps of an hour.
pub const STEPS_PER_HOUR: usize = 12;
/// Hours looked ahead, where the weather is known for so long.
pub const HOURS: usize = 48;
/// A forecast whose first moment lies ahead by at most this many steps speaks for now as well: services give whole
/// hours, and may give none for the running one.
const LEAD_IN: usize = STEPS_PER_HOUR;

/// Outdoor air for each step ahead, in three cases. Its whole hours only: a forecast that ends early is an outlook that
/// ends early.
#[derive(Debug, Clone, PartialEq)]
pub struct Weather {
    start: Timestamp,
    pressure: Pressure,
    expected: Vec<MoistAir>,
    colder: Vec<MoistAir>,
    milder: Vec<MoistAir>,
}

impl Weather {
    /// The weather from `start` on. `outdoors` says the air at any moment; where it says nothing, the weather ends.
    /// The site's `pressure` is taken to stay: what it does to the air's moisture, it does to the target's as well.
    pub fn new(start: Timestamp, pressure: Pressure, outdoors: impl Fn(Timestamp, Case) -> Option<OutdoorAir>) -> Self {
        let [mut expected, mut colder, mut milder] = [Case::Expected, Case::ColderAndDrier, Case::Milder]
            .map(|case| series(start, pressure, |moment| outdoors(moment, case)));
        let steps = expected.len().min(colder.len()).min(milder.len());
        let whole = steps - steps % STEPS_PER_HOUR;
        for case in [&mut expected, &mut colder, &mut milder] {
            case.truncate(whole);
        }
        Self { start, pressure, expected, colder, milder }
    }

    /// When its first step begins.
    pub const fn start(&self) -> Timestamp {
        self.start
    }

    /// The pressure that it is given at.
    pub const fn pressure(&self) -> Pressure {
        self.pressure
    }

    /// Whole hours that it covers, at most [`HOURS`].
    pub fn hours(&self) -> usize {
        self.expected.len() / STEPS_PER_HOUR
    }

    /// The air of each step, at the step's middle.
    pub fn steps(&self, case: Case) -> &[MoistAir] {
        match case {
            Case::Expected => &self.expected,
            Case::ColderAndDrier => &self.colder,
            Case::Milder => &self.milder,
        }
    }
}

fn series(start: Timestamp, pressure: Pressure, outdoors: impl Fn(Timestamp) -> Option<OutdoorAir>) -> Vec<MoistAir> {
    let steps = i32::try_from(HOURS * STEPS_PER_HOUR).unwrap_or(i32::MAX);
    let mut airs = Vec::with_capacity(HOURS * STEPS_PER_HOUR);
    let mut missing = 0;
    for step in 0..steps {
        let middle = start + STEP * step + STEP / 2;
        match outdoors(middle).and_then(|air| air.at_pressure(pressure).ok()) {
            Some(air) => {
                airs.extend(std::iter::repeat_n(air, missing));
                missing = 0;
                airs.push(air);
            }
            None if airs.is_empty() && missing < LEAD_IN => missing += 1,
            None => break,
        }
    }
    airs
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Temperature, VapourPressure};

    fn weather(known: impl Fn(SignedDuration) -> bool) -> Weather {
        let start: Timestamp = "2027-01-15T18:07:00Z".parse().unwrap();
        Weather::new(start, Pressure::from_pascals(95_000.0).unwrap(), |moment, case| {
            let ahead = moment.duration_since(start);
            let celsius = match case {
                Case::Expected => -5.0,
                Case::ColderAndDrier => -7.0,
                Case::Milder => -3.0,
            } + ahead.as_secs_f64() / 86_400.0;
            known(ahead).then(|| OutdoorAir {
                temperature: Temperature::from_celsius(celsius).unwrap(),
                vapour_pressure: VapourPressure::from_pascals(250.0).unwrap(),
            })
        })
    }

    #[test]
    fn weather_ends_with_the_last_whole_hour_that_is_known() {
        assert_eq!(weather(|_| true).hours(), HOURS);
        assert_eq!(weather(|ahead| ahead < SignedDuration::from_mins(9 * 60 + 40)).hours(), 9);
        assert_eq!(weather(|ahead| ahead < SignedDuration::from_mins(40)).hours(), 0);
        assert_eq!(weather(|_| false).hours(), 0);
    }

    #[test]
    fn a_forecast_that_begins_within_the_hour_speaks_for_now_as_well_and_a_later_one_does_not() {
        let soon = weather(|ahead| ahead > SignedDuration::from_mins(50));
        assert_eq!(soon.hours(), HOURS);
        assert!(soon.steps(Case::Expected)[0] == soon.steps(Case::Expected)[9]);
        assert_eq!(weather(|ahead| ahead > SignedDuration::from_mins(90)).hours(), 0);
    }

    #[test]
    fn each_step_has_the_air_of_its_middle() {
        let weather = weather(|_| true);
        for (case, celsius) in [(Case::Expected, -5.0), (Case::ColderAndDrier, -7.0), (Case::Milder, -3.0)] {
            let found = weather.steps(case)[100].temperature().celsius();
            let hours = 100.5 * 5.0 / 60.0;
            assert!((found - celsius - hours / 24.0).abs() < 1e-6, "{found}");
        }
    }
}
