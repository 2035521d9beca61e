//! Crops: what they need from the air, and what they give to it.

use crate::units::{CarbonDioxide, RelativeHumidity, Temperature};

/// Lowest and highest acceptable value, and the one to prefer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band<T> {
    /// Below this the crop suffers.
    pub lowest: T,
    /// What to aim for where nothing forbids it.
    pub preferred: T,
    /// Above this the crop suffers.
    pub highest: T,
}

/// What a crop needs at a stage.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// Air temperature.
    pub temperature: Band<Temperature>,
    /// Relative humidity.
    pub relative_humidity: Band<RelativeHumidity>,
    /// The crop's own limit. It is not a limit for people.
    pub carbon_dioxide_limit: CarbonDioxide,
}

/// Where a room's crop is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Stage {
    /// Mycelium grows through the substrate.
    SpawnRun,
    /// Pins form.
    Pinning,
    /// Fruit bodies grow.
    Fruiting,
    /// Between flushes.
    Resting,
    /// No crop in the room.
    Empty,
}

impl Stage {
    /// Every stage, in the order of a crop's life.
    pub const ALL: [Self; 5] = [Self::SpawnRun, Self::Pinning, Self::Fruiting, Self::Resting, Self::Empty];

    /// As it is written in configuration and topics.
    pub const fn name(self) -> &'static str {
        match self {
            Self::SpawnRun => "spawn-run",
            Self::Pinning => "pinning",
            Self::Fruiting => "fruiting",
            Self::Resting => "resting",
            Self::Empty => "empty",
        }
    }
}

/// What is grown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Species {
    /// *Pleurotus ostreatus*.
    Oyster,
    /// *Pleurotus eryngii*.
    KingOyster,
    /// *Lentinula edodes*.
    Shiitake,
    /// *Hericium erinaceus*.
    LionsMane,
    /// *Agaricus bisporus*.
    Button,
    /// *Ganoderma lucidum*.
    Reishi,
    /// *Flammulina velutipes*.
    Enoki,
}
