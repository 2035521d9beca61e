//! From the present into the next 48 hours: each room stepped through three weathers, hour by hour under the course that
//! would be advised then.
//!
//! One call of [`project`] is one room. A room behind another is fed from that room's [`Trace`], so that rooms are
//! projected in intake order; what the rooms behind draw comes from their own last outlooks. Nothing here looks at the
//! farm as a whole, so that the caller may do one room at a time.

mod fog;
mod run;
mod space;
mod tally;
mod weather;

pub use space::SpaceHabit;
pub use tally::dawn;
pub use weather::{HOURS, STEP, STEPS_PER_HOUR, Weather};

use jiff::Timestamp;

use super::{Case, Outlook, Room, Site, room::EnteringAir};
use crate::{
    physics::MoistAir,
    units::{AirFlow, CarbonDioxide, DryAirFlow, Fraction, HumidityRatio, RelativeHumidity, Temperature, WaterVolume},
};

/// A room as it stands when the projection begins.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// Its air; where no humidity is heard, at the target.
    pub air: MoistAir,
    /// Its carbon dioxide; `None` where no sensor is believed: it begins at what the present fresh air would settle at.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// Fresh air that flows now.
    pub fresh_air: AirFlow,
    /// What the crop gives off, in g/h, where it was estimated from the balance; else the catalogue speaks.
    pub emission: Option<f64>,
    /// Water in the tank, where it is known.
    pub tank: Option<WaterVolume>,
    /// The coldest surface that a probe measures, by its place in the shell's list, and the temperature factor that the
    /// probe shows.
    pub probe: Option<(usize, Fraction)>,
}

/// Where air comes from in the hours ahead.
#[derive(Debug, Clone, Copy)]
pub enum Feed<'a> {
    /// The weather.
    Outdoors,
    /// A space that stays as it is.
    Still(EnteringAir),
    /// Another room or a space, as it was projected.
    Room(&'a Trace),
}

/// What a room's projection rests on.
#[derive(Clone, Copy)]
pub struct Scene<'a> {
    /// Where the farm stands.
    pub site: &'a Site,
    /// The room as configured.
    pub room: &'a Room,
    /// The weather ahead.
    pub weather: &'a Weather,
    /// The room now.
    pub start: Start,
    /// Where its fresh air comes from.
    pub intake: Feed<'a>,
    /// What lies around its shell.
    pub around: Feed<'a>,
    /// What the rooms behind it draw, by moment and case.
    pub drawn: &'a dyn Fn(Timestamp, Case) -> DryAirFlow,
    /// Whether the tank is refilled when it runs out, so that what is found is what the equipment can do; else the room
    /// goes without from then on.
    pub refilled: bool,
    /// What the rooms behind need their supply to hold, as they stand now.
    pub needed_behind: Option<HumidityRatio>,
    /// How it will be run.
    pub policy: &'a Policy<'a>,
}

/// What is known of a room when the course of an hour is chosen: as projected for the hour's beginning.
#[derive(Debug, Clone, Copy)]
pub struct View<'a> {
    /// The room as configured.
    pub room: &'a Room,
    /// Its air.
    pub air: MoistAir,
    /// Its carbon dioxide; `None` where no sensor will be there to show it.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// What the crop gives off at the air's temperature, in g/h: as estimated from the balance, where it was.
    pub emission: Option<f64>,
    /// The air that it is supplied with, before any exchanger or heater.
    pub supply: EnteringAir,
    /// What lies around its shell.
    pub around: EnteringAir,
    /// The coldest surface that a probe measures, carried on by its temperature factor.
    pub probe: Option<Temperature>,
    /// The air outdoors.
    pub outdoors: MoistAir,
    /// What the rooms behind it draw, at the state of this room's air.
    pub drawn: AirFlow,
    /// What the rooms behind need their supply to hold.
    pub needed_behind: Option<HumidityRatio>,
    /// Fresh air of the hour before.
    pub before: AirFlow,
}

/// How a room is run for an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Course {
    /// Fresh air.
    pub fresh_air: AirFlow,
    /// Humidity target.
    pub humidity_target: RelativeHumidity,
}

/// Chooses the course of an hour.
pub type Policy<'a> = dyn Fn(&View<'_>) -> Course + 'a;

/// What came of a projection.
#[derive(Debug, Clone, PartialEq)]
pub struct Projected {
    /// The outlook, without caveats: the caller knows what was measured and what was assumed.
    pub outlook: Outlook,
    /// The room's air, for the rooms that draw from it or stand in it.
    pub trace: Trace,
}

/// The projected air of a room, or of a space, step by step, in three cases.
#[derive(Debug, Clone, PartialEq)]
pub struct Trace {
    start: Timestamp,
    expected: Vec<EnteringAir>,
    colder: Vec<EnteringAir>,
    milder: Vec<EnteringAir>,
}

impl Trace {
    /// Its air at a moment that lies in it.
    pub fn within(&self, moment: Timestamp, case: Case) -> Option<EnteringAir> {
        let steps = i32::try_from(self.expected.len()).ok()?;
        (self.start..=self.start + STEP * steps).contains(&moment).then(|| self.at(moment, case))?
    }

    /// Its air at a moment: that of the step in which the moment lies; before its start the first, after its end the
    /// last. `None` where the trace is empty.
    pub fn at(&self, moment: Timestamp, case: Case) -> Option<EnteringAir> {
        let steps = match case {
            Case::Expected => &self.expected,
            Case::ColderAndDrier => &self.colder,
            Case::Milder => &self.milder,
        };
        let ahead = moment.duration_since(self.start).as_millis() / STEP.as_millis();
        let step = usize::try_from(ahead.max(0)).unwrap_or(usize::MAX);
        steps.get(step).or(steps.last()).copied()
    }
}

/// Projects one room.
pub fn project(scene: &Scene<'_>) -> Projected {
    let start = scene.weather.start();
    let dawn = dawn(scene.site, start);
    let [(expected, expected_air), (colder, colder_air), (milder, milder_air)] =
        [Case::Expected, Case::ColderAndDrier, Case::Milder].map(|case| run::run(scene, (case, HOURS), dawn));
    Projected {
        outlook: Outlook { made: start, expected, colder, milder, caveats: Vec::new() },
        trace: Trace { start, expected: expected_air, colder: colder_air, milder: milder_air },
    }
}

/// Projects one room in the expected weather only, and at most this many hours of it: half of what asking "what if" takes.
pub fn project_expected(scene: &Scene<'_>, hours: usize) -> super::outlook::Run {
    run::run(scene, (Case::Expected, hours), dawn(scene.site, scene.weather.start())).0
}
