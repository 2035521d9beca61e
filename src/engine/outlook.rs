//! The rooms' outlooks: when each is made anew, from what, and what it rests on.
//!
//! One turn projects one room, of a large farm a hundredth of its rooms, so that a thousand rooms never hold up a reading.
//! Rooms take turns in intake order; a room that has come to life, that the grower has changed, or whose intake has just
//! become known goes first. A room whose air is no longer what its outlook began with, or of which more or less is heard
//! than then, does not wait for its time. The weather ahead is made once for all of them.

use std::{sync::Arc, time::Duration};

use jiff::{SignedDuration, Timestamp};

use super::{core::Engine, outlook_score::as_run, snapshot::RoomState};
use crate::{
    advice::{lever, plan},
    model::{
        Case, FanMoves, Farm, Intake, Now, Outlook, Place, Quantity, Room, Service, WaterSupply,
        balance::OUTDOOR_CARBON_DIOXIDE,
        fusion,
        outlook::{Caveat, NoOutlook},
        projection::{self, Feed, HOURS, Scene, Start, Trace, Weather},
        room::EnteringAir,
        shell::Around,
    },
    physics::{BelowFreezing, MoistAir},
    units::{
        AirFlow, CarbonDioxide, DryAirFlow, Fraction, HumidityRatio, RelativeHumidity, SpecificVolume, Temperature,
        WaterVolume,
    },
};

/// Outlooks are made anew this often, as long as nothing that they rest on changes: weather that warms by two kelvins an
/// hour moves by a third of one meanwhile, which is far less than forecasts err.
const RENEW_EVERY: Duration = Duration::from_secs(600);
/// Changes of the room's air have one made anew this long after the last one at the soonest: air that swings must not
/// keep the daemon at work.
const RENEW_AT_THE_SOONEST: Duration = Duration::from_secs(300);
/// A turn projects one room, and another one for each so many that the farm has: so the work of a turn grows with the farm as
/// everything else in it does, and so does that of all rooms together.
const ROOMS_FOR_A_SECOND: usize = 100;
/// An outlook begins at most this long before the air that it begins with.
const WEATHER_SERVES: Duration = Duration::from_secs(120);
/// Difference between inside and around, in K, from which a probe shows its surface's temperature factor: an error of
/// 0.5 K in it is then an error of 0.1 in the factor.
const FACTOR_SHOWS_FROM: f64 = 5.0;
/// A temperature that differs by no more than this from its mean over some minutes, in K, does so by its sensor's noise.
const NOISE: f64 = 0.5;
/// A forecast that was fetched longer ago than this is called old.
const FORECAST_AGES: SignedDuration = SignedDuration::from_hours(3);

/// What is kept for the outlooks between turns.
#[derive(Debug, Clone)]
pub(super) struct Lookout {
    weather: Option<Arc<Weather>>,
    /// When; `None` has it made anew, and every room with it.
    weather_made: Option<Duration>,
    /// The farm as it was at the last turn: what has changed in it is looked at anew.
    farm: Arc<Farm>,
    due: Vec<Due>,
    /// Whose turn is next.
    next: usize,
    traces: Vec<Option<Arc<Trace>>>,
    /// What each room's outlook began with.
    begun: Vec<Option<Begun>>,
    /// The rooms that draw from each.
    behind: Vec<Vec<usize>>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Due {
    No,
    InTurn,
    AtOnce,
}

/// What was heard of a room when its outlook was made.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Begun {
    at: Duration,
    temperature: Option<Temperature>,
    relative_humidity: Option<RelativeHumidity>,
    carbon_dioxide: Option<CarbonDioxide>,
}

impl Begun {
    fn of(state: &RoomState, now: &Now) -> Self {
        Self {
            at: now.elapsed,
            temperature: state.temperature.fresh(),
            relative_humidity: state.relative_humidity.fresh(),
            carbon_dioxide: state.carbon_dioxide.fresh(),
        }
    }

    /// Whether more or less is heard than then.
    fn is_outheard(&self, present: &Self) -> bool {
        self.temperature.is_some() != present.temperature.is_some()
            || self.relative_humidity.is_some() != present.relative_humidity.is_some()
            || self.carbon_dioxide.is_some() != present.carbon_dioxide.is_some()
    }

    /// Whether an outlook that began so should not wait for its time.
    fn is_over(&self, present: &Self) -> bool {
        let age = present.at.saturating_sub(self.at);
        let left_behind = || age >= RENEW_AT_THE_SOONEST && self.is_left_behind(present);
        age >= RENEW_EVERY || self.is_outheard(present) || left_behind()
    }

    /// Whether the air has become another: by more than two sensors in one room may disagree.
    fn is_left_behind(&self, present: &Self) -> bool {
        let apart = |a: Option<f64>, b: Option<f64>, most: f64| a.zip(b).is_some_and(|(a, b)| (a - b).abs() > most);
        let celsius = |begun: &Self| begun.temperature.map(Temperature::celsius);
        let humidity = |begun: &Self| begun.relative_humidity.map(RelativeHumidity::ratio);
        let ppm = |begun: &Self| begun.carbon_dioxide.map(CarbonDioxide::parts_per_million);
        apart(celsius(self), celsius(present), fusion::WIDE_TEMPERATURE)
            || apart(humidity(self), humidity(present), fusion::WIDE_HUMIDITY)
            || apart(ppm(self), ppm(present), fusion::WIDE_CARBON_DIOXIDE * ppm(self).unwrap_or(0.0))
    }
}

impl Lookout {
    pub fn new(farm: &Arc<Farm>) -> Self {
        let mut behind = vec![Vec::new(); farm.rooms.len()];
        for (index, room) in farm.rooms.iter().enumerate() {
            if let Intake::Room(from) = room.intake {
                behind[from].push(index);
            }
        }
        Self {
            weather: None,
            weather_made: None,
            farm: Arc::clone(farm),
            due: vec![Due::No; farm.rooms.len()],
            next: 0,
            traces: vec![None; farm.rooms.len()],
            begun: vec![None; farm.rooms.len()],
            behind,
        }
    }

    /// Has the weather and then every room looked at anew.
    pub fn renew(&mut self) {
        self.weather_made = None;
    }

    /// When the next turn is wanted, as [`Now::elapsed`].
    pub fn next_deadline(&self, now: &Now) -> Duration {
        if self.due.iter().any(|due| *due != Due::No) {
            return now.elapsed;
        }
        let made = self.begun.iter().flatten().map(|begun| begun.at).chain(self.weather_made);
        made.min().map_or(now.elapsed, |at| at + RENEW_EVERY)
    }

    fn hurry(&mut self, index: usize) {
        self.due[index] = Due::AtOnce;
    }

    /// Rooms that the grower has changed go first. Gives those that are run otherwise.
    fn compare(&mut self, farm: &Arc<Farm>) -> Vec<usize> {
        if Arc::ptr_eq(&self.farm, farm) {
            return Vec::new();
        }
        let old = std::mem::replace(&mut self.farm, Arc::clone(farm));
        let pairs = || old.rooms.iter().zip(&farm.rooms).enumerate();
        for (index, _) in pairs().filter(|(_, (old, new))| old != new) {
            self.hurry(index);
        }
        pairs().filter(|(_, (old, new))| as_run(old) != as_run(new)).map(|(index, _)| index).collect()
    }

    /// What was told before this run began is no change.
    pub fn begin_with(&mut self, farm: &Arc<Farm>) {
        self.farm = Arc::clone(farm);
    }

    /// The room to project in this turn.
    fn pick(&mut self) -> Option<usize> {
        let count = self.due.len();
        let at_once = self.due.iter().position(|due| *due == Due::AtOnce);
        let picked = at_once.or_else(|| {
            let in_turn = (0..count).map(|step| (self.next + step) % count);
            in_turn.into_iter().find(|index| self.due[*index] == Due::InTurn)
        })?;
        if at_once.is_none() {
            self.next = (picked + 1) % count;
        }
        self.due[picked] = Due::No;
        Some(picked)
    }
}

impl Engine {
    /// Projects a room, where one is due, and takes away what can no longer be said.
    pub(super) fn settle_outlooks(&mut self, now: &Now) {
        let farm = Arc::clone(&self.farm);
        let changed = self.lookout.compare(&farm);
        self.forget_outlooks(&changed);
        for (index, memory) in self.rooms.iter().enumerate() {
            let over = |begun: Begun| begun.is_over(&Begun::of(&memory.state, now));
            if memory.state.outlook.is_some() && self.lookout.begun[index].is_some_and(over) {
                self.lookout.due[index] = self.lookout.due[index].max(Due::InTurn);
            }
        }
        self.settle_weather(now);
        for index in 0..farm.rooms.len() {
            let missing = self.no_outlook(index, now);
            let memory = &mut self.rooms[index];
            let state = &mut memory.state;
            memory.outlook_changed = state.no_outlook != missing;
            state.no_outlook = missing;
            if missing.is_some() {
                state.outlook = None;
                state.levers.clear();
                (self.lookout.traces[index], self.lookout.begun[index]) = (None, None);
                self.lookout.due[index] = Due::No;
            } else if state.outlook.is_none() {
                self.lookout.hurry(index);
            }
        }
        for _ in 0..=farm.rooms.len() / ROOMS_FOR_A_SECOND {
            let Some(index) = self.lookout.pick() else { break };
            self.look_ahead(index, now);
        }
    }

    /// Makes the weather ahead anew: where something has changed, and before a room is projected with an old one.
    fn settle_weather(&mut self, now: &Now) {
        let lookout = &mut self.lookout;
        if !now.trusted {
            (lookout.weather, lookout.weather_made) = (None, None);
            return;
        }
        let wanted = lookout.due.iter().any(|due| *due != Due::No);
        let serves = if wanted { WEATHER_SERVES } else { RENEW_EVERY };
        if lookout.weather_made.is_none() {
            lookout.due.iter_mut().for_each(|due| *due = (*due).max(Due::InTurn));
        } else if lookout.weather_made.is_some_and(|at| now.since(at) < serves) {
            return;
        }
        lookout.weather_made = Some(now.elapsed);
        self.lookout.weather = self.weather_ahead(now).map(Arc::new);
    }

    /// The weather ahead: the forecast as it is expected here.
    fn weather_ahead(&self, now: &Now) -> Option<Weather> {
        let corrected = self.site.corrected()?;
        let weather = Weather::new(now.wall, self.site.pressure, |moment, case| {
            corrected.at(moment, case).map(|point| point.air)
        });
        (weather.hours() > 0).then_some(weather)
    }

    /// Why nothing can be said of a room's hours ahead.
    fn no_outlook(&self, index: usize, now: &Now) -> Option<NoOutlook> {
        let room = &self.farm.rooms[index];
        if !now.trusted {
            Some(NoOutlook::ClockNotTrusted)
        } else if self.lookout.weather.is_none() {
            Some(NoOutlook::NoWeather)
        } else if !self.rooms[index].state.temperature.is_fresh() {
            Some(NoOutlook::NoRoomTemperature)
        } else {
            let supplied = match room.intake {
                Intake::Outdoors => true,
                Intake::Room(from) => self.rooms[from].state.temperature.is_fresh(),
                Intake::Space(from) => self.space_air(from, now).is_some(),
            };
            (!supplied).then_some(NoOutlook::NoSupplyAir)
        }
    }

    fn look_ahead(&mut self, index: usize, now: &Now) {
        let farm = Arc::clone(&self.farm);
        let room = &farm.rooms[index];
        let Some(weather) = self.lookout.weather.clone() else { return };
        let Some(start) = self.start(index, now) else { return };
        let behind: Vec<_> = self.lookout.behind[index].iter().map(|behind| self.draw(*behind, &start.air)).collect();
        let drawn =
            |moment: Timestamp, case: Case| DryAirFlow::clamped(behind.iter().map(|draw| draw.at(moment, case)).sum());
        let (Some(intake), Some(around)) = (self.intake_feed(index, now), self.around_feed(room, now)) else { return };
        let scene = Scene {
            site: &farm.site,
            room,
            weather: &weather,
            start,
            intake: intake.feed(),
            around: around.feed(),
            drawn: &drawn,
            refilled: true,
            needed_behind: self.needed_behind(index),
            policy: &plan::course,
        };
        let projected = projection::project(&scene);
        let levers = lever::levers(&scene, &projected.outlook.expected, &farm);
        self.rooms[index].state.levers = levers;
        let mut outlook = projected.outlook;
        outlook.caveats = self.caveats(index, &weather, now);
        if outlook.expected.findings.tank_empty.is_some() {
            outlook.caveats.insert(0, Caveat::TankRefilled);
        }
        self.keep_outlook(index, &outlook, &projected.trace);
        self.rooms[index].crop_output.foresee(outlook.made);
        self.lookout.begun[index] = Some(Begun::of(&self.rooms[index].state, now));
        let first = self.rooms[index].state.outlook.replace(Arc::new(outlook)).is_none();
        self.rooms[index].outlook_changed = true;
        self.lookout.traces[index] = Some(Arc::new(projected.trace));
        // What this room draws was guessed until now.
        if let (true, Intake::Room(from)) = (first, room.intake) {
            self.lookout.hurry(from);
        }
    }

    fn start(&self, index: usize, now: &Now) -> Option<Start> {
        let (room, memory) = (&self.farm.rooms[index], &self.rooms[index]);
        let air = without_noise(memory.inside(room, self.site.pressure)?, memory.crop_output.temperature());
        let around = self.shell_faces(index, now);
        let heard = memory.state.carbon_dioxide.fresh();
        Some(Start {
            air,
            probe: around.and_then(|around| shown_factor(self.coldest_probe(index)?, air.temperature(), around)),
            carbon_dioxide: heard.map(|heard| memory.crop_output.carbon_dioxide().unwrap_or(heard)),
            fresh_air: memory.last_flow.unwrap_or(room.fan.usual),
            emission: memory.crop_output.usual(room, air.temperature()),
            tank: self.tank(index),
        })
    }

    /// Water in a room's tank; a tank of known size whose content nobody has told is taken as full.
    fn tank(&self, index: usize) -> Option<WaterVolume> {
        let told = self.rooms[index].state.tank.map(|tank| tank.volume);
        told.or_else(|| self.farm.rooms[index].humidifier?.tank())
    }

    /// What the supply of the rooms behind `index` must hold for their own humidifiers to do, as they stand now.
    pub(super) fn needed_behind(&self, index: usize) -> Option<HumidityRatio> {
        let needs = self.lookout.behind[index].iter().filter_map(|behind| self.rooms[*behind].supply_needed);
        needs.max_by(|a, b| a.kilograms_per_kilogram().total_cmp(&b.kilograms_per_kilogram()))
    }

    /// Whether what the rooms behind `index` draw, by the outlook of `index`, rests on crops that are being learned.
    pub(super) fn guesses_behind(&self, index: usize, now: &Now) -> bool {
        let Some(made) = self.rooms[index].state.outlook.as_ref().map(|outlook| outlook.made) else { return false };
        let guessed = |behind: &usize| self.rooms[*behind].is_guessed_elsewhere(&self.farm.rooms[*behind], made, now);
        self.lookout.behind[index].iter().any(guessed)
    }

    /// What the room `index` draws from a room with `source` air.
    fn draw(&self, index: usize, source: &MoistAir) -> Draw {
        let (room, memory) = (&self.farm.rooms[index], &self.rooms[index]);
        let moved = match room.fan.moves {
            FanMoves::Supply => Some(*source),
            FanMoves::Exhaust | FanMoves::Both => memory.inside(room, self.site.pressure),
        };
        Draw {
            outlook: memory.state.outlook.clone(),
            now: memory.last_flow.unwrap_or(room.fan.usual),
            volume: moved.unwrap_or(*source).specific_volume(),
        }
    }

    fn intake_feed(&self, index: usize, now: &Now) -> Option<Source> {
        match self.farm.rooms[index].intake {
            Intake::Outdoors => Some(Source::Outdoors),
            Intake::Room(from) => self.room_source(from),
            Intake::Space(from) => {
                // With its sensor's noise the crop's air would be another one in each outlook.
                let even = self.rooms[index].crop_output.supply();
                self.space_source(from, even.unwrap_or_else(|| self.supply_carbon_dioxide(Intake::Space(from))), now)
            }
        }
    }

    /// What is not known around a shell is taken to be outdoors: the careful guess in winter.
    fn around_feed(&self, room: &Room, now: &Now) -> Option<Source> {
        Some(self.surroundings(room, now).unwrap_or(Source::Outdoors))
    }

    /// What lies around a shell; `None` where it is not known.
    fn surroundings(&self, room: &Room, now: &Now) -> Option<Source> {
        match room.shell.around {
            Around::Outdoors => Some(Source::Outdoors),
            Around::Room(other) => self.room_source(other),
            Around::Space(other) => self.space_source(other, self.supply_carbon_dioxide(Intake::Space(other)), now),
        }
    }

    fn room_source(&self, index: usize) -> Option<Source> {
        if let Some(trace) = &self.lookout.traces[index] {
            return Some(Source::Room(Arc::clone(trace)));
        }
        let memory = &self.rooms[index];
        let air = memory.inside(&self.farm.rooms[index], self.site.pressure)?;
        let outdoors = CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE);
        let carbon_dioxide = memory.state.carbon_dioxide.fresh().unwrap_or(outdoors);
        Some(Source::Still(EnteringAir { air, carbon_dioxide }))
    }

    /// A space through the weather ahead; one that is not heard stays as it is assumed to be.
    fn space_source(&self, index: usize, carbon_dioxide: CarbonDioxide, now: &Now) -> Option<Source> {
        let air = self.space_air(index, now)?;
        let present = EnteringAir { air, carbon_dioxide };
        let heard = self.fuse(Place::Space(index), now).air.is_some();
        match (&self.lookout.weather, self.space_habits.get(index)) {
            (Some(weather), Some(habit)) if heard => Some(Source::Room(Arc::new(habit.ahead(present, weather, now)))),
            _ => Some(Source::Still(present)),
        }
    }

    /// Has the spaces' habits take in what is heard.
    pub(super) fn settle_spaces(&mut self, now: &Now) {
        let Some(outdoors) = self.site.outdoors.air else { return };
        for index in 0..self.space_habits.len() {
            if let Some(air) = self.fuse(Place::Space(index), now).air {
                self.space_habits[index].see(&air, &outdoors, now);
            }
        }
    }

    /// Whether a space that a room draws from or stands in is not heard, so that an assumed state stands in.
    fn space_is_assumed(&self, room: &Room, now: &Now) -> bool {
        let unheard = |space: usize| self.fuse(Place::Space(space), now).air.is_none();
        let assumed = |space: usize| self.farm.spaces.get(space).is_some_and(|space| space.assumed.is_some());
        matches!(room.intake, Intake::Space(from) if unheard(from))
            || matches!(room.shell.around, Around::Space(around) if unheard(around) && assumed(around))
    }

    /// Whether a space that a room draws from or stands in is heard, and has not yet shown how it follows the air outdoors.
    fn space_is_unlearned(&self, room: &Room, now: &Now) -> bool {
        let unlearned = |space: usize| {
            self.fuse(Place::Space(space), now).air.is_some()
                && self.space_habits.get(space).is_some_and(|habit| !habit.is_shown(now))
        };
        matches!(room.intake, Intake::Space(from) if unlearned(from))
            || matches!(room.shell.around, Around::Space(around) if unlearned(around))
    }

    /// Whether the fan of a room says that it runs.
    fn hears_fan(&self, index: usize) -> bool {
        self.at(Place::Room(index))
            .any(|(source, state)| source.quantity == Quantity::FanState && state.reading.is_fresh())
    }

    fn caveats(&self, index: usize, weather: &Weather, now: &Now) -> Vec<Caveat> {
        let (room, state) = (&self.farm.rooms[index], &self.rooms[index].state);
        let age = self.site.forecast_fetched.map(|fetched| now.wall.duration_since(fetched));
        let ends = weather.start() + SignedDuration::from_hours(i64::try_from(weather.hours()).unwrap_or(i64::MAX));
        let humidifier = room.humidifier;
        let supply = humidifier.map(|humidifier| humidifier.water);
        let untold = state.tank.is_none();
        let mist = humidifier.map(|humidifier| (humidifier.method.draws_heat(), humidifier.mist));
        let carried_on = self.site.forecast.as_ref().is_some_and(|forecast| forecast.service == Service::PERSISTENCE);
        let told = [
            carried_on.then_some(Caveat::NoForecast),
            age.filter(|_| !carried_on)
                .filter(|age| *age >= FORECAST_AGES)
                .map(|age| Caveat::ForecastOld { hours: u32::try_from(age.as_hours()).unwrap_or(u32::MAX) }),
            (weather.hours() < HOURS).then_some(Caveat::ForecastEnds { at: ends }),
            (!state.carbon_dioxide.is_fresh() && room.crop.is_some()).then_some(Caveat::NoCarbonDioxideSensor),
            (!state.relative_humidity.is_fresh()).then_some(Caveat::NoHumiditySensor),
            (untold && matches!(supply, Some(WaterSupply::Unknown))).then_some(Caveat::TankUnknown),
            (untold && matches!(supply, Some(WaterSupply::Tank(_)))).then_some(Caveat::TankTakenAsFull),
            room.shell.loss.is_none().then_some(Caveat::ShellUnknown),
            (!self.hears_fan(index)).then_some(Caveat::NoFanFeedback),
            self.space_is_assumed(room, now).then_some(Caveat::SpaceAssumed),
            self.space_is_unlearned(room, now).then_some(Caveat::SpaceUnlearned),
            self.surroundings(room, now).is_none().then_some(Caveat::SurroundingsUnknown),
            humidifier
                .is_some_and(|humidifier| !humidifier.evaporated_known)
                .then_some(Caveat::EvaporatedFractionAssumed),
            matches!(mist, Some((true, None))).then_some(Caveat::MistUnknown),
        ];
        told.into_iter().flatten().collect()
    }
}

/// A room's air at its temperature as a mean over some minutes, where that differs by no more than a sensor's noise: by the
/// temperature the crop's output is foreseen, and with noise in it each outlook would give the crop another air.
fn without_noise(air: MoistAir, even: Option<Temperature>) -> MoistAir {
    let even = even.filter(|even| even.minus(air.temperature()).kelvins().abs() <= NOISE);
    even.and_then(|even| {
        MoistAir::from_sensor(even, air.relative_humidity(), BelowFreezing::Water, air.pressure()).ok()
    })
    .unwrap_or(air)
}

/// The temperature factor that a probe shows, where the difference between inside and around is wide enough for it.
fn shown_factor(
    (surface, probe): (usize, Temperature),
    inside: Temperature,
    around: Temperature,
) -> Option<(usize, Fraction)> {
    let span = inside.minus(around).kelvins();
    let share = probe.minus(around).kelvins() / span;
    (span.abs() >= FACTOR_SHOWS_FROM).then_some((surface, Fraction::clamped(share)))
}

/// What a room draws in the hours ahead.
struct Draw {
    /// Its own last outlook; until there is one, it draws what it draws now.
    outlook: Option<Arc<Outlook>>,
    now: AirFlow,
    /// Of the air that its fan moves; its change over two days is some percent and is left out.
    volume: SpecificVolume,
}

impl Draw {
    /// Dry air in kg/h.
    fn at(&self, moment: Timestamp, case: Case) -> f64 {
        let projected = self.outlook.as_ref().and_then(|outlook| outlook.fresh_air(moment, case));
        projected.unwrap_or(self.now).cubic_metres_per_hour() / self.volume.cubic_metres_per_kilogram()
    }
}

/// A [`Feed`] that owns what it is made from.
enum Source {
    Outdoors,
    Still(EnteringAir),
    Room(Arc<Trace>),
}

impl Source {
    fn feed(&self) -> Feed<'_> {
        match self {
            Self::Outdoors => Feed::Outdoors,
            Self::Still(air) => Feed::Still(*air),
            Self::Room(trace) => Feed::Room(trace),
        }
    }
}
