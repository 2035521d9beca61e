//! What a room's crop gives off, learned from its carbon dioxide.
//!
//! The balance of a quarter of an hour gives one finding. A person who works in the room for twenty minutes is in it like
//! the crop, so the crop's output is the median of three hours' findings. What has changed for longer than a visit is
//! followed sooner: three findings in a row to the same side, each plainly off, and what was found before is forgotten.
//!
//! A crop breathes more where it is warmer. Findings are kept as they would be at the room's preferred temperature, so that those of
//! a warm afternoon still hold in the cold night after it.

use std::{collections::VecDeque, time::Duration};

use jiff::Timestamp;

use super::{evened::evened, memory::KeptEmission};
use crate::{
    model::{
        Now, Room,
        balance::{Span, emission_between},
        farm::Crop,
        room::Emission,
    },
    physics::MoistAir,
    units::{AirFlow, CarbonDioxide, CarbonDioxideFlow, Temperature},
};

/// Stretch of time over which a finding is made: several sensor lags, and about one air change.
const SPAN: Duration = Duration::from_secs(900);
/// Findings that the median is taken of: three hours of them.
const FINDINGS: usize = 12;
/// A crop that is heard is known by then.
const LEARNED_WITHIN: Duration = Duration::from_secs(3_600);
/// Every sensor has spoken by then.
const FIRST_WORDS: Duration = Duration::from_secs(600);
/// Noise of a carbon dioxide sensor is evened out over this time; that of the supply and of the temperature, which move slowly,
/// over four times as long.
const EVENED_OVER: Duration = Duration::from_secs(240);
/// So many findings in a row are no visit.
const NO_VISIT: usize = 3;
/// A finding that differs from the median by more than this share of it is plainly off.
const PLAINLY_OFF: f64 = 0.1;
/// A fan that moves by more than this share of its capacity begins a new stretch.
const SAME_FLOW: f64 = 0.02;

/// What is known of it.
#[derive(Debug, Clone)]
pub(super) struct CropOutput {
    /// When listening began.
    began: Duration,
    /// The last findings, the oldest first, in g/h at the preferred temperature.
    found: VecDeque<f64>,
    /// When the last one was made; `None` where the clock was not trusted then.
    at: Option<Timestamp>,
    /// When the first one was made, or taken over from an earlier run.
    since: Option<Timestamp>,
    /// When the first outlook was made that rests on it.
    foreseen: Option<Timestamp>,
    span: Option<OpenSpan>,
    /// Carbon dioxide as a mean over some minutes, with the time of the last reading in it.
    smooth: Option<(Duration, f64)>,
    /// Carbon dioxide of the supply, likewise.
    smooth_supply: Option<(Duration, f64)>,
    /// Temperature of the room, likewise.
    smooth_temperature: Option<(Duration, f64)>,
}

/// A stretch of carbon dioxide readings that a finding is being made from.
#[derive(Debug, Clone, Copy)]
struct OpenSpan {
    since: Duration,
    before: f64,
    sum: f64,
    count: f64,
    flow: AirFlow,
    last_at: Duration,
}

/// What is heard of a room's air.
#[derive(Debug, Clone, Copy)]
pub(super) struct Heard<'a> {
    pub room: &'a Room,
    pub inside: &'a MoistAir,
    /// Its temperature, without its sensor's noise.
    pub temperature: Temperature,
    /// The room's carbon dioxide and when it was heard, as [`Now::elapsed`]; `None` where it is not.
    pub carbon_dioxide: Option<(CarbonDioxide, Duration)>,
    /// Of the air that is supplied.
    pub supply: CarbonDioxide,
    /// Fresh air that is advised, taken for the real one.
    pub flow: Option<AirFlow>,
}

impl CropOutput {
    pub const fn new(now: &Now) -> Self {
        Self {
            began: now.elapsed,
            found: VecDeque::new(),
            at: None,
            since: None,
            foreseen: None,
            span: None,
            smooth: None,
            smooth_supply: None,
            smooth_temperature: None,
        }
    }

    /// The crop has become another one: nothing is known of what it gives off.
    pub fn forget(&mut self) {
        self.found.clear();
        (self.at, self.since, self.foreseen, self.span) = (None, None, None, None);
    }

    /// What the crop gives off in `room` at `temperature`, in g/h; `None` before the first finding.
    pub fn usual(&self, room: &Room, temperature: Temperature) -> Option<f64> {
        let at = room.bands.temperature.preferred;
        Some(breathing(self.middle()?, at, temperature))
    }

    /// The same at the preferred temperature.
    fn middle(&self) -> Option<f64> {
        let mut sorted: Vec<f64> = self.found.iter().copied().collect();
        sorted.sort_by(f64::total_cmp);
        let middle = sorted.len() / 2;
        let upper = sorted.get(middle).copied()?;
        Some(if sorted.len().is_multiple_of(2) { 0.5 * (sorted[middle - 1] + upper) } else { upper })
    }

    /// What is kept for the next run: nothing where its age would not be known.
    pub fn kept(&self) -> Option<KeptEmission> {
        self.middle().zip(self.at).map(|(grams_per_hour, at)| KeptEmission { grams_per_hour, at })
    }

    /// Takes over what an earlier run has kept.
    pub fn remember(&mut self, kept: KeptEmission) {
        (self.at, self.since) = (Some(kept.at), Some(kept.at));
        self.found = VecDeque::from([kept.grams_per_hour]);
    }

    /// Whether the crop of `room` is still to be heard, so that an outlook made at `made` rests on the catalogue's upper
    /// figure and better will be known within the hour.
    pub fn is_learning(&self, made: Timestamp, now: &Now) -> bool {
        now.since(self.began) < LEARNED_WITHIN && self.since.is_none_or(|since| made < since)
    }

    /// An outlook of the room has been made.
    pub fn foresee(&mut self, made: Timestamp) {
        if self.since.is_some_and(|since| made >= since) {
            self.foreseen = self.foreseen.or(Some(made));
        }
    }

    /// Whether the crop is still to be heard, so that the outlook of another room, made at `made`, rests on what was guessed.
    pub fn is_guessed_elsewhere(&self, made: Timestamp, now: &Now) -> bool {
        now.since(self.began) < LEARNED_WITHIN && self.foreseen.is_none_or(|foreseen| made <= foreseen)
    }

    /// Whether listening has only just begun.
    pub fn is_new(&self, now: &Now) -> bool {
        now.since(self.began) < FIRST_WORDS
    }

    /// Carbon dioxide of the supply, without its sensor's noise.
    pub fn even_supply(&mut self, supply: CarbonDioxide, now: &Now) -> CarbonDioxide {
        let ppm = supply.parts_per_million();
        CarbonDioxide::clamped(evened(&mut self.smooth_supply, ppm, now.elapsed, 4 * EVENED_OVER))
    }

    /// What was last evened: carbon dioxide of the room.
    pub fn carbon_dioxide(&self) -> Option<CarbonDioxide> {
        self.smooth.map(|(_, ppm)| CarbonDioxide::clamped(ppm))
    }

    /// Its temperature.
    pub fn temperature(&self) -> Option<Temperature> {
        self.smooth_temperature.map(|(_, celsius)| Temperature::clamped(celsius))
    }

    /// Carbon dioxide of the supply.
    pub fn supply(&self) -> Option<CarbonDioxide> {
        self.smooth_supply.map(|(_, ppm)| CarbonDioxide::clamped(ppm))
    }

    /// Temperature of the room, without its sensor's noise.
    pub fn even_temperature(&mut self, temperature: Temperature, now: &Now) -> Temperature {
        let celsius = temperature.celsius();
        Temperature::clamped(evened(&mut self.smooth_temperature, celsius, now.elapsed, 4 * EVENED_OVER))
    }

    /// Takes in what is heard. Where the grower gives less air than advised, findings come out high and more is advised:
    /// the error is on the careful side. They stay within a third of the catalogue's middle and three times its upper
    /// value.
    pub fn hear(&mut self, heard: &Heard<'_>, now: &Now) {
        let Some((carbon_dioxide, at)) = heard.carbon_dioxide else {
            (self.span, self.smooth) = (None, None);
            return;
        };
        let ppm = carbon_dioxide.parts_per_million();
        let smooth = evened(&mut self.smooth, ppm, at, EVENED_OVER);
        let (Some(crop), Some(flow)) = (&heard.room.crop, heard.flow) else { return };
        let opened = OpenSpan { since: at, before: smooth, sum: ppm, count: 1.0, flow, last_at: at };
        let span = self.span.get_or_insert(opened);
        let moved = (span.flow.cubic_metres_per_hour() - flow.cubic_metres_per_hour()).abs();
        if moved > SAME_FLOW * heard.room.fan.capacity.cubic_metres_per_hour() {
            self.span = Some(opened);
            return;
        }
        if at > span.last_at {
            span.sum += ppm;
            span.count += 1.0;
            span.last_at = at;
        }
        let length = at.saturating_sub(span.since);
        if length < SPAN || span.count < 5.0 {
            return;
        }
        let whole = Span {
            before: span.before,
            after: smooth,
            mean: span.sum / span.count,
            supply: heard.supply.parts_per_million(),
            hours: length.as_secs_f64() / 3_600.0,
        };
        let found = emission_between(heard.room, flow, heard.inside, &whole);
        let found = breathing(found, heard.temperature, heard.room.bands.temperature.preferred);
        let (lowest, highest) = bounds(crop);
        self.find(found.clamp(lowest, highest), now);
        self.span = None;
    }

    fn find(&mut self, found: f64, now: &Now) {
        self.found.push_back(found);
        let before = self.found.len().saturating_sub(NO_VISIT);
        let usual = self.middle().unwrap_or(found);
        let mut lately = self.found.range(before..).map(|found| found / usual - 1.0);
        if lately.clone().all(|off| off > PLAINLY_OFF) || lately.all(|off| off < -PLAINLY_OFF) {
            self.found.drain(..before);
        }
        while self.found.len() > FINDINGS {
            self.found.pop_front();
        }
        self.at = now.trusted.then_some(now.wall);
        self.since = self.since.or(self.at);
    }
}

/// What gives off `grams` an hour at one temperature, at another one.
fn breathing(grams: f64, at: Temperature, temperature: Temperature) -> f64 {
    Emission { rate: CarbonDioxideFlow::clamped(grams), at }.in_room_at(temperature).grams_per_hour()
}

/// Between these, in g/h, a finding of what `crop` gives off at its preferred temperature is believed.
pub(super) fn bounds(crop: &Crop) -> (f64, f64) {
    let middle = crop.substrate.kilograms() * crop.respiration.middle;
    let upper = crop.substrate.kilograms() * crop.respiration.upper;
    (middle / 3.0, upper * 3.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        model::{Identifier, Species, Stage},
        units::Volume,
    };

    fn now(seconds: u64) -> Now {
        Now { elapsed: Duration::from_secs(seconds), wall: Timestamp::UNIX_EPOCH, trusted: true }
    }

    #[test]
    fn a_visit_is_not_the_crop_and_a_crop_that_has_changed_is_known_within_the_hour() {
        let mut output = CropOutput::new(&now(0));
        assert_eq!(output.middle(), None);
        for _ in 0..20 {
            output.find(100.0, &now(0));
        }
        assert_eq!(output.found.len(), FINDINGS);
        for found in [180.0, 180.0, 105.0, 70.0, 100.0, 98.0] {
            output.find(found, &now(0));
            assert_eq!(output.middle(), Some(100.0), "{found}");
        }
        for (found, usual) in
            [(150.0, 100.0), (150.0, 100.0), (150.0, 150.0), (80.0, 150.0), (80.0, 150.0), (80.0, 80.0)]
        {
            output.find(found, &now(0));
            assert_eq!(output.middle(), Some(usual), "{found}");
        }
    }

    /// 2.66 times less for 10 K, by the measurements that the model names.
    #[test]
    fn a_crop_is_known_at_other_temperatures_than_it_was_heard_at() {
        let crop = Species::Oyster.entry(Stage::Fruiting);
        let name = Identifier::new("bay").unwrap();
        let room = Room::bare(name, Volume::from_cubic_metres(60.0).unwrap(), crop.bands());
        let preferred = room.bands.temperature.preferred;
        let warmer = |kelvins: f64| Temperature::from_celsius(preferred.celsius() + kelvins).unwrap();
        let mut output = CropOutput::new(&now(0));
        output.find(breathing(60.0, warmer(-4.0), preferred), &now(0));
        for (kelvins, expected) in [(-4.0, 60.0), (6.0, 60.0 * 2.66), (-14.0, 60.0 / 2.66)] {
            let found = output.usual(&room, warmer(kelvins)).unwrap();
            assert!((found / expected - 1.0).abs() < 1e-9, "{found} for {expected} at {kelvins} K");
        }
    }

    #[test]
    fn what_an_earlier_run_has_found_is_where_this_one_begins() {
        let mut output = CropOutput::new(&now(0));
        output.remember(KeptEmission { grams_per_hour: 80.0, at: Timestamp::UNIX_EPOCH });
        assert_eq!(output.middle(), Some(80.0));
        output.find(90.0, &now(0));
        assert_eq!(output.middle(), Some(85.0));
        output.forget();
        assert_eq!(output.kept(), None);
    }
}
