//! Decisions and alerts as a grower would say them.

use jiff::{Timestamp, tz::TimeZone};

use super::{
    alert::{Message, is_near},
    decide::{PEOPLE_KEEP_OUT, PEOPLE_LEAVE, PEOPLE_WARN},
    mistrust,
    setpoint::{AirCause, Balance, Decision, Reason, Stands},
    target::Holder,
};
use crate::{
    model::Sensor,
    units::{CarbonDioxide, RelativeHumidity, Temperature, UnitSystem, WaterFlow},
};

/// How this farm's people are spoken to: their units and their clock.
#[derive(Debug, Clone, PartialEq)]
pub struct Voice {
    /// Units of every number.
    pub units: UnitSystem,
    /// For every time of day.
    pub time_zone: TimeZone,
}

impl Voice {
    /// A moment as people say it: `02:00`, or `02:00 on Friday` when it is most of a day away.
    pub fn time(&self, moment: Timestamp, now: Timestamp) -> String {
        let local = moment.to_zoned_datetime(self.time_zone.clone());
        let today = now.to_zoned_datetime(self.time_zone.clone());
        let clock = local.strftime("%H:%M").to_string();
        let far = moment.duration_since(now).as_hours().abs() >= 18;
        if far && local.date() != today.date() { format!("{clock} on {}", local.strftime("%A")) } else { clock }
    }

    fn ppm(&self, value: CarbonDioxide) -> String {
        self.units.carbon_dioxide(value).to_string()
    }

    fn vapour(&self, value: WaterFlow) -> String {
        self.units.vapour_flow(value).to_string()
    }
}

fn percent(value: RelativeHumidity) -> String {
    format!("{:.0} %", value.percent())
}

impl Decision {
    /// Why the advice is as it is, in one or two plain sentences.
    pub fn sentence(&self, voice: &Voice) -> String {
        match &self.reason {
            Reason::NoRoomTemperature => "There is no advice, because the room's temperature is not known: use the \
                                          fallback settings and look at the sensor."
                .to_owned(),
            Reason::NoSupplyAir => "There is no advice, because nothing is known of the air that the room draws in: \
                                    use the fallback settings, and look at the outdoor sensor and the forecast."
                .to_owned(),
            Reason::ClockNotTrusted => "There is no advice, because the date of this machine is wrong: use the \
                                        fallback settings until it has the network's time."
                .to_owned(),
            Reason::Danger { measured } => format!(
                "All the air there is: carbon dioxide is at {}, dangerous to people. Leave the room and let it \
                 ventilate; this reading does not say when it is safe to enter.",
                voice.ppm(*measured)
            ),
            Reason::DangerUnknown => "All the air there is: carbon dioxide was dangerous to people when it was last \
                                      heard, and is unknown now. Stay out."
                .to_owned(),
            Reason::Balance(balance) => {
                let said = [
                    balance.freezing.map_or_else(String::new, |at| freezing_sentence(at, voice)),
                    air_sentence(balance, voice),
                    if balance.kept { KEPT.to_owned() } else { String::new() },
                    warmth_sentence(balance, voice),
                    water_sentence(balance, voice),
                ];
                said.into_iter().filter(|sentence| !sentence.is_empty()).collect::<Vec<_>>().join(" ")
            }
        }
    }
}

/// What comes before everything that needs water.
fn freezing_sentence(at: Temperature, voice: &Voice) -> String {
    format!("It is {} here: drain or heat-trace the water line first.", voice.units.temperature(at))
}

/// A comfort move that is not made.
const KEPT: &str = "A change of less than 5 % of the fan is not worth moving it for.";

/// That the room has left its temperature band, and by how much, where the fresh air does not say so already.
fn warmth_sentence(balance: &Balance, voice: &Voice) -> String {
    let Some((room, end)) = balance.off_band.filter(|_| balance.air != AirCause::Cooling) else { return String::new() };
    let [at, of] = [room, end].map(|temperature| voice.units.temperature(temperature));
    if room > end {
        format!("The room is at {at}, above its highest of {of}, and fresh air cannot cool it as things are.")
    } else {
        format!("The room is at {at}, below its lowest of {of}; less air would not be enough for the crop.")
    }
}

fn air_sentence(balance: &Balance, voice: &Voice) -> String {
    let changes = format!("{:.1} air changes an hour", balance.air_changes.per_hour());
    let limit = voice.ppm(balance.carbon_dioxide_limit);
    let measured =
        balance.carbon_dioxide.map_or_else(|| "not known".to_owned(), |ppm| format!("at {}", voice.ppm(ppm)));
    match balance.air {
        AirCause::Crop => {
            format!("Fresh air of {changes} keeps carbon dioxide (now {measured}) well below {limit}.")
        }
        AirCause::Floor => format!(
            "Fresh air stays at its floor of {changes}: carbon dioxide (now {measured}) asks for no more, with a \
             limit of {limit}."
        ),
        AirCause::Through => format!("Fresh air of {changes} is what the rooms behind draw from here."),
        AirCause::Unknown => format!(
            "Carbon dioxide is not known or not believable, so fresh air stays at {changes}, no less than the usual \
             rate; without a sensor that can be believed nobody can say that less would do."
        ),
        AirCause::NearLimit if balance.carbon_dioxide > Some(balance.carbon_dioxide_limit) => {
            format!(
                "Carbon dioxide is {measured}, above its limit of {limit}, so fresh air is at {changes} to bring it down."
            )
        }
        AirCause::NearLimit => {
            format!("Carbon dioxide is {measured}, with a limit of {limit}, so fresh air is not cut: {changes}.")
        }
        AirCause::Burner => format!("A burner without a flue is declared, so fresh air is not cut: {changes}."),
        AirCause::Held => {
            format!("Fresh air is held by hand at {changes} (carbon dioxide now {measured}, with a limit of {limit}).")
        }
        AirCause::Cooling => format!(
            "The room is too warm, and the air drawn in at {} cools it: fresh air is at {changes}, more than carbon dioxide \
             (now {measured}) asks for.",
            voice.units.temperature(balance.supply_temperature)
        ),
        AirCause::FanFull => format!(
            "The fan gives all it can, {changes}, and the crop would need more to stay well below {limit} \
             (carbon dioxide now {measured})."
        ),
    }
}

fn water_sentence(balance: &Balance, voice: &Voice) -> String {
    let target = percent(balance.humidity_target);
    let supply = voice.units.temperature(balance.supply_temperature);
    let need = voice.vapour(balance.vapour_needed);
    let needed = balance.vapour_needed.kilograms_per_hour();
    let unheard = if balance.relative_humidity_known { "" } else { " The room's humidity is not heard." };
    let taken = if balance.supply_known {
        ""
    } else {
        " The humidity of the room that it draws from is not known, and taken to be what is set there."
    };
    let sentence = if let Some(stands) = balance.stands {
        stands_sentence(stands).to_owned()
    } else if balance.tank_empty && needed > 0.0 {
        format!(
            "Holding {target} with air drawn in at {supply} takes {need} of vapour, but by what was told and drawn since, \
             the tank is empty, so the humidifier stands: fill it, and set its volume."
        )
    } else if needed <= 0.0 {
        format!("The air drawn in at {supply} is as moist as {target} asks for, so it dries nothing.")
    } else {
        match balance.vapour_possible {
            None => format!(
                "Holding {target} with air drawn in at {supply} takes {need} of vapour, and there is no humidifier."
            ),
            Some(possible) if needed > possible.kilograms_per_hour() * 1.0001 => {
                let missing = WaterFlow::clamped(needed - possible.kilograms_per_hour());
                format!(
                    "Even {target} takes {need} of vapour with air drawn in at {supply}, {} more than the humidifier \
                     gives.",
                    voice.vapour(missing)
                )
            }
            Some(possible) if needed > possible.kilograms_per_hour() * 0.999 => format!(
                "The humidifier is at its limit of {} with air drawn in at {supply}, so the target comes down to \
                 {:.1} %.",
                voice.vapour(possible),
                balance.humidity_target.percent()
            ),
            Some(possible) => format!(
                "Holding {target} with air drawn in at {supply} takes {need} of vapour, {:.0} % of what the \
                 humidifier gives.",
                100.0 * needed / possible.kilograms_per_hour()
            ),
        }
    };
    let held = balance.ceiling.holder.map_or_else(String::new, |holder| held_sentence(&holder, balance, voice));
    let later = balance.later.map_or_else(String::new, |(from, lowest)| {
        format!(" From {} the target comes down, to {:.0} % at the lowest.", voice.time(from, from), lowest.percent())
    });
    let by_hand = if balance.target_held { " The humidity target is held by hand." } else { "" };
    format!("{sentence}{held}{later}{unheard}{taken}{by_hand}")
}

const fn stands_sentence(stands: Stands) -> &'static str {
    match stands {
        Stands::Saturated => {
            "The room's air is at saturation, as far as its sensor can tell, so the humidifier stands."
        }
        Stands::FanOff => {
            "The fan reports that it stands, so the humidifier stands as well: mist would stay where it is thrown. See now \
             why the fan is off."
        }
        Stands::CapsWet => "The caps have been too wet to dry, so the humidifier stands until the air has dried them.",
    }
}

/// Why the target is not the preferred one, and the cure where there is one.
fn held_sentence(holder: &Holder, balance: &Balance, voice: &Voice) -> String {
    let target = percent(balance.ceiling.target);
    let beyond = balance.ceiling.beyond.map(percent);
    match (holder, beyond) {
        (Holder::StandingMist, None) => {
            format!(" Above {target} mist would stand in the room, so no more is asked for.")
        }
        (Holder::StandingMist, Some(allowed)) => format!(
            " Mist would stand above {allowed} already, but the crop needs {target}: move the air, or throw finer mist."
        ),
        (Holder::InletFog, beyond) => {
            let fog = match beyond {
                None => format!(" Above {target} fog would form at the inlet, so no more is asked for."),
                Some(allowed) => {
                    format!(" Fog forms at the inlet above {allowed} already, but the crop needs {target}.")
                }
            };
            let cure = balance.temper_to.map_or_else(String::new, |to| {
                format!(" Fresh air warmed to {} would make none.", voice.units.temperature(to))
            });
            fog + &cure
        }
        (Holder::WetCaps, None) => {
            format!(" Above {target} the air that passes the crop would leave its caps wet, so no more is asked for.")
        }
        (Holder::WetCaps, Some(_)) => {
            format!(" Even at {target} the air is too still to dry the caps: move it more.")
        }
        (Holder::ColdSurface { surface }, None) => format!(
            " The coldest surface is at {} and would get wet above {target}, so no more is asked for.",
            voice.units.temperature(*surface)
        ),
        (Holder::ColdSurface { surface }, Some(allowed)) => format!(
            " The coldest surface, at {}, gets wet above {allowed} already, but the crop needs {target}: insulate it, \
             or move air over it.",
            voice.units.temperature(*surface)
        ),
    }
}

impl Message {
    /// What happens, when, and what to do about it.
    pub fn sentence(&self, voice: &Voice, now: Timestamp) -> String {
        match self {
            Self::HardFrost { measured: Some(measured), coldest_at, coldest, .. } => {
                let ahead = if coldest < measured {
                    format!(
                        ", and {} is forecast for {}",
                        voice.units.temperature(*coldest),
                        voice.time(*coldest_at, now)
                    )
                } else {
                    String::new()
                };
                format!(
                    "Hard frost: it is {} outdoors now{ahead}. Drain or heat-trace the water lines that can freeze, \
                     and fill the tanks while the water runs.",
                    voice.units.temperature(*measured)
                )
            }
            Self::HardFrost { measured: None, from, coldest_at, coldest } => {
                let (from_text, coldest) = (voice.time(*from, now), voice.units.temperature(*coldest));
                let ahead = format!("{coldest} is forecast for {}", voice.time(*coldest_at, now));
                if self.presses(now) {
                    format!(
                        "Hard frost within two hours, from {from_text}: {ahead}. Drain or heat-trace the water lines that \
                         can freeze now, and fill the tanks while the water runs."
                    )
                } else {
                    format!(
                        "Hard frost from {from_text}: {ahead}. Drain or heat-trace the water lines that can freeze, and \
                         fill the tanks before then."
                    )
                }
            }
            Self::ForecastOld { fetched: Some(fetched) } => format!(
                "The last forecast is from {}: no warning of a coming freeze can be given. Look at the network, and \
                 at a forecast elsewhere.",
                voice.time(*fetched, now)
            ),
            Self::ForecastOld { fetched: None } => "No forecast has arrived: no warning of a coming freeze can be \
                                                    given. Look at the network, and at a forecast elsewhere."
                .to_owned(),
            Self::Shortfall { from, to, worst_at, worst, water } => {
                let water = water.map_or_else(String::new, |water| {
                    format!(" The next 12 hours draw {}.", voice.units.water_volume(water))
                });
                shortfall_sentence(voice, now, (*from, *to), (*worst_at, *worst), &water)
            }
            Self::Stale { sensors } => {
                let names: Vec<_> = sensors.iter().map(Sensor::words).collect();
                format!(
                    "Nothing is heard of {}. Look at the sensor, its power and its network now; until then the \
                     careful settings are advised.",
                    names.join(" and ")
                )
            }
            Self::BeforeRestart => {
                "This was raised before a restart, and what it rests on is not known yet.".to_owned()
            }
            Self::Warning(warning) => warning.sentence(voice, now),
            Self::Suspect { sensors } => mistrust::suspect(sensors),
            Self::Apart { apart } => mistrust::apart(apart, voice),
            Self::CalibrationOld { sensors } => mistrust::calibration(sensors),
            Self::CarbonDioxide { measured, limit } => carbon_dioxide_sentence(voice, *measured, *limit),
        }
    }
}

fn shortfall_sentence(
    voice: &Voice,
    now: Timestamp,
    (from, to): (Timestamp, Option<Timestamp>),
    (worst_at, worst): (Timestamp, WaterFlow),
    water: &str,
) -> String {
    let the = the_ahead(from, now);
    let [from, worst_at] = [from, worst_at].map(|moment| voice.time(moment, now));
    let to = to
        .map_or_else(|| "on, for as far as can be looked ahead".to_owned(), |to| format!("to {}", voice.time(to, now)));
    if worst.kilograms_per_hour() <= 0.0 {
        return format!(
            "{the} humidifier just keeps up from {from} {to}, with hardly anything left; least at {worst_at}.{water} Have warmer \
             and moister intake air, another humidifier, or a lower humidity at hand."
        );
    }
    format!(
        "{the} humidifier cannot keep up from {from} {to}; at the worst, {worst_at}, it is {} short.{water} Before then, warm \
         and moisten the intake air, or add a humidifier, or hold a lower humidity.",
        voice.vapour(worst)
    )
}

/// How a sentence on what begins at `from` opens: what is far may be taken back.
pub(super) fn the_ahead(from: Timestamp, now: Timestamp) -> &'static str {
    if is_near(from, now) { "The" } else { "As it looks now, the" }
}

fn carbon_dioxide_sentence(voice: &Voice, measured: CarbonDioxide, limit: CarbonDioxide) -> String {
    let (now, limit_text) = (voice.ppm(measured), voice.ppm(limit));
    let limit = limit.parts_per_million();
    if limit >= PEOPLE_KEEP_OUT {
        format!("Carbon dioxide is at {now}: do not enter. Ventilate from outside, and wait for a gas alarm to clear.")
    } else if limit >= PEOPLE_LEAVE {
        format!("Carbon dioxide is at {now}, above {limit_text}: leave the room now and let it ventilate.")
    } else if limit >= PEOPLE_WARN {
        format!(
            "Carbon dioxide is at {now}, above the {limit_text} that many countries allow for a working day: \
             ventilate before anybody works in the room."
        )
    } else {
        format!(
            "Carbon dioxide is at {now}, above the crop's limit of {limit_text}. Give more air now, and see that the \
             fan really runs."
        )
    }
}
