//! What the outdoor sensor has taught, in the state file: short, because there are many numbers.

use serde::{Deserialize, Serialize};

use super::{BadState, Moment, all, rounded};
use crate::{
    engine::memory::KeptLearned,
    model::{
        Service,
        persistence::{History, HourMean},
        score::{Expectation, LEADS, LeadScore, Score, ServiceScore},
    },
    wire::weather,
};

#[derive(Debug, Serialize, Deserialize)]
pub(super) struct LearnedBody {
    latitude: f64,
    longitude: f64,
    /// Full hours since 1970, °C, natural logarithm of the vapour pressure in Pa, samples.
    hours: Vec<(i64, f64, f64, u32)>,
    scores: Vec<ScoreBody>,
    /// Service, lead time in hours, moment, °C, vapour pressure in Pa, humidity ratio in g/kg.
    waiting: Vec<(String, i64, Moment, f64, f64, f64)>,
}

/// Of a lead time: samples; bias and absolute error in K, in g/kg; share of the vapour pressure; samples and bias in
/// frost.
type LeadRow = (u32, f64, f64, f64, f64, f64, u32, f64);

#[derive(Debug, Serialize, Deserialize)]
struct ScoreBody {
    service: String,
    /// By lead time.
    leads: Vec<LeadRow>,
}

impl LearnedBody {
    pub fn of(kept: &KeptLearned) -> Self {
        let hours = kept.history.hours().map(|mean| {
            let hour = mean.hour.as_second().div_euclid(3_600);
            (hour, rounded(mean.celsius, 3), rounded(mean.log_vapour, 4), mean.samples)
        });
        let waiting = kept.score.waiting().iter().map(|said| {
            let (celsius, pascals) = (rounded(said.celsius, 3), rounded(said.pascals, 2));
            let grams = rounded(said.humidity_ratio * 1_000.0, 5);
            (said.service.name().to_owned(), said.lead, Moment(said.moment), celsius, pascals, grams)
        });
        Self {
            latitude: rounded(kept.latitude, 4),
            longitude: rounded(kept.longitude, 4),
            hours: hours.collect(),
            scores: kept.score.services().iter().map(ScoreBody::of).collect(),
            waiting: waiting.collect(),
        }
    }

    pub fn into_kept(self) -> Result<KeptLearned, BadState> {
        let hours = all(self.hours, |(hour, celsius, log_vapour, samples)| {
            let second = hour.checked_mul(3_600).and_then(|second| jiff::Timestamp::from_second(second).ok());
            let hour = second.ok_or_else(|| BadState::Word(hour.to_string()))?;
            Ok(HourMean { hour, celsius, log_vapour, samples })
        })?;
        let waiting = all(self.waiting, |(name, lead, moment, celsius, pascals, grams)| {
            let (service, humidity_ratio) = (service(name)?, grams / 1_000.0);
            Ok(Expectation { service, lead, moment: moment.0, celsius, pascals, humidity_ratio })
        })?;
        let score = Score::new(all(self.scores, ScoreBody::into_score)?, waiting);
        let (latitude, longitude) = (self.latitude, self.longitude);
        Ok(KeptLearned { history: History::new(hours), score, latitude, longitude })
    }
}

fn service(name: String) -> Result<Service, BadState> {
    if name == Service::PERSISTENCE.name() {
        return Ok(Service::PERSISTENCE);
    }
    weather::named(&name).map(|protocol| protocol.service).ok_or(BadState::Word(name))
}

impl ScoreBody {
    fn of(score: &ServiceScore) -> Self {
        let leads = score.leads.iter().map(|lead| {
            (
                lead.samples,
                rounded(lead.bias, 4),
                rounded(lead.absolute, 4),
                rounded(lead.moisture_bias * 1_000.0, 5),
                rounded(lead.moisture_absolute * 1_000.0, 5),
                rounded(lead.vapour_share, 5),
                lead.frost_samples,
                rounded(lead.frost_bias, 4),
            )
        });
        Self { service: score.service.name().to_owned(), leads: leads.collect() }
    }

    fn into_score(self) -> Result<ServiceScore, BadState> {
        let mut leads = [LeadScore::default(); LEADS.len()];
        for (
            lead,
            (samples, bias, absolute, moisture_bias, moisture_absolute, vapour_share, frost_samples, frost_bias),
        ) in leads.iter_mut().zip(self.leads)
        {
            *lead = LeadScore {
                samples,
                bias,
                absolute,
                moisture_bias: moisture_bias / 1_000.0,
                moisture_absolute: moisture_absolute / 1_000.0,
                vapour_share,
                frost_samples,
                frost_bias,
            };
        }
        Ok(ServiceScore { service: service(self.service)?, leads })
    }
}
