//! Recommended setpoints: what they are. How they are found is in [`decide`](mod@super::decide).

use jiff::Timestamp;

use super::target::Ceiling;

use crate::units::{AirChanges, AirFlow, CarbonDioxide, Fraction, RelativeHumidity, Temperature, WaterFlow};

/// Whether the advice may be followed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mode {
    /// Every input that it rests on is present.
    Active,
    /// Something is missing; the advice is the careful one, and the reason says what is missing.
    Degraded,
    /// There is no advice: use the fallbacks.
    Withheld,
}

impl Mode {
    /// Every mode.
    pub const ALL: [Self; 3] = [Self::Active, Self::Degraded, Self::Withheld];

    /// As published.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Active => "active",
            Self::Degraded => "degraded",
            Self::Withheld => "withheld",
        }
    }
}

/// What keeps the advice from being better.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimitedBy {
    /// Nothing: every wish is met.
    Nothing,
    /// Carbon dioxide dangerous to people: all the air there is.
    PeopleSafety,
    /// The crop's carbon dioxide limit sets the fresh air.
    CarbonDioxide,
    /// The configured floor sets the fresh air.
    Floor,
    /// Carbon dioxide is unknown or doubtful, so the usual rate is kept.
    UnknownCarbonDioxide,
    /// The fan cannot give the fresh air that the crop needs.
    FanCapacity,
    /// The humidifier cannot hold the target.
    HumidifierOutput,
    /// Mist would stand in the room at a higher target.
    StandingMist,
    /// Fog would form at the inlet at a higher target.
    InletFog,
    /// The coldest surface would get wet at a higher target.
    ColdSurface,
    /// The air is so close to saturation, by its sensor, that no more water may be added.
    Saturation,
    /// The caps have been too wet to dry, so no more water may be added; or they would be at a higher target.
    WetCaps,
    /// The fan reports that it stands, so that mist would stay where it is thrown.
    FanOff,
    /// The room is above its temperature band, and fresh air cools it.
    Temperature,
    /// The supply air is as moist as the target: fresh air dries nothing.
    MoistSupply,
    /// Nothing is left in the tank.
    EmptyTank,
    /// The grower holds a setting.
    Hold,
}

impl LimitedBy {
    /// Every limit.
    pub const ALL: [Self; 17] = [
        Self::Nothing,
        Self::PeopleSafety,
        Self::CarbonDioxide,
        Self::Floor,
        Self::UnknownCarbonDioxide,
        Self::FanCapacity,
        Self::HumidifierOutput,
        Self::StandingMist,
        Self::InletFog,
        Self::ColdSurface,
        Self::Saturation,
        Self::WetCaps,
        Self::FanOff,
        Self::Temperature,
        Self::MoistSupply,
        Self::EmptyTank,
        Self::Hold,
    ];

    /// As published.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::PeopleSafety => "people-safety",
            Self::CarbonDioxide => "carbon-dioxide",
            Self::Floor => "floor",
            Self::UnknownCarbonDioxide => "unknown-carbon-dioxide",
            Self::FanCapacity => "fan-capacity",
            Self::HumidifierOutput => "humidifier-output",
            Self::StandingMist => "standing-mist",
            Self::InletFog => "inlet-fog",
            Self::ColdSurface => "cold-surface",
            Self::Saturation => "saturation",
            Self::WetCaps => "wet-caps",
            Self::FanOff => "fan-off",
            Self::Temperature => "temperature",
            Self::MoistSupply => "moist-supply",
            Self::EmptyTank => "empty-tank",
            Self::Hold => "hold",
        }
    }
}

/// One decision for one room, complete and consistent in itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Decision {
    /// Whether it may be followed.
    pub mode: Mode,
    /// The setpoints; `None` exactly when the mode is `withheld`.
    pub setpoints: Option<Setpoints>,
    /// What keeps it from being better.
    pub limited_by: LimitedBy,
    /// Why, as data; [`Reason::sentence`](super::sentence) says it.
    pub reason: Reason,
    /// A consumer must stop following it then, and use the fallbacks.
    pub valid_until: Timestamp,
}

/// What to set.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setpoints {
    /// Fresh air, at the state of the air that the fan moves.
    pub fresh_air: AirFlow,
    /// The same in air changes.
    pub air_changes: AirChanges,
    /// The same as a share of the fan's capacity.
    pub fan_command: Fraction,
    /// What to hold the room at.
    pub humidity_target: RelativeHumidity,
    /// The humidifier's duty that this takes; zero without a humidifier.
    pub humidifier_duty: Fraction,
}

/// Why a decision is as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// No temperature of the room is known.
    NoRoomTemperature,
    /// The wall clock is wrong, so that nothing can be said to be valid until a time.
    ClockNotTrusted,
    /// Nothing is known of the air that is supplied.
    NoSupplyAir,
    /// Carbon dioxide is dangerous to people.
    Danger {
        /// What was measured.
        measured: CarbonDioxide,
    },
    /// Carbon dioxide was dangerous to people when last heard, and is unknown now.
    DangerUnknown,
    /// The setpoints follow from the balance.
    Balance(Balance),
}

/// The numbers behind a decision.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// What sets the fresh air.
    pub air: AirCause,
    /// How cold it is here, where a humidifier's water line may freeze.
    pub freezing: Option<Temperature>,
    /// Whether the fan is left where it is though the balance asks for a little more or less.
    pub kept: bool,
    /// The room's temperature and the end of its band that it has passed, if it has.
    pub off_band: Option<(Temperature, Temperature)>,
    /// The fresh air advised.
    pub air_changes: AirChanges,
    /// The crop's limit.
    pub carbon_dioxide_limit: CarbonDioxide,
    /// What was measured, if it is fresh.
    pub carbon_dioxide: Option<CarbonDioxide>,
    /// Whether the room's relative humidity is fresh.
    pub relative_humidity_known: bool,
    /// Whether the humidity of the air supplied is measured.
    pub supply_known: bool,
    /// Target humidity.
    pub humidity_target: RelativeHumidity,
    /// What the room's enclosure allows of it.
    pub ceiling: Ceiling,
    /// Where fog at the inlet holds the target: temperature of fresh air with which the preferred humidity would make none, if
    /// there is one.
    pub temper_to: Option<Temperature>,
    /// Temperature of the air supplied.
    pub supply_temperature: Temperature,
    /// Vapour needed to hold the target; negative where the supply is moister than the target.
    pub vapour_needed: WaterFlow,
    /// Vapour that the humidifier can give.
    pub vapour_possible: Option<WaterFlow>,
    /// When the target is to come down further, and to what at the lowest, by the expected weather of the next 18 hours.
    pub later: Option<(Timestamp, RelativeHumidity)>,
    /// Why the humidifier must stand, if it must.
    pub stands: Option<Stands>,
    /// Whether nothing is left in the tank.
    pub tank_empty: bool,
    /// Whether the grower holds the target.
    pub target_held: bool,
}

/// Why a humidifier must stand, whatever the target asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stands {
    /// The air is at saturation, for all that its sensor can tell.
    Saturated,
    /// The fan reports that it has stood for over two minutes.
    FanOff,
    /// The caps have stayed too wet.
    CapsWet,
}

/// What sets the fresh air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AirCause {
    /// The crop's carbon dioxide needs it.
    Crop,
    /// The floor is enough.
    Floor,
    /// The rooms that draw from this one need it.
    Through,
    /// No believable carbon dioxide reading: the usual rate at least.
    Unknown,
    /// Carbon dioxide is near or above the crop's limit: no cut, or more.
    NearLimit,
    /// A burner without a flue stands in the room: no cut.
    Burner,
    /// The crop needs more than the fan can give.
    FanFull,
    /// The grower holds it.
    Held,
    /// The room is too warm, and the air drawn in cools it.
    Cooling,
}
