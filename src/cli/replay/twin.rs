//! A farm that is lived through by the room model: recorded weather and settings go in, the engine advises, the modelled
//! rooms follow the advice, and what their air becomes is what the engine hears next.
//!
//! Recorded readings cannot answer for a room that is changed, so that both sides of a comparison are such farms.

use std::{collections::HashMap, sync::Arc, sync::mpsc::Receiver, time::Duration};

use super::{
    course::{LIVED_THROUGH, Services},
    input::Heard,
    tally::{Hours, Tally},
};
use crate::{
    advice::Decision,
    engine::{Engine, Event},
    model::{
        Around, Farm, Intake, Measured, Now, Place, Quantity, Room, Source,
        balance::OUTDOOR_CARBON_DIOXIDE,
        room::{Drive, Emission, EnteringAir, RoomModel, Standing},
    },
    physics::{BelowFreezing, MoistAir},
    units::{AirFlow, CarbonDioxide, DryAirFlow, Pressure, RelativeHumidity, Temperature},
};

/// The rooms are moved on, and say what their air is like, this often.
const STEP: Duration = Duration::from_secs(60);
/// By then every sensor has spoken, so that the rooms can begin as they were.
const BEGINS_AFTER: Duration = Duration::from_secs(300);
/// A modelled sensor that is not heard for so long is a defect.
const MAXIMUM_AGE: Duration = Duration::from_secs(600);
/// What is measured in a modelled room.
const MEASURED: [Quantity; 3] = [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide];

/// What a modelled room comes to.
#[derive(Debug, Default, Clone, Copy)]
pub(super) struct Sums {
    /// Litres drawn.
    pub water: f64,
    /// kWh of the heaters in room and intake.
    pub heat: f64,
    pub hours: Hours,
    /// Least fresh air that was advised, m³/h, and most humidity, as a share; `None` before any advice.
    pub advised: Option<(f64, f64)>,
    /// Highest carbon dioxide, ppm.
    pub highest_gas: f64,
    /// Its air less that which was recorded, summed over the hours for which it was: K, share, ppm.
    pub apart: [f64; 3],
    /// Hours for which each was recorded.
    pub recorded: [f64; 3],
}

struct Modelled {
    model: RoomModel,
    standing: Option<Standing>,
    /// By [`MEASURED`]; `None` where the farm has no such sensor.
    sources: [Option<usize>; 3],
    sums: Sums,
}

/// A farm under the room model.
pub(super) struct Twin {
    engine: Engine,
    pub tally: Tally,
    pub farm: Arc<Farm>,
    now: Now,
    began: Now,
    stepped: Duration,
    rooms: Vec<Modelled>,
    /// From the recorded farm's sources outdoors and in spaces to this farm's.
    heard_as: HashMap<usize, usize>,
    /// From the recorded farm's rooms to this farm's.
    rooms_as: HashMap<usize, usize>,
    noise: u64,
}

/// What the recorded sensors of a room said last: by the room's place in the recorded farm and [`MEASURED`].
type Recorded = HashMap<(usize, usize), (f64, Duration)>;

/// Lives through everything that is heard, once for each of `farms`, beside what was recorded of the first.
pub(super) fn run(farms: &[Arc<Farm>], recorded: &Farm, services: Services, heard: &Receiver<Vec<Heard>>) -> Vec<Twin> {
    let mut twins: Vec<Twin> = Vec::new();
    let mut said = Recorded::new();
    for one in heard.iter().flatten() {
        if twins.is_empty() {
            twins = farms.iter().map(|farm| Twin::new(farm, recorded, services, &one.now)).collect();
        }
        for event in &one.events {
            note(event, recorded, &one.now, &mut said);
        }
        for twin in &mut twins {
            twin.take(&one, &said);
        }
    }
    twins
}

/// Keeps what a recorded sensor of a room says.
fn note(event: &Event, recorded: &Farm, now: &Now, said: &mut Recorded) {
    let Event::Reading { source, measured, .. } = event else { return };
    let Some(source) = recorded.sources.get(*source) else { return };
    let (Place::Room(room), Some(kind)) = (source.place, MEASURED.iter().position(|kind| *kind == source.quantity))
    else {
        return;
    };
    said.insert((room, kind), (source.calibration.apply(*measured).base(), now.elapsed));
}

/// The same farm with sensors that the model can answer for: those of the recorded farm outdoors and in spaces, and one of
/// each kind in each room that has any of it.
fn sensed(farm: &Farm, recorded: &Farm) -> (Farm, HashMap<usize, usize>) {
    let mut sources = Vec::new();
    let mut heard_as = HashMap::new();
    for (index, source) in recorded.sources.iter().enumerate() {
        let place = match source.place {
            Place::Outdoors => Some(Place::Outdoors),
            Place::Space(space) => {
                let name = &recorded.spaces[space].name;
                farm.spaces.iter().position(|other| other.name == *name).map(Place::Space)
            }
            Place::Room(_) | Place::Surface { .. } => None,
        };
        if let Some(place) = place {
            heard_as.insert(index, sources.len());
            sources.push(Source { place, ..source.clone() });
        }
    }
    for room in 0..farm.rooms.len() {
        for quantity in MEASURED {
            let is_it = |source: &&Source| {
                let same = source.quantity == quantity
                    || (quantity == Quantity::RelativeHumidity && source.quantity == Quantity::DewPoint);
                same && source.place == Place::Room(room)
            };
            sources
                .extend(farm.sources.iter().find(is_it).map(|_| Source::new(Place::Room(room), quantity, MAXIMUM_AGE)));
        }
    }
    (Farm { sources, ..farm.clone() }, heard_as)
}

impl Twin {
    fn new(farm: &Farm, recorded: &Farm, [service, fallback]: Services, now: &Now) -> Self {
        let (farm, heard_as) = sensed(farm, recorded);
        let same =
            |(index, room): (usize, &Room)| Some((index, farm.rooms.iter().position(|other| other.name == room.name)?));
        let rooms_as = recorded.rooms.iter().enumerate().filter_map(same).collect();
        let farm = Arc::new(farm);
        let mut engine = Engine::new(Arc::clone(&farm), service, now).with_fallback(fallback, now);
        engine.handle(Event::Connected, now);
        let pressure = engine.site().pressure;
        let rooms = farm.rooms.iter().enumerate().map(|(index, room)| Modelled {
            model: RoomModel::new(room, pressure),
            standing: None,
            sources: MEASURED.map(|quantity| {
                farm.sources.iter().position(|s| s.place == Place::Room(index) && s.quantity == quantity)
            }),
            sums: Sums::default(),
        });
        let rooms = rooms.collect();
        let mut tally = Tally::new(&engine, engine.snapshot(now).voice());
        tally.begin(now);
        let (now, began, stepped) = (*now, *now, now.elapsed);
        Self { engine, tally, farm, now, began, stepped, rooms, heard_as, rooms_as, noise: 1 }
    }

    fn take(&mut self, heard: &Heard, said: &Recorded) {
        self.live_until(&heard.now, said);
        let mut events: Vec<Event> = heard.events.iter().filter_map(|event| self.translated(event)).collect();
        events.extend(heard.stepped.then_some(Event::ClockStepped));
        if !events.is_empty() {
            self.turn(events, heard.now);
        }
    }

    /// What a recorded event means here: rooms answer for themselves, and tanks are filled as they run out.
    fn translated(&self, event: &Event) -> Option<Event> {
        match event {
            Event::Reading { source, measured, taken } => {
                let source = *self.heard_as.get(source)?;
                Some(Event::Reading { source, measured: *measured, taken: *taken })
            }
            Event::Forecast { .. } => Some(event.clone()),
            Event::Command { command: crate::engine::Command::TankVolume(_), .. } => None,
            Event::Command { room, command } => {
                let room = match room {
                    Some(room) => Some(*self.rooms_as.get(room)?),
                    None => None,
                };
                Some(Event::Command { room, command: *command })
            }
            _ => None,
        }
    }

    fn live_until(&mut self, next: &Now, said: &Recorded) {
        let began = self.now.elapsed;
        loop {
            let step = self.stepped + STEP;
            let due = self.engine.next_deadline(&self.now).min(step);
            if due > next.elapsed {
                return;
            }
            if due.saturating_sub(began) > LIVED_THROUGH {
                // Nothing is known of the weather in a gap: the rooms stand still until it ends.
                self.stepped = next.elapsed;
                return;
            }
            let wall = self.now.wall_after(due.saturating_sub(self.now.elapsed));
            let now = Now { elapsed: due, wall, trusted: true };
            let events = if due >= step { self.step(&now, said) } else { vec![Event::Tick] };
            self.turn(events, now);
        }
    }

    fn turn(&mut self, events: Vec<Event>, now: Now) {
        self.tally.pass(&self.engine, &now);
        // What is fetched and what is told to the log belongs to a daemon that runs.
        let _ = self.engine.handle_all(events, &now);
        self.now = now;
        self.tally.look(&self.engine, &now);
    }

    /// Moves the rooms on to `now`; gives what their sensors say then.
    fn step(&mut self, now: &Now, said: &Recorded) -> Vec<Event> {
        self.stepped = now.elapsed;
        self.follow_farm();
        let Some(outdoors) = self.engine.site().outdoors.air else { return vec![Event::Tick] };
        if now.since(self.began.elapsed) < BEGINS_AFTER {
            return vec![Event::Tick];
        }
        let pressure = self.engine.site().pressure;
        let decisions: Vec<Decision> = self.engine.rooms().map(|room| room.decision.clone()).collect();
        for index in 0..self.rooms.len() {
            if self.rooms[index].standing.is_none() {
                self.rooms[index].standing = self.beginning(index, said, pressure);
            }
        }
        for index in 0..self.rooms.len() {
            self.move_on(index, &outdoors, pressure, &decisions);
            self.compare(index, now, said, pressure);
        }
        (0..self.rooms.len()).flat_map(|index| self.readings(index, pressure)).collect()
    }

    /// A setting has changed the farm: the models with it.
    fn follow_farm(&mut self) {
        if Arc::ptr_eq(&self.farm, self.engine.farm()) {
            return;
        }
        self.farm = Arc::clone(self.engine.farm());
        let pressure = self.engine.site().pressure;
        for (modelled, room) in self.rooms.iter_mut().zip(&self.farm.rooms) {
            modelled.model = RoomModel::new(room, pressure);
        }
    }

    /// As it was recorded, else as it should be.
    fn beginning(&self, index: usize, said: &Recorded, pressure: Pressure) -> Option<Standing> {
        let room = &self.farm.rooms[index];
        let said = |kind: usize| self.recorded(index, kind, said).map(|(value, _)| value);
        let temperature = said(0).map_or(room.bands.temperature.preferred, Temperature::clamped);
        let humidity = said(1).map_or(room.bands.relative_humidity.preferred, RelativeHumidity::clamped);
        let air = MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, pressure).ok()?;
        let gas = CarbonDioxide::clamped(said(2).unwrap_or(2.0 * OUTDOOR_CARBON_DIOXIDE));
        Some(Standing::new(&air, gas, None))
    }

    fn recorded(&self, index: usize, kind: usize, said: &Recorded) -> Option<(f64, Duration)> {
        let (room, _) = self.rooms_as.iter().find(|(_, own)| **own == index)?;
        said.get(&(*room, kind)).copied()
    }

    fn move_on(&mut self, index: usize, outdoors: &MoistAir, pressure: Pressure, decisions: &[Decision]) {
        let farm = Arc::clone(&self.farm);
        let room = &farm.rooms[index];
        let Some(standing) = self.rooms[index].standing else { return };
        let weather = EnteringAir { air: *outdoors, carbon_dioxide: CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE) };
        let supply = match room.intake {
            Intake::Outdoors => weather,
            Intake::Room(from) => self.air_of(from, pressure).unwrap_or(weather),
            Intake::Space(space) => self.space(space, pressure).unwrap_or(weather),
        };
        let around = match room.shell.around {
            Around::Outdoors => weather,
            Around::Room(beside) => self.air_of(beside, pressure).unwrap_or(weather),
            Around::Space(space) => self.space(space, pressure).unwrap_or(weather),
        };
        let behind = (0..farm.rooms.len()).filter(|other| farm.rooms[*other].intake == Intake::Room(index));
        let drawn = behind.filter_map(|other| {
            let volume = self.air_of(other, pressure)?.air.specific_volume().cubic_metres_per_kilogram();
            Some(fresh_air(&farm.rooms[other], &decisions[other]).cubic_metres_per_hour() / volume)
        });
        let drawn_by_others = DryAirFlow::clamped(drawn.sum());
        let drive = Drive { supply, around, drawn_by_others, pressure, ..followed(room, &decisions[index], weather) };
        let modelled = &mut self.rooms[index];
        let (after, report) = modelled.model.step(&standing, &drive, STEP);
        modelled.standing = Some(after);
        let hours = STEP.as_secs_f64() / 3_600.0;
        let sums = &mut modelled.sums;
        if let Some(setpoints) = decisions[index].setpoints {
            let (flow, target) = (setpoints.fresh_air.cubic_metres_per_hour(), setpoints.humidity_target.ratio());
            let (least, most) = sums.advised.unwrap_or((flow, target));
            sums.advised = Some((least.min(flow), most.max(target)));
        }
        sums.highest_gas = sums.highest_gas.max(after.carbon_dioxide.parts_per_million());
        sums.water += report.water.litres();
        let heater = report.heater.map_or(0.0, |heater| heater.watts());
        sums.heat += (heater + report.tempering.watts()) * hours / 1_000.0;
        if let Some((air, _)) = after.air(pressure) {
            // An ideal humidistat stands on its target, to a rounding error: it is not to one side of a band's end.
            let celsius = (air.temperature().celsius() * 20.0).round() / 20.0;
            let ratio = (air.relative_humidity().ratio() * 500.0).round() / 500.0;
            let air = (Some(Temperature::clamped(celsius)), Some(RelativeHumidity::clamped(ratio)));
            sums.hours.add((air.0, air.1, Some(after.carbon_dioxide)), room, hours);
        }
    }

    fn air_of(&self, index: usize, pressure: Pressure) -> Option<EnteringAir> {
        let standing = self.rooms[index].standing?;
        Some(EnteringAir { air: standing.air(pressure)?.0, carbon_dioxide: standing.carbon_dioxide })
    }

    /// A space by its own sensors, as they were recorded; else as it is assumed to be.
    fn space(&self, space: usize, pressure: Pressure) -> Option<EnteringAir> {
        let said = |quantity| {
            let sources = self.farm.sources.iter().zip(self.engine.sources());
            let of_it = |(source, _): &(&Source, _)| source.place == Place::Space(space) && source.quantity == quantity;
            sources.filter(of_it).find_map(|(_, state)| state.reading.fresh()).map(Measured::base)
        };
        let heard = said(Quantity::Temperature).zip(said(Quantity::RelativeHumidity));
        let heard = heard.map(|(celsius, ratio)| (Temperature::clamped(celsius), RelativeHumidity::clamped(ratio)));
        let (temperature, humidity) = heard.or(self.farm.spaces.get(space)?.assumed)?;
        let air = MoistAir::from_sensor(temperature, humidity, BelowFreezing::Water, pressure).ok()?;
        let gas = said(Quantity::CarbonDioxide).unwrap_or(OUTDOOR_CARBON_DIOXIDE);
        Some(EnteringAir { air, carbon_dioxide: CarbonDioxide::clamped(gas) })
    }

    /// How far the model is from what was recorded at this moment.
    fn compare(&mut self, index: usize, now: &Now, said: &Recorded, pressure: Pressure) {
        let hours = STEP.as_secs_f64() / 3_600.0;
        for kind in 0..MEASURED.len() {
            let recorded = self.recorded(index, kind, said).filter(|(_, at)| now.since(*at) < MAXIMUM_AGE);
            let modelled = self.said(index, kind, pressure);
            if let Some(((recorded, _), modelled)) = recorded.zip(modelled) {
                let sums = &mut self.rooms[index].sums;
                sums.apart[kind] += hours * (modelled - recorded);
                sums.recorded[kind] += hours;
            }
        }
    }

    /// What a sensor of a modelled room would say without noise.
    fn said(&self, index: usize, kind: usize, pressure: Pressure) -> Option<f64> {
        let EnteringAir { air, carbon_dioxide } = self.air_of(index, pressure)?;
        Some(match MEASURED[kind] {
            Quantity::Temperature => air.temperature().celsius(),
            Quantity::RelativeHumidity => air.relative_humidity().ratio(),
            _ => carbon_dioxide.parts_per_million(),
        })
    }

    /// What the room's sensors say: with a little noise, because one that repeats itself is not believed.
    fn readings(&mut self, index: usize, pressure: Pressure) -> Vec<Event> {
        let mut events = Vec::new();
        for (kind, noise) in NOISE.into_iter().enumerate() {
            let (Some(source), Some(value)) = (self.rooms[index].sources[kind], self.said(index, kind, pressure))
            else {
                continue;
            };
            let measured = Measured::clamped(MEASURED[kind], value + noise * self.chance());
            events.push(Event::Reading { source, measured, taken: None });
        }
        events
    }

    /// A number from −1 to 1, the same in each replay: the upper bits of a linear congruence (Knuth's multiplier).
    #[expect(clippy::cast_precision_loss, reason = "31 bits are exact")]
    fn chance(&mut self) -> f64 {
        self.noise = self.noise.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.noise >> 33) as f64 / f64::from(1_u32 << 30) - 1.0
    }

    /// Of each room.
    pub fn sums(&self) -> impl Iterator<Item = &Sums> {
        self.rooms.iter().map(|modelled| &modelled.sums)
    }
}

/// Noise of the modelled sensors, by [`MEASURED`]: K, share, ppm.
const NOISE: [f64; 3] = [0.05, 0.002, 4.0];

/// Fresh air of somebody who follows the advice, and uses the fallback where there is none.
fn fresh_air(room: &Room, decision: &Decision) -> AirFlow {
    decision.setpoints.map_or(room.fan.fallback, |setpoints| setpoints.fresh_air)
}

/// A step of somebody who follows the advice; what lies around the room is still to be filled in.
fn followed(room: &Room, decision: &Decision, weather: EnteringAir) -> Drive {
    let setpoints = decision.setpoints;
    Drive {
        supply: weather,
        around: weather,
        fresh_air: fresh_air(room, decision),
        drawn_by_others: DryAirFlow::clamped(0.0),
        humidity_target: setpoints
            .map_or(room.bands.relative_humidity.preferred, |setpoints| setpoints.humidity_target),
        humidifier_allowed: setpoints.is_some_and(|setpoints| setpoints.humidifier_duty.ratio() > 0.0),
        emission: Emission::of_catalogue(room),
        pressure: weather.air.pressure(),
    }
}
