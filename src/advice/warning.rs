//! What the room's and the site's warnings say: each names what happens, when, and what to do by when.

use jiff::Timestamp;

use super::{Voice, sentence::the_ahead, target::DEW_MARGIN};
use crate::{
    model::outlook::Stretch,
    units::{CarbonDioxide, HeatFlow, RelativeHumidity, Temperature, TemperatureDifference, WaterVolume},
};

/// Something that goes wrong, or will, as data.
#[derive(Debug, Clone, PartialEq)]
pub enum Warning {
    /// The tank runs out.
    TankEmpty {
        /// When.
        at: Timestamp,
        /// What has to be added for the coming 24 hours; `None` where the hours ahead are not all known.
        add: Option<WaterVolume>,
    },
    /// The heater cannot hold the temperature.
    HeatShort {
        /// From when to when, and how much is missing at the worst.
        stretch: Stretch<HeatFlow>,
        /// The lowest temperature that follows.
        coldest: Temperature,
    },
    /// The coldest surface is wetted or frosted, now or soon.
    SurfaceWet {
        /// When; `None` is now.
        at: Option<Timestamp>,
        /// How far the surface is from being wetted: negative where it is.
        margin: TemperatureDifference,
        /// What the relative humidity must come down to for the surface to stay dry; `None` where it is not known.
        below: Option<RelativeHumidity>,
    },
    /// Fog where the supply mixes in, now or soon.
    InletFog {
        /// When; `None` is now.
        at: Option<Timestamp>,
        /// Fresh air at this temperature makes none.
        temper_to: Option<Temperature>,
    },
    /// The humidifier's water line may freeze.
    LineFreezing {
        /// When; `None` is now.
        at: Option<Timestamp>,
        /// How cold the air at the line is, or gets.
        coldest: Temperature,
    },
    /// The caps have been staying wet.
    CapsWet {
        /// When they will have stayed wet for two hours; `None` where they have.
        at: Option<Timestamp>,
        /// What the air is at.
        relative_humidity: RelativeHumidity,
        /// The crop's preferred humidity.
        preferred: RelativeHumidity,
    },
    /// The air is too dry for the crop.
    TooDry {
        /// What the air is at.
        relative_humidity: RelativeHumidity,
        /// The lowest that the crop's band allows.
        lowest: RelativeHumidity,
    },
    /// Carbon dioxide rises though the fresh air that is advised should bring it down.
    CarbonDioxideRising {
        /// A quarter of an hour ago.
        before: CarbonDioxide,
        /// Now.
        measured: CarbonDioxide,
    },
    /// The cold will outlast the equipment.
    ColdSpell {
        /// First hour of it.
        from: Timestamp,
        /// Hours of that day in which the humidifier cannot hold the low end of the band.
        hours: u32,
    },
    /// The machine's date is wrong.
    ClockNotTrusted,
    /// There is no connection to the broker.
    BrokerLost {
        /// When it broke; `None` where there was none since the start.
        since: Option<Timestamp>,
    },
    /// The connection to the broker keeps breaking.
    BrokerFlapping {
        /// Breaks in the last ten minutes.
        breaks: u32,
    },
    /// The state cannot be written.
    StorageFailing,
}

impl Warning {
    /// For people, in one to three sentences.
    pub fn sentence(&self, voice: &Voice, now: Timestamp) -> String {
        let units = voice.units;
        let percent = |value: RelativeHumidity| format!("{:.0} %", value.percent());
        match self {
            Self::TankEmpty { at, add } => {
                let at = voice.time(*at, now);
                match add {
                    Some(add) => format!(
                        "The tank runs out at {at}. Add {} before then; that lasts for the next 24 hours.",
                        units.water_volume(*add)
                    ),
                    None => format!("The tank runs out at {at}. Fill it before then."),
                }
            }
            Self::HeatShort { stretch, coldest } => format!(
                "{} heater cannot hold the temperature from {}{}: at the worst, {}, {} are missing, and the room \
                 falls to {}. Close what leaks, cover the crop's side of cold walls, or bring another heater with a \
                 flue or of electricity before then.",
                the_ahead(stretch.from, now),
                voice.time(stretch.from, now),
                stretch.to.map_or_else(String::new, |to| format!(" to {}", voice.time(to, now))),
                voice.time(stretch.worst_at, now),
                units.heat_flow(stretch.worst),
                units.temperature(*coldest),
            ),
            Self::SurfaceWet { at, margin, below } => surface_sentence(voice, now, (*at, *margin, *below)),
            Self::InletFog { at, temper_to } => {
                let when = at.map_or_else(
                    || "Fog forms where the fresh air enters.".to_owned(),
                    |at| format!("From {} fog forms where the fresh air enters.", voice.time(at, now)),
                );
                let cure = temper_to.map_or_else(
                    || "Keep the crop out of the stream, and spread the air before it reaches the crop.".to_owned(),
                    |to| {
                        format!(
                            "Warm the fresh air to {} or more, or keep the crop out of the stream.",
                            units.temperature(to)
                        )
                    },
                );
                format!("{when} {cure}")
            }
            Self::LineFreezing { at, coldest } => line_sentence(voice, now, (*at, *coldest)),
            Self::CapsWet { at, relative_humidity, preferred } => {
                caps_sentence(voice, now, (*at, *relative_humidity, *preferred))
            }
            Self::TooDry { relative_humidity, lowest } => format!(
                "The room is too dry: {}, and the crop needs {} at least. See that the humidifier throws, that its \
                 water runs, and that no door stands open.",
                percent(*relative_humidity),
                percent(*lowest)
            ),
            Self::CarbonDioxideRising { before, measured } => format!(
                "Carbon dioxide rose from {} to {} in a quarter of an hour, though the advised fresh air should bring \
                 it down. See now that the fan runs, that its flap opens and that its filter is clear; ventilate \
                 before you work in the room.",
                units.carbon_dioxide(*before),
                units.carbon_dioxide(*measured)
            ),
            Self::ColdSpell { from, hours } => format!(
                "The cold outlasts the equipment: from {} the humidifier cannot hold the low end of the band for {hours} \
                 of 24 hours. Postpone soaking and pinning, and pick early.",
                voice.time(*from, now)
            ),
            Self::ClockNotTrusted | Self::BrokerLost { .. } | Self::BrokerFlapping { .. } | Self::StorageFailing => {
                self.around_the_daemon(voice, now)
            }
        }
    }

    /// What goes wrong around the daemon rather than in a room.
    fn around_the_daemon(&self, voice: &Voice, now: Timestamp) -> String {
        match self {
            Self::ClockNotTrusted => "The date of this machine is wrong, so there is no advice and no look ahead. See \
                                      that it reaches a time server, or set its clock."
                .to_owned(),
            Self::BrokerLost { since } => {
                let since =
                    since.map_or_else(|| "since the start".to_owned(), |at| format!("since {}", voice.time(at, now)));
                format!(
                    "There is no connection to the broker {since}: no sensor is heard and no advice is given. Rules fall \
                     back by themselves; see that the broker runs, and look at the network."
                )
            }
            Self::BrokerFlapping { breaks } => format!(
                "The connection to the broker broke {breaks} times in ten minutes. Look at the network between them, \
                 and whether a second client uses the same identifier."
            ),
            _ => "The state cannot be written: what is known would be lost at a restart. Look at the disk, its free \
                  space and its permissions."
                .to_owned(),
        }
    }
}

fn line_sentence(voice: &Voice, now: Timestamp, (at, coldest): (Option<Timestamp>, Temperature)) -> String {
    let coldest = voice.units.temperature(coldest);
    match at {
        None => {
            format!("It is {coldest} here. Drain or heat-trace the humidifier's water line now, before anything else.")
        }
        Some(at) => format!(
            "From {} it gets as cold as {coldest} here. Drain or heat-trace the humidifier's water line before then.",
            voice.time(at, now)
        ),
    }
}

fn caps_sentence(
    voice: &Voice,
    now: Timestamp,
    (at, humidity, preferred): (Option<Timestamp>, RelativeHumidity, RelativeHumidity),
) -> String {
    let [humidity, preferred] = [humidity, preferred].map(|value| format!("{:.0} %", value.percent()));
    match at {
        Some(at) => format!(
            "The air has been too moist for an hour for caps to dry ({humidity}); at {} it will have been two. Give a \
             little more air, or lower the humidity one to three points below {preferred}, before then.",
            voice.time(at, now)
        ),
        None => format!(
            "The air has been too moist for two hours for caps to dry ({humidity}). Look at them with a torch: where they \
             shine wet, lower the humidity one to three points below {preferred} and give a little more air, then raise it \
             slowly."
        ),
    }
}

fn surface_sentence(
    voice: &Voice,
    now: Timestamp,
    (at, margin, below): (Option<Timestamp>, TemperatureDifference, Option<RelativeHumidity>),
) -> String {
    let when = match at {
        None if margin.kelvins() <= 0.0 => "The coldest surface is getting wet.".to_owned(),
        None => format!("The coldest surface is within {DEW_MARGIN} K of getting wet."),
        Some(at) => format!("From {} the coldest surface gets wet.", voice.time(at, now)),
    };
    let cure = below.map_or_else(
        || "Lower the humidity, warm the room's air at that wall, or move air over it.".to_owned(),
        |below| {
            format!(
                "Below {:.0} % it stays dry: lower the humidity as far as the crop allows, warm that wall's air, or \
                 move air over it.",
                below.percent()
            )
        },
    );
    format!("{when} {cure}")
}
