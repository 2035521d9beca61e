//! How well a room's outlooks have turned out.
//!
//! Every three hours the daemon keeps what the outlook expects of the room some hours ahead: its temperature and humidity, and
//! the water that is drawn until then. When such an hour comes, the room's own sensors say what became of it, and the water
//! is what the humidifier has reported of itself, at its rated output: no water meter is read. Errors are what was said minus
//! what came, averaged over about the last month of each lead time.
//!
//! An outlook is made for a room that is run as advised. What it said is forgotten where that premise is gone: the grower has
//! set another stage, target, hold or tank, or the clock was set.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};

use super::Now;
use crate::units::{Fraction, RelativeHumidity, Temperature, WaterFlow};

/// Lead times at which a room's air is scored, in hours.
pub const LEADS: [i64; 5] = [3, 6, 12, 24, 48];
/// Hours over which its water is scored.
pub const WATER_LEADS: [i64; 2] = [12, 24];
/// What is said is kept this often, in hours: neighbouring hours err alike.
const KEPT_EVERY: i64 = 3;
/// And at least this far apart, where something was forgotten in between.
const APART: SignedDuration = SignedDuration::from_hours(1);
/// What is waited for at most: of each lead time one for each of its parts, and as many again after a clock was set.
const MOST_WAITING: usize = 2 * (1 + 2 + 4 + 8 + 16);
const MOST_WATER_WAITING: usize = 2 * (4 + 8);
/// Sensors that speak this long after the hour still say what became of it.
const IN_TIME: SignedDuration = SignedDuration::from_mins(10);
/// Averages reach back over about this many samples: a month of three hours each.
const WINDOW: u32 = 240;
/// Water is scored where the humidifier was heard for all but this share of the time.
const UNHEARD_SHARE: f64 = 0.02;

/// What an outlook said of a moment ahead. What is not said, or has been scored, is `None`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirSaid {
    /// Hours ahead, one of [`LEADS`].
    pub lead: i64,
    /// The moment.
    pub moment: Timestamp,
    /// Temperature in °C.
    pub celsius: Option<f64>,
    /// Relative humidity as a ratio.
    pub humidity: Option<f64>,
}

/// What an outlook said of the water to come, with the meter as it stood then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterSaid {
    /// Hours ahead, one of [`WATER_LEADS`].
    pub lead: i64,
    /// The end of these hours.
    pub moment: Timestamp,
    /// Water in litres.
    pub litres: f64,
    /// See [`Meter::litres`].
    pub meter: f64,
    /// See [`Meter::unheard`].
    pub unheard: f64,
}

/// Mean errors, what was said minus what came.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Errors {
    /// Samples, all that there were.
    pub samples: u32,
    /// Mean error.
    pub bias: f64,
    /// Mean absolute error.
    pub absolute: f64,
}

impl Errors {
    /// Takes in an error; one that is no number is no sample.
    fn add(&mut self, error: f64) -> bool {
        if !error.is_finite() {
            return false;
        }
        self.samples = self.samples.saturating_add(1);
        for (mean, value) in [(&mut self.bias, error), (&mut self.absolute, error.abs())] {
            *mean += (value - *mean) / f64::from(self.samples.min(WINDOW));
        }
        true
    }
}

/// Of one of [`LEADS`].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct AirScore {
    /// In K: a positive bias where it turned out colder.
    pub temperature: Errors,
    /// As a ratio: a positive bias where it turned out drier.
    pub relative_humidity: Errors,
}

/// Of one of [`WATER_LEADS`].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct WaterScore {
    /// In litres: a positive bias where less was drawn.
    pub errors: Errors,
    /// Mean of what was drawn, in litres.
    pub drawn: f64,
}

/// How a room's outlooks have turned out.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct RoomScore {
    /// By [`LEADS`].
    pub air: [AirScore; LEADS.len()],
    /// By [`WATER_LEADS`].
    pub water: [WaterScore; WATER_LEADS.len()],
}

impl RoomScore {
    /// Whether anything was scored.
    pub fn is_begun(&self) -> bool {
        self.air.iter().any(|air| air.temperature.samples + air.relative_humidity.samples > 0)
            || self.water.iter().any(|water| water.errors.samples > 0)
    }
}

/// Counts the water that a humidifier draws, by what it reports of itself.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Meter {
    /// Water drawn since the count began.
    pub litres: f64,
    /// Hours since then in which the humidifier was not heard.
    pub unheard: f64,
    /// When it was read last, as [`Now::elapsed`], and what was reported then, in L/h.
    last: Option<(Duration, Option<f64>)>,
}

impl Meter {
    /// A meter that stands at these litres and hours, and has not been read in this run.
    pub const fn at(litres: f64, unheard: f64) -> Self {
        Self { litres, unheard, last: None }
    }

    /// Goes on until now with what was heard last, and takes in what is heard now: the share of its output.
    fn read(&mut self, duty: Option<Fraction>, output: WaterFlow, now: &Now) {
        if let Some((at, flow)) = self.last {
            let hours = now.since(at).as_secs_f64() / 3_600.0;
            match flow {
                Some(flow) => self.litres += hours * flow,
                None => self.unheard += hours,
            }
        }
        // A kilogram of water is a litre.
        self.last = Some((now.elapsed, duty.map(|duty| duty.ratio() * output.kilograms_per_hour())));
    }
}

/// What a room's sensors and its humidifier say now.
#[derive(Debug, Clone, Copy)]
pub struct Truth {
    /// Of its air, where it is believed.
    pub temperature: Option<Temperature>,
    /// Of its air, where it is believed.
    pub relative_humidity: Option<RelativeHumidity>,
    /// Share of its output that the humidifier reports, and the output: `None` without a humidifier.
    pub humidifier: Option<(Option<Fraction>, WaterFlow)>,
}

/// Keeps what outlooks say of one room and scores it. Bounded.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Scorer {
    /// How outlooks have turned out.
    pub score: RoomScore,
    /// The water that the humidifier draws.
    pub meter: Meter,
    air: Vec<AirSaid>,
    water: Vec<WaterSaid>,
    /// When something was kept last.
    kept: Option<Timestamp>,
}

impl Scorer {
    /// From an earlier run; what is more than the bounds, the oldest first, is left out.
    pub fn new(score: RoomScore, meter: Meter, mut air: Vec<AirSaid>, mut water: Vec<WaterSaid>) -> Self {
        air.retain(|said| LEADS.contains(&said.lead));
        water.retain(|said| WATER_LEADS.contains(&said.lead));
        let mut scorer = Self { score, meter, air, water, kept: None };
        scorer.bound();
        scorer
    }

    /// What is waited for.
    pub fn waiting(&self) -> (&[AirSaid], &[WaterSaid]) {
        (&self.air, &self.water)
    }

    /// Whether what an outlook says should be kept now: once in every three hours.
    pub fn is_due(&self, now: Timestamp) -> bool {
        self.kept.is_none_or(|kept| slot(kept) != slot(now) && is_apart(kept, now))
    }

    /// Keeps what an outlook that begins at `made` says: of the air `lead` hours ahead, of the water of the next `lead` hours.
    pub fn keep(
        &mut self,
        made: Timestamp,
        air: impl Fn(Timestamp) -> Option<(Temperature, RelativeHumidity)>,
        litres: impl Fn(i64) -> Option<f64>,
    ) {
        self.kept = Some(made);
        let after = |lead: i64| made.checked_add(SignedDuration::from_hours(lead)).ok();
        for (lead, moment) in LEADS.iter().filter_map(|lead| Some((*lead, after(*lead)?))) {
            let known = self.air.iter().any(|said| said.lead == lead && !is_apart(said.moment, moment));
            if let Some((temperature, humidity)) = air(moment).filter(|_| !known) {
                let (celsius, humidity) = (Some(temperature.celsius()), Some(humidity.ratio()));
                self.air.push(AirSaid { lead, moment, celsius, humidity });
            }
        }
        let Meter { litres: meter, unheard, .. } = self.meter;
        for (lead, moment) in WATER_LEADS.iter().filter_map(|lead| Some((*lead, after(*lead)?))) {
            let known = self.water.iter().any(|said| said.lead == lead && !is_apart(said.moment, moment));
            if let Some(litres) = litres(lead).filter(|_| !known) {
                self.water.push(WaterSaid { lead, moment, litres, meter, unheard });
            }
        }
        self.bound();
    }

    fn bound(&mut self) {
        self.air.drain(..self.air.len().saturating_sub(MOST_WAITING));
        self.water.drain(..self.water.len().saturating_sub(MOST_WATER_WAITING));
    }

    /// What outlooks have said holds no longer; what was scored stays. The next outlook is kept at once.
    pub fn forget(&mut self) {
        self.air.clear();
        self.water.clear();
        self.kept = None;
    }

    /// Goes on after a stop of this length; where nobody knows how long it was, no water of before is scored.
    pub fn resume(&mut self, stopped: Option<SignedDuration>) {
        self.meter.last = None;
        match stopped.filter(|stopped| !stopped.is_negative()) {
            Some(stopped) => self.meter.unheard += stopped.as_secs_f64() / 3_600.0,
            None => self.water.clear(),
        }
    }

    /// Reads the meter, whatever the date.
    pub fn read(&mut self, truth: &Truth, now: &Now) {
        if let Some((duty, output)) = truth.humidifier {
            self.meter.read(duty, output, now);
        }
    }

    /// Scores everything whose hour has just come, and forgets what nobody can say of any more. Returns whether anything was
    /// scored.
    pub fn settle(&mut self, truth: &Truth, now: Timestamp) -> bool {
        let Self { score, meter, air, water, .. } = self;
        let mut scored = false;
        air.retain_mut(|said| {
            if said.moment > now {
                return true;
            }
            let Some(of) = LEADS.iter().position(|lead| *lead == said.lead).map(|index| &mut score.air[index]) else {
                return false;
            };
            let celsius = truth.temperature.map(Temperature::celsius);
            let humidity = truth.relative_humidity.map(RelativeHumidity::ratio);
            let in_time = now.duration_since(said.moment) <= IN_TIME;
            if let Some((expected, came)) = said.celsius.zip(celsius).filter(|_| in_time) {
                scored |= of.temperature.add(expected - came);
                said.celsius = None;
            }
            if let Some((expected, came)) = said.humidity.zip(humidity).filter(|_| in_time) {
                scored |= of.relative_humidity.add(expected - came);
                said.humidity = None;
            }
            in_time && (said.celsius.is_some() || said.humidity.is_some())
        });
        water.retain(|said| {
            if said.moment > now {
                return true;
            }
            let of = WATER_LEADS.iter().position(|lead| *lead == said.lead).map(|index| &mut score.water[index]);
            let heard = meter.unheard - said.unheard <= UNHEARD_SHARE * said.lead as f64;
            let came = meter.litres - said.meter;
            if let Some(of) = of.filter(|_| heard && now.duration_since(said.moment) <= IN_TIME)
                && of.errors.add(said.litres - came)
            {
                of.drawn += (came - of.drawn) / f64::from(of.errors.samples.min(WINDOW));
                scored = true;
            }
            false
        });
        scored
    }
}

/// The stretch of [`KEPT_EVERY`] hours in which a moment lies, counted from 1970.
fn slot(moment: Timestamp) -> i64 {
    moment.as_second().div_euclid(3_600 * KEPT_EVERY)
}

fn is_apart(a: Timestamp, b: Timestamp) -> bool {
    a.duration_since(b).abs() >= APART
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now(minutes: i64) -> Now {
        let minute = u64::try_from(minutes).unwrap();
        let wall = Timestamp::from_second(1_799_366_400 + 60 * minutes).unwrap();
        Now { elapsed: Duration::from_secs(60 * minute), wall, trusted: true }
    }

    fn truth(celsius: f64, percent: f64, duty: Option<f64>) -> Truth {
        Truth {
            temperature: Temperature::from_celsius(celsius).ok(),
            relative_humidity: RelativeHumidity::from_percent(percent).ok(),
            humidifier: Some((duty.map(Fraction::clamped), WaterFlow::from_kilograms_per_hour(3.0).unwrap())),
        }
    }

    /// Says 16 °C, 90 % and 2 L/h whenever it is asked, and lives with `truth` from minute to minute.
    fn run(scorer: &mut Scorer, minutes: std::ops::Range<i64>, truth: impl Fn(i64) -> Truth) {
        for minute in minutes {
            let (now, truth) = (now(minute), truth(minute));
            scorer.read(&truth, &now);
            scorer.settle(&truth, now.wall);
            if scorer.is_due(now.wall) {
                let air = (Temperature::clamped(16.0), RelativeHumidity::clamped(0.9));
                scorer.keep(now.wall, |_| Some(air), |lead| Some(2.0 * lead as f64));
            }
        }
    }

    #[test]
    fn a_constant_error_is_found_at_every_lead_time_with_one_sample_for_each_three_hours() {
        let mut scorer = Scorer::default();
        run(&mut scorer, 0..(72 * 60 + 1), |_| truth(15.5, 92.0, Some(0.5)));
        for (lead, air) in LEADS.iter().zip(scorer.score.air) {
            assert_eq!(i64::from(air.temperature.samples), (72 - lead) / 3 + 1, "{lead} h");
            assert!((air.temperature.bias - 0.5).abs() < 1e-9 && (air.temperature.absolute - 0.5).abs() < 1e-9);
            assert!((air.relative_humidity.bias + 0.02).abs() < 1e-9, "{air:?}");
        }
        for (lead, water) in WATER_LEADS.iter().zip(scorer.score.water) {
            let lead = *lead as f64;
            // Half of 3 L/h were drawn, and 2 L/h said.
            assert!((water.errors.bias - 0.5 * lead).abs() < 1e-6, "{water:?}");
            assert!((water.drawn - 1.5 * lead).abs() < 1e-6, "{water:?}");
        }
        assert!(scorer.waiting().0.len() <= MOST_WAITING / 2 && scorer.waiting().1.len() <= MOST_WATER_WAITING / 2);
    }

    #[test]
    fn an_hour_that_is_not_heard_in_time_is_not_scored_and_each_sensor_counts_by_itself() {
        let mut scorer = Scorer::default();
        let silent = Truth { temperature: None, relative_humidity: None, ..truth(16.0, 90.0, None) };
        run(&mut scorer, 0..180, |_| truth(16.0, 90.0, None));
        run(&mut scorer, 180..186, |_| silent);
        run(&mut scorer, 186..187, |_| Truth { relative_humidity: None, ..truth(15.0, 90.0, None) });
        run(&mut scorer, 187..360, |_| silent);
        let three = scorer.score.air[0];
        assert_eq!((three.temperature.samples, three.relative_humidity.samples), (1, 0), "{three:?}");
        assert!((three.temperature.bias - 1.0).abs() < 1e-9);
        run(&mut scorer, 360..372, |_| silent);
        run(&mut scorer, 372..400, |_| truth(16.0, 90.0, None));
        assert_eq!(scorer.score.air[0].temperature.samples, 1, "twelve minutes late");
    }

    #[test]
    fn water_is_scored_only_where_the_humidifier_was_heard_nearly_all_the_time() {
        let lived = |unheard: i64| {
            let mut scorer = Scorer::default();
            run(&mut scorer, 0..(12 * 60 + 1), |minute| {
                truth(16.0, 90.0, (!(100..100 + unheard).contains(&minute)).then_some(1.0))
            });
            scorer.score.water[0].errors.samples
        };
        assert_eq!((lived(10), lived(20)), (1, 0), "2 % of 12 h are 14 min");
    }

    #[test]
    fn a_stop_of_known_length_costs_the_water_of_its_time_and_one_of_unknown_length_all() {
        for (stopped, samples) in [(Some(8), 1), (Some(40), 0), (None, 0), (Some(-30), 0)] {
            let mut scorer = Scorer::default();
            run(&mut scorer, 0..300, |_| truth(16.0, 90.0, Some(1.0)));
            scorer.resume(stopped.map(SignedDuration::from_mins));
            run(&mut scorer, 308..(12 * 60 + 1), |_| truth(16.0, 90.0, Some(1.0)));
            assert_eq!(scorer.score.water[0].errors.samples, samples, "{stopped:?}");
            assert!(scorer.score.air[0].temperature.samples >= 2, "what is said of the air goes on");
        }
    }

    #[test]
    fn what_is_forgotten_is_not_scored_and_what_was_scored_stays() {
        let mut scorer = Scorer::default();
        run(&mut scorer, 0..400, |_| truth(15.0, 90.0, Some(1.0)));
        let before = scorer.score;
        scorer.forget();
        run(&mut scorer, 400..579, |_| truth(11.0, 70.0, Some(1.0)));
        assert_eq!(scorer.score, before);
        run(&mut scorer, 579..581, |_| truth(11.0, 70.0, Some(1.0)));
        assert_eq!(scorer.score.air[0].temperature.samples, before.air[0].temperature.samples + 1, "anew from then on");
    }

    #[test]
    fn memory_is_bounded_whatever_is_restored_and_however_often_the_clock_is_set() {
        let said = |lead, hour: i64| AirSaid { lead, moment: now(60 * hour).wall, celsius: Some(1.0), humidity: None };
        let many = (0..5_000).map(|hour| said(48, hour)).chain([said(5, 0)]).collect();
        let water =
            |hour: i64| WaterSaid { lead: 24, moment: now(60 * hour).wall, litres: 1.0, meter: 0.0, unheard: 0.0 };
        let mut scorer = Scorer::new(RoomScore::default(), Meter::default(), many, (0..5_000).map(water).collect());
        assert_eq!(scorer.waiting().0.len(), MOST_WAITING);
        assert_eq!(scorer.waiting().1.len(), MOST_WATER_WAITING);
        let air = (Temperature::clamped(16.0), RelativeHumidity::clamped(0.9));
        for hour in (0..2_000).rev() {
            scorer.keep(now(60 * hour).wall, |_| Some(air), |_| Some(1.0));
        }
        assert!(scorer.waiting().0.len() <= MOST_WAITING && scorer.waiting().1.len() <= MOST_WATER_WAITING);
    }
}
