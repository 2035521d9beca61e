//! One room's turn: readings and supply in, moisture, advice and alert conditions out.

use std::{collections::VecDeque, time::Duration};

use jiff::Timestamp;

use super::{
    crop_output::{CropOutput, Heard},
    evened::evened,
    inputs::{Draw, Inputs},
    memory::KeptEmission,
    snapshot::{Moisture, RoomState},
    spell::ThirdDay,
    turn::Seen,
};
use crate::{
    advice::{
        Alert, AlertKind, Decision, Reason,
        cooling::{self, Cooling},
        decide::{self, AirAdvice, AirSituation, MoistureAdvice, MoistureSituation},
        drying,
        setpoint::AirCause,
    },
    model::{
        Now, Reading, Reckoned, Room,
        balance::Inflow,
        fusion::Spreads,
        outlook::NoOutlook,
        room_score::{RoomScore, Scorer},
        supply::as_it_enters,
    },
    physics::{BelowFreezing, MoistAir},
    units::{AirFlow, CarbonDioxide, HumidityRatio, Temperature, WaterFlow},
};

/// Advice is issued anew at least this often, so that `valid-until` never runs out while the daemon is well.
const REISSUE: Duration = Duration::from_secs(60);
/// A fan that has not been moved for so long may be moved for less.
const SETTLES_AFTER: Duration = Duration::from_secs(3_600);
/// Where no air speed is known, air at or above this dries nothing that a sensor of two points' accuracy can vouch for.
const WET_AIR: f64 = 0.975;
/// Caps that have had too moist air for so long have stayed wet.
pub(super) const CAPS_WET: Duration = Duration::from_secs(7_200);
/// Once caps are called wet, the air has to be drier by this to be over, as relative humidity.
const DRIER: f64 = 0.01;
/// A fan that reports for longer than this that it stands is off.
const FAN_OFF: Duration = Duration::from_secs(120);
/// What the humidifier reaches has changed where it differs by more than this, a ratio: beyond what noise does.
const REACH_STEPS: f64 = 0.05;
/// See [`RoomMemory::quarter_hour`].
const QUARTER_HOUR: Duration = Duration::from_secs(900);
const MINUTE: Duration = Duration::from_secs(60);
/// Danger is over when carbon dioxide is heard below this again, in ppm.
const DANGER_OVER: f64 = decide::PEOPLE_WARN;

/// What the engine remembers of a room between turns.
#[derive(Debug, Clone)]
pub(super) struct RoomMemory {
    pub state: RoomState,
    /// Fresh air advised last.
    pub last_flow: Option<AirFlow>,
    /// When that was another one last.
    moved: Option<Duration>,
    danger: bool,
    /// The day after those of the outlook.
    pub third_day: Option<ThirdDay>,
    /// Since when its air has been too moist for caps to dry.
    pub caps_wet_since: Option<Duration>,
    /// The fresh air that cools the room, if any does, and since when.
    cooling: Option<(AirFlow, Duration)>,
    /// Since when the fan reports that it stands.
    fan_off_since: Option<Duration>,
    issued: Option<Duration>,
    /// Carbon dioxide of the last quarter of an hour, minute by minute, the oldest first.
    lately: VecDeque<(Duration, CarbonDioxide)>,
    /// Relative humidity that its humidifier reaches at full duty, a ratio, as a mean over a quarter of an hour.
    reached: Option<(Duration, f64)>,
    /// What its crop gives off.
    pub crop_output: CropOutput,
    /// How fast water is drawn.
    pub draw: Draw,
    /// Keeps what its outlooks say, and scores it.
    pub scorer: Scorer,
    /// What surrounded it when it was looked at last.
    pub seen: Option<Seen>,
    /// Whether it has to be looked at in the next turn.
    pub touched: bool,
    /// Whether it is looked at in this turn.
    pub looked_at: bool,
    /// Whether anything of it has changed in this turn.
    pub turned: bool,
    /// Whether its hours ahead have changed in this turn.
    pub outlook_changed: bool,
    /// Its air and the fresh air decided when it was looked at last; `None` where nothing was known of its air.
    pub air_decided: Option<(MoistAir, AirAdvice)>,
    /// What its supply must hold for its own humidifier to do, where it draws from another room.
    pub supply_needed: Option<HumidityRatio>,
}

/// What surrounds a room in this turn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Surroundings<'a> {
    pub room: &'a Room,
    pub supply: Option<&'a MoistAir>,
    /// Whether that is measured; its humidity is a stand-in otherwise.
    pub supply_known: bool,
    pub outdoors: Option<HumidityRatio>,
    /// Temperature on the other side of the shell.
    pub shell_faces: Option<Temperature>,
    /// The coldest surface that a probe measures.
    pub probe: Option<Temperature>,
    /// What the rooms behind need their supply to hold.
    pub needed_behind: Option<HumidityRatio>,
    pub supply_carbon_dioxide: CarbonDioxide,
    pub drawn_by_others: AirFlow,
    pub now: &'a Now,
}

impl RoomMemory {
    pub fn new(now: &Now) -> Self {
        Self {
            state: RoomState {
                temperature: Reading::Never,
                relative_humidity: Reading::Never,
                carbon_dioxide: Reading::Never,
                air: None,
                spread: Spreads::default(),
                reckoned: Reckoned::default(),
                supply: None,
                moisture: None,
                outlook: None,
                levers: Vec::new(),
                no_outlook: Some(NoOutlook::NoRoomTemperature),
                carbon_dioxide_headroom: None,
                decision: decide::withheld(Reason::NoRoomTemperature, now),
                alerts: AlertKind::OF_ROOM.map(Alert::new).to_vec(),
                inputs: Inputs::default(),
                tank: None,
                outlook_score: RoomScore::default(),
                lives_until: now.elapsed,
            },
            last_flow: None,
            moved: None,
            danger: false,
            third_day: None,
            caps_wet_since: None,
            cooling: None,
            fan_off_since: None,
            issued: None,
            lately: VecDeque::new(),
            reached: None,
            crop_output: CropOutput::new(now),
            draw: Draw { last: now.elapsed, ..Draw::default() },
            scorer: Scorer::default(),
            seen: None,
            touched: true,
            looked_at: false,
            turned: false,
            outlook_changed: false,
            air_decided: None,
            supply_needed: None,
        }
    }

    /// When the advice must be issued anew, as [`Now::elapsed`].
    pub fn reissue_at(&self) -> Duration {
        self.issued.map_or(Duration::ZERO, |issued| issued + REISSUE)
    }

    /// Has the advice issued anew at this turn, whatever it says.
    pub fn reissue_now(&mut self) {
        self.issued = None;
    }

    /// State of the room's air, with the target humidity standing in where none is heard.
    pub fn inside(&self, room: &Room, pressure: crate::units::Pressure) -> Option<MoistAir> {
        if let Some(air) = self.state.air {
            return Some(air);
        }
        let temperature = self.state.temperature.fresh()?;
        MoistAir::from_sensor(temperature, decide::preferred_target(room), BelowFreezing::Water, pressure).ok()
    }

    /// Carbon dioxide at which people are in danger, with memory: it is over only when it is heard to be over.
    pub fn watch_danger(&mut self) {
        let reckoned = &self.state.reckoned;
        let ppm = |value: Option<CarbonDioxide>| value.map(CarbonDioxide::parts_per_million);
        // A sensor that is not believed can raise a danger, and cannot end one.
        if ppm(reckoned.carbon_dioxide_for_people).is_some_and(|ppm| ppm >= decide::PEOPLE_LEAVE) {
            self.danger = true;
        } else if !reckoned.carbon_dioxide_doubted && ppm(reckoned.carbon_dioxide).is_some_and(|ppm| ppm < DANGER_OVER)
        {
            self.danger = false;
        }
    }

    /// Notes since when the air has been too moist for caps to dry: by its drying power where the air's speed is known, else
    /// by its humidity. Once that alert is raised, it takes somewhat drier air to be over.
    pub fn watch_caps(&mut self, room: &Room, now: &Now) {
        let slack = if self.is_raised(AlertKind::CapsWet) { DRIER } else { 0.0 };
        let (air, wettest) = (self.state.air, self.state.reckoned.wettest);
        let wet = match (air, wettest, room.air_speed) {
            _ if room.crop.is_none() => false,
            (Some(air), Some(_), Some(speed)) => {
                drying::power(&air, speed) < drying::ACCEPTED.start() * (1.0 + 10.0 * slack)
            }
            (Some(_), Some(wettest), None) => wettest.ratio() >= WET_AIR - slack,
            _ => return,
        };
        self.caps_wet_since = if wet { self.caps_wet_since.or(Some(now.elapsed)) } else { None };
    }

    /// Notes carbon dioxide, at most once a minute, for [`Self::quarter_hour`].
    pub fn watch_carbon_dioxide(&mut self, now: &Now) {
        let Some(ppm) = self.state.carbon_dioxide.fresh() else {
            self.lately.clear();
            return;
        };
        if self.lately.back().is_none_or(|(at, _)| now.since(*at) >= MINUTE) {
            self.lately.push_back((now.elapsed, ppm));
        }
        while self.lately.get(1).is_some_and(|(at, _)| now.since(*at) >= QUARTER_HOUR) {
            self.lately.pop_front();
        }
    }

    /// Carbon dioxide a quarter of an hour ago and now; `None` where it was not heard for so long.
    pub fn quarter_hour(&self, now: &Now) -> Option<(CarbonDioxide, CarbonDioxide)> {
        let (at, before) = self.lately.front()?;
        (now.since(*at) >= QUARTER_HOUR).then_some((*before, self.state.carbon_dioxide.fresh()?))
    }

    /// Notes what the fan reports of itself; `None` where it reports nothing, and is taken to do as advised.
    pub fn watch_fan(&mut self, runs: Option<bool>, now: &Now) {
        self.fan_off_since = match runs {
            Some(false) => self.fan_off_since.or(Some(now.elapsed)),
            Some(true) | None => None,
        };
    }

    /// Whether the fan has reported for long enough that it stands.
    fn fan_off(&self, now: &Now) -> bool {
        self.fan_off_since.is_some_and(|since| now.since(since) > FAN_OFF)
    }

    /// When that comes to be, as [`Now::elapsed`].
    pub fn fan_off_at(&self) -> Option<Duration> {
        self.fan_off_since.map(|since| since + FAN_OFF + Duration::from_millis(1))
    }

    /// Whether the caps have stayed wet, and are not only on the way there.
    fn caps_are_wet(&self, now: &Now) -> bool {
        let mut alerts = self.state.alerts.iter().filter(|alert| alert.kind == AlertKind::CapsWet);
        self.caps_wet_since.is_some_and(|since| now.since(since) >= CAPS_WET)
            || alerts.any(|alert| alert.stands() && alert.published_below() != "notice")
    }

    /// Whether an alert of the room is raised or unknown, shelved or not.
    fn is_raised(&self, kind: AlertKind) -> bool {
        self.state.alerts.iter().any(|alert| alert.kind == kind && alert.stands())
    }

    /// Whether all the air there is must be advised.
    pub fn in_danger(&self) -> bool {
        self.danger
    }

    /// Whether what the crop gives off is being learned, so that an outlook made at `made` rests on the catalogue's upper
    /// figure and better will be known within the hour.
    pub fn is_learning(&self, room: &Room, made: Timestamp, now: &Now) -> bool {
        room.crop.is_some() && self.state.carbon_dioxide.is_fresh() && self.crop_output.is_learning(made, now)
    }

    /// The same for the outlook of the room that it draws from. In the first minutes its sensor may only not have spoken yet.
    pub fn is_guessed_elsewhere(&self, room: &Room, made: Timestamp, now: &Now) -> bool {
        let heard = match self.state.carbon_dioxide {
            Reading::Never => self.crop_output.is_new(now),
            reading => reading.is_fresh(),
        };
        room.crop.is_some() && heard && self.crop_output.is_guessed_elsewhere(made, now)
    }

    /// Takes over what an earlier run has kept.
    pub fn remember(&mut self, danger: bool, emission: Option<KeptEmission>) {
        self.danger = danger;
        if let Some(emission) = emission {
            self.crop_output.remember(emission);
        }
    }

    /// Decides the fresh air; `None` where nothing is known of the room's air.
    pub fn decide_air(&mut self, around: &Surroundings<'_>, inside: &MoistAir) -> AirAdvice {
        let supply_carbon_dioxide = self.crop_output.even_supply(around.supply_carbon_dioxide, around.now);
        let temperature = self.crop_output.even_temperature(inside.temperature(), around.now);
        let carbon_dioxide = self.state.carbon_dioxide;
        let heard = Heard {
            room: around.room,
            inside,
            temperature,
            carbon_dioxide: carbon_dioxide.fresh().zip(carbon_dioxide.at()),
            supply: supply_carbon_dioxide,
            flow: self.last_flow,
        };
        self.crop_output.hear(&heard, around.now);
        let upper = around.room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.respiration.upper);
        let advice = decide::fresh_air(&AirSituation {
            room: around.room,
            inside,
            carbon_dioxide: self.state.reckoned.carbon_dioxide,
            doubted: self.state.reckoned.carbon_dioxide_doubted,
            supply_carbon_dioxide,
            emission: self.crop_output.usual(around.room, temperature).unwrap_or(upper),
            settled: self.moved.is_some_and(|moved| around.now.since(moved) >= SETTLES_AFTER),
            drawn_by_others: around.drawn_by_others,
            last: self.last_flow,
            supply: around.supply.copied(),
            cooling: self
                .cooling
                .map(|(flow, since)| Cooling { flow, may_step: around.now.since(since) >= cooling::STEP_EVERY }),
        });
        self.cooling = (advice.cause == AirCause::Cooling).then(|| {
            let since = self.cooling.filter(|(flow, _)| *flow >= advice.flow).map(|(_, since)| since);
            (advice.flow, since.unwrap_or(around.now.elapsed))
        });
        advice
    }

    /// Takes a finished decision for the advice, unless the standing one says the same and is young.
    pub fn issue(&mut self, decision: Decision, now: &Now) {
        let young = self.issued.is_some_and(|issued| now.since(issued) < REISSUE);
        if young && same_advice(&self.state.decision, &decision) {
            return;
        }
        let flow = decision.setpoints.map_or(self.last_flow, |setpoints| Some(setpoints.fresh_air));
        if flow != self.last_flow {
            (self.last_flow, self.moved) = (flow, Some(now.elapsed));
        }
        self.state.decision = decision;
        self.issued = Some(now.elapsed);
    }

    /// Notes what the humidifier reaches, without the noise of sensors. A step is no noise.
    fn note_reached(&mut self, reached: Option<f64>, now: &Now) {
        let is_step = |reached: f64| self.reached.is_some_and(|(_, before)| (reached - before).abs() > REACH_STEPS);
        if reached.is_none_or(is_step) {
            self.reached = None;
        }
        if let Some(reached) = reached {
            evened(&mut self.reached, reached, now.elapsed, QUARTER_HOUR);
        }
    }

    /// Moisture, advice and what is shown, once the fresh air is decided.
    pub fn decide_moisture(&mut self, around: &Surroundings<'_>, inside: &MoistAir, air: AirAdvice) {
        let (Some(supply), Some(outdoors)) = (around.supply, around.outdoors) else {
            self.issue(decide::withheld(Reason::NoSupplyAir, around.now), around.now);
            return;
        };
        let drawn = Inflow::new(around.room, air.flow, inside, supply).supplied;
        let supply = &as_it_enters(around.room, *supply, *inside, drawn);
        self.state.supply = around.supply_known.then_some(*supply);
        let outlook = self.state.outlook.clone();
        let situation = MoistureSituation {
            room: around.room,
            inside,
            reached_lately: self.reached.map(|(_, reached)| reached),
            last_target: self.state.decision.setpoints.map(|setpoints| setpoints.humidity_target),
            relative_humidity: self.state.relative_humidity.fresh(),
            wettest: self.state.reckoned.wettest,
            fan_off: self.fan_off(around.now),
            caps_wet: self.caps_are_wet(around.now),
            coldest: self.state.reckoned.coldest,
            carbon_dioxide: self.state.carbon_dioxide.fresh(),
            supply,
            supply_known: around.supply_known,
            outdoors,
            around: around.shell_faces,
            probe: around.probe,
            needed_behind: around.needed_behind,
            outlook: outlook.as_deref(),
            air,
        };
        let advice = decide::moisture(&situation);
        self.note_reached(advice.reached, around.now);
        self.state.moisture = Some(moisture_state(around.room, supply, &advice));
        self.issue(decide::decision(&situation, &advice, around.now), around.now);
    }
}

fn moisture_state(room: &Room, supply: &MoistAir, advice: &MoistureAdvice) -> Moisture {
    let vapour = WaterFlow::clamped(advice.vapour.kilograms_per_hour().max(0.0));
    let drawn = room.humidifier.map(|humidifier| {
        WaterFlow::clamped(if advice.stands.is_some() {
            0.0
        } else {
            advice.duty.ratio() * humidifier.output.kilograms_per_hour()
        })
    });
    Moisture { deficit: advice.target_ratio.minus(supply.humidity_ratio()), vapour, drawn }
}

/// Whether two decisions differ by less than a rule engine should be bothered with.
fn same_advice(old: &Decision, new: &Decision) -> bool {
    let causes = |decision: &Decision| match decision.reason {
        Reason::Balance(balance) => Some((
            balance.air,
            balance.stands,
            balance.freezing.is_some(),
            balance.relative_humidity_known,
            balance.supply_known,
        )),
        _ => None,
    };
    if old.mode != new.mode
        || old.limited_by != new.limited_by
        || causes(old) != causes(new)
        || std::mem::discriminant(&old.reason) != std::mem::discriminant(&new.reason)
    {
        return false;
    }
    match (old.setpoints, new.setpoints) {
        (None, None) => true,
        (Some(old), Some(new)) => {
            let near = |a: f64, b: f64, within: f64| (a - b).abs() <= within;
            near(old.fan_command.ratio(), new.fan_command.ratio(), 0.01)
                && near(old.humidity_target.ratio(), new.humidity_target.ratio(), 0.005)
                && near(old.humidifier_duty.ratio(), new.humidifier_duty.ratio(), 0.02)
                // Protective moves are passed on at once, however small.
                && new.fresh_air <= old.fresh_air
                && (new.humidifier_duty.ratio() > 0.0 || old.humidifier_duty.ratio() <= 0.0)
        }
        _ => false,
    }
}
