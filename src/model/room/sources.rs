//! What gives off vapour, heat and carbon dioxide by itself: the crop, and water that stands open.

use super::drive::Emission;
use crate::{
    model::{Room, equipment::Pan},
    physics::Curve,
    physics::bare::{DRY_AIR_HEAT_CAPACITY, humidity_ratio, saturated_humidity_ratio},
};

use super::flows::KILOJOULES_PER_HOUR;

/// Heat of respiration for each g of carbon dioxide, kJ: 10.6 by stoichiometry of glucose, which is 2.95 W for each g/h
/// (calculated).
const HEAT_PER_GRAM: f64 = 10.62;
/// Respiration grows by this factor for each 10 K: 62 and 165 mL/kg/h at 5 and 15 °C in harvested oyster mushrooms (Arda
/// 2011, read), which is 2.66; harvested button mushrooms 2.9 (read).
const TEN_KELVIN_FACTOR: f64 = 2.66;
/// Transpiration of fruit bodies in saturated air, g/kg/h, and its growth with each Pa of vapour-pressure deficit: the
/// line through 0.52 g/kg/h at 2 °C and saturation and 3.88 at 18 °C and 86 % (oyster, J. Food Eng. 2017, abstract read;
/// line calculated). It is not zero at saturation because fruit bodies are warmer than the air.
const IN_SATURATED_AIR: f64 = 0.52;
const PER_PASCAL: f64 = 0.0116;
/// Convective film over open water in the nearly still air of a room, W/m²K, and with radiation.
const FILM: f64 = 3.0;
const FILM_AND_RADIATION: f64 = 8.1;
/// Formulas for open water disagree two- to threefold (Shah 2002): the band reaches from the middle times this down and up.
pub(super) const PAN_BAND: [f64; 2] = [0.6, 1.7];

/// How much faster or slower a crop breathes at `celsius` than where its emission holds. Beyond 20 K from there the
/// rule is not trusted, and the factor stays.
pub(super) fn breathing(emission: &Emission, celsius: f64) -> f64 {
    let warmer = (celsius - emission.at.celsius()).clamp(-20.0, 20.0);
    if warmer.abs() < 1e-6 {
        return emission.rate.grams_per_hour();
    }
    emission.rate.grams_per_hour() * (TEN_KELVIN_FACTOR.ln() * warmer / 10.0).exp()
}

/// Heat of a crop that gives off this much carbon dioxide, kJ/h.
pub(super) fn crop_heat(grams_per_hour: f64) -> f64 {
    grams_per_hour * HEAT_PER_GRAM
}

/// Vapour that depends on the room's own air, linear around a state: `flow + by_temperature·ΔT − by_moisture·ΔW`, kg/h.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Giving {
    pub flow: f64,
    pub by_temperature: f64,
    pub by_moisture: f64,
}

/// Fruit bodies in the room, kg.
pub(super) fn fruit_bodies(room: &Room) -> f64 {
    room.crop.as_ref().map_or(0.0, |crop| crop.substrate.kilograms() * crop.species.fruit_bodies(crop.stage).value)
}

/// Transpiration around air at this vapour pressure (Pa) and its slope by humidity ratio, with the saturation pressure
/// at its temperature and its slope.
pub(super) fn transpiration(fruit_bodies: f64, vapour: (f64, f64), saturation: (f64, f64)) -> Giving {
    let grams = fruit_bodies * 1e-3;
    let deficit = saturation.0 - vapour.0;
    if deficit <= 0.0 {
        return Giving { flow: grams * IN_SATURATED_AIR, ..Giving::default() };
    }
    Giving {
        flow: grams * (IN_SATURATED_AIR + PER_PASCAL * deficit),
        by_temperature: grams * PER_PASCAL * saturation.1,
        by_moisture: grams * PER_PASCAL * vapour.1,
    }
}

/// Open water, ready for stepping.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Basin {
    /// β·A, kg/h.
    transfer: f64,
    /// How much warmer than the air it is kept, K; zero where nothing heats it.
    warmer: f64,
}

impl Basin {
    pub fn new(pan: &Pan) -> Self {
        let transfer = FILM * KILOJOULES_PER_HOUR / (0.9 * DRY_AIR_HEAT_CAPACITY) * pan.area.square_metres();
        Self { transfer, warmer: pan.warmer.kelvins().max(0.0) }
    }

    /// Whether its own heater, rather than the air, gives the heat of evaporation.
    pub fn heated(&self) -> bool {
        self.warmer > 0.0
    }

    /// What it gives to air around this state. Unheated water cools until the air and the room's surfaces give the heat
    /// that it loses, which slows it; frozen water gives nothing here, and moister air takes nothing back.
    pub fn giving(&self, celsius: f64, ratio: f64, pascals: f64) -> Giving {
        let at = celsius + self.warmer;
        if at <= 0.0 || at > 90.0 {
            return Giving::default();
        }
        let (saturated, slope) = saturated_humidity_ratio(Curve::Water, at, pascals);
        let slowed = if self.heated() {
            1.0
        } else {
            let carried = 2_460.0 * FILM / (0.9 * DRY_AIR_HEAT_CAPACITY) * slope;
            1.0 / (1.0 + carried / FILM_AND_RADIATION)
        };
        let rate = self.transfer * slowed;
        // Warm water in thin air may be near boiling: as much vapour as dry air is the most.
        let lacking = saturated.min(humidity_ratio(0.6 * pascals, pascals)) - ratio;
        if lacking <= 0.0 {
            return Giving::default();
        }
        Giving { flow: rate * lacking, by_temperature: rate * slope, by_moisture: rate }
    }
}
