//! The farm as it is configured: what does not change while the daemon runs.

use std::time::Duration;

use jiff::tz::TimeZone;

use super::{Bands, Identifier, Quantity, Species, Stage};
use crate::units::{
    AirChanges, AirFlow, Elevation, Fraction, Mass, Temperature, UnitSystem, Volume, WaterFlow, WaterVolume,
};

/// Everything that the engine knows from configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Where the farm stands.
    pub site: Site,
    /// The rooms, each room after the room that it draws its air from.
    pub rooms: Vec<Room>,
    /// Every source of readings. Its place in this list is its identity in events.
    pub sources: Vec<Source>,
}

/// Where the farm stands and how its people read.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// First level of the farm's own topics.
    pub name: Identifier,
    /// For people.
    pub title: String,
    /// Height above sea level.
    pub elevation: Elevation,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// For the times in sentences.
    pub time_zone: TimeZone,
    /// For everything that people read.
    pub units: UnitSystem,
    /// Outdoor temperature at which water lines outdoors or in the intake may freeze.
    pub hard_frost: Temperature,
}

/// One room with its own air.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// Part of topics, labels and addresses.
    pub name: Identifier,
    /// For people.
    pub title: String,
    /// Air volume.
    pub volume: Volume,
    /// Where its fresh air comes from.
    pub intake: Intake,
    /// Air that enters unasked, from outdoors.
    pub infiltration: AirChanges,
    /// What grows in it; an anteroom has no crop.
    pub crop: Option<Crop>,
    /// What the air of the room should be.
    pub bands: Bands,
    /// The fresh-air fan.
    pub fan: Fan,
    /// The humidifier, if there is one.
    pub humidifier: Option<Humidifier>,
    /// A burner without a flue, or one that takes its air from the room: fresh air is never cut then.
    pub burner: bool,
}

/// A crop in a room.
#[derive(Debug, Clone, PartialEq)]
pub struct Crop {
    /// What is grown.
    pub species: Species,
    /// Where it is in its life.
    pub stage: Stage,
    /// Moist substrate in the room.
    pub substrate: Mass,
    /// Carbon dioxide given off per kilogram of substrate.
    pub respiration: Respiration,
}

/// Carbon dioxide that a crop gives off, in grams per kilogram of substrate and hour: nobody knows it exactly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Respiration {
    /// A good guess, used for water.
    pub middle: f64,
    /// The upper end, used for fresh air where no sensor says better.
    pub upper: f64,
}

/// Where a room's fresh air comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Intake {
    /// Straight from outdoors.
    Outdoors,
    /// From another room of the farm, by its place in [`Farm::rooms`].
    Room(usize),
}

/// The fan that brings fresh air, and how little of it is allowed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fan {
    /// Flow at full command, at the state of the air it moves.
    pub capacity: AirFlow,
    /// Which air it moves.
    pub moves: FanMoves,
    /// Advice never goes below this.
    pub floor: AirFlow,
    /// What the grower runs when nothing is known; advice without a carbon dioxide sensor is at least this.
    pub usual: AirFlow,
    /// Stands on a topic that never expires, for rules whose advice has run out. At least the floor.
    pub fallback: AirFlow,
}

/// Which air a fan moves: the flow it makes is at that air's state.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FanMoves {
    /// It pushes supply air in.
    Supply,
    /// It pulls room air out.
    Exhaust,
}

/// The humidifier of a room.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Humidifier {
    /// How it makes mist or vapour.
    pub method: HumidifierMethod,
    /// Water thrown at full duty.
    pub output: WaterFlow,
    /// Share of the water thrown that ends as vapour in the air; the rest wets the room and drains.
    pub evaporated: Fraction,
    /// Usable water of a full tank; `None` where it is fed from the mains.
    pub tank: Option<WaterVolume>,
}

/// How a humidifier works: all but steam draw the heat of evaporation from the room's air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HumidifierMethod {
    /// Vibrating disc in a tank.
    Ultrasonic,
    /// High-pressure nozzles.
    Nozzle,
    /// Spinning disc.
    Disc,
    /// Pad or wick in an air stream.
    WettedMedia,
    /// Steam.
    Steam,
}

impl HumidifierMethod {
    /// Every method.
    pub const ALL: [Self; 5] = [Self::Ultrasonic, Self::Nozzle, Self::Disc, Self::WettedMedia, Self::Steam];

    /// As it is written in configuration.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ultrasonic => "ultrasonic",
            Self::Nozzle => "nozzle",
            Self::Disc => "disc",
            Self::WettedMedia => "wetted-media",
            Self::Steam => "steam",
        }
    }

    /// Evaporated fraction to assume until the grower has compared the tank's draw with the vapour gained.
    ///
    /// Chosen inside ranges that are from memory, unchecked: 0.85–0.95 for ultrasonic mist that is well mixed and
    /// 0.6–0.8 in still, nearly saturated air; 0.7–0.95 from nozzles; 0.6–0.9 from discs; 0.9–1 for steam. What wetted
    /// media do not evaporate stays in them, but for the bleed-off.
    pub fn usual_evaporated(self) -> Fraction {
        Fraction::clamped(match self {
            Self::Ultrasonic => 0.85,
            Self::Nozzle => 0.8,
            Self::Disc => 0.75,
            Self::WettedMedia => 1.0,
            Self::Steam => 0.95,
        })
    }
}

/// Where a source stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// Outdoors, in the shade.
    Outdoors,
    /// In a room, by its place in [`Farm::rooms`].
    Room(usize),
}

/// One sensor's one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Where it stands.
    pub place: Place,
    /// What it measures.
    pub quantity: Quantity,
    /// Older readings are not acted on.
    pub maximum_age: Duration,
}

impl Farm {
    /// What people call a place.
    pub fn title(&self, place: Place) -> &str {
        match place {
            Place::Outdoors => "outdoors",
            Place::Room(room) => self.rooms.get(room).map_or("an unknown room", |room| room.title.as_str()),
        }
    }

    /// The place's part of labels and identifiers.
    pub fn place_name(&self, place: Place) -> &str {
        match place {
            Place::Outdoors => "outdoors",
            Place::Room(room) => self.rooms.get(room).map_or("unknown", |room| room.name.as_str()),
        }
    }
}
