//! A simulated room: two layers of air, a fabric that stores heat, a humidifier, a heater and a crop, stepped in small
//! fixed steps. Its parameters are its own; the daemon is never told them.
//!
//! ```text
//!   supply ─▶ upper layer ◀─ humidifier's vapour       each layer:  m dx/dt = Σ ṁ (x_in − x) + sources
//!                ▲ │ mixing, and what the supply pushes down
//!                │ ▼
//!   leaks ──▶ lower layer ─▶ exhaust                   sensors and crop stand here
//! ```

use super::air::{Air, LATENT, humidity_ratio};

/// Length of a step, in seconds: small against the shortest time constant of a layer (30 s, mixing 60 times an hour).
pub(super) const STEP: f64 = 1.0;

/// Share of the supply that enters the upper layer; the rest falls to the crop.
const SUPPLY_ABOVE: f64 = 0.7;

/// Share of the mist that is thrown into the upper layer; ducts bring the rest down.
const MIST_ABOVE: f64 = 0.6;

/// Share of the heater's warmth that goes to the upper layer.
const HEAT_ABOVE: f64 = 0.6;

/// Molar masses of dry air and carbon dioxide, g/mol.
const DRY_AIR_MOLAR: f64 = 28.96;
const CARBON_DIOXIDE_MOLAR: f64 = 44.01;

/// What a room is made of. SI units, hours where the trade counts in hours.
#[derive(Debug, Clone, Copy)]
pub(super) struct Build {
    /// m³.
    pub(super) volume: f64,
    /// Air that leaks in, 1/h.
    pub(super) leak: f64,
    /// Fabric to outdoors, W/K.
    pub(super) envelope: f64,
    /// Fabric's heat capacity, kJ/K.
    pub(super) fabric: f64,
    /// Air to fabric, W/K.
    pub(super) film: f64,
    /// Temperature factor of the coldest surface, and its area in m².
    pub(super) coldest: (f64, f64),
    /// W, and the thermostat's °C.
    pub(super) heater: (f64, f64),
    /// Water thrown at full duty, kg/h.
    pub(super) humidifier: f64,
    /// Share of it that becomes vapour.
    pub(super) evaporated: f64,
    /// Carbon dioxide of the crop at 16 °C, kg/h.
    pub(super) respiration: f64,
    /// Transpiration of the crop, kg/h per kPa of vapour-pressure deficit.
    pub(super) transpiration: f64,
    /// The fan's flow at full command, m³/h, and the share of it that dust and ducts leave.
    pub(super) fan: (f64, f64),
    /// Whether the fan pulls room air out; otherwise it pushes the supply in. It moves volume at that air's state.
    pub(super) exhaust: bool,
    /// Exchange between the layers, room volumes per hour.
    pub(super) mixing: f64,
}

/// What the farm's automation sets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Drive {
    /// Share of the fan's capacity.
    pub(super) fan: f64,
    /// Whether the humidifier throws.
    pub(super) humidifier: bool,
}

/// Water that passed since the start, kg.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Ledger {
    /// Drawn from tank or mains.
    pub(super) drawn: f64,
    /// Drawn and drained as liquid.
    pub(super) drained: f64,
    /// Given off by the crop.
    pub(super) transpired: f64,
    /// Run down the coldest surface.
    pub(super) condensed: f64,
    /// Brought by supply and leaks, less what the exhaust carried off.
    pub(super) ventilated: f64,
    /// Carbon dioxide brought by the crop and by flows, less what the exhaust carried off.
    pub(super) carbon_dioxide: f64,
}

/// A room in time.
#[derive(Debug, Clone)]
pub(super) struct Room {
    build: Build,
    lower: Air,
    upper: Air,
    fabric: f64,
    heating: bool,
    /// Dry air in each layer, kg. The volume is fixed; what warmth drives out is neglected (0.3 % per K).
    mass: f64,
    pressure: f64,
    ledger: Ledger,
}

impl Room {
    /// A room whose air has the state `air` everywhere.
    pub(super) fn new(build: Build, air: Air, pressure: f64) -> Self {
        let mass = air.density(pressure) * build.volume / 2.0;
        let fabric = air.temperature - 1.0;
        Self { build, lower: air, upper: air, fabric, heating: false, mass, pressure, ledger: Ledger::default() }
    }

    /// The air at the crop, where the sensors hang; also what the exhaust carries off and what another room draws.
    pub(super) const fn at_crop(&self) -> Air {
        self.lower
    }

    /// What has passed.
    pub(super) const fn ledger(&self) -> Ledger {
        self.ledger
    }

    /// Dry air that the fan moves at a command, kg/h.
    pub(super) fn flow(&self, drive: Drive, supply: &Air) -> f64 {
        let moved = if self.build.exhaust { &self.lower } else { supply };
        drive.fan.clamp(0.0, 1.0) * self.build.fan.0 * self.build.fan.1 * moved.density(self.pressure)
    }

    /// Lets [`STEP`] pass with `flow` (kg/h of dry air) of `supply` and leaks of `outdoors`.
    pub(super) fn step(&mut self, drive: Drive, flow: f64, supply: &Air, outdoors: &Air) {
        let hours = STEP / 3_600.0;
        let supplied = flow * hours;
        let leaked = self.build.leak * self.build.volume * outdoors.density(self.pressure) * hours;
        self.exchange(supplied, leaked, supply, outdoors, hours);
        self.humidify(drive, hours);
        self.live(hours);
        self.condense(outdoors, hours);
        self.warm(outdoors, hours);
    }

    /// Flows between supply, layers and outdoors; every flow carries heat, water and carbon dioxide alike.
    fn exchange(&mut self, supplied: f64, leaked: f64, supply: &Air, outdoors: &Air, hours: f64) {
        let above = supplied * SUPPLY_ABOVE;
        let below = supplied - above;
        let mixed = self.build.mixing * 2.0 * self.mass * hours;
        let (lower, upper) = (self.lower, self.upper);
        let share = |flow: f64| flow / self.mass;
        let move_towards = |air: &mut Air, from: &Air, of: Air, share: f64| {
            air.temperature += share * (from.temperature - of.temperature);
            air.humidity_ratio += share * (from.humidity_ratio - of.humidity_ratio);
            air.carbon_dioxide += share * (from.carbon_dioxide - of.carbon_dioxide);
        };
        move_towards(&mut self.upper, supply, upper, share(above));
        move_towards(&mut self.upper, &lower, upper, share(mixed));
        move_towards(&mut self.lower, supply, lower, share(below));
        move_towards(&mut self.lower, outdoors, lower, share(leaked));
        // What enters above pushes as much down.
        move_towards(&mut self.lower, &upper, lower, share(mixed + above));
        let brought = |of: fn(&Air) -> f64| supplied * (of(supply) - of(&lower)) + leaked * (of(outdoors) - of(&lower));
        self.ledger.ventilated += brought(|air| air.humidity_ratio);
        self.ledger.carbon_dioxide += brought(|air| air.carbon_dioxide) * 1e-6 * CARBON_DIOXIDE_MOLAR / DRY_AIR_MOLAR;
    }

    fn humidify(&mut self, drive: Drive, hours: f64) {
        if !drive.humidifier {
            return;
        }
        let thrown = self.build.humidifier * hours;
        self.ledger.drawn += thrown;
        self.ledger.drained += thrown;
        for (layer, share) in [(&mut self.upper, MIST_ABOVE), (&mut self.lower, 1.0 - MIST_ABOVE)] {
            // The air takes up no more than it can hold; the rest of the mist falls and drains.
            let saturated = humidity_ratio(layer.temperature, 1.0, self.pressure);
            let room = (saturated - layer.humidity_ratio).max(0.0) * self.mass;
            let vapour = (thrown * share * self.build.evaporated).min(room);
            layer.humidity_ratio += vapour / self.mass;
            layer.temperature -= vapour * LATENT / (self.mass * layer.heat_capacity());
            self.ledger.drained -= vapour;
        }
    }

    fn live(&mut self, hours: f64) {
        // Respiration rises by about a fifth for each kelvin (a growers' rule for compost).
        let respired = self.build.respiration * 1.2_f64.powf(self.lower.temperature - 16.0) * hours;
        self.lower.carbon_dioxide += respired / self.mass * DRY_AIR_MOLAR / CARBON_DIOXIDE_MOLAR * 1e6;
        self.ledger.carbon_dioxide += respired;
        let deficit = (humidity_ratio(self.lower.temperature, 1.0, self.pressure) - self.lower.humidity_ratio).max(0.0);
        // kg/kg to kPa of vapour pressure, near enough for a crop.
        let transpired = self.build.transpiration * deficit * self.pressure / 622.0 * hours;
        self.lower.humidity_ratio += transpired / self.mass;
        // 2.95 W for each gram of carbon dioxide an hour (stoichiometry of glucose), less what transpiration takes.
        let warmth = respired * 1_000.0 * 2.95 * 3.6 - transpired * LATENT;
        self.lower.temperature += warmth / (self.mass * self.lower.heat_capacity());
        self.ledger.transpired += transpired;
    }

    fn condense(&mut self, outdoors: &Air, hours: f64) {
        let (factor, area) = self.build.coldest;
        let surface = outdoors.temperature + factor * (self.upper.temperature - outdoors.temperature);
        let excess = self.upper.humidity_ratio - humidity_ratio(surface, 1.0, self.pressure);
        // Convective film of 3 W/(m²·K) over 0.9 · c_p, in kg/(m²·h).
        let condensed = (3.0 * 3.6 / (0.9 * self.upper.heat_capacity()) * area * excess * hours).max(0.0);
        self.upper.humidity_ratio -= condensed / self.mass;
        self.ledger.condensed += condensed;
    }

    fn warm(&mut self, outdoors: &Air, hours: f64) {
        let (power, setpoint) = self.build.heater;
        // A thermostat with half a kelvin of hysteresis.
        if self.lower.temperature < setpoint - 0.25 {
            self.heating = true;
        } else if self.lower.temperature > setpoint + 0.25 {
            self.heating = false;
        }
        let heat = if self.heating { power * 3.6 * hours } else { 0.0 };
        let film = self.build.film / 2.0 * 3.6 * hours;
        let to_fabric = [film * (self.lower.temperature - self.fabric), film * (self.upper.temperature - self.fabric)];
        self.lower.temperature += (heat * (1.0 - HEAT_ABOVE) - to_fabric[0]) / (self.mass * self.lower.heat_capacity());
        self.upper.temperature += (heat * HEAT_ABOVE - to_fabric[1]) / (self.mass * self.upper.heat_capacity());
        let lost = self.build.envelope * 3.6 * hours * (self.fabric - outdoors.temperature);
        self.fabric += (to_fabric[0] + to_fabric[1] - lost) / self.build.fabric;
    }

    /// Water in the air, kg.
    #[cfg(test)]
    fn vapour(&self) -> f64 {
        self.mass * (self.lower.humidity_ratio + self.upper.humidity_ratio)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PRESSURE: f64 = 98_500.0;

    fn hall() -> Build {
        Build {
            volume: 180.0,
            leak: 0.3,
            envelope: 65.0,
            fabric: 9_000.0,
            film: 900.0,
            coldest: (0.9, 10.0),
            heater: (12_000.0, 16.0),
            humidifier: 14.0,
            evaporated: 0.8,
            respiration: 0.45,
            transpiration: 1.0,
            fan: (1_600.0, 0.95),
            exhaust: false,
            mixing: 30.0,
        }
    }

    fn run(room: &mut Room, drive: Drive, outdoors: &Air, hours: f64) {
        for _ in 0..(hours * 3_600.0 / STEP) as usize {
            let flow = room.flow(drive, outdoors);
            room.step(drive, flow, outdoors, outdoors);
        }
    }

    #[test]
    fn no_water_and_no_carbon_dioxide_appears_or_vanishes() {
        let outdoors = Air::new(-5.0, 0.8, 430.0, PRESSURE);
        let mut room = Room::new(hall(), Air::new(16.0, 0.85, 900.0, PRESSURE), PRESSURE);
        let before = room.vapour();
        let carbon = |room: &Room| {
            room.mass * (room.lower.carbon_dioxide + room.upper.carbon_dioxide) * 1e-6 * CARBON_DIOXIDE_MOLAR
                / DRY_AIR_MOLAR
        };
        let carbon_before = carbon(&room);
        run(&mut room, Drive { fan: 0.5, humidifier: true }, &outdoors, 2.0);
        let ledger = room.ledger();
        let gained = ledger.drawn - ledger.drained + ledger.transpired + ledger.ventilated - ledger.condensed;
        assert!(ledger.condensed > 0.01 && ledger.transpired > 0.01, "the test must move water: {ledger:?}");
        assert!((room.vapour() - before - gained).abs() < 1e-6, "{} kg appeared", room.vapour() - before - gained);
        assert!((carbon(&room) - carbon_before - ledger.carbon_dioxide).abs() < 1e-6);
    }

    #[test]
    fn carbon_dioxide_settles_where_ventilation_carries_off_what_the_crop_gives() {
        let outdoors = Air::new(16.0, 0.5, 430.0, PRESSURE);
        let mut build = hall();
        build.leak = 0.0;
        build.heater.0 = 0.0;
        build.transpiration = 0.0;
        // Kept at 16 °C by its surroundings, so that respiration is as given.
        build.envelope = 1e5;
        build.film = 1e5;
        build.fabric = 1e5;
        let mut room = Room::new(build, outdoors, PRESSURE);
        run(&mut room, Drive { fan: 0.5, humidifier: false }, &outdoors, 3.0);
        // Steady balance by hand: G / flow, at 1.84 kg/m³ for carbon dioxide of 16 °C at this pressure (ideal gas).
        let density = PRESSURE * 44.01e-3 / (8.314_46 * 289.15);
        let expected = 430.0 + 0.45 / density / (0.5 * 1_600.0 * 0.95) * 1e6;
        let found = room.at_crop().carbon_dioxide;
        assert!((found - expected).abs() < 0.05 * (expected - 430.0), "{found} against {expected} ppm");
    }

    #[test]
    fn without_a_humidifier_the_freeze_dries_the_room_although_nothing_else_changes() {
        let settled = |celsius: f64| {
            let outdoors = Air::new(celsius, 0.8, 430.0, PRESSURE);
            let mut room = Room::new(hall(), Air::new(16.0, 0.85, 900.0, PRESSURE), PRESSURE);
            run(&mut room, Drive { fan: 0.3, humidifier: false }, &outdoors, 6.0);
            (room.at_crop().temperature, room.at_crop().relative_humidity(PRESSURE))
        };
        let (mild_temperature, mild) = settled(5.0);
        let (cold_temperature, cold) = settled(-12.0);
        assert!((mild_temperature - 16.0).abs() < 0.7 && (cold_temperature - 16.0).abs() < 0.7);
        assert!(mild > 0.40 && cold < 0.6 * mild, "RH {mild} when mild, {cold} in the freeze");
    }

    #[test]
    fn the_humidifier_holds_a_mild_evening_but_not_an_open_fan_in_hard_frost() {
        let settled = |celsius: f64, fan: f64| {
            let outdoors = Air::new(celsius, 0.8, 430.0, PRESSURE);
            // Warm enough in both, so that RH tells of water alone.
            let build = Build { heater: (60_000.0, 16.0), ..hall() };
            let mut room = Room::new(build, Air::new(16.0, 0.85, 900.0, PRESSURE), PRESSURE);
            run(&mut room, Drive { fan, humidifier: true }, &outdoors, 6.0);
            room.at_crop().relative_humidity(PRESSURE)
        };
        assert!(settled(5.0, 0.4) > 0.86, "{}", settled(5.0, 0.4));
        assert!(settled(-14.0, 0.9) < 0.75, "{}", settled(-14.0, 0.9));
    }
}
