//! The farm as it is configured. While the daemon runs, only what the grower tells it changes here: the stage of a crop,
//! and what is [`told`](super::told) of a room.

use std::time::Duration;

use jiff::tz::TimeZone;

use super::{
    Bands, BelowFreezing, Calibration, Identifier, Measured, Quantity, Species, Stage,
    equipment::{Fan, FanMoves, Humidifier, Pan, Tempering, Thermostat},
    shell::{Shell, Space},
    told::{Overrides, Told},
};
use crate::units::{AirChanges, Elevation, Mass, Speed, Temperature, UnitSystem, Volume};

/// Everything that the engine knows from configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Farm {
    /// Where the farm stands.
    pub site: Site,
    /// Spaces that are only measured.
    pub spaces: Vec<Space>,
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
    /// The coldest outdoor air that the farm should be built for: a night of most winters. `None` where nobody has said.
    pub design_cold: Option<Temperature>,
}

impl Site {
    /// The design cold, or a first guess of it, in whole °C: −4 °C at 33 degrees of latitude, 0.7 K colder for each degree
    /// towards a pole, 6.5 K colder for each kilometre of height.
    ///
    /// A line through the 99.6 % design temperatures of some twenty towns between 33 and 62 degrees north (from memory,
    /// unchecked). Coasts are up to 12 K milder, the middle of a continent up to 12 K colder.
    pub fn coldest(&self) -> Temperature {
        self.design_cold.unwrap_or_else(|| {
            let celsius = -4.0 - 0.7 * (self.latitude.abs() - 33.0) - 6.5 * self.elevation.metres() / 1_000.0;
            Temperature::clamped(celsius.round())
        })
    }
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
    /// Air that enters unasked, from what lies around the shell.
    pub infiltration: AirChanges,
    /// What grows in it; an anteroom has no crop.
    pub crop: Option<Crop>,
    /// What the air of the room should be.
    pub bands: Bands,
    /// The fresh-air fan.
    pub fan: Fan,
    /// The humidifier, if there is one.
    pub humidifier: Option<Humidifier>,
    /// Heater in the room.
    pub heater: Option<Thermostat>,
    /// Cooler in the room.
    pub cooler: Option<Thermostat>,
    /// Heater in the intake.
    pub tempering: Option<Tempering>,
    /// What encloses the air.
    pub shell: Shell,
    /// Water that evaporates by itself.
    pub pan: Option<Pan>,
    /// Air speed at the crop, where it was measured.
    pub air_speed: Option<Speed>,
    /// A burner without a flue, or one that takes its air from the room: fresh air is never cut then.
    pub burner: bool,
    /// What the configuration puts in the place of the catalogue's figures, for another stage of the crop.
    pub overrides: Overrides,
    /// What the grower has told since the start; nothing, as configured.
    pub told: Told,
}

impl Room {
    /// A bare room that draws its air from outdoors: no crop, no fan, no humidifier, nothing known of its shell.
    pub fn bare(name: Identifier, volume: Volume, bands: Bands) -> Self {
        let none = crate::units::AirFlow::clamped(0.0);
        Self {
            title: name.to_string(),
            name,
            volume,
            intake: Intake::Outdoors,
            infiltration: AirChanges::clamped(0.0),
            crop: None,
            bands,
            fan: Fan::plain(FanMoves::Supply, [none, none, none]),
            humidifier: None,
            heater: None,
            cooler: None,
            tempering: None,
            shell: Shell::unknown(),
            pan: None,
            air_speed: None,
            burner: false,
            overrides: Overrides::default(),
            told: Told::default(),
        }
    }
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
    /// From a space that is only measured, by its place in [`Farm::spaces`].
    Space(usize),
}

/// Where a source stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Place {
    /// Outdoors, in the shade.
    Outdoors,
    /// In a room, by its place in [`Farm::rooms`].
    Room(usize),
    /// In a space that is only measured, by its place in [`Farm::spaces`].
    Space(usize),
    /// On a surface of a room.
    Surface {
        /// The room, by its place in [`Farm::rooms`].
        room: usize,
        /// The surface, by its place in the room's [`Shell::surfaces`].
        surface: usize,
    },
}

impl Place {
    /// The room that a sensor here tells of, if it tells of one.
    pub const fn room(self) -> Option<usize> {
        match self {
            Self::Room(room) | Self::Surface { room, .. } => Some(room),
            Self::Outdoors | Self::Space(_) => None,
        }
    }
}

/// One sensor's one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Source {
    /// Where it stands.
    pub place: Place,
    /// Which part of the place, where there are several: `top-shelf`. Quantities of one position are of one air.
    pub position: Option<Identifier>,
    /// What it measures.
    pub quantity: Quantity,
    /// Older readings are not acted on.
    pub maximum_age: Duration,
    /// What a check of it has shown.
    pub calibration: Calibration,
    /// Lowest and highest that it can truthfully say, after calibration, in the base unit of the quantity.
    pub range: (f64, f64),
    /// What its humidity or dew point refers to below 0 °C.
    pub below_freezing: BelowFreezing,
    /// Whether it sets its own zero by the freshest air that it meets, as many carbon dioxide sensors do.
    pub self_calibrating: bool,
}

impl Source {
    /// A source of a place as a whole, taken at its word.
    pub const fn new(place: Place, quantity: Quantity, maximum_age: Duration) -> Self {
        let (lowest, highest, _) = Measured::bounds(quantity);
        Self {
            place,
            position: None,
            quantity,
            maximum_age,
            calibration: Calibration::NONE,
            range: (lowest, highest),
            below_freezing: BelowFreezing::Water,
            self_calibrating: false,
        }
    }

    /// Which sensor of its place it is.
    pub fn sensor(&self) -> Sensor {
        Sensor { quantity: self.quantity, position: self.position.clone() }
    }
}

/// A sensor among those of its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sensor {
    /// What it measures.
    pub quantity: Quantity,
    /// Its position, where it has one.
    pub position: Option<Identifier>,
}

impl Sensor {
    /// What people call it: `relative humidity at the top shelf`.
    pub fn words(&self) -> String {
        match &self.position {
            None => self.quantity.words().to_owned(),
            Some(position) => format!("{} at the {}", self.quantity.words(), spoken(position)),
        }
    }
}

impl std::fmt::Display for Sensor {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.quantity.name())?;
        self.position.as_ref().map_or(Ok(()), |position| write!(f, "@{position}"))
    }
}

/// A name as it is said: `top-shelf` is `top shelf`.
pub fn spoken(name: &Identifier) -> String {
    name.as_str().replace('-', " ")
}

impl Farm {
    /// What people call a place.
    pub fn title(&self, place: Place) -> &str {
        match place {
            Place::Outdoors => "outdoors",
            Place::Room(room) => self.rooms.get(room).map_or("an unknown room", |room| room.title.as_str()),
            Place::Space(space) => self.spaces.get(space).map_or("an unknown space", |space| space.title.as_str()),
            Place::Surface { room, surface } => self
                .rooms
                .get(room)
                .and_then(|room| room.shell.surfaces.get(surface))
                .map_or("an unknown surface", |surface| surface.title.as_str()),
        }
    }

    /// The place's part of labels and identifiers. A surface goes by its room.
    pub fn place_name(&self, place: Place) -> &str {
        match place {
            Place::Outdoors => "outdoors",
            Place::Room(room) | Place::Surface { room, .. } => {
                self.rooms.get(room).map_or("unknown", |room| room.name.as_str())
            }
            Place::Space(space) => self.spaces.get(space).map_or("unknown", |space| space.name.as_str()),
        }
    }
}
