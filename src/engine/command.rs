//! What the grower may tell the daemon while it runs, and why some of it is refused.

use std::time::Duration;

use crate::{
    advice::AlertKind,
    model::{Hold, Presence, Stage},
    units::{WaterVolume, people::Shown},
};

/// Something that can be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Input {
    /// The crop's stage.
    Stage,
    /// Whether people are in the room.
    People,
    /// Settings that are to be held.
    Hold,
    /// Water in the tank.
    TankVolume,
    /// An alert that is not to be shown for a while.
    Shelve,
}

impl Input {
    /// Everything that can be set.
    pub const ALL: [Self; 5] = [Self::Stage, Self::People, Self::Hold, Self::TankVolume, Self::Shelve];

    /// As it is written in topics and labels.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Stage => "stage",
            Self::People => "people",
            Self::Hold => "hold",
            Self::TankVolume => "tank-volume",
            Self::Shelve => "shelve",
        }
    }
}

/// One setting, understood and within what its kind allows. Whether it fits the room, the engine decides.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Command {
    /// The crop is at this stage from now on.
    Stage(Stage),
    /// Who is in the room; `None` takes back what was said.
    People(Option<Presence>),
    /// Hold these settings for so long, in the place of any other hold.
    Hold(Hold, Duration),
    /// Hold nothing.
    EndHold,
    /// So much water is in the tank now.
    TankVolume(WaterVolume),
    /// Do not show this alert for so long; zero shows it again.
    Shelve(AlertKind, Duration),
}

impl Command {
    /// No hold is longer. A forgotten one ends within a day.
    pub const LONGEST_HOLD: Duration = Duration::from_secs(24 * 3_600);
    /// No alert is shelved for longer.
    pub const LONGEST_SHELF: Duration = Duration::from_secs(24 * 3_600);
    /// That nobody is in a room raises its carbon dioxide ceiling, so it is believed for a night and no longer.
    pub const ABSENT_FOR: Duration = Duration::from_secs(8 * 3_600);
    /// That somebody is in a room is believed for a long working day.
    pub const PRESENT_FOR: Duration = Duration::from_secs(12 * 3_600);

    /// What it sets.
    pub const fn input(&self) -> Input {
        match self {
            Self::Stage(_) => Input::Stage,
            Self::People(_) => Input::People,
            Self::Hold(..) | Self::EndHold => Input::Hold,
            Self::TankVolume(_) => Input::TankVolume,
            Self::Shelve(..) => Input::Shelve,
        }
    }
}

/// Why a setting that was understood is not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// It belongs to a room, and none is meant.
    #[error("it belongs to a room")]
    NoRoom,
    /// There is no crop whose stage could change.
    #[error("the room has no crop in the configuration")]
    NoCrop,
    /// There is no tank of a known size.
    #[error("the room has no humidifier with a tank in the configuration")]
    NoTank,
    /// More than the tank holds.
    #[error("the tank holds {0}")]
    TankHolds(Shown),
    /// Less air than the floor.
    #[error("fresh air is never advised below the room's floor of {0}")]
    BelowFloor(Shown),
    /// More air than the fan gives.
    #[error("the room's fan gives {0}")]
    AboveCapacity(Shown),
    /// The place has no such alert.
    #[error("there is no such alert here")]
    NoAlert,
    /// A danger to people.
    #[error("an alert of carbon dioxide that is dangerous to people cannot be shelved")]
    Danger,
}

impl Refusal {
    /// One word for labels.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::NoRoom => "no-room",
            Self::NoCrop => "no-crop",
            Self::NoTank => "no-tank",
            Self::TankHolds(_) => "tank-holds",
            Self::BelowFloor(_) => "below-floor",
            Self::AboveCapacity(_) => "above-capacity",
            Self::NoAlert => "no-alert",
            Self::Danger => "danger",
        }
    }
}
