//! What the daemon believes: the farm as configured, the readings, the forecast, and what follows from them.
//!
//! Everything here is pure: time comes in as [`Now`], nothing is read from a clock, a socket or a file.

pub mod balance;
pub mod correction;
pub mod crop;
pub mod farm;
pub mod forecast;
pub mod identifier;
pub mod reading;
pub mod time;

pub use correction::{Case, CorrectedForecast, Offset, Spread};
pub use crop::{Band, Bands, Species, Stage};
pub use farm::{Farm, Humidifier, HumidifierMethod, Intake, Place, Room, Site, Source};
pub use forecast::{Forecast, ForecastPoint, OutdoorAir, Service};
pub use identifier::Identifier;
pub use reading::{Measured, Quantity, Reading};
pub use time::Now;
