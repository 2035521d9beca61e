//! Rooms of a plausible farm, drawn by chance: what they are, and how their grower describes them.

use std::time::Duration;

use mistwright::{
    model::{
        Around, Fan, FanMoves, Farm, Humidifier, HumidifierMethod, Identifier, Intake, Place, Quantity, Room, Source,
        Space, Species, Stage, WaterSupply, equipment::Thermostat, farm::Crop,
    },
    units::{AirChanges, AirFlow, Fraction, HeatCapacity, HeatFlow, HeatLoss, Mass, Temperature, Volume, WaterFlow},
};

use crate::nights::{
    chance::Chance,
    site,
    truth::{Facts, LATENT, saturated},
};

/// The crop's limit in the catalogue for fruiting oysters, ppm.
pub const LIMIT: f64 = 1_000.0;
/// What the air of a barn in which people work holds on average, ppm.
pub const BARN: f64 = 500.0;

/// Where a room's air comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    /// Straight from outdoors.
    Outdoors,
    /// From a heated room around it, in which it stands as a tent.
    Tent,
    /// From an anteroom with a heater and a humidifier of its own.
    Anteroom,
}

/// A room, its fixed fan and its crop, in fact.
#[derive(Debug, Clone, Copy)]
pub struct Drawn {
    pub layout: Layout,
    /// `flow` is what the grower's fixed fan gives; `output`, `evaporated` and `leak` are what they really are.
    pub facts: Facts,
    /// What a fixed fan could give at the least, m³/h: set by somebody who knew beforehand how much the crop breathes at the
    /// height of a flush, and let carbon dioxide come within a tenth of its limit then.
    pub lean: f64,
    /// Moist substrate, kg.
    pub substrate: f64,
    /// How deep the crop's breath sinks between two flushes, and how long a flush takes, d.
    pub rest: f64,
    pub flush_days: f64,
    /// What the fan moves for what its grower believes that it moves.
    pub fan_true: f64,
}

/// What is not so in the grower's description: factors on what is true.
#[derive(Debug, Clone, Copy)]
pub struct Mistakes {
    leak: f64,
    evaporated: f64,
    loss: f64,
    substrate: f64,
}

impl Mistakes {
    pub const NONE: Self = Self { leak: 1.0, evaporated: 1.0, loss: 1.0, substrate: 1.0 };

    /// Leak, evaporated fraction, shell and crop 20–40 % off, each to either side.
    pub fn draw(chance: &mut Chance) -> Self {
        Self {
            leak: chance.off(0.2, 0.4),
            evaporated: chance.off(0.2, 0.4),
            loss: chance.off(0.2, 0.4),
            substrate: chance.off(0.2, 0.4),
        }
    }
}

impl Drawn {
    /// The fixed fan is planned as the advice is: it holds carbon dioxide at 80 % of the crop's limit, or up to 30 % better,
    /// because nobody sets a fan exactly; only that it must do so at the height of a flush. `strength` is the humidifier's
    /// output over what that air takes at −12 °C and 80 %.
    pub fn new(layout: Layout, strength: (f64, f64), chance: &mut Chance) -> Self {
        let mut facts = Facts::draw(chance);
        let substrate = chance.between(8.0, 20.0) * facts.volume;
        // The catalogue's range for fruiting oysters is 0.1 to 0.3 g/(kg h).
        facts.breath = substrate * chance.between(0.15, 0.3);
        // g/m³ of carbon dioxide at 16 °C for the ppm between the supply and a share of the limit. The air of a barn holds
        // somewhat more than outdoor air.
        let supply = if layout == Layout::Tent { BARN } else { 430.0 };
        let carried = |share: f64| (share * LIMIT - supply) * 1e-6 * 44.01 / 8.314 * 98_950.0 / 289.15;
        let exactness = chance.between(1.0, 1.3);
        facts.flow = facts.breath / carried(0.8) * exactness;
        let lean = facts.breath / carried(0.9) * exactness;
        facts.humid = 88.0;
        facts.fruit = 0.05 * substrate;
        facts.crop_heat = 2.95 * facts.breath;
        let load = (facts.flow + 0.2 * facts.leak) * (saturated(facts.warm) * 0.88 - saturated(-12.0) * 0.8);
        facts.output = load / facts.evaporated * chance.between(strength.0, strength.1);
        // A heater for −20 °C.
        let heat = (facts.loss + facts.flow * 0.34) * (facts.warm + 20.0) + load / 3_600.0 * LATENT;
        facts.heater = heat * chance.between(0.95, 1.4);
        Self {
            layout,
            facts,
            lean,
            substrate,
            rest: chance.between(0.25, 0.5),
            flush_days: chance.between(8.0, 12.0),
            fan_true: 1.0,
        }
    }

    /// How much of its breath the crop gives after so many hours.
    pub fn flush(&self, hours: f64) -> f64 {
        let swing = (std::f64::consts::PI * hours / 24.0 / self.flush_days).sin().powi(2);
        1.0 - self.rest * (1.0 - swing)
    }

    /// The anteroom that is in front of it: tight, unheated but for a heater of its own, with a humidifier for half of
    /// the load.
    pub fn anteroom(&self) -> Facts {
        let f = self.facts;
        Facts {
            volume: 0.5 * f.volume,
            leak: 0.1 * f.volume,
            loss: 0.5 * f.loss,
            fabric: 0.5 * f.fabric,
            heater: 1.2 * (0.5 * f.loss + f.flow * 0.34) * 30.0,
            warm: 10.0,
            humid: 70.0,
            output: 0.5 * f.output,
            fruit: 0.0,
            crop_heat: 0.0,
            breath: 0.0,
            ..f
        }
    }

    /// The room as its grower describes it.
    fn described(&self, mistakes: &Mistakes) -> Room {
        let facts = &self.facts;
        let volume = Volume::from_cubic_metres(facts.volume).unwrap();
        let mut bands = Species::Oyster.entry(Stage::Fruiting).bands();
        bands.temperature.preferred = Temperature::from_celsius(facts.warm).unwrap();
        let mut room = equipped(bare("oyster-hall", volume, bands), facts, mistakes);
        let usual = facts.flow / self.fan_true;
        let flow = |value: f64| AirFlow::from_cubic_metres_per_hour(value).unwrap();
        // The floor is one air change an hour, and never more than a third of what is usual.
        room.fan = Fan::plain(FanMoves::Exhaust, [flow(facts.volume.min(usual / 3.0)), flow(usual), flow(1.6 * usual)]);
        room.crop = Some(Crop {
            species: Species::Oyster,
            stage: Stage::Fruiting,
            substrate: Mass::from_kilograms(self.substrate * mistakes.substrate).unwrap(),
            respiration: Species::Oyster.entry(Stage::Fruiting).respiration(),
        });
        room
    }

    fn described_anteroom(&self, mistakes: &Mistakes) -> Room {
        let facts = self.anteroom();
        let volume = Volume::from_cubic_metres(facts.volume).unwrap();
        let mut room =
            equipped(bare("anteroom", volume, mistwright::model::crop::WITHOUT_CROP.bands()), &facts, mistakes);
        room.bands.temperature.preferred = Temperature::from_celsius(facts.warm).unwrap();
        let flow = |value: f64| AirFlow::from_cubic_metres_per_hour(value).unwrap();
        let capacity = 2.0 * self.facts.flow / self.fan_true;
        room.fan = Fan::plain(FanMoves::Supply, [flow(0.1 * capacity), flow(0.5 * capacity), flow(capacity)]);
        room
    }

    /// The farm as it is configured: the room is the last one.
    pub fn farm(&self, mistakes: &Mistakes) -> Farm {
        let mut room = self.described(mistakes);
        let mut rooms = Vec::new();
        let mut spaces = Vec::new();
        match self.layout {
            Layout::Outdoors => {}
            Layout::Tent => {
                (room.intake, room.shell.around) = (Intake::Space(0), Around::Space(0));
                let name = Identifier::new("barn").unwrap();
                spaces.push(Space { name, title: "Barn".to_owned(), assumed: None });
            }
            Layout::Anteroom => {
                room.intake = Intake::Room(0);
                rooms.push(self.described_anteroom(mistakes));
            }
        }
        rooms.push(room);
        let mut places = vec![Place::Outdoors];
        places.extend((0..spaces.len()).map(Place::Space));
        places.extend((0..rooms.len()).map(Place::Room));
        let sources = places.into_iter().flat_map(|place| {
            [Quantity::Temperature, Quantity::RelativeHumidity, Quantity::CarbonDioxide]
                .into_iter()
                .filter(move |quantity| place != Place::Outdoors || *quantity != Quantity::CarbonDioxide)
                .map(move |quantity| Source::new(place, quantity, Duration::from_secs(600)))
        });
        Farm { site: site(), spaces, sources: sources.collect(), rooms }
    }
}

fn bare(name: &str, volume: Volume, bands: mistwright::model::Bands) -> Room {
    Room::bare(Identifier::new(name).unwrap(), volume, bands)
}

fn equipped(mut room: Room, facts: &Facts, mistakes: &Mistakes) -> Room {
    room.infiltration = AirChanges::from_per_hour(mistakes.leak * facts.leak / facts.volume).unwrap();
    let output = WaterFlow::from_kilograms_per_hour(facts.output).unwrap();
    let mut humidifier = Humidifier::plain(HumidifierMethod::Ultrasonic, output, WaterSupply::Mains);
    humidifier.evaporated = Fraction::from_ratio((mistakes.evaporated * facts.evaporated).min(1.0)).unwrap();
    room.humidifier = Some(humidifier);
    room.heater = Some(Thermostat {
        power: HeatFlow::from_watts(facts.heater).unwrap(),
        setting: Some(Temperature::from_celsius(facts.warm).unwrap()),
        latent: Fraction::from_ratio(0.0).unwrap(),
    });
    room.shell.loss = Some(HeatLoss::from_watts_per_kelvin(mistakes.loss * facts.loss).unwrap());
    room.shell.fabric = HeatCapacity::from_kilojoules_per_kelvin(facts.fabric).unwrap();
    room
}
