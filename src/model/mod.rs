//! What the daemon believes: the farm as configured, the readings, the forecast, and what follows from them.
//!
//! Everything here is pure: time comes in as [`Now`], nothing is read from a clock, a socket or a file.

pub mod balance;
pub mod calibration;
pub mod correction;
pub mod crop;
pub mod detect;
pub mod equipment;
pub mod farm;
pub mod fault;
pub mod forecast;
pub mod fusion;
pub mod identifier;
pub mod outlook;
pub mod people;
pub mod persistence;
pub mod projection;
pub mod reading;
pub mod room;
pub mod room_score;
pub mod salts;
pub mod score;
pub mod settling;
pub mod shell;
pub mod sun;
pub mod supply;
pub mod time;
pub mod told;
pub mod trail;

pub use calibration::Calibration;
pub use correction::{Case, CorrectedForecast, Offset, Spread};
pub use crop::{Band, Bands, Species, Stage};
pub use detect::Watch;
pub use equipment::{Fan, FanMoves, Humidifier, HumidifierMethod, WaterSupply};
pub use farm::{Farm, Intake, Place, Room, Sensor, Site, Source};
pub use fault::Fault;
pub use forecast::{Forecast, ForecastPoint, OutdoorAir, Service};
pub use fusion::{Apart, Fused, Reckoned};
pub use identifier::Identifier;
pub use outlook::Outlook;
pub use reading::{Measured, Quantity, Reading};
pub use room::RoomModel;
pub use shell::{Around, Shell, Space, Surface, SurfaceKind};
pub use time::Now;
pub use told::{Hold, Presence};
pub use trail::Trail;

pub use crate::physics::BelowFreezing;
