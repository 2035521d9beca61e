//! What an outlook rests on, and why there is none, as a grower would say it.

use jiff::Timestamp;

use super::Voice;
use crate::model::outlook::{Caveat, NoOutlook};

impl Caveat {
    /// One sentence.
    pub fn sentence(&self, voice: &Voice, now: Timestamp) -> String {
        match self {
            Self::NoForecast => "There is no forecast: the outdoor air of the last days is carried on, with its daily \
                                 swing, and a change of the weather is not foreseen."
                .to_owned(),
            Self::ForecastOld { hours } => format!("The forecast is {hours} hours old."),
            Self::ForecastEnds { at } => {
                format!("The forecast ends at {}; nothing is said of what comes after.", voice.time(*at, now))
            }
            Self::NoCarbonDioxideSensor => {
                "No carbon dioxide is heard, so the crop's output is the catalogue's figure \
                                            and fresh air is not cut below the usual rate."
                    .to_owned()
            }
            Self::NoHumiditySensor => {
                "The room's humidity is not heard: it is taken to stand at its target now.".to_owned()
            }
            Self::TankRefilled => "The tank runs out, and is taken to be refilled when it does.".to_owned(),
            Self::TankUnknown => "The tank's size is not known, so nobody can say when it runs out.".to_owned(),
            Self::TankTakenAsFull => "Nobody has told how much is in the tank: it is taken as full now.".to_owned(),
            Self::ShellUnknown => {
                "How the room loses heat is not known: its temperature is taken to stay as it is.".to_owned()
            }
            Self::NoFanFeedback => "The fan does not report back: the advised fresh air is taken to flow.".to_owned(),
            Self::SpaceAssumed => {
                "A space that the room draws its air from, or stands in, is not measured: an assumed \
                                   state stands in."
                    .to_owned()
            }
            Self::SpaceUnlearned => {
                "A space that the room draws its air from, or stands in, is taken to keep its warmth and \
                                     to follow the moisture outdoors within hours, until its readings have shown for a \
                                     day what it does."
                    .to_owned()
            }
            Self::SurroundingsUnknown => "What lies around the room is not measured: it is taken to be as cold as \
                                          outdoors."
                .to_owned(),
            Self::EvaporatedFractionAssumed => "How much of the humidifier's water evaporates was not measured: its \
                                                kind's usual share is taken."
                .to_owned(),
            Self::MistUnknown => "Nobody has said when mist stands in this room, so it is not foreseen.".to_owned(),
        }
    }
}

impl NoOutlook {
    /// One sentence.
    pub const fn sentence(self) -> &'static str {
        match self {
            Self::ClockNotTrusted => {
                "There is no outlook, because the date of this machine is wrong until it has the network's time."
            }
            Self::NoWeather => {
                "There is no outlook, because nothing is known of the weather ahead: there is no forecast, and no \
                 outdoor sensor that has been heard for long enough."
            }
            Self::NoRoomTemperature => "There is no outlook, because the room's temperature is not heard.",
            Self::NoSupplyAir => {
                "There is no outlook, because nothing is known of the air in the place that this room draws from."
            }
        }
    }
}
