//! Rooms that are not the model: simulated in seconds, by other equations, with what real rooms have and the model leaves
//! out.
//!
//! Two zones, upper and lower, that mix with each other but are not one; walls with a store of heat of their own between
//! room and weather; mist that hangs in the air for a while before it is vapour; sensors that lag; a humidistat that switches
//! on and off around its setting; a heater that follows slowly; a leak that grows with cold and wind. Air is an ideal gas with
//! the Magnus formula, water is counted in kilograms per cubic metre, and time goes on by Euler's steps of two seconds.

use super::chance::Chance;

/// Seconds.
const STEP: f64 = 2.0;
const LATENT: f64 = 2.45e6;
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
fn saturated(celsius: f64) -> f64 {
    1.004_6 * 611.2 * (17.62 * celsius / (243.12 + celsius)).exp() / (461.5 * (celsius + 273.15))
}

/// kg of dry air in a cubic metre with this much vapour.
fn dry_density(celsius: f64, vapour: f64) -> f64 {
    let kelvins = celsius + 273.15;
    (PASCALS - vapour * 461.5 * kelvins) / (287.05 * kelvins)
}

#[derive(Debug, Clone, Copy)]
struct Zone {
    celsius: f64,
    /// kg/m³
    vapour: f64,
}

impl Zone {
    fn humidity(self) -> f64 {
        100.0 * self.vapour / saturated(self.celsius)
    }
}

/// A room at work.
#[derive(Debug, Clone, Copy)]
pub struct Simulated {
    facts: Facts,
    lower: Zone,
    upper: Zone,
    wall: f64,
    /// kg
    hanging: f64,
    sensed: Zone,
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
        let zone = Zone { celsius: facts.warm, vapour: saturated(facts.warm) * facts.humid / 100.0 };
        let wall = facts.warm + 0.1 * (outdoors - facts.warm);
        Self {
            facts,
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
    pub fn pass(&mut self, seconds: f64, (outdoors, dew_point): (f64, f64)) {
        let outside =
            Zone { celsius: outdoors, vapour: saturated(dew_point) * (dew_point + 273.15) / (outdoors + 273.15) };
        let mut left = seconds;
        while left > 0.5 * STEP {
            self.switch();
            self.step(outside);
            left -= STEP;
        }
    }

    fn switch(&mut self) {
        let Facts { humid, hysteresis, warm, heater, switching, .. } = self.facts;
        self.since += STEP;
        let humidity = self.sensed.humidity();
        let over = if self.fogging { humidity > humid + hysteresis } else { humidity < humid - hysteresis };
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

    fn step(&mut self, outside: Zone) {
        let f = self.facts;
        let half = 0.5 * f.volume;
        // Volume flows, m³/s of the upper zone's air: what the fan pulls and what comes in besides.
        let cold = (self.lower.celsius - outside.celsius).max(0.0);
        let leak = f.leak * (0.6 * (cold / 20.0).sqrt() + 0.4 * f.wind);
        let total = (f.flow.powf(f.exponent) + leak.powf(f.exponent)).powf(1.0 / f.exponent) / 3_600.0;
        let dry = total * dry_density(self.upper.celsius, self.upper.vapour);
        let entering = dry / dry_density(outside.celsius, outside.vapour);
        let mixing = f.mixing * f.volume / 3_600.0;
        // The fan pulls from above, fresh air falls to the floor; what enters below rises.
        let rising = dry / dry_density(self.lower.celsius, self.lower.vapour);

        let thrown = if self.fogging { f.output / 3_600.0 } else { 0.0 };
        self.thrown += thrown * STEP;
        // Mist takes its time, and more of it where the air is nearly full.
        let room_for_it = (1.0 - 0.5 * (self.lower.humidity() + self.upper.humidity()) / 100.0) / 0.1;
        let evaporating = self.hanging / f.hanging * room_for_it.clamp(0.0, 1.0);
        self.hanging += (f.evaporated * thrown - evaporating) * STEP;
        let missing = |zone: Zone| (saturated(zone.celsius) - zone.vapour).max(0.0) * 461.5 * (zone.celsius + 273.15);
        let crop = f.fruit * (0.52 + 0.0116 * missing(self.lower)) * 1e-3 / 3_600.0;

        // Most of the mist is thrown upwards.
        let lower_water = entering * outside.vapour + mixing * self.upper.vapour + crop + 0.4 * evaporating
            - (rising + mixing) * self.lower.vapour;
        let upper_water =
            (rising + mixing) * self.lower.vapour + 0.6 * evaporating - (total + mixing) * self.upper.vapour;

        let heat = |air: Zone| dry_density(air.celsius, air.vapour) * 1_006.0 + air.vapour * 1_860.0;
        let (lower, upper) = (heat(self.lower), heat(self.upper));
        let film = 6.0 * f.loss;
        // From the wall's store outwards, so that film and rest together lose what they should.
        let beyond = 1.0 / (1.0 / f.loss - 1.0 / (2.0 * film));
        let lower_heat = entering * heat(outside) * (outside.celsius - self.lower.celsius)
            + mixing * lower * (self.upper.celsius - self.lower.celsius)
            + film * (self.wall - self.lower.celsius)
            + self.heating
            + f.crop_heat
            - LATENT * (crop + 0.4 * evaporating);
        let upper_heat = (rising * lower + mixing * lower) * (self.lower.celsius - self.upper.celsius)
            + film * (self.wall - self.upper.celsius)
            - LATENT * 0.6 * evaporating;
        let wall_heat =
            film * (self.lower.celsius + self.upper.celsius - 2.0 * self.wall) + beyond * (outside.celsius - self.wall);

        self.lower.vapour = (self.lower.vapour + lower_water / half * STEP).max(0.0);
        self.upper.vapour = (self.upper.vapour + upper_water / half * STEP).min(saturated(self.upper.celsius));
        self.lower.celsius += lower_heat / (lower * half) * STEP;
        self.upper.celsius += upper_heat / (upper * half) * STEP;
        self.wall += wall_heat / (f.fabric * 1e3) * STEP;
        // The sensor hangs half-way.
        let share = STEP / f.lag;
        let between = |a: f64, b: f64| 0.5 * (a + b);
        self.sensed.celsius += share * (between(self.lower.celsius, self.upper.celsius) - self.sensed.celsius);
        self.sensed.vapour += share * (between(self.lower.vapour, self.upper.vapour) - self.sensed.vapour);
    }
}
