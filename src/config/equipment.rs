//! What heats, cools and moistens a room: from checked keys to the equipment of the model.

use std::time::Duration;

use super::{problem::Mistake, section::Section, walk::Found};
use crate::{
    model::{
        Bands, Humidifier, HumidifierMethod, WaterSupply,
        equipment::{MistSeen, Pan, Tempering, Thermostat},
    },
    units::{Area, Fraction, HeatFlow, Temperature, TemperatureDifference, UnitSystem, WaterFlow, WaterVolume},
};

/// A room's humidifier. `None` where something was missing or did not fit, which has been reported.
pub fn humidifier(section: &Section, found: &mut Vec<Found>) -> Option<Humidifier> {
    let none = "a room without a humidifier has no such section";
    let output = section.more_than_nothing("output", WaterFlow::kilograms_per_hour, none, found);
    let tank = section.more_than_nothing("water", WaterVolume::litres, "write `mains` where there is no tank", found);
    let method = section.text("method")?;
    let method = HumidifierMethod::ALL.into_iter().find(|known| known.name() == method)?;
    let useless = "a humidifier of which nothing reaches the air needs repair, not advice";
    let written = section.more_than_nothing("evaporated-fraction", Fraction::ratio, useless, found);
    let mist = mist(&section.section("mist"), found);
    let evaporated_known = section.has("evaporated-fraction");
    let evaporated = if evaporated_known { written? } else { method.usual_evaporated() };
    let water = match section.text("water")?.as_str() {
        "mains" => WaterSupply::Mains,
        "unknown" => WaterSupply::Unknown,
        _ => WaterSupply::Tank(tank?),
    };
    // A section that exists must have been understood whole.
    let mist = if section.has("mist") { Some(mist?) } else { None };
    let (minimum_on, minimum_off): (Duration, Duration) =
        (section.quantity("minimum-on")?, section.quantity("minimum-off")?);
    let plain = Humidifier::plain(method, output?, water);
    Some(Humidifier { evaporated, evaporated_known, minimum_on, minimum_off, mist, ..plain })
}

fn mist(section: &Section, found: &mut Vec<Found>) -> Option<MistSeen> {
    let at = section.below_saturation("stands-at", found);
    Some(MistSeen { at: at?, outdoors: section.quantity("outdoors")? })
}

/// What heats and cools a room.
pub struct Heat {
    /// In the room.
    pub heater: Option<Thermostat>,
    /// In the room.
    pub cooler: Option<Thermostat>,
    /// In the intake.
    pub tempering: Option<Tempering>,
}

/// What heats and cools a room. `None` where something was missing or did not fit, which has been reported.
pub fn heat(room: &Section, bands: Option<&Bands>, units: UnitSystem, found: &mut Vec<Found>) -> Option<Heat> {
    let [heater, cooler] = ["heater", "cooler"].map(|name| {
        let section = room.section(name);
        let power =
            section.more_than_nothing("power", HeatFlow::watts, "a room without one has no such section", found);
        let setting = section.quantity::<Temperature>("setting");
        let latent = if name == "cooler" { section.quantity("latent") } else { Some(Fraction::clamped(0.0)) };
        let understood = setting.is_some() || !section.has("setting");
        let read = || Some(Thermostat { power: power?, setting, latent: latent? });
        if room.has(name) {
            understood.then_some(())?;
            Some(Some(read()?))
        } else {
            Some(None)
        }
    });
    let tempering = tempering(room, found);
    if let (Some(Some(heater)), Some(Some(cooler)), Some(bands)) = (heater, cooler, bands) {
        let holds = heater.setting.unwrap_or(bands.temperature.preferred);
        let starts = cooler.setting.unwrap_or(bands.temperature.highest);
        if holds > starts {
            let at = if heater.setting.is_some() { "heater" } else { "cooler" };
            let [lower_value, upper_value] = [holds, starts].map(|setting| units.temperature(setting).to_string());
            let mistake = Mistake::Order {
                lower: "what the heater holds",
                lower_value,
                upper: "what the cooler holds",
                upper_value,
            };
            let hint = "they would work against each other: let the cooler's `setting` be the higher one";
            found.push(Found::value(room.section(at).path("setting"), mistake).hint(hint));
        }
    }
    Some(Heat { heater: heater?, cooler: cooler?, tempering: tempering? })
}

fn tempering(room: &Section, found: &mut Vec<Found>) -> Option<Option<Tempering>> {
    let section = room.section("tempering");
    if !room.has("tempering") {
        return Some(None);
    }
    let hint = "leave `power` out where the heater is always strong enough";
    let power = section.more_than_nothing("power", HeatFlow::watts, hint, found);
    let power = if section.has("power") { Some(power?) } else { None };
    Some(Some(Tempering { to: section.quantity("to")?, power }))
}

/// A pan, cloth or wet floor. `None` where something was missing or did not fit, which has been reported.
pub fn pan(section: &Section, found: &mut Vec<Found>) -> Option<Pan> {
    let area = section.more_than_nothing("area", Area::square_metres, "a room without one has no such section", found);
    let warmer = section.at_least_nothing("warmer", TemperatureDifference::kelvins, found);
    Some(Pan { area: area?, warmer: warmer? })
}
