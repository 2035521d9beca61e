//! Rooms that are not the model: simulated in seconds, by other equations, with what real rooms have and the model leaves
//! out.
//!
//! Two zones, upper and lower, that mix with each other but are not one; walls with a store of heat of their own between
//! room and weather; mist that hangs in the air for a while before it is vapour; sensors that lag; a humidistat that switches
//! on and off around its setting; a heater that follows slowly; a leak that grows with cold and wind; a crop whose breath
//! rises with warmth and rests between flushes. Air is an ideal gas with the Magnus formula, water and carbon dioxide are
//! counted by the cubic metre, and time goes on by Euler's steps of two seconds.

use super::chance::Chance;

/// Seconds.
const STEP: f64 = 2.0;
pub const LATENT: f64 = 2.45e6;
const PASCALS: f64 = 98_950.0;

/// What a room is, in fact.
#[derive(Debug, Clone, Copy)]
pub struct Facts {
    /// m³
    pub volume: f64,
    /// Exhaust fan, m³/h.
    pub flow: f64,
    /// Air that leaks in unasked with the fan off at 20 K and in a usual wind, m³/h.
    pub leak: f64,
    /// W/K through walls.
    pub loss: f64,
    /// kJ/K in walls, benches and substrate.
    pub fabric: f64,
    /// W
    pub heater: f64,
    /// °C
    pub warm: f64,
    /// % RH
    pub humid: f64,
    /// kg/h at full duty, and the share of it that becomes vapour.
    pub output: f64,
    pub evaporated: f64,
    /// Fruit bodies, kg.
    pub fruit: f64,
    /// W of the crop.
    pub crop_heat: f64,
    /// Carbon dioxide that the crop gives off at `warm`, g/h; none where nobody asks for it.
    pub breath: f64,
    /// Mixing of the two zones, volumes of the room for each hour: air at 0.1 to 0.3 m/s passes a room of ten metres so often.
    /// Zones then differ by about the 1 K and 5 points RH that are thought acceptable.
    pub mixing: f64,
    /// Humidistat's half width, % RH (2 to 4 points from on to off are usual), and the sensors' lag, s.
    pub hysteresis: f64,
    pub lag: f64,
    /// How long mist hangs in the air, s. Droplets of a few micrometres last seconds, larger ones a minute.
    pub hanging: f64,
    /// The humidifier runs and stands at least so long, s.
    pub switching: f64,
    /// Exponent with which fan and leak combine, and the night's wind, 1 being usual.
    pub exponent: f64,
    pub wind: f64,
}

impl Facts {
    /// The same room with slow sensors, coarse mist and a humidifier that must not switch often.
    pub fn sluggish(self, chance: &mut Chance) -> Self {
        Self {
            lag: chance.between(30.0, 90.0),
            hanging: chance.between(20.0, 60.0),
            switching: chance.between(30.0, 60.0),
            ..self
        }
    }

    /// A room of a plausible farm, its equipment sized for about −12 °C with something in hand.
    pub fn draw(chance: &mut Chance) -> Self {
        let volume = chance.between(40.0, 250.0);
        let (changes, warm, humid) = (chance.between(2.0, 6.0), chance.between(12.0, 18.0), chance.between(82.0, 91.0));
        let flow = changes * volume;
        let leak = chance.between(0.1, 0.5) * volume;
        let loss = chance.between(0.5, 1.2) * volume;
        let evaporated = chance.between(0.65, 0.95);
        let load = (flow + 0.2 * leak) * (saturated(warm) * humid / 100.0 - saturated(-12.0) * 0.8);
        let heat = (loss + flow * 0.34) * (warm + 12.0) + load / 3_600.0 * LATENT;
        let substrate = chance.between(5.0, 15.0) * volume;
        Self {
            volume,
            flow,
            leak,
            loss,
            fabric: chance.between(5.0, 20.0) * volume,
            heater: heat * chance.between(0.95, 1.4),
            warm,
            humid,
            output: load / evaporated * chance.between(0.95, 1.7),
            evaporated,
            fruit: 0.05 * substrate,
            crop_heat: 0.2 * substrate * 2.95 * 0.8,
            breath: 0.0,
            mixing: chance.between(60.0, 200.0),
            hysteresis: chance.between(1.0, 2.0),
            lag: chance.between(10.0, 40.0),
            hanging: chance.between(5.0, 20.0),
            switching: 20.0,
            exponent: chance.between(1.54, 2.0),
            wind: chance.between(0.7, 1.3),
        }
    }
}

/// kg/m³ of vapour in saturated air, by the Magnus form of the WMO's guide (No. 8) and the ideal gas. The last factor is the
/// guide's for moist air instead of pure vapour, 1.0016 + 3.15e-6·p − 0.074/p with p in hPa (from memory).
pub fn saturated(celsius: f64) -> f64 {
    1.004_6 * 611.2 * (17.62 * celsius / (243.12 + celsius)).exp() / (461.5 * (celsius + 273.15))
}

/// kg of dry air in a cubic metre with this much vapour.
fn dry_density(celsius: f64, vapour: f64) -> f64 {
    let kelvins = celsius + 273.15;
    (PASCALS - vapour * 461.5 * kelvins) / (287.05 * kelvins)
}

/// Air in one place.
#[derive(Debug, Clone, Copy)]
pub struct Zone {
    pub celsius: f64,
    /// kg/m³
    pub vapour: f64,
    /// Carbon dioxide, g/m³.
    pub gas: f64,
}

impl Zone {
    /// Outdoor air of this temperature and dew point, with 430 ppm of carbon dioxide.
    pub fn outdoors((celsius, dew_point): (f64, f64)) -> Self {
        let vapour = saturated(dew_point) * (dew_point + 273.15) / (celsius + 273.15);
        Self { celsius, vapour, gas: 430.0 / per_gram(celsius) }
    }

    /// Air of this temperature, relative humidity in percent and carbon dioxide in ppm.
    pub fn of(celsius: f64, humidity: f64, ppm: f64) -> Self {
        Self { celsius, vapour: saturated(celsius) * humidity / 100.0, gas: ppm / per_gram(celsius) }
    }

    /// Half-way between two airs.
    pub fn between(self, other: Self) -> Self {
        let middle = |a: f64, b: f64| 0.5 * (a + b);
        Self {
            celsius: middle(self.celsius, other.celsius),
            vapour: middle(self.vapour, other.vapour),
            gas: middle(self.gas, other.gas),
        }
    }

    /// % RH
    pub fn humidity(self) -> f64 {
        100.0 * self.vapour / saturated(self.celsius)
    }

    pub fn ppm(self) -> f64 {
        self.gas * per_gram(self.celsius)
    }
}

/// ppm by volume for each g/m³ of carbon dioxide (44.01 g/mol).
fn per_gram(celsius: f64) -> f64 {
    1e6 / 44.01 * 8.314 * (celsius + 273.15) / PASCALS
}

/// How a room is run.
#[derive(Debug, Clone, Copy)]
pub struct Set {
    /// What the fan moves, m³/h.
    pub flow: f64,
    /// Humidity that the humidistat holds, % RH by its own sensor.
    pub humid: f64,
    /// Whether the humidifier may run.
    pub mist: bool,
    /// How much too moist the humidistat's sensor reads, points.
    pub reads_over: f64,
    /// Carbon dioxide of people in the room, g/h.
    pub people: f64,
    /// How much of its breath the crop gives at present: flushes come and go.
    pub flush: f64,
}

/// A room at work.
#[derive(Debug, Clone, Copy)]
pub struct Simulated {
    facts: Facts,
    pub set: Set,
    pub lower: Zone,
    pub upper: Zone,
    wall: f64,
    /// kg
    hanging: f64,
    pub sensed: Zone,
    fogging: bool,
    /// Seconds since the humidifier was switched.
    since: f64,
    /// What the heater gives, and what it has learned to give, W.
    heating: f64,
    usual: f64,
    /// Water thrown since the count began, kg.
    pub thrown: f64,
}

impl Simulated {
    pub fn new(facts: Facts, outdoors: f64) -> Self {
        let zone = Zone::of(facts.warm, facts.humid, 600.0);
        let wall = facts.warm + 0.1 * (outdoors - facts.warm);
        Self {
            facts,
            set: Set { flow: facts.flow, humid: facts.humid, mist: true, reads_over: 0.0, people: 0.0, flush: 1.0 },
            lower: zone,
            upper: zone,
            wall,
            hanging: 0.0,
            sensed: zone,
            fogging: false,
            since: 0.0,
            heating: 0.0,
            usual: 0.0,
            thrown: 0.0,
        }
    }

    /// What its sensor says: °C and % RH.
    pub fn reading(&self) -> (f64, f64) {
        (self.sensed.celsius, self.sensed.humidity().min(100.0))
    }

    /// Lets `seconds` pass in weather of this temperature and dew point.
    pub fn pass(&mut self, seconds: f64, weather: (f64, f64)) {
        let outside = Zone::outdoors(weather);
        self.pass_between(seconds, outside, outside);
    }

    /// Lets `seconds` pass with this air at the intake, and that around the shell.
    pub fn pass_between(&mut self, seconds: f64, supply: Zone, around: Zone) {
        let mut left = seconds;
        while left > 0.5 * STEP {
            self.switch();
            self.step(supply, around);
            left -= STEP;
        }
    }

    fn switch(&mut self) {
        let Facts { hysteresis, warm, heater, switching, .. } = self.facts;
        let Set { humid, mist, reads_over, .. } = self.set;
        self.since += STEP;
        let humidity = self.sensed.humidity() + reads_over;
        let over =
            if self.fogging { !mist || humidity > humid + hysteresis } else { mist && humidity < humid - hysteresis };
        if over && self.since >= switching {
            self.fogging = !self.fogging;
            self.since = 0.0;
        }
        // A heater with a controller, proportional over 2 K, and a reset within a quarter of an hour; its coil takes three
        // minutes to follow.
        let off = warm - self.sensed.celsius;
        self.usual = (self.usual + 0.5 * heater * off * STEP / 900.0).clamp(0.0, heater);
        let wanted = (self.usual + 0.5 * heater * off).clamp(0.0, heater);
        self.heating += (wanted - self.heating) * STEP / 180.0;
    }

    fn step(&mut self, supply: Zone, around: Zone) {
        let f = self.facts;
        let half = 0.5 * f.volume;
        let ways = self.ways(around);
        // Each of both airs at its own volume; fresh air falls to the floor, and what enters below rises.
        let volume = |dry: f64, air: Zone| dry / dry_density(air.celsius, air.vapour);
        let (supplied, leaked) = (volume(ways.supplied, supply), volume(ways.leaked, around));
        let dry = ways.supplied + ways.leaked;
        let (rising, total) = (volume(dry, self.lower), volume(dry, self.upper));
        let mixing = f.mixing * f.volume / 3_600.0;
        let missing = |zone: Zone| (saturated(zone.celsius) - zone.vapour).max(0.0) * 461.5 * (zone.celsius + 273.15);
        let crop = f.fruit * (0.52 + 0.0116 * missing(self.lower)) * 1e-3 / 3_600.0;
        let evaporating = self.mist();

        // Most of the mist is thrown upwards.
        let (lower, upper) = (self.lower, self.upper);
        let lower_water =
            supplied * supply.vapour + leaked * around.vapour + mixing * upper.vapour + crop + 0.4 * evaporating
                - (rising + mixing) * lower.vapour;
        let upper_water = (rising + mixing) * lower.vapour + 0.6 * evaporating - (total + mixing) * upper.vapour;
        // A crop breathes twice as much where it is ten kelvins warmer (a common rule for respiration, no source).
        let breath = f.breath * self.set.flush * 2.0_f64.powf((lower.celsius - f.warm) / 10.0) + self.set.people;
        let lower_gas = supplied * supply.gas + leaked * around.gas + mixing * upper.gas + breath / 3_600.0
            - (rising + mixing) * lower.gas;
        let upper_gas = (rising + mixing) * lower.gas - (total + mixing) * upper.gas;

        let heat = |air: Zone| dry_density(air.celsius, air.vapour) * 1_006.0 + air.vapour * 1_860.0;
        let (lower_capacity, upper_capacity) = (heat(lower), heat(upper));
        let film = 6.0 * f.loss;
        // From the wall's store outwards, so that film and rest together lose what they should.
        let beyond = 1.0 / (1.0 / f.loss - 1.0 / (2.0 * film));
        let lower_heat = supplied * heat(supply) * (supply.celsius - lower.celsius)
            + leaked * heat(around) * (around.celsius - lower.celsius)
            + mixing * lower_capacity * (upper.celsius - lower.celsius)
            + film * (self.wall - lower.celsius)
            + self.heating
            + f.crop_heat
            - LATENT * (crop + 0.4 * evaporating);
        let upper_heat = (rising + mixing) * lower_capacity * (lower.celsius - upper.celsius)
            + film * (self.wall - upper.celsius)
            - LATENT * 0.6 * evaporating;
        let wall_heat =
            film * (lower.celsius + upper.celsius - 2.0 * self.wall) + beyond * (around.celsius - self.wall);

        self.lower.vapour = (lower.vapour + lower_water / half * STEP).max(0.0);
        self.upper.vapour = (upper.vapour + upper_water / half * STEP).min(saturated(upper.celsius));
        self.lower.gas += lower_gas / half * STEP;
        self.upper.gas += upper_gas / half * STEP;
        self.lower.celsius += lower_heat / (lower_capacity * half) * STEP;
        self.upper.celsius += upper_heat / (upper_capacity * half) * STEP;
        self.wall += wall_heat / (f.fabric * 1e3) * STEP;
        self.sense();
    }

    /// Dry air that enters, kg/s: what the fan pulls, at the upper zone's air, and what comes in besides.
    fn ways(&self, around: Zone) -> Ways {
        let f = self.facts;
        let cold = (self.lower.celsius - around.celsius).max(0.0);
        let leak = f.leak * (0.6 * (cold / 20.0).sqrt() + 0.4 * f.wind);
        let fan = self.set.flow;
        let total = (fan.powf(f.exponent) + leak.powf(f.exponent)).powf(1.0 / f.exponent);
        let density = dry_density(self.upper.celsius, self.upper.vapour) / 3_600.0;
        Ways { supplied: fan * density, leaked: (total - fan) * density }
    }

    /// Throws mist, and lets some of what hangs in the air become vapour, kg/s.
    fn mist(&mut self) -> f64 {
        let f = self.facts;
        let thrown = if self.fogging { f.output / 3_600.0 } else { 0.0 };
        self.thrown += thrown * STEP;
        // Mist takes its time, and more of it where the air is nearly full.
        let room_for_it = (1.0 - 0.5 * (self.lower.humidity() + self.upper.humidity()) / 100.0) / 0.1;
        let evaporating = self.hanging / f.hanging * room_for_it.clamp(0.0, 1.0);
        self.hanging += (f.evaporated * thrown - evaporating) * STEP;
        evaporating
    }

    /// The sensor hangs half-way; that of carbon dioxide takes a minute longer.
    fn sense(&mut self) {
        let air = self.lower.between(self.upper);
        let share = STEP / self.facts.lag;
        self.sensed.celsius += share * (air.celsius - self.sensed.celsius);
        self.sensed.vapour += share * (air.vapour - self.sensed.vapour);
        self.sensed.gas += STEP / (self.facts.lag + 60.0) * (air.gas - self.sensed.gas);
    }

    /// Vapour that holding the air at `humid` % RH takes at the temperature as it is, as a share of what the humidifier
    /// can give.
    pub fn load(&self, humid: f64, supply: Zone, around: Zone) -> f64 {
        let f = self.facts;
        let ways = self.ways(around);
        let air = self.lower.between(self.upper);
        let held = Zone::of(air.celsius, humid, 0.0);
        let ratio = |air: Zone| air.vapour / dry_density(air.celsius, air.vapour);
        let missing = (1.0 - humid / 100.0) * saturated(air.celsius) * 461.5 * (air.celsius + 273.15);
        let crop = f.fruit * (0.52 + 0.0116 * missing) * 1e-3;
        let needed = 3_600.0
            * (ways.supplied * (ratio(held) - ratio(supply)) + ways.leaked * (ratio(held) - ratio(around)))
            - crop;
        needed / (f.output * f.evaporated)
    }
}

/// See [`Simulated::ways`].
struct Ways {
    supplied: f64,
    leaked: f64,
}
