//! The hours ahead of a space that is only measured: a barn with a tent in it, a corridor, a packing room.
//!
//! Nobody describes such a space, but its air is changed with the air outdoors, and when a dry front comes it dries, hours
//! later, and the rooms that draw from it with it. So its moisture is taken to follow the air outdoors at some rate, with what
//! is given to it on top, and its temperature to be held by whoever heats it, until a day's readings show plainly that
//! another rate fits better.

use std::time::Duration;

use super::{STEPS_PER_HOUR, Trace, Weather};
use crate::{
    model::{Case, Now, room::EnteringAir},
    physics::MoistAir,
    units::{HumidityRatio, Temperature},
};

/// Rates at which a space may follow, per hour: not at all, like a heavy building, and like one with its doors open.
const RATES: [f64; 6] = [0.0, 0.1, 0.25, 0.5, 1.0, 3.0];
/// Of moisture, where nothing is known: half an air change an hour, the least that EN 12831 counts for the rooms of a
/// building that is heated (from memory).
const MOISTURE: usize = 3;
/// Of temperature: somebody heats it.
const WARMTH: usize = 0;
/// Readings of so long show a habit.
const SHOWN_AFTER: Duration = Duration::from_secs(24 * 3_600);
/// Another rate is believed where its error is below this share of the usual one's, as a mean square.
const PLAINLY: f64 = 0.5;
/// What is given to the space is averaged over this, in hours, and errors over twice as long.
const AVERAGED_OVER: f64 = 12.0;
/// The noise of sensors is evened out over this, in hours: a point of relative humidity more or less, carried through two
/// days, would be a false night.
const EVENED_OVER: f64 = 0.5;
/// Readings are taken in this often.
const EVERY: Duration = Duration::from_secs(60);
/// After a longer silence than this all is learned anew.
const FORGETS_AFTER: Duration = Duration::from_secs(3 * 3_600);
/// Steps of the weather that one air stands for: its moisture moves by a tenth of the difference meanwhile.
const GRAIN: usize = STEPS_PER_HOUR / 4;

/// How a space follows the air outdoors.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SpaceHabit {
    seen: Option<Seen>,
}

#[derive(Debug, Clone, PartialEq)]
struct Seen {
    since: Duration,
    last: Duration,
    moisture: Follower,
    warmth: Follower,
}

impl SpaceHabit {
    /// Takes in the air of the space and that outdoors.
    pub fn see(&mut self, inside: &MoistAir, outdoors: &MoistAir, now: &Now) {
        let moisture = |air: &MoistAir| air.humidity_ratio().kilograms_per_kilogram();
        let warmth = |air: &MoistAir| air.temperature().celsius();
        let at = now.elapsed;
        match &mut self.seen {
            Some(seen) if at.saturating_sub(seen.last) <= FORGETS_AFTER => {
                let passed = at.saturating_sub(seen.last);
                if passed >= EVERY {
                    let hours = passed.as_secs_f64() / 3_600.0;
                    seen.moisture.see(moisture(inside), moisture(outdoors), hours);
                    seen.warmth.see(warmth(inside), warmth(outdoors), hours);
                    seen.last = at;
                }
            }
            _ => {
                let moisture = Follower::new(moisture(inside), moisture(outdoors));
                let warmth = Follower::new(warmth(inside), warmth(outdoors));
                self.seen = Some(Seen { since: at, last: at, moisture, warmth });
            }
        }
    }

    /// Whether its own readings have shown how it follows.
    pub fn is_shown(&self, now: &Now) -> bool {
        self.seen.as_ref().is_some_and(|seen| now.since(seen.since) >= SHOWN_AFTER)
    }

    /// Its air through the `weather`, from `present` on. Carbon dioxide is taken to stay: who makes it is not known.
    pub fn ahead(&self, present: EnteringAir, weather: &Weather, now: &Now) -> Trace {
        let shown = self.is_shown(now);
        let run = |case| {
            let steps = weather.steps(case);
            let Some(seen) = &self.seen else { return vec![present; steps.len()] };
            let mut moisture = seen.moisture.ahead(shown, MOISTURE);
            let mut warmth = seen.warmth.ahead(shown, WARMTH);
            let mut airs = Vec::with_capacity(steps.len());
            for stretch in steps.chunks(GRAIN) {
                let outdoors = stretch[0];
                let hours = stretch.len() as f64 / STEPS_PER_HOUR as f64;
                let ratio = moisture.pass(outdoors.humidity_ratio().kilograms_per_kilogram(), hours);
                let celsius = warmth.pass(outdoors.temperature().celsius(), hours);
                let (temperature, ratio) = (Temperature::clamped(celsius), HumidityRatio::clamped(ratio));
                let air = MoistAir::cut_to_saturation(temperature, ratio, weather.pressure());
                let air = air.map_or(present.air, |(air, _)| air);
                airs.extend(std::iter::repeat_n(EnteringAir { air, ..present }, stretch.len()));
            }
            airs
        };
        let [expected, colder, milder] = [Case::Expected, Case::ColderAndDrier, Case::Milder].map(run);
        Trace { start: weather.start(), expected, colder, milder }
    }
}

/// One quantity of a space, by each of the rates at which it may follow.
#[derive(Debug, Clone, PartialEq)]
struct Follower {
    habits: [Lag; RATES.len()],
}

/// The value outdoors as it lags at one rate, and what the space has beyond it.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Lag {
    outdoors: f64,
    /// On average over half a day, and lately.
    beyond: f64,
    lately: f64,
    /// Mean square of how much it differs from its own average.
    error: f64,
}

impl Follower {
    fn new(inside: f64, outdoors: f64) -> Self {
        let beyond = inside - outdoors;
        Self { habits: [Lag { outdoors, beyond, lately: beyond, error: 0.0 }; RATES.len()] }
    }

    fn see(&mut self, inside: f64, outdoors: f64, hours: f64) {
        for (lag, rate) in self.habits.iter_mut().zip(RATES) {
            lag.outdoors += share(rate * hours) * (outdoors - lag.outdoors);
            let off = inside - lag.outdoors - lag.beyond;
            lag.beyond += share(hours / AVERAGED_OVER) * off;
            lag.lately += share(hours / EVENED_OVER) * (inside - lag.outdoors - lag.lately);
            lag.error += share(hours / (2.0 * AVERAGED_OVER)) * (off * off - lag.error);
        }
    }

    fn rate(&self, shown: bool, usual: usize) -> usize {
        let best = (0..RATES.len()).min_by(|a, b| self.habits[*a].error.total_cmp(&self.habits[*b].error));
        let plain = |best: &usize| shown && self.habits[*best].error < PLAINLY * self.habits[usual].error;
        best.filter(plain).unwrap_or(usual)
    }

    fn ahead(&self, shown: bool, usual: usize) -> Ahead {
        let index = self.rate(shown, usual);
        let Lag { outdoors, lately, .. } = self.habits[index];
        Ahead { rate: RATES[index], outdoors, beyond: lately }
    }
}

/// The same on its way through the hours ahead.
#[derive(Debug, Clone, Copy)]
struct Ahead {
    rate: f64,
    outdoors: f64,
    beyond: f64,
}

impl Ahead {
    fn pass(&mut self, outdoors: f64, hours: f64) -> f64 {
        self.outdoors += share(self.rate * hours) * (outdoors - self.outdoors);
        self.outdoors + self.beyond
    }
}

/// How much of a difference is gone after so many time constants.
fn share(constants: f64) -> f64 {
    1.0 - (-constants).exp()
}

#[cfg(test)]
mod tests {
    use jiff::{SignedDuration, Timestamp};

    use super::*;
    use crate::{
        model::OutdoorAir,
        units::{CarbonDioxide, Pressure},
    };

    const PASCALS: f64 = 98_000.0;

    fn air(celsius: f64, grams: f64) -> MoistAir {
        let pressure = Pressure::from_pascals(PASCALS).unwrap();
        let ratio = HumidityRatio::clamped(grams * 1e-3);
        MoistAir::from_humidity_ratio(Temperature::clamped(celsius), ratio, pressure).unwrap()
    }

    fn now(hours: f64) -> Now {
        Now { elapsed: Duration::from_secs_f64(hours * 3_600.0), wall: Timestamp::UNIX_EPOCH, trusted: true }
    }

    fn entering(air: MoistAir) -> EnteringAir {
        EnteringAir { air, carbon_dioxide: CarbonDioxide::clamped(480.0) }
    }

    /// Weather of `grams` from now on.
    fn weather(grams: f64) -> Weather {
        let outdoors = air(0.0, grams);
        Weather::new(Timestamp::UNIX_EPOCH, outdoors.pressure(), |_, _| {
            Some(OutdoorAir { temperature: outdoors.temperature(), vapour_pressure: outdoors.vapour_pressure() })
        })
    }

    /// A space that follows at `rate` with 2 g/kg given to it, through days whose air swings by 1.5 g/kg: habit and last air.
    fn lived(rate: f64, days: f64) -> (SpaceHabit, MoistAir) {
        let mut habit = SpaceHabit::default();
        let mut lagged = 3.0;
        let mut inside = air(18.0, 5.0);
        for minute in 0..(days * 1_440.0) as u32 {
            let hours = f64::from(minute) / 60.0;
            let outdoors = 2.0 + 1.5 * (hours / 9.0).sin();
            lagged += share(rate / 60.0) * (outdoors - lagged);
            inside = air(18.0, lagged + 2.0);
            habit.see(&inside, &air(0.0, outdoors), &now(hours));
        }
        (habit, inside)
    }

    #[test]
    fn a_space_dries_behind_the_air_outdoors_as_its_balance_says() {
        // dW/dt = n (W_out - W) + G with W = 5 g/kg at 3 g/kg outdoors is W = W_out + 2 g/kg; after the air outdoors has
        // fallen to 1 g/kg, W = 3 + 2 exp(-n t).
        let mut habit = SpaceHabit::default();
        let present = air(18.0, 5.0);
        habit.see(&present, &air(0.0, 3.0), &now(0.0));
        let trace = habit.ahead(entering(present), &weather(1.0), &now(0.0));
        for hours in [1, 2, 6, 40] {
            let at = Timestamp::UNIX_EPOCH + SignedDuration::from_hours(hours) - SignedDuration::from_secs(1);
            let found = trace.at(at, Case::Expected).unwrap();
            let expected = 3.0 + 2.0 * (-0.5 * hours as f64).exp();
            let grams = found.air.humidity_ratio().kilograms_per_kilogram() * 1e3;
            assert!((grams - expected).abs() < 0.01, "{hours} h: {grams} and {expected}");
            assert_eq!(
                (found.air.temperature(), found.carbon_dioxide.parts_per_million()),
                (present.temperature(), 480.0)
            );
        }
    }

    #[test]
    fn a_day_of_readings_shows_a_space_that_hardly_follows_or_follows_at_once() {
        for (rate, expected) in [(0.0, 0), (0.1, 1), (0.5, 3), (3.0, 5)] {
            let (habit, _) = lived(rate, 3.0);
            let seen = habit.seen.as_ref().unwrap();
            assert_eq!(seen.moisture.rate(true, MOISTURE), expected, "{rate}");
            assert_eq!(seen.moisture.rate(false, MOISTURE), MOISTURE, "{rate}");
            assert_eq!(seen.warmth.rate(true, WARMTH), WARMTH, "{rate}");
        }
        let (habit, present) = lived(0.0, 3.0);
        let trace = habit.ahead(entering(present), &weather(1.0), &now(72.0));
        let last = trace.at(Timestamp::UNIX_EPOCH + SignedDuration::from_hours(40), Case::ColderAndDrier).unwrap();
        let moved =
            last.air.humidity_ratio().kilograms_per_kilogram() - present.humidity_ratio().kilograms_per_kilogram();
        assert!(moved.abs() < 1e-5, "{moved}");
        assert!(habit.is_shown(&now(72.0)) && !lived(0.5, 0.9).0.is_shown(&now(21.6)));
    }

    #[test]
    fn after_a_long_silence_all_is_learned_anew_and_nothing_known_is_nothing_moved() {
        let (mut habit, present) = lived(0.1, 3.0);
        habit.see(&present, &air(0.0, 2.0), &now(80.0));
        assert!(!habit.is_shown(&now(80.0)));
        let trace = SpaceHabit::default().ahead(entering(present), &weather(1.0), &now(0.0));
        let last = trace.at(Timestamp::UNIX_EPOCH + SignedDuration::from_hours(40), Case::Expected);
        assert_eq!(last, Some(entering(present)));
    }
}
