//! From what is known of a room to its setpoints. First the fresh air, then the humidity, so that an anteroom can be
//! told what its rooms draw in between.

use std::time::Duration;

use jiff::Timestamp;

use super::{
    cooling::{self, Cooling},
    setpoint::{AirCause, Balance, Decision, LimitedBy, Mode, Reason, Setpoints, Stands},
    target::{self, Ceiling, Enclosed, HIGHEST_TARGET, Holder, lowest_target},
};
pub use crate::model::people::{KEEP_OUT as PEOPLE_KEEP_OUT, LEAVE as PEOPLE_LEAVE, WARN as PEOPLE_WARN};
use crate::{
    model::{
        Humidifier, Now, Outlook, Presence, Room,
        balance::{BELOW_OUTDOOR, Inflow, flow_for_carbon_dioxide},
    },
    physics::{BelowFreezing, MoistAir},
    units::{AirFlow, CarbonDioxide, DryAirFlow, Fraction, HumidityRatio, RelativeHumidity, Temperature, WaterFlow},
};
pub use target::preferred_target;

/// A consumer must not follow advice for longer than this without hearing of it again. Nobody may promise more than ten
/// minutes; a minute is kept back, so that a clock that is being corrected stays within them.
pub const VALID_FOR: Duration = Duration::from_secs(540);

/// Fresh air is planned to hold carbon dioxide at this share of its ceiling.
pub const PLANNED_SHARE: f64 = 0.8;
/// From this share of the ceiling on, fresh air is not cut.
const NO_CUT_SHARE: f64 = 0.9;
/// Below this share of the ceiling, a hold that has given way to carbon dioxide counts again.
const HOLD_AGAIN_SHARE: f64 = 0.85;
/// Air at or above this is saturated for all that a sensor of two points' accuracy can tell.
const SATURATED: f64 = 0.99 - 0.02;
/// One run and one pause of a humidifier together. The trade keeps such cycles below 15 to 20 minutes (judgement).
const CYCLE: Duration = Duration::from_secs(900);
/// Air at or below this, in °C, may freeze a line that hangs in it: pipes at a cold wall are a little colder (common
/// practice, no source).
pub const LINE_FREEZES: f64 = 2.0;
/// Hours ahead of which a reason speaks.
const LATER_HOURS: usize = 18;
/// A change of air by under this share of the fan's capacity is not worth moving a fan for.
const DEADBAND: f64 = 0.05;
/// The same of a fan that has stood where it is for an hour: what was not worth a move for a quarter of an hour is worth one
/// for a night.
const SETTLED_DEADBAND: f64 = 0.02;
/// What a humidifier at its limit reaches has to differ by this from its target, as relative humidity, to move it.
const TARGET_DEADBAND: f64 = 0.01;
/// A difference of this share of the fan's capacity is told where the fan is not moved for it.
const WORTH_SAYING: f64 = 0.01;
/// From this share of the ceiling on, more air is no comfort move any more, however little more: carbon dioxide is above what
/// was planned by more than a sensor's noise.
const ABOVE_PLAN_SHARE: f64 = 0.85;

/// What is known of a room when its fresh air is decided.
#[derive(Debug, Clone, Copy)]
pub struct AirSituation<'a> {
    /// The room as configured.
    pub room: &'a Room,
    /// State of its air, or the best stand-in: only the specific volume matters here.
    pub inside: &'a MoistAir,
    /// The highest that carbon dioxide may be, by what is believed of it.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// Whether its sensors are suspect or dispute it: fresh air is not cut then.
    pub doubted: bool,
    /// Carbon dioxide of the air supplied.
    pub supply_carbon_dioxide: CarbonDioxide,
    /// What the crop gives off, in g/h.
    pub emission: f64,
    /// Whether the fan has stood where it is for so long that a smaller difference is worth moving it for.
    pub settled: bool,
    /// What the rooms that draw from this one need.
    pub drawn_by_others: AirFlow,
    /// What was advised last.
    pub last: Option<AirFlow>,
    /// The air that is drawn in, before any exchanger and heater of the intake, where it is known.
    pub supply: Option<MoistAir>,
    /// What was asked for to cool the room, if anything was.
    pub cooling: Option<Cooling>,
}

/// Fresh air, and what sets it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirAdvice {
    /// How much.
    pub flow: AirFlow,
    /// Why.
    pub cause: AirCause,
    /// Whether the crop would need more than the fan can give.
    pub short: bool,
    /// Whether the fan is left where it is though the balance asks for a little more or less.
    pub kept: bool,
}

/// The carbon dioxide ceiling of a room: the crop's limit, and never above what people may breathe all day, unless the
/// grower has said that nobody is in the room. Even then it stays below what would call for all the air there is.
pub fn ceiling(room: &Room) -> CarbonDioxide {
    let for_people = match room.told.presence {
        Some(Presence::Absent) => PEOPLE_LEAVE,
        Some(Presence::Present) | None => PEOPLE_WARN,
    };
    CarbonDioxide::clamped(room.bands.carbon_dioxide_limit.parts_per_million().min(for_people))
}

/// Decides the fresh air: what the balance asks for, or what the grower holds.
pub fn fresh_air(situation: &AirSituation<'_>) -> AirAdvice {
    held(cooled(by_balance(situation), situation), situation)
}

/// More, where that cools a room that is too warm.
fn cooled(advised: AirAdvice, situation: &AirSituation<'_>) -> AirAdvice {
    match cooling::flow(situation, advised.flow).filter(|flow| *flow > advised.flow) {
        Some(flow) => AirAdvice { flow, cause: AirCause::Cooling, short: false, kept: false },
        None => advised,
    }
}

/// A hold of more air than advised is always free. One of less is followed only where carbon dioxide is heard, is
/// believable, undisputed and well below its ceiling, no burner stands in the room, and the rooms behind draw no more; and never
/// below the floor.
fn held(advised: AirAdvice, situation: &AirSituation<'_>) -> AirAdvice {
    let room = situation.room;
    let Some(hold) = room.told.hold.fresh_air else { return advised };
    // A hold that has given way comes back only when carbon dioxide is clearly lower, so that the fan is not jerked.
    let given_way = situation.last.is_some_and(|last| last > hold);
    let good_below = if given_way { HOLD_AGAIN_SHARE } else { NO_CUT_SHARE } * ceiling(room).parts_per_million();
    let good = situation
        .carbon_dioxide
        .map(CarbonDioxide::parts_per_million)
        .is_some_and(|ppm| ppm >= BELOW_OUTDOOR && ppm < good_below);
    let least = if good && !situation.doubted && !room.burner {
        room.fan.floor.cubic_metres_per_hour().max(situation.drawn_by_others.cubic_metres_per_hour())
    } else {
        advised.flow.cubic_metres_per_hour()
    };
    let most = room.fan.capacity.cubic_metres_per_hour();
    let flow = hold.cubic_metres_per_hour().max(least).min(most);
    let moved = (flow - advised.flow.cubic_metres_per_hour()).abs() > 1e-9;
    // What is held may be what the balance would have asked for, or within its deadband: it is the hold all the same.
    let chosen = matches!(advised.cause, AirCause::Crop | AirCause::Floor | AirCause::Through | AirCause::Cooling)
        && (flow - hold.cubic_metres_per_hour()).abs() < 1e-9;
    if !moved && !chosen {
        return advised;
    }
    AirAdvice { flow: AirFlow::clamped(flow), cause: AirCause::Held, short: false, kept: false }
}

fn by_balance(situation: &AirSituation<'_>) -> AirAdvice {
    let AirSituation { room, carbon_dioxide, last, .. } = *situation;
    let fan = &room.fan;
    let ceiling = ceiling(room);
    let measured = carbon_dioxide.map(CarbonDioxide::parts_per_million);
    let believable = measured.filter(|ppm| *ppm >= BELOW_OUTDOOR);
    let above_plan = believable.is_some_and(|ppm| ppm >= ABOVE_PLAN_SHARE * ceiling.parts_per_million());
    let planned = CarbonDioxide::clamped(ceiling.parts_per_million() * PLANNED_SHARE);
    let for_crop =
        flow_for_carbon_dioxide(situation.emission, planned, situation.supply_carbon_dioxide, situation.inside)
            .cubic_metres_per_hour();
    let for_others = situation.drawn_by_others.cubic_metres_per_hour();

    let near_limit = believable.is_some_and(|ppm| ppm >= NO_CUT_SHARE * ceiling.parts_per_million());
    // A crop is what makes carbon dioxide; a room without one is ventilated for the rooms behind it.
    let unknown = (believable.is_none() || situation.doubted) && room.crop.is_some();

    let floor = fan.floor.cubic_metres_per_hour();
    let mut wanted = for_crop.max(floor).max(for_others);
    let mut cause = if for_crop > floor.max(for_others) {
        AirCause::Crop
    } else if for_others > floor {
        AirCause::Through
    } else {
        AirCause::Floor
    };
    if unknown {
        wanted = wanted.max(fan.usual.cubic_metres_per_hour());
        cause = AirCause::Unknown;
    }
    // Above its ceiling the room needs more than the steady flow, to come down at all soon.
    if let Some(ppm) = believable.filter(|ppm| *ppm > ceiling.parts_per_million()) {
        wanted *= (ppm / ceiling.parts_per_million()).min(2.0);
    }
    let before = last.map_or(0.0, AirFlow::cubic_metres_per_hour);
    let share = if situation.settled { SETTLED_DEADBAND } else { DEADBAND };
    let deadband = share * fan.capacity.cubic_metres_per_hour();
    let mut kept = false;
    if before > wanted {
        if near_limit {
            (wanted, cause) = (before, AirCause::NearLimit);
        } else if unknown {
            wanted = before;
        } else if room.burner {
            (wanted, cause) = (before, AirCause::Burner);
        } else if before - wanted < deadband {
            kept = before - wanted > WORTH_SAYING * fan.capacity.cubic_metres_per_hour();
            wanted = before;
        }
    } else if near_limit {
        cause = AirCause::NearLimit;
    } else if before >= floor.max(for_others) && believable.is_some() && !above_plan && wanted - before < deadband {
        // A comfort move: carbon dioxide is where it was planned to be, and only the estimate behind it moved.
        kept = wanted - before > WORTH_SAYING * fan.capacity.cubic_metres_per_hour();
        wanted = before;
    }
    let capacity = fan.capacity.cubic_metres_per_hour();
    let short = wanted > capacity;
    if short {
        (wanted, cause) = (capacity, AirCause::FanFull);
    }
    AirAdvice { flow: AirFlow::clamped(wanted.max(floor)), cause, short, kept }
}

/// What is known of a room when its humidity is decided.
#[derive(Debug, Clone, Copy)]
pub struct MoistureSituation<'a> {
    /// The room as configured.
    pub room: &'a Room,
    /// State of its air; its humidity is a stand-in where `relative_humidity` is `None`.
    pub inside: &'a MoistAir,
    /// The target that was advised last.
    pub last_target: Option<RelativeHumidity>,
    /// What the humidifier reached lately at full duty, without the noise of sensors; see [`MoistureAdvice::reached`].
    pub reached_lately: Option<f64>,
    /// Relative humidity, if it is believed.
    pub relative_humidity: Option<RelativeHumidity>,
    /// The wettest that the air may be: it decides whether the humidifier must stand.
    pub wettest: Option<RelativeHumidity>,
    /// Whether the fan has reported for over two minutes that it stands; without a report it is taken to do as advised.
    pub fan_off: bool,
    /// Whether the alert of wet caps stands.
    pub caps_wet: bool,
    /// The coldest that the air may be.
    pub coldest: Option<Temperature>,
    /// Carbon dioxide, if it is believed.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// State of the air supplied.
    pub supply: &'a MoistAir,
    /// Whether that is measured; its humidity is a stand-in otherwise.
    pub supply_known: bool,
    /// Humidity ratio outdoors, for the leak.
    pub outdoors: HumidityRatio,
    /// Temperature on the other side of the shell, where it is known.
    pub around: Option<Temperature>,
    /// The coldest surface that a probe measures.
    pub probe: Option<Temperature>,
    /// What the supply of the rooms behind must hold for their own humidifiers to do: see [`supply_needed`].
    pub needed_behind: Option<HumidityRatio>,
    /// The hours ahead, where they are known.
    pub outlook: Option<&'a Outlook>,
    /// The fresh air decided.
    pub air: AirAdvice,
}

/// The humidity target, and what holding it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MoistureAdvice {
    /// The target: the preferred humidity, or what enclosure and humidifier allow, but not below the band's low end.
    pub target: RelativeHumidity,
    /// What the enclosure allows.
    pub ceiling: Ceiling,
    /// Humidity ratio at the target and the room's temperature.
    pub target_ratio: HumidityRatio,
    /// Vapour that the target takes; negative where the entering air is moister.
    pub vapour: WaterFlow,
    /// Vapour that the humidifier can give.
    pub possible: Option<WaterFlow>,
    /// Duty of the humidifier.
    pub duty: Fraction,
    /// Whether the target was lowered to what the humidifier can reach.
    pub lowered: bool,
    /// Relative humidity that the humidifier reaches at full duty by what is heard now, a ratio, which may be above one.
    pub reached: Option<f64>,
    /// Why the humidifier must stand, if it must.
    pub stands: Option<Stands>,
}

/// Humidity ratio that the supply of `room` must have at least, for the room's own humidifier to hold the preferred
/// humidity at full duty with this fresh air: what an anteroom has to take over.
pub fn supply_needed(room: &Room, inside: &MoistAir, fresh_air: AirFlow) -> HumidityRatio {
    let target = at_humidity(inside, preferred_target(room)).kilograms_per_kilogram();
    let flow = fresh_air.cubic_metres_per_hour() / inside.specific_volume().cubic_metres_per_kilogram();
    let possible = room
        .humidifier
        .map_or(0.0, |humidifier| humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio());
    HumidityRatio::clamped(if flow > 0.0 { target - possible / flow } else { 0.0 })
}

/// The preferred humidity; an anteroom takes over what the rooms behind it cannot give, up to the top of its band.
fn wish(situation: &MoistureSituation<'_>) -> RelativeHumidity {
    let room = situation.room;
    let preferred = preferred_target(room);
    let Some(needed) = situation.needed_behind.filter(|_| room.told.hold.humidity_target.is_none()) else {
        return preferred;
    };
    let most = room.bands.relative_humidity.highest.ratio().min(HIGHEST_TARGET);
    let full = at_humidity(situation.inside, RelativeHumidity::clamped(HIGHEST_TARGET)).kilograms_per_kilogram();
    // Humidity ratio is almost proportional to relative humidity at one temperature: within 0.3 points here.
    let wanted = HIGHEST_TARGET * needed.kilograms_per_kilogram() / full;
    RelativeHumidity::clamped(wanted.min(most).max(preferred.ratio()))
}

/// The duty that a humidifier with shortest times can run in a cycle of [`CYCLE`]: runs that would be too short are made
/// as long as they must be, or left out where they are less than half of that; pauses that would be too short are left
/// out.
fn switchable(duty: Fraction, humidifier: &Humidifier) -> Fraction {
    let share = |time: Duration| (time.as_secs_f64() / CYCLE.as_secs_f64()).min(1.0);
    let (least, most) = (share(humidifier.minimum_on), 1.0 - share(humidifier.minimum_off));
    let duty = duty.ratio();
    Fraction::clamped(if duty < 0.5 * least {
        0.0
    } else if duty.max(least) > most {
        1.0
    } else {
        duty.max(least)
    })
}

/// Decides the humidity target and the humidifier's duty.
pub fn moisture(situation: &MoistureSituation<'_>) -> MoistureAdvice {
    let room = situation.room;
    let inflow = Inflow::new(room, situation.air.flow, situation.inside, situation.supply);
    let entering = inflow.mixed(situation.supply.humidity_ratio(), situation.outdoors);
    let possible = room
        .humidifier
        .map(|humidifier| WaterFlow::clamped(humidifier.output.kilograms_per_hour() * humidifier.evaporated.ratio()));
    let at = |target: RelativeHumidity| at_humidity(situation.inside, target);
    let ceiling = target::ceiling(&Enclosed {
        room,
        inside: *situation.inside,
        supply: *situation.supply,
        inflow: DryAirFlow::clamped(inflow.total()),
        entering,
        around: situation.around,
        probe: situation.probe,
        wish: wish(situation),
    });
    let (wished, lowest) = (ceiling.target, lowest_target(room));
    let reached = possible.map(|possible| {
        let reach = inflow.reached_with(possible, entering).kilograms_per_kilogram();
        // Humidity ratio is almost proportional to relative humidity at one temperature: within 0.2 points here.
        wished.ratio() * reach / at(wished).kilograms_per_kilogram()
    });
    let reach =
        reached.map(|reached| situation.reached_lately.unwrap_or(reached)).filter(|reach| *reach < wished.ratio());
    let lowered = reach.is_some();
    let target = reach.map_or(wished, |reach| {
        let reach = reach.max(lowest.ratio());
        let last = situation.last_target.filter(|last| *last <= wished && *last >= lowest);
        let near = last.filter(|last| (last.ratio() - reach).abs() < TARGET_DEADBAND);
        near.unwrap_or_else(|| RelativeHumidity::clamped(reach))
    });
    let target_ratio = at(target);
    // Where the target follows what is reached, all that there is is given.
    let all = possible.filter(|_| lowered && target > lowest);
    let vapour = all.unwrap_or_else(|| inflow.vapour_to(target_ratio, entering));
    let stands = stands(situation);
    let duty = match possible {
        Some(possible) if stands.is_none() && !room.told.tank_empty && possible.kilograms_per_hour() > 0.0 => {
            Fraction::clamped(vapour.kilograms_per_hour() / possible.kilograms_per_hour())
        }
        _ => Fraction::clamped(0.0),
    };
    let duty = room.humidifier.map_or(duty, |humidifier| switchable(duty, &humidifier));
    MoistureAdvice { target, ceiling, target_ratio, vapour, possible, duty, lowered, reached, stands }
}

/// Why the humidifier must stand. That caps are wet is reckoned, not seen: it counts only down to the band's low end.
fn stands(situation: &MoistureSituation<'_>) -> Option<Stands> {
    let at_least = |ratio: f64| situation.wettest.is_some_and(|humidity| humidity.ratio() >= ratio);
    if at_least(SATURATED) {
        Some(Stands::Saturated)
    } else if situation.fan_off {
        Some(Stands::FanOff)
    } else if situation.caps_wet && (situation.wettest.is_none() || at_least(lowest_target(situation.room).ratio())) {
        Some(Stands::CapsWet)
    } else {
        None
    }
}

/// When the target comes down by a point or more in the next 18 hours, and to what at the lowest.
fn later(outlook: Option<&Outlook>, target: RelativeHumidity) -> Option<(Timestamp, RelativeHumidity)> {
    let hours = outlook?.expected.hours.iter().take(LATER_HOURS);
    let lower = || hours.clone().filter(|hour| hour.humidity_target.ratio() <= target.ratio() - 0.01);
    let from = lower().next()?.start;
    let lowest = lower().map(|hour| hour.humidity_target.ratio()).fold(target.ratio(), f64::min);
    Some((from, RelativeHumidity::clamped(lowest)))
}

/// Puts the two halves together.
pub fn decision(situation: &MoistureSituation<'_>, moisture: &MoistureAdvice, now: &Now) -> Decision {
    let room = situation.room;
    let air = situation.air;
    let air_changes = air.flow.per(room.volume);
    let limited_by = if air.short {
        LimitedBy::FanCapacity
    } else if let Some(stands) = moisture.stands {
        match stands {
            Stands::Saturated => LimitedBy::Saturation,
            Stands::FanOff => LimitedBy::FanOff,
            Stands::CapsWet => LimitedBy::WetCaps,
        }
    } else if room.told.tank_empty && moisture.vapour.kilograms_per_hour() > 0.0 {
        LimitedBy::EmptyTank
    } else if moisture.lowered || (moisture.possible.is_none() && moisture.vapour.kilograms_per_hour() > 0.0) {
        LimitedBy::HumidifierOutput
    } else if let Some(holder) = moisture.ceiling.holder.filter(|_| room.told.hold.humidity_target.is_none()) {
        match holder {
            Holder::StandingMist => LimitedBy::StandingMist,
            Holder::InletFog => LimitedBy::InletFog,
            Holder::ColdSurface { .. } => LimitedBy::ColdSurface,
            Holder::WetCaps => LimitedBy::WetCaps,
        }
    } else if air.cause == AirCause::Unknown {
        LimitedBy::UnknownCarbonDioxide
    } else if moisture.vapour.kilograms_per_hour() <= 0.0 {
        LimitedBy::MoistSupply
    } else {
        match air.cause {
            AirCause::Crop | AirCause::NearLimit => LimitedBy::CarbonDioxide,
            AirCause::Floor => LimitedBy::Floor,
            AirCause::Held => LimitedBy::Hold,
            AirCause::Cooling => LimitedBy::Temperature,
            _ if room.told.hold.humidity_target.is_some() => LimitedBy::Hold,
            AirCause::Unknown | AirCause::Through | AirCause::Burner | AirCause::FanFull => LimitedBy::Nothing,
        }
    };
    let complete = situation.relative_humidity.is_some() && situation.supply_known && air.cause != AirCause::Unknown;
    Decision {
        mode: if complete { Mode::Active } else { Mode::Degraded },
        setpoints: Some(Setpoints {
            fresh_air: air.flow,
            air_changes,
            fan_command: room.fan.command(air.flow),
            humidity_target: moisture.target,
            humidifier_duty: moisture.duty,
        }),
        limited_by,
        reason: Reason::Balance(Balance {
            air: air.cause,
            freezing: situation.coldest.filter(|coldest| may_freeze(room, *coldest)),
            kept: air.kept,
            off_band: off_band(situation),
            air_changes,
            carbon_dioxide_limit: ceiling(room),
            carbon_dioxide: situation.carbon_dioxide,
            relative_humidity_known: situation.relative_humidity.is_some(),
            supply_known: situation.supply_known,
            humidity_target: moisture.target,
            ceiling: moisture.ceiling,
            temper_to: (moisture.ceiling.holder == Some(Holder::InletFog))
                .then(|| target::temper_to(*situation.supply, *situation.inside, wish(situation)))
                .flatten(),
            supply_temperature: situation.supply.temperature(),
            vapour_needed: moisture.vapour,
            vapour_possible: moisture.possible,
            stands: moisture.stands,
            tank_empty: room.told.tank_empty,
            later: later(situation.outlook, moisture.target),
            target_held: room.told.hold.humidity_target.is_some(),
        }),
        valid_until: now.wall_after(VALID_FOR),
    }
}

/// Whether the water line of a room's humidifier may freeze in air of this temperature.
pub fn may_freeze(room: &Room, coldest: Temperature) -> bool {
    room.humidifier.is_some() && coldest.celsius() <= LINE_FREEZES
}

/// The room's temperature and the end of its band that it has passed.
fn off_band(situation: &MoistureSituation<'_>) -> Option<(Temperature, Temperature)> {
    let (room, band) = (situation.inside.temperature(), situation.room.bands.temperature);
    situation.room.crop.as_ref()?;
    if room > band.highest { Some((room, band.highest)) } else { (room < band.lowest).then_some((room, band.lowest)) }
}

/// All the air there is, because people are in danger.
pub fn full_air(room: &Room, reason: Reason, now: &Now) -> Decision {
    Decision {
        mode: Mode::Active,
        setpoints: Some(Setpoints {
            fresh_air: room.fan.capacity,
            air_changes: room.fan.capacity.per(room.volume),
            fan_command: Fraction::clamped(1.0),
            humidity_target: RelativeHumidity::clamped(room.bands.relative_humidity.lowest.ratio().min(HIGHEST_TARGET)),
            humidifier_duty: Fraction::clamped(0.0),
        }),
        limited_by: LimitedBy::PeopleSafety,
        reason,
        valid_until: now.wall_after(VALID_FOR),
    }
}

/// No advice: the consumer uses its fallbacks.
pub fn withheld(reason: Reason, now: &Now) -> Decision {
    Decision {
        mode: Mode::Withheld,
        setpoints: None,
        limited_by: LimitedBy::Nothing,
        reason,
        valid_until: now.wall_after(VALID_FOR),
    }
}

/// Humidity ratio of the room's air if its relative humidity were `target`.
fn at_humidity(inside: &MoistAir, target: RelativeHumidity) -> HumidityRatio {
    MoistAir::from_sensor(inside.temperature(), target, BelowFreezing::Water, inside.pressure())
        // A target is at most 95 % and the temperature is that of a state that exists, so this cannot fail.
        .map_or(inside.humidity_ratio(), MoistAir::humidity_ratio)
}
