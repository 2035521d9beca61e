//! What holds in a room at this turn, alert by alert, before any delay.

use jiff::{SignedDuration, Timestamp};

use super::{
    room::{CAPS_WET, RoomMemory},
    snapshot::RoomState,
};
use crate::{
    advice::{
        AlertKind, Priority, Warning,
        alert::{Condition, Message},
        decide, target,
    },
    model::{
        Now, Outlook, Room,
        balance::{OUTDOOR_CARBON_DIOXIDE, carbon_dioxide_at},
        outlook::{Hour, Stretch},
    },
    physics::{BelowFreezing, MoistAir, mixing, surface},
    units::{CarbonDioxide, RelativeHumidity, Temperature, TemperatureDifference, WaterFlow, WaterVolume},
};

/// A shortfall or a cold room further ahead than this may yet be another forecast's.
const DAY: SignedDuration = SignedDuration::from_hours(24);
/// What begins so soon is told whatever it rests on.
const AT_HAND: SignedDuration = SignedDuration::from_hours(2);
/// The tank is warned of this long ahead: long enough to fill it before bed.
const TANK_LEAD: SignedDuration = SignedDuration::from_hours(12);
/// Wet surfaces and fog are warned of this long ahead.
const WET_LEAD: SignedDuration = SignedDuration::from_hours(6);
/// Once raised, dryness has to recover by this much to be over, as relative humidity.
const DEADBAND: f64 = 0.01;
/// Hours of a day without the low end of the band that make a cold spell.
const SPELL_HOURS: u32 = 12;
/// Rise in a quarter of an hour, in ppm, that is no noise of a sensor.
const REAL_RISE: f64 = 100.0;

/// What a room's alerts rest on.
pub(super) struct View<'a> {
    pub room: &'a Room,
    pub memory: &'a RoomMemory,
    /// Temperature on the other side of the shell.
    pub around: Option<Temperature>,
    /// What a probe on the coldest surface says.
    pub probe: Option<Temperature>,
    /// Whether what its rooms behind draw rests on crops that are being learned.
    pub guessed_behind: bool,
    /// What is said of its sensors: silent, suspect, apart, calibrated long ago.
    pub sensors: [Condition; 4],
    pub now: &'a Now,
}

impl View<'_> {
    /// What holds of `kind`.
    pub fn condition(&self, kind: AlertKind) -> Condition {
        match kind {
            AlertKind::HumidifierShortfall => self.of_humidifier(Self::shortfall),
            AlertKind::TankEmpty => self.of_humidifier(Self::tank_empty),
            AlertKind::HeatShort => self.ahead(Self::heat_short),
            AlertKind::LineFreezing => self.line_freezing(),
            AlertKind::SurfaceWet => self.surface_wet(),
            AlertKind::InletFog => self.inlet_fog(),
            AlertKind::CapsWet => self.caps_wet(),
            AlertKind::TooDry => self.too_dry(),
            AlertKind::ColdSpell => self.of_humidifier(Self::cold_spell),
            AlertKind::SensorStale => self.sensors[0].clone(),
            AlertKind::SensorSuspect => self.sensors[1].clone(),
            AlertKind::SensorsDisagree => self.sensors[2].clone(),
            AlertKind::CalibrationOld => self.sensors[3].clone(),
            AlertKind::CarbonDioxideCrop => self.carbon_dioxide_crop(),
            AlertKind::CarbonDioxideRising => self.carbon_dioxide_rising(),
            AlertKind::CarbonDioxidePeople => self.carbon_dioxide_people(),
            AlertKind::HardFrost
            | AlertKind::ForecastOld
            | AlertKind::ClockNotTrusted
            | AlertKind::BrokerLost
            | AlertKind::BrokerFlapping
            | AlertKind::StorageFailing => Condition::Clear,
        }
    }

    fn state(&self) -> &RoomState {
        &self.memory.state
    }

    fn is_raised(&self, kind: AlertKind) -> bool {
        self.state().alerts.iter().any(|alert| alert.kind == kind && alert.stands())
    }

    /// Whether it stands as a warning, not as a notice of what is to come.
    fn is_warned_of(&self, kind: AlertKind) -> bool {
        self.state().alerts.iter().any(|alert| alert.kind == kind && alert.stands() && alert.published() != "notice")
    }

    fn ahead(&self, judge: impl Fn(&Self, &Outlook) -> Option<Condition>) -> Condition {
        self.state()
            .outlook
            .as_deref()
            .map_or(Condition::Missing, |outlook| judge(self, outlook).unwrap_or(Condition::Clear))
    }

    fn of_humidifier(&self, judge: impl Fn(&Self, &Outlook) -> Option<Condition>) -> Condition {
        if self.room.humidifier.is_none() { Condition::Clear } else { self.ahead(judge) }
    }

    fn within(&self, at: Timestamp, lead: SignedDuration) -> bool {
        at.duration_since(self.now.wall) <= lead
    }

    fn shortfall(&self, outlook: &Outlook) -> Option<Condition> {
        let found = &outlook.expected.findings;
        let soon = |stretch: Option<Stretch<WaterFlow>>| stretch.filter(|short| self.within(short.from, DAY));
        let strained = || {
            let stretch = soon(found.strained.filter(|_| self.is_raised(AlertKind::HumidifierShortfall)))?;
            Some(Stretch { worst: WaterFlow::clamped(0.0), ..stretch })
        };
        let short = soon(found.shortfall).or_else(strained)?;
        if !self.within(short.from, AT_HAND) && self.rests_on_a_guess(outlook, short.worst_at) {
            return None;
        }
        let milder = outlook.milder.findings.shortfall.map(|short| short.from);
        Some(Condition::Present(
            Priority::ahead(short.from, milder, self.now.wall),
            Message::Shortfall {
                from: short.from,
                to: short.to,
                worst_at: short.worst_at,
                worst: short.worst,
                water: found.water_12_hours,
            },
        ))
    }

    /// Whether the fresh air of a moment ahead, here or in the rooms behind, is what the catalogue's upper figure asks for
    /// while the crop's own is being learned: several times too much, for some crops.
    fn rests_on_a_guess(&self, outlook: &Outlook, moment: Timestamp) -> bool {
        let hour = outlook.expected.hours.iter().rev().find(|hour| hour.start <= moment);
        let floor = self.room.fan.floor.cubic_metres_per_hour();
        let for_crop = hour.is_some_and(|hour| hour.fresh_air.cubic_metres_per_hour() > 1.01 * floor);
        for_crop && (self.guessed_behind || self.memory.is_learning(self.room, outlook.made, self.now))
    }

    fn tank_empty(&self, outlook: &Outlook) -> Option<Condition> {
        let at = outlook.expected.findings.tank_empty.filter(|at| self.within(*at, TANK_LEAD))?;
        let priority =
            if self.within(at, SignedDuration::from_hours(2)) { Priority::Critical } else { Priority::Warning };
        Some(warning(priority, Warning::TankEmpty { at, add: self.water_to_add(outlook) }))
    }

    /// What the tank lacks for the next 24 hours; the outlook goes on as if it were filled when it runs out.
    fn water_to_add(&self, outlook: &Outlook) -> Option<WaterVolume> {
        let humidifier = self.room.humidifier?;
        let hours = outlook.expected.hours.get(..24)?;
        let wanted: f64 = hours.iter().map(|hour| hour.water.litres()).sum();
        let held = self.state().tank.map_or_else(|| humidifier.tank(), |tank| Some(tank.volume))?.litres();
        (wanted > held).then(|| WaterVolume::clamped((wanted - held).ceil()))
    }

    fn heat_short(&self, outlook: &Outlook) -> Option<Condition> {
        let stretch = outlook.expected.findings.heat_short.filter(|short| self.within(short.from, DAY))?;
        let day = outlook.expected.hours.iter().take(24);
        let coldest = day.map(|hour| hour.temperature).min_by(|a, b| a.celsius().total_cmp(&b.celsius()))?;
        let milder = outlook.milder.findings.heat_short.map(|short| short.from);
        Some(warning(Priority::ahead(stretch.from, milder, self.now.wall), Warning::HeatShort { stretch, coldest }))
    }

    /// Where the humidifier stands, there is its line.
    fn line_freezing(&self) -> Condition {
        if let Some(coldest) = self.state().reckoned.coldest.filter(|coldest| decide::may_freeze(self.room, *coldest)) {
            return warning(Priority::Critical, Warning::LineFreezing { at: None, coldest });
        }
        self.of_humidifier(|view, outlook| {
            let day = || outlook.expected.hours.iter().take(24);
            let at = day().find(|hour| decide::may_freeze(view.room, hour.temperature))?.start;
            let coldest = day().map(|hour| hour.temperature).min_by(|a, b| a.celsius().total_cmp(&b.celsius()))?;
            Some(warning(Priority::Warning, Warning::LineFreezing { at: Some(at), coldest }))
        })
    }

    fn surface_wet(&self) -> Condition {
        if self.room.shell.surfaces.is_empty() {
            return Condition::Clear;
        }
        let Some(air) = self.state().air else { return Condition::Missing };
        if let Some(surface) = target::coldest_surface(self.room, air.temperature(), self.around, self.probe)
            && let Ok(margin) = surface::dew_margin(surface, air)
        {
            // The advice keeps the same margin, so that an alert which was only raised for later must not come early.
            let wet_until = if self.is_warned_of(AlertKind::SurfaceWet) { 0.5 * target::DEW_MARGIN } else { 0.0 };
            if margin.kelvins() <= wet_until {
                let below = surface::highest_dry_humidity(surface, air.temperature(), air.pressure()).ok();
                return warning(Priority::Warning, Warning::SurfaceWet { at: None, margin, below });
            }
        }
        self.ahead(|view, outlook| {
            let at =
                first(&outlook.expected.hours, |hour| hour.dew_margin.is_some_and(|margin| margin.kelvins() <= 0.0))?;
            let margin =
                outlook.expected.findings.dew_margin.map_or(TemperatureDifference::clamped(0.0), |(_, margin)| margin);
            let soon = view.within(at, WET_LEAD);
            soon.then(|| warning(Priority::Notice, Warning::SurfaceWet { at: Some(at), margin, below: None }))
        })
    }

    fn inlet_fog(&self) -> Condition {
        let (Some(air), Some(supply)) = (self.state().air, self.state().supply) else { return Condition::Missing };
        let foggy = match mixing::highest_clear_humidity(supply, air) {
            Ok(Some(clear)) => air.relative_humidity() > clear,
            Ok(None) => true,
            Err(_) => false,
        };
        if foggy {
            let temper_to = mixing::lowest_clear_supply(supply, air).ok().flatten();
            return warning(Priority::Notice, Warning::InletFog { at: None, temper_to });
        }
        self.ahead(|view, outlook| {
            let at = outlook.expected.findings.inlet_fog.filter(|at| view.within(*at, WET_LEAD))?;
            Some(warning(Priority::Notice, Warning::InletFog { at: Some(at), temper_to: None }))
        })
    }

    fn caps_wet(&self) -> Condition {
        if self.room.crop.is_none() {
            return Condition::Clear;
        }
        let (Some(_), Some(relative_humidity)) = (self.state().air, self.state().reckoned.wettest) else {
            return Condition::Missing;
        };
        let Some(since) = self.memory.caps_wet_since else { return Condition::Clear };
        let left = CAPS_WET.saturating_sub(self.now.since(since));
        let preferred = target::preferred_target(self.room);
        let at = (!left.is_zero()).then(|| self.now.wall_after(left));
        let priority = if at.is_some() { Priority::Notice } else { Priority::Warning };
        warning(priority, Warning::CapsWet { at, relative_humidity, preferred })
    }

    fn too_dry(&self) -> Condition {
        if self.room.crop.is_none() {
            return Condition::Clear;
        }
        let (Some(air), Some(driest)) = (self.state().air, self.state().reckoned.driest) else {
            return Condition::Missing;
        };
        let lowest = target::lowest_target(self.room);
        let slack = if self.is_raised(AlertKind::TooDry) { 0.0 } else { DEADBAND };
        let deficit = |humidity: f64| -> Option<f64> {
            let humidity = RelativeHumidity::clamped(humidity);
            let air = MoistAir::from_sensor(air.temperature(), humidity, BelowFreezing::Water, air.pressure()).ok()?;
            Some(air.vapour_pressure_deficit().pascals())
        };
        let dry = deficit(driest.ratio()).zip(deficit(lowest.ratio() - slack)).is_some_and(|(now, most)| now > most);
        if !dry {
            return Condition::Clear;
        }
        // A shortfall that has begun says why, and what to do.
        let falls_short = self.state().outlook.as_deref().and_then(|outlook| outlook.expected.findings.shortfall);
        if falls_short.is_some_and(|short| short.from <= self.now.wall + SignedDuration::from_mins(30)) {
            return Condition::Covered;
        }
        warning(Priority::Warning, Warning::TooDry { relative_humidity: driest, lowest })
    }

    /// The second day as it is projected, else the third by its steady balance.
    fn cold_spell(&self, outlook: &Outlook) -> Option<Condition> {
        let below = |hour: &&Hour| {
            hour.shortfall.kilograms_per_hour() > 0.0
                && hour.humidity_target.ratio() <= target::lowest_target(self.room).ratio() + 0.005
        };
        let second_day = outlook.expected.hours.get(24..).unwrap_or_default();
        let second = second_day
            .iter()
            .find(below)
            .map(|first| (first.start, u32::try_from(second_day.iter().filter(below).count()).unwrap_or(0)));
        let third = self.memory.third_day.and_then(|day| Some((day.from?, day.hours)));
        let (from, hours) = [second, third].into_iter().flatten().find(|(_, hours)| *hours >= SPELL_HOURS)?;
        Some(warning(Priority::Notice, Warning::ColdSpell { from, hours }))
    }

    fn carbon_dioxide_crop(&self) -> Condition {
        let Some(measured) = self.state().reckoned.carbon_dioxide else { return Condition::Missing };
        if self.room.crop.is_none() {
            return Condition::Clear;
        }
        let limit = self.room.bands.carbon_dioxide_limit;
        // Once raised, it takes five percent below the limit to clear.
        let share = if self.is_raised(AlertKind::CarbonDioxideCrop) { 0.95 } else { 1.0 };
        if measured.parts_per_million() > limit.parts_per_million() * share {
            Condition::Present(Priority::Warning, Message::CarbonDioxide { measured, limit })
        } else {
            Condition::Clear
        }
    }

    /// Carbon dioxide that rises beyond what even the catalogue's upper figure could hold it at, with the advised air.
    fn carbon_dioxide_rising(&self) -> Condition {
        let Some(crop) = &self.room.crop else { return Condition::Clear };
        let (Some((before, measured)), Some(air), Some(flow)) =
            (self.memory.quarter_hour(self.now), self.state().air, self.memory.last_flow)
        else {
            return Condition::Missing;
        };
        let upper = crop.substrate.kilograms() * crop.respiration.upper;
        let outdoors = CarbonDioxide::clamped(OUTDOOR_CARBON_DIOXIDE);
        let most = carbon_dioxide_at(upper, flow, outdoors, &air).parts_per_million();
        let rising = measured.parts_per_million() - before.parts_per_million() >= REAL_RISE;
        if rising && measured.parts_per_million() > most {
            warning(Priority::Critical, Warning::CarbonDioxideRising { before, measured })
        } else {
            Condition::Clear
        }
    }

    /// What the best belief says, and what the worst sensor says: a danger to people is never averaged away.
    fn carbon_dioxide_people(&self) -> Condition {
        let reckoned = &self.state().reckoned;
        // After a danger a lower word that is not believed is no relief: it stays unknown.
        let heard = reckoned
            .carbon_dioxide_for_people
            .filter(|heard| heard.parts_per_million() >= decide::PEOPLE_LEAVE || !self.memory.in_danger());
        people_condition(reckoned.carbon_dioxide, heard)
    }
}

fn warning(priority: Priority, warning: Warning) -> Condition {
    Condition::Present(priority, Message::Warning(warning))
}

fn first(hours: &[Hour], holds: impl Fn(&Hour) -> bool) -> Option<Timestamp> {
    hours.iter().find(|hour| holds(hour)).map(|hour| hour.start)
}

/// A limit for people is told on the word of any sensor, believed or not; all clear only on that of one that is.
fn people_condition(believed: Option<CarbonDioxide>, heard: Option<CarbonDioxide>) -> Condition {
    let passed = heard.filter(|heard| heard.parts_per_million() >= decide::PEOPLE_WARN);
    let Some(measured) = passed.or(believed) else { return Condition::Missing };
    let steps = [
        (decide::PEOPLE_KEEP_OUT, Priority::Critical),
        (decide::PEOPLE_LEAVE, Priority::Critical),
        (decide::PEOPLE_WARN, Priority::Warning),
    ];
    steps.into_iter().find(|(limit, _)| measured.parts_per_million() >= *limit).map_or(
        Condition::Clear,
        |(limit, priority)| {
            Condition::Present(priority, Message::CarbonDioxide { measured, limit: CarbonDioxide::clamped(limit) })
        },
    )
}
