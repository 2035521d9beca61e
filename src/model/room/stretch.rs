//! One stretch of time in which nothing switches: temperature and water solved together.

use super::{
    RoomModel,
    flows::{Flows, Supply},
    humidifier::Thrower,
    linear::{Exact, crossing},
    sources::{self, Giving},
    surfaces::{Wetting, at_humidity},
};
use crate::physics::{
    Curve,
    bare::{DRY_AIR_HEAT_CAPACITY, VAPOUR_AT_ZERO, liquid_enthalpy, saturation, vapour_enthalpy, vapour_pressure},
};

/// What holds for a whole step. Flows in kg/h, heat in kJ/h.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given<'a> {
    pub model: &'a RoomModel,
    pub pascals: f64,
    /// Dry air in the room, kg.
    pub mass: f64,
    pub flows: Flows,
    pub supply: Supply,
    /// Dry air that carries the room's own heat out.
    pub dry_rate: f64,
    /// Vapour that enters, and the flow that carries the room's own out.
    pub moisture_in: f64,
    pub moisture_rate: f64,
    /// Heat that comes in at a room of 0 °C, and what leaves for each kelvin above.
    pub heat_in: f64,
    pub heat_rate: f64,
    /// The part of both that passes the shell, kJ/hK and °C.
    pub loss: f64,
    pub around: f64,
    /// Heat capacity of air and fabric, kJ/K; `None` where the temperature is held.
    pub capacity: Option<f64>,
    /// Relative humidity that the humidistat is set to.
    pub target: f64,
    /// Vapour that the humidifier gives at full duty; zero where it may not run, or has no water.
    pub most: f64,
}

/// Temperature and humidity ratio.
pub(super) type Air = (f64, f64);

/// What gives and takes water around the state that a stretch begins with.
#[derive(Debug, Clone)]
pub(super) struct Moisture {
    from: Air,
    crop: Giving,
    pan: Giving,
    pub walls: Vec<Wetting>,
}

/// How the humidifier is run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Throw {
    /// By the humidistat: whatever reaches the target at the stretch's end, as far as it can.
    Held,
    /// This share of its output.
    Fixed(f64),
}

/// A stretch as it came out. Flows are means, kg/h and kJ/h.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Solved {
    pub end: Air,
    pub mean: Air,
    pub duty: f64,
    pub vapour: f64,
    pub crop: f64,
    pub pan: f64,
    pub condensed: f64,
    /// The part of it that froze.
    pub frozen: f64,
    pub coil: f64,
    pub heater: f64,
    pub cooler: f64,
    /// Heat that condensing vapour gave back to the air.
    pub returned: f64,
    /// Heat that the air gave to what evaporated.
    pub latent: f64,
    /// How much warmer than at its start the stretch was taken to be for what gives and takes water, K.
    pub warmer: f64,
    /// Target at the temperature attained.
    pub target: f64,
    /// Heat that would bring the heater's setting at the end, whatever the heater can.
    pub heat_needed: f64,
}

/// Sums over what gives and takes water.
#[derive(Debug, Clone, Copy)]
struct Sums {
    rate: f64,
    inflow: f64,
    by_temperature: f64,
    /// Heat that the air gives for each kelvin that it is warmer, through the vapour that follows.
    heat_by_temperature: f64,
}

const NEAR_ENOUGH: f64 = 1e-3;
const MOST_TRIES: usize = 12;

impl Moisture {
    pub fn around(given: &Given<'_>, from: Air) -> Self {
        let (celsius, ratio) = from;
        let model = given.model;
        let crop = if model.fruit_bodies > 0.0 {
            let vapour = vapour_pressure(ratio, given.pascals);
            let slope = vapour / ratio.max(1e-9) * (1.0 - vapour / given.pascals);
            sources::transpiration(
                model.fruit_bodies,
                (vapour, slope),
                saturation(Curve::Water, celsius, given.pascals),
            )
        } else {
            Giving::default()
        };
        let pan = model.pan.map_or_else(Giving::default, |pan| pan.giving(celsius, ratio, given.pascals));
        let walls = &model.surfaces.walls;
        let walls = walls.iter().map(|wall| wall.wetting(celsius, ratio, given.around, given.pascals)).collect();
        Self { from, crop, pan, walls }
    }

    fn sums(&self, given: &Given<'_>) -> Sums {
        let Self { from, crop, pan, walls } = self;
        let latent = evaporation(from.0);
        let pan_latent = if given.model.pan.is_some_and(|pan| pan.heated()) { 0.0 } else { latent };
        let mut sums = Sums {
            rate: given.moisture_rate + crop.by_moisture + pan.by_moisture,
            inflow: given.moisture_in + crop.flow + pan.flow + (crop.by_moisture + pan.by_moisture) * from.1,
            by_temperature: crop.by_temperature + pan.by_temperature,
            heat_by_temperature: latent * crop.by_temperature + pan_latent * pan.by_temperature,
        };
        for wall in walls.iter().filter(|wall| wall.wet) {
            sums.rate += wall.rate;
            sums.inflow += wall.rate * wall.onset;
            sums.by_temperature += wall.rate * wall.by_temperature;
            sums.heat_by_temperature += wall.returned * wall.rate * wall.by_temperature;
        }
        sums
    }

    /// Vapour that would hold the target for good at this end, all walls included that would get wet.
    pub fn holding(&self, given: &Given<'_>, solved: &Solved) -> f64 {
        let sums = self.sums(given);
        let warmer = solved.end.0 - self.from.0;
        let dry = self.walls.iter().filter(|wall| !wall.wet);
        let dry: f64 =
            dry.map(|wall| wall.rate * (solved.target - wall.onset - wall.by_temperature * warmer).max(0.0)).sum();
        sums.rate * solved.target - sums.inflow - sums.by_temperature * warmer + solved.coil + dry
    }

    /// When the air crosses `level` with this much vapour given, in hours.
    pub fn crossing(&self, given: &Given<'_>, solved: &Solved, vapour: f64, level: f64) -> Option<f64> {
        let sums = self.sums(given);
        let inflow = sums.inflow + sums.by_temperature * solved.warmer + vapour - solved.coil;
        crossing(given.mass, sums.rate, inflow, [self.from.1, level])
    }

    /// Solves a stretch. Guesses its last temperature, finds what the water does then and what heat that takes, and
    /// guesses again until the two agree; the temperature that comes out has exactly the heat that is reported.
    pub fn solve(&self, given: &Given<'_>, hours: f64, throw: Throw) -> Solved {
        let sums = self.sums(given);
        let water = Exact::new(given.mass, sums.rate, hours);
        let heat = given.capacity.map(|capacity| Exact::new(capacity, given.heat_rate, hours));
        // The coil never takes more than half of the water that there is.
        let coil_most = 0.5 * (given.mass * self.from.1 * water.keeps / hours + given.moisture_in);
        let lag = heat.as_ref().map_or(0.0, Exact::lag);
        let mut guess = self.from.0;
        let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
        let mut coil = 0.0;
        let mut solved = Solved::default();
        for _ in 0..MOST_TRIES {
            let slope;
            (solved, slope) = self.water(given, (guess, lag, coil), (&sums, &water), throw);
            let Some(heat) = &heat else {
                (solved.end.0, solved.mean.0) = (self.from.0, self.from.0);
                break;
            };
            solved.latent = self.latent(given, &solved);
            let air = given.heat_in + solved.returned - solved.latent;
            let (added, wanted_coil, driven) = given.thermostats(heat, self.from.0, air, &mut solved);
            let taken = wanted_coil.min(coil_most);
            // The heat of the water that this try has taken out: so heat and water agree however the tries end.
            solved.cooler += solved.coil * evaporation(self.from.0);
            solved.end.0 = heat.end(self.from.0, air + added);
            solved.mean.0 = heat.mean(self.from.0, air + added);
            let off = solved.end.0 - guess;
            let coil_moved = (taken - coil).abs() > 1e-3 * (sums.rate * solved.end.1).abs();
            if off.abs() < NEAR_ENOUGH && !coil_moved {
                break;
            }
            coil = taken;
            if off > 0.0 {
                low = guess
            } else {
                high = guess
            }
            let step = if driven { off } else { off / (1.0 + heat.gains * slope) };
            guess += step;
            if !(guess > low && guess < high) && low.is_finite() && high.is_finite() {
                guess = 0.5 * (low + high);
            }
        }
        solved
    }

    /// What the water does when the stretch ends at `guess` °C, and the heat that its vapour takes for each kelvin more.
    fn water(
        &self,
        given: &Given<'_>,
        (guess, lag, coil): (f64, f64, f64),
        (sums, water): (&Sums, &Exact),
        throw: Throw,
    ) -> (Solved, f64) {
        let most = given.most;
        let warmer = (guess - self.from.0) * lag;
        let inflow = sums.inflow + sums.by_temperature * warmer - coil;
        let without = water.end(self.from.1, inflow);
        let (target, target_slope) = at_humidity(given.target, guess, given.pascals);
        let needed = (target - without) / water.gains;
        let (vapour, follows) = match throw {
            Throw::Held => (needed.clamp(0.0, most), needed > 0.0 && needed < most),
            Throw::Fixed(duty) => (duty * most, false),
        };
        let duty = match throw {
            Throw::Fixed(duty) => duty,
            Throw::Held if most > 0.0 => vapour / most,
            Throw::Held => 0.0,
        };
        let mean = water.mean(self.from.1, inflow + vapour);
        let moister = mean - self.from.1;
        let flow = |giving: &Giving| giving.flow + giving.by_temperature * warmer - giving.by_moisture * moister;
        let (mut condensed, mut frozen, mut returned) = (0.0, 0.0, 0.0);
        for wall in self.walls.iter().filter(|wall| wall.wet) {
            let taken = wall.rate * (mean - wall.onset - wall.by_temperature * warmer);
            condensed += taken;
            frozen += if wall.frozen { taken } else { 0.0 };
            returned += taken * wall.returned;
        }
        let mut slope = sums.heat_by_temperature * lag;
        if follows {
            let taken = given.model.humidifier.map_or(0.0, |thrower| thrower.heat_taken(self.from.0));
            slope += taken * (target_slope / water.gains - sums.by_temperature * lag);
        }
        let solved = Solved {
            end: (guess, without + vapour * water.gains),
            mean: (guess, mean),
            duty,
            vapour,
            crop: flow(&self.crop),
            pan: flow(&self.pan),
            condensed,
            frozen,
            coil,
            returned,
            warmer,
            target,
            ..Solved::default()
        };
        (solved, slope.max(0.0))
    }

    /// Heat that the air gives to what evaporates, kJ/h.
    fn latent(&self, given: &Given<'_>, solved: &Solved) -> f64 {
        let celsius = self.from.0;
        let thrown = given.model.humidifier.map_or(0.0, |thrower: Thrower| thrower.heat_taken(celsius) * solved.vapour);
        let pan = if given.model.pan.is_some_and(|pan| pan.heated()) { 0.0 } else { solved.pan };
        thrown + evaporation(celsius) * (solved.crop + pan)
    }

    /// Takes what gives less than nothing, or is wetted from the wrong side, out of the stretch; whether there was any.
    pub fn correct(&mut self, solved: &Solved) -> bool {
        let mut corrected = false;
        for (giving, flow) in [(&mut self.crop, solved.crop), (&mut self.pan, solved.pan)] {
            if flow < 0.0 {
                *giving = Giving::default();
                corrected = true;
            }
        }
        for wall in self.walls.iter_mut().filter(|wall| wall.wet) {
            if solved.mean.1 < wall.onset + wall.by_temperature * solved.warmer {
                wall.wet = false;
                corrected = true;
            }
        }
        corrected
    }

    /// The driest wall-onset that the air rises through, if it does.
    pub fn onset(&self, solved: &Solved) -> Option<(usize, f64)> {
        let warmer = solved.end.0 - self.from.0;
        let onset = |wall: &Wetting| wall.onset + wall.by_temperature * warmer;
        let crossed =
            self.walls.iter().enumerate().filter(|(_, wall)| !wall.wet && solved.end.1 > onset(wall) * (1.0 + 1e-6));
        crossed.map(|(index, wall)| (index, onset(wall))).min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The air that the stretch begins with.
    pub fn from(&self) -> Air {
        self.from
    }

    /// Whether crop, pan or walls have a part in it.
    pub fn is_alive(&self) -> bool {
        self.crop.by_moisture > 0.0 || self.pan.by_moisture > 0.0 || !self.walls.is_empty()
    }

    /// Where the humidistat would have the air now.
    pub fn target_now(&self, given: &Given<'_>) -> f64 {
        at_humidity(given.target, self.from.0, given.pascals).0
    }
}

/// Heat of evaporation of water as warm as the air, kJ/kg.
fn evaporation(celsius: f64) -> f64 {
    vapour_enthalpy(celsius) - liquid_enthalpy(celsius)
}

impl Given<'_> {
    /// What heater and cooler add to the air, kJ/h, with the water that the cooler's coil takes, kg/h, and whether one of
    /// them holds its setting. Each gives what reaches its setting at the end of the stretch, as far as it can.
    fn thermostats(&self, heat: &Exact, from: f64, air: f64, solved: &mut Solved) -> (f64, f64, bool) {
        let drifting = heat.end(from, air);
        let (mut added, mut coil, mut driven) = (0.0, 0.0, false);
        if let Some(heater) = self.model.heater {
            let needed = (heater.setting - drifting) / heat.gains;
            solved.heat_needed = needed;
            solved.heater = needed.clamp(0.0, heater.power);
            added = solved.heater;
            driven = needed > 0.0 && needed < heater.power;
        }
        if let Some(cooler) = self.model.cooler {
            let sensible = cooler.power * (1.0 - cooler.latent);
            let needed = (drifting - cooler.setting) / heat.gains;
            let taken = needed.clamp(0.0, sensible);
            let duty = if sensible > 0.0 { taken / sensible } else { f64::from(u8::from(needed > 0.0)) };
            coil = duty * cooler.power * cooler.latent / evaporation(from);
            solved.cooler = taken;
            added -= taken;
            driven |= needed > 0.0 && needed < sensible;
        }
        (added, coil, driven)
    }

    /// Whether the air ends above saturation. A humidistat that has it in hand never lets it get there.
    pub fn fogs(&self, solved: &Solved) -> bool {
        solved.end.1 > solved.target && solved.end.1 > self.saturated(solved.end.0) * (1.0 + 1e-9)
    }

    /// Enthalpy of the air that enters, after exchanger and intake heater, kJ/h.
    pub fn entering(&self, inside: f64) -> f64 {
        self.heat_in - self.loss * self.around - inside + VAPOUR_AT_ZERO * self.moisture_in
    }

    /// Enthalpy of the air that leaves, kJ/h.
    pub fn leaving(&self, (celsius, ratio): Air) -> f64 {
        self.dry_rate * DRY_AIR_HEAT_CAPACITY * celsius + self.moisture_rate * ratio * vapour_enthalpy(celsius)
    }

    /// Enthalpy held by air and fabric, kJ.
    pub fn enthalpy(&self, mass: f64, (celsius, ratio): Air) -> f64 {
        let fabric = self.model.fabric;
        mass * crate::physics::bare::enthalpy(celsius, ratio) + fabric * celsius
    }

    /// Humidity ratio at saturation.
    pub fn saturated(&self, celsius: f64) -> f64 {
        at_humidity(1.0, celsius, self.pascals).0
    }

    /// Air that holds more than it can, brought to saturation: the fog warms air and fabric. Gives the fog, kg.
    pub fn settle(&self, (celsius, ratio): Air) -> (Air, f64) {
        let Some(capacity) = self.capacity else {
            let saturated = self.saturated(celsius);
            return ((celsius, saturated), self.mass * (ratio - saturated));
        };
        let latent = evaporation(celsius) * self.mass;
        let mut at = celsius;
        for _ in 0..6 {
            let (saturated, slope) = at_humidity(1.0, at, self.pascals);
            let step = (capacity * (at - celsius) - latent * (ratio - saturated)) / (capacity + latent * slope);
            at -= step;
            if step.abs() < 1e-6 {
                break;
            }
        }
        // By the heat balance, so that fog and warmth belong together to the last digit.
        let fog = capacity * (at - celsius) / latent;
        ((at, ratio - fog), fog * self.mass)
    }
}
