//! The humidifier: what it can throw, what becomes of it, and when mist stands.

use super::{
    flows::{Flows, Ways},
    surfaces::at_humidity,
};
use crate::{
    model::{Room, equipment::Humidifier, equipment::HumidifierMethod},
    physics::{
        Curve,
        bare::{
            DRY_AIR_HEAT_CAPACITY, LIQUID_HEAT_CAPACITY, VAPOUR_AT_ZERO, VAPOUR_HEAT_CAPACITY, liquid_enthalpy,
            saturated_humidity_ratio, specific_volume, vapour_enthalpy,
        },
    },
    units::Pressure,
};

/// Relative humidity outdoors that a grower's sentence about mist is taken to have been seen at.
const MIST_SEEN_OUTDOORS: f64 = 0.8;
/// Temperature of steam where it leaves its nozzle, °C.
const STEAM: f64 = 100.0;

/// A humidifier, ready for stepping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Thrower {
    /// Water thrown at full duty, kg/h.
    pub output: f64,
    /// Share of it that becomes vapour.
    pub evaporated: f64,
    cold: bool,
    /// What the room takes up of mist, in kg/h for each kg/kg that the air lacks to adiabatic saturation.
    mist: Option<f64>,
}

impl Thrower {
    pub fn new(humidifier: &Humidifier, room: &Room, ways: &Ways, pressure: Pressure) -> Self {
        Self {
            output: humidifier.output.kilograms_per_hour().max(0.0),
            evaporated: humidifier.evaporated.ratio(),
            cold: humidifier.method != HumidifierMethod::Steam,
            mist: mist_parameter(humidifier, room, ways, pressure.pascals()),
        }
    }

    /// Vapour at full duty, kg/h.
    pub fn most(&self) -> f64 {
        self.output * self.evaporated
    }

    /// Heat that each kilogram of its vapour takes from the air, kJ/kg. Cold methods take the heat of evaporation, about
    /// 2 460 kJ/kg (683 W for each kg/h); steam brings a little, as it cools to the room.
    pub fn heat_taken(&self, celsius: f64) -> f64 {
        if self.cold {
            vapour_enthalpy(celsius) - liquid_enthalpy(celsius)
        } else {
            -VAPOUR_HEAT_CAPACITY * (STEAM - celsius)
        }
    }

    /// Enthalpy that each kilogram of it brings into the room, kJ/kg; its water is as warm as the room.
    pub fn enthalpy(&self, celsius: f64) -> f64 {
        vapour_enthalpy(celsius) - self.heat_taken(celsius)
    }

    /// Mist thrown beyond what the room takes up, kg/h; `None` where nobody has said when mist stands.
    pub fn standing(&self, vapour: f64, air: (f64, f64), pascals: f64) -> Option<f64> {
        self.mist.map(|mist| {
            let first = towards_saturation(air.0, air, pascals);
            // The tangent lies below the curve, so that the air lacks at least this.
            if vapour <= mist * first.1 {
                return 0.0;
            }
            let (_, lacks) = towards_saturation(first.0, air, pascals);
            (vapour - mist * lacks).max(0.0)
        })
    }
}

/// What the air lacks to adiabatic saturation, kg/kg: W_sat(T*) − W, where evaporating it brings the air to T*. The second
/// step ends within 0.1 % from 50 % RH upwards.
fn lacking(air: (f64, f64), pascals: f64) -> f64 {
    let (at, _) = towards_saturation(air.0, air, pascals);
    towards_saturation(at, air, pascals).1
}

/// A step of Newton's method on c_p (T − T*) = L (W_sat(T*) − W), from a guess of T*: the next guess, and what the air lacks by
/// the tangent to there.
fn towards_saturation(guess: f64, (celsius, humidity_ratio): (f64, f64), pascals: f64) -> (f64, f64) {
    let capacity = DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * humidity_ratio;
    let (saturated, slope) = saturated_humidity_ratio(Curve::Water, guess, pascals);
    let latent = VAPOUR_AT_ZERO + (VAPOUR_HEAT_CAPACITY - LIQUID_HEAT_CAPACITY) * guess;
    let rise = saturated - humidity_ratio;
    let step = (latent * rise - capacity * (celsius - guess)) / (latent * slope + capacity);
    (guess - step, (rise - slope * step).max(0.0))
}

/// From the grower's sentence, with the room at the preferred temperature of its band and the fan at its usual rate:
/// what the air that entered then lacked to the room's moisture was just what the room could take up. Whether it came
/// from outdoors or through a heated space, it held outdoor moisture. What crop and pan gave is left out.
///
/// `None` without such a sentence, and where it says that mist stood though no water was needed.
fn mist_parameter(humidifier: &Humidifier, room: &Room, ways: &Ways, pascals: f64) -> Option<f64> {
    let seen = humidifier.mist?;
    let inside = room.bands.temperature.preferred.celsius();
    let (held, _) = at_humidity(seen.at.ratio(), inside, pascals);
    let (outdoors, _) = at_humidity(MIST_SEEN_OUTDOORS, seen.outdoors.celsius(), pascals);
    let volume = specific_volume(inside, held, pascals);
    let flows: Flows = ways.usual(room.fan.usual.cubic_metres_per_hour() / volume, volume);
    let thrown = flows.total() * (held - outdoors);
    let lacked = lacking((inside, held), pascals);
    (thrown > 0.0 && lacked > 0.0).then(|| thrown / lacked)
}
