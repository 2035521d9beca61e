//! A farm that lives minute by minute: simulated rooms, their sensors, the real engine, and a rule that follows its advice.

use std::{sync::Arc, time::Duration};

use jiff::{SignedDuration, Timestamp};
use mistwright::{
    advice::{AlertKind, Mode, alert::Message},
    engine::{Engine, Event, Snapshot},
    model::{Farm, Measured, Now, Place, Quantity},
    wire::weather::met_norway,
};

use super::place::{Drawn, Layout, Mistakes};
use crate::nights::{
    chance::Chance,
    truth::{Simulated, Zone},
    weather::Station,
};

/// Forecasts come so often, hours.
const FORECAST_EVERY: i64 = 6;

/// What a follower of the advice does this minute.
#[derive(Debug, Clone, Copy)]
pub struct Orders {
    /// m³/h, as the grower believes it.
    pub flow: f64,
    /// % RH
    pub humid: f64,
    pub mist: bool,
}

/// How much each sensor of an air is off, in K, points and ppm: half of it always, half of it by chance each time, together at
/// the most ±0.3 K, ±2 points and ±30 ppm.
#[derive(Debug, Clone, Copy)]
struct Errors([f64; 3]);

impl Errors {
    const WIDEST: [f64; 3] = [0.15, 1.0, 15.0];

    fn draw(chance: &mut Chance) -> Self {
        Self(Self::WIDEST.map(|widest| chance.between(-widest, widest)))
    }

    /// What the sensors say of this air, in base units.
    fn read(&self, air: Zone, chance: &mut Chance) -> [(Quantity, f64); 3] {
        let mut noisy = |index: usize, value: f64| {
            let widest = Self::WIDEST[index];
            value + self.0[index] + chance.between(-widest, widest)
        };
        [
            (Quantity::Temperature, noisy(0, air.celsius)),
            (Quantity::RelativeHumidity, noisy(1, air.humidity()).clamp(0.0, 100.0) / 100.0),
            (Quantity::CarbonDioxide, noisy(2, air.ppm())),
        ]
    }
}

/// The heated room around a tent: warm by its own thermostat within a kelvin, and moist by what leaks in, half its air an
/// hour, and by what people and wet floors give.
#[derive(Debug, Clone, Copy)]
struct Barn(Zone);

impl Barn {
    fn pass(&mut self, outdoors: Zone, hour: f64) {
        let warm = 18.0 + (std::f64::consts::TAU * hour / 24.0).sin() + 0.05 * outdoors.celsius;
        let share = 1.0 / 60.0;
        self.0.celsius += 0.5 * share * (warm - self.0.celsius);
        self.0.vapour += share * (0.5 * (outdoors.vapour - self.0.vapour) + 0.4e-3);
        self.0.gas += share * (0.5 * (outdoors.gas - self.0.gas) + 0.06);
    }
}

/// One farm at work under the engine.
pub struct Living<'a> {
    station: &'a Station,
    drawn: Drawn,
    farm: Arc<Farm>,
    engine: Engine,
    now: Now,
    began: Timestamp,
    chance: Chance,
    outdoor_errors: Errors,
    errors: Errors,
    front_errors: Errors,
    pub room: Simulated,
    /// The room in front of it, where there is one.
    front: Option<Simulated>,
    barn: Barn,
    forecast_due: Timestamp,
    /// Its air now: at the intake, and around the shell.
    pub faces: (Zone, Zone),
}

impl<'a> Living<'a> {
    pub fn new(station: &'a Station, drawn: Drawn, mistakes: &Mistakes, began: Timestamp, mut chance: Chance) -> Self {
        let farm = Arc::new(drawn.farm(mistakes));
        let now = Now { elapsed: Duration::from_secs(1_000), wall: began, trusted: true };
        let mut engine = Engine::new(Arc::clone(&farm), Some(met_norway::SERVICE), &now);
        engine.handle(Event::Connected, &now);
        let weather = station.lately(began).unwrap();
        let outdoors = Zone::outdoors(weather);
        let errors = Errors::draw(&mut chance);
        let mut room = Simulated::new(drawn.facts, weather.0);
        room.set.reads_over = errors.0[1];
        Self {
            station,
            engine,
            now,
            began,
            outdoor_errors: Errors::draw(&mut chance),
            errors,
            front_errors: Errors::draw(&mut chance),
            front: (drawn.layout == Layout::Anteroom).then(|| Simulated::new(drawn.anteroom(), weather.0)),
            barn: Barn(Zone::of(18.0, 30.0, 480.0)),
            forecast_due: began,
            faces: (outdoors, outdoors),
            chance,
            drawn,
            farm,
            room,
        }
    }

    /// The simulated room alone, for another fan: it has the same sensors, crop and weather.
    pub fn twin(&self) -> (Simulated, Option<Simulated>) {
        (self.room, self.front)
    }

    fn hours(&self) -> f64 {
        self.now.wall.duration_since(self.began).as_secs_f64() / 3_600.0
    }

    fn snapshot(&self) -> Snapshot {
        self.engine.snapshot(&self.now)
    }

    fn last(&self) -> usize {
        self.farm.rooms.len() - 1
    }

    /// What somebody does who follows the advice for a room while it is valid, and the fallbacks otherwise.
    pub fn orders(&self, snapshot: &Snapshot, room: usize) -> Orders {
        let decision = &snapshot.rooms[room].decision;
        let usable = decision.mode != Mode::Withheld && decision.valid_until > self.now.wall;
        match decision.setpoints.filter(|_| usable) {
            Some(setpoints) => Orders {
                flow: setpoints.fresh_air.cubic_metres_per_hour(),
                humid: setpoints.humidity_target.percent(),
                mist: setpoints.humidifier_duty.ratio() > 0.0,
            },
            None => {
                let flow = self.farm.rooms[room].fan.fallback.cubic_metres_per_hour();
                Orders { flow, humid: 80.0, mist: false }
            }
        }
    }

    /// What the crop and people give this minute: somebody works in the room from 13:00 and from 22:00 UTC for twenty minutes
    /// (35 g/h of carbon dioxide at light work, from memory).
    fn alive(&self, room: &mut Simulated) {
        let minute = self.now.wall.as_second().rem_euclid(86_400) / 60;
        let working = [13 * 60, 22 * 60].iter().any(|from| (*from..*from + 20).contains(&minute));
        room.set.people = if working { 35.0 } else { 0.0 };
        room.set.flush = self.drawn.flush(self.hours());
    }

    /// Lets a room pass a minute behind `front`, with its fan at `flow`; the air at its intake and around it.
    pub fn pass(&self, room: &mut Simulated, front: &mut Option<Simulated>, orders: &Orders) -> (Zone, Zone) {
        let outdoors = Zone::outdoors(self.station.lately(self.now.wall).unwrap());
        self.alive(room);
        (room.set.flow, room.set.humid, room.set.mist) = (orders.flow * self.drawn.fan_true, orders.humid, orders.mist);
        let faces = match (self.drawn.layout, front) {
            (Layout::Tent, _) => (self.barn.0, self.barn.0),
            (Layout::Anteroom, Some(front)) => {
                front.set.flow = room.set.flow;
                front.pass_between(60.0, outdoors, outdoors);
                (front.lower.between(front.upper), outdoors)
            }
            _ => (outdoors, outdoors),
        };
        room.pass_between(60.0, faces.0, faces.1);
        faces
    }

    /// One minute: time passes in the room, its sensors speak, and the engine takes it in. Gives the orders of the minute.
    pub fn minute(&mut self) -> (Snapshot, Orders) {
        let snapshot = self.snapshot();
        let orders = self.orders(&snapshot, self.last());
        let outdoors = Zone::outdoors(self.station.lately(self.now.wall).unwrap());
        self.barn.pass(outdoors, self.hours());
        let (mut room, mut front) = (self.room, self.front);
        if let Some(front) = &mut front {
            let ahead = self.orders(&snapshot, 0);
            (front.set.humid, front.set.mist) = (ahead.humid, ahead.mist);
        }
        self.faces = self.pass(&mut room, &mut front, &orders);
        (self.room, self.front) = (room, front);
        self.now.elapsed += Duration::from_secs(60);
        self.now.wall += SignedDuration::from_secs(60);
        let mut events = self.readings();
        if self.now.wall >= self.forecast_due {
            self.forecast_due = self.now.wall + SignedDuration::from_hours(FORECAST_EVERY);
            let forecast = self.station.erring(self.now.wall, &mut self.chance);
            events.push(Event::Forecast {
                service: met_norway::SERVICE,
                forecast: Some(forecast),
                keep_for: Duration::from_secs(3_600),
            });
        }
        self.engine.handle_all(events, &self.now);
        (snapshot, orders)
    }

    fn readings(&mut self) -> Vec<Event> {
        let outdoors = Zone::outdoors(self.station.lately(self.now.wall).unwrap());
        let mut airs = vec![(Place::Outdoors, outdoors, self.outdoor_errors)];
        if self.drawn.layout == Layout::Tent {
            airs.push((Place::Space(0), self.barn.0, self.front_errors));
        }
        if let Some(front) = &self.front {
            airs.push((Place::Room(0), front.sensed, self.front_errors));
        }
        airs.push((Place::Room(self.last()), self.room.sensed, self.errors));
        let mut events = Vec::new();
        for (place, air, errors) in airs {
            for (quantity, value) in errors.read(air, &mut self.chance) {
                let at = |source: &mistwright::model::Source| source.place == place && source.quantity == quantity;
                let Some(source) = self.farm.sources.iter().position(at) else { continue };
                let measured = Measured::from_base(quantity, value).unwrap();
                events.push(Event::Reading { source, measured, taken: None });
            }
        }
        events
    }

    /// From when on the room's humidifier is said to fall short, and whether that is a warning yet and no mere notice.
    pub fn shortfall_from(&self) -> Option<(Timestamp, bool)> {
        let snapshot = self.snapshot();
        let alerts = &snapshot.rooms.last().unwrap().alerts;
        let alert = alerts.iter().find(|alert| alert.kind == AlertKind::HumidifierShortfall)?;
        let Message::Shortfall { from, .. } = alert.message()? else { return None };
        Some((*from, alert.published() != "notice"))
    }
}
