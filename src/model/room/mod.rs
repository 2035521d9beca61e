//! A room that behaves: how its temperature, water and carbon dioxide move on from one moment to the next.
//!
//! [`RoomModel`] holds what configuration fixes, [`Standing`] what changes, [`Drive`] what the step is given from outside
//! and by advice. `RoomModel::step(&standing, &drive, Duration) -> (Standing, Report)` gives the next [`Standing`] and a [`Report`] of what happened on the way.
//!
//! The air is one well-mixed volume. With ṁ flows of dry air in kg/h and the index i for the airs that enter:
//!
//! ```text
//! water  m dW/dt = Σ ṁᵢ (Wᵢ − W) + φuH + E_crop + E_pan − coil − Σ β A max(0, W − W_sat(T_surface))
//! CO2    m dX/dt = Σ ṁᵢ (Xᵢ − X) + G
//! heat   (m c_p + C) dT/dt = Σ ṁᵢ c_p,i (Tᵢ − T) + UA (T_around − T) + Q − L (cold vapour) + (heat back from wet walls)
//! ```
//!
//! Each equation is linear in its own state once the others are fixed, and is solved exactly over a stretch in which
//! nothing switches; what couples them is solved for at the stretch's end. So neither sixty air changes an hour nor
//! five-minute steps overshoot.

mod drive;
mod flows;
mod humidifier;
mod linear;
mod report;
mod sources;
mod step;
mod stretch;
mod surfaces;

pub use drive::{Drive, Emission, EnteringAir, Standing};
pub use report::{Books, Dew, EnergyBook, MaterialBook, Report, Swing};

use super::{Room, equipment::Thermostat};
use crate::units::{Fraction, Pressure, Temperature};
use flows::KILOJOULES_PER_HOUR;

/// A room as it is configured, made ready for stepping.
#[derive(Debug, Clone, PartialEq)]
pub struct RoomModel {
    /// m³.
    volume: f64,
    ways: flows::Ways,
    humidifier: Option<humidifier::Thrower>,
    heater: Option<Tempered>,
    cooler: Option<Tempered>,
    /// kJ/hK.
    loss: Option<f64>,
    /// kJ/K.
    fabric: f64,
    /// kg.
    fruit_bodies: f64,
    pan: Option<sources::Basin>,
    surfaces: surfaces::Surfaces,
}

/// A heater or a cooler.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Tempered {
    /// kJ/h.
    power: f64,
    /// °C.
    setting: f64,
    /// Share of the power that goes into water on the coil.
    latent: f64,
}

impl Tempered {
    fn new(thermostat: &Thermostat, otherwise: Temperature) -> Self {
        Self {
            power: thermostat.power.watts().max(0.0) * KILOJOULES_PER_HOUR,
            setting: thermostat.setting.unwrap_or(otherwise).celsius(),
            latent: thermostat.latent.ratio(),
        }
    }
}

impl RoomModel {
    /// Takes from `room` what does not change. `pressure` is the usual one of the site; with it, the grower's sentence
    /// about standing mist is turned into the room's power to take up mist.
    pub fn new(room: &Room, pressure: Pressure) -> Self {
        let ways = flows::Ways::new(&room.fan, room.tempering, room.infiltration.per_hour(), room.volume);
        let band = room.bands.temperature;
        let heater = room.heater.as_ref().map(|heater| Tempered::new(heater, band.preferred));
        let cooler = room.cooler.as_ref().map(|cooler| Tempered::new(cooler, band.highest));
        // The two never work against each other.
        let cooler = cooler.map(|cooler| Tempered {
            setting: heater.map_or(cooler.setting, |heater| cooler.setting.max(heater.setting)),
            ..cooler
        });
        let humidifier = room.humidifier.as_ref();
        Self {
            volume: room.volume.cubic_metres(),
            humidifier: humidifier.map(|humidifier| humidifier::Thrower::new(humidifier, room, &ways, pressure)),
            ways,
            heater,
            cooler,
            loss: room.shell.loss.map(|loss| loss.watts_per_kelvin() * KILOJOULES_PER_HOUR),
            fabric: room.shell.fabric.kilojoules_per_kelvin(),
            fruit_bodies: sources::fruit_bodies(room),
            pan: room.pan.as_ref().map(sources::Basin::new),
            surfaces: surfaces::Surfaces::new(&room.shell),
        }
    }

    /// With the surface at this place of the shell's list carried on by a temperature factor: the one that its probe
    /// shows now. A probe's surface is not known without it.
    #[must_use]
    pub fn with_probe(mut self, surface: usize, factor: Fraction) -> Self {
        self.surfaces.probe(surface, factor);
        self
    }

    /// Whether the room's temperature is held, because nobody has said how it loses heat. No heat is booked then.
    pub fn holds_temperature(&self) -> bool {
        self.loss.is_none()
    }
}
