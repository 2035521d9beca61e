//! What would help: outlooks made again with one change each, and what each change is worth.
//!
//! Only the grower can pull these levers, so that each is a difference in numbers and no order.

use std::cmp::Ordering;

use jiff::Timestamp;

use super::{Voice, decide, plan, target};
use crate::{
    model::{
        Intake, Room,
        equipment::Tempering,
        farm::Farm,
        outlook::{Hour, Run},
        projection::{self, Course, Feed, Scene, View},
        room::EnteringAir,
    },
    physics::{BelowFreezing, MoistAir, inlet_fog},
    units::{AirFlow, CarbonDioxide, HeatFlow, RelativeHumidity, Temperature, WaterFlow, WaterVolume},
};

/// Carbon dioxide that less air may lead to, as a share of the crop's ceiling: just below what forbids every cut.
const FILLED_SHARE: f64 = 0.88;
/// Hours over which water is compared.
const COMPARED: usize = 24;
/// A change that saves less than this share of the water is not worth a walk to the room.
const WORTH_SAVING: f64 = 0.05;
/// Levers reported of a room.
const MOST: usize = 5;

/// One change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Change {
    /// Let carbon dioxide come nearer to the crop's limit, with this share of the fresh air that is advised.
    LessAir {
        /// Fresh air in the worst hour.
        to: AirFlow,
    },
    /// Lower the humidity target to the band's low end.
    LowerTarget {
        /// The low end.
        to: RelativeHumidity,
    },
    /// Keep the anteroom at this air.
    ReadyAnteroom {
        /// Its temperature.
        temperature: Temperature,
        /// Its relative humidity.
        relative_humidity: RelativeHumidity,
    },
    /// Warm the fresh air before it enters.
    WarmIntake {
        /// To this.
        to: Temperature,
    },
    /// Add humidifier output.
    AddOutput {
        /// Water thrown.
        by: WaterFlow,
    },
    /// Add heat.
    AddHeat {
        /// Heater power.
        by: HeatFlow,
    },
    /// Fill the tank.
    Fill {
        /// Water to add for the next 24 hours.
        add: WaterVolume,
        /// Before then.
        by: Timestamp,
    },
}

impl Change {
    /// As published.
    pub const fn name(&self) -> &'static str {
        match self {
            Self::LessAir { .. } => "less-air",
            Self::LowerTarget { .. } => "lower-target",
            Self::ReadyAnteroom { .. } => "ready-anteroom",
            Self::WarmIntake { .. } => "warm-intake",
            Self::AddOutput { .. } => "add-output",
            Self::AddHeat { .. } => "add-heat",
            Self::Fill { .. } => "fill-tank",
        }
    }
}

/// What a run comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worth {
    /// Water drawn in the next 24 hours, or as far as the weather is known.
    pub water: WaterVolume,
    /// Hours with a shortfall.
    pub hours_short: u32,
    /// Vapour missing at the worst.
    pub worst_shortfall: WaterFlow,
    /// Hours in which the heater cannot hold the temperature.
    pub hours_cold: u32,
    /// Hours with fog at the inlet.
    pub hours_foggy: u32,
    /// Lowest relative humidity.
    pub lowest_relative_humidity: RelativeHumidity,
    /// Highest carbon dioxide.
    pub highest_carbon_dioxide: CarbonDioxide,
}

/// A change and what it is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lever {
    /// The change.
    pub change: Change,
    /// Without it.
    pub without: Worth,
    /// With it.
    pub with: Worth,
    /// The first trouble that it helps against: it has to be done by then. `None` where it only saves water.
    pub by: Option<Timestamp>,
}

/// The levers that help in the hours ahead of one room, best first.
///
/// `expected` is the room's expected run, with the tank refilled when it runs out.
pub fn levers(scene: &Scene<'_>, expected: &Run, farm: &Farm) -> Vec<Lever> {
    let expected_worth = worth(&expected.hours);
    let mut found: Vec<Lever> = changes(scene, expected, farm)
        .into_iter()
        .filter_map(|change| {
            // The outlook goes on as if somebody filled the tank; what that is worth shows against a run without.
            let (without, with) = match change {
                Change::Fill { .. } => (compared(&Scene { refilled: false, ..*scene }), expected_worth),
                _ => (expected_worth, rerun(scene, &change, farm)?),
            };
            let change = filled(change, scene, &with)?;
            helps(&without, &with, &change).then(|| Lever { change, without, with, by: trouble(expected, &change) })
        })
        .collect();
    found.sort_by(better);
    found.truncate(MOST);
    found
}

/// What the hours that are compared come to in the expected weather.
fn compared(scene: &Scene<'_>) -> Worth {
    worth(&projection::project_expected(scene, COMPARED).hours)
}

fn worth(hours: &[Hour]) -> Worth {
    let day = &hours[..hours.len().min(COMPARED)];
    let count =
        |holds: &dyn Fn(&Hour) -> bool| u32::try_from(day.iter().filter(|hour| holds(hour)).count()).unwrap_or(0);
    let most = |value: &dyn Fn(&Hour) -> f64| day.iter().map(value).fold(0.0, f64::max);
    Worth {
        water: WaterVolume::clamped(day.iter().map(|hour| hour.water.litres()).sum()),
        hours_short: count(&|hour| hour.shortfall.kilograms_per_hour() > 0.0),
        worst_shortfall: WaterFlow::clamped(most(&|hour| hour.shortfall.kilograms_per_hour())),
        hours_cold: count(&|hour| hour.heat_missing.watts() > 0.0),
        hours_foggy: count(&|hour| hour.inlet_fog),
        lowest_relative_humidity: RelativeHumidity::clamped(
            day.iter().map(|hour| hour.lowest_relative_humidity.ratio()).fold(1.0, f64::min),
        ),
        highest_carbon_dioxide: CarbonDioxide::clamped(most(&|hour| hour.carbon_dioxide.parts_per_million())),
    }
}

fn changes(scene: &Scene<'_>, expected: &Run, farm: &Farm) -> Vec<Change> {
    let room = scene.room;
    let findings = &expected.findings;
    let found = [
        less_air(scene, expected),
        lower_target(room, expected),
        ready_anteroom(room, farm),
        findings.inlet_fog.and_then(|_| warm_intake(scene, expected)),
        add_output(room, expected),
        findings
            .heat_short
            .map(|short| Change::AddHeat { by: round_up(short.worst.watts(), 100.0, HeatFlow::clamped) }),
        findings.tank_empty.map(|by| Change::Fill { add: WaterVolume::clamped(0.0), by }),
    ];
    found.into_iter().flatten().collect()
}

fn round_up<T>(value: f64, step: f64, make: impl Fn(f64) -> T) -> T {
    make((value / step).ceil() * step)
}

/// Only where a believable sensor shows what less air does, and never below what is held by hand already: a share of it
/// would be taken off again and again.
fn less_air(scene: &Scene<'_>, expected: &Run) -> Option<Change> {
    scene.start.carbon_dioxide?;
    if scene.room.told.hold.fresh_air.is_some() {
        return None;
    }
    let worst = worst_hour(expected)?;
    let share = air_share(scene.room);
    let floor = scene.room.fan.floor.cubic_metres_per_hour();
    let to = (worst.fresh_air.cubic_metres_per_hour() * share).max(floor);
    let saved = worst.fresh_air.cubic_metres_per_hour() - to;
    (!scene.room.burner && saved > 0.02 * scene.room.fan.capacity.cubic_metres_per_hour())
        .then(|| Change::LessAir { to: AirFlow::clamped(to) })
}

/// Fresh air that keeps carbon dioxide at [`FILLED_SHARE`] of its ceiling, as a share of what keeps it where it is
/// planned. The supply is taken to be outdoor air.
fn air_share(room: &Room) -> f64 {
    let ceiling = decide::ceiling(room).parts_per_million();
    let above = |share: f64| (share * ceiling - crate::model::balance::OUTDOOR_CARBON_DIOXIDE).max(1.0);
    (above(decide::PLANNED_SHARE) / above(FILLED_SHARE)).min(1.0)
}

fn lower_target(room: &Room, expected: &Run) -> Option<Change> {
    let to = target::lowest_target(room);
    let lower = expected.hours.iter().any(|hour| hour.humidity_target.ratio() > to.ratio() + 0.005);
    (room.humidifier.is_some() && lower).then_some(Change::LowerTarget { to })
}

fn ready_anteroom(room: &Room, farm: &Farm) -> Option<Change> {
    let Intake::Room(from) = room.intake else { return None };
    let anteroom = farm.rooms.get(from)?;
    anteroom.humidifier?;
    Some(Change::ReadyAnteroom {
        temperature: anteroom.bands.temperature.preferred,
        relative_humidity: target::preferred_target(anteroom),
    })
}

/// To what keeps the coldest hour clear of fog at the preferred humidity.
fn warm_intake(scene: &Scene<'_>, expected: &Run) -> Option<Change> {
    if scene.room.intake != Intake::Outdoors || scene.room.tempering.is_some() {
        return None;
    }
    let coldest = expected.hours.iter().min_by(|a, b| ascending(a.outdoor_temperature, b.outdoor_temperature))?;
    let pressure = scene.weather.pressure();
    let outdoors =
        MoistAir::from_humidity_ratio(coldest.outdoor_temperature, coldest.outdoor_humidity_ratio, pressure).ok()?;
    let wished = target::preferred_target(scene.room);
    let inside = MoistAir::from_sensor(coldest.temperature, wished, BelowFreezing::Water, pressure).ok()?;
    let to = inlet_fog(outdoors, inside).ok()?.lowest_clear_supply?;
    Some(Change::WarmIntake { to: round_up(to.celsius(), 0.5, Temperature::clamped) })
}

fn ascending(a: Temperature, b: Temperature) -> Ordering {
    a.celsius().total_cmp(&b.celsius())
}

fn add_output(room: &Room, expected: &Run) -> Option<Change> {
    let humidifier = room.humidifier?;
    let short = expected.findings.shortfall?;
    let thrown = short.worst.kilograms_per_hour() / humidifier.evaporated.ratio().max(0.05);
    Some(Change::AddOutput { by: round_up(thrown, 0.1, WaterFlow::clamped) })
}

/// The hour with the worst shortfall; without one, the one that draws most.
fn worst_hour(run: &Run) -> Option<&Hour> {
    let day = &run.hours[..run.hours.len().min(COMPARED)];
    day.iter().max_by(|a, b| {
        let key = |hour: &Hour| (hour.shortfall.kilograms_per_hour(), hour.water.litres());
        key(a).0.total_cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1))
    })
}

/// What the expected run comes to with one change to the room or to how it is run.
fn rerun(scene: &Scene<'_>, change: &Change, farm: &Farm) -> Option<Worth> {
    let mut room = scene.room.clone();
    let mut changed = *scene;
    let share = air_share(scene.room);
    let floor = scene.room.fan.floor;
    let lowest = target::lowest_target(scene.room);
    let less = move |view: &View<'_>| {
        let course = plan::course(view);
        let air = course.fresh_air.cubic_metres_per_hour() * share;
        Course { fresh_air: AirFlow::clamped(air.max(floor.cubic_metres_per_hour())), ..course }
    };
    let lower = move |view: &View<'_>| {
        let course = plan::course(view);
        Course {
            humidity_target: if course.humidity_target > lowest { lowest } else { course.humidity_target },
            ..course
        }
    };
    match change {
        Change::LessAir { .. } => changed.policy = &less,
        Change::LowerTarget { .. } => changed.policy = &lower,
        Change::ReadyAnteroom { temperature, relative_humidity } => {
            let pressure = scene.weather.pressure();
            let air = MoistAir::from_sensor(*temperature, *relative_humidity, BelowFreezing::Water, pressure).ok()?;
            let Intake::Room(from) = room.intake else { return None };
            farm.rooms.get(from)?;
            let carbon_dioxide = CarbonDioxide::clamped(crate::model::balance::OUTDOOR_CARBON_DIOXIDE);
            changed.intake = Feed::Still(EnteringAir { air, carbon_dioxide });
        }
        Change::WarmIntake { to } => room.tempering = Some(Tempering { to: *to, power: None }),
        Change::AddOutput { by } => {
            let humidifier = room.humidifier.as_mut()?;
            let output = humidifier.output.kilograms_per_hour() + by.kilograms_per_hour();
            humidifier.output = WaterFlow::clamped(output);
        }
        Change::AddHeat { by } => {
            let heater = room.heater.as_mut()?;
            heater.power = HeatFlow::clamped(heater.power.watts() + by.watts());
        }
        Change::Fill { .. } => changed.refilled = true,
    }
    changed.room = &room;
    Some(compared(&changed))
}

/// With the tank never empty, the run says how much has to be added.
fn filled(change: Change, scene: &Scene<'_>, with: &Worth) -> Option<Change> {
    match change {
        Change::Fill { by, .. } => {
            let held = scene.start.tank.map_or(0.0, WaterVolume::litres);
            let add = with.water.litres() - held;
            (add > 0.0).then(|| Change::Fill { add: round_up(add, 1.0, WaterVolume::clamped), by })
        }
        other => Some(other),
    }
}

fn helps(without: &Worth, with: &Worth, change: &Change) -> bool {
    let fewer = with.hours_short < without.hours_short
        || with.worst_shortfall.kilograms_per_hour() < 0.9 * without.worst_shortfall.kilograms_per_hour();
    match change {
        Change::Fill { .. } => true,
        Change::WarmIntake { .. } => with.hours_foggy < without.hours_foggy,
        Change::AddHeat { .. } => with.hours_cold < without.hours_cold,
        Change::AddOutput { .. } => fewer,
        Change::LessAir { .. } | Change::LowerTarget { .. } | Change::ReadyAnteroom { .. } => {
            fewer || with.water.litres() < (1.0 - WORTH_SAVING) * without.water.litres()
        }
    }
}

fn trouble(expected: &Run, change: &Change) -> Option<Timestamp> {
    let findings = &expected.findings;
    match change {
        Change::Fill { by, .. } => Some(*by),
        Change::WarmIntake { .. } => findings.inlet_fog,
        Change::AddHeat { .. } => findings.heat_short.map(|short| short.from),
        Change::LessAir { .. }
        | Change::LowerTarget { .. }
        | Change::ReadyAnteroom { .. }
        | Change::AddOutput { .. } => findings.shortfall.map(|short| short.from),
    }
}

/// Fewer hours short first, then fewer cold hours, then less water.
fn better(a: &Lever, b: &Lever) -> Ordering {
    let key = |lever: &Lever| (lever.with.hours_short, lever.with.hours_cold, lever.with.hours_foggy);
    key(a).cmp(&key(b)).then(a.with.water.litres().total_cmp(&b.with.water.litres()))
}

impl Lever {
    /// What to do, by when, and what it is worth, in one sentence.
    pub fn sentence(&self, voice: &Voice, now: Timestamp) -> String {
        let by = self.by.map_or_else(String::new, |by| format!(" before {}", voice.time(by, now)));
        format!("{}{by}: {}.", self.change.order(voice), self.effects(voice).join(", "))
    }

    fn effects(&self, voice: &Voice) -> Vec<String> {
        let (without, with) = (&self.without, &self.with);
        let hours = |count: u32| format!("{count} {}", if count == 1 { "hour" } else { "hours" });
        let mut effects = Vec::new();
        if with.hours_short < without.hours_short {
            effects.push(match with.hours_short {
                0 => "the humidifier keeps up".to_owned(),
                short => format!("short for {} of the next 24 instead of {}", hours(short), without.hours_short),
            });
        } else if with.hours_short > 0 && with.worst_shortfall < without.worst_shortfall {
            effects.push(format!(
                "at the worst {} short instead of {}",
                voice.units.vapour_flow(with.worst_shortfall),
                voice.units.vapour_flow(without.worst_shortfall)
            ));
        }
        if with.hours_cold < without.hours_cold {
            effects.push(match with.hours_cold {
                0 => "the room keeps its temperature".to_owned(),
                cold => format!("too cold for {} instead of {}", hours(cold), without.hours_cold),
            });
        }
        if with.hours_foggy < without.hours_foggy {
            effects.push(match with.hours_foggy {
                0 => "no fog at the inlet".to_owned(),
                foggy => format!("fog at the inlet for {} instead of {}", hours(foggy), without.hours_foggy),
            });
        }
        let drier = 100.0 * (with.lowest_relative_humidity.ratio() - without.lowest_relative_humidity.ratio());
        if drier.abs() >= 1.0 {
            effects.push(format!(
                "{:.0} % at the driest instead of {:.0} %",
                with.lowest_relative_humidity.percent(),
                without.lowest_relative_humidity.percent()
            ));
        }
        let air = with.highest_carbon_dioxide.parts_per_million() - without.highest_carbon_dioxide.parts_per_million();
        if air.abs() >= 20.0 {
            effects.push(format!("carbon dioxide up to {}", voice.units.carbon_dioxide(with.highest_carbon_dioxide)));
        }
        let saved = without.water.litres() - with.water.litres();
        if saved.abs() >= 0.5 || effects.is_empty() {
            let which = if saved >= 0.0 { "less" } else { "more" };
            let water = voice.units.water_volume(WaterVolume::clamped(saved.abs()));
            effects.push(format!("{water} {which} water in 24 hours"));
        }
        effects
    }
}

impl Change {
    fn order(&self, voice: &Voice) -> String {
        let units = voice.units;
        match self {
            Self::LessAir { to } => {
                format!("Hold the fresh air at {} in the worst hour, and let carbon dioxide rise", units.air_flow(*to))
            }
            Self::LowerTarget { to } => format!("Lower the humidity target to {:.0} %", to.percent()),
            Self::ReadyAnteroom { temperature, relative_humidity } => format!(
                "Bring the anteroom to {} and {:.0} %",
                units.temperature(*temperature),
                relative_humidity.percent()
            ),
            Self::WarmIntake { to } => format!("Warm the fresh air to {}", units.temperature(*to)),
            Self::AddOutput { by } => format!("Add {} of humidifier output", units.liquid_flow(*by)),
            Self::AddHeat { by } => format!("Add {} of heat", units.heat_flow(*by)),
            Self::Fill { add, .. } => format!("Add {} to the tank", units.water_volume(*add)),
        }
    }
}
