//! How well forecasts have turned out at this farm.
//!
//! Every full hour the daemon keeps what it expects for some hours ahead; when such an hour comes, its own outdoor sensor
//! says what became of it. What is scored is the forecast as it was used, with the offset in it. Errors are forecast minus
//! truth, averaged over about the last month of each lead time.

use jiff::{SignedDuration, Timestamp};

use super::{
    correction::{Spread, SpreadRow},
    forecast::{OutdoorAir, Service},
};
use crate::units::{Fraction, TemperatureDifference};

/// Lead times that are scored, in hours.
pub const LEADS: [i64; 6] = [3, 6, 12, 24, 36, 48];
/// What is waited for at most: of each lead time one for each of its hours, and as many again after a clock was set.
const MOST_WAITING: usize = 2 * (3 + 6 + 12 + 24 + 36 + 48);
/// Services that are remembered: the two that are configured, the last days carried on, and one of an earlier choice.
const MOST_SERVICES: usize = 4;
/// A sensor that speaks this long after the hour still says what became of it.
const IN_TIME: SignedDuration = SignedDuration::from_mins(10);
/// Averages reach back over about this many samples, a month of hours.
const WINDOW: u32 = 720;
/// Samples of a lead time from which on its score stands for the published one: two weeks of hours. Neighbouring hours
/// err alike, so that they are worth about as many days.
pub const ENOUGH: u32 = 336;
/// Smallest errors that are believed, in K and as a share: sensors err too.
const SMALLEST: (f64, f64) = (0.3, 0.02);

/// What was expected for a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// Whose forecast it was.
    pub service: Service,
    /// Hours ahead, one of [`LEADS`].
    pub lead: i64,
    /// The moment.
    pub moment: Timestamp,
    /// Temperature, in °C.
    pub celsius: f64,
    /// Vapour pressure, in Pa.
    pub pascals: f64,
    /// Humidity ratio, in kg/kg.
    pub humidity_ratio: f64,
}

/// Average errors of one lead time.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LeadScore {
    /// Samples, all that there were.
    pub samples: u32,
    /// Mean error of the temperature, in K: positive where it turned out colder.
    pub bias: f64,
    /// Mean absolute error of the temperature, in K.
    pub absolute: f64,
    /// Mean error of the humidity ratio, in kg/kg: positive where it turned out drier.
    pub moisture_bias: f64,
    /// Mean absolute error of the humidity ratio, in kg/kg.
    pub moisture_absolute: f64,
    /// Mean absolute error of the vapour pressure, as a share of the truth.
    pub vapour_share: f64,
    /// Samples for which frost was forecast.
    pub frost_samples: u32,
    /// Mean error of the temperature among them, in K.
    pub frost_bias: f64,
}

impl LeadScore {
    fn add(&mut self, said: &Expectation, truth: OutdoorAir, humidity_ratio: f64) {
        let error = said.celsius - truth.temperature.celsius();
        let moisture = said.humidity_ratio - humidity_ratio;
        let pascals = truth.vapour_pressure.pascals();
        let share = ((said.pascals - pascals) / pascals).abs();
        if ![error, moisture, share].iter().all(|value| value.is_finite()) {
            return;
        }
        self.samples = self.samples.saturating_add(1);
        let towards =
            |mean: &mut f64, value: f64, samples: u32| *mean += (value - *mean) / f64::from(samples.min(WINDOW));
        for (mean, value) in [
            (&mut self.bias, error),
            (&mut self.absolute, error.abs()),
            (&mut self.moisture_bias, moisture),
            (&mut self.moisture_absolute, moisture.abs()),
            (&mut self.vapour_share, share),
        ] {
            towards(mean, value, self.samples);
        }
        if said.celsius <= 0.0 {
            self.frost_samples = self.frost_samples.saturating_add(1);
            towards(&mut self.frost_bias, error, self.frost_samples);
        }
    }
}

/// The score of one service's forecasts, by [`LEADS`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ServiceScore {
    /// Whose.
    pub service: Service,
    /// In the order of [`LEADS`].
    pub leads: [LeadScore; LEADS.len()],
}

/// The scores, and what is waited for. Bounded.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Score {
    /// Of each service that was in use, the latest last.
    services: Vec<ServiceScore>,
    waiting: Vec<Expectation>,
    /// The full hour for which expectations were kept last.
    kept: Option<Timestamp>,
}

impl Score {
    /// From an earlier run; what is more than the bounds, the oldest first, is left out.
    pub fn new(mut services: Vec<ServiceScore>, mut waiting: Vec<Expectation>) -> Self {
        waiting.retain(|said| LEADS.contains(&said.lead));
        let surplus = waiting.len().saturating_sub(MOST_WAITING);
        waiting.drain(..surplus);
        let surplus = services.len().saturating_sub(MOST_SERVICES);
        services.drain(..surplus);
        Self { services, waiting, kept: None }
    }

    /// Of each service that was in use.
    pub fn services(&self) -> &[ServiceScore] {
        &self.services
    }

    /// What is waited for.
    pub fn waiting(&self) -> &[Expectation] {
        &self.waiting
    }

    /// Whether expectations should be kept now: once in each hour.
    pub fn is_due(&self, now: Timestamp) -> bool {
        full_hour(now) != self.kept && full_hour(now).is_some()
    }

    /// Keeps what `expected` says of each lead time from the last full hour on. What was already kept for a moment and a
    /// lead time, before a restart within the hour, stays.
    pub fn keep(&mut self, now: Timestamp, mut expected: impl FnMut(i64, Timestamp) -> Option<Expectation>) {
        let Some(hour) = full_hour(now) else { return };
        self.kept = Some(hour);
        for lead in LEADS {
            let Ok(moment) = hour.checked_add(SignedDuration::from_hours(lead)) else { continue };
            let known = self.waiting.iter().any(|said| (said.lead, said.moment) == (lead, moment));
            if let Some(said) = expected(lead, moment).filter(|_| !known) {
                self.waiting.push(said);
            }
        }
        let surplus = self.waiting.len().saturating_sub(MOST_WAITING);
        self.waiting.drain(..surplus);
    }

    /// Scores every expectation whose hour has just come, by the air that the sensor says; forgets those whose hour went
    /// by unheard. Returns whether anything was scored.
    pub fn settle(&mut self, truth: Option<(OutdoorAir, f64)>, now: Timestamp) -> bool {
        let (come, waiting): (Vec<_>, Vec<_>) = self.waiting.drain(..).partition(|said| said.moment <= now);
        self.waiting = waiting;
        let mut scored = false;
        for said in come {
            let late = now.duration_since(said.moment);
            match truth {
                Some((air, humidity_ratio)) if late <= IN_TIME => {
                    let index = LEADS.iter().position(|lead| *lead == said.lead);
                    if let Some(lead) = index.map(|index| &mut self.of(said.service).leads[index]) {
                        lead.add(&said, air, humidity_ratio);
                        scored = true;
                    }
                }
                None if late <= IN_TIME => self.waiting.push(said),
                _ => {}
            }
        }
        scored
    }

    fn of(&mut self, service: Service) -> &mut ServiceScore {
        let index = self.services.iter().position(|score| score.service == service).unwrap_or_else(|| {
            if self.services.len() >= MOST_SERVICES {
                self.services.remove(0);
            }
            self.services.push(ServiceScore { service, leads: Default::default() });
            self.services.len() - 1
        });
        &mut self.services[index]
    }

    /// The spread of a service's forecasts: its own score where there is enough of it, else `base`.
    pub fn spread(&self, service: Service, base: &Spread) -> Spread {
        let Some(score) = self.services.iter().find(|score| score.service == service) else { return base.clone() };
        let own = LEADS.iter().zip(&score.leads).filter(|(_, lead)| lead.samples >= ENOUGH).map(|(hours, lead)| {
            let hours = SignedDuration::from_hours(*hours);
            let published = base.row(hours);
            let frost = if lead.frost_samples >= ENOUGH / 2 {
                TemperatureDifference::clamped(lead.frost_bias.max(0.0))
            } else {
                published.colder_in_frost
            };
            SpreadRow {
                lead: hours,
                temperature: TemperatureDifference::clamped(lead.absolute.max(SMALLEST.0)),
                vapour: Fraction::clamped(lead.vapour_share.max(SMALLEST.1)),
                colder_in_frost: frost,
                own: true,
            }
        });
        base.with_own(own.collect())
    }
}

/// The last full hour.
fn full_hour(now: Timestamp) -> Option<Timestamp> {
    Timestamp::from_second(now.as_second().div_euclid(3_600) * 3_600).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Temperature, VapourPressure};

    const SERVICE: Service = Service::new("test-only", "A test", "");

    fn moment(minutes: i64) -> Timestamp {
        Timestamp::from_second(1_799_366_400 + 60 * minutes).unwrap()
    }

    fn air(celsius: f64, pascals: f64) -> OutdoorAir {
        OutdoorAir {
            temperature: Temperature::from_celsius(celsius).unwrap(),
            vapour_pressure: VapourPressure::from_pascals(pascals).unwrap(),
        }
    }

    fn expectation(lead: i64, moment: Timestamp, celsius: f64) -> Expectation {
        Expectation { service: SERVICE, lead, moment, celsius, pascals: 440.0, humidity_ratio: 0.002_75 }
    }

    /// Every hour the same expectation, and every ten minutes the same truth.
    fn run(score: &mut Score, hours: std::ops::Range<i64>, expected: f64, truth: f64) {
        for minutes in ((hours.start * 60)..(hours.end * 60)).step_by(10) {
            let now = moment(minutes);
            if score.is_due(now) {
                score.keep(now, |lead, moment| Some(expectation(lead, moment, expected)));
            }
            score.settle(Some((air(truth, 400.0), 0.002_5)), now);
        }
    }

    fn lead(score: &Score, hours: i64) -> LeadScore {
        score.services()[0].leads[LEADS.iter().position(|lead| *lead == hours).unwrap()]
    }

    #[test]
    fn each_lead_time_is_scored_once_an_hour_from_its_first_hour_on() {
        let mut score = Score::default();
        run(&mut score, 0..50, -3.0, -5.0);
        for (hours, samples) in [(3, 47), (24, 26), (48, 2)] {
            let lead = lead(&score, hours);
            assert_eq!(lead.samples, samples, "{hours} h");
            assert!((lead.bias - 2.0).abs() < 1e-9 && (lead.absolute - 2.0).abs() < 1e-9);
            assert!((lead.moisture_bias - 0.000_25).abs() < 1e-12);
            assert!((lead.vapour_share - 0.1).abs() < 1e-9);
            assert_eq!(lead.frost_samples, samples);
        }
        assert!(score.waiting().len() <= 3 + 6 + 12 + 24 + 36 + 48);
    }

    #[test]
    fn errors_in_both_directions_cancel_in_the_bias_and_not_in_the_absolute_error() {
        let mut score = Score::default();
        run(&mut score, 0..24, -3.0, -5.0);
        run(&mut score, 24..48, -3.0, -1.0);
        let lead = lead(&score, 3);
        assert!(lead.bias.abs() < 0.4, "{}", lead.bias);
        assert!((lead.absolute - 2.0).abs() < 1e-9);
    }

    #[test]
    fn an_hour_that_nobody_hears_is_not_scored_and_one_that_is_heard_ten_minutes_late_is() {
        let mut score = Score::default();
        score.keep(moment(0), |lead, moment| Some(expectation(lead, moment, 0.0)));
        assert!(!score.settle(None, moment(181)));
        assert!(score.settle(Some((air(0.0, 400.0), 0.002_5)), moment(189)));
        assert!(!score.settle(None, moment(361)));
        assert!(!score.settle(Some((air(0.0, 400.0), 0.002_5)), moment(371)));
        assert_eq!(score.waiting().len(), 4);
    }

    #[test]
    fn a_month_of_another_weather_replaces_the_old_score() {
        let mut score = Score::default();
        run(&mut score, 0..500, 0.0, 4.0);
        run(&mut score, 500..3_500, 0.0, 1.0);
        let lead = lead(&score, 3);
        assert!((1.0..1.1).contains(&lead.absolute), "{}", lead.absolute);
    }

    #[test]
    fn a_lead_time_has_its_own_spread_after_two_weeks_and_not_before() {
        let published = Spread::published();
        let mut score = Score::default();
        let at = |score: &Score, hours| score.spread(SERVICE, &published).at(SignedDuration::from_hours(hours));
        run(&mut score, 0..338, -3.0, -5.0);
        assert_eq!(at(&score, 24), published.at(SignedDuration::from_hours(24)));
        run(&mut score, 338..361, -3.0, -5.0);
        assert_ne!(at(&score, 3), published.at(SignedDuration::from_hours(3)), "339 samples");
        let day = at(&score, 24);
        assert!((day.colder.kelvins() - Spread::ONE_IN_TEN * 2.0).abs() < 1e-9, "{day:?}");
        assert!((day.colder_in_frost.kelvins() - 2.0).abs() < 1e-9, "own frosts");
        assert!(!score.spread(SERVICE, &published).row(SignedDuration::from_hours(48)).own, "313 samples");
        assert!((at(&score, 48).colder.kelvins() - Spread::ONE_IN_TEN * 2.0).abs() < 1e-9, "no better than 24 h");
        assert_eq!(score.spread(Service::PERSISTENCE, &published), published, "another's score");
    }

    #[test]
    fn memory_is_bounded_whatever_is_restored_and_however_often_the_clock_is_set() {
        let many: Vec<_> = (0..5_000).map(|hour| expectation(48, moment(60 * hour), 0.0)).collect();
        let odd = vec![expectation(5, moment(0), 0.0)];
        assert_eq!(Score::new(Vec::new(), odd).waiting().len(), 0);
        let mut score = Score::new(Vec::new(), many);
        assert_eq!(score.waiting().len(), MOST_WAITING);
        for hour in (0..2_000).rev() {
            score.keep(moment(60 * hour), |lead, moment| Some(expectation(lead, moment, 0.0)));
        }
        assert_eq!(score.waiting().len(), MOST_WAITING);
    }
}
