//! The engine: takes events in, settles what follows from them, and says when it wants to be called again.

use std::{
    collections::{BTreeMap, HashMap},
    sync::Arc,
    time::Duration,
};

use super::{
    conditions,
    correct::Learned,
    event::{Effect, Event, Notice, Rejection, Taken},
    forecasts::Forecasts,
    frost::{self, FrostAhead},
    inputs::{InputCounts, InputsTold},
    kept_inputs::KeptInputs,
    outlook::Lookout,
    room::RoomMemory,
    senses,
    site::Troubles,
    snapshot::{OutdoorsState, PressureFrom, RoomState, SiteState, Snapshot, SourceState},
    suspicion::Watchers,
};
use crate::{
    advice::{Alert, AlertKind, Voice},
    model::{
        Farm, Intake, Measured, Now, Place, Reading, Service, Source, balance::OUTDOOR_CARBON_DIOXIDE,
        projection::SpaceHabit,
    },
    units::CarbonDioxide,
};

/// A source without a refusal for this long has recovered.
const RECOVERED_AFTER: Duration = Duration::from_secs(600);
/// The frost ahead is looked for at least this often, and the engine wants to be called at least this often.
const LOOK_FOR_FROST_EVERY: Duration = Duration::from_secs(60);

/// The one owner of state.
#[derive(Debug, Clone)]
pub struct Engine {
    /// As configured.
    pub(super) configured: Arc<Farm>,
    /// As configured, with what was told of it.
    pub(super) farm: Arc<Farm>,
    pub(super) sources: Vec<SourceState>,
    pub(super) rooms: Vec<RoomMemory>,
    pub(super) site: SiteState,
    /// Sources of each place, so that a large farm is not searched for each room.
    pub(super) sources_at: HashMap<Place, Vec<usize>>,
    pub(super) forecasts: Forecasts,
    pub(super) learned: Learned,
    /// Refusals already told to the log, and when each came last, until the source has recovered.
    told: BTreeMap<(usize, &'static str), Duration>,
    pub(super) watchers: Watchers,
    pub(super) lookout: Lookout,
    /// How the spaces that are only measured follow the air outdoors.
    pub(super) space_habits: Vec<SpaceHabit>,
    /// Whether the clock was believed at the last turn.
    pub(super) scored_by_trusted_clock: bool,
    /// Of the site, at the last look.
    pub(super) frost: Option<FrostAhead>,
    pub(super) looked_for_frost: Option<Duration>,
    /// When the air outdoors was looked at last; `None` where it has to be looked at again.
    pub(super) looked_outdoors: Option<Duration>,
    pub(super) troubles: Troubles,
    pub(super) started: Duration,
    /// The newest trusted time that an earlier run has seen.
    pub(super) newest_kept: Option<jiff::Timestamp>,
    /// Refused settings that the log knows of.
    pub(super) inputs_told: InputsTold,
    /// What an earlier run was told, until the clock can say whether it still holds.
    pub(super) waiting_inputs: Vec<(Option<usize>, KeptInputs)>,
    turns: u64,
}

impl Engine {
    /// An engine that has heard nothing yet. `service` is who forecasts for this farm, if anybody does.
    pub fn new(farm: Arc<Farm>, service: Option<Service>, now: &Now) -> Self {
        let sources = farm.sources.iter().map(SourceState::new).collect();
        let rooms = farm.rooms.iter().map(|_| RoomMemory::new(now)).collect();
        let mut sources_at = HashMap::<_, Vec<_>>::new();
        for (index, source) in farm.sources.iter().enumerate() {
            sources_at.entry(source.place).or_default().push(index);
        }
        let pressure = crate::physics::atmosphere::standard_pressure(farm.site.elevation);
        let watchers = Watchers::new(&farm);
        Self {
            lookout: Lookout::new(&farm),
            space_habits: vec![SpaceHabit::default(); farm.spaces.len()],
            scored_by_trusted_clock: false,
            frost: None,
            site: SiteState {
                outdoors: OutdoorsState::default(),
                forecast_service: service,
                forecast: None,
                forecast_fetched: None,
                offset: None,
                spread: Arc::default(),
                scores: Arc::default(),
                services: Vec::new(),
                coldest: None,
                pressure,
                pressure_from: PressureFrom::StandardAtmosphere,
                connected: false,
                connections: 0,
                alerts: AlertKind::OF_SITE.map(Alert::new).to_vec(),
                inputs: InputCounts::default(),
            },
            forecasts: Forecasts::new(service, now),
            learned: Learned::default(),
            sources_at,
            configured: Arc::clone(&farm),
            farm,
            sources,
            rooms,
            told: BTreeMap::new(),
            troubles: Troubles::default(),
            watchers,
            looked_for_frost: None,
            looked_outdoors: None,
            started: now.elapsed,
            newest_kept: None,
            inputs_told: InputsTold::new(),
            waiting_inputs: Vec::new(),
            turns: 0,
        }
    }

    /// Takes in one event and everything that follows from it.
    pub fn handle(&mut self, event: Event, now: &Now) -> Vec<Effect> {
        self.handle_all(std::iter::once(event), now)
    }

    /// Takes in events that arrived together, and settles once.
    pub fn handle_all(&mut self, events: impl IntoIterator<Item = Event>, now: &Now) -> Vec<Effect> {
        let mut effects = Vec::new();
        for event in events {
            self.turns += 1;
            self.take(event, now, &mut effects);
        }
        self.settle(now, &mut effects);
        effects
    }

    /// When the engine must be called again though nothing has happened, as [`Now::elapsed`].
    pub fn next_deadline(&self, now: &Now) -> Duration {
        let stale = self.sources.iter().zip(&self.farm.sources).filter_map(|(state, source)| match state.reading {
            Reading::Never => Some(self.started + source.maximum_age).filter(|due| *due > now.elapsed),
            reading => reading.next_change(source.maximum_age),
        });
        let alerts = self.site.alerts.iter().chain(self.rooms.iter().flat_map(|room| &room.state.alerts));
        stale
            .chain(alerts.filter_map(Alert::next_deadline))
            .chain(self.rooms.iter().map(RoomMemory::reissue_at))
            .chain(self.rooms.iter().filter_map(RoomMemory::fan_off_at).filter(|due| *due > now.elapsed))
            .chain(self.forecasts.due_at())
            .chain(self.input_ends())
            .chain([self.lookout.next_deadline(now)])
            .chain([now.elapsed + LOOK_FOR_FROST_EVERY])
            .min()
            .unwrap_or(now.elapsed + LOOK_FOR_FROST_EVERY)
            // A deadline that has passed must not make the shell spin.
            .max(now.elapsed + Duration::from_millis(200))
    }

    /// What everybody else may see.
    pub fn snapshot(&self, now: &Now) -> Snapshot {
        Snapshot {
            farm: Arc::clone(&self.farm),
            now: *now,
            site: SiteState { services: self.forecasts.states(), ..self.site.clone() },
            rooms: self.rooms.iter().map(|room| room.state.clone()).collect(),
            sources: self.sources.clone(),
            turns: self.turns,
        }
    }

    /// The farm as configured, with what was told of it.
    pub const fn farm(&self) -> &Arc<Farm> {
        &self.farm
    }

    /// What is known of the site, without the services' counts.
    pub const fn site(&self) -> &SiteState {
        &self.site
    }

    /// What is known of the rooms, in the order of [`Farm::rooms`].
    pub fn rooms(&self) -> impl ExactSizeIterator<Item = &RoomState> {
        self.rooms.iter().map(|room| &room.state)
    }

    /// The rooms of which anything has changed in the last turn, by their place; what ages shows when they are looked at.
    pub fn turned(&self) -> impl Iterator<Item = usize> {
        self.rooms.iter().enumerate().filter(|(_, room)| room.turned).map(|(index, _)| index)
    }

    /// What is known of the sources, in the order of [`Farm::sources`].
    pub fn sources(&self) -> &[SourceState] {
        &self.sources
    }

    fn take(&mut self, event: Event, now: &Now, effects: &mut Vec<Effect>) {
        match event {
            Event::Reading { source, measured, taken } => self.take_reading(source, (measured, taken), now, effects),
            Event::Rejected { source, rejection } => self.take_rejection(source, &rejection, now, effects),
            Event::Command { room, command } => self.take_command(room, command, now, effects),
            Event::CommandRefused { room, input, rejection } => self.refuse_input(room, input, &rejection, effects),
            Event::Forecast { service, forecast, keep_for } => {
                self.forecasts.succeeded(service, forecast, keep_for, now);
            }
            Event::ForecastFailed(failure) => {
                if self.forecasts.failed(&failure, now) {
                    effects.push(notice(true, format!("The forecast did not arrive: {}", failure.sentence)));
                }
            }
            Event::Connected => {
                self.site.connected = true;
                self.touch_all();
                self.site.connections += 1;
            }
            Event::Disconnected => {
                if self.site.connected {
                    self.troubles.connection_broke(now);
                }
                self.site.connected = false;
                self.touch_all();
            }
            Event::StateKept { written } => self.troubles.state_lost = !written,
            Event::ClockStepped => {
                self.forecasts.ask_now(now);
                self.looked_for_frost = None;
                self.looked_outdoors = None;
                self.lookout.renew();
                self.forget_old_clock();
                // What was valid until a time of the old clock must be said anew in the new one.
                self.rooms.iter_mut().for_each(RoomMemory::reissue_now);
                self.set_calendar_ends(now);
                effects.push(notice(false, format!("The clock stepped to {}.", now.wall)));
            }
            Event::Tick => {}
        }
    }

    fn take_reading(
        &mut self,
        source: usize,
        (measured, taken): (Measured, Option<Taken>),
        now: &Now,
        effects: &mut Vec<Effect>,
    ) {
        let Some(state) = self.sources.get_mut(source).filter(|state| state.quantity == measured.quantity()) else {
            effects.push(notice(true, format!("A reading came for source {source}, which is not configured.")));
            return;
        };
        let Some(value) = senses::corrected(&self.farm.sources[source], measured) else {
            let sentence = "the value lies outside the range that is set for this sensor".to_owned();
            return self.take_rejection(source, &Rejection { word: "out-of-range", sentence }, now, effects);
        };
        let Some(at) = senses::measured_at(taken, now) else {
            let sentence = "the message says that it was measured in the future".to_owned();
            return self.take_rejection(source, &Rejection { word: "future", sentence }, now, effects);
        };
        if senses::take_in(state, value, at, now) {
            self.watchers.take(source, &self.farm.sources[source], (measured, value), at);
        }
        self.touch(self.farm.sources[source].place);
        self.recover(source, now, effects);
    }

    /// A source whose messages are all believable for a while is told to be well again, and may be complained of anew.
    /// One good message between bad ones is no recovery: a flapping sensor would fill the log.
    fn recover(&mut self, source: usize, now: &Now, effects: &mut Vec<Effect>) {
        let mut refusals = self.told.iter().filter(|((told, _), _)| *told == source).peekable();
        if refusals.peek().is_none() || refusals.any(|(_, last)| now.since(*last) < RECOVERED_AFTER) {
            return;
        }
        self.told.retain(|(told, _), _| *told != source);
        let state = &self.sources[source];
        let (quantity, place) = (state.quantity.words(), self.farm.title(state.place));
        effects.push(notice(false, format!("The {quantity} sensor ({place}) says believable numbers again.")));
    }

    fn take_rejection(&mut self, source: usize, rejection: &Rejection, now: &Now, effects: &mut Vec<Effect>) {
        let Some(place) = self.sources.get(source).map(|state| state.place) else { return };
        self.touch(place);
        self.watchers.refuse(source, &self.farm.sources[source], now);
        let state = &mut self.sources[source];
        *state.rejected.entry(rejection.word).or_default() += 1;
        if self.told.insert((source, rejection.word), now.elapsed).is_none() {
            effects.push(notice(
                true,
                format!(
                    "A message of the {} sensor ({}) was refused: {}. More of the same are counted and not logged.",
                    state.quantity.words(),
                    self.farm.title(state.place),
                    rejection.sentence
                ),
            ));
        }
    }

    /// Has the hours ahead looked at again in this turn.
    pub(super) fn look_again(&mut self) {
        self.lookout.renew();
    }

    /// Brings everything in line with the readings, the forecast and the time.
    fn settle(&mut self, now: &Now, effects: &mut Vec<Effect>) {
        self.age_readings(now);
        self.settle_suspicion(now);
        self.settle_inputs(now, effects);
        self.settle_forecast(now, effects);
        if self.outdoors_are_due(now) {
            self.settle_outdoors(now);
            self.settle_offset(now);
            self.settle_learned(now);
            self.settle_spaces(now);
        }
        self.settle_rooms(now);
        self.settle_outlook_scores(now);
        self.settle_frost(now);
        self.settle_outlooks(now);
        self.settle_third_days(now);
        self.settle_alerts(now, effects);
        effects.extend(self.forecasts.due(now).into_iter().map(Effect::FetchForecast));
    }

    fn settle_frost(&mut self, now: &Now) {
        if self.looked_for_frost.is_some_and(|at| now.since(at) < LOOK_FOR_FROST_EVERY) {
            return;
        }
        self.looked_for_frost = Some(now.elapsed);
        // The last days carried on warn of nothing: a forecast would.
        let forecast = self.expected().filter(|forecast| now.trusted && forecast.service != Service::PERSISTENCE);
        self.frost = forecast.map(|forecast| frost::frost_ahead(&forecast, now.wall, self.farm.site.hard_frost));
        self.site.coldest = self.frost.and_then(|ahead| ahead.coldest);
    }

    fn settle_alerts(&mut self, now: &Now, effects: &mut Vec<Effect>) {
        let voice = Voice { units: self.farm.site.units, time_zone: self.farm.site.time_zone.clone() };
        let site_conditions = AlertKind::OF_SITE.map(|kind| self.site_condition(kind, now));
        for (alert, condition) in self.site.alerts.iter_mut().zip(site_conditions) {
            if alert.take(condition, now) {
                effects.push(transition(alert, &self.farm.site.title, &voice, now));
            }
        }
        for index in 0..self.rooms.len() {
            if !self.alerts_are_due(index, now) {
                continue;
            }
            let room = &self.farm.rooms[index];
            let view = conditions::View {
                room,
                memory: &self.rooms[index],
                around: self.shell_faces(index, now),
                probe: self.probe(index),
                guessed_behind: self.guesses_behind(index, now),
                sensors: self.sensor_conditions(Place::Room(index), &self.rooms[index].state.spread, now),
                now,
            };
            let conditions = AlertKind::OF_ROOM.map(|kind| view.condition(kind));
            for (alert, condition) in self.rooms[index].state.alerts.iter_mut().zip(conditions) {
                if alert.take(condition, now) {
                    effects.push(transition(alert, &room.title, &voice, now));
                }
            }
        }
    }

    /// Whether something has changed for a room's alerts, or one of their delays has run out. What has changed only in this
    /// turn is looked at for the advice in the next.
    fn alerts_are_due(&mut self, index: usize, now: &Now) -> bool {
        let memory = &mut self.rooms[index];
        let outlook = memory.outlook_changed;
        memory.touched = std::mem::take(&mut memory.outlook_changed);
        let delays = memory.state.alerts.iter().filter_map(Alert::next_deadline);
        memory.turned = memory.looked_at || outlook || delays.min().is_some_and(|due| due <= now.elapsed);
        memory.turned
    }

    pub(super) fn at(&self, place: Place) -> impl Iterator<Item = (&Source, &SourceState)> {
        let indices = self.sources_at.get(&place).map_or(&[][..], Vec::as_slice);
        indices.iter().map(|index| (&self.farm.sources[*index], &self.sources[*index]))
    }

    pub(super) fn supply_carbon_dioxide(&self, intake: Intake) -> CarbonDioxide {
        let outdoors = CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE);
        match intake {
            Intake::Outdoors => outdoors,
            Intake::Room(from) => self.rooms[from].state.carbon_dioxide.fresh().unwrap_or(outdoors),
            Intake::Space(from) => self.space_carbon_dioxide(from).unwrap_or(outdoors),
        }
    }
}

pub(super) fn notice(trouble: bool, sentence: String) -> Effect {
    Effect::Notify(Notice { trouble, sentence })
}

fn transition(alert: &Alert, place: &str, voice: &Voice, now: &Now) -> Effect {
    let title = alert.kind.title();
    match alert.message().filter(|_| alert.published() != "unknown") {
        Some(message) => notice(true, format!("{place}: {title}. {}", message.sentence(voice, now.wall))),
        None if alert.published() == "unknown" => {
            notice(true, format!("{place}: {title}: this alert was raised, and what it rests on is no longer known."))
        }
        None => notice(false, format!("{place}: {title}: over.")),
    }
}
