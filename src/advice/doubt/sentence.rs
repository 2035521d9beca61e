//! Doubts as they are said to people.

use super::{Assumed, Doubt, Doubtful, Drying, Lacking, Shortage, Winter};
use crate::{
    model::Quantity,
    units::{RelativeHumidity, UnitSystem},
};

impl Doubt {
    /// What is doubtful, and what to do about it, without the name of its place.
    pub fn sentence(&self, units: UnitSystem) -> String {
        match &self.what {
            Doubtful::Winter(what) => what.sentence(units),
            Doubtful::Lacking(what) => what.sentence(units),
            Doubtful::Assumed(what) => what.sentence(units),
        }
    }
}

impl Winter {
    fn sentence(&self, units: UnitSystem) -> String {
        match self {
            Self::NoHumidifier(against) => {
                format!("There is no humidifier, and {}.", drying(against, units))
            }
            Self::HumidifierTooSmall { gives, against } => format!(
                "The humidifier gives at most {} of vapour, but {}: temper or moisten the intake, or add output.",
                units.vapour_flow(*gives),
                drying(against, units)
            ),
            Self::TankTooSmall { holds, draws, outdoors } => format!(
                "A full tank holds {}, but a night of 12 h at {} outside draws {}.",
                units.water_volume(*holds),
                units.temperature(*outdoors),
                units.water_volume(*draws)
            ),
            Self::WetSurface { surface, dry_up_to, lowest, factor, transmittance, around } => {
                let wall = transmittance
                    .map(|most| format!(" (a U-value of {} or less)", units.transmittance(most)))
                    .unwrap_or_default();
                format!(
                    "{surface} gets wet above {} when it is {} on its other side, but the humidity band begins at {}: to \
                     stay dry it needs a temperature factor of {:.2} or more{wall}.",
                    percent(*dry_up_to),
                    units.temperature(*around),
                    percent(*lowest),
                    // Rounded up, so that what is asked for is enough.
                    (factor.ratio() * 100.0).ceil() / 100.0
                )
            }
            Self::HeaterTooSmall { gives, needed, held, outdoors } => {
                let heater = match gives {
                    Some(gives) => format!("the heater in the room gives at most {}", units.heat_flow(*gives)),
                    None => "the room has no heater".to_owned(),
                };
                format!(
                    "Holding {} takes {} when it is {} outside, but {heater}.",
                    units.temperature(*held),
                    units.heat_flow(*needed),
                    units.temperature(*outdoors)
                )
            }
        }
    }
}

impl Lacking {
    fn sentence(&self, units: UnitSystem) -> String {
        let short = |shortage: &Shortage| {
            format!(
                "a crop that gives off {} g/kg/h needs {} to stay at {}",
                shortage.respiration,
                units.air_flow(shortage.needed),
                units.carbon_dioxide(shortage.limit)
            )
        };
        match self {
            Self::FanTooSmall(shortage) => {
                format!("The fan moves at most {}, but {}.", units.air_flow(shortage.is), short(shortage))
            }
            Self::UsualTooLow(shortage) => {
                format!("The usual fresh air is {}, but {}.", units.air_flow(shortage.is), short(shortage))
            }
            Self::FallbackTooLow(shortage) => format!(
                "Rules fall back to {} when advice runs out, but {}.",
                units.air_flow(shortage.is),
                short(shortage)
            ),
            Self::LongTimer(period) => format!(
                "The fan's timer has a period of {} min: above 20 min the room's air swings.",
                period.as_secs() / 60
            ),
            Self::IntakeShort { brings, drawn } => format!(
                "The rooms behind usually draw {} together, but its fan brings at most {}.",
                units.air_flow(*drawn),
                units.air_flow(*brings)
            ),
            Self::Burner => "A burner gives its fumes to the room: nothing here measures carbon monoxide; fit an \
                                 alarm for it."
                .to_owned(),
            Self::NoSensor(quantity) => format!("No {} sensor: {}.", quantity.words(), without(*quantity)),
            Self::NothingOutdoors => "There is neither a forecast nor a pair of sensors for temperature and relative \
                                          humidity outdoors: no advice can be given for rooms that breathe from there."
                .to_owned(),
        }
    }
}

impl Assumed {
    fn sentence(&self, units: UnitSystem) -> String {
        match self {
            Self::OnlyAssumed => {
                "No sensors for both temperature and relative humidity: its air is taken to be as assumed.".to_owned()
            }
            Self::DesignColdGuessed(cold) => format!(
                "Winter is judged at {} outside, a guess from latitude and height: write `design-cold` if you know better.",
                units.temperature(*cold)
            ),
            Self::Catalogue { figures, crop } => {
                let whose = match crop {
                    Some((species, stage)) => format!("for {}, {}", species.words(), stage.words()),
                    None => "for a room without a crop".to_owned(),
                };
                format!("The catalogue {whose} gives what is not written: {}.", figures.join(", "))
            }
            Self::EvaporatedAssumed { method, share } => format!(
                "Evaporated fraction not written: {} is assumed, usual for {}.",
                units.percent(*share),
                method.name()
            ),
            Self::MistUnknown => "Nothing is known of when mist stands in the room, so it limits no advice: write \
                                      what you have seen as `mist`."
                .to_owned(),
            Self::ShellUnknown => "Heat loss not written: the room is taken to stay as warm as it is.".to_owned(),
            Self::NoSurface => "No surface is watched: wet walls will not be seen coming.".to_owned(),
            Self::WinterNotJudged => "Its winter is not judged: write what the air of the space that it draws from is \
                                      `assumed` to be."
                .to_owned(),
            Self::PeopleLimit(limit) => format!(
                "The crop's carbon dioxide limit is {}, but advice never plans above 5000 ppm, the limit for people at \
                 work.",
                units.carbon_dioxide(*limit)
            ),
        }
    }
}

fn drying(against: &Drying, units: UnitSystem) -> String {
    format!(
        "holding {} with the {} of fresh air that the room needs takes {} when it is {} outside",
        percent(against.humidity),
        units.air_flow(against.fresh_air),
        units.vapour_flow(against.needed),
        units.temperature(against.outdoors)
    )
}

fn percent(value: RelativeHumidity) -> String {
    format!("{:.0} %", value.percent())
}

/// What a room cannot have without a sensor of this quantity.
const fn without(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::Temperature | Quantity::RelativeHumidity | Quantity::DewPoint => {
            "what its air holds will not be known"
        }
        Quantity::CarbonDioxide => "fresh air will be advised at the usual rate or more",
        Quantity::Pressure => "the pressure follows from the elevation",
        Quantity::FanState | Quantity::HumidifierState => "what is commanded will be taken for what is done",
        Quantity::SurfaceTemperature => "the surface's temperature is reckoned",
    }
}
